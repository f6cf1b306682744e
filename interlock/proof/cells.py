"""What rules and conditions can see of the world at one scan: the feasible combinations of their inputs, exactly.

Truths and readings form a system of difference bounds (`bounds.py`). A *slot* is one integer input of a scan: a rule's
code (0 clear, 1 neither, 2 trip, 3 hold) or a truth condition (1 holds, 0 nothing is said). Each slot's value is a
choice between systems of bounds; feasible choices are found depth first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from itertools import combinations, product

from msgspec import Struct

from interlock.logic.faultset import FaultSet
from interlock.proof.bounds import INF, SCALE, Bound, Bounds, Constraint, Sum
from interlock.proof.components import SlotKey
from interlock.proof.index import Index
from interlock.records import replace
from interlock.scheme.model import Condition, Interval, Limit, Rule, Sensor, SensorError
from interlock.scheme.words import Combine, Mode, OnInvalid, Part, Signal

CLEARS, NEITHER, TRIPS, HOLDS = range(4)
INVALID_CODE = {OnInvalid.TRIP: TRIPS, OnInvalid.HOLD: HOLDS, OnInvalid.CLEAR: CLEARS}
assert set(INVALID_CODE) == set(OnInvalid), set(OnInvalid) - set(INVALID_CODE)


MOST_KEPT = 4096  # groups of slots kept with an index


class UnsupportedError(Exception):
    """A combination of readings that difference bounds can't express."""


class Span(Struct, frozen=True):
    """An interval of scaled values: low <= x <= high (strict ends are one unit in); None: open that way."""

    low: int | None
    high: int | None


class Element(Struct, frozen=True):
    """What a sensor's element gives at a scan.

    `error`: live, reading - truth of each quantity; () where it is cut off from truth. `span`: and the value lies in
    it. `lost`: it gives nothing.
    """

    error: tuple[SensorError, ...] = ()
    span: Span | None = None
    lost: bool = False


def live(sensor: Sensor, faults: FaultSet, drift: Mapping[tuple[Mode, str], tuple[SensorError, ...]]) -> Element:
    """A sensor's element under its present error: drifted, misplaced or healthy."""
    error = {e.quantity: e for e in sensor.measures}
    for mode in (Mode.MISPLACED, Mode.DRIFTED):
        if faults.has(mode, sensor.name):
            error |= {e.quantity: e for e in drift[mode, sensor.name]}
    return Element(tuple(error.values()))


def span_of(interval: Interval) -> Span:
    """A closed interval, scaled."""
    return Span(interval.low * SCALE, interval.high * SCALE)


def _limit_span(limit: Limit) -> Span:
    edge = limit.value * SCALE
    if limit.compare.downward:
        return Span(None, edge - limit.compare.strict)
    return Span(edge + limit.compare.strict, None)


def _complement(span: Span) -> Span:
    """The rest of the line beside a half-line."""
    if span.low is None:
        assert span.high is not None
        # a scaled edge is a multiple of SCALE, or one unit below a strict one
        return Span(span.high + 1, None)
    return Span(None, span.low - 1)


# Conditions with limits moved: what the quantity must lie in instead, scaled.
Limits = tuple[tuple[Condition, "Span"], ...]

# A choice: a slot's value and the bounds that go with it.
Choice = tuple[int, tuple[Constraint, ...]]


def _regions(rule: Rule) -> list[tuple[int, Span]]:
    """The rule's codes over its watched value."""
    trips, clears = rule.trips.test, rule.clears.test
    assert isinstance(trips, Limit)
    assert isinstance(clears, Limit)
    trip, clear = _limit_span(trips), _limit_span(clears)
    not_trip, not_clear = _complement(trip), _complement(clear)
    low = not_trip.low if not_trip.low is not None else not_clear.low
    high = not_trip.high if not_trip.high is not None else not_clear.high
    regions = [(CLEARS, clear), (TRIPS, trip)]
    if low is not None and high is not None and low <= high:
        regions.insert(1, (NEITHER, Span(low, high)))
    return regions


class View(Struct, frozen=True):
    """The elements of a scan and what each input makes of them."""

    elements: tuple[tuple[str, Element], ...]  # by the sensor whose element it is, in the scheme's order
    faults: FaultSet  # exchanges of sensors; all else is in the elements
    limits: Limits = ()  # limits on quantities that have been moved
    apart: tuple[tuple[str, str, Span], ...] = ()  # first element less second, where both are stuck


class Group:
    """Slots that share truths or elements, and the system they live in."""

    def __init__(self, index: Index, slots: Sequence[SlotKey], view: View) -> None:
        self.index, self.slots = index, tuple(slots)
        self._limits: dict[Condition, Span] = {}
        self._vectors: dict[tuple[int, ...], list[Bounds]] | None = None
        self._first: dict[tuple[tuple[int, Sequence[int]], ...], tuple[tuple[int, ...], Bounds] | None] = {}
        elements = dict(view.elements)
        self.place: dict[tuple[str, str], int] = {}  # ("quantity" | "element", name): variable
        components: list[int] = []
        names: list[str] = []
        for slot in slots:
            for kind, name in slot_needs(index, slot, view.faults):
                if kind == "element":
                    if name not in names:
                        names.append(name)
                    for e in elements[name].error:
                        components.append(index.component[e.quantity])
                else:
                    components.append(int(name))
        bounds = Bounds(1)
        for c in sorted(set(components)):
            truth, offset = index.truth(c), bounds.size - 1
            bounds = _joined(bounds, truth)
            for i, quantity in enumerate(index.members[c]):
                self.place["quantity", quantity] = offset + i + 1
        first = bounds.size
        present = [n for n in names if not elements[n].lost]
        bounds = bounds.widened(len(present))
        self.possible = True
        for i, n in enumerate(present):
            v = self.place["element", n] = first + i
            element = elements[n]
            for e in element.error:
                q = self.place["quantity", e.quantity]
                self.possible &= bounds.add(v, q, e.interval.high * SCALE) and bounds.add(q, v, -e.interval.low * SCALE)
            if element.span:
                self.possible &= bounds.add_all(tuple(within(v, element.span)))
        for one, other, span in view.apart:
            if one in present and other in present:
                v, w = self.place["element", one], self.place["element", other]
                self.possible &= bounds.add_all(tuple(difference(v, w, span)))
        self.bounds = bounds
        self.choices = [self._choices(slot, view.faults) for slot in slots] if self.possible else []

    def with_limits(self, limits: Limits) -> Group:
        """The same group with limits on quantities moved: what rules can see stays as it is."""
        moved = [slot[0] == "truth" and any(c in slot[1:] for c, _ in limits) for slot in self.slots]
        if not any(moved):
            return self
        other = copy(self)
        other._limits, other._vectors, other._first = dict(limits), None, {}
        if self.possible:
            found = zip(self.slots, self.choices, moved, strict=True)
            other.choices = [other._truths(slot) if changed else choices for slot, choices, changed in found]
        return other

    # --- the choices of a slot

    def _choices(self, slot: SlotKey, faults: FaultSet) -> list[Choice]:
        if slot[0] == "truth":
            return self._truths(slot)
        rule = self.index.scheme.rules[str(slot[1])]
        found: dict[Choice, None] = {}
        for code, bounds in self._rule_choices(rule, faults):
            trial = self.bounds.copy()
            if trial.add_all(bounds):
                found[code, bounds] = None
        return list(found)

    def _truths(self, slot: SlotKey) -> list[Choice]:
        met: list[Bound] = []
        for c in slot[1:]:
            assert isinstance(c, Condition)
            assert isinstance(c.test, Limit)
            met += within(self.place["quantity", c.name], self._limits.get(c) or _limit_span(c.test))
        return [(1, tuple(met)), (0, ())]

    def _rule_choices(self, rule: Rule, faults: FaultSet) -> Iterator[Choice]:
        scheme = self.index.scheme
        regions = _regions(rule)
        invalid = INVALID_CODE[rule.on_invalid]
        if rule.watches is Signal.SENSOR:
            inputs: tuple[str, ...] = (rule.watched,)
            needs, combine = 1, Combine.LOWEST_OF
        else:
            reading = scheme.readings[rule.watched]
            inputs, needs, combine = reading.sensors, reading.needs, reading.combine
        options = [self._input_options(name, faults) for name in inputs]
        for pattern in product(*options):
            valid = [v for v, _ in pattern if v is not None]
            bounds: tuple[Constraint, ...] = tuple(b for _, part in pattern for b in part)
            trial = self.bounds.copy()
            if not trial.add_all(bounds):
                continue
            if len(valid) < needs:
                yield invalid, bounds
                continue
            for code, span in regions:
                for more in _combined(combine, valid, span):
                    yield code, bounds + more

    def _input_options(self, name: str, faults: FaultSet) -> list[tuple[int | None, tuple[Bound, ...]]]:
        """An input valid (its variable) or not (None), with the bounds for each way."""
        source = faults.source(Part.SENSOR, name)
        v = self.place.get(("element", source))
        if v is None:
            return [(None, ())]
        valid = span_of(self.index.scheme.sensors[name].valid)
        assert valid.low is not None
        assert valid.high is not None
        return [
            (v, tuple(within(v, valid))),
            (None, tuple(within(v, Span(None, valid.low - 1)))),
            (None, tuple(within(v, Span(valid.high + 1, None)))),
        ]

    # --- going through them

    def vectors(self) -> dict[tuple[int, ...], list[Bounds]]:
        """Every feasible vector of slot values, with the systems that give it."""
        if self._vectors is None:
            self._vectors = {}
            if self.possible:
                self._walk(self.bounds, 0, (), self._vectors)
        return self._vectors

    def _walk(
        self, bounds: Bounds, depth: int, codes: tuple[int, ...], found: dict[tuple[int, ...], list[Bounds]]
    ) -> None:
        if depth == len(self.slots):
            found.setdefault(codes, []).append(bounds)
            return
        for code, more in self.choices[depth]:
            if not more:
                self._walk(bounds, depth + 1, (*codes, code), found)
                continue
            trial = bounds.copy()
            if trial.add_all(more):
                self._walk(trial, depth + 1, (*codes, code), found)

    def first(self, order: Sequence[tuple[int, Sequence[int]]]) -> tuple[tuple[int, ...], Bounds] | None:
        """A feasible vector that takes the slots in the order given, each with the first of its values that still fits.

        `order`: slot number and the values allowed, best first. None where the leading slots' values do not fit.
        """
        if not self.possible:
            return None
        key = tuple(order)
        if key not in self._first:
            self._first[key] = self._first_of(key)
        return self._first[key]

    def _first_of(self, order: Sequence[tuple[int, Sequence[int]]]) -> tuple[tuple[int, ...], Bounds] | None:
        codes = [0] * len(self.slots)

        def walk(bounds: Bounds, depth: int) -> Bounds | None:
            if depth == len(order):
                return bounds
            slot, allowed = order[depth]
            for wanted in allowed:
                for code, more in self.choices[slot]:
                    if code != wanted:
                        continue
                    trial = bounds.copy()
                    if trial.add_all(more):
                        codes[slot] = code
                        done = walk(trial, depth + 1)
                        if done is not None:
                            return done
            return None

        done = walk(self.bounds, 0)
        return None if done is None else (tuple(codes), done)


def slot_needs(index: Index, slot: SlotKey, faults: FaultSet) -> list[tuple[str, str]]:
    """The truths ("truth", group number) and elements ("element", sensor) a slot looks at."""
    scheme = index.scheme
    if slot[0] == "truth":
        first = slot[1]
        assert isinstance(first, Condition)
        return [("truth", str(index.component[first.name]))]
    rule = scheme.rules[str(slot[1])]
    inputs = (rule.watched,) if rule.watches is Signal.SENSOR else scheme.readings[rule.watched].sensors
    return [("element", faults.source(Part.SENSOR, name)) for name in inputs]


def grouped(index: Index, slots: Sequence[SlotKey], view: View) -> list[Group]:
    """The slots in independent groups, each in the order given. Kept with the index: many searches ask for the same."""
    key = (tuple(slots), view)
    kept = index.kept.get(key)
    if kept is None:
        if len(index.kept) > MOST_KEPT:
            index.kept.clear()
        if view.limits:
            kept = [g.with_limits(view.limits) for g in grouped(index, slots, replace(view, limits=()))]
        else:
            kept = _grouped(index, slots, view)
        index.kept[key] = kept
    return kept  # type: ignore[return-value]  # the index knows nothing of groups


def _grouped(index: Index, slots: Sequence[SlotKey], view: View) -> list[Group]:
    elements = dict(view.elements)
    lead: dict[object, object] = {}

    def find(x: object) -> object:
        lead.setdefault(x, x)
        while lead[x] != x:
            x = lead[x]
        return x

    for slot in slots:
        for kind, name in slot_needs(index, slot, view.faults):
            lead[find(slot)] = find((kind, name))
            if kind == "element":
                for e in elements[name].error:
                    lead[find(slot)] = find(("truth", str(index.component[e.quantity])))
    for one, other, _ in view.apart:
        lead[find(("element", one))] = find(("element", other))
    parts: dict[object, list[SlotKey]] = {}
    for slot in slots:
        parts.setdefault(find(slot), []).append(slot)
    return [_group(index, tuple(part), view) for part in parts.values()]


def _group(index: Index, slots: tuple[SlotKey, ...], view: View) -> Group:
    """One group, kept with the index by its slots and what they look at: most faults change what few groups see."""
    names = {name for slot in slots for kind, name in slot_needs(index, slot, view.faults) if kind == "element"}
    mine = View(
        tuple(e for e in view.elements if e[0] in names),
        view.faults,
        apart=tuple(a for a in view.apart if a[0] in names and a[1] in names),
    )
    key = ("group", slots, mine)
    kept = index.kept.get(key)
    if kept is None:
        kept = index.kept[key] = Group(index, slots, mine)
    return kept  # type: ignore[return-value]  # the index knows nothing of groups


def _joined(a: Bounds, b: Bounds) -> Bounds:
    """Two independent systems side by side, closed."""
    size = a.size + b.size - 1
    joined = Bounds(size)
    cells = joined.cells
    for i in range(a.size):
        for j in range(a.size):
            cells[i * size + j] = a.cells[i * a.size + j]
    off = a.size - 1
    for i in range(b.size):
        for j in range(b.size):
            x, y = (i + off if i else 0), (j + off if j else 0)
            cells[x * size + y] = b.cells[i * b.size + j]
    for i in range(1, a.size):
        for j in range(a.size, size):
            cells[i * size + j] = min(INF, cells[i * size] + cells[j])
            cells[j * size + i] = min(INF, cells[j * size] + cells[i])
    return joined


def within(v: int, span: Span) -> list[Bound]:
    """A variable in the span."""
    found: list[Bound] = []
    if span.high is not None:
        found.append((v, 0, span.high))
    if span.low is not None:
        found.append((0, v, -span.low))
    return found


def difference(a: int, b: int, span: Span) -> list[Bound]:
    """a - b in the span."""
    found: list[Bound] = []
    if span.high is not None:
        found.append((a, b, span.high))
    if span.low is not None:
        found.append((b, a, -span.low))
    return found


def _combined(combine: Combine, valid: Sequence[int], span: Span) -> Iterator[tuple[Constraint, ...]]:
    """The ways in which the combined value of these variables lies in the span."""
    match combine:
        case Combine.LOWEST_OF:
            for v in valid:
                yield (*((v, w, 0) for w in valid if w != v), *within(v, span))
        case Combine.HIGHEST_OF:
            for v in valid:
                yield (*((w, v, 0) for w in valid if w != v), *within(v, span))
        case Combine.MEDIAN_OF:
            if len(valid) % 2 == 0:
                yield from _mean_of_middle(valid, span)
                return
            for v in valid:
                others = [w for w in valid if w != v]
                for below in combinations(others, len(others) // 2):
                    yield (
                        *((w, v, 0) for w in below),
                        *((v, w, 0) for w in others if w not in below),
                        *within(v, span),
                    )
        case Combine.DIFFERENCE_OF:
            if len(valid) == 1:
                if (span.low is None or span.low <= 0) and (span.high is None or span.high >= 0):
                    yield ()
                return
            for top in valid:
                for bottom in valid:
                    if top != bottom:
                        others = [w for w in valid if w not in (top, bottom)]
                        yield (
                            (bottom, top, 0),
                            *((w, top, 0) for w in others),
                            *((bottom, w, 0) for w in others),
                            *difference(top, bottom, span),
                        )
        case Combine.AVERAGE_OF:
            if len(valid) == 1:
                yield tuple(within(valid[0], span))
                return
            yield (_sum(valid, span),)


def _mean_of_middle(valid: Sequence[int], span: Span) -> Iterator[tuple[Constraint, ...]]:
    """The median of an even number: the middle two, those below and those above them."""
    for two in combinations(valid, 2):
        others = [w for w in valid if w not in two]
        for below in combinations(others, len(others) // 2):
            yield (
                *((w, v, 0) for w in below for v in two),
                *((v, w, 0) for w in others if w not in below for v in two),
                _sum(two, span),
            )


def _sum(items: Sequence[int], span: Span) -> Sum:
    """The mean of these variables in the span."""
    k = len(items)
    return Sum(tuple(items), None if span.low is None else k * span.low, None if span.high is None else k * span.high)
