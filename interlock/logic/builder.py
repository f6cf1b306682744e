"""Builds the nodes of a program: equal nodes once, constants folded, what the ranges of arguments decide decided."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.logic.levels import Levels
from interlock.logic.program import MEANING, Input, Node, Observation, Observe, Op, Program, Slot
from interlock.records import replace


class Builder:
    """Nodes under construction. Every method returns the number of the node that has the value asked for."""

    def __init__(self) -> None:
        self.nodes: list[Node] = []
        self.inputs: list[Input] = []
        self.slots: list[Slot] = []
        self.observations: list[Observation] = []
        self._known: dict[tuple[Op, tuple[int, ...], int, bool], int] = {}
        self.false, self.true = self._const(0, True), self._const(1, True)

    # --- leaves

    def constant(self, value: int) -> int:
        """An integer."""
        return self._const(value, False)

    def truth(self, value: bool) -> int:
        """A boolean constant."""
        return self.true if value else self.false

    def input(self, declared: Input) -> int:
        """A new input."""
        self.inputs.append(declared)
        return self._node(Node(Op.INPUT, (), len(self.inputs) - 1, declared.boolean, declared.low, declared.high))

    def slot(self, slot: Slot) -> int:
        """A new slot: the value the scan before left in it. `leave` must say what this scan leaves."""
        self.slots.append(slot)
        return self._node(Node(Op.STATE, (), len(self.slots) - 1, slot.boolean, slot.low, slot.high))

    def leave(self, state: int, following: int) -> None:
        """What this scan leaves in the slot of the node `state`."""
        number = self.nodes[state].value
        self.slots[number] = replace(self.slots[number], next=following)

    def observe(self, kind: Observe, name: str, node: int) -> None:
        """Tell of a value."""
        self.observations.append(Observation(kind, name, node))

    def finish(self, levels: Mapping[str, Levels]) -> Program:
        """The program, without what no observation depends on."""
        return Program(
            tuple(self.nodes), tuple(self.inputs), tuple(self.slots), tuple(self.observations), levels
        ).pruned()

    # --- booleans

    def negate(self, a: int) -> int:
        """Not a."""
        if self.nodes[a].op is Op.NOT:
            return self.nodes[a].args[0]
        return self._boolean(Op.NOT, a)

    def every(self, args: Iterable[int]) -> int:
        """All of them; true where there are none."""
        return self._junction(Op.AND, args, self.true, self.false)

    def either(self, args: Iterable[int]) -> int:
        """At least one of them; false where there are none."""
        return self._junction(Op.OR, args, self.false, self.true)

    def both(self, *args: int) -> int:
        """All of these."""
        return self.every(args)

    def any_of(self, *args: int) -> int:
        """At least one of these."""
        return self.either(args)

    def _junction(self, op: Op, args: Iterable[int], neutral: int, decisive: int) -> int:
        kept = sorted(set(args) - {neutral})
        if decisive in kept or any(inner in kept for a in kept for inner in _negated(self.nodes[a])):
            return decisive
        if len(kept) < 2:
            return kept[0] if kept else neutral
        return self._boolean(op, *kept)

    # --- comparisons

    def at_most(self, a: int, b: int) -> int:
        """a <= b."""
        one, other = self.nodes[a], self.nodes[b]
        if one.high <= other.low or a == b:
            return self.true
        if one.low > other.high:
            return self.false
        return self._boolean(Op.AT_MOST, a, b)

    def at_least(self, a: int, value: int) -> int:
        """a >= value."""
        return self.at_most(self.constant(value), a)

    def up_to(self, a: int, value: int) -> int:
        """a <= value."""
        return self.at_most(a, self.constant(value))

    def equal(self, a: int, b: int) -> int:
        """a == b, both of one kind."""
        if a == b:
            return self.true
        one, other = self.nodes[a], self.nodes[b]
        if one.boolean:
            for constant, rest in ((a, b), (b, a)):
                if constant in (self.true, self.false):
                    return rest if constant == self.true else self.negate(rest)
            if b in _negated(one) or a in _negated(other):
                return self.false
        elif one.high < other.low or other.high < one.low:
            return self.false
        return self._boolean(Op.EQUAL, *sorted((a, b)))

    # --- integers

    def add(self, a: int, b: int) -> int:
        """a + b."""
        a, b = sorted((a, b))
        one, other = self.nodes[a], self.nodes[b]
        for zero, rest in ((one, b), (other, a)):
            if zero.op is Op.CONST and zero.value == 0:
                return rest
        return self._integer(Op.ADD, (a, b), one.low + other.low, one.high + other.high)

    def plus(self, a: int, value: int) -> int:
        """a + value."""
        return self.add(a, self.constant(value))

    def scale(self, a: int, by: int) -> int:
        """a times a constant."""
        if by == 1:
            return a
        ends = sorted((self.nodes[a].low * by, self.nodes[a].high * by))
        return self._integer(Op.SCALE, (a,), ends[0], ends[1], by)

    def minus(self, a: int, b: int) -> int:
        """a - b."""
        return self.add(a, self.scale(b, -1))

    def smaller(self, a: int, b: int) -> int:
        """The smaller of the two."""
        a, b = sorted((a, b))
        one, other = self.nodes[a], self.nodes[b]
        if one.high <= other.low or a == b:
            return a
        if other.high <= one.low:
            return b
        return self._integer(Op.MIN, (a, b), min(one.low, other.low), min(one.high, other.high))

    def larger(self, a: int, b: int) -> int:
        """The larger of the two."""
        a, b = sorted((a, b))
        one, other = self.nodes[a], self.nodes[b]
        if one.high <= other.low or a == b:
            return b
        if other.high <= one.low:
            return a
        return self._integer(Op.MAX, (a, b), max(one.low, other.low), max(one.high, other.high))

    def select(self, condition: int, a: int, b: int) -> int:
        """a where the condition holds, else b."""
        if condition == self.true or a == b:
            return a
        if condition == self.false:
            return b
        if self.nodes[condition].op is Op.NOT:
            condition, a, b = self.nodes[condition].args[0], b, a
        one, other = self.nodes[a], self.nodes[b]
        if one.boolean:
            if a in (self.true, condition):
                return self.any_of(condition, b)
            if b in (self.false, condition):
                return self.both(condition, a)
            if a == self.false:
                return self.both(self.negate(condition), b)
            if b == self.true:
                return self.any_of(self.negate(condition), a)
            return self._boolean(Op.SELECT, condition, a, b)
        return self._integer(Op.SELECT, (condition, a, b), min(one.low, other.low), max(one.high, other.high))

    def count(self, booleans: Iterable[int]) -> int:
        """How many of them are true."""
        total = self.constant(0)
        for boolean in booleans:
            total = self.add(total, self.select(boolean, self.constant(1), self.constant(0)))
        return total

    # --- the table

    def _const(self, value: int, boolean: bool) -> int:
        return self._node(Node(Op.CONST, (), value, boolean, value, value))

    def _boolean(self, op: Op, *args: int) -> int:
        return self._node(Node(op, args, 0, True, 0, 1))

    def _integer(self, op: Op, args: tuple[int, ...], low: int, high: int, value: int = 0) -> int:
        return self._node(Node(op, args, value, False, low, high))

    def _node(self, node: Node) -> int:
        op, args, value, boolean = key = (node.op, node.args, node.value, node.boolean)
        if key in self._known:
            return self._known[key]
        meaning = MEANING[op]
        if meaning is not None and all(self.nodes[a].op is Op.CONST for a in args):
            folded = meaning(value, *(self.nodes[a].value for a in args))
            return self._const(folded, boolean)
        if meaning is not None and node.low == node.high and not boolean:
            return self._const(node.low, boolean)
        self.nodes.append(node)
        self._known[key] = len(self.nodes) - 1
        return self._known[key]


def _negated(node: Node) -> tuple[int, ...]:
    """What a negation negates; () for any other node."""
    return node.args if node.op is Op.NOT else ()
