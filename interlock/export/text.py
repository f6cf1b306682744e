"""The statements of a step, in either language: which values get a name, and how each is written.

A node that something names, that is used more than once or that would stand too deep becomes a variable of its own; the
rest stand inside the expression that uses them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from interlock.export.names import Names
from interlock.export.unit import Part, UnitCode, slot_name
from interlock.logic.program import InputKind, Node, Observe, Op, SlotKind

DEEPEST = 5

_SUFFIX: Mapping[Observe, tuple[str, ...]] = {
    Observe.VALID: ("valid",),
    Observe.NUMERATOR: ("value",),
    Observe.DENOMINATOR: ("count",),
    Observe.LEVEL: ("level",),
    Observe.IN_FORCE: ("in_force",),
    Observe.ALARM: ("alarm",),
    Observe.LINE: ("sent",),
    Observe.ENERGISED: ("energised",),
}


@dataclass(frozen=True)
class Dialect:
    """How a language writes each operator on arguments, an integer and a truth; `cycled` is the power-up flag,
    `clamped` an integer input within its range."""

    forms: Mapping[Op, Callable[[Node, list[str]], str]]
    number: Callable[[int], str]
    truths: tuple[str, str]
    cycled: str
    clamped: Callable[[str, int, int], str]
    field: str  # an input

    def __post_init__(self) -> None:
        missing = set(Op) - {Op.CONST, Op.INPUT, Op.STATE} - set(self.forms)
        assert not missing, missing


@dataclass(frozen=True, slots=True)
class Variable:
    """`name` is given the value of `text`."""

    name: str
    boolean: bool
    text: str


@dataclass(frozen=True, slots=True)
class Statements:
    """The variables of each part, and how each node is written where it is used afterwards."""

    parts: tuple[tuple[Part, tuple[Variable, ...]], ...]
    text: Mapping[int, str]


def slot_names(code: UnitCode, names: Names) -> tuple[str, ...]:
    """An identifier for each slot."""
    return tuple(names.take(*slot_name(slot)) for slot in code.program.slots)


def found_in(code: UnitCode, slots: tuple[str, ...]) -> tuple[str, ...]:
    """The variables that hold what the scan before left in each slot."""
    ends = {SlotKind.LEVEL: "_was", SlotKind.OVERRIDE: "_was"}
    return tuple(name + ends.get(slot.kind, "") for name, slot in zip(slots, code.program.slots, strict=True))


def statements(
    code: UnitCode, dialect: Dialect, names: Names, slots: tuple[str, ...], inputs: Mapping[str, str]
) -> Statements:
    """Everything a step works out. `slots`: where the step finds what the scan before left; `inputs`: the identifier of
    each sensor and line."""
    program = code.program
    called: dict[int, tuple[str, ...]] = {}
    for o in program.observations:
        if program.nodes[o.node].op not in (Op.CONST, Op.STATE):
            called.setdefault(o.node, (o.name, *_SUFFIX[o.kind]))
    for slot in program.slots:
        if program.nodes[slot.next].op not in (Op.CONST, Op.STATE):
            called.setdefault(slot.next, (*slot_name(slot), "next"))
    called = {**_of_machines(code), **called}
    uses = [0] * len(program.nodes)
    for node in program.nodes:
        for a in node.args:
            uses[a] += 2 if node.op in (Op.MIN, Op.MAX) else 1
    text: dict[int, str] = {}
    depth: dict[int, int] = {}
    written: list[tuple[Part, tuple[Variable, ...]]] = []
    for part in code.parts:
        own: list[Variable] = []
        for number in part.nodes:
            node = program.nodes[number]
            words = _text(code, dialect, node, [text[a] for a in node.args], slots, inputs)
            leaf = node.op in (Op.CONST, Op.STATE) or (node.op is Op.INPUT and node.boolean)
            deep = 1 + max((depth[a] for a in node.args), default=0)
            clamped = node.op is Op.INPUT and not node.boolean
            if leaf or (number not in called and not clamped and uses[number] < 2 and deep <= DEEPEST):
                text[number], depth[number] = words if leaf else f"({words})", 0 if leaf else deep
                continue
            name = names.take(*called.get(number, (part.name or "memory", f"t{number}")))
            own.append(Variable(name, node.boolean, words))
            text[number], depth[number] = name, 0
        written.append((part, tuple(own)))
    return Statements(tuple(written), text)


def _of_machines(code: UnitCode) -> dict[int, tuple[str, ...]]:
    """Names for the trip and clear conditions and the moves of each rule's machine, where they stand as they were
    written: power-up first, then on which half of its levels the machine is."""
    program = code.program
    called: dict[int, tuple[str, ...]] = {}

    def branches(number: int) -> tuple[int, ...]:
        node = program.nodes[number]
        return node.args if node.op is Op.SELECT else ()

    for slot in program.slots:
        if slot.kind is not SlotKind.LEVEL or len(first := branches(slot.next)) != 3:
            continue
        for number, word in zip(first[1:], ("power_up", "moved"), strict=True):
            called.setdefault(number, (slot.name, word))
        if len(halves := branches(first[2])) == 3:
            for number, word in zip(halves[1:], ("trips", "clears"), strict=True):
                if condition := branches(number):
                    called.setdefault(condition[0], (slot.name, word))
    return {n: name for n, name in called.items() if program.nodes[n].args}


def _text(
    code: UnitCode, dialect: Dialect, node: Node, args: list[str], slots: tuple[str, ...], inputs: Mapping[str, str]
) -> str:
    match node.op:
        case Op.CONST:
            return dialect.truths[node.value] if node.boolean else dialect.number(node.value)
        case Op.STATE:
            return slots[node.value]
        case Op.INPUT:
            declared = code.program.inputs[node.value]
            if declared.kind is InputKind.CYCLE:
                return dialect.cycled
            field = dialect.field.format(inputs[declared.name])
            return field if node.boolean else dialect.clamped(field, declared.low, declared.high)
        case op:
            return dialect.forms[op](node, args)
