"""The test sheet of a scheme: candidates, the exact choice among them, the sheet itself, and what it cannot find."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from interlock.logic.program import setting_name
from interlock.plan.candidates import Candidates
from interlock.plan.columns import Ints
from interlock.plan.compose import Draft, draft, trimmed, with_looks
from interlock.plan.cover import Choice, Episode, Look, Phase, cheapest
from interlock.plan.hypotheses import Hypothesis, Off, hypotheses, off_text, slips
from interlock.plan.loops import Input, PhaseRun, Run, Trials, any_of
from interlock.plan.overlay import BESIDE, Job, Overlay
from interlock.plan.proof_test import UNSEEN
from interlock.plan.reasons import Reasons
from interlock.plan.sheet import CannotFind, Sheet
from interlock.plan.sights import Bools
from interlock.plan.stimuli import Stimuli
from interlock.plan.uses import uses
from interlock.plan.wrong import Wrong
from interlock.scheme.model import Scheme
from interlock.split import can_split, cores, in_order, split

Progress = Callable[[str], None]
DRAFTS = 5
ROUNDS = 2
NEARLY = 0.6
SOLVER_S = 8.0
ZONES = 12_000


def silent(_: str) -> None:
    """No progress is told."""


@dataclass
class Planner:
    """Plans one sheet. `zones`: how many may be looked at to prove that what it does not find cannot be found."""

    scheme: Scheme
    off: Off = field(default_factory=Off)
    progress: Progress = silent
    zones: int = ZONES

    def __post_init__(self) -> None:
        self.stimuli = Stimuli(self.scheme)
        self.slips = slips(self.stimuli, self.off)
        faults = [f for f in self.scheme.faults.values() if not all(s.mode in UNSEEN for s in f.single())]
        self.hypotheses = (Hypothesis("", ()), *hypotheses(self.stimuli, faults, self.slips))
        self.progress("bringing the installation to rest")
        self.trials = Trials(self.stimuli, self.hypotheses, self.off.delay / 2)
        self.interrupted = False
        self.candidates = Candidates(self.trials, self.progress)

    def sheet(self, digest: str = "") -> Sheet:
        """The sheet. `digest`: SHA-256 of the scheme's file."""
        choice, runs = self.choice()
        wrongs: dict[str, Wrong] = {h.name: h.wrong[0] for h in self.hypotheses[1:]}
        reasons = Reasons(self.stimuli, self.zones)
        untold = list(dict.fromkeys(self.hypotheses[i].name for i in self.candidates.missing()))
        known = _meanwhile(lambda name: reasons.why(name, wrongs[name]), untold)
        next(known)
        found = self._side_by_side(choice, runs)
        found = with_looks(found, self._needed(found))
        steps, finds = trimmed(found, [h.name for h in self.hypotheses[1:]])
        why = dict(zip(untold, known, strict=True))
        unseen = {n: f for n, f in self.scheme.faults.items() if n not in wrongs}
        cannot = [why.get(n) or reasons.why(n, w) for n, w in {**wrongs, **unseen}.items() if n not in finds]
        off_by = {setting_name(s.rule, s.setting): off_text(self.stimuli, s) for s in self.slips}
        return Sheet(self.scheme.title, digest, steps, finds, tuple(cannot), off_by)

    def _side_by_side(self, choice: Choice, runs: Sequence[Run]) -> Draft:
        """The chosen loops on one clock, simulated as a whole. What one of them tells and the whole does not is told
        once more with that loop by itself."""
        needed = any_of([r.found for r in runs])
        needed[0] = False
        which = np.flatnonzero(needed).tolist()
        lasts = {
            e: [
                max([phase.settles, *(at for of, q, at in choice.looks if (of, q) == (e, p))])
                for p, phase in enumerate(runs[e].phases)
            ]
            for e in sorted({0, *choice.episodes})
        }
        shy: dict[tuple[int, int], int] = {}
        restless = [i for i in which if i in self.trials.restless and not runs[0].found[i]]
        best: Draft | None = None
        given_up: set[int] = set()  # for which all has been tried
        for _ in range(DRAFTS):
            jobs = {e: Job(self.trials, runs[e], lasts[e], which, begins=e == 0) for e in lasts}
            numbers = {e: n for n, e in enumerate(jobs)}
            overlay = Overlay(
                self.trials, list(jobs.values()), which, {(numbers[e], i): level for (e, i), level in shy.items()}
            )
            telling = [[n for n, job in enumerate(jobs.values()) if n and job.found[which.index(i)]] for i in restless]
            first = {min(of, key=lambda n: overlay.jobs[n].seconds) for of in telling if of}
            placed = overlay.best(sorted(first, key=lambda n: overlay.jobs[n].seconds))
            taken = overlay.phases(placed)
            self.progress(f"simulating {len(jobs)} loops side by side, {overlay.seconds(placed) / 60:.1f} min")
            found = draft(self.trials, taken, hypotheses=self.hypotheses)
            lost = np.flatnonzero(needed & ~told_by(found)).tolist()
            if best is None or told_by(found).sum() > told_by(best).sum():
                best = found
            if not set(lost) - set(restless):
                break
            self.progress(f"{len(lost)} are not told then: {', '.join(self.hypotheses[i].name for i in lost)}")
            if set(lost) <= given_up:
                break
            for i in set(lost) - set(restless):
                able = [e for e, job in jobs.items() if job.found[which.index(i)] and shy.get((e, i), 0) < BESIDE]
                for e in able:
                    shy[e, i] = shy.get((e, i), 0) + 1
                if not able:
                    self._look_further(i, runs, lasts)
                    given_up.add(i)
        assert best is not None, "there is one draft at least"
        return best

    def _look_further(self, hypothesis: int, runs: Sequence[Run], lasts: dict[int, list[int]]) -> None:
        """What the loops tell by the looks they have, and the sheet does not: they are looked at for longer, and the
        quickest of the other loops is carried out too."""
        for e, of in lasts.items():
            for p, phase in enumerate(runs[e].phases):
                of[p] = max([of[p], *(at for k, at in enumerate(phase.looks) if phase.found[k, hypothesis])])
        others = [e for e, run in enumerate(runs) if e not in lasts and run.found[hypothesis]]
        if others:
            e = min(others, key=lambda e: runs[e].seconds)
            lasts[e] = [
                max([phase.settles, *(at for k, at in enumerate(phase.looks) if phase.found[k, hypothesis])])
                for phase in runs[e].phases
            ]

    def _needed(self, found: Draft) -> set[int]:
        """Of the looks of a sheet those that are needed, judged on the whole of it: the fewest, chosen exactly; and the
        last of each phase."""
        tells = found.tells
        step_of = np.array([step for step, _ in found.places], np.int64)
        by_step: list[Bools] = [np.asarray(tells[:, step_of == s].any(axis=1)) for s in range(len(found.steps))]
        _, first = np.unique(np.array(by_step), axis=1, return_index=True)
        items = [i for i in first.tolist() if any(table[i] for table in by_step)]
        phases: list[list[int]] = []
        for n, step in enumerate(found.steps):
            if step.set or not phases:
                phases.append([])
            phases[-1].append(n)
        at = list(Sheet("", "", found.steps, ()).stopwatch())
        looks = [[Look(at[n], frozenset(k for k, i in enumerate(items) if by_step[n][i])) for n in of] for of in phases]
        made = Episode(tuple(Phase(of[-1].at, tuple(of)) for of in looks), needed=True)
        choice = cheapest([made], range(len(items)), seconds=SOLVER_S)
        chosen = {phases[p][[look.at for look in looks[p]].index(when)] for _, p, when in choice.looks}
        return chosen | {of[-1] for of in phases}

    def choice(self) -> tuple[Choice, list[Run]]:
        """The best choice of loops."""
        candidates = self.candidates
        candidates.families()
        best: tuple[Choice, list[Run]] | None = None
        for round_ in range(ROUNDS):
            runs = [self.trials.begun, *candidates.runs.values()]
            choice = choose(self.trials, runs, candidates.anyway)
            if best is not None and choice.longest >= best[0].longest:
                break
            best = choice, runs
            self.progress(
                f"{len(choice.episodes)} loops, {choice.seconds / 60:.1f} min one after the other, at least"
                f" {choice.longest / 60:.1f} min side by side"
            )
            if round_ == ROUNDS - 1:
                break
            chosen = [runs[e] for e in choice.episodes]
            try:
                if not candidates.refine(chosen[1:], self._critical(choice, chosen)):
                    break
            except KeyboardInterrupt:
                self.interrupted = True
                break
        assert best is not None, "the first round gives a choice"
        return best

    def _critical(self, choice: Choice, chosen: Sequence[Run]) -> frozenset[Input]:
        """The inputs that are in use for nearly as long as any."""
        total: dict[Input, int] = {}
        for n, run in enumerate(chosen):
            for key, use in uses(self.trials, run, begins=n == 0).items():
                total[key] = total.get(key, 0) + use.more + sum(run.phases[p].settles for p in use.phases)
        return frozenset(key for key, seconds in total.items() if seconds >= NEARLY * choice.longest)


def _meanwhile(work: Callable[[str], CannotFind], names: Sequence[str]) -> Iterator[CannotFind | None]:
    """At first nothing, and then what `work` makes of each name in turn: on another core, where there is one, from the
    first thing asked for on."""

    def numbered(number: int) -> CannotFind | None:
        return work(names[number - 1]) if number else None

    numbers = range(len(names) + 1)
    return in_order(split(numbered, numbers, 1)) if can_split() and cores() > 1 else map(numbered, numbers)


def told_by(found: Draft) -> Bools:
    """Which sets anything on a sheet tells from a healthy installation."""
    return np.asarray(found.tells.any(axis=1))


def choose(trials: Trials, runs: Sequence[Run], anyway: Bools) -> Choice:
    """The least time, then the fewest steps, that tell all that any of the runs tells; the first is always made, and
    tells `anyway` without a look of its own."""
    needed = any_of([r.found for r in runs]) & ~anyway
    needed[0] = False
    table = np.concatenate([p.found for r in runs for p in r.phases])[:, needed]
    _, first = np.unique(table, axis=1, return_index=True)
    items = np.flatnonzero(needed)[first]
    episodes = [
        Episode(tuple(_phase(p, items) for p in r.phases), i == 0, uses(trials, r, begins=i == 0))
        for i, r in enumerate(runs)
    ]
    return cheapest(episodes, range(len(items)), seconds=SOLVER_S)


def _phase(phase: PhaseRun, items: Ints) -> Phase:
    """The looks of a phase that tell more than one that costs no more."""
    told = {at: frozenset(np.flatnonzero(phase.found[k][items]).tolist()) for k, at in enumerate(phase.looks)}
    kept = {phase.settles: told.get(phase.settles, frozenset())}
    for at, covers in told.items():
        if not any(covers <= other for known, other in kept.items() if known <= max(at, phase.settles)):
            kept[at] = covers
    return Phase(phase.settles, tuple(Look(at, covers) for at, covers in sorted(kept.items()) if covers))
