"""What the readings must be for a rule to see what one wishes it to see, as bounds on the sensors' elements.

A wish has several ways to come true; each is a list of bounds. They are tried in turn against a region of what truths
and readings can be together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations, permutations

from interlock.fuzz.region import ZERO, Bound, Region, opposite, within
from interlock.logic.faultset import FaultSet
from interlock.logic.readings import compare, median
from interlock.scheme.model import Limit, Reading, Rule, Scheme
from interlock.scheme.words import Combine, OnInvalid, Part, Signal

Way = tuple[Bound, ...]

MOST_WAYS = 24  # of one reading: more sensors have more ways, all of the same kind


class Wishes:
    """The ways of each rule that watches a reading, under the exchanges of a fault set."""

    def __init__(self, scheme: Scheme, faults: FaultSet) -> None:
        self.scheme, self.faults = scheme, faults
        self._ways: dict[tuple[str, bool], tuple[tuple[Callable[[Region], Iterator[Way]], ...], ...]] = {}

    def elements(self, rule: Rule) -> tuple[str, ...]:
        """The sensors whose elements the rule's reading comes from."""
        if rule.watches is Signal.SENSOR:
            inputs: tuple[str, ...] = (rule.watched,)
        elif rule.watches is Signal.READING:
            inputs = self.scheme.readings[rule.watched].sensors
        else:
            return ()
        return tuple(self.faults.source(Part.SENSOR, name) for name in inputs)

    def grant(self, region: Region, rule: Rule, active: bool, turn: int) -> Region | None:
        """The region narrowed so that the rule becomes (or stays) active or not; None where truth does not allow it.

        First whatever moves it there, then whatever at least leaves it. `turn` decides which of equal ways comes first.
        """
        key = (rule.name, active)
        if key not in self._ways:
            self._ways[key] = tuple(self._stages(rule, active))
        for stage in self._ways[key]:
            for ways in stage:
                found = tuple(ways(region))
                for i in range(len(found)):
                    trial = region.copy()
                    if trial.add_all(found[(i + turn) % len(found)]):
                        return trial
        return None

    def _stages(self, rule: Rule, active: bool) -> Iterator[tuple[Callable[[Region], Iterator[Way]], ...]]:
        wanted, other = (rule.trips, rule.clears) if active else (rule.clears, rule.trips)
        assert isinstance(wanted.test, Limit)
        assert isinstance(other.test, Limit)
        meant = OnInvalid.TRIP if active else OnInvalid.CLEAR
        lost = self._lost(rule)
        moving = [self._meets(rule, wanted.test)] + ([lost] if rule.on_invalid is meant else [])
        yield tuple(moving)
        yield tuple([self._meets(rule, opposite(other.test))] + ([lost] if rule.on_invalid is OnInvalid.HOLD else []))

    def _meets(self, rule: Rule, limit: Limit) -> Callable[[Region], Iterator[Way]]:
        inputs = (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors
        if rule.watches is Signal.SENSOR:
            return lambda _: iter([(*self._valid(inputs[0]), self._input(inputs[0], limit))])
        reading = self.scheme.readings[rule.watched]
        return lambda region: self._derived(reading, limit, region)

    def _lost(self, rule: Rule) -> Callable[[Region], Iterator[Way]]:
        if rule.watches is Signal.SENSOR:
            return lambda _: self._invalid((rule.watched,), 1)
        reading = self.scheme.readings[rule.watched]
        return lambda _: self._invalid(reading.sensors, len(reading.sensors) - reading.needs + 1)

    def _invalid(self, inputs: Sequence[str], count: int) -> Iterator[Way]:
        """At least `count` of these inputs read nothing valid: all beyond one end of what they take."""
        for chosen in combinations(inputs, count):
            for above in (True, False):
                way = []
                for name in chosen:
                    element, valid = self.faults.source(Part.SENSOR, name), self.scheme.sensors[name].valid
                    way.append((ZERO, element, -valid.high - 1) if above else (element, ZERO, valid.low - 1))
                yield tuple(way)

    def _valid(self, name: str) -> Way:
        element, valid = self.faults.source(Part.SENSOR, name), self.scheme.sensors[name].valid
        return ((element, ZERO, valid.high), (ZERO, element, -valid.low))

    def _input(self, name: str, limit: Limit) -> Bound:
        return within(limit, self.faults.source(Part.SENSOR, name))

    def _derived(self, reading: Reading, limit: Limit, region: Region) -> Iterator[Way]:
        """With all sensors valid; where fewer will do, also with some of them lost."""
        sizes = range(len(reading.sensors), reading.needs - 1, -1)
        sets = [kept for size in sizes for kept in combinations(reading.sensors, size)]
        number = 0
        for kept in sets:
            gone = tuple(name for name in reading.sensors if name not in kept)
            losses = tuple(self._invalid(gone, len(gone))) if gone else ((),)
            for way in self._combined(reading.combine, kept, limit, region):
                for loss in losses:
                    yield (*(bound for name in kept for bound in self._valid(name)), *way, *loss)
                    number += 1
                    if number >= MOST_WAYS:
                        return

    def _combined(self, combine: Combine, inputs: tuple[str, ...], limit: Limit, region: Region) -> Iterator[Way]:
        down = limit.compare.downward
        each = tuple(self._input(name, limit) for name in inputs)
        match combine:
            case Combine.LOWEST_OF if not down:
                yield each
            case Combine.HIGHEST_OF if down:
                yield each
            case Combine.LOWEST_OF | Combine.HIGHEST_OF:
                yield from ((one,) for one in each)
            case Combine.MEDIAN_OF:  # more than half decide it, whatever the others read
                yield from combinations(each, len(each) // 2 + 1)
                yield from self._at_the_end(median, inputs, limit, region)
            case Combine.AVERAGE_OF:
                yield each
                yield from self._at_the_end(_average, inputs, limit, region)
            case Combine.DIFFERENCE_OF:
                yield from self._difference(inputs, limit)

    def _at_the_end(
        self, combined: Callable[[Sequence[int]], Fraction], inputs: tuple[str, ...], limit: Limit, region: Region
    ) -> Iterator[Way]:
        """All at the one end of what the region leaves them: they can all be there at once."""
        elements = [self.faults.source(Part.SENSOR, name) for name in inputs]
        down = limit.compare.downward
        trial = region.copy()
        if not all(trial.add_all(self._valid(name)) for name in inputs):
            return
        ends = [trial.range(e)[0 if down else 1] for e in elements]
        if compare(combined(ends), limit):
            yield tuple((e, ZERO, end) if down else (ZERO, e, -end) for e, end in zip(elements, ends, strict=True))

    def _difference(self, inputs: tuple[str, ...], limit: Limit) -> Iterator[Way]:
        elements = [self.faults.source(Part.SENSOR, name) for name in inputs]
        edge = limit.value - limit.compare.strict if limit.compare.downward else limit.value + limit.compare.strict
        if limit.compare.downward:
            if edge >= 0:
                yield tuple((a, b, edge) for a, b in permutations(elements, 2))
        elif edge <= 0:
            yield ()
        else:
            yield from (((b, a, -edge),) for a, b in permutations(elements, 2))


def _average(values: Sequence[int]) -> Fraction:
    return Fraction(sum(values), len(values))
