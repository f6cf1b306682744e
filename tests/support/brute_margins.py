"""Margins by brute force: each limit of a claim moved toward normal, and the claim judged again."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interlock.scheme.model import Claim, Condition, Fault, Limit, Scheme
from interlock.scheme.words import Signal
from tests.support.brute import Options, judge
from tests.support.brute_readings import Atom
from tests.support.brute_truth import grid_step


def margins(
    scheme: Scheme, claim: Claim, faults: Sequence[Fault] = (), options: Options | None = None
) -> tuple[Fraction | None, ...]:
    """For each condition on a quantity of a claim that holds, in order: how far its limit alone can move toward normal,
    in millionths; None where it can move to the end of the span.

    n changes only at multiples of the grid step that all constants of the kind share (of a part of it where readings
    are averaged), so one limit between each two of them tells all; the verdict only ever turns once.
    """
    conditions = [*claim.conditions, *(c for alternative in claim.any_of for c in alternative)]
    limits = [c for c in conditions if c.signal is Signal.QUANTITY]
    return tuple(_margin(scheme, claim, faults, options, i, c) for i, c in enumerate(limits))


def _margin(
    scheme: Scheme, claim: Claim, faults: Sequence[Fault], options: Options | None, index: int, condition: Condition
) -> Fraction | None:
    assert isinstance(condition.test, Limit)
    quantity, here = scheme.quantities[condition.name], condition.test.value
    step, up = limit_step(scheme, condition), condition.test.compare.downward
    end = quantity.span.high if up else quantity.span.low
    first = here // step + 1 if up else -(-here // step) - 1
    stops = [Fraction(here)]
    at = first * step
    while (at < end) if up else (at > end):
        stops.append(at)
        at += step if up else -step
    stops.append(Fraction(end))

    def keeps(gap: int) -> bool:
        limit = (stops[gap] + stops[gap + 1]) / 2
        verdict = judge(scheme, claim, faults, options, {index: limit})
        return verdict.verdict != "violated"

    low, high = 0, len(stops) - 1  # all gaps before `low` keep the claim, those from `high` on do not
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if keeps(middle) else (low, middle)
    return None if low == len(stops) - 1 else abs(stops[low] - here)


def limit_step(scheme: Scheme, condition: Condition) -> Fraction:
    """The distance between values of a condition's limit at which n can change, in millionths."""
    kind = scheme.quantities[condition.name].kind
    limits = [
        Atom(c.name, c.test.compare, Fraction(c.test.value))
        for claim in scheme.claims
        for c in claim.all_conditions()
        if c.signal is Signal.QUANTITY and isinstance(c.test, Limit)
    ]
    weighed = max((len(r.sensors) for r in scheme.readings.values() if r.kind is kind), default=1)
    return grid_step(scheme, kind, limits) / (weighed if weighed <= 2 else 12)  # corners of what sensors cut together
