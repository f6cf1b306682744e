"""The test sheet of a scheme: candidates, the exact choice among them, the sheet itself, and what it cannot find."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from interlock.logic.program import setting_name
from interlock.plan.candidates import Candidates
from interlock.plan.columns import Ints
from interlock.plan.compose import Draft, Taken, draft, ordered, taken, trimmed
from interlock.plan.cover import Choice, Episode, Look, Phase, cheapest
from interlock.plan.hypotheses import Hypothesis, Off, hypotheses, off_text, slips
from interlock.plan.loops import PhaseRun, Run, Trials, any_of
from interlock.plan.proof_test import UNSEEN
from interlock.plan.reasons import Reasons
from interlock.plan.sheet import Sheet
from interlock.plan.sights import Bools
from interlock.plan.stimuli import Stimuli
from interlock.plan.wrong import Wrong
from interlock.records import replace
from interlock.scheme.model import Scheme

Progress = Callable[[str], None]
ROUNDS = 2
SOLVER_S = 8.0


def silent(_: str) -> None:
    """No progress is told."""


@dataclass
class Planner:
    """Plans one sheet."""

    scheme: Scheme
    off: Off = field(default_factory=Off)
    progress: Progress = silent

    def __post_init__(self) -> None:
        self.stimuli = Stimuli(self.scheme)
        self.slips = slips(self.stimuli, self.off)
        faults = [f for f in self.scheme.faults.values() if not all(s.mode in UNSEEN for s in f.single())]
        self.hypotheses = (Hypothesis("", ()), *hypotheses(self.stimuli, faults, self.slips))
        self.progress("bringing the installation to rest")
        self.trials = Trials(self.stimuli, self.hypotheses)
        self.interrupted = False
        self.candidates = Candidates(self.trials, self.progress)

    def sheet(self, digest: str = "") -> Sheet:
        """The sheet. `digest`: SHA-256 of the scheme's file."""
        choice, runs = self.choice()
        wrongs: dict[str, Wrong] = {h.name: h.wrong[0] for h in self.hypotheses[1:]}
        self.progress("simulating the whole sheet with all that may be wrong")
        loops = self._taken(choice, runs)
        found = draft(self.trials, [t for loop in loops for t in loop], hypotheses=self.hypotheses)
        for earlier in (False, True):
            lost = lost_by(runs, found)
            if not len(lost):
                break
            before, choice = choice, self._with_further_looks(choice, runs, lost)
            # what a loop before has left in doubt does not show: those that tell it come first then
            first = frozenset(e for e in choice.episodes if earlier and runs[e].found[lost].any())
            if choice == before and not first:
                continue
            self.progress("simulating it once more, with further looks")
            other = self._taken(choice, runs, first)
            again = draft(self.trials, [t for loop in other for t in loop], hypotheses=self.hypotheses)
            if not (told_by(found) & ~told_by(again)).any():
                loops, found = other, again
        told = told_by(found)
        needed = self._needed(loops, found)
        shorter = [loop for n, loop in enumerate(needed) if n == 0 or any(t.told for t in loop)]
        if [t.phase for loop in shorter for t in loop] != [t.phase for loop in loops for t in loop]:
            self.progress(f"simulating a sheet of {sum(len(loop) for loop in shorter)} phases")
            again = draft(self.trials, [t for loop in shorter for t in loop], hypotheses=self.hypotheses)
            if not (told & ~told_by(again)).any():
                found = again
        steps, finds = trimmed(found, [h.name for h in self.hypotheses[1:]])
        reasons = Reasons(self.stimuli)
        unseen = {n: f for n, f in self.scheme.faults.items() if n not in wrongs}
        cannot = [reasons.why(n, w) for n, w in {**wrongs, **unseen}.items() if n not in finds]
        off_by = {setting_name(s.rule, s.setting): off_text(self.stimuli, s) for s in self.slips}
        return Sheet(self.scheme.title, digest, steps, finds, tuple(cannot), off_by)

    def _with_further_looks(self, choice: Choice, runs: Sequence[Run], lost: Ints) -> Choice:
        """The choice with all looks by which its loops tell what the sheet as a whole does not, and with the quickest
        loop of others for what they do not tell otherwise."""
        episodes, looks = set(choice.episodes), set(choice.looks)

        def telling(e: int, which: Ints) -> set[tuple[int, int, int]]:
            phases = enumerate(runs[e].phases)
            return {
                (e, p, at) for p, phase in phases for k, at in enumerate(phase.looks) if phase.found[k][which].any()
            }

        for i in lost.tolist():
            new = set[tuple[int, int, int]]().union(*(telling(e, np.array([i])) for e in episodes)) - looks
            if not new:
                others = [e for e, run in enumerate(runs) if e not in episodes and run.found[i]]
                best = min(others, key=lambda e: runs[e].seconds, default=None)
                if best is not None:
                    episodes.add(best)
                    new = telling(best, lost)
            looks |= new
        return replace(choice, episodes=tuple(sorted(episodes)), looks=tuple(sorted(looks)))

    def _taken(self, choice: Choice, runs: Sequence[Run], first: frozenset[int] = frozenset()) -> list[list[Taken]]:
        """The chosen loops, in order, each as its phases with the looks taken; `first`: those to begin with."""
        looks: dict[tuple[int, int], set[int]] = {}
        for e, p, at in choice.looks:
            looks.setdefault((e, p), set()).add(at)
        number = {id(run): e for e, run in enumerate(runs)}
        found: list[list[Taken]] = []
        chosen = ordered(runs[0], [runs[e] for e in choice.episodes if e])
        for run in sorted(chosen, key=lambda run: run is not runs[0] and number[id(run)] not in first):
            times = [looks.get((number[id(run)], p), set()) for p in range(len(run.phases))]
            found.append([taken(phase, at) for phase, at in zip(run.phases, times, strict=True)])
        return found

    def _needed(self, loops: Sequence[Sequence[Taken]], found: Draft) -> list[list[Taken]]:
        """Of the looks of a sheet those that are needed, judged on the whole of it: once more the exact choice."""
        tells = found.tells
        step_of = np.array([step for step, _ in found.places], np.int64)
        by_step: list[Bools] = [np.asarray(tells[:, step_of == s].any(axis=1)) for s in range(len(found.steps))]
        _, first = np.unique(np.array(by_step), axis=1, return_index=True)
        items = [i for i in first.tolist() if any(table[i] for table in by_step)]
        step = 0
        episodes: list[Episode] = []
        for n, loop in enumerate(loops):
            phases = []
            for phase in loop:
                looks = []
                for at in phase.looks:
                    covers = frozenset(k for k, i in enumerate(items) if by_step[step][i])
                    looks.append(Look(at, covers))
                    step += 1
                phases.append(Phase(phase.phase.settles, tuple(looks)))
            episodes.append(Episode(tuple(phases), n == 0))
        choice = cheapest(episodes, range(len(items)), seconds=SOLVER_S)
        return [
            [taken(phase.phase, {at for e, q, at in choice.looks if (e, q) == (n, p)}) for p, phase in enumerate(loop)]
            for n, loop in enumerate(loops)
            if n in choice.episodes
        ]

    def choice(self) -> tuple[Choice, list[Run]]:
        """The best choice of loops."""
        candidates = self.candidates
        candidates.families()
        best: tuple[Choice, list[Run]] | None = None
        for round_ in range(ROUNDS):
            runs = [self.trials.begun, *candidates.runs.values()]
            choice = choose(runs, candidates.anyway)
            if best is not None and (choice.seconds, choice.steps) >= (best[0].seconds, best[0].steps):
                break
            best = choice, runs
            self.progress(f"{choice.seconds / 60:.1f} min in {choice.steps} steps")
            if round_ == ROUNDS - 1:
                break
            try:
                candidates.pack([runs[e] for e in choice.episodes if e])
            except KeyboardInterrupt:
                self.interrupted = True
                break
        assert best is not None, "the first round gives a choice"
        return best


def told_by(found: Draft) -> Bools:
    """Which sets anything on a sheet tells from a healthy installation."""
    return np.asarray(found.tells.any(axis=1))


def lost_by(runs: Sequence[Run], found: Draft) -> Ints:
    """What one of the loops tells and the whole sheet does not."""
    lost = np.flatnonzero(any_of([r.found for r in runs]) & ~told_by(found))
    return lost[lost > 0]


def choose(runs: Sequence[Run], anyway: Bools) -> Choice:
    """The least time, then the fewest steps, that tell all that any of the runs tells; the first is always made, and
    tells `anyway` without a look of its own."""
    needed = any_of([r.found for r in runs]) & ~anyway
    needed[0] = False
    table = np.concatenate([p.found for r in runs for p in r.phases])[:, needed]
    _, first = np.unique(table, axis=1, return_index=True)
    items = np.flatnonzero(needed)[first]
    episodes = [Episode(tuple(_phase(p, items) for p in r.phases), i == 0) for i, r in enumerate(runs)]
    return cheapest(episodes, range(len(items)), seconds=SOLVER_S)


def _phase(phase: PhaseRun, items: Ints) -> Phase:
    """The looks of a phase that tell more than one that costs no more."""
    told = {at: frozenset(np.flatnonzero(phase.found[k][items]).tolist()) for k, at in enumerate(phase.looks)}
    kept = {phase.settles: told.get(phase.settles, frozenset())}
    for at, covers in told.items():
        if not any(covers <= other for known, other in kept.items() if known <= max(at, phase.settles)):
            kept[at] = covers
    return Phase(phase.settles, tuple(Look(at, covers) for at, covers in sorted(kept.items()) if covers))
