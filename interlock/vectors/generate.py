"""Vectors for a unit: the run that was planned, given to the readable engine, and what it shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.export.unit import UnitCode
from interlock.records import replace
from interlock.vectors.alone import Stretch, expected
from interlock.vectors.bound import Bound, bound
from interlock.vectors.decisions import Logic
from interlock.vectors.goals import Goal, GoalKind
from interlock.vectors.inputs import Given, Inputs, Lane
from interlock.vectors.mcdc import Form, shown
from interlock.vectors.planner import Planner
from interlock.vectors.reasons import Reason, Why, reasons
from interlock.vectors.record import Run, Start, Vector
from interlock.vectors.spine import spine
from interlock.vectors.stage import BETWEEN, LONG, Sought
from interlock.vectors.timeline import Track
from interlock.vectors.watch import Watcher

MOST = 19_999  # scans of a run: fewer than 20,000
FURTHER = 3  # runs at most, after the first
AFTER = 20  # scans after a power cycle at the end, so that something of it is told


@dataclass(frozen=True, slots=True)
class Vectors:
    """Runs of one unit, and what they show: the goals reached, those that were not, all in the scheme's order.

    `why`: the reason of each goal that was not; `bound`: no vectors for all goals take fewer scans; `forms`: how each
    condition of each decision is shown, by decision and condition, None where it is not; `interrupted`: someone broke
    the planning off, and these are the vectors that were planned by then."""

    runs: tuple[Run, ...]
    reached: tuple[Goal, ...]
    missed: tuple[Goal, ...]
    bound: Bound
    why: Mapping[Goal, Reason] = field(default_factory=dict)
    interrupted: bool = False
    forms: Mapping[tuple[str, str], Form | None] = field(default_factory=dict)

    @property
    def scans(self) -> int:
        """Scans in all runs."""
        return sum(len(run.vectors) for run in self.runs)

    def counts(self) -> dict[GoalKind, tuple[int, int]]:
        """For each kind of goal: how many were reached, of how many."""
        reached, missed = Counter(g.kind for g in self.reached), Counter(g.kind for g in self.missed)
        return {
            kind: (reached[kind], reached[kind] + missed[kind]) for kind in GoalKind if reached[kind] + missed[kind]
        }


def generate(code: UnitCode, *, most: int | None = None, progress: Callable[[str], None] = lambda _: None) -> Vectors:
    """Vectors for a unit, at most `most` scans; None: one run, and as many more as it takes to show what can be."""
    vectors = _first(code, MOST if most is None else min(most, MOST), progress)
    try:
        while not vectors.interrupted and (sought := _sought(vectors)) and len(vectors.runs) <= FURTHER:
            room = MOST if most is None else most - vectors.scans
            run = further_run(code, sought, room, progress)
            if run is None:
                break
            vectors = with_runs(code, vectors, (*vectors.runs, run))
    except KeyboardInterrupt:
        return replace(vectors, interrupted=True)
    return vectors


def _sought(vectors: Vectors) -> tuple[Goal, ...]:
    """What a further run is worth: goals that are not proved to be out of reach. Power cycles in states that take long
    to come to are none: no mistake in a delay, a limit or an effect shows there that shows nowhere else."""
    return tuple(
        goal
        for goal in vectors.missed
        if vectors.why[goal].why is not Why.PROVED and goal.kind is not GoalKind.POWER_CYCLE
    )


def further_run(code: UnitCode, goals: tuple[Goal, ...], room: int, progress: Callable[[str], None]) -> Run | None:
    """A run that shows as many of these goals as it can in so many scans; None where none was found. It is planned
    along the input that takes long; from rest where there is none, or where that shows nothing."""
    if room <= AFTER + 1:
        return None
    for along in (*_longest(code), None):
        planner = Planner(code, room - AFTER - 1, progress, Sought(goals, along))
        track = planner.plan()
        if planner.interrupted:
            raise KeyboardInterrupt
        if track.shown_within(room):
            scans = min(room, max(track.needed, max(track.plan.cycles, default=0) + AFTER))
            return expected(code.scheme, code.unit, code.told, stretches(code, track, scans))
    return None


def _longest(code: UnitCode) -> list[Lane]:
    """The lane of sensors whose delays take longest, where they take long enough for their order to matter."""
    longest = bound(code)
    return [lane for lane in Inputs(code).lanes if longest.watched in lane.sensors and longest.scans >= LONG]


def _spine(code: UnitCode, most: int) -> Lane | None:
    """The lane along which a whole run is planned: the one of which the delays fill most of the scans there may be, as
    far as its shortest way fits; None where none does."""
    for lane in _longest(code) if bound(code).scans > most / 2 else ():
        if sum(hold.scans + BETWEEN for hold in spine(Inputs(code), lane)) < most:
            return lane
    return None


def _first(code: UnitCode, most: int, progress: Callable[[str], None]) -> Vectors:
    room = most - AFTER - 1  # for what is told after a power cycle at the end
    planner = Planner(code, room, progress, Sought(None, _spine(code, room)))
    track = planner.plan()
    last = max(track.plan.cycles, default=0)
    scans = min(most, max(track.needed, last + AFTER))
    run = expected(code.scheme, code.unit, code.told, stretches(code, track, scans))
    bits = planner.watcher.bits
    reached = track.shown_within(scans)
    every = planner.goals.all
    missed = tuple(g for g in every if not reached & bits[g])
    over = {g: planner.over[g] for g in missed if g in planner.over}
    over |= {g: track.first(bits[g]) + 1 for g in missed if (track.shown | track.late) & bits[g]}
    why = dict.fromkeys(missed, Reason(Why.NOT_FOUND, "interrupted before all ways to it were tried"))
    interrupted = planner.interrupted
    if not interrupted:
        try:
            why = reasons(code, missed, over, progress, MOST)
        except KeyboardInterrupt:
            interrupted = True
    return Vectors(
        (run,),
        tuple(g for g in every if reached & bits[g]),
        missed,
        bound(code),
        why,
        interrupted,
        forms(planner, track, scans),
    )


def with_runs(code: UnitCode, vectors: Vectors, runs: Sequence[Run]) -> Vectors:
    """The same with these runs instead: what they show besides is counted too."""
    reached, held, watcher = _counted(code, runs)
    return replace(
        vectors,
        runs=tuple(runs),
        reached=tuple(g for g in watcher.goals.all if g in reached),
        missed=tuple(g for g in vectors.missed if g not in reached),
        forms=_forms(watcher.goals.logic, held),
    )


def shown_by(code: UnitCode, runs: Sequence[Run]) -> set[Goal]:
    """The goals that runs show, counted from their scans alone."""
    return _counted(code, runs)[0]


def _counted(code: UnitCode, runs: Sequence[Run]) -> tuple[set[Goal], dict[tuple[bool, ...], None], Watcher]:
    """The goals that runs show, and the conditions of all decisions as they were at any scan."""
    watcher = Watcher(code)
    shown_too, held = 0, dict[tuple[bool, ...], None]()
    for run in runs:
        at = watcher.first()
        for vector in run.vectors:
            given = given_of(code, vector)
            step = watcher.step(at, given, vector.start is Start.POWER_CYCLE)
            held[watcher.holds(at.slots, step.after.slots, given)] = None
            at, shown_too = step.after, shown_too | step.shown
    return {goal for goal, bit in watcher.bits.items() if shown_too & bit}, held, watcher


def given_of(code: UnitCode, vector: Vector) -> Given:
    """A vector's inputs in steps."""
    sensors = code.steps.scheme.sensors
    readings = [vector.readings[n] for n in code.sensors]
    return (
        *(
            sensors[n].valid.low - 1 if value is None else value // code.steps.of[n]
            for n, value in zip(code.sensors, readings, strict=True)
        ),
        *(int(vector.lines[n]) for n in code.lines),
    )


def stretches(code: UnitCode, track: Track, scans: int) -> list[Stretch]:
    """The first so many scans of a track as stretches of unchanging inputs."""
    inputs, steps = track.watcher.inputs, code.steps.of
    starts = [s for s in sorted({*track.events, *(c + 1 for c in track.plan.cycles)}) if s < scans]
    found = []
    for start, end in zip(starts, [*starts[1:], scans], strict=True):
        given = track.given(start)
        readings: dict[str, int | None] = {}
        for name in inputs.sensors:
            value = given[inputs.place[name]]
            readings[name] = value * steps[name] if value in inputs.scheme.sensors[name].valid else None
        lines = {name: bool(given[inputs.place[name]]) for name in inputs.lines}
        how = Start.FIRST if start == 0 else Start.POWER_CYCLE if start in track.plan.cycles else None
        says = track.plan.says.get(start, "")
        found.append(Stretch(readings, lines, end - start, how, (says,) if says else ()))
    return found


def forms(planner: Planner, track: Track, scans: int) -> dict[tuple[str, str], Form | None]:
    """How each condition of each decision is shown by the scans of a track; by decision and condition."""
    held, before = dict[tuple[bool, ...], None](), track.watcher.first().slots
    for entry in track.entries:
        if entry.scan < scans:
            held[planner.watcher.holds(before, entry.after.slots, track.given(entry.scan))] = None
        before = entry.after.slots
    return _forms(planner.goals.logic, held)


def _forms(logic: Logic, held: Iterable[tuple[bool, ...]]) -> dict[tuple[str, str], Form | None]:
    leaves = [str(leaf) for leaf in logic.leaves]
    seen = [dict(zip(leaves, truth, strict=True)) for truth in held]
    found: dict[tuple[str, str], Form | None] = {}
    for decision in logic.decisions:
        mine = [str(leaf) for leaf in decision.leaves]
        for name, form in shown(decision.logic, [{n: truth[n] for n in mine} for truth in seen]).items():
            found[decision.name, name] = form
    return found
