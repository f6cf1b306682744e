"""The fewest scans in which all delays of a unit can run out: what no choice of vectors can do in less.

Rules that see one sensor, or one line, are followed by themselves: each of their delays has to run out once, and one
value can't let two of them run that want it on different sides. The shortest way is found exactly (Dijkstra 1959), with
power cycles and further runs at no cost. What other inputs would have to be, and what hides what, is left out: so it is
a bound, and seldom reached.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.export.unit import UnitCode
from interlock.logic.readings import compare
from interlock.scheme.model import Limit, Rule
from interlock.scheme.words import Combine, PowerUp, Signal
from interlock.vectors.inputs import Inputs, Lane

MOST_STATES = 40_000  # of one lane: with more, its longest rule alone is the bound

State = tuple[tuple[int, int], ...]  # of each rule: its side (0 clear, 1 tripped), the scans its delay has run


@dataclass(frozen=True, slots=True)
class Bound:
    """At least `scans` scans, for the delays of these rules, which all see `watched`."""

    scans: int
    watched: str
    rules: tuple[str, ...]


def bound(code: UnitCode) -> Bound:
    """The largest of the bounds of a unit's inputs."""
    inputs = Inputs(code)
    found = [Bound(0, "", ())]
    for lane in inputs.lanes:
        rules = shared(inputs, lane)
        if rules:
            found.append(Bound(_fewest(rules, sights_of(inputs, lane, rules)), lane.line or lane.sensors[0],
                               tuple(rule.name for rule in rules)))  # fmt: skip
    return max(found, key=lambda b: b.scans)


def shared(inputs: Inputs, lane: Lane) -> list[Rule]:
    """The rules that see a lane's one value; of a lane of several sensors those that see the lowest, or the highest."""
    if lane.line:
        return [r for r in inputs.rules if r.watches is Signal.LINE and r.watched == lane.line]
    mine = [r for r in inputs.watching if inputs.members(r)[0] in lane.sensors]
    groups: dict[str, list[Rule]] = {}
    for rule in mine:
        if rule.watches is Signal.SENSOR or inputs.scheme.readings[rule.watched].combine is not Combine.DIFFERENCE_OF:
            groups.setdefault(rule.watched, []).append(rule)
    return max(groups.values(), key=lambda g: sum(r.trips.delay.scans + r.clears.delay.scans for r in g), default=[])


def sights(lane: Lane, rules: Sequence[Rule], values: Sequence[int]) -> list[tuple[tuple[bool, bool], ...]]:
    """What the rules of a lane see at each of its values: for each, whether its trip and its clear condition holds."""
    if lane.line:
        return [tuple((r.trips.test is bool(v), r.clears.test is bool(v)) for r in rules) for v in values]
    assert all(isinstance(t.test, Limit) for r in rules for t in (r.trips, r.clears))
    return [
        tuple(
            (compare(v, r.trips.test), compare(v, r.clears.test))  # type: ignore[arg-type]
            for r in rules
        )
        for v in values
    ]


def sights_of(inputs: Inputs, lane: Lane, rules: Sequence[Rule]) -> list[tuple[tuple[bool, bool], ...]]:
    """What the rules can see at one scan."""
    if lane.line:
        return sights(lane, rules, (1, 0))
    lost = tuple((str(r.on_invalid) == "trip", str(r.on_invalid) == "clear") for r in rules)
    return list(dict.fromkeys([*sights(lane, rules, inputs.regions[lane]), lost]))


def _fewest(rules: Sequence[Rule], sights: Sequence[tuple[tuple[bool, bool], ...]]) -> int:
    """The fewest scans in which each delay of the rules runs out once."""
    wanted = frozenset((i, side) for i, r in enumerate(rules) for side in (0, 1) if delay(r, side))
    alone = max((r.trips.delay.scans + r.clears.delay.scans for r in rules), default=0)
    start: State = tuple((0 if r.power_up is PowerUp.CLEAR else 1, 0) for r in rules)
    queue: list[tuple[int, int, State, frozenset[tuple[int, int]]]] = [(0, 0, start, frozenset())]
    done: set[tuple[State, frozenset[tuple[int, int]]]] = set()
    number = 0
    while queue:
        scans, _, state, shown = heapq.heappop(queue)
        if shown == wanted:
            return scans
        if (state, shown) in done:
            continue
        done.add((state, shown))
        if len(done) > MOST_STATES:
            return max(alone, scans)
        for more, after, ran in _next(rules, sights, state, start):
            number += 1
            heapq.heappush(queue, (scans + more, number, after, shown | (ran & wanted)))
    return alone


def delay(rule: Rule, side: int) -> int:
    return rule.clears.delay.scans if side else rule.trips.delay.scans


def _next(
    rules: Sequence[Rule], sights: Sequence[tuple[tuple[bool, bool], ...]], state: State, start: State
) -> Iterator[tuple[int, State, frozenset[tuple[int, int]]]]:
    """One sight until the next delay runs out; or power lost and come back."""
    for sight in sights:
        runs = [holds[side] for holds, (side, _) in zip(sight, state, strict=True)]
        left = [delay(r, side) - ran for r, (side, ran), on in zip(rules, state, runs, strict=True) if on]
        if not left:
            continue
        for more in sorted({min(left), max(left)}):
            after, ran = list[tuple[int, int]](), set[tuple[int, int]]()
            for i, (rule, (side, so_far), on) in enumerate(zip(rules, state, runs, strict=True)):
                if not on:
                    after.append((side, 0))
                elif so_far + more >= delay(rule, side):
                    after.append((1 - side, 0))
                    ran.add((i, side))
                else:
                    after.append((side, so_far + more))
            yield more, tuple(after), frozenset(ran)
    yield 0, start, frozenset()
    cycled = tuple(
        (side, 0) if r.power_up is PowerUp.AS_LEFT else begins
        for r, (side, _), begins in zip(rules, state, start, strict=True)
    )
    yield 0, cycled, frozenset()
