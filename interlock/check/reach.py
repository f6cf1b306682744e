"""What a sensor or derived reading can come to: over all truths, faults included, and while the truth stands still."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from interlock.check.truths import Truths
from interlock.logic.readings import combined
from interlock.scheme.model import Interval, Reading, Scheme, Sensor, SensorError
from interlock.scheme.words import Combine, Signal

Bound = int | Fraction


@dataclass(frozen=True, slots=True)
class Reach:
    """The hull of all valid readings (None: there is none), and whether a healthy reading can be invalid."""

    low: Bound
    high: Bound
    invalid: bool
    empty: bool = False


def sensors_of(scheme: Scheme, signal: Signal, name: str) -> tuple[Sensor, ...]:
    """The sensors behind what a rule watches; () where it watches no value."""
    if signal is Signal.SENSOR:
        return (scheme.sensors[name],)
    if signal is Signal.READING:
        return tuple(scheme.sensors[s] for s in scheme.readings[name].sensors)
    return ()


def healthy(truths: Truths, sensor: Sensor) -> Interval:
    """What a healthy element can read, valid or not."""
    return _hull(truths, sensor.measures)


def _hull(truths: Truths, errors: Iterable[SensorError]) -> Interval:
    errors = tuple(errors)
    ranges = {e.quantity: truths.range(e.quantity) for e in errors}
    low = max(ranges[e.quantity].low + e.interval.low for e in errors)
    high = min(ranges[e.quantity].high + e.interval.high for e in errors)
    return Interval(low, max(low, high))


def sensor_reach(truths: Truths, sensor: Sensor) -> Reach:
    """Valid readings of a sensor, healthy, drifted, misplaced, open or shorted."""
    hulls = [_hull(truths, errors) for errors in (sensor.measures, sensor.drifts, sensor.misplaced) if errors]
    values = [v for hull in hulls for v in (hull.low, hull.high)]
    values += [v for v in (sensor.open_reads, sensor.shorted_reads) if v is not None]
    low, high = max(min(values), sensor.valid.low), min(max(values), sensor.valid.high)
    alone = hulls[0]
    invalid = alone.low < sensor.valid.low or alone.high > sensor.valid.high
    return Reach(low, high, invalid, empty=low > high)


def reach(truths: Truths, signal: Signal, name: str) -> Reach:
    """Valid values of what a rule watches, a sensor or a derived reading."""
    scheme = truths.scheme
    parts = [sensor_reach(truths, s) for s in sensors_of(scheme, signal, name)]
    if signal is Signal.SENSOR:
        return parts[0]
    reading = scheme.readings[name]
    some = [p for p in parts if not p.empty]
    invalid = sum(p.invalid or p.empty for p in parts) > len(parts) - reading.needs
    if len(some) < reading.needs:
        return Reach(0, -1, invalid=True, empty=True)
    if reading.combine is Combine.DIFFERENCE_OF:  # a stuck sensor leaves the others behind by any amount
        return Reach(0, max((p.high for p in some), default=0) - min(p.low for p in some), invalid)
    if reading.needs < len(parts):
        return Reach(min(p.low for p in some), max(p.high for p in some), invalid)
    lows, highs = ([p.low for p in some], [p.high for p in some])
    return Reach(_combine(reading, lows), _combine(reading, highs), invalid)


def _combine(reading: Reading, values: Sequence[Bound]) -> Bound:
    """The combination of one value per sensor (in the reading's order). All but a difference grow with each value and
    move with all of them, so bounds combine like readings."""
    whole = {name: int(value) for name, value in zip(reading.sensors, values, strict=True)}
    value = combined(reading, whole)
    assert value is not None
    return value


def steady(truths: Truths, signal: Signal, name: str) -> tuple[Bound, Bound] | None:
    """While no truth moves, readings lie in an interval as wide as the error's: (0, its width).

    For a difference the interval itself. None where nothing can be said: sensors of different quantities, untied.
    """
    scheme = truths.scheme
    sensors = sensors_of(scheme, signal, name)
    if signal is Signal.SENSOR:
        return 0, _narrowest(sensors[0])
    reading = scheme.readings[name]
    tables = [{e.quantity: e.interval for e in s.measures} for s in sensors]
    common = [q for q in tables[0] if all(q in table for table in tables)]
    if reading.combine is Combine.DIFFERENCE_OF:
        spans = [_spread([table[q] for table in tables]) for q in common]
        return (max(low for low, _ in spans), min(high for _, high in spans)) if spans else None
    if common:
        return 0, min(
            _combine(reading, [t[q].high for t in tables]) - _combine(reading, [t[q].low for t in tables])
            for q in common
        )
    widths = [_narrowest(s) for s in sensors]
    return 0, Fraction(sum(widths), len(widths)) if reading.combine is Combine.AVERAGE_OF else max(widths)


def _narrowest(sensor: Sensor) -> int:
    return min(e.interval.high - e.interval.low for e in sensor.measures)


def _spread(errors: Sequence[Interval]) -> tuple[int, int]:
    """The least and the greatest difference between sensors of one quantity."""
    least = max(0, max(e.low for e in errors) - min(e.high for e in errors))
    pairs = [a.high - b.low for i, a in enumerate(errors) for j, b in enumerate(errors) if i != j]
    return least, max(pairs, default=0)
