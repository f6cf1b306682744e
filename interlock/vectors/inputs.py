"""One unit's inputs in lanes that can be moved one by one: sensors that some reading combines, and each line.

All values are in the export's steps. Inputs are a tuple in the order of the unit's sensors, then its lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from interlock.export.unit import UnitCode
from interlock.logic.readings import Value, at_input, combined, compare
from interlock.scheme.model import Limit, Rule, Scheme
from interlock.scheme.words import Combine, Compare, Signal

Given = tuple[int, ...]
Patch = Mapping[int, int]  # places of inputs and what they are given
APART = 7  # steps between sensors that one reading combines, so that only one of them decides


@dataclass(frozen=True, slots=True)
class Frame:
    """A patch for one scan; `says`: what begins with it, "" for nothing new."""

    patch: Patch
    says: str = ""


@dataclass(frozen=True, slots=True)
class Lane:
    """Inputs that are moved together; `sensors`, or one line."""

    places: tuple[int, ...]
    sensors: tuple[str, ...]
    line: str = ""


@dataclass(frozen=True, slots=True)
class _Limit:
    """A rule's limit on a lane's value, passed downward or upward."""

    rule: Rule
    trip: bool
    met: int
    unmet: int
    at_once: bool  # no delay: the first scan at which it is met decides

    @property
    def says(self) -> str:
        return f"{self.rule.name}: {'trip' if self.trip else 'clear'} limit"


def sides(test: Limit) -> tuple[int, int]:
    """The value nearest to the limit that meets it, and the nearest that does not, in whole steps."""
    match test.compare:
        case Compare.BELOW:
            return test.value - 1, test.value
        case Compare.AT_OR_BELOW:
            return test.value, test.value + 1
        case Compare.ABOVE:
            return test.value + 1, test.value
        case Compare.AT_OR_ABOVE:
            return test.value, test.value - 1


def patched(given: Given, patch: Patch) -> Given:
    """The inputs with a patch applied."""
    values = list(given)
    for i, value in patch.items():
        values[i] = value
    return tuple(values)


class Inputs:
    """The lanes of one unit, its inputs at rest (as many rules clear as can be), and ways from one value to another."""

    def __init__(self, code: UnitCode) -> None:
        self.code = code
        self.scheme: Scheme = code.steps.scheme
        self.sensors, self.lines = code.sensors, code.lines
        self.place = {name: i for i, name in enumerate((*self.sensors, *self.lines))}
        self.rules = [rule for rule in self.scheme.rules.values() if rule.unit == code.unit]
        self.watching = [rule for rule in self.rules if rule.watches in (Signal.SENSOR, Signal.READING)]
        groups = [Lane(tuple(self.place[s] for s in group), group) for group in self._groups()]
        self.lanes = (*groups, *(Lane((self.place[n],), (), n) for n in self.lines))
        self.lane_of = {i: lane for lane in self.lanes for i in lane.places}
        self._limits = {lane: tuple(self._limits_of(lane)) for lane in groups}
        self.regions = {lane: self._regions(lane) for lane in groups}
        self.rest: Given = self._rest()

    def lost(self, sensor: str) -> int:
        """A value that counts as lost."""
        return self.scheme.sensors[sensor].valid.low - 1

    def members(self, rule: Rule) -> tuple[str, ...]:
        """The sensors behind what a rule watches."""
        return (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors

    def apart(self, rule: Rule) -> bool:
        """Whether a rule watches how far sensors are apart."""
        return rule.watches is Signal.READING and self.scheme.readings[rule.watched].combine is Combine.DIFFERENCE_OF

    def read(self, rule: Rule, given: Given) -> Value:
        """What a rule that watches a sensor or a reading is given; None where that is lost."""
        values = {
            name: at_input(given[self.place[name]], self.scheme.sensors[name].valid) for name in self.members(rule)
        }
        if rule.watches is Signal.SENSOR:
            return values[rule.watched]
        return combined(self.scheme.readings[rule.watched], values)

    # --- from one value to another

    def sweep(self, lane: Lane, now: Given, target: int, decider: int = 0) -> Iterator[Frame]:
        """To a value of all sensors of a lane, past each limit on the way: met, just not met, met. `decider`: which
        sensor goes first where several are combined."""
        values = [now[i] for i in lane.places]
        up = target > max(values)
        down = target < min(values)
        for limit in sorted(self._limits[lane], key=lambda x: x.met, reverse=not up):
            rises = limit.met > limit.unmet
            crossed = max(values) < limit.met <= target if rises else target <= limit.met < min(values)
            if crossed and (rises if up else down and not rises):
                yield from self._past(limit, decider)
        yield Frame(dict.fromkeys(lane.places, target))

    def past(self, rule: Rule, trip: bool, now: Given, decider: int = 0) -> Iterator[Frame]:
        """Past one limit: met, just not met, met; of a line: turned to it, back, and to it again."""
        test = (rule.trips if trip else rule.clears).test
        if isinstance(test, Limit):
            yield from self._past(self._limit(rule, trip, test), decider, now)
        else:
            at, says = self.place[rule.watched], f"{rule.name}: {'trip' if trip else 'clear'} limit"
            yield Frame({at: int(test)}, says)
            yield Frame({at: int(not test)})
            yield Frame({at: int(test)})

    def _past(self, limit: _Limit, decider: int, now: Given | None = None) -> Iterator[Frame]:
        names = self.members(limit.rule)
        first = names[decider % len(names)]
        met, unmet = (self._patch(limit.rule, first, value, now or self.rest) for value in (limit.met, limit.unmet))
        if not all(v in self.scheme.sensors[(*self.sensors, *self.lines)[i]].valid for i, v in met.items()):
            return
        frames = [unmet, met] if limit.at_once else [met, unmet, met]
        yield Frame(frames[0], limit.says)
        yield from map(Frame, frames[1:])

    def _patch(self, rule: Rule, first: str, value: int, now: Given) -> Patch:
        """What the rule watches reads this value, by what `first` reads."""
        if rule.watches is Signal.SENSOR:
            return {self.place[first]: value}
        reading = self.scheme.readings[rule.watched]
        match reading.combine:
            case Combine.LOWEST_OF:
                others = value + APART
            case Combine.HIGHEST_OF:
                others = value - APART
            case Combine.AVERAGE_OF | Combine.MEDIAN_OF:
                others = value
            case Combine.DIFFERENCE_OF:
                others = (
                    now[self.place[next(s for s in reading.sensors if s != first)]]
                    if len(reading.sensors) > 1
                    else value
                )
                valid = self.scheme.sensors[first].valid
                value = others + value if others + value <= valid.high else others - value
        return {self.place[s]: value if s == first else others for s in reading.sensors}

    def _limit(self, rule: Rule, trip: bool, test: Limit) -> _Limit:
        trigger = rule.trips if trip else rule.clears
        return _Limit(rule, trip, *sides(test), at_once=not trigger.delay.scans)

    def _limits_of(self, lane: Lane) -> Iterator[_Limit]:
        for rule in self.watching:
            if self.members(rule)[0] in lane.sensors and not self.apart(rule):
                for trip, trigger in ((True, rule.trips), (False, rule.clears)):
                    if isinstance(trigger.test, Limit):
                        yield self._limit(rule, trip, trigger.test)

    # --- values

    def meeting(self, rule: Rule, trip: bool, lane: Lane) -> list[int]:
        """Values inside regions that meet a rule's limit, the nearest to it first."""
        test = (rule.trips if trip else rule.clears).test
        assert isinstance(test, Limit)
        found = [v for v in self.regions[lane] if compare(v, test)]
        return sorted(found, key=lambda v: abs(v - test.value))

    def _regions(self, lane: Lane) -> list[int]:
        """A value inside each region between the limits of the rules that see the lane."""
        valid = [self.scheme.sensors[s].valid for s in lane.sensors]
        low, high = max(v.low for v in valid), min(v.high for v in valid)
        limits = {low, high} | {max(x.met, x.unmet) for x in self._limits[lane]}
        return [(a + b) // 2 for a, b in pairwise(sorted(x for x in limits if low <= x <= high))]

    def cells(self, lane: Lane) -> list[int]:
        """Values on both sides of each limit of the rules that see a lane: all that they can tell apart of one
        sensor."""
        limits = {x for limit in self._limits[lane] for x in (limit.met, limit.unmet)}
        return sorted(limits | set(self.regions[lane]))

    def _groups(self) -> list[tuple[str, ...]]:
        """The sensors in groups that one reading or another combines."""
        groups = [{name} for name in self.sensors]
        for rule in self.watching:
            touched = [g for g in groups if g & set(self.members(rule))]
            groups = [g for g in groups if g not in touched] + [set().union(*touched)]
        return [tuple(s for s in self.sensors if s in g) for g in groups]

    def _rest(self) -> Given:
        rest: dict[int, int] = {}
        for lane, regions in self.regions.items():
            sharing = [rule for rule in self.watching if set(self.members(rule)) <= set(lane.sensors)]

            def score(value: int, sharing: list[Rule] = sharing) -> int:
                total = 0
                for rule in sharing:
                    seen = 0 if self.apart(rule) else value
                    if isinstance(rule.clears.test, Limit) and isinstance(rule.trips.test, Limit):
                        total += compare(seen, rule.clears.test) - compare(seen, rule.trips.test)
                return total

            rest |= dict.fromkeys(lane.places, max(regions, key=score))
        for line in self.lines:
            wants = [r.clears.test is True for r in self.rules if r.watches is Signal.LINE and r.watched == line]
            rest[self.place[line]] = int(sum(1 if w else -1 for w in wants) > 0)
        return tuple(rest[i] for i in range(len(self.place)))
