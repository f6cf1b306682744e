"""A program in two halves, for runs in which inputs stay as they are.

What depends on the inputs alone is worked out once, what depends on the scans before is worked out scan by scan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from msgspec import Struct

from interlock.logic.emit import WITHIN
from interlock.logic.many import MOST_CACHED, array_function
from interlock.logic.program import Input, InputKind, Observation, Observe, Op, Program
from interlock.records import replace

Values = Sequence[Any]


class Halves(Struct, frozen=True, eq=False):
    """The two halves of a program. What they take and give are arrays of shape (count,), integers int64 and booleans
    bool; a constant is given as one number."""

    _still: Callable[[Values, Values], tuple[Values, Values]]
    _moving: Callable[[Values, Values], tuple[Values, Values]]
    _taken: tuple[int, ...]  # the program's inputs that the first half takes

    def still(self, inputs: Values) -> list[Any]:
        """What the program's inputs alone decide, for any number of scans."""
        return list(self._still((), [inputs[i] for i in self._taken])[1])

    def scan(self, state: Values, still: Values) -> tuple[Values, Values]:
        """One scan: the slots for the next, and the observations."""
        return self._moving(state, still)


@lru_cache(maxsize=MOST_CACHED)
def halves(program: Program) -> Halves:
    """A pruned program cut where the scans before come in. Raises TooLargeError where its numbers need more than 64
    bits."""
    moves: list[bool] = []
    for node in program.nodes:
        moves.append(node.op is Op.STATE or any(moves[a] for a in node.args))
    used = [a for number, node in enumerate(program.nodes) if moves[number] for a in node.args]
    used += [slot.next for slot in program.slots] + [o.node for o in program.observations]
    border = sorted({a for a in used if not moves[a] and program.nodes[a].op is not Op.CONST})
    place = {number: i for i, number in enumerate(border)}
    handed = tuple(Input(InputKind.FAULT if program.nodes[a].boolean else InputKind.SETTING, str(a)) for a in border)
    told = tuple(Observation(Observe.VALID, str(a), a) for a in border)
    still = replace(program, slots=(), observations=told).pruned()
    nodes = tuple(
        replace(node, op=Op.INPUT, args=(), value=place[n]) if n in place else node
        for n, node in enumerate(program.nodes)
    )
    moving = replace(program, nodes=nodes, inputs=handed).pruned()
    assert len(moving.inputs) == len(border), "each value handed over is used"
    assert len(moving.slots) == len(program.slots), "a pruned program uses all its slots"
    where = {declared: i for i, declared in enumerate(program.inputs)}
    taken = tuple(where[declared] for declared in still.inputs)
    return Halves(array_function(still), array_function(moving, WITHIN), taken)
