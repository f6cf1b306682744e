"""From coarse to fine: free every rule, and follow only those whose freedom makes the answer unreal.

Each search gives an upper bound of the longest bad run; its run, replayed on the whole cone, a lower one. Where they meet
the answer is exact, with a real run in hand. Otherwise the rules that could not be what the run took them for are followed
as well, and the search is made again. (Counterexample-guided refinement: Clarke et al. 2000.)
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.proof.circuit import Abstraction
from interlock.proof.goal import Goal
from interlock.proof.index import Index
from interlock.proof.replay import Run, replay
from interlock.proof.schedule import Stage, stages
from interlock.proof.search import BudgetError, Longest, Search
from interlock.proof.system import FaultPlan, System

ENDLESS = 1 << 62


@dataclass(frozen=True, slots=True)
class Answer:
    """Bounds of the longest bad run in scans (ENDLESS: it need not end); exact where they meet.

    `run`: the real run that gives the lower bound. `abstraction`: what the upper bound follows. `zones`: zones looked at
    in all. `stopped`: why the search ended without meeting, "" otherwise.
    """

    lower: int
    upper: int
    run: Run | None
    abstraction: Abstraction
    zones: int
    stopped: str = ""


class Decider:
    """Answers one goal under one fault set; what it has learnt to follow is kept from one question to the next."""

    def __init__(self, index: Index, goal: Goal, plan: FaultPlan, budget: int) -> None:
        self.index, self.goal, self.plan, self.budget = index, goal, plan, budget
        self.abstraction = Abstraction()
        self._full: System | None = None

    @property
    def full(self) -> System:
        """The whole cone, every rule followed."""
        if self._full is None:
            self._full = System(self.index, self.goal, self.plan, Abstraction(everything=True), probe=True)
        return self._full

    def answer(self, enough: int | None = None) -> Answer:
        """The longest bad run. `enough`: only whether it is longer than that matters."""
        lower, upper, zones = 0, ENDLESS, 0
        best: Run | None = None
        while True:
            system = System(self.index, self.goal, self.plan, self.abstraction)
            search = Search(system, self.budget - zones)
            try:
                longest = search.longest(search.reachable(), enough)
            except BudgetError:
                zones += search.count
                return Answer(lower, upper, best, self.abstraction, zones, "its budget of zones was used up")
            zones += search.count
            scans = ENDLESS if longest.scans is None else longest.scans
            cut_short = enough is not None and scans > enough
            if not cut_short:
                upper = min(upper, scans)
            if upper == 0 or (enough is not None and upper <= enough):
                return Answer(lower, upper, best, self.abstraction, zones)
            run = realise(search, self.full, longest)
            reached = ENDLESS if run.endless else run.bad_run
            if reached > lower or best is None:
                lower, best = max(lower, reached), run
            if lower >= upper or (enough is not None and lower > enough):
                return Answer(lower, upper, best, self.abstraction, zones)
            if not self._follow(run):
                return Answer(lower, upper, best, self.abstraction, zones, "its run could not be made real")

    def _follow(self, run: Run) -> bool:
        """Follow more rules; False where every one is followed already."""
        if self.abstraction.everything:
            return False
        exact = dict(self.abstraction.exact)
        for rule, use in sorted(run.deviations):
            exact[rule] = exact.get(rule, frozenset()) | {use}
        if exact == self.abstraction.exact:
            self.abstraction = Abstraction(everything=True)
        else:
            self.abstraction = Abstraction(exact)
        return True


def realise(search: Search, full: System, longest: Longest) -> Run:
    """The search's longest run on the whole cone."""
    assert longest.node is not None
    path = longest.node.path()
    if longest.scans is not None:
        return replay(search.system, full, stages(search, path, longest.scans))
    if longest.loop is None:
        return replay(search.system, full, stages(search, path, 0), frozenset({len(path) - 1}))
    begins = path.index(longest.loop)
    round_ = path[begins + 1 :]
    rounds = 4
    long_path = [*path, *(node for _ in range(rounds) for node in round_)]
    marks = frozenset(len(path) - 1 + k * len(round_) for k in range(rounds + 1))
    plan: list[Stage] = stages(search, long_path, 0)
    return replay(search.system, full, plan, marks)
