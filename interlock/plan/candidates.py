"""Which loops are tried: each single change, values that tell a mistyped limit, the same in other contexts.

Each family is tried with what the ones before do not tell. Then loops of the best choice are carried out side by side
as far as nothing they tell is lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from interlock.logic.program import Setting
from interlock.plan.hypotheses import Hypothesis, between
from interlock.plan.loops import Loop, Run, Spot, Trials, any_of
from interlock.plan.sights import Bools
from interlock.plan.wrong import Slip

PACKING = 9  # rounds of putting loops side by side
IDLE = 2  # and no more after so many in vain
LIMITS = (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT)


class Candidates:
    """The loops tried so far."""

    def __init__(self, trials: Trials, progress: Callable[[str], None]) -> None:
        self.trials, self.stimuli, self.home = trials, trials.stimuli, trials.home
        self.progress = progress
        self.runs: dict[Loop, Run] = {}
        self._tried: set[Loop] = set()
        self._beside: dict[tuple[Loop, Loop], tuple[Loop, int] | None] = {}
        at_end = [phase.found[phase.looks.index(phase.settles)] for phase in trials.begun.phases]
        self.anyway: Bools = any_of(at_end)  # told on the way to rest, by looks that cost no step

    @property
    def hypotheses(self) -> Sequence[Hypothesis]:
        """What is to be told from a healthy installation; the first is the healthy one."""
        return self.trials.hypotheses

    @property
    def found(self) -> Bools:
        """What any of the loops tells."""
        return any_of([self.trials.begun.found, *(run.found for run in self.runs.values())])

    def missing(self) -> list[int]:
        """The hypotheses that none of them tells."""
        return [i for i in np.flatnonzero(~self.found).tolist() if i]

    def add(self, loops: Iterable[Loop], which: Sequence[int]) -> None:
        """Try these loops, for these hypotheses."""
        new = [x for x in dict.fromkeys(loops) if x not in self._tried and all(map(self.trials.usable, x))]
        self._tried.update(new)
        for run in self.trials.run(new, which) if which else ():
            if run.found.any():
                self.runs[run.loop] = run

    def families(self) -> None:
        """All families, one after the other."""
        open_ = [i for i in range(1, len(self.hypotheses)) if not self.anyway[i]]
        singles = self.singles()
        stairs = self._stairs(singles, open_)
        self.progress(f"trying {len(singles)} single changes and {len(stairs)} flights of steps beside limits")
        self.add([(s,) for s in singles], open_)
        self.add(stairs, open_)
        contexts = [s for s in singles if s.given == self.home.given]
        for context in contexts:
            missing = self.missing()
            self.progress(f"{len(self.hypotheses) - 1 - len(missing)} of {len(self.hypotheses) - 1} told")
            self.add([(joined(self.home, context, s),) for s in singles], missing)
            flights = self._stairs(singles, self.missing())
            self.add([tuple(joined(self.home, context, s) for s in loop) for loop in flights], self.missing())
            missing = self.missing()
            self.add([(joined(self.home, context, s), context) for s in singles if s != context], missing)
        self.add(self._pairs(singles, contexts), self.missing())

    def singles(self) -> list[Spot]:
        """Each single change of rest."""
        rest = self.stimuli.rest
        changed = (c.to(rest) for c in self.stimuli.changes if c.press is None)
        spots = [Spot(tuple(self.stimuli.applied(p)), p.lines) for p in changed if p is not None]
        return [s for s in dict.fromkeys(spots) if self.trials.usable(s)]

    def _pairs(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> Iterator[Loop]:
        """A change, then a line set."""
        for one in singles:
            for context in contexts:
                if one != context:
                    yield (one, joined(self.home, one, context))

    def _stairs(self, singles: Sequence[Spot], which: Iterable[int]) -> list[Loop]:
        """Away from rest step by step, beside each trip limit that may be mistyped, to the far end; and back beside
        each clear limit."""
        ways: dict[tuple[frozenset[int], bool], tuple[dict[Spot, None], dict[Spot, None]]] = {}
        for i in which:
            for slip in self.hypotheses[i].wrong:
                if isinstance(slip, Slip) and slip.setting in LIMITS:
                    given = between(self.stimuli, slip, self.home.given)
                    spot = None if given is None else Spot(given, self.home.lines)
                    if spot is not None and self.trials.usable(spot):
                        out_back = ways.setdefault(self._side(spot), ({}, {}))
                        out_back[slip.setting is Setting.CLEAR_LIMIT][spot] = None
        loops: list[Loop] = []
        for side, (out, back) in ways.items():
            ends = [s for s in singles if s.lines == self.home.lines and self._side(s) == side and not self._lead(s)]
            far = max([*ends, *out, *back], key=self._distance)
            going = sorted({*out} - {far}, key=self._distance)
            coming = sorted({*back} - {far}, key=self._distance, reverse=True)
            loops.append((*going, far, *coming))
        return loops

    def beside_limits(self, singles: Sequence[Spot]) -> dict[int, list[Loop]]:
        """For each mistyped limit by itself the ways to tell it, at rest and with each line set the other way."""
        contexts = [s for s in singles if s.given == self.home.given]
        found: dict[int, list[Loop]] = {}
        for i in range(1, len(self.hypotheses)):
            for loop in self._stairs(singles, [i]):
                turned = [tuple(joined(self.home, c, s) for s in loop) for c in contexts]
                found[i] = [loop, *turned]
        return found

    def _side(self, spot: Spot) -> tuple[frozenset[int], bool]:
        """Which sensors it changes, and whether upward."""
        pairs = enumerate(zip(spot.given, self.home.given, strict=True))
        changed = {i: a.value > b.value for i, (a, b) in pairs if a != b}
        return frozenset(changed), any(changed.values())

    def _lead(self, spot: Spot) -> bool:
        return any(a.how for a in spot.given)

    def _distance(self, spot: Spot) -> int:
        return sum(abs(a.value - b.value) for a, b in zip(spot.given, self.home.given, strict=True))

    # --- side by side

    def pack(self, runs: Sequence[Run]) -> None:
        """Try loops side by side: in each round each with the one beside which it is expected to save the most time, as
        far as nothing that they tell is lost by it."""
        packed = list(runs)
        failed: set[Loop] = set()
        idle = 0
        for round_ in range(PACKING):
            pairs = self._pairs_of(packed, failed)
            if not pairs:
                break
            self.progress(f"{len(packed)} loops, tried side by side, round {round_ + 1}")
            involved = {id(r) for one, other, _ in pairs for r in (one, other)}
            rest = any_of([self.anyway, *(r.found for r in packed if id(r) not in involved)])
            needed = [(one.found | other.found) & ~rest for one, other, _ in pairs]
            before = len(packed)
            self.add([loop for *_, loop in pairs], np.flatnonzero(any_of(needed)).tolist())
            for (one, other, loop), need in zip(pairs, needed, strict=True):
                merged = self.runs.get(loop)
                saves = merged is not None and merged.seconds < one.seconds + other.seconds
                if merged is not None and saves and not (need & ~merged.found).any():
                    packed = [r for r in packed if r is not one and r is not other] + [merged]
                else:
                    failed.add(loop)
            idle = idle + 1 if len(packed) == before else 0
            if idle == IDLE:
                break

    def _pairs_of(self, runs: Sequence[Run], failed: set[Loop]) -> list[tuple[Run, Run, Loop]]:
        """Pairs that share no loop, those first that save the most."""
        possible: list[tuple[int, int, int, Loop]] = []
        for i, one in enumerate(runs):
            for j in range(i + 1, len(runs)):
                key = (one.loop, runs[j].loop)
                if key not in self._beside:
                    self._beside[key] = beside(self.home, one, runs[j])
                both = self._beside[key]
                if both is not None and both[0] not in failed:
                    back = min(sum(p.settles for p in r.phases[len(r.loop) :]) for r in (one, runs[j]))
                    possible.append((both[1] + back, i, j, both[0]))
        used: set[int] = set()
        found: list[tuple[Run, Run, Loop]] = []
        for saved, i, j, loop in sorted(possible, key=lambda entry: -entry[0]):
            if saved > 0 and not used & {i, j}:
                used |= {i, j}
                found.append((runs[i], runs[j], loop))
        return found


def joined(home: Spot, one: Spot, other: Spot) -> Spot:
    """Both changes of rest at once; the second's where both change one thing."""
    given = tuple(b if b != r else a for a, b, r in zip(one.given, other.given, home.given, strict=True))
    lines = tuple(b if b != r else a for a, b, r in zip(one.lines, other.lines, home.lines, strict=True))
    return Spot(given, lines)


def beside(home: Spot, one: Run, other: Run) -> tuple[Loop, int] | None:
    """Two loops carried out side by side, so that their long phases fall together, and how many seconds that saves on
    the way out; None where they change one thing."""
    if _changed(home, one.loop) & _changed(home, other.loop):
        return None
    a, b = ([max(p.settles, 1) for p in r.phases[: len(r.loop)]] for r in (one, other))
    best: dict[tuple[int, int], tuple[int, int, tuple[tuple[int, int], ...]]] = {(0, 0): (0, 0, ())}
    for i in range(len(a) + 1):
        for j in range(len(b) + 1):
            for di, dj in ((1, 1), (1, 0), (0, 1)):
                m, n = i + di, j + dj
                if (i, j) in best and m <= len(a) and n <= len(b):
                    seconds, steps, way = best[i, j]
                    lasts = max(a[i] if di else 0, b[j] if dj else 0)
                    reached = (seconds + lasts, steps + 1, (*way, (m, n)))
                    if (m, n) not in best or reached[:2] < best[m, n][:2]:
                        best[m, n] = reached
    spots = []
    for m, n in best[len(a), len(b)][2]:
        spots.append(joined(home, one.loop[m - 1] if m else home, other.loop[n - 1] if n else home))
    return tuple(spots), sum(a) + sum(b) - best[len(a), len(b)][0]


def _changed(home: Spot, loop: Loop) -> set[tuple[str, int]]:
    found: set[tuple[str, int]] = set()
    for spot in loop:
        found |= {("given", i) for i, (a, b) in enumerate(zip(spot.given, home.given, strict=True)) if a != b}
        found |= {("line", i) for i, (a, b) in enumerate(zip(spot.lines, home.lines, strict=True)) if a != b}
    return found
