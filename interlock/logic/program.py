"""The compiled form of a scheme: one scan as a flat table of nodes over a small closed set of operators.

Integers and booleans only, so that the same table runs as Python, numpy, C or structured text and can be evaluated with
intervals. Nodes stand in topological order (arguments before the nodes that use them), each once; constants are folded
and nothing stands in the table on which no observation depends, at this scan or a later one. STATE nodes are what the
scan before left in a slot; a slot's `next` is the node whose value it passes on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from msgspec import Struct

from interlock.logic.levels import Levels
from interlock.records import replace
from interlock.scheme.words import Word


class Op(Word):
    """What a node computes from its arguments. Closed: every reader of a program handles all of them."""

    CONST = "const"  # `value`
    INPUT = "input"  # input number `value`; an integer outside the input's range counts as the range's nearest end
    STATE = "state"  # slot number `value`, as the scan before left it
    NOT = "not"
    AND = "and"  # two or more booleans
    OR = "or"  # two or more booleans
    ADD = "add"  # two integers
    SCALE = "scale"  # one integer times `value`
    AT_MOST = "at_most"  # first integer <= second
    EQUAL = "equal"  # two integers, or two booleans
    SELECT = "select"  # first (a boolean) ? second : third
    MIN = "min"  # two integers
    MAX = "max"  # two integers


# Each operator on plain values (booleans as 0 and 1), the node's own `value` first; None where it has no arguments.
MEANING: Mapping[Op, Callable[..., int] | None] = {
    Op.CONST: None,
    Op.INPUT: None,
    Op.STATE: None,
    Op.NOT: lambda _, a: 1 - a,
    Op.AND: lambda _, *args: int(all(args)),
    Op.OR: lambda _, *args: int(any(args)),
    Op.ADD: lambda _, a, b: a + b,
    Op.SCALE: lambda value, a: value * a,
    Op.AT_MOST: lambda _, a, b: int(a <= b),
    Op.EQUAL: lambda _, a, b: int(a == b),
    Op.SELECT: lambda _, c, a, b: a if c else b,
    Op.MIN: lambda _, a, b: min(a, b),
    Op.MAX: lambda _, a, b: max(a, b),
}
assert set(MEANING) == set(Op), set(Op) - set(MEANING)


class Node(Struct, frozen=True):
    """One operation. `args` are numbers of earlier nodes; `low` and `high` bound its value (booleans: 0 and 1)."""

    op: Op
    args: tuple[int, ...]
    value: int
    boolean: bool
    low: int
    high: int


class InputKind(Word):
    """What the world gives a scan."""

    ELEMENT = "element"  # integer: what a sensor's element gives, in millionths, before open, shorted or stuck
    LINE = "line"  # boolean: an external line's true state (for one unit alone: what arrives on the wire)
    FAULT = "fault"  # boolean: the fault is present at this scan
    CYCLE = "cycle"  # boolean: the unit is power-cycled at this scan
    SETTING = "setting"  # integer: a rule's limit in millionths, or a time of it in scans


class Input(Struct, frozen=True):
    """One input of a scan; `name` is the sensor's, line's, fault's or unit's, or that of a setting (`setting_name`)."""

    kind: InputKind
    name: str
    low: int = 0
    high: int = 1
    singles: tuple[str, ...] = ()  # of a fault: the single faults that come with it
    usual: int = 0  # of a setting: as the scheme has it

    @property
    def boolean(self) -> bool:
        """True where the input is on or off."""
        return self.kind not in (InputKind.ELEMENT, InputKind.SETTING)

    def clamp(self, value: int) -> int:
        """The nearest value of the input's range: all values beyond it are invalid alike."""
        return min(max(int(value), self.low), self.high)


class Setting(Word):
    """What of a rule someone types in, and may mistype."""

    TRIP_LIMIT = "trip_limit"  # millionths
    CLEAR_LIMIT = "clear_limit"  # millionths
    TRIP_DELAY = "trip_delay"  # scans
    CLEAR_DELAY = "clear_delay"  # scans
    OVERRIDE = "override"  # scans: the longest that the rule may be overridden


def setting_name(rule: str, setting: Setting) -> str:
    """`RULE.SETTING`."""
    return f"{rule}.{setting}"


class SlotKind(Word):
    """What one scan leaves to the next."""

    LEVEL = "level"  # of a rule (`levels.py`)
    OVERRIDE = "override"  # of a rule. 0: its line must first be seen off; 1: seen off; k+1: seen on for k scans
    SEEN_OFF = "seen_off"  # a reset line (`name`) was off for `unit`
    DEAD = "dead"  # a unit was dead
    HELD = "held"  # the reading a sensor is stuck at
    AGE = "age"  # of a stuck reading: 0 not stuck, k for the k-th scan
    SENT = "sent"  # what was on a sent line
    ON = "on"  # of an output
    ENERGISED = "energised"  # of an output
    CLOSED = "closed"  # of an output
    SINCE_RUN = "since_run"  # scans since an output's device was told to run
    SINCE_STOP = "since_stop"  # scans since it was told to stop


class Slot(Struct, frozen=True):
    """State kept from scan to scan, between `low` and `high` (counters stop at `high`); `initial` at power-up."""

    kind: SlotKind
    name: str
    boolean: bool
    low: int
    high: int
    initial: int
    next: int = -1  # the node that gives it to the next scan
    unit: str = ""


class Observe(Word):
    """What a program tells of a scan. A valid reading's value is NUMERATOR / DENOMINATOR, in millionths."""

    VALID = "valid"  # a sensor's reading at its input, or a derived reading
    NUMERATOR = "numerator"
    DENOMINATOR = "denominator"
    LEVEL = "level"  # of a rule
    OVERRIDE = "override"  # of a rule, as in SlotKind
    IN_FORCE = "in_force"  # of a rule
    ALARM = "alarm"  # of a rule
    LINE = "line"  # what is really on a line
    ON = "on"  # of an output
    ENERGISED = "energised"  # of an output
    CLOSED = "closed"  # of an output
    MAY_RUN = "may_run"  # of a path
    MAY_STOP = "may_stop"  # of a path


class Observation(Struct, frozen=True):
    """A named value of each scan."""

    kind: Observe
    name: str
    node: int


class Program(Struct, frozen=True, eq=False):
    """A scheme compiled: see the module. `levels` says how each rule's state is coded."""

    nodes: tuple[Node, ...]
    inputs: tuple[Input, ...]
    slots: tuple[Slot, ...]
    observations: tuple[Observation, ...]
    levels: Mapping[str, Levels]

    @property
    def initial(self) -> tuple[int, ...]:
        """The slots at power-up."""
        return tuple(slot.initial for slot in self.slots)

    def restricted(self, wanted: Iterable[tuple[Observe, str]]) -> Program:
        """The same scan for these observations only: slots, inputs and nodes they do not depend on are left out."""
        keep = set(wanted)
        missing = keep - {(o.kind, o.name) for o in self.observations}
        if missing:
            raise KeyError(f"not observed: {', '.join(sorted(f'{kind} of {name}' for kind, name in missing))}")
        return replace(self, observations=tuple(o for o in self.observations if (o.kind, o.name) in keep)).pruned()

    def pruned(self) -> Program:
        """Without nodes, slots and inputs on which no observation depends."""
        live: set[int] = set()
        reached = [o.node for o in self.observations]
        while reached:
            number = reached.pop()
            if number not in live:
                live.add(number)
                node = self.nodes[number]
                reached.extend(node.args)
                if node.op is Op.STATE:
                    reached.append(self.slots[node.value].next)
        order = sorted(live)
        at = {old: new for new, old in enumerate(order)}
        slots = sorted({self.nodes[i].value for i in order if self.nodes[i].op is Op.STATE})
        inputs = sorted({self.nodes[i].value for i in order if self.nodes[i].op is Op.INPUT})
        renumbered = {
            Op.STATE: {old: new for new, old in enumerate(slots)},
            Op.INPUT: {old: new for new, old in enumerate(inputs)},
        }
        nodes = tuple(
            replace(
                node,
                args=tuple(at[a] for a in node.args),
                value=renumbered[node.op][node.value] if node.op in renumbered else node.value,
            )
            for node in (self.nodes[i] for i in order)
        )
        return Program(
            nodes=nodes,
            inputs=tuple(self.inputs[i] for i in inputs),
            slots=tuple(replace(slot, next=at[slot.next]) for slot in (self.slots[i] for i in slots)),
            observations=tuple(replace(o, node=at[o.node]) for o in self.observations),
            levels=self.levels,
        )

    def interpret(self, state: Sequence[int], inputs: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """One scan, node by node: the slots for the next, and the observations. Slow, and the meaning of a program."""
        values: list[int] = []
        for node in self.nodes:
            match node.op:
                case Op.CONST:
                    values.append(node.value)
                case Op.INPUT:
                    values.append(self.inputs[node.value].clamp(inputs[node.value]))
                case Op.STATE:
                    values.append(int(state[node.value]))
                case op:
                    meaning = MEANING[op]
                    assert meaning is not None
                    values.append(meaning(node.value, *(values[a] for a in node.args)))
        return tuple(values[s.next] for s in self.slots), tuple(values[o.node] for o in self.observations)
