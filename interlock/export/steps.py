"""In what whole steps a controller reads each sensor, so that its comparisons are the scheme's own.

A scheme's values are whole millionths. A controller would rather count millivolts. Dividing by a step changes no
comparison where every limit and every end of a valid range is a whole number of steps and each reading comes as a whole
number of steps too: for whole numbers `k * step < n * step` says the same as `k < n`. All that is left is what the
controller's own code does to a finer reading before: it moves it by less than one step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.records import replace
from interlock.scheme.model import Interval, Limit, Rule, Scheme, SensorError, Test, Trigger
from interlock.scheme.units import LARGEST, MICRO
from interlock.scheme.words import Combine, Signal

USUAL = MICRO // 1000  # a thousandth of the base unit: millivolts, thousandths of a degree
WIDEST = 2**31 - 2  # of a value in steps, so that one step beyond still fits 32 bits


@dataclass(frozen=True, slots=True)
class Steps:
    """The step of each sensor and derived reading in millionths, and the scheme with every value counted in steps."""

    of: Mapping[str, int]
    scheme: Scheme

    @property
    def rounds(self) -> bool:
        """Whether a reading can be finer than the steps."""
        return any(step > 1 for step in self.of.values())


def in_steps(scheme: Scheme, *, exact: bool = False) -> Steps:
    """The scheme in steps. Each step is a power of ten of millionths: a thousandth of the base unit, a finer one where
    a limit or an end of a valid range asks for it, a coarser one where else 32 bits would not hold the valid range.
    `exact`: steps of one millionth, in which nothing is ever rounded."""
    of: dict[str, int] = {}
    for group in _groups(scheme):
        step = 1 if exact else _step(scheme, group)
        of.update(dict.fromkeys(group, step))
    return Steps(of, _divided(scheme, of))


def widened(scheme: Scheme, steps: Steps) -> Scheme:
    """The scheme whose sensors may err by one step more each way: all that rounding a finer reading can do."""

    def wider(errors: tuple[SensorError, ...], step: int) -> tuple[SensorError, ...]:
        return tuple(replace(e, interval=Interval(e.interval.low - step, e.interval.high + step)) for e in errors)

    sensors = {}
    for name, sensor in scheme.sensors.items():
        step = steps.of[name] if steps.of[name] > 1 else 0
        sensors[name] = replace(
            sensor,
            measures=wider(sensor.measures, step),
            drifts=wider(sensor.drifts, step),
            misplaced=wider(sensor.misplaced, step),
        )
    return replace(scheme, sensors=sensors)


def _groups(scheme: Scheme) -> list[list[str]]:
    """Sensors and derived readings that must be counted alike: those that one reading combines."""
    groups = [{name} for name in scheme.sensors]
    for reading in scheme.readings.values():
        touched = [g for g in groups if g & set(reading.sensors)]
        groups = [g for g in groups if g not in touched] + [set().union({reading.name}, *touched)]
    order = {name: i for i, name in enumerate([*scheme.sensors, *scheme.readings])}
    return [sorted(group, key=order.__getitem__) for group in groups]


def _step(scheme: Scheme, group: list[str]) -> int:
    values = list(_values(scheme, set(group)))
    widest = max(abs(v) for v in values) * max(1, *(_terms(scheme, name) for name in group))
    step = USUAL
    while step > 1 and any(value % step for value in values):
        step //= 10
    while widest // step > WIDEST and step < LARGEST and not any(value % (step * 10) for value in values):
        step *= 10
    return step


def _terms(scheme: Scheme, name: str) -> int:
    """How many times a sensor's value a reading's may come to while it is worked out."""
    reading = scheme.readings.get(name)
    if reading is None:
        return 1
    return len(reading.sensors) if reading.combine is Combine.AVERAGE_OF else 2


def _values(scheme: Scheme, group: set[str]) -> Iterator[int]:
    """Every limit and every end of a valid range in the group."""
    for name, sensor in scheme.sensors.items():
        if name in group:
            yield from (sensor.valid.low, sensor.valid.high)
    for rule in scheme.rules.values():
        if rule.watches in (Signal.SENSOR, Signal.READING) and rule.watched in group:
            yield from (t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit))


def _divided(scheme: Scheme, of: Mapping[str, int]) -> Scheme:
    def test(old: Test, step: int) -> Test:
        return Limit(old.compare, _whole(old.value, step)) if isinstance(old, Limit) else old

    def trigger(old: Trigger, step: int) -> Trigger:
        return replace(old, test=test(old.test, step))

    def rule(old: Rule) -> Rule:
        if old.watches not in (Signal.SENSOR, Signal.READING):
            return old
        step = of[old.watched]
        return replace(old, trips=trigger(old.trips, step), clears=trigger(old.clears, step))

    return replace(
        scheme,
        sensors={
            name: replace(
                s, valid=Interval(_whole(s.valid.low, of[name]), _whole(s.valid.high, of[name])), stale_after=None
            )
            for name, s in scheme.sensors.items()
        },
        rules={name: rule(r) for name, r in scheme.rules.items()},
    )


def _whole(value: int, step: int) -> int:
    assert value % step == 0, f"{value} is no whole number of steps of {step}"
    return value // step
