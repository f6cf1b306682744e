"""Every key a scheme may hold, once: the reader, the JSON Schema and the reference table all come from here."""

from __future__ import annotations

from typing import Final

from msgspec import Struct

from interlock.scheme.physical import Dimension
from interlock.scheme.words import (
    Combine,
    Contact,
    DeviceInput,
    ElementType,
    EnergisedWhen,
    OnInvalid,
    OwnLimit,
    PlatinumClass,
    PowerUp,
    Reset,
    Word,
)


class Form(Word):
    """The forms a value can take."""

    TEXT = "text"
    NAME = "name"
    NAMES = "a name or a list of names"
    VALUE = "value with unit"
    SPAN = "low to high with unit"
    ERRORS = "low to high with unit, or one per quantity"
    MEASURES = "quantity: low to high; with an element one or more names will do"
    TIME = "time with unit"
    TIE = "quantity ± difference"
    TRIGGER = "condition for time"
    CONDITIONS = "name: condition"
    WHILE = "name: condition, or a list of such mappings"
    WORD = "one of its words"
    YES_NO = "yes or no"
    ON_OFF = "on or off"
    COUNT = "whole number"
    RATE = "number per h"
    FLOW = "charge, discharge, both, none, or a condition for each direction"
    FAULTS = "a fault or a list of faults"
    CHARGES_TO = "quantity: value"
    ACTS_AT = "quantity: condition for time"
    SETTINGS = "name: value, on or off"
    ELEMENT = "a mapping of the keys of an element"
    INPUT = "a mapping of the keys of an input"
    CURVE = "a mapping of the keys of a curve"
    RATED = "value with unit, and `within` a tolerance"
    COEFFICIENTS = "a list of numbers"
    ROWS = "temperature: resistance"
    EXPECTATIONS = "name: running, stopped, on, off, active or a state"


class Key(Struct, frozen=True):
    """One key: its form, whether it must be there, its words where the form is WORD, what it is measured in
    where it is RATED, and what it says."""

    name: str
    form: Form
    says: str
    required: bool = False
    words: type[Word] | None = None
    dimension: Dimension | None = None  # of a rated value


WHY: Final = Key("why", Form.TEXT, "the reason, for people")
TERMINAL: Final = Key("terminal", Form.TEXT, "the terminal's label on the unit, for people")
WIRE: Final = Key("wire", Form.TEXT, "the wire's label, for people")


class Section(Word):
    """The sections whose entries are mappings of keys."""

    QUANTITIES = "quantities"
    SENSORS = "sensors"
    READINGS = "readings"
    UNITS = "units"
    LINES = "lines"
    RULES = "rules"
    GROUPS = "groups"
    PATHS = "paths"
    OUTPUTS = "outputs"
    DEVICES = "devices"
    REQUIREMENTS = "requirements"
    STEPS = "cases"
    FAULTS = "faults"


class Nested(Word):
    """Mappings inside an entry, with keys of their own."""

    ELEMENT = "element"
    INPUT = "input"
    CURVE = "converts_by"


# The top of a file: (key, whether it must be there, what it says).
TOP: tuple[tuple[str, bool, str], ...] = (
    ("scheme", True, "the installation's title"),
    ("revision", False, "the scheme's revision, a number or a word"),
    ("scan", True, "a controller reads, decides and writes once per scan"),
    ("why", False, "the reason, for people"),
    ("quantities", False, "physical truth: what can be hurt"),
    ("sensors", False, "instruments: reading = truth + error"),
    ("readings", False, "derived readings: several sensors combined"),
    ("units", False, "devices that evaluate rules; the first is the default"),
    ("lines", False, "on/off signals between units, from outside, or from auxiliary contacts"),
    ("rules", True, "what is watched, when it trips and clears, and what it then does"),
    ("groups", False, "names for several paths; sources, loads and all exist"),
    ("paths", True, "what carries current"),
    ("outputs", False, "from permit to a device's own input"),
    ("devices", False, "what is set inside the device at the end of a path, by the path's name"),
    ("requirements", False, "what must never happen"),
    ("cases", False, "examples by hand, run as tests"),
    ("faults", False, "faults left out, added, tied together, or with a rate"),
    ("accepted", False, "findings of `check` that are meant: FINDING: {NAME: reason}"),
)

KEYS: dict[Section, tuple[Key, ...]] = {
    Section.QUANTITIES: (
        Key("span", Form.SPAN, "the values it may take", required=True),
        Key("at_least", Form.TIE, "never below that quantity, with a difference"),
        Key("at_most", Form.TIE, "never above that quantity, with a difference"),
        Key("damaged_below", Form.VALUE, "below this the cell itself is damaged, by its datasheet"),
        Key("damaged_above", Form.VALUE, "above this the cell itself is damaged, by its datasheet"),
        WHY,
    ),
    Section.SENSORS: (
        Key("measures", Form.MEASURES, "for each quantity, the interval of reading minus truth", required=True),
        Key("valid", Form.SPAN, "a reading outside is invalid", required=True),
        Key("element", Form.ELEMENT, "what it is made of; its error, open_reads and shorted_reads then follow"),
        Key("input", Form.INPUT, "how its element is read"),
        Key("placed", Form.ERRORS, "the element's place minus the quantity, which is added to the element's own error"),
        Key("drifts", Form.ERRORS, "the error a drifted sensor may have instead"),
        Key("misplaced", Form.ERRORS, "the error a misplaced sensor has instead"),
        Key("open_reads", Form.VALUE, "what an open lead reads; invalid when not given"),
        Key("shorted_reads", Form.VALUE, "what a shorted lead reads; invalid when not given"),
        Key("stale_after", Form.TIME, "a stuck reading is invalid from this time on"),
        TERMINAL,
        WIRE,
        WHY,
    ),
    Section.READINGS: (
        *(
            Key(str(c), Form.NAMES, says)
            for c, says in (
                (Combine.LOWEST_OF, "the lowest of these sensors"),
                (Combine.HIGHEST_OF, "the highest of these sensors"),
                (Combine.MEDIAN_OF, "the middle one of these sensors"),
                (Combine.DIFFERENCE_OF, "highest minus lowest of these sensors"),
                (Combine.AVERAGE_OF, "the mean of these sensors"),
            )
        ),
        Key("needs", Form.COUNT, "how many of them must be valid (default: all)"),
        WHY,
    ),
    Section.UNITS: (WHY,),
    Section.LINES: (
        Key("external", Form.YES_NO, "from outside: anything at any scan (what a line is when nothing else is said)"),
        Key("low_when", Form.NAMES, "sent: off while any of these rules is active"),
        Key("high_when", Form.NAMES, "sent: on while any of these rules is active"),
        Key("confirms", Form.NAME, "an auxiliary contact: on while that output's contact is really closed"),
        Key("undriven_reads", Form.ON_OFF, "what the receiver reads of a broken wire or a dead sender (default off)"),
        TERMINAL,
        WIRE,
        WHY,
    ),
    Section.RULES: (
        Key("unit", Form.NAME, "who evaluates it (default: the first unit)"),
        Key("watches", Form.NAME, "a sensor, reading, line, path, or another rule of its unit", required=True),
        Key("trips", Form.TRIGGER, "when it trips, and after how long", required=True),
        Key("clears", Form.TRIGGER, "when it clears, and after how long", required=True),
        Key("on_invalid", Form.WORD, "what an invalid reading counts as", words=OnInvalid),
        Key("power_up", Form.WORD, "its state when the unit powers up", words=PowerUp),
        Key("reset", Form.WORD, "manual: a person must reset it", words=Reset),
        Key("reset_by", Form.NAME, "the line whose rising edge resets it"),
        Key("only_while", Form.CONDITIONS, "its effects count only while all of these hold"),
        Key("overridden_by", Form.NAME, "the line that suspends its effects while on"),
        Key("override_at_most", Form.TIME, "for how long at most"),
        Key("blocks", Form.NAMES, "the paths or groups it stops"),
        Key("starts", Form.NAMES, "the paths it starts"),
        Key("alarm", Form.TEXT, "what someone is told"),
        WHY,
    ),
    Section.GROUPS: (Key("members", Form.NAMES, "paths or groups", required=True), WHY),
    Section.PATHS: (
        Key("flow", Form.FLOW, "which way its current flows, seen from the pack", required=True),
        Key("behind", Form.NAME, "its current passes that path too"),
        Key("unswitched", Form.TEXT, "the reason why it has no output"),
        WHY,
    ),
    Section.OUTPUTS: (
        Key("unit", Form.NAME, "whose output it is (default: the first unit)"),
        Key("drives", Form.NAMES, "the paths it lets run", required=True),
        Key("contact", Form.WORD, "what it is made of", required=True, words=Contact),
        Key("runs_when", Form.WORD, "what the device's own input needs to run", required=True, words=DeviceInput),
        Key("energised_when", Form.WORD, "stops: energised while its paths must stop", words=EnergisedWhen),
        Key("stops_within", Form.TIME, "how long the device may run on after it is told to stop"),
        Key("starts_within", Form.TIME, "how long it may stay stopped after it is told to run"),
        TERMINAL,
        WIRE,
        WHY,
    ),
    Section.DEVICES: (
        Key("what", Form.TEXT, "what it is, for people"),
        Key("cells", Form.COUNT, "cells in series between its terminals: its volts are so many times a cell's"),
        Key("error", Form.ERRORS, "what it takes the quantity for minus what stands at the pack, its leads included"),
        Key("imbalance", Form.ERRORS, "with `cells`: how far that cell may then be from the mean of the pack"),
        *(
            Key(str(limit), Form.CHARGES_TO if limit.charges else Form.ACTS_AT, says)
            for limit, says in (
                (OwnLimit.ABSORPTION, "the voltage it charges to"),
                (OwnLimit.FLOAT, "the voltage it holds a full pack at"),
                (OwnLimit.HIGH_CUT_OFF, "where it stops by itself on the high side"),
                (OwnLimit.HIGH_RECONNECT, "where it comes back after that"),
                (OwnLimit.LOW_CUT_OFF, "where it stops by itself on the low side"),
                (OwnLimit.LOW_RECONNECT, "where it comes back after that"),
                (OwnLimit.HOT_CUT_OFF, "where it stops by itself for heat"),
                (OwnLimit.HOT_RECONNECT, "where it comes back after that"),
                (OwnLimit.COLD_CUT_OFF, "where it stops by itself for cold"),
                (OwnLimit.COLD_RECONNECT, "where it comes back after that"),
            )
        ),
        Key("remote_enabled", Form.YES_NO, "whether its remote input is set to be heeded; not given: it has none"),
        Key("verified_at", Form.TEXT, "where and how one sees that the remote input is heeded"),
        WHY,
    ),
    Section.REQUIREMENTS: (
        Key("never_running", Form.NAMES, "paths that must never run"),
        Key("never_stopped", Form.NAMES, "paths that must never be stopped"),
        Key("while", Form.WHILE, "conditions that must all hold"),
        Key("longer_than", Form.TIME, "for longer than this", required=True),
        Key("attended", Form.YES_NO, "no: nobody gives the manual resets"),
        Key("protects", Form.YES_NO, "yes, with never_stopped: it protects by running, so a stop is harm"),
        WHY,
    ),
    Section.STEPS: (
        Key("set", Form.SETTINGS, "sensors' readings, quantities, external lines from here on"),
        Key("press", Form.NAMES, "lines that are on for one scan"),
        Key("fault", Form.FAULTS, "faults that are there from here on"),
        Key("repair", Form.FAULTS, "faults that end here"),
        Key("for", Form.TIME, "how long the step lasts (default: one scan)"),
        Key("expect", Form.EXPECTATIONS, "what must be so at its end"),
        WHY,
    ),
    Section.FAULTS: (
        Key("excluded", Form.TEXT, "the reason why this fault is left out"),
        Key("together", Form.FAULTS, "a common cause: these faults at once, counted as one"),
        Key("like", Form.NAME, "an added fault acts like this one of the same sensor: drifted or misplaced"),
        Key("error", Form.ERRORS, "the error of an added drifted or misplaced fault"),
        Key("rate", Form.RATE, "failures per hour"),
        Key("source", Form.TEXT, "where the rate comes from"),
        WHY,
    ),
}
assert set(KEYS) == set(Section), set(Section) - set(KEYS)


def _rated(name: str, dimension: Dimension, says: str) -> Key:
    return Key(name, Form.RATED, says, dimension=dimension)


_CURVE = (
    _rated("r25", Dimension.RESISTANCE, "its resistance at 25 degC"),
    _rated("beta", Dimension.WARMTH, "by the beta formula: R = r25 exp(beta (1/T - 1/298.15 K))"),
    Key("steinhart_hart", Form.COEFFICIENTS, "[a, b, c]: 1/T = a + b ln R + c (ln R)^3, R in ohm, T in K"),
    Key("polynomial", Form.COEFFICIENTS, "[a, b, c, d]: 1/T = a + b l + c l^2 + d l^3, l = ln(R/r25), T in K"),
    Key("table", Form.ROWS, "its maker's table; between two rows ln R is linear in 1/T"),
)

NESTED: dict[Nested, tuple[Key, ...]] = {
    Nested.ELEMENT: (
        Key("type", Form.WORD, "what it is", required=True, words=ElementType),
        *_CURVE,
        Key("tolerance", Form.VALUE, "of an NTC at every temperature, in % of its resistance or in K"),
        Key("class", Form.WORD, "of platinum: its tolerance class by IEC 60751", words=PlatinumClass),
        _rated("dissipates", Dimension.DISSIPATION, "of a thermometer: the power that warms it by 1 K"),
        _rated("top", Dimension.RESISTANCE, "of a divider: the resistor from the voltage to the input"),
        _rated("bottom", Dimension.RESISTANCE, "of a divider: the resistor from the input to the negative"),
        _rated("rated_current", Dimension.CURRENT, "of a shunt: the current at which it drops rated_voltage"),
        _rated("rated_voltage", Dimension.VOLTAGE, "of a shunt: what it drops at rated_current"),
        WHY,
    ),
    Nested.INPUT: (
        _rated("pull_up", Dimension.RESISTANCE, "the resistor from the supply to a thermometer"),
        _rated("pull_down", Dimension.RESISTANCE, "the resistor from a thermometer to the negative"),
        _rated("supply", Dimension.VOLTAGE, "what feeds it, where that is not the converter's reference"),
        _rated("reference", Dimension.VOLTAGE, "the converter's full scale"),
        Key("bits", Form.COUNT, "of the converter, which is off by up to one step"),
        Key("leads", Form.SPAN, "the resistance of the leads, there and back"),
        _rated("gain", Dimension.GAIN, "of an amplifier before the converter (default 1)"),
        _rated("zero", Dimension.VOLTAGE, "what the converter sees of 0 V (default 0 V)"),
        Key("converts_by", Form.CURVE, "the curve the controller goes by, where it is not the element's"),
        WHY,
    ),
    Nested.CURVE: (*_CURVE, WHY),
}
assert set(NESTED) == set(Nested), set(Nested) - set(NESTED)
