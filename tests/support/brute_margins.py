"""Margins by brute force: each limit of a claim moved toward normal, and the claim judged again."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interlock.scheme.model import Claim, Condition, Fault, Limit, Rule, Scheme
from interlock.scheme.words import Signal
from tests.support.brute import Options, judge
from tests.support.brute_truth import Grid


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
    step, up = grid_step(scheme, condition), condition.test.compare.downward
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


def grid_step(scheme: Scheme, condition: Condition) -> Fraction:
    """The distance between values of a condition's limit at which n can change, in millionths."""
    kind = scheme.quantities[condition.name].kind
    constants: list[Fraction | int] = []
    for quantity in scheme.quantities.values():
        if quantity.kind is kind:
            constants += [quantity.span.low, quantity.span.high]
            constants += [tie.difference for tie in (quantity.at_least, quantity.at_most) if tie]
    for sensor in scheme.sensors.values():
        if sensor.kind is kind:
            constants += [sensor.valid.low, sensor.valid.high]
            constants += [v for v in (sensor.open_reads, sensor.shorted_reads) if v is not None]
            for error in (*sensor.measures, *sensor.drifts, *sensor.misplaced):
                constants += [error.interval.low, error.interval.high]
    for fault in scheme.faults.values():
        for error in fault.error:
            if scheme.quantities[error.quantity].kind is kind:
                constants += [error.interval.low, error.interval.high]
    weighed = max((len(r.sensors) for r in scheme.readings.values() if r.kind is kind), default=1)
    for rule in scheme.rules.values():
        if _kind(scheme, rule) is kind:
            constants += [t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)]
    for claim in scheme.claims:
        for c in claim.all_conditions():
            if c.signal is Signal.QUANTITY and isinstance(c.test, Limit) and scheme.quantities[c.name].kind is kind:
                constants.append(c.test.value)
    return Fraction(Grid(constants).step, weighed if weighed <= 2 else 12)  # corners of what two or three sensors cut


def _kind(scheme: Scheme, rule: Rule) -> object:
    match rule.watches:
        case Signal.SENSOR:
            return scheme.sensors[rule.watched].kind
        case Signal.READING:
            return scheme.readings[rule.watched].kind
        case _:
            return None
