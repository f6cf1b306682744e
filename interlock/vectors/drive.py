"""What can be done to a unit's inputs so that a rule trips or clears, however far back what it watches comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.scheme.model import Rule
from interlock.scheme.words import LineForm, Signal
from interlock.vectors.inputs import Frame, Given, Inputs, Lane

DEEPEST = 4  # rules behind rules


@dataclass(frozen=True, slots=True)
class Drive:
    """Something done to one lane that makes a rule trip, or clear (`trip`), `delay` scans later; `rule` is the one
    whose limit it passes. `target`: the value of a lane of sensors; None where that limit is passed and no more."""

    lane: Lane
    rule: Rule
    trip: bool
    delay: int
    target: int | None = None

    def frames(self, inputs: Inputs, now: Given, decider: int) -> list[Frame]:
        """What to do, scan by scan; what the last one sets stays."""
        if self.target is not None:
            return list(inputs.sweep(self.lane, now, self.target, decider))
        return list(inputs.past(self.rule, self.trip, now, decider))


class Drives:
    """The drives of one unit's rules."""

    def __init__(self, inputs: Inputs) -> None:
        self.inputs = inputs
        self.rules = {rule.name: rule for rule in inputs.rules}
        self._known: dict[tuple[str, bool], tuple[Drive, ...]] = {}

    def of(self, name: str, trip: bool) -> tuple[Drive, ...]:
        """What makes a rule trip, or clear."""
        if (name, trip) not in self._known:
            self._known[name, trip] = tuple(dict.fromkeys(self._of(self.rules[name], trip, 0, 0)))
        return self._known[name, trip]

    def delay(self, name: str) -> int:
        """How many scans it takes at least to have a rule trip or clear, whichever is longer."""
        return max(min((drive.delay for drive in self.of(name, trip)), default=0) for trip in (True, False))

    def _of(self, rule: Rule, trip: bool, delay: int, depth: int) -> Iterator[Drive]:
        trigger = rule.trips if trip else rule.clears
        delay += trigger.delay.scans
        if depth > DEEPEST:
            return
        match rule.watches:
            case Signal.SENSOR | Signal.READING:
                lane = self.inputs.lane_of[self.inputs.place[self.inputs.members(rule)[0]]]
                if self.inputs.apart(rule):
                    yield Drive(lane, rule, trip, delay)
                else:
                    for target in self.inputs.meeting(rule, trip, lane):
                        yield Drive(lane, rule, trip, delay, target)
            case Signal.LINE if rule.watched in self.inputs.place:
                yield Drive(self.inputs.lane_of[self.inputs.place[rule.watched]], rule, trip, delay)
            case Signal.LINE:
                line = self.inputs.scheme.lines[rule.watched]
                active = (trigger.test is True) is (line.form is LineForm.HIGH_WHEN)
                for name in line.rules:
                    yield from self._behind(name, active, delay, depth)
            case Signal.RULE:
                yield from self._behind(rule.watched, trigger.test is True, delay, depth)
            case _:
                yield from self._path(rule.watched, trigger.test is True, delay, depth)

    def _path(self, path: str, runs: bool, delay: int, depth: int) -> Iterator[Drive]:
        for name, rule in self.rules.items():
            if path in rule.starts:
                yield from self._behind(name, runs, delay, depth)
        for name, rule in self.rules.items():
            if any(target.path == path for target in rule.blocks):
                yield from self._behind(name, not runs, delay, depth)

    def _behind(self, name: str, active: bool, delay: int, depth: int) -> Iterator[Drive]:
        if name in self.rules:
            yield from self._of(self.rules[name], active, delay + 1, depth + 1)
