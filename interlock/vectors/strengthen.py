"""Vectors made stronger: what kills a mutant that they do not is spliced into a wait of theirs, put at the end of a
run, or, where neither will do, a run of its own.

Only the end of a mutant's history matters where a run already is where that end begins. It is tried at many moments of
each run, on the inputs that the mutated rule depends on and on all, by the two compiled programs side by side; and
taken where nothing that was shown or killed is lost by it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from interlock.export.unit import UnitCode
from interlock.logic.compiled import scan_function
from interlock.logic.lower import compile_scheme
from interlock.logic.mutants import Mutant
from interlock.logic.program import Observe, Program
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.words import Signal
from interlock.vectors.alone import Stretch, expected
from interlock.vectors.generate import shown_by
from interlock.vectors.record import Run, Start, Vector
from interlock.vectors.score import Fate, Players, Scored, in_order_of, kills, played, skipped_on

MOMENTS = 80  # of a run at which the end of a history is tried
ENDS = 6  # the last so many values of a history, from the last alone on
PLACES = 3  # of a run for each end
FOLLOWED = 30  # stretches after what is spliced in
HELD = 2  # scans longer than a delay
LOOKED_AT = 8  # candidates of one history that are weighed against all that was shown and killed
AFTER = 3  # scans of a run after what is put at its end


def strengthened(
    code: UnitCode,
    runs: Sequence[Run],
    fates: Sequence[Scored],
    progress: Callable[[str], None] = lambda _: None,
    most: int = 0,
) -> tuple[tuple[Run, ...], list[Scored]]:
    """The runs, changed so that they kill what they did not, and the fates with them. What can't be spliced into a run
    is put at the end of one that stays no longer than `most` scans by it (0: none), else it is a run more."""
    now, found = list(runs), list(fates)
    for number, one in enumerate(fates):
        if found[number].fate is not Fate.SURVIVED or not one.history:
            continue
        progress(f"vectors for {one.mutant.what}")
        spliced = _spliced(code, now, one, found, most)
        if spliced is not None:
            now, since = spliced
        elif (more := _with_one_more(code, now, one)) is not None:
            now, since = more, (len(now), 0)
        else:
            continue
        players = Players.of(now)
        for i, other in enumerate(found):
            open_one = other.fate is Fate.SURVIVED or (other.fate is Fate.KILLED and _may_change(other, since))
            if open_one and (at := kills(code, other.mutant, now, players)):
                found[i] = replace(other, fate=Fate.KILLED, at=at)
    return tuple(now), found


def _may_change(one: Scored, since: tuple[int, int]) -> bool:
    """Whether a mutant was killed in a run only after a scan, or in a run after that one."""
    return one.at is None or one.at >= since


def _with_one_more(code: UnitCode, runs: Sequence[Run], one: Scored) -> list[Run] | None:
    """A run more, the history itself in whole steps of what the unit reads."""
    for up in (False, True):
        told = [in_steps(code, stretch, up=up) for stretch in one.history]
        run = expected(code.scheme, code.unit, code.told, told)
        if kills(code, one.mutant, [run]) is not None:
            return [*runs, run]
    return None


@dataclass(frozen=True, slots=True)
class _Splice:
    """Stretches in the place of a run's scans from `at` to `end`; at its end where that is where they begin."""

    number: int  # of the run
    at: int
    end: int
    given: tuple[Stretch, ...]

    @property
    def longer(self) -> int:
        """By how many scans the run gets longer."""
        return sum(stretch.scans for stretch in self.given) - (self.end - self.at)


def _spliced(
    code: UnitCode, runs: Sequence[Run], one: Scored, fates: Sequence[Scored], most: int
) -> tuple[list[Run], tuple[int, int]] | None:
    """The runs with the end of a mutant's history in one of them, and the run and scan from which on they differ; None
    where no way was found."""
    killed = [f for f in fates if f.fate is Fate.KILLED]
    shown = shown_by(code, runs)

    def weighed(splice: _Splice) -> tuple[list[Run], tuple[int, int]] | None:
        since = splice.number, splice.at
        changed = list(runs)
        changed[splice.number] = _with(code, runs[splice.number], splice)
        players = Players.of(changed)
        if kills(code, one.mutant, changed, players) is None or not shown <= shown_by(code, changed):
            return None
        again = (f for f in killed if _may_change(f, since))
        return (changed, since) if all(kills(code, f.mutant, changed, players) for f in again) else None

    longer, looked_at = list[_Splice](), 0
    for splice in _candidates(code, runs, one, most):
        if splice.longer:
            longer.append(splice)
        elif looked_at < LOOKED_AT:
            looked_at += 1
            if (better := weighed(splice)) is not None:
                return better
        else:
            break
    for splice in sorted(longer, key=lambda s: s.longer)[:LOOKED_AT]:
        if (better := weighed(splice)) is not None:
            return better
    return None


def _candidates(code: UnitCode, runs: Sequence[Run], one: Scored, most: int) -> Iterator[_Splice]:
    """Ends of a history at moments of runs at which the mutant would tell something else by them."""
    for number, run in enumerate(runs):
        race, ends = _Race(code, one.mutant, run), len(run.vectors)
        for inputs in (_seen_by(code.scheme, one.mutant.rule), None):
            for end in _ends(code, one):
                scans, found = sum(stretch.scans for stretch in end), 0
                for at in race.moments:
                    if at + scans + AFTER <= ends:
                        given = tuple(_over(run, at, end, inputs))
                        if race.differs(at, given, at + scans):
                            yield _Splice(number, at, at + scans, given)
                            found += 1
                            if found == PLACES:
                                break
                given = tuple(_at_end(run, end, inputs))
                if most and ends + scans + AFTER <= most and race.differs(ends, given, ends):
                    yield _Splice(number, ends, ends, given)


def _ends(code: UnitCode, one: Scored) -> Iterator[list[Stretch]]:
    """What a history ends with, from its last value alone on, in steps of what the unit reads; also with the first of
    these values held no longer than the mutated rule's delays take, where the run has waited before."""
    rule = code.scheme.rules.get(one.mutant.rule)
    delays = {d for t in (rule.trips, rule.clears) for d in (t.delay.scans,)} if rule else set[int]()
    seen = set[tuple[tuple[object, ...], ...]]()
    for last in range(1, min(ENDS, len(one.history)) + 1):
        for up in (False, True):
            end = [in_steps(code, stretch, up=up) for stretch in one.history[-last:]]
            for held in (end[0].scans, *sorted(d + HELD for d in delays if d + HELD < end[0].scans)):
                cut = [replace(end[0], scans=held), *end[1:]]
                key = tuple((tuple(x.readings.items()), tuple(x.lines.items()), x.scans, x.start) for x in cut)
                if key not in seen:
                    seen.add(key)
                    yield cut


def _seen_by(scheme: Scheme, rule: str) -> frozenset[str] | None:
    """The sensors and lines that a rule depends on, through whatever rules it watches; None for all."""
    found, name = set[str](), rule
    while name in scheme.rules:
        mine = scheme.rules[name]
        found |= {mine.reset_by, mine.overridden_by, *(c.name for c in mine.only_while if c.signal is Signal.LINE)}
        found |= set(scheme.readings[mine.watched].sensors) if mine.watches is Signal.READING else {mine.watched}
        name = mine.watched if mine.watches is Signal.RULE else ""
    return frozenset(found) if found else None


def _over(run: Run, at: int, end: Sequence[Stretch], inputs: frozenset[str] | None) -> Iterator[Stretch]:
    """Stretches over what a run gives from a scan on; of those inputs only, all others as they are in the run."""
    for stretch in end:
        for vector, scans in played(Run(run.vectors[at : at + stretch.scans])):
            yield _merged(vector, stretch, scans, inputs)
        at += stretch.scans


def _at_end(run: Run, end: Sequence[Stretch], inputs: frozenset[str] | None) -> Iterator[Stretch]:
    for stretch in end:
        yield replace(_merged(run.vectors[-1], stretch, stretch.scans, inputs), start=None)


def _merged(vector: Vector, stretch: Stretch, scans: int, inputs: frozenset[str] | None) -> Stretch:
    start = Start.POWER_CYCLE if stretch.start is Start.POWER_CYCLE else vector.start
    if inputs is None:
        return Stretch({**vector.readings, **stretch.readings}, {**vector.lines, **stretch.lines}, scans, start)
    readings = {n: stretch.readings.get(n, v) if n in inputs else v for n, v in vector.readings.items()}
    lines = {n: stretch.lines.get(n, v) if n in inputs else v for n, v in vector.lines.items()}
    return Stretch(readings, lines, scans, start)


def _with(code: UnitCode, run: Run, splice: _Splice) -> Run:
    """A run with a splice, and what the readable engine answers to it."""
    before, after = Run(run.vectors[: splice.at]), Run(run.vectors[splice.end :])
    given = [*_as_stretches(before), *splice.given, *_as_stretches(after)]
    return expected(code.scheme, code.unit, code.told, given)


def _as_stretches(run: Run) -> list[Stretch]:
    return [Stretch(dict(v.readings), dict(v.lines), scans, v.start, v.aims) for v, scans in played(run)]


class _Race:
    """A unit's program and a mutant's, which a run does not tell apart, side by side from any moment of the run."""

    def __init__(self, code: UnitCode, mutant: Mutant, run: Run) -> None:
        self.code, self.run = code, run
        self.sides = [
            _Side(code.scheme, compile_scheme(scheme, cycles=True, unit=code.unit))
            for scheme in (code.scheme, mutant.scheme)
        ]
        self._stretches = _as_stretches(run)
        starts, states, at = [0], [tuple(side.program.initial for side in self.sides)], 0
        for stretch in self._stretches:
            after = tuple(s.run(state, stretch)[0] for s, state in zip(self.sides, states[-1], strict=True))
            at += stretch.scans
            starts.append(at)
            states.append(after)
        self._starts = starts
        self._at = dict(zip(starts, states, strict=True))
        every = starts[1:]
        self.moments = every if len(every) <= MOMENTS else [every[i * len(every) // MOMENTS] for i in range(MOMENTS)]

    def _after(self, scan: int) -> int:
        """The first stretch that begins at a scan or after it."""
        return bisect_left(self._starts, scan)

    def differs(self, at: int, given: Sequence[Stretch], end: int) -> bool:
        """Whether the two tell something else by these stretches from one of the moments on, or soon after them."""
        states = list(self._at[at])
        for stretch in (*given, *self._stretches[self._after(end) :][:FOLLOWED]):
            told = []
            for i, side in enumerate(self.sides):
                states[i], seen = side.run(states[i], stretch)
                told.append(seen)
            if told[0] != told[1]:
                return True
        return False


class _Side:
    """One program, run stretch by stretch."""

    def __init__(self, scheme: Scheme, program: Program) -> None:
        self.scheme, self.program, self.scan = scheme, program, scan_function.__wrapped__(program)
        self.names = tuple((i.kind, i.name) for i in program.inputs)
        self.told = [
            (str(o.kind), o.name, n)
            for n, o in enumerate(program.observations)
            if o.kind in (Observe.ENERGISED, Observe.LINE, Observe.ALARM)
        ]

    def run(self, state: tuple[int, ...], stretch: Stretch) -> tuple[tuple[int, ...], list[object]]:
        """The state after a stretch, and what changes of what is told in it, with the scan."""
        given = in_order_of(self.scheme, self.names, stretch.readings, stretch.lines, stretch.start)
        left, told, last = stretch.scans, list[object](), None
        while left:
            before = state
            state, seen = self.scan(before, given)
            tells = frozenset((kind, name) for kind, name, n in self.told if seen[n])
            if tells != last:
                told.append((left, tells))
                last = tells
            left -= 1
            if left and stretch.start is None:
                state, skipped = skipped_on(self.program, before, state, left)
                left -= skipped
            elif left:
                stretch = replace(stretch, start=None)
                given = in_order_of(self.scheme, self.names, stretch.readings, stretch.lines, None)
        return state, told


def in_steps(code: UnitCode, stretch: Stretch, *, up: bool) -> Stretch:
    """Readings as the unit can read them: whole steps, up or down."""
    steps = {name: code.steps.of.get(name, 1) for name in stretch.readings}
    readings = {
        name: value if value is None else (value + (steps[name] - 1 if up else 0)) // steps[name] * steps[name]
        for name, value in stretch.readings.items()
    }
    return replace(stretch, readings=readings)
