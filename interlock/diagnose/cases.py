"""Whether ranges leave room for what was seen: where they do not tell, each undecided rule is taken both ways.

Ranges alone can't know that a rule which stops one path stops another too. So what was seen is weighed again with each
rule taken as active and as not, each line as on and as off, until no case is left or one in which all that was seen is
certain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interlock.diagnose.ranges import Bools, Forced, Ints, Known, Range, scan
from interlock.logic.program import InputKind, Op, Program, SlotKind

MOST_CASES = 60_000  # weighed for one question; what is undecided then is taken as possible
AT_ONCE = 3_000


@dataclass(frozen=True, slots=True)
class Choice:
    """A node that may be taken both ways: at most `below`, or above it."""

    node: int
    below: int


def choices(program: Program, seen: Sequence[int]) -> tuple[Choice, ...]:
    """What the nodes seen depend on within one scan and can be taken both ways, first what comes first."""
    cone: set[int] = set()
    waiting = list(seen)
    while waiting:
        number = waiting.pop()
        if number not in cone:
            cone.add(number)
            waiting.extend(program.nodes[number].args)
    level = {s.next: program.levels[s.name].trip_scans for s in program.slots if s.kind is SlotKind.LEVEL}
    found = []
    for number in sorted(cone):
        node = program.nodes[number]
        if number in level and node.op is not Op.CONST:
            found.append(Choice(number, level[number]))
        elif (node.op is Op.INPUT and program.inputs[node.value].kind in (InputKind.LINE, InputKind.CYCLE)) or (
            node.op is Op.STATE and node.boolean
        ):
            found.append(Choice(number, 0))
    return tuple(found)


def possible(
    program: Program, known: Known, inputs: Sequence[Range], forced: Forced, relevant: Bools | None = None
) -> Bools:
    """In which installations all that is forced can be at the scan after what is known. `relevant`: of each of them
    (a row) which of the `choices` (a column) its own statements depend on; all where not given."""
    options = choices(program, tuple(forced))
    count = len(known.possible)
    if relevant is None:
        relevant = np.ones((count, len(options)), bool)
    answer = np.zeros(count, bool)
    origin = np.arange(count)[known.possible]
    taken = np.full((len(origin), len(options)), -1, np.int8)
    weighed = 0
    while len(origin):
        if weighed > MOST_CASES + count:
            answer[origin] = True
            break
        now, later = origin[-AT_ONCE:], origin[:-AT_ONCE]
        own, rest = taken[-AT_ONCE:], taken[:-AT_ONCE]
        weighed += len(now)
        fresh, chosen = _weighed(program, known, inputs, forced, options, relevant, now, own, answer)
        open_ = ~answer[later]
        kept = ~answer[fresh]
        origin = np.concatenate([later[open_], fresh[kept]])
        taken = np.concatenate([rest[open_], chosen[kept]])
    return answer


def _weighed(
    program: Program,
    known: Known,
    inputs: Sequence[Range],
    forced: Forced,
    options: Sequence[Choice],
    relevant: Bools,
    origin: Ints,
    taken: NDArray[np.int8],
    answer: Bools,
) -> tuple[Ints, NDArray[np.int8]]:
    """Some cases: certain ones are answered, each of the others is taken both ways at its first open choice."""
    chosen: dict[int, Range] = {}
    for at, option in enumerate(options):
        way, whole = taken[:, at], program.nodes[option.node]
        kind = bool if whole.boolean else np.int64
        low, high = np.where(way == 1, option.below + 1, whole.low), np.where(way == 0, option.below, whole.high)
        chosen[option.node] = Range(low.astype(kind), high.astype(kind))
    of = {number: each.only(origin) for number, each in forced.items()}
    done = scan(
        program, known.only(origin), [each.only(origin) for each in inputs], of, chosen, tuple(o.node for o in options)
    )
    alive = done.known.possible
    undecided = relevant[origin]
    for at, option in enumerate(options):
        node = done.nodes[option.node]
        undecided[:, at] &= (taken[:, at] < 0) & (node.low <= option.below) & (node.high > option.below)
    certain = alive & (~done.narrowed | ~undecided.any(axis=1))
    answer[origin[certain]] = True
    going = np.flatnonzero(alive & ~certain)
    first = undecided[going].argmax(axis=1) if len(going) else going
    both = []
    for side in (0, 1):
        one = taken[going].copy()
        one[np.arange(len(going)), first] = side
        both.append(one)
    return np.concatenate([origin[going]] * 2), np.concatenate(both)
