"""The fewest scans in which all delays of the rules on one input can run out, and power be cycled besides while one of
them acts, or does not: what no choice of vectors can do in less.

As in `bound` rules that share one input are followed by themselves, with further runs at no cost. Here it matters when
each of them turns, so all moments are gone through: constraints between moments are differences, and the least sum of
such is reached at multiples of what divides all delays (corner points, as for priced timed automata: Bouyer, Brinksma
and Larsen 2004); a moment at which several things happen stands for every order of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import gcd

from interlock.export.unit import UnitCode
from interlock.scheme.model import Rule
from interlock.scheme.words import PowerUp, State
from interlock.vectors.bound import delay, shared, sights_of
from interlock.vectors.goals import Goal
from interlock.vectors.inputs import Inputs, Lane

MOST_STATES = 400_000  # of one input: with more, nothing is said

_At = tuple[tuple[int, int], ...]  # of each rule: its side (0 clear, 1 tripped), the steps its delay has run
_Sight = tuple[tuple[bool, bool], ...]


def fewest_with(code: UnitCode, goal: Goal, enough: int) -> int:
    """The fewest scans of vectors in which a power cycle comes while the goal's rule is in that state, and each delay
    of the rules beside it runs out; `enough` or some more where it would take at least so many. 0: not known."""
    inputs = Inputs(code)
    for lane in inputs.lanes:
        rules = shared(inputs, lane)
        names = [rule.name for rule in rules]
        if goal.rule in names and goal.what in (str(State.CLEAR), str(State.TRIPPED)):
            return _Search(inputs, lane, rules).fewest(
                names.index(goal.rule), int(goal.what != str(State.CLEAR)), enough
            )
    return 0


class _Search:
    def __init__(self, inputs: Inputs, lane: Lane, rules: Sequence[Rule]) -> None:
        self.rules = rules
        lengths = [delay(rule, side) for rule in rules for side in (0, 1)]
        self.step = gcd(*lengths)
        self.sights = sights_of(inputs, lane, rules)
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

    def _passed(self, at: _At, sight: _Sight) -> _At:
        found = []
        for i, (side, ran) in enumerate(at):
            if not sight[i][side]:
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
            if any(self._ready(i, mine) and sight[i][mine[0]] for i, mine in enumerate(passed)):
                continue
            yield tuple((s, ran + 1 if sight[i][s] else 0) for i, (s, ran) in enumerate(passed)), shown
