"""The fewest scans in which all delays of the rules on one input can run out, and power be cycled besides while one of
them acts, or does not: what no choice of vectors can do in less. Or of the rules on two inputs, as both lose power.

As in `bound` rules that share one input are followed by themselves, with further runs at no cost. Here it matters when
each of them turns, so all moments are gone through: constraints between moments are differences, and the least sum of
such is reached at multiples of what divides all delays (corner points, as for priced timed automata: Bouyer, Brinksma
and Larsen 2004); a moment at which several things happen stands for every order of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from math import gcd

from interlock.export.unit import UnitCode
from interlock.scheme.model import Delay, Rule, Trigger
from interlock.scheme.words import PowerUp, Signal, State
from interlock.vectors.bound import bound, delay, shared, sights_of
from interlock.vectors.goals import Goal
from interlock.vectors.inputs import Inputs, Lane

LONG = 1000  # scans: delays that matter on two inputs together
MOST_STATES = 400_000  # of one input: with more, nothing is said

_At = tuple[tuple[int, int], ...]  # of each rule: its side (0 clear, 1 tripped), the steps its delay has run
_Sight = tuple[tuple[bool, bool], ...]


def fewest_with(code: UnitCode, goal: Goal, enough: int) -> int:
    """The fewest scans of vectors in which a power cycle comes while the goal's rule is in that state, and each delay
    of the rules beside it runs out; `enough` or some more where it would take at least so many. 0: not known. Beside it
    are the rules on the same input; where that is no reason, those that take long there and on the input that takes
    longest."""
    if goal.what not in (str(State.CLEAR), str(State.TRIPPED)):
        return 0
    inputs, side = Inputs(code), int(goal.what != str(State.CLEAR))
    longest, found = bound(code), 0
    for lane in inputs.lanes:
        rules = shared(inputs, lane)
        names = [rule.name for rule in rules]
        if goal.rule in names:
            found = _Search(rules, sights_of(inputs, lane, rules)).fewest(names.index(goal.rule), side, enough)
        more = [*rules, *_watching(inputs, rules)]
        if longest.watched in lane.sensors or goal.rule not in [rule.name for rule in more]:
            continue
        # what is left out takes no time: the rest takes no longer with it
        mine = [r for r in more if _long(r) or r.name == goal.rule or r in rules]
        other = next(x for x in inputs.lanes if longest.watched in x.sensors or longest.watched == x.line)
        others = [rule for rule in shared(inputs, other) if _long(rule)]
        if others and all(_long(r) or not any(delay(r, s) for s in (0, 1)) for r in mine):
            direct = [*_overrides(inputs, lane), *(r for r in mine if r in rules)]
            worlds = product(sights_of(inputs, other, others), sights_of(inputs, lane, direct))
            every = [*others, *direct, *(r for r in mine if r not in rules)]
            both = _Search(every, [(*theirs, *own) for theirs, own in worlds])
            found = max(found, both.fewest([r.name for r in every].index(goal.rule), side, enough))
    return found


def _long(rule: Rule) -> bool:
    """Whether a rule has delays, and each takes long."""
    delays = [d for d in (delay(rule, 0), delay(rule, 1)) if d]
    return bool(delays) and min(delays) >= LONG


def _overrides(inputs: Inputs, lane: Lane) -> Iterator[Rule]:
    """Rules that take a line as long as the overrides on it that have to run out: those in their place."""
    for rule in inputs.rules:
        if lane.line and rule.overridden_by == lane.line and (most := rule.override_at_most) and most.scans >= LONG:
            held, let_go = Trigger(True, most), Trigger(False, Delay(0, 0))
            name = f"override of {rule.name}"
            yield Rule(name, rule.unit, Signal.LINE, lane.line, held, let_go, power_up=PowerUp.CLEAR)


def _watching(inputs: Inputs, rules: Sequence[Rule]) -> list[Rule]:
    """The rules that watch one of these, or one of those, in their order."""
    found = list[Rule]()
    for rule in inputs.rules:
        if rule.watches is Signal.RULE and rule.watched in {r.name for r in (*rules, *found)}:
            found.append(rule)
    return found


class _Search:
    """`sights`: what all rules but the last can see at one scan; the last ones watch one of those before them."""

    def __init__(self, rules: Sequence[Rule], sights: Sequence[_Sight]) -> None:
        self.rules, self.sights = rules, sights
        names = [rule.name for rule in rules]
        self.watched = [names.index(r.watched) if r.watches is Signal.RULE else -1 for r in rules]
        self.step = gcd(*(delay(rule, side) for rule in rules for side in (0, 1)))
        self.lasts = [tuple(delay(rule, side) // self.step if self.step else 0 for side in (0, 1)) for rule in rules]
        self.start: _At = tuple((0 if r.power_up is PowerUp.CLEAR else 1, 0) for r in rules)
        self.bits = {
            (i, side): 1 << (2 * i + side) for i in range(len(rules)) for side in (0, 1) if self.lasts[i][side]
        }
        self.cycled = 1 << (2 * len(rules))

    def fewest(self, rule: int, side: int, enough: int) -> int:
        """Steps in which nothing is left, in scans: all that can be reached in no step, in one, in two and so on."""
        if not self.step:
            return 0
        wanted, done = sum(self.bits.values()) | self.cycled, set[tuple[_At, int]]()
        layer, scans = [(self.start, 0)], 0
        while scans < enough:
            queue = list(layer)
            layer = []
            while queue:
                key = queue.pop()
                if key in done:
                    continue
                done.add(key)
                at, shown = key
                if shown == wanted:
                    return scans
                queue += self._at_once(at, shown, rule, side)
                layer += self._later(at, shown)
            scans += self.step
            if len(done) > MOST_STATES:
                return 0
        return scans

    def _ready(self, i: int, at: tuple[int, int]) -> bool:
        """Whether a rule turns as soon as what it waits for holds on."""
        return at[1] == self.lasts[i][at[0]]

    def _at_once(self, at: _At, shown: int, rule: int, side: int) -> Iterator[tuple[_At, int]]:
        """What takes no time: a delay that is over turns its rule; power is lost, or another run begins; a value that
        is passed breaks delays off and turns rules without any."""
        for i, mine in enumerate(at):
            if self.lasts[i][mine[0]] and self._ready(i, mine):
                yield (*at[:i], (1 - mine[0], 0), *at[i + 1 :]), shown | self.bits[i, mine[0]]
        after = tuple(
            (mine[0], 0) if r.power_up is PowerUp.AS_LEFT else begins
            for r, mine, begins in zip(self.rules, at, self.start, strict=True)
        )
        yield after, shown | (self.cycled if at[rule][0] == side else 0)
        yield self.start, shown
        for sight in self.sights:
            yield self._passed(at, sight), shown

    def _holds(self, i: int, side: int, sight: _Sight, at: Sequence[tuple[int, int]]) -> bool:
        """Whether what a rule on one side waits for holds, the rules before it being where they are."""
        j = self.watched[i]
        if j < 0:
            return sight[i][side]
        rule = self.rules[i]
        return (rule.clears if side else rule.trips).test is bool(at[j][0])

    def _passed(self, at: _At, sight: _Sight) -> _At:
        found = list[tuple[int, int]]()
        for i, (side, ran) in enumerate(at):
            if not self._holds(i, side, sight, found):
                found.append((side, 0))
            elif not self.lasts[i][side]:
                found.append((1 - side, 0))
            else:
                found.append((side, ran))
        return tuple(found)

    def _later(self, at: _At, shown: int) -> Iterator[tuple[_At, int]]:
        """One value for one step; none at which a delay that is over would go on: that rule has turned before."""
        for sight in self.sights:
            passed = self._passed(at, sight)
            holds = [self._holds(i, side, sight, passed) for i, (side, _) in enumerate(passed)]
            if any(on and self._ready(i, mine) for i, (on, mine) in enumerate(zip(holds, passed, strict=True))):
                continue
            yield tuple((s, ran + 1 if on else 0) for on, (s, ran) in zip(holds, passed, strict=True)), shown
