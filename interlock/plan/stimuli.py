"""What can be done to an installation from outside: values in the place of sensors' elements, external lines, buttons.

Nobody chills a pack or drains it: a resistor or a voltage stands in the place of the element, at the far end of its
lead. A sensor has one value well inside each region between the limits that rules set to what it reads, so far from
them that neither the instrument's error nor that of the bench leaves a doubt, and what an open or shorted lead reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise, product
from math import prod
from typing import NamedTuple

from interlock.logic.readings import Value, combined, compare
from interlock.scheme.model import Limit, Reading, Rule, Scheme, Sensor
from interlock.scheme.units import MICRO, Kind
from interlock.scheme.words import Combine, LineForm, Mode, Signal

BENCH_ERROR = 200  # what is set by hand is right to the 200th part of the input's valid range: common practice
LOOK_US = 3_000_000  # what is to be seen stays for so long at least
SLOW_US = 1_000_000  # a button may be held, and a wait stretched, by so much
MOST_STARTS = 1000  # of looks, in seconds after a change, tried for the shortest
MOST_JOINT = 4096  # combinations of values tried for a position of rest


@dataclass(frozen=True, slots=True)
class Applied:
    """What stands in the place of a sensor's element. `value`: what the input is then given, in millionths, give or
    take `low` to `high`; `how`: the lead `open` or `shorted`, None for a value set on the bench."""

    value: int
    low: int = 0
    high: int = 0
    how: Mode | None = None

    @property
    def read(self) -> int:
        """The reading in the middle of what it may be."""
        return self.value + (self.low + self.high) // 2


class Position(NamedTuple):
    """What all inputs are given: for each sensor which of its values, for each external line whether it is on; both in
    the scheme's order."""

    sensors: tuple[int, ...]
    lines: tuple[bool, ...]


class Change(NamedTuple):
    """What one step does: sensors (by their place) given one of their values (by its place), lines set, or a button
    pressed and let go."""

    sensors: tuple[tuple[int, int], ...] = ()
    lines: tuple[tuple[int, bool], ...] = ()
    press: int | None = None

    def to(self, position: Position) -> Position | None:
        """The position it leaves; None where it changes nothing. A press needs a button that is not held."""
        if self.press is not None:
            return None if position.lines[self.press] else position
        sensors, lines = list(position.sensors), list(position.lines)
        for i, value in self.sensors:
            sensors[i] = value
        for i, on in self.lines:
            lines[i] = on
        changed = Position(tuple(sensors), tuple(lines))
        return None if changed == position else changed


def roundest(low: int, high: int) -> int:
    """The whole number of millionths in [low, high] that is the shortest to write, nearest to the middle."""
    middle = (low + high) // 2
    for power in range(15, -1, -1):
        for digit in (5, 2, 1):
            step = digit * int(10**power)
            nearest = (middle + step // 2) // step * step
            for candidate in (nearest, nearest - step, nearest + step):
                if low <= candidate <= high:
                    return candidate
    return middle  # pragma: no cover - every whole number is a multiple of one


def error_of(sensor: Sensor) -> tuple[int, int]:
    """Lowest and highest reading minus what is applied: the instrument's error where all it measures has one value,
    and the bench's."""
    ends = max(e.interval.low for e in sensor.measures), min(e.interval.high for e in sensor.measures)
    bench = (sensor.valid.high - sensor.valid.low) // BENCH_ERROR
    return min(ends) - bench, max(ends) + bench


def look_window(scheme: Scheme, at: int) -> tuple[int, int]:
    """First and last scan of a look that begins `at` seconds after a change, counted from it."""
    return max(1, at * MICRO // scheme.scan_us), -(-(at * MICRO + LOOK_US) // scheme.scan_us) + 1


def look_scans(scheme: Scheme) -> int:
    """How many scans in a row a difference has to last at least for a look to find it, wherever the look begins."""
    return min(last - first + 1 for first, last in (look_window(scheme, at) for at in range(1, 1 + MOST_STARTS)))


@dataclass
class Stimuli:
    """The stimuli of a scheme: `values` of each sensor, the position of `rest`, the `changes` a step may make."""

    scheme: Scheme
    values: tuple[tuple[Applied, ...], ...] = field(init=False)
    external: tuple[str, ...] = field(init=False)
    rest: Position = field(init=False)

    def __post_init__(self) -> None:
        scheme = self.scheme
        self._place = {name: i for i, name in enumerate(scheme.sensors)}
        self.lost = min((s.valid.low for s in scheme.sensors.values()), default=0) - 10**9  # invalid at every input
        self.external = tuple(n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL)
        self._watching = [r for r in scheme.rules.values() if r.watches in (Signal.SENSOR, Signal.READING)]
        self._members = [self._sensors(rule) for rule in self._watching]
        self._sure: list[dict[tuple[int, ...], bool]] = [{} for _ in self._watching]
        self.values = tuple(tuple(self._values(sensor)) for sensor in scheme.sensors.values())
        rest = self._sensors_at_rest()
        self.values = tuple(
            tuple(dict.fromkeys((*values, *self._apart(name, values[at_rest].value))))
            for name, values, at_rest in zip(scheme.sensors, self.values, rest, strict=True)
        )
        self.rest = Position(rest, tuple(map(self._line_at_rest, self.external)))

    # --- the values of a sensor

    def _values(self, sensor: Sensor) -> Iterator[Applied]:
        low, high = error_of(sensor)
        limits = sorted({sensor.valid.low, sensor.valid.high, *_limits(self.scheme, sensor)})
        for n, (below, above) in enumerate(pairwise(limits)):
            least, most = below - low + 1, above - high - 1
            far = 4 * (high - low)
            if n == 0 and n < len(limits) - 2:
                least = max(least, most - far)
            elif n and n == len(limits) - 2:
                most = min(most, least + far)
            quarter = (most - least) // 4
            if least <= most:
                yield Applied(roundest(least + quarter, most - quarter), low, high)
        yield Applied(self.lost if sensor.open_reads is None else sensor.open_reads, how=Mode.OPEN)
        if sensor.shorted_reads is not None:
            yield Applied(sensor.shorted_reads, how=Mode.SHORTED)

    def _apart(self, name: str, at_rest: int) -> Iterator[Applied]:
        """Values so far from those of rest that a rule on the difference of sensors is in each of its regions."""
        sensor = self.scheme.sensors[name]
        for rule in self._watching:
            reading = self.scheme.readings.get(rule.watched)
            if reading is None or reading.combine is not Combine.DIFFERENCE_OF or name not in reading.sensors:
                continue
            limits = sorted({0, *rule_limits(rule)})
            for below, above in pairwise([*limits, 2 * limits[-1]]):
                value = at_rest + roundest(below + (above - below) // 3, above - (above - below) // 3)
                low, high = error_of(sensor)
                if value + low >= sensor.valid.low and value + high <= sensor.valid.high:
                    yield Applied(value, low, high)

    # --- positions

    def _sensors_at_rest(self) -> tuple[int, ...]:
        """Where as many rules as can be let go for certain: the position from which tests begin."""
        chosen: dict[int, int] = {}
        for members in self.groups():
            rules = [n for n, of in enumerate(self._members) if not set(of).isdisjoint(members)]
            every = [range(len(self.values[i])) for i in members]
            joint = product(*every) if prod(map(len, every)) <= MOST_JOINT else zip(*every, strict=False)
            best = max(joint, key=lambda values: self._score(rules, dict(zip(members, values, strict=True))))
            chosen.update(zip(members, best, strict=True))
        return tuple(chosen[i] for i in range(len(self.values)))

    def _line_at_rest(self, name: str) -> bool:
        watching = [r for r in self.scheme.rules.values() if r.watches is Signal.LINE and r.watched == name]
        return sum(1 if r.clears.test is True else -1 for r in watching) > 0

    def groups(self) -> list[list[int]]:
        """The sensors, by their place, in groups that one reading or another combines."""
        groups = [{i} for i in range(len(self.scheme.sensors))]
        for reading in self.scheme.readings.values():
            members = {self._place[s] for s in reading.sensors}
            touched = [g for g in groups if g & members]
            groups = [g for g in groups if not g & members] + [set().union(*touched)]
        return [sorted(g) for g in groups]

    def _score(self, rules: Sequence[int], given: Mapping[int, int]) -> tuple[int, int, int]:
        """How many rules let go for certain, how many are at least not in doubt, how close together all is."""
        sides = [self._sides(n, [self.values[i][given[i]] for i in self._members[n]]) for n in rules]
        spread = {self.values[i][value].value for i, value in given.items()}
        return sides.count((False, True)), len(sides) - sides.count(None), -len(spread)

    def _sensors(self, rule: Rule) -> tuple[int, ...]:
        if rule.watches is Signal.SENSOR:
            return (self._place[rule.watched],)
        return tuple(self._place[s] for s in self.scheme.readings[rule.watched].sensors)

    def watched_sensors(self, rule: Rule) -> list[Sensor]:
        """The sensors from which a rule's reading comes; none for a rule that watches no value."""
        if rule.watches not in (Signal.SENSOR, Signal.READING):
            return []
        every = list(self.scheme.sensors.values())
        return [every[i] for i in self._sensors(rule)]

    def kind_of(self, rule: Rule) -> Kind:
        """The kind of value that a rule watches."""
        return self.watched_sensors(rule)[0].kind

    def applied(self, position: Position) -> list[Applied]:
        """What each sensor is given."""
        return [values[at] for values, at in zip(self.values, position.sensors, strict=True)]

    def sure(self, position: Position, source: Sequence[int]) -> bool:
        """Whether no rule's trip and clear conditions are in doubt, wherever in its error each reading is. `source`:
        which element each sensor's input is wired to."""
        for n, members in enumerate(self._members):
            key = tuple(x for i in members for x in (source[i], position.sensors[source[i]]))
            known = self._sure[n].get(key)
            if known is None:
                given = [self.values[source[i]][position.sensors[source[i]]] for i in members]
                known = self._sure[n][key] = self._sides(n, given) is not None
            if not known:
                return False
        return True

    def _sides(self, number: int, given: Sequence[Applied]) -> tuple[bool, bool] | None:
        return self.sides(self._watching[number], given)

    def sure_of(self, rule: Rule, given: Sequence[Applied]) -> bool:
        """Whether a rule's conditions are not in doubt with all sensors given this; also one that the scheme has with
        other limits."""
        watches = rule.watches in (Signal.SENSOR, Signal.READING)
        return not watches or self.sides(rule, [given[i] for i in self._sensors(rule)]) is not None

    def unsure(self, given: Sequence[Applied]) -> tuple[Rule, ...]:
        """The rules whose conditions are in doubt with all sensors given this, which need not be of the stimuli."""
        return tuple(rule for rule in self._watching if not self.sure_of(rule, given))

    def sides(self, rule: Rule, given: Sequence[Applied]) -> tuple[bool, bool] | None:
        """Whether a rule's trip and clear condition hold, its sensors given this; None where either depends on the
        errors."""
        trips, clears = self.conditions(rule, given)
        return None if trips is None or clears is None else (trips, clears)

    def conditions(self, rule: Rule, given: Sequence[Applied]) -> tuple[bool | None, bool | None]:
        """Whether a rule's trip and its clear condition hold, its sensors given this; None for one that depends on the
        errors."""
        members = self._sensors(rule)
        names = list(self.scheme.sensors)
        ends: tuple[dict[str, int | None], dict[str, int | None]] = {}, {}
        for i, applied in zip(members, given, strict=True):
            valid = self.scheme.sensors[names[i]].valid
            least, most = applied.value + applied.low, applied.value + applied.high
            if (least in valid) is not (most in valid) or least < valid.low <= valid.high < most:
                return None, None
            for end, value in zip(ends, (least, most), strict=True):
                end[names[i]] = value if value in valid else None
        if rule.watches is Signal.SENSOR:
            values: tuple[Value, Value] = ends[0][rule.watched], ends[1][rule.watched]
        else:
            values = _extremes(self.scheme.readings[rule.watched], *ends)
        if values[0] is None or values[1] is None:
            return (True, False) if values[0] is values[1] else (None, None)
        one, other = (
            [compare(v, t.test) for v in values if isinstance(t.test, Limit)] for t in (rule.trips, rule.clears)
        )
        return one[0] if one[0] is one[1] else None, other[0] if other[0] is other[1] else None

    @cached_property
    def changes(self) -> tuple[Change, ...]:
        """One sensor given something; all sensors of a derived reading given the same; an external line set; a button
        that resets or overrides pressed for one scan."""
        found: dict[Change, None] = {}
        for i, values in enumerate(self.values):
            found.update((Change(sensors=((i, at),)), None) for at in range(len(values)))
        for reading in self.scheme.readings.values():
            members = [self._place[s] for s in reading.sensors]
            for applied in self.values[members[0]]:
                if all(applied in self.values[m] for m in members):
                    found[Change(sensors=tuple((m, self.values[m].index(applied)) for m in members))] = None
        buttons = {b for r in self.scheme.rules.values() for b in (r.reset_by, r.overridden_by) if b}
        for i, name in enumerate(self.external):
            found.update((Change(lines=((i, on),)), None) for on in (True, False))
            if name in buttons:
                found[Change(press=i)] = None
        return tuple(found)

    def names(self, change: Change) -> set[str]:
        """The sensors and lines that a change is about."""
        names = list(self.scheme.sensors)
        lines = [i for i, _ in change.lines] + ([] if change.press is None else [change.press])
        return {names[i] for i, _ in change.sensors} | {self.external[i] for i in lines}

    @cached_property
    def resets(self) -> tuple[int, ...]:
        """The buttons pressed on the way to rest, by their place among the external lines."""
        used = {r.reset_by for r in self.scheme.rules.values() if r.manual}
        return tuple(i for i, name in enumerate(self.external) if name in used)


def _limits(scheme: Scheme, sensor: Sensor) -> Iterator[int]:
    """The limits that rules set to the sensor's reading, within what is valid."""
    for rule in scheme.rules.values():
        reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
        combines = reading and reading.combine is not Combine.DIFFERENCE_OF and sensor.name in reading.sensors
        if combines or (rule.watches is Signal.SENSOR and rule.watched == sensor.name):
            yield from (limit for limit in rule_limits(rule) if limit in sensor.valid)


def rule_limits(rule: Rule) -> Iterable[int]:
    """The limits of a rule on a value: none, one or both of its trip and its clear limit."""
    return (t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit))


def _extremes(reading: Reading, least: Mapping[str, int | None], most: Mapping[str, int | None]) -> tuple[Value, Value]:
    """The lowest and the highest value of a derived reading, each sensor anywhere between its ends."""
    if reading.combine is not Combine.DIFFERENCE_OF:
        return combined(reading, least), combined(reading, most)  # each of them grows with each of its sensors
    pairs = [(low, most[s]) for s in reading.sensors if (low := least[s]) is not None]
    if len(pairs) < reading.needs:
        return None, None
    ends = [(low, high) for low, high in pairs if high is not None]
    narrow = max(0, max(low for low, _ in ends) - min(high for _, high in ends))
    wide = max((a[1] - b[0] for i, a in enumerate(ends) for j, b in enumerate(ends) if i != j), default=0)
    return narrow, max(0, wide)
