"""A violation that was found: shortened, held for as long as it lasts, and measured once more."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice, pairwise

from interlock.fuzz.behaviour import MOST_RUN
from interlock.fuzz.faults import FaultSetError, Plan
from interlock.fuzz.judge import Judge, engine_for, resets_of
from interlock.fuzz.region import groups
from interlock.fuzz.script import ImpossibleError, Script, Step, admitted, replay, stretches_of
from interlock.records import replace
from interlock.scheme.model import Claim, Scheme

MOST_TRIED = 30_000  # scans really run to shorten one behaviour
LONGEST = 3_600_000_000  # a violation is followed for an hour beyond the time allowed


@dataclass(frozen=True, slots=True)
class Found:
    """A behaviour that violates a claim. `exposure_us`: what it comes to; `endless`: it was still going on when nothing
    more would change (or after an hour), the world staying as it is at the end."""

    claim: Claim
    script: Script
    exposure_us: int
    endless: bool


def found(scheme: Scheme, claim: Claim, script: Script, *, most: int = MOST_TRIED) -> Found:
    """Shorten a behaviour that violates a claim, for at most so many scans really run, and follow it to its end.

    Raises ImpossibleError where the behaviour is none that the world admits: a fault of the fuzzer.
    """
    admitted(scheme, script)
    short = _Tidier(scheme, claim, script, most).tidied()
    admitted(scheme, short)
    judge = Judge(scheme, claim)
    engine = engine_for(scheme, short.plan.installed, resets_of(claim))
    for step in short.steps:
        for seen, lasted in stretches_of(engine, short.plan, step):
            judge.see(step.truth, seen, lasted)
    last = replace(short.steps[-1], cycles=(), scans=(LONGEST + claim.longer_than.us) // scheme.scan_us)
    if judge.run:
        for seen, lasted in islice(stretches_of(engine, short.plan, last, settle=True), MOST_RUN):
            judge.see(last.truth, seen, lasted)
            if not judge.run:
                break
    endless = judge.run > 0
    assert judge.exposure_us is not None
    return Found(claim, short, judge.exposure_us, endless)


class _Tidier:
    """Tries shorter and plainer behaviours, each on the engine, and keeps those that still violate the claim."""

    def __init__(self, scheme: Scheme, claim: Claim, script: Script, most: int) -> None:
        self.scheme, self.claim, self.script = scheme, claim, script
        self.left = most
        self._groups = [(*quantities, *sensors) for quantities, sensors in groups(scheme)]

    def tidied(self) -> Script:
        """The shortest and plainest that was found."""
        self._keep(self.script)
        size = None
        while self.left > 0 and size != (size := _size(self.script)):
            self._drop_faults()
            self._drop_steps()
            self._steady()
            self._shorten()
        return self.script

    def _keep(self, script: Script) -> bool:
        """Whether that behaviour violates the claim too; if so it is kept, cut off where it does."""
        if self.left <= 0 or not script.steps:
            return False
        script = replace(script, steps=_joined(script.steps))
        try:
            admitted(self.scheme, script)
        except ImpossibleError:
            return False
        judge = Judge(self.scheme, self.claim)
        breach, run = replay(self.scheme, script, resets_of(self.claim), judge, 2 * MOST_RUN)
        self.left -= run
        if breach is None:
            return False
        kept = (*script.steps[: breach.step], replace(script.steps[breach.step], scans=breach.scans))
        self.script = replace(script, steps=kept)
        return True

    def _drop_faults(self) -> None:
        for fault in self.script.plan.faults:
            try:
                plan = Plan.of(self.scheme, (f for f in self.script.plan.faults if f != fault))
            except FaultSetError:
                continue
            steps = (
                replace(
                    step,
                    arisen=tuple(n for n in step.arisen if n in plan.arising),
                    cycles=tuple(
                        u for u in step.cycles if u in plan.may_cycle(n for n in step.arisen if n in plan.arising)
                    ),
                )
                for step in self.script.steps
            )
            self._keep(Script(plan, tuple(steps)))

    def _drop_steps(self) -> None:
        number = len(self.script.steps)
        while number > 0:
            number -= 1
            steps = self.script.steps
            if number < len(steps) > 1:
                self._keep(replace(self.script, steps=(*steps[:number], *steps[number + 1 :])))

    def _steady(self) -> None:
        """Let one part of the world stay as it was, or be from the start as it will be."""
        for way in (self._as_before, self._as_after):
            number = len(self.script.steps)
            while number > 0:
                number -= 1
                for trial in way(number):
                    if _changes(trial.steps) < _changes(self.script.steps):
                        self._keep(trial)

    def _as_before(self, number: int) -> Iterator[Script]:
        yield from self._copied(number, number - 1)

    def _as_after(self, number: int) -> Iterator[Script]:
        yield from self._copied(number, number + 1)

    def _copied(self, to: int, source: int) -> Iterator[Script]:
        """One part of one step as in its neighbour; one trial for each part that differs."""
        for part in range(len(self._groups) + len(self.script.steps[0].lines) + 2):
            steps = self.script.steps
            if not (0 <= source < len(steps) and to < len(steps)):
                return
            step = self._with_part(steps[to], steps[source], part)
            if step != steps[to]:
                yield replace(self.script, steps=(*steps[:to], step, *steps[to + 1 :]))

    def _with_part(self, step: Step, other: Step, part: int) -> Step:
        if part < len(self._groups):
            names = self._groups[part]
            return replace(
                step,
                truth=_with(step.truth, other.truth, names),
                readings=_with(step.readings, other.readings, names),
            )
        part -= len(self._groups)
        if part < len(step.lines):
            name = list(step.lines)[part]
            return replace(step, lines={**step.lines, name: other.lines[name]})
        return replace(step, arisen=other.arisen) if part == len(step.lines) else replace(step, cycles=())

    def _shorten(self) -> None:
        """Each step as short as it can be, the others as they are."""
        for number in range(len(self.script.steps)):
            if number >= len(self.script.steps):
                return
            short, enough = 0, self.script.steps[number].scans
            while enough - short > 1 and number < len(self.script.steps):
                trial = 1 if short == 0 else (short + enough) // 2
                steps = self.script.steps
                if self._keep(
                    replace(
                        self.script, steps=(*steps[:number], replace(steps[number], scans=trial), *steps[number + 1 :])
                    )
                ):
                    enough = trial
                else:
                    short = trial


def _with(values: Mapping[str, int], other: Mapping[str, int], names: tuple[str, ...]) -> dict[str, int]:
    return {name: other[name] if name in names else value for name, value in values.items()}


def _joined(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """Steps of one and the same world as one."""
    joined: list[Step] = []
    for step in steps:
        if joined and not step.cycles and joined[-1].alike(step):
            joined[-1] = replace(joined[-1], scans=joined[-1].scans + step.scans)
        else:
            joined.append(step)
    return tuple(joined)


def _changes(steps: tuple[Step, ...]) -> int:
    """How many values, lines and faults change, and units are cycled."""
    count = sum(len(step.cycles) for step in steps)
    for before, step in pairwise(steps):
        for table in ("truth", "readings", "lines"):
            old, new = getattr(before, table), getattr(step, table)
            count += sum(old[name] != new[name] for name in new)
        count += len(set(before.arisen) ^ set(step.arisen))
    return count


def _size(script: Script) -> tuple[int, int, int, int]:
    return len(script.plan.faults), len(script.steps), _changes(script.steps), script.scans
