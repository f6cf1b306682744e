"""The obvious sheet, to compare with: from rest and back every rule tripped and cleared on its own, and every limit
that may be mistyped approached on its own, every path observed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.plan.candidates import Candidates, joined
from interlock.plan.loops import Loop, Run
from interlock.plan.sights import Bools


@dataclass(frozen=True)
class Obvious:
    """For each rule the quickest loop that shows whether it is there, for each limit the quickest that shows it
    mistyped; `untested`: rules for which none was found."""

    begun: Run
    loops: tuple[Run, ...]
    untested: tuple[str, ...]

    @property
    def seconds(self) -> int:
        """All waiting together."""
        return sum(run.seconds for run in (self.begun, *self.loops))

    @property
    def steps(self) -> int:
        """A look at the end of each phase, and one before and one after everything that changes in it."""
        return sum(len(phase.looks) for run in (self.begun, *self.loops) for phase in run.phases)

    @property
    def found(self) -> Bools:
        """The hypotheses that it tells."""
        found = self.begun.found.copy()
        for run in self.loops:
            found |= run.found
        return found


def obvious(candidates: Candidates) -> Obvious:
    """The obvious sheet of a scheme, of single changes and of pairs with a line set the other way."""
    trials, home = candidates.trials, candidates.home
    singles = candidates.singles()
    contexts = [s for s in singles if s.given == home.given]
    loops: list[Loop] = [(s,) for s in singles]
    loops += [(joined(home, c, s),) for c in contexts for s in singles if s != c]
    loops = [loop for loop in dict.fromkeys(loops) if all(map(trials.doubts.usable, loop))]
    omitted = {h.name: i for i, h in enumerate(trials.hypotheses) if h.name.endswith(".omitted")}
    runs = trials.run(loops, list(omitted.values()))
    chosen: list[Loop] = []
    untested: list[str] = []
    for name, at in omitted.items():
        quickest = _quickest(runs, at)
        if quickest is None:
            untested.append(name.removesuffix(".omitted"))
        else:
            chosen.append(quickest)
    beside: dict[int, Loop] = {}
    for doubtful in (False, True):
        for at, flights in candidates.beside_limits(singles, doubtful=doubtful).items():
            here = [loop for loop in flights if all(map(trials.doubts.usable, loop))]
            quickest = None if at in beside else _quickest(trials.run(here, [at]), at)
            if quickest is not None:
                beside[at] = quickest
    chosen += beside.values()
    whole = {run.loop: run for run in trials.run(list(dict.fromkeys(chosen)))}
    return Obvious(trials.begun, _each(chosen, whole), tuple(untested))


def _quickest(runs: Sequence[Run], hypothesis: int) -> Loop | None:
    telling = [run for run in runs if run.found[hypothesis]]
    return min(telling, key=lambda run: run.seconds).loop if telling else None


def _each(chosen: Sequence[Loop], runs: dict[Loop, Run]) -> tuple[Run, ...]:
    """One loop for each rule, the same one twice where it is the quickest for both: each rule on its own."""
    return tuple(runs[loop] for loop in chosen)
