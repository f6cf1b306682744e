"""Loops carried out side by side, on one clock, so that their long waits run at once.

Each loop is begun at a time of its own and takes its course; between two changes of any of them is one phase. Nothing
is given two things at once, and a look counts as long as what it is told by is where it is at rest for all that the
others do. That is an estimate: the whole is simulated afterwards.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from interlock.plan.candidates import joined
from interlock.plan.compose import Taken
from interlock.plan.doubts import Spot
from interlock.plan.loops import Input, Run, Trials
from interlock.plan.sights import Bools
from interlock.plan.uses import uses

SHORT_S = 45  # nothing else is changed during a shorter phase
HANDS_S = 4  # each change during a phase may delay the looks after it by so much
ORDERS = 12  # in which loops are tried
CUT, BESIDE = 1, 2

Packed = NDArray[np.uint8]


@dataclass(frozen=True)
class Look:
    """A look of a loop: its phase, seconds after that began, seconds after the loop began; what it tells."""

    phase: int
    at: int
    time: int
    tells: Packed  # of shape (hypotheses, bytes)
    heard: Bools  # the hypotheses of which something is told
    silenced: frozenset[int]


class Job:
    """A loop to be carried out. `lasts`: how many seconds each phase does."""

    def __init__(self, trials: Trials, run: Run, lasts: Sequence[int], which: Sequence[int], *, begins: bool) -> None:
        self.run, self.lasts, self.begins = run, tuple(lasts), begins
        self.starts = [0]
        for seconds in lasts:
            self.starts.append(self.starts[-1] + seconds)
        self.seconds = self.starts[-1]
        self.looks = [
            Look(p, at, self.starts[p] + at, phase.tells[k][which], phase.found[k][which], phase.silenced)
            for p, phase in enumerate(run.phases)
            for k, at in enumerate(phase.looks)
            if at <= lasts[p]
        ]
        self.looks = [look for look in self.looks if look.heard.any()]
        self.found: Bools = np.logical_or.reduce([x.heard for x in self.looks] or [np.zeros(len(which), bool)])
        moved = [
            (self.starts[p] + second, mask)
            for p, phase in enumerate(run.phases)
            for second, mask in phase.moved
            if second < lasts[p]
        ]
        self._times = np.array([time for time, _ in moved])
        self._masks = np.array([mask for _, mask in moved], np.uint8)
        self._silenced = [(self.starts[p], self.starts[p + 1], phase.silenced) for p, phase in enumerate(run.phases)]
        self.busy = {
            key: (
                self.starts[min(use.phases)] if use.phases else 0,
                (self.starts[max(use.phases) + 1] if use.phases else 0) + use.more,
            )
            for key, use in uses(trials, run, begins=begins).items()
        }
        self.presses = [self.starts[p] for p, phase in enumerate(run.phases) if phase.spot.press is not None]
        self.changes = [self.starts[p] for p in range(len(lasts)) if self._changes(trials, p)]

    def _changes(self, trials: Trials, phase: int) -> bool:
        spots = [p.spot for p in self.run.phases]
        before = spots[phase - 1] if phase else trials.home
        return bool(spots[phase][:3] != before[:3] or spots[phase].press is not None or not phase)

    def moved(self, first: float, last: float) -> Packed | None:
        """Which sights are not as they are at rest at any time between, in seconds after it began; None where it is not
        on its way then."""
        if last < 0 or first >= self.seconds:
            return None
        low = max(0, int(np.searchsorted(self._times, first, side="right")) - 1)
        high = int(np.searchsorted(self._times, last, side="right"))
        return np.bitwise_or.reduce(self._masks[low:high]) if high > low else None

    def silenced(self, at: float) -> frozenset[int]:
        """The hypotheses with which something is in doubt then."""
        return next((s for first, last, s in self._silenced if first <= at < last), frozenset())

    def room(self, look: Look) -> float:
        """For how many seconds after a look nothing changes by itself in a healthy installation."""
        later = self._times[self._times > look.time + 0.05]
        return float(later[0]) - look.time if len(later) else float("inf")


class Overlay:
    """Loops placed on one clock, the way to rest first. `which`: the hypotheses that matter; `shy`: for a loop (by its
    number) and a hypothesis what would keep it from telling it, as the whole sheet has shown: CUT where anything else
    is changed in that phase, BESIDE where any other loop is on its way."""

    def __init__(
        self, trials: Trials, jobs: Sequence[Job], which: Sequence[int], shy: Mapping[tuple[int, int], int]
    ) -> None:
        self.trials, self.jobs, self.which = trials, list(jobs), list(which)
        levels = [np.array([shy.get((n, i), 0) for i in which], np.int64) for n in range(len(jobs))]
        self._not_cut, self._not_beside = [of < CUT for of in levels], [of < BESIDE for of in levels]
        self._number = {i: n for n, i in enumerate(self.which)}
        self._known: dict[tuple[object, ...], Bools] = {}  # what a loop tells, by those beside it

    def best(self, first: Iterable[int] = ()) -> dict[int, int]:
        """The offsets, job by job, of the shortest of some orders in which the jobs are placed one after the other;
        those of `first` before all others."""
        rng = random.Random(0)
        ahead = list(first)
        rest = sorted({*range(1, len(self.jobs))} - {*ahead}, key=lambda n: -self.jobs[n].seconds)
        best: dict[int, int] | None = None
        for _ in range(ORDERS):
            placed = self._placed([*ahead, *rest])
            if best is None or self.seconds(placed) < self.seconds(best):
                best = placed
            if self.seconds(best) <= self.least:
                break
            rest = sorted(rest, key=lambda n: -self.jobs[n].seconds * rng.uniform(0.3, 1))
        assert best is not None
        return best

    @property
    def least(self) -> int:
        """No order takes less: the seconds for which the input in use the longest is."""
        total: dict[Input, int] = {}
        for job in self.jobs:
            for key, (since, until) in job.busy.items():
                total[key] = total.get(key, 0) + until - since
        return max([*total.values(), *(job.seconds for job in self.jobs)])

    def seconds(self, placed: Mapping[int, int]) -> int:
        """When all of them are over."""
        return max(at + self.jobs[n].seconds for n, at in placed.items())

    def _placed(self, order: Sequence[int]) -> dict[int, int]:
        placed = {0: 0}
        told = self._told(placed)
        for position, n in enumerate(order):
            later = np.logical_or.reduce([self.jobs[m].found for m in order[position + 1 :]] or [np.zeros_like(told)])
            wanted = (told | self.jobs[n].found) & ~later
            times = {0, *(at + x for m, at in placed.items() for x in (*self.jobs[m].changes, self.jobs[m].seconds))}
            times |= {max(0, at + until - since) for m, at in placed.items() for since, until in self._meets(n, m)}
            for at in sorted(times):
                if self._fits(placed, n, at):
                    trial = {**placed, n: at}
                    now = self._told(trial)
                    if not (wanted & ~now).any():
                        break
            else:
                at = self.seconds(placed)
                now = self._told({**placed, n: at})
            placed[n] = at
            told = now
        return placed

    def _meets(self, n: int, m: int) -> Iterable[tuple[int, int]]:
        """For each input of both when the first begins to need it, and when the second has done with it."""
        for key, (since, _) in self.jobs[n].busy.items():
            if key in self.jobs[m].busy:
                yield since, self.jobs[m].busy[key][1]

    def _fits(self, placed: Mapping[int, int], n: int, at: int) -> bool:
        """Whether nothing is given two things, and no change falls into a short phase of another."""
        job = self.jobs[n]
        for m, other_at in placed.items():
            other = self.jobs[m]
            if at >= other_at + other.seconds or other_at >= at + job.seconds:
                continue
            for key, (since, until) in job.busy.items():
                if key in other.busy:
                    a, b = other.busy[key]
                    if at + since < other_at + b and other_at + a < at + until:
                        return False
            if {at + x for x in job.presses} & {other_at + x for x in other.presses}:
                return False
            if _cuts(job, at, other, other_at) or _cuts(other, other_at, job, at):
                return False
        return True

    def _told(self, placed: Mapping[int, int]) -> Bools:
        found = np.zeros(len(self.which), bool)
        for n, at in placed.items():
            over = at + self.jobs[n].seconds
            beside = {m: o for m, o in placed.items() if m == n or (o < over and o + self.jobs[m].seconds > at)}
            key = (n, *sorted((m, o - at) for m, o in beside.items()))
            if key not in self._known:
                own = np.zeros(len(self.which), bool)
                for look in self.jobs[n].looks:
                    own |= self.told_by(beside, n, look)
                self._known[key] = own
            found |= self._known[key]
        return found

    def told_by(self, placed: Mapping[int, int], n: int, look: Look) -> Bools:
        """What a look tells in spite of the others."""
        job, at = self.jobs[n], placed[n] + look.time
        begun = placed[n] + job.starts[look.phase]
        others = [(m, o) for m, o in placed.items() if m != n and o < at and o + self.jobs[m].seconds > begun]
        cuts = len({o + x for m, o in others for x in self.jobs[m].changes if begun < o + x < at})
        if cuts and job.room(look) < HANDS_S * (cuts + 1):
            return np.zeros(len(self.which), bool)
        disturbed = None
        for m, o in others:
            mask = self.jobs[m].moved(at - o, at - o + HANDS_S * (cuts + 1))
            if mask is not None:
                disturbed = mask if disturbed is None else disturbed | mask
        told = look.heard if disturbed is None else (look.tells & ~disturbed).any(axis=1)
        if cuts:
            told = told & self._not_cut[n]
        if others:
            told = told & self._not_beside[n]
            silent = [self._number[i] for m, o in others for i in self.jobs[m].silenced(at - o) if i in self._number]
            told[silent] = False
        return np.asarray(told)

    # --- as one sheet

    def phases(self, placed: Mapping[int, int]) -> list[Taken]:
        """All of it as phases one after the other, with every look that tells something."""
        times = sorted({o + x for n, o in placed.items() for x in self.jobs[n].changes})
        looks: dict[int, set[int]] = {}
        for n, o in placed.items():
            for look in self.jobs[n].looks:
                if self.told_by(placed, n, look).any():
                    looks.setdefault(o + look.time, set())
        found = []
        for begun, over in pairwise([*times, self.seconds(placed)]):
            spot = self._spot(placed, begun)
            inside = {t - begun for t in looks if begun < t <= over}
            found.append(Taken(spot._replace(lasts=over - begun), tuple(sorted({*inside, over - begun})), bool(inside)))
        return found

    def _spot(self, placed: Mapping[int, int], time: int) -> Spot:
        spot, press = self.trials.home, None
        for n, o in placed.items():
            job = self.jobs[n]
            p = next((p for p in range(len(job.lasts)) if job.starts[p] <= time - o < job.starts[p + 1]), None)
            if p is None:
                continue
            own = job.run.phases[p].spot
            spot = joined(self.trials.home, spot, own)
            if own.press is not None and job.starts[p] == time - o:
                press = own.press
        return spot._replace(press=press)


def _cuts(job: Job, at: int, other: Job, other_at: int) -> bool:
    """Whether a change of one falls into a short phase of the other."""
    for change in job.changes:
        inside = at + change - other_at
        if 0 < inside < other.seconds:
            p = next(p for p in range(len(other.lasts)) if other.starts[p] <= inside < other.starts[p + 1])
            if other.starts[p] < inside and other.lasts[p] < SHORT_S:
                return True
    return False
