"""The closed sets of words a scheme may use. Each set is written here and nowhere else."""

from __future__ import annotations

from enum import Enum


class Word(Enum):
    """A closed set of words; `str()` gives the word as it is written in a scheme."""

    __hash__ = object.__hash__  # each word is one object, and looking it up is what searches do most

    def __str__(self) -> str:
        return str(self._value_)


class Compare(Word):
    """How a value is compared with a limit. The plain words are strict."""

    BELOW = "below"
    ABOVE = "above"
    AT_OR_BELOW = "at_or_below"
    AT_OR_ABOVE = "at_or_above"

    @property
    def downward(self) -> bool:
        """True where the condition holds on the low side of the limit."""
        return self in (Compare.BELOW, Compare.AT_OR_BELOW)

    @property
    def strict(self) -> bool:
        """True where the limit itself does not meet the condition."""
        return self in (Compare.BELOW, Compare.ABOVE)


class State(Word):
    """The five states of a rule's machine."""

    CLEAR = "clear"
    PICKING_UP = "picking_up"
    TRIPPED = "tripped"
    DROPPING_OFF = "dropping_off"
    AWAITING_RESET = "awaiting_reset"

    @property
    def active(self) -> bool:
        """True in the states in which the rule acts."""
        return self in (State.TRIPPED, State.DROPPING_OFF, State.AWAITING_RESET)


class ElementType(Word):
    """What a sensor is made of."""

    NTC = "ntc"
    PT100 = "pt100"
    PT1000 = "pt1000"
    DIVIDER = "divider"
    SHUNT = "shunt"


class PlatinumClass(Word):
    """The tolerance classes of IEC 60751 that probes are sold in."""

    A = "A"
    B = "B"


class OnInvalid(Word):
    """What an invalid reading counts as."""

    TRIP = "trip"
    HOLD = "hold"
    CLEAR = "clear"


class PowerUp(Word):
    """The state a rule takes when its unit powers up."""

    TRIPPED = "tripped"
    CLEAR = "clear"
    AS_LEFT = "as_left"


class Reset(Word):
    """Who ends an active rule once its clear condition has held: the rule itself or a person."""

    AUTOMATIC = "automatic"
    MANUAL = "manual"


class Contact(Word):
    """What an output is made of."""

    NORMALLY_OPEN = "normally_open"
    NORMALLY_CLOSED = "normally_closed"
    DRIVEN = "driven"


class DeviceInput(Word):
    """What a device's own input must see for the device to run."""

    CLOSED = "closed"
    OPEN = "open"
    HIGH = "high"
    LOW = "low"

    @property
    def when_made(self) -> bool:
        """True where the device runs on a closed contact or a high level."""
        return self in (DeviceInput.CLOSED, DeviceInput.HIGH)


class EnergisedWhen(Word):
    """Whether an output is energised while its paths may run, or while they must stop."""

    RUNS = "runs"
    STOPS = "stops"


class Combine(Word):
    """How a derived reading combines its sensors."""

    LOWEST_OF = "lowest_of"
    HIGHEST_OF = "highest_of"
    MEDIAN_OF = "median_of"
    DIFFERENCE_OF = "difference_of"
    AVERAGE_OF = "average_of"


class Direction(Word):
    """Which way a path's current flows, seen from the pack."""

    CHARGE = "charge"
    DISCHARGE = "discharge"


class FlowWord(Word):
    """The flow of a path without modes."""

    CHARGE = "charge"
    DISCHARGE = "discharge"
    BOTH = "both"
    NONE = "none"


class LineForm(Word):
    """Where a line's signal comes from."""

    EXTERNAL = "external"
    LOW_WHEN = "low_when"
    HIGH_WHEN = "high_when"
    CONFIRMS = "confirms"

    @property
    def sent(self) -> bool:
        """True for a line that a unit's rules send."""
        return self in (LineForm.LOW_WHEN, LineForm.HIGH_WHEN)


class Must(Word):
    """What a requirement demands of its paths."""

    NEVER_RUNNING = "never_running"
    NEVER_STOPPED = "never_stopped"


class OwnLimit(Word):
    """The settings inside a device that have to do with the pack."""

    ABSORPTION = "absorption"
    FLOAT = "float"
    HIGH_CUT_OFF = "high_cut_off"
    HIGH_RECONNECT = "high_reconnect"
    LOW_CUT_OFF = "low_cut_off"
    LOW_RECONNECT = "low_reconnect"
    HOT_CUT_OFF = "hot_cut_off"
    HOT_RECONNECT = "hot_reconnect"
    COLD_CUT_OFF = "cold_cut_off"
    COLD_RECONNECT = "cold_reconnect"

    @property
    def charges(self) -> bool:
        """True for a voltage that the device charges to; the others are limits at which it stops or comes back."""
        return self in (OwnLimit.ABSORPTION, OwnLimit.FLOAT)

    @property
    def of_heat(self) -> bool:
        """True for a limit on a temperature."""
        return str(self).startswith(("hot", "cold"))

    @property
    def downward(self) -> bool:
        """True where it acts below its value: a stop on the low side, or coming back from the high one."""
        return self in (
            OwnLimit.LOW_CUT_OFF, OwnLimit.COLD_CUT_OFF, OwnLimit.HIGH_RECONNECT, OwnLimit.HOT_RECONNECT,
        )  # fmt: skip

    @property
    def cut_off(self) -> OwnLimit | None:
        """The cut-off from which a re-connect comes back; None for all others."""
        name = str(self)
        return OwnLimit(name.replace("_reconnect", "_cut_off")) if name.endswith("_reconnect") else None


class Signal(Word):
    """What a condition can look at."""

    QUANTITY = "quantity"
    SENSOR = "sensor"
    READING = "reading"
    LINE = "line"
    PATH = "path"
    RULE = "rule"

    @property
    def numeric(self) -> bool:
        """True where the condition compares a value with a limit."""
        return self in (Signal.QUANTITY, Signal.SENSOR, Signal.READING)


# The two words of each two-valued signal: (true, false).
TWO_WORDS: dict[Signal, tuple[str, str]] = {
    Signal.LINE: ("on", "off"),
    Signal.PATH: ("running", "stopped"),
    Signal.RULE: ("active", "clear"),
}


class Part(Word):
    """The kinds of part that can fail."""

    SENSOR = "sensor"
    LINE = "line"
    OUTPUT = "output"
    PATH = "path"
    UNIT = "unit"
    RULE = "rule"


class Mode(Word):
    """The ways in which a part can fail."""

    OPEN = "open"
    SHORTED = "shorted"
    STUCK = "stuck"
    DRIFTED = "drifted"
    MISPLACED = "misplaced"
    BROKEN = "broken"
    INVERTED = "inverted"
    WELDED = "welded"
    WIRE_BROKEN = "wire_broken"
    WRONG_CONTACT = "wrong_contact"
    IGNORED = "ignored"
    BYPASSED = "bypassed"
    SWAPPED = "swapped"
    DEAD = "dead"
    FROZEN = "frozen"
    POWER_CYCLED = "power_cycled"
    OMITTED = "omitted"

    @property
    def installation(self) -> bool:
        """True for a mistake of installation, there from power-up; the others arise in service, at any scan."""
        return self in _INSTALLATION


_INSTALLATION = frozenset(
    {Mode.INVERTED, Mode.WRONG_CONTACT, Mode.IGNORED, Mode.BYPASSED, Mode.MISPLACED, Mode.SWAPPED, Mode.OMITTED}
)

# The modes each kind of part has by itself; `drifted` and `misplaced` only where the scheme says how far.
MODES: dict[Part, tuple[Mode, ...]] = {
    Part.SENSOR: (Mode.OPEN, Mode.SHORTED, Mode.STUCK, Mode.DRIFTED, Mode.MISPLACED),
    Part.LINE: (Mode.BROKEN, Mode.SHORTED, Mode.INVERTED),
    Part.OUTPUT: (Mode.WELDED, Mode.WIRE_BROKEN, Mode.WRONG_CONTACT, Mode.IGNORED),
    Part.PATH: (Mode.BYPASSED,),
    Part.UNIT: (Mode.DEAD, Mode.FROZEN, Mode.POWER_CYCLED),
    Part.RULE: (Mode.OMITTED,),
}

SOURCES, LOADS, ALL = "sources", "loads", "all"
BUILT_IN_GROUPS: dict[str, frozenset[Direction]] = {
    SOURCES: frozenset({Direction.CHARGE}),
    LOADS: frozenset({Direction.DISCHARGE}),
    ALL: frozenset({Direction.CHARGE, Direction.DISCHARGE}),
}
