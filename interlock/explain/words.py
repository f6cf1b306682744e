"""Every sentence the explanation can say, once, in English; a catalogue for another language has the same keys.

A template's fields in braces are names, values, or other phrases. Each closed set of the scheme's words has its table
of phrases below; a table that misses a member fails when this module is imported, naming it.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, unique
from typing import Final, TypeVar

from interlock.scheme.words import (
    Combine,
    Compare,
    Contact,
    DeviceInput,
    EnergisedWhen,
    FlowWord,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    Part,
    PowerUp,
    Reset,
    Signal,
    State,
    Word,
)

E = TypeVar("E", bound=Enum)
V = TypeVar("V")


def complete(table: Mapping[E, V], members: type[E], where: str) -> Mapping[E, V]:
    """The table, if it has every member. Raises TypeError naming those it misses."""
    missing = [member.name for member in members if member not in table]
    if missing:
        raise TypeError(f"{where} misses {members.__name__}.{f', {members.__name__}.'.join(missing)}")
    return table


class Section(Word):
    """The sections of the explanation, in their order."""

    OVERVIEW = "overview"
    QUANTITIES = "quantities"
    SENSORS = "sensors"
    READINGS = "readings"
    LINES = "lines"
    RULES = "rules"
    GROUPS = "groups"
    PATHS = "paths"
    OUTPUTS = "outputs"
    REQUIREMENTS = "requirements"
    NOT_PROTECTED = "not_protected"
    CASES = "cases"
    FAULTS = "faults"
    EXCLUDED = "excluded"
    RATES = "rates"
    ACCEPTED = "accepted"


class Cause(Word):
    """What can decide over an output's chain."""

    RUNS = "runs"
    STOPS = "stops"
    UNIT_DEAD = "unit_dead"
    WIRE_BROKEN = "wire_broken"
    CONTACT_WELDED = "contact_welded"


@unique
class Say(Enum):
    """The templates."""

    # Joining
    AND = " and "
    OR = " or "
    COMMA = ", "
    SEMICOLON = "; "
    EITHER_WHOLE = ", or "
    WHY = "Why: {why}."
    LABELS = "Connected: {labels}."
    LABEL_TERMINAL = "terminal {terminal}"
    LABEL_WIRE = "wire {wire}"
    ROUNDED = "{time} (which takes {scans} scans)"
    PLUS = "{name} plus {difference}"
    MINUS = "{name} minus {difference}"

    # Titles
    TITLE_OVERVIEW = "How to read this"
    TITLE_QUANTITIES = "What is protected"
    TITLE_SENSORS = "What is measured"
    TITLE_READINGS = "What is worked out from several sensors"
    TITLE_LINES = "Signals that are on or off"
    TITLE_RULES = "Rules"
    TITLE_GROUPS = "Groups of paths"
    TITLE_PATHS = "Paths: what carries current"
    TITLE_OUTPUTS = "Outputs: from permit to device"
    TITLE_REQUIREMENTS = "Requirements"
    TITLE_NOT_PROTECTED = "Not protected"
    TITLE_CASES = "Cases"
    TITLE_FAULTS = "Faults that are reckoned with"
    TITLE_EXCLUDED = "Faults left out"
    TITLE_RATES = "How often faults arise"
    TITLE_ACCEPTED = "Findings that are accepted"
    HEADING_RULE = "{name} (evaluated by {unit})"
    HEADING_OUTPUT = "{name} (of {unit})"

    # Overview
    OVERVIEW_REVISION = "This is revision {revision}."
    OVERVIEW_SCAN = (
        "Every {scan} each unit reads its inputs, decides and sets its outputs: that is one scan. "
        "Delays are counted in whole scans, rounded up."
    )
    OVERVIEW_ONE_UNIT = "One unit evaluates the rules: {unit}."
    OVERVIEW_UNITS = "{count} units evaluate the rules: {units}."
    OVERVIEW_TRUTH = "Nothing is assumed about how fast a true value changes."
    OVERVIEW_TRIP = "A rule that trips acts from then on, until it clears."
    OVERVIEW_RUN = (
        "A path runs when it is let run; whether current then flows is up to the source, the load and their users."
    )
    OVERVIEW_LOST = "A reading is lost when it is outside the sensor's valid range or a fault makes it so."
    OVERVIEW_RELEASED = "An output is released when it is not energised, as it is whenever its unit has no power."

    # Quantities and sensors
    QUANTITY_SPAN = "A {noun}, anywhere from {low} to {high}."
    QUANTITY_AT_LEAST = "It is never below {bound}."
    QUANTITY_AT_MOST = "It is never above {bound}."
    QUANTITY_MEASURED = "It is measured by {sensors}."
    QUANTITY_UNMEASURED = "No sensor measures it."
    SENSOR_MEASURES = "It reads {errors}."
    ERROR_EITHER = "{quantity} up to {low} too low or up to {high} too high"
    ERROR_LOW = "{quantity} up to {low} too low, never too high"
    ERROR_HIGH = "{quantity} up to {high} too high, never too low"
    ERROR_ALWAYS_LOW = "{quantity} too low by {least} to {most}"
    ERROR_ALWAYS_HIGH = "{quantity} too high by {least} to {most}"
    ERROR_NONE = "{quantity} exactly"
    SENSOR_VALID = "Readings from {low} to {high} are valid; any other reading counts as lost."
    SENSOR_OPEN_LOST = "An open lead loses the reading."
    SENSOR_OPEN_READS = "With an open lead it reads {value}, which is valid: the fault does not show."
    SENSOR_OPEN_READS_INVALID = "With an open lead it reads {value}, which counts as lost."
    SENSOR_SHORTED_LOST = "A shorted lead loses the reading."
    SENSOR_SHORTED_READS = "With a shorted lead it reads {value}, which is valid: the fault does not show."
    SENSOR_SHORTED_READS_INVALID = "With a shorted lead it reads {value}, which counts as lost."
    SENSOR_STALE = "If it sticks at one reading, the reading counts as lost after {time}."
    SENSOR_STUCK = "If it sticks at one reading, nothing notices."
    SENSOR_DRIFTS = "If it drifts, it may instead read {errors}."
    SENSOR_MISPLACED = "If it is put in the wrong place, it may instead read {errors}."
    SENSOR_USED_BY = "It is used by {users}."
    SENSOR_UNUSED = "No rule uses it."
    READING_IS = "It is {combined} of {sensors}."
    READING_NEEDS_ALL = "If one of them is lost, it is lost."
    READING_NEEDS = "It is worked out from those that are valid; with fewer than {needs} of {count} it is lost."
    COMBINE_LOWEST = "the lowest"
    COMBINE_HIGHEST = "the highest"
    COMBINE_MEDIAN = "the middle one"
    COMBINE_DIFFERENCE = "the difference between the highest and the lowest"
    COMBINE_AVERAGE = "the mean"

    # Conditions
    LIMIT_BELOW = "below {value}"
    LIMIT_ABOVE = "above {value}"
    LIMIT_AT_OR_BELOW = "at or below {value}"
    LIMIT_AT_OR_ABOVE = "at or above {value}"
    READS = "{name} reads {value}"
    HAS_READ = "{name} has read {value} for {time}"
    IS = "{name} is {value}"
    HAS_BEEN = "{name} has been {value} for {time}"
    TOLD = "{name} is told to {value}"
    HAS_BEEN_TOLD = "{name} has been told to {value} for {time}"
    ON = "on"
    OFF = "off"
    TO_RUN = "run"
    TO_STOP = "stop"
    RUNNING = "running"
    STOPPED = "stopped"
    ACTIVE = "active"
    CLEAR = "clear"
    STATE_PICKING_UP = "picking up (its trip delay runs)"
    STATE_TRIPPED = "tripped"
    STATE_DROPPING_OFF = "dropping off (its clear delay runs)"
    STATE_AWAITING_RESET = "waiting for a reset"

    # Rules
    RULE_DOES = "When {trips} it trips and {effects}; {clears}."
    RULE_ONLY_TRIPS = "When {trips} it trips; {clears}."
    CLEARS_AT_ONCE = "it clears by itself as soon as {clears}"
    CLEARS_AFTER = "it clears by itself once {clears}"
    CLEARS_BY_PERSON = "once {clears} it waits for a person, and a new press of {line} clears it"
    CLEARS_BY_NOBODY = "once {clears} it waits for a person, but no line is there to reset it"
    RULE_HELD_BUTTON = "A button held down does not count as a new press."
    STOPS = "stops {targets}"
    STARTS = "starts {targets}"
    TURNS_OFF = "turns {lines} off"
    TURNS_ON = "turns {lines} on"
    RAISES_ALARM = "raises the alarm “{words}”"
    GROUP_SOURCES = "every charge source ({paths})"
    GROUP_LOADS = "every load ({paths})"
    GROUP_ALL = "every charge source and every load ({paths})"
    GROUP_OTHER = "{group} ({paths})"
    TARGET_WHILE = "{path} while {conditions}"
    RULE_WATCHED_BY = "It is watched by {rules}."
    RULE_LOST_AT_ONCE = "If the reading is lost it trips."
    RULE_LOST_AFTER = "If the reading is lost for {time} it trips."
    RULE_LOST_HOLDS = "While the reading is lost it stays as it is, and its delays stand still."
    RULE_LOST_CLEARS = "A lost reading counts as nothing wrong: it does not trip on one, and it clears on one."
    RULE_STARTS_TRIPPED = "After power-up it starts tripped."
    RULE_STARTS_CLEAR = "After power-up it starts clear."
    RULE_STARTS_AS_LEFT = (
        "A power cut leaves it as it was, a running delay begun again; the first time it starts tripped."
    )
    RULE_ONLY_WHILE = "It acts only while {conditions}."
    RULE_OVERRIDE_LIMITED = (
        "While {line} reads on it does not act, for at most {time}; {line} must have read off before it counts again."
    )
    RULE_OVERRIDE_UNLIMITED = "While {line} reads on it does not act, however long; {line} must first have read off."

    # Paths and groups
    GROUP_HOLDS = "It stands for {paths}."
    GROUP_EMPTY = "It stands for no path."
    PATH_CHARGES = "It charges the pack."
    PATH_DRAWS = "It draws from the pack."
    PATH_BOTH = "Its current flows both ways: it charges the pack and draws from it."
    PATH_NEITHER = "It neither charges the pack nor draws from it."
    PATH_CHARGES_WHILE = "It charges the pack while {conditions}."
    PATH_DRAWS_WHILE = "It draws from the pack while {conditions}."
    PATH_BEHIND = "Its current passes {behind} too, so it runs only while {behind} runs."
    PATH_CARRIES = "The current of {paths} passes it, so what stops it stops them too."
    PATH_UNSWITCHED = "It has no output, so nothing can stop it, and that is meant: {reason}."
    PATH_OUTPUT = "{output} lets it run."
    PATH_OUTPUTS = "It runs only while each of {outputs} lets it."
    PATH_STOPPED_BY = "It is stopped by:"
    PATH_STOPPER = "{rule}, when {condition}"
    PATH_STOPPER_WHILE = "{rule}, when {condition}, but only while {conditions}"
    PATH_STOPPED_BEHIND = "whatever stops {behind}"
    PATH_NO_STOPPER = "No rule stops it."
    PATH_STARTED_BY = "It runs only while {rules} asks for it."
    PATH_STARTED_BY_ANY = "It runs only while one of {rules} asks for it."
    PATH_ALWAYS_WANTED = "Nothing has to start it."
    PATH_REQUIRED = "Requirements on it: {requirements}."
    PATH_NOT_REQUIRED = "No requirement is made of it."

    # Outputs
    OUTPUT_ON = "It is on while no rule of {unit} stops {paths}."
    OUTPUT_ON_WANTED = "It is on while no rule of {unit} stops {paths} and one asks for it."
    OUTPUT_ON_ANY = "It is on while no rule of {unit} stops any of {paths}: one stop stops them all."
    OUTPUT_ON_ANY_WANTED = "It is on while no rule of {unit} stops any of {paths} and one asks for one of them."
    OUTPUT_ENERGISED_RUNS = "It is energised while on."
    OUTPUT_ENERGISED_STOPS = "It is energised while not on: released, it lets {paths} run."
    CHAIN = "{cause}: {links}: {result}."
    CAUSE_RUNS = "When {unit} lets it run"
    CAUSE_STOPS = "When {unit} stops it"
    CAUSE_UNIT_DEAD = "If {unit} dies or loses its power"
    CAUSE_WIRE_BROKEN = "If the wire breaks"
    CAUSE_WELDED = "If the contact welds shut"
    CAUSE_STUCK_HIGH = "If the output sticks high"
    LINK_ENERGISED = "{output} is energised"
    LINK_RELEASED = "{output} is released"
    LINK_WHATEVER = "whatever {unit} says"
    CONTACT_NO_CLOSED = "its normally open contact is closed"
    CONTACT_NO_OPEN = "its normally open contact is open"
    CONTACT_NC_CLOSED = "its normally closed contact is closed"
    CONTACT_NC_OPEN = "its normally closed contact is open"
    CONTACT_HIGH = "its level is high"
    CONTACT_LOW = "its level is low"
    INPUT_CLOSED = "the device sees a closed input"
    INPUT_OPEN = "the device sees an open input"
    INPUT_HIGH = "the device sees a high input"
    INPUT_LOW = "the device sees a low input"
    RESULT_RUNS = "{paths} may run"
    RESULT_STOPPED = "{paths} is stopped"
    RESULT_STOPPED_MANY = "{paths} are stopped"
    OUTPUT_NEEDS_CLOSED = "The device runs on a closed input and stops on an open one."
    OUTPUT_NEEDS_OPEN = "The device runs on an open input and stops on a closed one."
    OUTPUT_NEEDS_HIGH = "The device runs on a high input and stops on a low one."
    OUTPUT_NEEDS_LOW = "The device runs on a low input and stops on a high one."
    OUTPUT_STOPS_WITHIN = "Told to stop, it may run on for {time}."
    OUTPUT_STARTS_WITHIN = "Told to run, it may take {time} to start."
    OUTPUT_CONFIRMED = "{lines} tells whether its contact is really closed."

    # Lines
    LINE_EXTERNAL = "It comes from outside the units and may be on or off at any time."
    LINE_LOW_WHEN = "{unit} sends it: off while {rules} is active, else on."
    LINE_LOW_WHEN_ANY = "{unit} sends it: off while any of {rules} is active, else on."
    LINE_HIGH_WHEN = "{unit} sends it: on while {rules} is active, else off."
    LINE_HIGH_WHEN_ANY = "{unit} sends it: on while any of {rules} is active, else off."
    LINE_CONFIRMS = "An auxiliary contact of {output}: on while the contact of {output} is really closed."
    LINE_BROKEN = "If its wire breaks it reads {value}: {consequences}."
    LINE_BROKEN_OR_DEAD = "If its wire breaks or {unit} dies it reads {value}: {consequences}."
    LINE_TRIPS = "{rule} trips and {effects}"
    LINE_ONLY_TRIPS = "{rule} trips"
    LINE_TRIPS_AFTER = "after {time} {rule} trips and {effects}"
    LINE_ONLY_TRIPS_AFTER = "after {time} {rule} trips"
    LINE_NEVER_TRIPS = "{rule} can no longer trip"
    LINE_NO_RESET = "nobody can reset {rule}"
    LINE_NO_OVERRIDE = "{rule} can no longer be overridden"
    LINE_OVERRIDES = "{rule} does not act for as long as the wire is broken"
    LINE_OVERRIDES_ONCE = "{rule} does not act for {time}, then it can no longer be overridden"
    LINE_ACTS_ALWAYS = "{rule} then acts whenever it is tripped"
    LINE_ACTS_NEVER = "{rule} can no longer act"
    LINE_MODE_COVERED = "{rule} stops {path} in either mode"
    LINE_MODE_MISSED = "{rule} no longer stops {path}"
    LINE_UNREAD = "no rule reads it"

    # Requirements
    MUST_NOT_RUN = "{paths} must never run for longer than {time}."
    MUST_NOT_RUN_WHILE = "{paths} must never run for longer than {time} while {conditions}."
    MUST_NOT_RUN_AT_ALL = "{paths} must never run."
    MUST_NOT_RUN_AT_ALL_WHILE = "{paths} must never run while {conditions}, not even for one scan."
    MUST_NOT_STOP = "{paths} must never be stopped for longer than {time}."
    MUST_NOT_STOP_WHILE = "{paths} must never be stopped for longer than {time} while {conditions}."
    MUST_NOT_STOP_AT_ALL = "{paths} must never be stopped."
    MUST_NOT_STOP_AT_ALL_WHILE = "{paths} must never be stopped while {conditions}, not even for one scan."
    EACH_OF = "Each of {paths}"
    PATH_IN_MODE = "{path} (in the mode in which {conditions})"
    REQUIREMENT_ATTENDED = "Someone is there who gives each manual reset as soon as it counts."
    REQUIREMENT_UNATTENDED = "Nobody is there to reset anything."
    NOT_PROTECTED = "{path} cannot be stopped, so nothing here keeps this requirement: {requirement}"

    # Cases
    STEP = "Step {number}: {doings}."
    STEP_NOTED = "{step} ({note}.)"
    STEP_LOOK = "look"
    STEP_SET = "set {name} to {value}"
    STEP_TURN = "turn {name} {value}"
    STEP_PRESS = "press {lines} for one scan"
    STEP_FAULT = "let {faults} arise"
    STEP_REPAIR = "mend {faults}"
    STEP_FOR = "wait {time}"
    STEP_EXPECT = "then {expected}"

    # Faults
    FAULT_PARTS = "Parts: {parts}."
    FAULT_COUNT = "Faults of this kind: {count}."
    FAULT_PAIRS = "Pairs: {pairs}."
    PAIR_ANY_TWO = "any two of {parts}"
    PAIR_WITH = "{part} with {others}"
    ARISES_IN_SERVICE = "It can arise at any time and then stays."
    ARISES_AT_INSTALLATION = "It is a mistake of installation, there from the first power-up."
    ARISES_AGAIN = "It can happen at any time, as often as it likes."
    MODE_OPEN = "A sensor's lead is open."
    MODE_SHORTED_SENSOR = "A sensor's lead is shorted."
    MODE_SHORTED_LINE = "A signal line is shorted and reads the opposite of what its broken wire reads."
    MODE_STUCK = "A sensor stays at the reading it had."
    MODE_DRIFTED = "A sensor has drifted."
    MODE_MISPLACED = "A sensor sits in the wrong place."
    MODE_BROKEN = "A signal line's wire is broken."
    MODE_INVERTED = "A signal line is read the wrong way round."
    MODE_WELDED = "An output's contact stays closed, or its driven level high, whatever its unit does."
    MODE_WIRE_BROKEN = "The wire from an output to its device is broken: the device sees an open or low input."
    MODE_WRONG_CONTACT = "An output has the wrong contact: normally open and normally closed are exchanged."
    MODE_IGNORED = "A device does not heed its input and always runs."
    MODE_BYPASSED = "Current finds a way round all that could stop a path."
    MODE_SWAPPED_SENSOR = "Two sensors are connected the wrong way round."
    MODE_SWAPPED_LINE = "Two signal lines are connected the wrong way round."
    MODE_SWAPPED_OUTPUT = "Two outputs are connected to each other's devices."
    MODE_DEAD = "A unit is dead: its outputs are released and the lines it sends are not driven."
    MODE_FROZEN = "A unit hangs: its outputs and the lines it sends stay as they are."
    MODE_POWER_CYCLED = "A unit loses its power for a moment and starts again."
    MODE_OMITTED = "A rule is not there."
    COMMON_CAUSE = "{faults} at once, counted as one fault."
    EXCLUDED = "It is left out: {reason}."
    RATE = "{rate} per hour ({source})."
    ACCEPTED = "The finding {finding} is accepted: {reason}."


ENGLISH: Final[Mapping[Say, str]] = {key: key.value for key in Say}

TITLES: Final = complete({s: Say["TITLE_" + s.name] for s in Section}, Section, "section titles")

LIMITS: Final = complete(
    {
        Compare.BELOW: Say.LIMIT_BELOW,
        Compare.ABOVE: Say.LIMIT_ABOVE,
        Compare.AT_OR_BELOW: Say.LIMIT_AT_OR_BELOW,
        Compare.AT_OR_ABOVE: Say.LIMIT_AT_OR_ABOVE,
    },
    Compare,
    "limits in words",
)

# A condition as its reader sees it: now, and for some time.
SEEN: Final = complete(
    {
        Signal.QUANTITY: (Say.IS, Say.HAS_BEEN),
        Signal.SENSOR: (Say.READS, Say.HAS_READ),
        Signal.READING: (Say.READS, Say.HAS_READ),
        Signal.LINE: (Say.READS, Say.HAS_READ),
        Signal.PATH: (Say.TOLD, Say.HAS_BEEN_TOLD),
        Signal.RULE: (Say.IS, Say.HAS_BEEN),
    },
    Signal,
    "conditions as seen",
)

# The two sides of a two-valued signal, (true, false): as its reader sees it, and in truth. Values have none.
SIDES_SEEN: Final = complete(
    {
        Signal.QUANTITY: None,
        Signal.SENSOR: None,
        Signal.READING: None,
        Signal.LINE: (Say.ON, Say.OFF),
        Signal.PATH: (Say.TO_RUN, Say.TO_STOP),
        Signal.RULE: (Say.ACTIVE, Say.CLEAR),
    },
    Signal,
    "sides as seen",
)
SIDES_TRUE: Final = complete({**SIDES_SEEN, Signal.PATH: (Say.RUNNING, Say.STOPPED)}, Signal, "sides in truth")

STATES: Final = complete(
    {
        State.CLEAR: Say.CLEAR,
        State.PICKING_UP: Say.STATE_PICKING_UP,
        State.TRIPPED: Say.STATE_TRIPPED,
        State.DROPPING_OFF: Say.STATE_DROPPING_OFF,
        State.AWAITING_RESET: Say.STATE_AWAITING_RESET,
    },
    State,
    "states in words",
)

COMBINED: Final = complete(
    {
        Combine.LOWEST_OF: Say.COMBINE_LOWEST,
        Combine.HIGHEST_OF: Say.COMBINE_HIGHEST,
        Combine.MEDIAN_OF: Say.COMBINE_MEDIAN,
        Combine.DIFFERENCE_OF: Say.COMBINE_DIFFERENCE,
        Combine.AVERAGE_OF: Say.COMBINE_AVERAGE,
    },
    Combine,
    "derived readings in words",
)

# (a rule that trips without delay, one with a delay)
LOST: Final = complete(
    {
        OnInvalid.TRIP: (Say.RULE_LOST_AT_ONCE, Say.RULE_LOST_AFTER),
        OnInvalid.HOLD: (Say.RULE_LOST_HOLDS, Say.RULE_LOST_HOLDS),
        OnInvalid.CLEAR: (Say.RULE_LOST_CLEARS, Say.RULE_LOST_CLEARS),
    },
    OnInvalid,
    "lost readings in words",
)

POWER_UPS: Final = complete(
    {
        PowerUp.TRIPPED: Say.RULE_STARTS_TRIPPED,
        PowerUp.CLEAR: Say.RULE_STARTS_CLEAR,
        PowerUp.AS_LEFT: Say.RULE_STARTS_AS_LEFT,
    },
    PowerUp,
    "power-up in words",
)

# How a rule ends: (without a clear delay or with nobody to reset it, with).
ENDS: Final = complete(
    {
        Reset.AUTOMATIC: (Say.CLEARS_AT_ONCE, Say.CLEARS_AFTER),
        Reset.MANUAL: (Say.CLEARS_BY_NOBODY, Say.CLEARS_BY_PERSON),
    },
    Reset,
    "resets in words",
)

FLOWS: Final = complete(
    {
        FlowWord.CHARGE: Say.PATH_CHARGES,
        FlowWord.DISCHARGE: Say.PATH_DRAWS,
        FlowWord.BOTH: Say.PATH_BOTH,
        FlowWord.NONE: Say.PATH_NEITHER,
    },
    FlowWord,
    "flows in words",
)

# A line by its form: (from one rule or none, from several).
LINE_FORMS: Final = complete(
    {
        LineForm.EXTERNAL: (Say.LINE_EXTERNAL, Say.LINE_EXTERNAL),
        LineForm.LOW_WHEN: (Say.LINE_LOW_WHEN, Say.LINE_LOW_WHEN_ANY),
        LineForm.HIGH_WHEN: (Say.LINE_HIGH_WHEN, Say.LINE_HIGH_WHEN_ANY),
        LineForm.CONFIRMS: (Say.LINE_CONFIRMS, Say.LINE_CONFIRMS),
    },
    LineForm,
    "lines in words",
)

# A contact (closed, open) and what the device then sees at the end of the wire (made, not made).
CONTACTS: Final = complete(
    {
        Contact.NORMALLY_OPEN: (Say.CONTACT_NO_CLOSED, Say.CONTACT_NO_OPEN),
        Contact.NORMALLY_CLOSED: (Say.CONTACT_NC_CLOSED, Say.CONTACT_NC_OPEN),
        Contact.DRIVEN: (Say.CONTACT_HIGH, Say.CONTACT_LOW),
    },
    Contact,
    "contacts in words",
)
INPUTS: Final = complete(
    {
        DeviceInput.CLOSED: (Say.INPUT_CLOSED, Say.INPUT_OPEN),
        DeviceInput.OPEN: (Say.INPUT_CLOSED, Say.INPUT_OPEN),
        DeviceInput.HIGH: (Say.INPUT_HIGH, Say.INPUT_LOW),
        DeviceInput.LOW: (Say.INPUT_HIGH, Say.INPUT_LOW),
    },
    DeviceInput,
    "device inputs in words",
)
NEEDS: Final = complete(
    {
        DeviceInput.CLOSED: Say.OUTPUT_NEEDS_CLOSED,
        DeviceInput.OPEN: Say.OUTPUT_NEEDS_OPEN,
        DeviceInput.HIGH: Say.OUTPUT_NEEDS_HIGH,
        DeviceInput.LOW: Say.OUTPUT_NEEDS_LOW,
    },
    DeviceInput,
    "what devices need, in words",
)
ENERGISED: Final = complete(
    {EnergisedWhen.RUNS: Say.OUTPUT_ENERGISED_RUNS, EnergisedWhen.STOPS: Say.OUTPUT_ENERGISED_STOPS},
    EnergisedWhen,
    "energised when, in words",
)

# A cause by the kind of contact it works on: (a contact, a driven level).
CAUSES: Final = complete(
    {
        Cause.RUNS: (Say.CAUSE_RUNS, Say.CAUSE_RUNS),
        Cause.STOPS: (Say.CAUSE_STOPS, Say.CAUSE_STOPS),
        Cause.UNIT_DEAD: (Say.CAUSE_UNIT_DEAD, Say.CAUSE_UNIT_DEAD),
        Cause.WIRE_BROKEN: (Say.CAUSE_WIRE_BROKEN, Say.CAUSE_WIRE_BROKEN),
        Cause.CONTACT_WELDED: (Say.CAUSE_WELDED, Say.CAUSE_STUCK_HIGH),
    },
    Cause,
    "causes in words",
)

# A demand: (plain, with conditions), for a time and for no time at all.
DEMANDS: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.MUST_NOT_RUN, Say.MUST_NOT_RUN_WHILE),
        Must.NEVER_STOPPED: (Say.MUST_NOT_STOP, Say.MUST_NOT_STOP_WHILE),
    },
    Must,
    "demands in words",
)
DEMANDS_AT_ALL: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.MUST_NOT_RUN_AT_ALL, Say.MUST_NOT_RUN_AT_ALL_WHILE),
        Must.NEVER_STOPPED: (Say.MUST_NOT_STOP_AT_ALL, Say.MUST_NOT_STOP_AT_ALL_WHILE),
    },
    Must,
    "absolute demands in words",
)

# What a mode means, by the kinds of part that can have it.
MODE_MEANS: Final = complete(
    {
        Mode.OPEN: {Part.SENSOR: Say.MODE_OPEN},
        Mode.SHORTED: {Part.SENSOR: Say.MODE_SHORTED_SENSOR, Part.LINE: Say.MODE_SHORTED_LINE},
        Mode.STUCK: {Part.SENSOR: Say.MODE_STUCK},
        Mode.DRIFTED: {Part.SENSOR: Say.MODE_DRIFTED},
        Mode.MISPLACED: {Part.SENSOR: Say.MODE_MISPLACED},
        Mode.BROKEN: {Part.LINE: Say.MODE_BROKEN},
        Mode.INVERTED: {Part.LINE: Say.MODE_INVERTED},
        Mode.WELDED: {Part.OUTPUT: Say.MODE_WELDED},
        Mode.WIRE_BROKEN: {Part.OUTPUT: Say.MODE_WIRE_BROKEN},
        Mode.WRONG_CONTACT: {Part.OUTPUT: Say.MODE_WRONG_CONTACT},
        Mode.IGNORED: {Part.OUTPUT: Say.MODE_IGNORED},
        Mode.BYPASSED: {Part.PATH: Say.MODE_BYPASSED},
        Mode.SWAPPED: {
            Part.SENSOR: Say.MODE_SWAPPED_SENSOR,
            Part.LINE: Say.MODE_SWAPPED_LINE,
            Part.OUTPUT: Say.MODE_SWAPPED_OUTPUT,
        },
        Mode.DEAD: {Part.UNIT: Say.MODE_DEAD},
        Mode.FROZEN: {Part.UNIT: Say.MODE_FROZEN},
        Mode.POWER_CYCLED: {Part.UNIT: Say.MODE_POWER_CYCLED},
        Mode.OMITTED: {Part.RULE: Say.MODE_OMITTED},
    },
    Mode,
    "fault modes in words",
)
