"""Readings that stand still: groups of sensors that read alike, and the pieces of their range in which no rule can tell
one value from another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

from msgspec import Struct

from interlock.scheme.model import Interval, Limit, Rule, Scheme
from interlock.scheme.units import Kind
from interlock.scheme.words import Combine, Signal


class Alike(Struct, frozen=True):
    """Sensors that stand for one thing, all taken to read the same: those of one derived reading, of one quantity, or
    of quantities tied to each other. `span`: the values that all of them can read, healthy and valid, in millionths.
    `name`: the quantity where there is but one, else what kind of value it is."""

    name: str
    kind: Kind
    sensors: tuple[str, ...]
    quantities: tuple[str, ...]
    span: Interval


class Piece(Struct, frozen=True):
    """A threshold's own value (`low` equals `high`) or all values between two: an open interval. `at` is one of them,
    in millionths."""

    low: int
    high: int
    at: int | Fraction

    @property
    def point(self) -> bool:
        """Whether it is one value only."""
        return self.low == self.high


def alike(scheme: Scheme) -> tuple[Alike, ...]:
    """The groups of sensors that some rule's reading depends on, in the scheme's order. Groups whose sensors can never
    read the same are left out."""
    root = {name: name for name in scheme.sensors}

    def find(name: str) -> str:
        while root[name] != name:
            name = root[name]
        return name

    for one, other in _together(scheme):
        root[find(other)] = find(one)
    groups: dict[str, list[str]] = {}
    for name in scheme.sensors:
        groups.setdefault(find(name), []).append(name)
    watched = {s for rule in scheme.rules.values() for s in sensors_of(scheme, rule)}
    found = [_group(scheme, names) for names in groups.values() if watched & set(names)]
    known = [one for one in found if one is not None]
    nouns = [one.kind.noun for one in known if len(one.quantities) != 1]
    return tuple(_named(one, unique=nouns.count(one.kind.noun) == 1) for one in known)


def _named(group: Alike, *, unique: bool) -> Alike:
    several = group.kind.noun if unique else " ".join(group.sensors)
    name = group.quantities[0] if len(group.quantities) == 1 else several
    return Alike(name, group.kind, group.sensors, group.quantities, group.span)


def _together(scheme: Scheme) -> Iterator[tuple[str, str]]:
    """Pairs of sensors that stand for one thing."""
    for reading in scheme.readings.values():
        yield from ((reading.sensors[0], other) for other in reading.sensors[1:])
    measured: dict[str, list[str]] = {}
    for sensor in scheme.sensors.values():
        for error in sensor.measures:
            measured.setdefault(error.quantity, []).append(sensor.name)
    for names in measured.values():
        yield from ((names[0], other) for other in names[1:])
    for quantity in scheme.quantities.values():
        for tie in (quantity.at_least, quantity.at_most):
            if tie and tie.other in measured and quantity.name in measured:
                yield measured[tie.other][0], measured[quantity.name][0]


def _group(scheme: Scheme, names: list[str]) -> Alike | None:
    sensors = [scheme.sensors[name] for name in names]
    lows, highs = [s.valid.low for s in sensors], [s.valid.high for s in sensors]
    for sensor in sensors:
        for error in sensor.measures:
            span = scheme.quantities[error.quantity].span
            lows.append(span.low + error.interval.low)
            highs.append(span.high + error.interval.high)
    if max(lows) >= min(highs):
        return None
    quantities = dict.fromkeys(e.quantity for s in sensors for e in s.measures)
    ordered = tuple(q for q in scheme.quantities if q in quantities)
    return Alike("", sensors[0].kind, tuple(names), ordered, Interval(max(lows), min(highs)))


def sensors_of(scheme: Scheme, rule: Rule) -> tuple[str, ...]:
    """The sensors that the value a rule watches comes from; () for a rule on anything else."""
    match rule.watches:
        case Signal.SENSOR:
            return (rule.watched,)
        case Signal.READING:
            return scheme.readings[rule.watched].sensors
        case Signal.LINE | Signal.PATH | Signal.RULE | Signal.QUANTITY:
            return ()


def seen_value(scheme: Scheme, rule: Rule, at: int | Fraction) -> int | Fraction:
    """What a rule on a value sees while all its sensors read `at`."""
    if rule.watches is Signal.READING and scheme.readings[rule.watched].combine is Combine.DIFFERENCE_OF:
        return 0
    return at


def limits_of(scheme: Scheme, rule: Rule) -> tuple[int, ...]:
    """The values at which a rule on a value begins or ceases to see its conditions; () where sensors that read alike
    can't change what it sees."""
    if seen_value(scheme, rule, 1) == 0:
        return ()
    tests = (rule.trips.test, rule.clears.test)
    return tuple(test.value for test in tests if isinstance(test, Limit))


def pieces(scheme: Scheme, group: Alike, rules: Iterable[Rule] | None = None) -> tuple[Piece, ...]:
    """The group's span cut at every threshold of these rules (all where none are given), from low to high."""
    chosen = scheme.rules.values() if rules is None else rules
    own = [rule for rule in chosen if set(sensors_of(scheme, rule)) & set(group.sensors)]
    low, high = group.span.low, group.span.high
    cuts = sorted({v for rule in own for v in limits_of(scheme, rule) if low < v < high} | {low, high})
    found = []
    for i, cut in enumerate(cuts):
        found.append(Piece(cut, cut, cut))
        if i + 1 < len(cuts):
            after = cuts[i + 1]
            middle = (cut + after) // 2 if after - cut > 1 else Fraction(cut + after, 2)
            found.append(Piece(cut, after, middle))
    return tuple(found)


def values_at(groups: Mapping[str, int | Fraction], of: Iterable[Alike]) -> dict[str, int | Fraction]:
    """Every sensor's reading, where each group reads the value given for its name."""
    return {sensor: groups[group.name] for group in of for sensor in group.sensors}
