"""The frozen, typed model of a scheme: what every other part of the project reads.

Values are whole millionths of their kind's base unit (`units.py`), times whole microseconds, delays also counted in
scans. Every name is resolved; groups are expanded; `place` says where a thing stands in its file and never takes part
in comparisons.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct, field

from interlock.elements.records import Sensing
from interlock.records import Aside
from interlock.scheme.source import NOWHERE, Place
from interlock.scheme.units import Kind
from interlock.scheme.words import (
    Combine,
    Compare,
    Contact,
    DeviceInput,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    OwnLimit,
    Part,
    PowerUp,
    Reset,
    Signal,
    State,
)


class Interval(Struct, frozen=True):
    """A closed interval of values or differences, in millionths: low <= high."""

    low: int
    high: int

    def __contains__(self, value: int) -> bool:
        return self.low <= value <= self.high


class Limit(Struct, frozen=True):
    """A comparison with a limit, in millionths."""

    compare: Compare
    value: int


# What a condition asks of its signal: a limit for a value; for a two-valued signal the wanted side
# (True: on, running, active; False: off, stopped, clear).
Test = Limit | bool


class Condition(Aside, frozen=True, eq=False):
    """`signal name` meets `test`."""

    signal: Signal
    name: str
    test: Test
    place: Place = NOWHERE


class Delay(Struct, frozen=True):
    """A time in microseconds and the whole number of scans it takes, rounded up."""

    us: int
    scans: int


class Tie(Struct, frozen=True):
    """A bound by another quantity of the same kind: that quantity's value plus `difference`."""

    other: str
    difference: int


class Quantity(Aside, frozen=True, eq=False):
    """Physical truth: anywhere in its span at any scan, within its ties."""

    name: str
    kind: Kind
    span: Interval
    at_least: Tie | None = None
    at_most: Tie | None = None
    why: str = ""
    damaged_below: int | None = None
    damaged_above: int | None = None
    place: Place = NOWHERE


class SensorError(Struct, frozen=True):
    """reading - truth of one quantity lies in `interval`."""

    quantity: str
    interval: Interval


class Sensed(Struct, frozen=True):
    """What a sensor is made of, and what follows from that: per quantity the error, the element's place (`placed`)
    included; what an open and a shorted lead read (None: nothing valid). `stated`: which of the keys measures,
    open_reads and shorted_reads the scheme gives by hand as well; those then count."""

    sensing: Sensing
    placed: tuple[SensorError, ...]
    own: Interval  # reading minus the temperature, voltage or current at the element's place
    errors: tuple[SensorError, ...]
    open_reads: int | None
    shorted_reads: int | None
    stated: frozenset[str]


class Sensor(Aside, frozen=True, eq=False):
    """An instrument. `drifts` and `misplaced` are () where the sensor has no such fault."""

    name: str
    kind: Kind
    measures: tuple[SensorError, ...]
    valid: Interval
    drifts: tuple[SensorError, ...] = ()
    misplaced: tuple[SensorError, ...] = ()
    open_reads: int | None = None  # None: an open lead makes the reading invalid
    shorted_reads: int | None = None
    stale_after: Delay | None = None
    terminal: str = ""
    wire: str = ""
    why: str = ""
    place: Place = NOWHERE
    element: Sensed | None = None


class Reading(Aside, frozen=True, eq=False):
    """A derived reading: its valid sensors combined; invalid when fewer than `needs` of them are valid.

    The values of `difference_of` are differences of its kind.
    """

    name: str
    kind: Kind
    combine: Combine
    sensors: tuple[str, ...]
    needs: int
    why: str = ""
    place: Place = NOWHERE


class Line(Aside, frozen=True, eq=False):
    """An on/off signal. `rules` and `unit` (the sender) for sent lines, `output` for a confirming contact."""

    name: str
    form: LineForm
    rules: tuple[str, ...] = ()
    unit: str = ""
    output: str = ""
    undriven_reads: bool = False
    terminal: str = ""
    wire: str = ""
    why: str = ""
    place: Place = NOWHERE


class Trigger(Aside, frozen=True, eq=False):
    """A rule's trip or clear condition and the time it must hold."""

    test: Test
    delay: Delay
    place: Place = NOWHERE


# Alternatives of joint conditions: () means always, else at least one of the alternatives holds whole.
AnyOf = tuple[tuple[Condition, ...], ...]


class Target(Struct, frozen=True):
    """A path a rule blocks; `when` limits the block to the modes in which the path belongs to the blocked group."""

    path: str
    when: AnyOf = ()
    group: str = ""  # the group through which the path came in; "" where the rule names it


class Rule(Aside, frozen=True, eq=False):
    """A protection rule: one watched signal, two triggers, and what it does while in force."""

    name: str
    unit: str
    watches: Signal
    watched: str
    trips: Trigger
    clears: Trigger
    on_invalid: OnInvalid = OnInvalid.TRIP
    power_up: PowerUp = PowerUp.TRIPPED
    reset: Reset = Reset.AUTOMATIC
    reset_by: str = ""  # a line; "" where nobody can reset it
    only_while: tuple[Condition, ...] = ()
    overridden_by: str = ""  # a line
    override_at_most: Delay | None = None
    blocks: tuple[Target, ...] = ()
    starts: tuple[str, ...] = ()
    alarm: str = ""
    why: str = ""
    place: Place = NOWHERE

    @property
    def manual(self) -> bool:
        """True where a person must reset the rule."""
        return self.reset is Reset.MANUAL

    def lines_read(self) -> Iterator[str]:
        """The lines it reads: watched, resetting, overriding, as a condition or as a mode's condition."""
        if self.watches is Signal.LINE:
            yield self.watched
        yield from (name for name in (self.reset_by, self.overridden_by) if name)
        yield from (c.name for c in self.only_while if c.signal is Signal.LINE)
        yield from (c.name for target in self.blocks for alternative in target.when for c in alternative)


class Flow(Struct, frozen=True):
    """When a path carries current each way, seen from the pack: None never, () always, else while all of these hold."""

    charge: tuple[Condition, ...] | None
    discharge: tuple[Condition, ...] | None

    @property
    def modal(self) -> bool:
        """True where a direction depends on a condition."""
        return bool(self.charge) or bool(self.discharge)


class Path(Aside, frozen=True, eq=False):
    """What carries current. `outputs` lists all that drive it, in the scheme's order."""

    name: str
    flow: Flow
    behind: str = ""
    unswitched: str = ""  # the reason; "" for a path with outputs
    outputs: tuple[str, ...] = ()
    started_by: str = ""  # the unit whose rules start it; "" where it is always wanted
    why: str = ""
    place: Place = NOWHERE


class Output(Aside, frozen=True, eq=False):
    """From a unit's permit to a device's own input."""

    name: str
    unit: str
    drives: tuple[str, ...]
    contact: Contact
    runs_when: DeviceInput
    energised_when: EnergisedWhen = EnergisedWhen.RUNS
    stops_within: Delay = Delay(0, 0)
    starts_within: Delay = Delay(0, 0)
    terminal: str = ""
    wire: str = ""
    why: str = ""
    place: Place = NOWHERE


class DeviceLimit(Aside, frozen=True, eq=False):
    """One setting inside a device, on `quantity`.

    `value` is what is set, in the device's own terms (pack volts where it has `cells`); `compare` is None for a voltage
    it charges to. `nominal` is the same of the quantity itself, to the nearest millionth; `truth` holds every value
    that the quantity can have when the device acts (or holds its voltage), rounded outward to millionths.
    """

    which: OwnLimit
    quantity: str
    value: int
    compare: Compare | None
    delay: Delay
    nominal: int
    truth: Interval
    place: Place = NOWHERE


class Device(Aside, frozen=True, eq=False):
    """What is set inside the device at the end of a path. `cells`: 1 where its volts are a cell's.

    `errors`: what the device takes a quantity for minus what it is at the pack, for the quantities it gives one for.
    `remote_enabled` is None where the device is said to have no remote input.
    """

    path: str
    limits: tuple[DeviceLimit, ...]
    cells: int = 1
    errors: tuple[SensorError, ...] = ()
    imbalance: tuple[SensorError, ...] = ()
    remote_enabled: bool | None = None
    verified_at: str = ""
    what: str = ""
    why: str = ""
    place: Place = NOWHERE

    def limit(self, which: OwnLimit) -> DeviceLimit | None:
        """The setting of that kind; None where none is given."""
        return next((one for one in self.limits if one.which is which), None)


class Claim(Aside, frozen=True, eq=False):
    """One requirement on one path. `any_of` holds the modes that a built-in group adds for a path with modes."""

    requirement: str
    path: str
    must: Must
    conditions: tuple[Condition, ...]
    any_of: AnyOf
    longer_than: Delay
    attended: bool = True
    by_running: bool = False  # of a never_stopped one: the path protects by running
    external: frozenset[str] = frozenset()  # the external lines among its conditions
    why: str = ""
    place: Place = NOWHERE

    @property
    def name(self) -> str:
        """`REQUIREMENT/PATH`."""
        return f"{self.requirement}/{self.path}"

    @property
    def protects(self) -> bool:
        """Whether harm may come of it when it is violated; else a service is lost."""
        return self.must is Must.NEVER_RUNNING or self.by_running

    @property
    def adds_a_scan(self) -> bool:
        """Whether exposure is (n + 1) scans: a never_running claim whose conditions can turn just after a scan."""
        return self.must is Must.NEVER_RUNNING and self.on_truth

    @property
    def on_truth(self) -> bool:
        """Whether a condition, a mode's included, looks at a quantity or an external line."""
        return any(c.signal is Signal.QUANTITY or c.name in self.external for c in self.all_conditions())

    def all_conditions(self) -> Iterator[Condition]:
        """Every condition, those of the modes included."""
        yield from self.conditions
        for alternative in self.any_of:
            yield from alternative


class Fault(Struct, frozen=True):
    """One mode of one part (of two for a swap), or a common cause: several such faults at once.

    `error` is the sensor error of drifted and misplaced.
    """

    name: str
    part: Part
    mode: Mode
    parts: tuple[str, ...]
    error: tuple[SensorError, ...] = ()
    together: tuple[Fault, ...] = ()  # of a common cause; its other fields are those of the first of them

    def single(self) -> tuple[Fault, ...]:
        """The faults it stands for, each of one mode."""
        return self.together or (self,)

    @property
    def installation(self) -> bool:
        """Whether all of it is there from power-up, as mistakes of installation are; nothing of it arises later."""
        return all(single.mode.installation for single in self.single())

    @property
    def exchanges_lines(self) -> bool:
        """Whether any of it is an exchange of two lines, under which the rules may need another order."""
        return any(single.mode is Mode.SWAPPED and single.part is Part.LINE for single in self.single())


class Exclusion(Aside, frozen=True, eq=False):
    """A fault the scheme leaves out of the catalogue, with its reason."""

    fault: str
    reason: str
    place: Place = NOWHERE


class Rate(Struct, frozen=True):
    """How often a fault arises, failures per hour, with where the figure comes from."""

    per_hour: float
    source: str


class Setting(Aside, frozen=True, eq=False):
    """A case's step gives a sensor's reading, a quantity's truth (read without error) or an external line's state."""

    signal: Signal
    name: str
    value: int | bool
    place: Place = NOWHERE


class Expectation(Aside, frozen=True, eq=False):
    """What a step must end with: a path certainly running or stopped, a line on or off, a rule in a state.

    `wanted` is True/False for paths, lines and `active`; a State for a rule's exact state.
    """

    signal: Signal
    name: str
    wanted: bool | State
    place: Place = NOWHERE


class Step(Aside, frozen=True, eq=False):
    """One step of a case, `scans` long (0: only looks at the scan before)."""

    sets: tuple[Setting, ...] = ()
    presses: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    repairs: tuple[Fault, ...] = ()
    scans: int = 0
    expects: tuple[Expectation, ...] = ()
    note: str = ""
    place: Place = NOWHERE


class Case(Aside, frozen=True, eq=False):
    """An example by hand: run as a test, drawn as a timing diagram."""

    name: str
    steps: tuple[Step, ...]
    place: Place = NOWHERE


class Acceptance(Aside, frozen=True, eq=False):
    """A finding of `check` that the scheme's author accepts on one part, with the reason."""

    finding: str
    name: str
    reason: str
    place: Place = NOWHERE


class Scheme(Struct, frozen=True):
    """A whole scheme. Mappings keep the file's order. `order` lists the rules so that each stands after all it depends
    on within one scan. `faults` is the whole catalogue, common causes included, exclusions left out."""

    title: str
    revision: str
    scan_us: int
    units: tuple[str, ...]
    quantities: Mapping[str, Quantity]
    sensors: Mapping[str, Sensor]
    readings: Mapping[str, Reading]
    lines: Mapping[str, Line]
    rules: Mapping[str, Rule]
    groups: Mapping[str, tuple[Target, ...]]
    paths: Mapping[str, Path]
    outputs: Mapping[str, Output]
    claims: tuple[Claim, ...]
    not_protected: tuple[Claim, ...]  # claims on unswitched paths: listed, never judged
    cases: tuple[Case, ...]
    faults: Mapping[str, Fault]
    excluded: tuple[Exclusion, ...]
    rates: Mapping[str, Rate]
    accepted: tuple[Acceptance, ...]
    order: tuple[str, ...]
    why: str = ""
    excluded_faults: Mapping[str, Fault] = field(default_factory=dict)  # the records of `excluded`
    devices: Mapping[str, Device] = field(default_factory=dict)  # by the name of the path

    def reads(self, unit: str) -> tuple[str, ...]:
        """The lines that `unit` reads, in the scheme's order."""
        seen = {name for rule in self.rules.values() if rule.unit == unit for name in rule.lines_read()}
        return tuple(name for name in self.lines if name in seen)

    def drives(self, unit: str, path: str) -> tuple[str, ...]:
        """The outputs of `unit` that drive `path`."""
        return tuple(o for o in self.paths[path].outputs if self.outputs[o].unit == unit)

    def fault(self, name: str) -> Fault | None:
        """The fault of that name, excluded ones and swaps named either way round included; None where there is none."""
        return find_fault(name, self.faults, self.excluded_faults)


def find_fault(name: str, *tables: Mapping[str, Fault]) -> Fault | None:
    """The fault of that name in the first table that has it, a swap named either way round; None where none has."""
    pair, dot, mode = name.rpartition(".")
    turned = "~".join(reversed(pair.split("~"))) + dot + mode
    for table in tables:
        for spelling in (name, turned):
            if spelling in table:
                return table[spelling]
    return None
