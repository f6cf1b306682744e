"""Chosen loops as one sheet: in an order with little re-plugging, and with no more to look at than is needed.

What the sheet finds is judged on the whole of it, as it is carried out from power-up to the end, not loop by loop.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interlock.plan.doubts import Spot
from interlock.plan.hypotheses import Hypothesis
from interlock.plan.loops import PhaseRun, Run, Trials
from interlock.plan.predict import predict
from interlock.plan.sheet import PRESSED, Sheet, Step
from interlock.plan.sights import Ease, Sight, SightKind
from interlock.plan.stimuli import Applied
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.units import value_text

Table = NDArray[np.bool_]
EASY = frozenset({SightKind.PATH, SightKind.LINE, SightKind.ALARM})  # looked at wherever there is no hurry


@dataclass(frozen=True)
class Taken:
    """One phase of the sheet: when it is looked at, in seconds; the last look is its end. `told`: whether anything is
    found by one of the looks that nothing else finds."""

    spot: Spot
    looks: tuple[int, ...]
    told: bool

    @property
    def seconds(self) -> int:
        """How long it lasts."""
        return self.looks[-1]


def taken(phase: PhaseRun, times: Collection[int]) -> Taken:
    """A phase with these looks, and one at its end."""
    return Taken(phase.spot, tuple(sorted({*times, max([phase.settles, *times])})), bool(times))


@dataclass(frozen=True)
class Draft:
    """Steps with all that can be seen for certain: `steps`; `values[i, n]`: of the n-th (step, sight) of `places`, what
    hypothesis i shows, -1 either; the first is the healthy one."""

    steps: tuple[Step, ...]
    places: tuple[tuple[int, Sight], ...]
    values: NDArray[np.int8]
    doubtful: Table  # of shape (sets, steps): what is given leaves something in doubt that it does not when healthy

    @property
    def tells(self) -> Table:
        """Of shape (sets, places): what each place tells from healthy."""
        healthy = self.values[:1]
        silent = self.doubtful[:, [step for step, _ in self.places]]
        return np.asarray((self.values >= 0) & (healthy >= 0) & (self.values != healthy) & ~silent)


def ordered(begun: Run, runs: Sequence[Run]) -> list[Run]:
    """The loops so that each begins with as many of the things that the one before touched as can be, shortest first
    among equals: what is already in the hand is used again."""
    left, found = sorted(runs, key=lambda r: r.seconds), [begun]
    home = begun.loop[0]
    hand: set[int] = set()
    while left:
        best = max(left, key=lambda r: len(hand & _touched(home, r)))
        left.remove(best)
        found.append(best)
        hand = _touched(home, best)
    return found


def _touched(home: Spot, run: Run) -> set[int]:
    return {i for s in run.loop for i, (a, b) in enumerate(zip(s.given, home.given, strict=True)) if a != b}


def draft(trials: Trials, taken: Sequence[Taken], *, hypotheses: Sequence[Hypothesis]) -> Draft:
    """The phases one after the other, simulated as a whole with each hypothesis."""
    scheme, looked_at = trials.scheme, trials.looked_at
    unsure = trials.doubts.phases([t.spot for t in taken], [t.seconds for t in taken], at_rest=False)
    rests = trials.rests([t.spot for t in taken], [t.seconds for t in taken])
    silent: list[frozenset[int]] = []
    steps: list[Step] = []
    before: Spot | None = None
    for of, doubtful_now, settles in zip(taken, unsure, rests, strict=True):
        change = _set(trials, before, of.spot)
        before, shown_at = of.spot, 0
        for n, at in enumerate(of.looks):
            in_doubt = np.unpackbits(doubtful_now.sights(at), count=len(looked_at))
            looked = {sight.name: "" for sight, doubt in zip(looked_at, in_doubt, strict=True) if not doubt}
            silent.append(doubtful_now.silenced(at))
            at_rest = settles is not None and at >= settles
            steps.append(Step(change if n == 0 else {}, at - shown_at, looked, at_rest))
            shown_at = at
    sheet = Sheet(scheme.title, "", tuple(steps), ())
    predicted = predict(scheme, sheet, [h.wrong for h in hypotheses], [h.held for h in hypotheses])
    by_name = {sight.name: sight for sight in looked_at}
    places = tuple((n, by_name[name]) for n, names in enumerate(predicted.names) for name in names)
    healthy = [values[0] for values in predicted.values]
    for n, (step, words) in enumerate(zip(steps, predicted.words, strict=True)):
        told = zip(step.expect, words, healthy[n].tolist(), strict=True)
        steps[n] = replace(step, expect={name: pair[1 - value] for name, pair, value in told if value >= 0})
    doubtful = np.zeros((len(hypotheses), len(steps)), bool)
    for n, which in enumerate(silent):
        doubtful[sorted(which), n] = True
    return Draft(tuple(steps), places, np.concatenate(predicted.values, axis=1), doubtful)


def with_looks(found: Draft, kept: Collection[int]) -> Draft:
    """A draft with these of its steps only, the last of each phase among them: what is seen at a look is the same
    whether there were others before it or not."""
    steps: list[Step] = []
    number: dict[int, int] = {}
    waiting: Step | None = None
    for n, step in enumerate(found.steps):
        whole = step if waiting is None else replace(step, set=waiting.set, wait_s=waiting.wait_s + step.wait_s)
        waiting = None if n in kept else whole
        if n in kept:
            number[n] = len(steps)
            steps.append(whole)
    which = [i for i, (step, _) in enumerate(found.places) if step in number]
    places = tuple((number[found.places[i][0]], found.places[i][1]) for i in which)
    return Draft(tuple(steps), places, found.values[:, which], found.doubtful[:, list(number)])


def _set(trials: Trials, before: Spot | None, spot: Spot) -> dict[str, str]:
    """What changes from one spot to the next, as people write it."""
    scheme, external = trials.scheme, trials.stimuli.external
    found = {
        name: given_text(scheme, name, a)
        for name, a, b in zip(scheme.sensors, spot.given, before.given if before else spot.given, strict=True)
        if before is None or a != b
    }
    for name, on, was in zip(external, spot.lines, before.lines if before else spot.lines, strict=True):
        if before is None or on != was:
            found[name] = "on" if on else "off"
    if spot.press is not None:
        found[external[spot.press]] = PRESSED
    return found


def given_text(scheme: Scheme, sensor: str, applied: Applied) -> str:
    """What a sensor is given: a value with its unit, `open` or `shorted`."""
    return str(applied.how) if applied.how else value_text(applied.value, scheme.sensors[sensor].kind)


def trimmed(found: Draft, names: Sequence[str]) -> tuple[tuple[Step, ...], tuple[str, ...]]:
    """The steps with what has to be looked at, and the names that are found by it. `names`: of each set but the first;
    a name is found where all its sets are.

    At rest all that runs or is told is looked at; what takes a meter, and what has to be seen before something changes,
    only where something is found by it that nothing else shows, as little as greedy choice makes of it."""
    tells, healthy = found.tells, found.values[0]
    kept = np.array(
        [
            healthy[n] >= 0 and found.steps[step].at_rest and sight.kind in EASY
            for n, (step, sight) in enumerate(found.places)
        ],
        bool,
    )
    left = tells.any(axis=1) & ~tells[:, kept].any(axis=1)
    cost = np.array([sight.ease is Ease.METER for _, sight in found.places], bool)
    while left.any():
        gains = tells[left].sum(axis=0) * 2 - cost
        best = int(gains.argmax())
        kept[best] = True
        left &= ~tells[:, best]
    _something(found, kept)
    steps = [
        replace(
            step,
            expect={s.name: step.expect[s.name] for n, (at, s) in enumerate(found.places) if at == number and kept[n]},
        )
        for number, step in enumerate(found.steps)
    ]
    told: Table = np.asarray(tells[:, kept].any(axis=1))
    by_name: dict[str, bool] = {}
    for name, is_told in zip(names, told[1:].tolist(), strict=True):
        by_name[name] = by_name.get(name, True) and is_told
    return _joined(steps), tuple(name for name, is_told in by_name.items() if is_told)


def _something(found: Draft, kept: Table) -> None:
    """One thing to look at where a phase would end without any: what is as it was not at the step before, if there is
    such a thing, and easy to see."""
    healthy = found.values[0]
    before: dict[Sight, int] = {}
    for number, _ in enumerate(found.steps):
        here = [(n, sight) for n, (at, sight) in enumerate(found.places) if at == number and healthy[n] >= 0]
        ends = number + 1 == len(found.steps) or bool(found.steps[number + 1].set)
        easy = [(n, sight) for n, sight in here if sight.kind in EASY]
        if ends and easy and not any(kept[n] for n, _ in here):
            changed = [n for n, sight in easy if sight in before and before[sight] != healthy[n]]
            kept[[*changed, easy[0][0]][0]] = True
        before |= {sight: int(healthy[n]) for n, sight in here}


def _joined(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Steps at which nothing is looked at before the end of a phase, joined with the one after."""
    found: list[Step] = []
    waiting: Step | None = None
    for step, after in zip(steps, [*steps[1:], None], strict=True):
        whole = step if waiting is None else replace(step, set=waiting.set, wait_s=waiting.wait_s + step.wait_s)
        waiting = None
        if after is not None and not after.set and not whole.expect and not whole.at_rest:
            waiting = whole
        else:
            found.append(whole)
    return tuple(found)
