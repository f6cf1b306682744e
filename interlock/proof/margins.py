"""How far each limit of a claim's conditions can move toward normal while the claim holds.

Moving a limit only adds what the world may be, so the longest bad run is a step function of it. It can step only where
the limit meets the edge of a set of truths with one and the same vector of rule inputs; such edges are read off the
closed bounds, and the verdict is bisected over them.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from msgspec import Struct

from interlock.proof.bounds import SCALE
from interlock.proof.cells import Group, Limits, Span, grouped
from interlock.proof.decide import Decider
from interlock.scheme.model import Condition, Limit


class Margin(Struct, frozen=True):
    """The supremum of movements of a limit that keep the claim, in millionths; None: to the end of the span.

    `known` is False where a verdict on the way stayed undecided.
    """

    condition: Condition
    value: int | Fraction | None
    known: bool = True


class _UndecidedError(Exception):
    pass


def margin(decider: Decider, condition: Condition, most: int) -> Margin:
    """The margin of one limit of a claim that holds with at most `most` bad scans in a row."""
    assert isinstance(condition.test, Limit)
    up = condition.test.compare.downward
    here = condition.test.value

    def keeps(edge: int | None, beyond: bool) -> bool:
        """Whether the claim holds with the limit just beyond (just short of) an edge; None: at the end of the span."""
        half = SCALE // 2
        if edge is None:
            span = Span(None, None)
        elif up:
            span = Span(None, edge * SCALE + (half if beyond else -half))
        else:
            span = Span(edge * SCALE - (half if beyond else -half), None)
        limits: Limits = ((condition, span),)
        decider.limits = limits
        try:
            answer = decider.answer(most)
        finally:
            decider.limits = ()
        if answer.upper <= most:
            return True
        if answer.lower > most:
            return False
        raise _UndecidedError

    try:
        found = _first_failing(decider, condition, here, up, keeps)
    except _UndecidedError:
        return Margin(condition, None, known=False)
    return Margin(condition, None if found is None else abs(found - here))


def _first_failing(
    decider: Decider, condition: Condition, here: int, up: bool, keeps: Callable[[int | None, bool], bool]
) -> int | None:
    known: dict[tuple[int | None, bool], bool] = {}

    def holds(edge: int | None, beyond: bool) -> bool:
        if (edge, beyond) not in known:
            known[edge, beyond] = keeps(edge, beyond)
        return known[edge, beyond]

    top: int | None = None  # an edge beyond which it fails
    while True:
        followed = decider.abstraction.key()
        edges = [e for e in critical_values(decider, condition, up) if (e >= here if up else e <= here)]
        edges.sort(reverse=not up)
        if top is not None:
            edges = [e for e in edges if (e < top if up else e > top)]
        low, high = 0, len(edges)
        while low < high:
            middle = (low + high) // 2
            if holds(edges[middle], True):
                low = middle + 1
            else:
                high = middle
        if low < len(edges):
            top = edges[low]
        # As long as the same is followed, nothing changes between two edges, nor beyond the last: what holds beyond one
        # (or as it is written) holds up to the next.
        sure = decider.abstraction.key() == followed and (low > 0 or followed in decider.held)
        if top is None:
            if sure or holds(None, True):
                return None
        elif sure or top == here or holds(top, False):
            return top
        # What had to be followed on the way has edges of its own: look again, in the end among all of them.
        if decider.abstraction.key() == followed:
            if decider.abstraction.everything:
                raise _UndecidedError
            decider.follow_everything()


def critical_values(decider: Decider, condition: Condition, up: bool) -> list[int]:
    """The edges (whole millionths) at which moving the limit lets in a new vector, for what the decider follows now and
    for what settles."""
    system = decider.system(decider.abstraction)
    wide: Limits = ((condition, Span(None, None)),)
    moved = system.with_limits(wide)
    found: set[int] = set()
    for arisen in range(len(moved.circuits)):
        for number, config in enumerate(list(moved.configs)):
            if config.arisen == arisen:
                for group in moved.groups_at(number):
                    found |= _edges(group, condition, up)
    whole = decider.full.with_limits(wide)
    for slots in decider.settling_on():
        for arisen in range(len(whole.circuits)):
            for group in grouped(decider.index, slots, whole.unstuck(arisen)):
                found |= _edges(group, condition, up)
    return sorted(found)


def _edges(group: Group, condition: Condition, up: bool) -> set[int]:
    mine = [i for i, slot in enumerate(group.slots) if slot[0] == "truth" and condition in slot[1:]]
    if not mine:
        return set()
    v = group.place["quantity", condition.name]
    found: set[int] = set()
    for vector, leaves in group.vectors().items():
        if not vector[mine[0]]:
            continue
        edge = min(leaf.lowest(v) for leaf in leaves) if up else max(leaf.highest(v) for leaf in leaves)
        found.add(round(Fraction(edge, SCALE)))
    return found
