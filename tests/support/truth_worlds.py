"""Random truths with readings that fit them: a check on claims that knows nothing of cells or states."""

from __future__ import annotations

import random
from collections.abc import Mapping
from fractions import Fraction

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Seen
from interlock.scheme.model import Claim, Condition, Limit, Scheme, SensorError
from interlock.scheme.words import Compare, LineForm, Mode, Must, Signal

Truth = dict[str, int]


def _meets(value: Fraction | int, limit: Limit) -> bool:
    match limit.compare:
        case Compare.BELOW:
            return value < limit.value
        case Compare.ABOVE:
            return value > limit.value
        case Compare.AT_OR_BELOW:
            return value <= limit.value
        case Compare.AT_OR_ABOVE:
            return value >= limit.value


def bad_scan(
    scheme: Scheme, claim: Claim, seen: Seen, truth: Mapping[str, Fraction | int], lines: Mapping[str, bool]
) -> bool:
    """Whether the claim's conditions hold at a scan and its path may do what it must not."""

    def holds(condition: Condition) -> bool:
        if condition.signal is Signal.QUANTITY:
            assert isinstance(condition.test, Limit)
            return _meets(truth[condition.name], condition.test)
        if condition.signal is Signal.PATH:
            return (seen.may_run if condition.test else seen.may_stop)[condition.name]
        external = scheme.lines[condition.name].form is LineForm.EXTERNAL
        return (lines if external else seen.lines)[condition.name] is condition.test

    could = seen.may_run if claim.must is Must.NEVER_RUNNING else seen.may_stop
    in_mode = not claim.any_of or any(all(map(holds, alternative)) for alternative in claim.any_of)
    return could[claim.path] and in_mode and all(map(holds, claim.conditions))


def error_of(scheme: Scheme, sensor: str, faults: FaultSet) -> tuple[SensorError, ...]:
    """The error a sensor has under faults."""
    for mode in (Mode.DRIFTED, Mode.MISPLACED):
        for fault in faults.faults:
            for single in fault.single():
                if single.mode is mode and sensor in single.parts:
                    return single.error
    return scheme.sensors[sensor].measures


def random_truth(rng: random.Random, scheme: Scheme, claim: Claim, before: Truth | None) -> Truth:
    """A truth that can occur, near limits and thresholds, or mostly as it was."""
    if before is not None and rng.random() < 0.7:
        return before
    while True:
        truth: Truth = {}
        for name, quantity in scheme.quantities.items():
            low, high = quantity.span.low, quantity.span.high
            if quantity.at_least:
                low = max(low, truth[quantity.at_least.other] + quantity.at_least.difference)
            if quantity.at_most:
                high = min(high, truth[quantity.at_most.other] + quantity.at_most.difference)
            if low > high:
                break
            anchors = [low, high, rng.randint(low, high)]
            anchors += [c.test.value for c in claim.conditions if c.name == name and isinstance(c.test, Limit)] * 3
            truth[name] = min(max(rng.choice(anchors) + rng.choice([-1, 0, 0, 1]), low), high)
        if len(truth) == len(scheme.quantities) and all(interval(s.measures, truth) for s in scheme.sensors.values()):
            return truth


def interval(errors: tuple[SensorError, ...], truth: Truth) -> tuple[int, int] | None:
    """What a sensor with these errors may read of a truth; None where it can read nothing."""
    low = max(truth[e.quantity] + e.interval.low for e in errors)
    high = min(truth[e.quantity] + e.interval.high for e in errors)
    return (low, high) if low <= high else None


def fitting_readings(
    rng: random.Random, scheme: Scheme, truth: Truth, faults: FaultSet, leaning: int
) -> dict[str, int]:
    """Readings that fit a truth: at either end, or anywhere; `leaning` -1 or 1 prefers the lower or upper end."""
    readings = {}
    for name in scheme.sensors:
        span = interval(error_of(scheme, name, faults), truth)
        assert span is not None, f"{name} has no reading for a truth that can occur"
        ends = [span[0], span[1], rng.randint(*span)] + [span[0] if leaning < 0 else span[1]] * 4
        readings[name] = rng.choice(ends)
    return readings
