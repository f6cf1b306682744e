"""Which observations can occur together at one scan: exactly, by Fourier and Motzkin's elimination.

Truths and readings are reals under linear constraints. Every comparison that matters cuts the set of joint truths and
readings into convex pieces; a piece that is not empty is a cell, and what matters of it is only which comparisons hold.
Written for the spin model and from the meaning alone: nothing here is shared with the project's own cells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations, pairwise
from math import gcd

from interlock.scheme.model import Limit, Reading, Scheme, Sensor, SensorError
from interlock.scheme.words import Combine, Compare


class NotEncoded(Exception):  # noqa: N818 - no error of the scheme: this second opinion declines, naming the construct
    """A construct that a second opinion leaves to the others."""


# --- linear systems


@dataclass(frozen=True)
class Row:
    """terms · x + constant <= 0, or < 0 when strict. Terms are sorted, whole and not zero."""

    terms: tuple[tuple[str, int], ...]
    constant: int
    strict: bool


def row(terms: Mapping[str, int], constant: Fraction | int, *, strict: bool = False) -> Row:
    """A row with whole coefficients without a common factor."""
    whole = Fraction(constant)
    scale = whole.denominator
    kept = {v: c * scale for v, c in terms.items() if c}
    number = int(whole * scale)
    common = gcd(*kept.values(), number) or 1
    return Row(tuple(sorted((v, c // common) for v, c in kept.items())), number // common, strict)


def tightest(rows: Sequence[Row]) -> list[Row] | None:
    """Of rows in the same direction only the tightest; None where one can't be met at all."""
    best: dict[tuple[tuple[str, int], ...], Row] = {}
    for one in rows:
        if not one.terms:
            if one.constant > 0 or (one.strict and one.constant == 0):
                return None
            continue
        # Rows are divided by the gcd of all, constants included: compare per unit of the terms' own gcd.
        unit = gcd(*(c for _, c in one.terms))
        key = tuple((v, c // unit) for v, c in one.terms)
        known = best.get(key)
        if known is None or _level(one, unit) > _level(known, gcd(*(c for _, c in known.terms))):
            best[key] = one
    return list(best.values())


def _level(one: Row, unit: int) -> tuple[Fraction, bool]:
    return Fraction(one.constant, unit), one.strict


def eliminated(rows: Sequence[Row], variable: str) -> list[Row] | None:
    """The rows' shadow on the other variables; None where the rows contradict each other."""
    lower: list[tuple[int, Row]] = []
    upper: list[tuple[int, Row]] = []
    rest: list[Row] = []
    for one in rows:
        factor = dict(one.terms).get(variable, 0)
        (rest.append(one) if not factor else (upper if factor > 0 else lower).append((abs(factor), one)))
    for a, up in upper:
        for b, down in lower:
            terms = {v: c * b for v, c in up.terms}
            for v, c in down.terms:
                terms[v] = terms.get(v, 0) + c * a
            rest.append(row(terms, up.constant * b + down.constant * a, strict=up.strict or down.strict))
    return tightest(rest)


def shadow(rows: Sequence[Row], keep: frozenset[str]) -> list[Row] | None:
    """The rows' shadow on the variables of `keep`."""
    left: list[Row] | None = tightest(rows)
    while left is not None:
        others = {v for one in left for v, _ in one.terms} - keep
        if not others:
            return left

        def cost(variable: str, rows: Sequence[Row] = left) -> tuple[int, str]:
            signs = [dict(one.terms).get(variable, 0) for one in rows]
            return sum(s > 0 for s in signs) * sum(s < 0 for s in signs), variable

        left = eliminated(left, min(others, key=cost))
    return None


# A place between two reals: (v, False) just below v, (v, True) just above it.
Cut = tuple[Fraction, bool]
LOWEST, HIGHEST = (Fraction(-(10**30)), False), (Fraction(10**30), True)


def extent(rows: Sequence[Row], form: Mapping[str, int]) -> tuple[Cut, Cut] | None:
    """Between which two cuts a linear form lies; None where nothing meets the rows."""
    extra = [row({**form, "=": -1}, 0), row({**{v: -c for v, c in form.items()}, "=": 1}, 0)]
    left = shadow([*rows, *extra], frozenset({"="}))
    if left is None:
        return None
    low, high = LOWEST, HIGHEST
    for one in left:
        ((_, factor),) = one.terms
        bound = Fraction(-one.constant, factor)
        if factor > 0:
            high = min(high, (bound, not one.strict))
        else:
            low = max(low, (bound, one.strict))
    return (low, high) if low < high else None


def between(form: Mapping[str, int], low: Cut, high: Cut) -> list[Row]:
    """The rows that keep a form between two cuts."""
    rows = []
    if low != LOWEST:
        rows.append(row({v: -c for v, c in form.items()}, low[0], strict=low[1]))
    if high != HIGHEST:
        rows.append(row(form, -high[0], strict=not high[1]))
    return rows


def split(rows: list[Row], form: Mapping[str, int], cuts: Sequence[Cut]) -> Iterator[tuple[int, list[Row]]]:
    """The bands between sorted cuts in which a form can lie: the band's number and the rows with it."""
    reach = extent(rows, form)
    if reach is None:
        return
    edges = [LOWEST, *cuts, HIGHEST]
    for i, (low, high) in enumerate(pairwise(edges)):
        if max(low, reach[0]) < min(high, reach[1]):
            yield i, [*rows, *between(form, low, high)]


# --- comparisons


def cut_of(limit: Limit, scale: int = 1) -> Cut:
    """Where a limit cuts the line of its values."""
    return Fraction(limit.value * scale), limit.compare in (Compare.AT_OR_BELOW, Compare.ABOVE)


def meets(limit: Limit, cuts: Sequence[Cut], band: int, scale: int = 1) -> bool:
    """Whether the values of a band meet a limit that is one of the cuts."""
    low_side = band <= list(cuts).index(cut_of(limit, scale))
    return low_side is limit.compare.downward


# --- what is observed


@dataclass(frozen=True)
class Watch:
    """A rule's look at a value: the sensor or derived reading, its trip and its clear limit."""

    rule: str
    name: str
    trips: Limit
    clears: Limit


@dataclass(frozen=True)
class Truth:
    """A requirement's look at a quantity."""

    quantity: str
    limit: Limit


# What a Watch gives: TRIPS, CLEARS, NEITHER or INVALID; a Truth gives 1 or 0.
NEITHER, TRIPS, CLEARS, INVALID = range(4)
Observation = tuple[int, ...]


@dataclass(frozen=True)
class Linked:
    """An element whose reading minus truth lies in the intervals."""

    errors: tuple[SensorError, ...]


@dataclass(frozen=True)
class Reads:
    """An element that reads one value, whatever the truth is (None: nothing at all)."""

    value: int | None


@dataclass(frozen=True)
class Anything:
    """An element whose value is no longer tied to the truth: stuck at something."""


Element = Linked | Reads | Anything


@dataclass(frozen=True)
class Part:
    """A part of the scheme's truths and readings that nothing ties to the rest, and what is observed of it."""

    scheme: Scheme
    quantities: frozenset[str]
    elements: frozenset[str]
    source: Mapping[str, str]  # an input's element, where inputs are exchanged
    looks: tuple[Watch | Truth, ...]

    @cached_property
    def truths(self) -> list[Row]:
        """Spans, ties, and that every sensor could read something while healthy."""
        rows: list[Row] = []
        for name in sorted(self.quantities):
            q = self.scheme.quantities[name]
            rows += [row({_q(name): 1}, -q.span.high), row({_q(name): -1}, q.span.low)]
            if q.at_least:
                rows.append(row({_q(q.at_least.other): 1, _q(name): -1}, q.at_least.difference))
            if q.at_most:
                rows.append(row({_q(name): 1, _q(q.at_most.other): -1}, -q.at_most.difference))
        for sensor in self.scheme.sensors.values():
            if sensor.measures[0].quantity in self.quantities:
                rows += self._readable(sensor)
        return rows

    @staticmethod
    def _readable(sensor: Sensor) -> list[Row]:
        healthy = shadow(_link("reading", sensor.measures), frozenset(_q(e.quantity) for e in sensor.measures))
        return healthy or []

    def observations(
        self, elements: Mapping[str, Element], also: str = "", cuts: Sequence[Cut] = ()
    ) -> list[tuple[Observation, int, tuple[Cut, Cut]]]:
        """Every cell: what is observed, the band between `cuts` of the element `also`, and that element's extent.

        Without `also` the last two mean nothing, and equal observations are given once.
        """
        rows = list(self.truths)
        for name in sorted(self.elements):
            match elements[name]:
                case Linked(errors):
                    rows += _link(_e(name), errors)
                case Reads(int(value)):
                    rows += [row({_e(name): 1}, -value), row({_e(name): -1}, value)]
                case _:
                    pass
        seen_vars = {_q(look.quantity) for look in self.looks if isinstance(look, Truth)}
        seen_vars |= {_e(name) for name in self.elements if not _lost(elements[name])}
        start = shadow(rows, frozenset(seen_vars))
        if start is None:
            return []
        lost = frozenset(name for name in self.elements if _lost(elements[name]))
        found: dict[tuple[Observation, int, tuple[Cut, Cut]], None] = {}
        nowhere = (LOWEST, HIGHEST)
        for band, inside in split(start, {_e(also): 1}, cuts) if also else [(0, start)]:
            for cell, seen in _Explorer(self, lost).looked(inside, 0, ()):
                if also:
                    reach = extent(cell, {_e(also): 1})
                    if reach is None:
                        raise AssertionError("a cell that holds nothing")
                    found[seen, band, reach] = None
                else:
                    found[seen, band, nowhere] = None
        return list(found)


def _lost(element: Element) -> bool:
    return isinstance(element, Reads) and element.value is None


def _q(name: str) -> str:
    return f"q:{name}"


def _e(name: str) -> str:
    return f"e:{name}"


def _link(variable: str, errors: Sequence[SensorError]) -> list[Row]:
    rows = []
    for error in errors:
        rows.append(row({variable: 1, _q(error.quantity): -1}, -error.interval.high))
        rows.append(row({variable: -1, _q(error.quantity): 1}, error.interval.low))
    return rows


class _Explorer:
    """Walks through the looks of a part, splitting where a comparison can come out either way."""

    def __init__(self, part: Part, lost: frozenset[str]) -> None:
        self.part, self.lost = part, lost

    def looked(self, rows: list[Row], index: int, seen: Observation) -> Iterator[tuple[list[Row], Observation]]:
        if index == len(self.part.looks):
            yield rows, seen
            return
        look = self.part.looks[index]
        for inside, value in self.truth(rows, look) if isinstance(look, Truth) else self.watch(rows, look):
            yield from self.looked(inside, index + 1, (*seen, value))

    def truth(self, rows: list[Row], look: Truth) -> Iterator[tuple[list[Row], int]]:
        cuts = [cut_of(look.limit)]
        for band, inside in split(rows, {_q(look.quantity): 1}, cuts):
            yield inside, int(meets(look.limit, cuts, band))

    def watch(self, rows: list[Row], look: Watch) -> Iterator[tuple[list[Row], int]]:
        scheme = self.part.scheme
        if look.name in scheme.sensors:
            for inside, valid in self.validity(rows, (look.name,)):
                if valid:
                    yield from self.compared(inside, {_e(self.part.source[look.name]): 1}, 1, look)
                else:
                    yield inside, INVALID
            return
        reading = scheme.readings[look.name]
        for inside, valid in self.validity(rows, reading.sensors):
            if len(valid) < reading.needs:
                yield inside, INVALID
            else:
                yield from self.derived(inside, reading, [_e(self.part.source[s]) for s in valid], look)

    def validity(self, rows: list[Row], inputs: Sequence[str]) -> Iterator[tuple[list[Row], tuple[str, ...]]]:
        """The inputs among some that are valid."""
        if not inputs:
            yield rows, ()
            return
        first, rest = inputs[0], inputs[1:]
        element, valid = self.part.source[first], self.part.scheme.sensors[first].valid
        if element in self.lost:
            yield from self.validity(rows, rest)
            return
        cuts = [(Fraction(valid.low), False), (Fraction(valid.high), True)]
        for band, inside in split(rows, {_e(element): 1}, cuts):
            for cell, names in self.validity(inside, rest):
                yield cell, (first, *names) if band == 1 else names

    def compared(
        self, rows: list[Row], form: Mapping[str, int], scale: int, look: Watch
    ) -> Iterator[tuple[list[Row], int]]:
        """form / scale held against the look's limits."""
        cuts = sorted({cut_of(look.trips, scale), cut_of(look.clears, scale)})
        if not any(form.values()):  # no variable left: the value is 0
            band = sum(cut < (Fraction(0), True) for cut in cuts)
            yield rows, _code(look, cuts, band, scale)
            return
        for band, inside in split(rows, form, cuts):
            yield inside, _code(look, cuts, band, scale)

    def derived(
        self, rows: list[Row], reading: Reading, values: list[str], look: Watch
    ) -> Iterator[tuple[list[Row], int]]:
        number = len(values)
        if reading.combine is Combine.AVERAGE_OF:
            yield from self.compared(rows, dict.fromkeys(values, 1), number, look)
            return
        for inside, ordered in self.ordered(rows, values):
            form, scale = _COMBINED[reading.combine](ordered)
            yield from self.compared(inside, form, scale, look)

    def ordered(self, rows: list[Row], values: list[str]) -> Iterator[tuple[list[Row], list[str]]]:
        """The orders in which the values can lie, from the lowest."""
        pairs = list(combinations(range(len(values)), 2))

        def walk(
            rows: list[Row], left: list[tuple[int, int]], below: list[int]
        ) -> Iterator[tuple[list[Row], list[str]]]:
            if not left:
                yield rows, [values[i] for i in sorted(range(len(values)), key=lambda i: below[i])]
                return
            (i, j), rest = left[0], left[1:]
            for band, inside in split(rows, {values[i]: 1, values[j]: -1}, [(Fraction(0), False)]):
                more = list(below)
                more[j if band == 0 else i] += 1  # the number of values it lies above
                yield from walk(inside, rest, more)

        yield from walk(rows, pairs, [0] * len(values))


def _code(look: Watch, cuts: Sequence[Cut], band: int, scale: int) -> int:
    trips, clears = meets(look.trips, cuts, band, scale), meets(look.clears, cuts, band, scale)
    if trips and clears:
        raise AssertionError(f"{look.rule} trips and clears at once")
    return TRIPS if trips else CLEARS if clears else NEITHER


def _middle(ordered: Sequence[str]) -> tuple[dict[str, int], int]:
    number = len(ordered)
    if number % 2:
        return {ordered[number // 2]: 1}, 1
    return {ordered[number // 2 - 1]: 1, ordered[number // 2]: 1}, 2


def _spread(ordered: Sequence[str]) -> tuple[dict[str, int], int]:
    return ({}, 1) if len(ordered) == 1 else ({ordered[-1]: 1, ordered[0]: -1}, 1)


_COMBINED: dict[Combine, Callable[[Sequence[str]], tuple[dict[str, int], int]]] = {
    Combine.LOWEST_OF: lambda ordered: ({ordered[0]: 1}, 1),
    Combine.HIGHEST_OF: lambda ordered: ({ordered[-1]: 1}, 1),
    Combine.MEDIAN_OF: _middle,
    Combine.DIFFERENCE_OF: _spread,
}
assert set(_COMBINED) | {Combine.AVERAGE_OF} == set(Combine), "a way to combine readings is missing"
