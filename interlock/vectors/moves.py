"""What can be done to one unit's inputs: readings at both sides of each limit, lost ones, lines set, buttons pressed.

All values are in the export's steps. Inputs are a tuple in the order of the unit's sensors, then its lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from interlock.export.unit import UnitCode
from interlock.logic.readings import compare
from interlock.scheme.model import Limit, Rule, Scheme
from interlock.scheme.words import Combine, Compare, Signal

Given = tuple[int, ...]
Patch = Mapping[int, int]  # places of inputs and what they are given
Frames = tuple[tuple[Patch, int], ...]
APART = 7  # steps between sensors that one reading combines, so that only one of them decides


@dataclass(frozen=True, slots=True)
class Move:
    """Patches one after another, each for a number of scans; the last one stays. `tag`: the rule and side (True: trip)
    whose limit it passes to and fro: met, just not met, met. `cycle`: a power cycle before its first scan."""

    frames: Frames
    says: str
    tag: tuple[str, bool] | None = None
    tag_at: int | None = None  # the frame from which on it is passed; the last where None
    cycle: bool = False


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


class Moves:
    """The moves of one unit, and the inputs at rest."""

    def __init__(self, code: UnitCode) -> None:
        self.code = code
        self.scheme: Scheme = code.steps.scheme
        self.sensors, self.lines = code.sensors, code.lines
        self.place = {name: i for i, name in enumerate((*self.sensors, *self.lines))}
        self.rules = [rule for rule in self.scheme.rules.values() if rule.unit == code.unit]
        self.watching = [rule for rule in self.rules if rule.watches in (Signal.SENSOR, Signal.READING)]
        self.rest: Given = self._rest()
        self.limits = tuple(self._limits())
        self.plain = tuple(self._plain())
        self.cycle = Move((({}, 1),), "power cycle", cycle=True)

    def lost(self, sensor: str) -> int:
        """A value that counts as lost."""
        return self.scheme.sensors[sensor].valid.low - 1

    # --- values

    def members(self, rule: Rule) -> tuple[str, ...]:
        """The sensors behind what a rule watches."""
        return (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors

    def _patches(self, rule: Rule, value: int) -> Iterator[dict[int, int]]:
        """Ways to have what the rule watches read this value."""
        if rule.watches is Signal.SENSOR:
            yield {self.place[rule.watched]: value}
            return
        reading = self.scheme.readings[rule.watched]
        for decides in reading.sensors:
            match reading.combine:
                case Combine.LOWEST_OF:
                    apart = APART
                case Combine.HIGHEST_OF:
                    apart = -APART
                case Combine.AVERAGE_OF | Combine.MEDIAN_OF:
                    apart = 0
                case Combine.DIFFERENCE_OF:
                    at = self.rest[self.place[decides]]
                    low, high = (self.scheme.sensors[decides].valid.low, self.scheme.sensors[decides].valid.high)
                    up = at + value if at + value <= high else at - value if at - value >= low else high
                    yield {self.place[s]: up if s == decides else at for s in reading.sensors}
                    continue
            yield {self.place[s]: value + (0 if s == decides else apart) for s in reading.sensors}

    def _allowed(self, patch: Patch) -> bool:
        names = (*self.sensors, *self.lines)
        return all(v in self.scheme.sensors[names[i]].valid for i, v in patch.items() if i < len(self.sensors))

    def _limits(self) -> Iterator[Move]:
        """For each rule and side: met, just not met, and met for as long as it takes."""
        for rule in self.rules:
            for trip, trigger in ((True, rule.trips), (False, rule.clears)):
                word = f"{rule.name}: {'trip' if trip else 'clear'} limit"
                for met, unmet in self._both_sides(rule, trigger.test):
                    # without a delay the first scan already decides
                    frames: Frames = ((met, 1), (unmet, 1), (met, 1)) if trigger.delay.scans else ((unmet, 1), (met, 1))
                    yield Move(frames, word, (rule.name, trip))
                    if not trip and rule.manual and rule.reset_by in self.place:
                        button = self.place[rule.reset_by]
                        wait = (met, trigger.delay.scans + 1)
                        frames = ((met, 1), (unmet, 1)) if trigger.delay.scans else ((unmet, 1),)
                        frames = (({button: 0}, 1), *frames, wait, ({button: 1}, 1), ({button: 0}, 1))
                        yield Move(frames, f"{word}, reset at once", (rule.name, trip), len(frames) - 3)
                        if trigger.delay.scans:
                            early = (*frames[:-3], (met, trigger.delay.scans), ({button: 1}, 2), ({button: 0}, 1))
                            yield Move(early, f"{word}, reset too early", (rule.name, trip), len(early) - 3)

    def _both_sides(self, rule: Rule, test: Limit | bool) -> Iterator[tuple[Patch, Patch]]:
        if isinstance(test, Limit):
            met, unmet = sides(test)
            for one, other in zip(self._patches(rule, met), self._patches(rule, unmet), strict=True):
                if self._allowed(one):
                    yield one, other
        elif rule.watches is Signal.LINE and rule.watched in self.place:
            at = self.place[rule.watched]
            yield {at: int(test)}, {at: int(not test)}

    def _regions(self, sensor: str) -> list[int]:
        """A value inside each region between the limits of the rules that see the sensor."""
        valid = self.scheme.sensors[sensor].valid
        limits = {valid.low, valid.high}
        for rule in self.watching:
            reading = self.scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
            if sensor in self.members(rule) and (reading is None or reading.combine is not Combine.DIFFERENCE_OF):
                limits |= {t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)}
        return [(a + b) // 2 for a, b in pairwise(sorted(limits))]

    def groups(self) -> list[tuple[str, ...]]:
        """The sensors in groups that one reading or another combines."""
        groups = [{name} for name in self.sensors]
        for rule in self.watching:
            touched = [g for g in groups if g & set(self.members(rule))]
            groups = [g for g in groups if g not in touched] + [set().union(*touched)]
        return [tuple(s for s in self.sensors if s in g) for g in groups]

    def _rest(self) -> Given:
        rest: dict[str, int] = {}
        for group in self.groups():
            values = sorted({v for s in group for v in self._regions(s)})
            sharing = [rule for rule in self.watching if set(self.members(rule)) <= set(group)]

            def score(value: int, sharing: list[Rule] = sharing) -> int:
                total = 0
                for rule in sharing:
                    reading = self.scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
                    seen = 0 if reading and reading.combine is Combine.DIFFERENCE_OF else value
                    if isinstance(rule.clears.test, Limit) and isinstance(rule.trips.test, Limit):
                        total += compare(seen, rule.clears.test) - compare(seen, rule.trips.test)
                return total

            best = max(values, key=score)
            rest |= dict.fromkeys(group, best)
        lines = {}
        for line in self.lines:
            wants = [r.clears.test is True for r in self.rules if r.watches is Signal.LINE and r.watched == line]
            lines[line] = int(sum(1 if w else -1 for w in wants) > 0)
        return tuple([rest[s] for s in self.sensors] + [lines[n] for n in self.lines])

    def _plain(self) -> Iterator[Move]:
        for group in self.groups():
            for value in sorted({v for s in group for v in self._regions(s)}):
                patch = {self.place[s]: value for s in group}
                if self._allowed(patch):
                    yield _set(patch, f"{', '.join(group)} set")
            for sensor in group:
                yield _set({self.place[sensor]: self.lost(sensor)}, f"{sensor} lost")
                yield _set(
                    {self.place[sensor]: self.scheme.sensors[sensor].valid.high + 1}, f"{sensor} beyond its range"
                )
            yield _set({self.place[s]: self.lost(s) for s in group}, f"{', '.join(group)} lost")
            yield _set({self.place[s]: self.rest[self.place[s]] for s in group}, f"{', '.join(group)} at rest")
        for line in self.lines:
            at = self.place[line]
            yield _set({at: 1}, f"{line} on")
            yield _set({at: 0}, f"{line} off")
            yield Move((({at: 0}, 1), ({at: 1}, 1), ({at: 0}, 1)), f"{line} pressed")
            yield Move((({at: 1}, 1), ({at: 0}, 1), ({at: 1}, 1)), f"{line} off and on")


def _set(patch: dict[int, int], says: str) -> Move:
    return Move(((patch, 1),), says)


def patched(given: Given, patch: Patch) -> Given:
    """The inputs with a patch applied."""
    values = list(given)
    for i, value in patch.items():
        values[i] = value
    return tuple(values)
