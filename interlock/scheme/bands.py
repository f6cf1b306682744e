"""Where the truth can be when a reading meets a limit: the band of a threshold."""

from __future__ import annotations

from interlock.scheme.model import Interval, Limit, Rule, Scheme
from interlock.scheme.words import Combine, Must, Signal


def reading_error(scheme: Scheme, signal: Signal, name: str, quantity: str) -> Interval | None:
    """reading - truth of a quantity, for a sensor or a derived reading; None where it does not follow the quantity."""
    if signal is Signal.SENSOR:
        return _sensor_error(scheme, name, quantity)
    if signal is not Signal.READING:
        return None
    reading = scheme.readings[name]
    errors = [_sensor_error(scheme, s, quantity) for s in reading.sensors]
    known = [e for e in errors if e is not None]
    if len(known) < len(errors) or reading.combine is Combine.DIFFERENCE_OF:
        return None
    lows, highs = [e.low for e in known], [e.high for e in known]
    all_needed = reading.needs == len(errors)
    if reading.combine is Combine.LOWEST_OF and all_needed:
        return Interval(min(lows), min(highs))
    if reading.combine is Combine.HIGHEST_OF and all_needed:
        return Interval(max(lows), max(highs))
    return Interval(min(lows), max(highs))


def _sensor_error(scheme: Scheme, sensor: str, quantity: str) -> Interval | None:
    return next((e.interval for e in scheme.sensors[sensor].measures if e.quantity == quantity), None)


def truth_at(value: int, error: Interval) -> Interval:
    """Where the truth can be while the reading stands at `value`."""
    return Interval(value - error.high, value - error.low)


def limited(scheme: Scheme, *, downward: bool) -> frozenset[str]:
    """The quantities that some `never_running` requirement limits on that side."""
    return frozenset(
        c.name
        for claim in scheme.claims
        if claim.must is Must.NEVER_RUNNING
        for c in claim.conditions
        if isinstance(c.test, Limit) and c.test.compare.downward is downward
    )


def looked_after(scheme: Scheme, rule: Rule, limits: frozenset[str]) -> tuple[str, ...]:
    """The quantities a rule on a sensor or reading looks after: of several that its sensors measure, those that a
    requirement limits on the same side (`limits`), in the scheme's order; all of them where none is."""
    sensors = scheme.readings[rule.watched].sensors if rule.watches is Signal.READING else (rule.watched,)
    measured = {e.quantity: None for s in sensors for e in scheme.sensors[s].measures}
    return tuple(q for q in measured if q in limits or not limits & measured.keys())
