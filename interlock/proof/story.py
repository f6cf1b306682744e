"""A real run as worlds: truths and readings for every scan, replayed on the readable engine before anyone sees them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import cast

from msgspec import Struct

from interlock.logic.faultset import FaultSet
from interlock.logic.readings import compare
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches as hold
from interlock.proof.bounds import SCALE, Bounds
from interlock.proof.cells import Group
from interlock.proof.goal import Goal, Moves, Resets
from interlock.proof.replay import Choice, Run
from interlock.proof.system import NOT_STUCK, System
from interlock.scheme.model import Condition, Fault, Limit, Scheme, SensorError
from interlock.scheme.words import Mode, Signal

Value = int | Fraction


class Stretch(Struct, frozen=True):
    """The same world for a number of scans. `truth`: each quantity's value in millionths, `readings` in the world being
    instruments' elements before faults. `bad`: whether the claim's bad scans are these. `last`: what its last scan came
    to, on the readable engine."""

    world: World
    truth: Mapping[str, Value]
    scans: int
    bad: bool
    last: Seen | None = None


class UnrealError(AssertionError):
    """A run found by the search does not replay on the readable engine: a fault of the prover, never of a scheme."""


def stretches(full: System, run: Run, wanted: int) -> tuple[Stretch, ...]:
    """The run's worlds, cut off once its last row of bad scans is `wanted` long."""
    teller = _Teller(full, run)
    found: list[Stretch] = []
    played = run.played
    tail = 0
    cut = len(played)
    while cut > 0 and played[cut - 1].bad:
        cut -= 1
    left = wanted
    for k, p in enumerate(played):
        scans = p.scans
        if k >= cut:
            scans = min(scans, left)
            left -= scans
            if scans == 0:
                break
            tail += scans
        # what arises, arises once: the first scan of a stretch is its own
        if p.choice.onset and scans > 1:  # pragma: no cover - onsets are played one scan at a time
            raise UnrealError("an onset over several scans")
        world, truth = teller.world(p.choice)
        found.append(Stretch(world, truth, scans, p.bad))
    return tuple(found)


class _Teller:
    def __init__(self, full: System, run: Run) -> None:
        self.full, self.scheme = full, full.index.scheme
        self.stuck: dict[str, int] = {}  # scaled values
        self._will_stick = _values(full, run) if full.pairs else {}
        self._errors: dict[tuple[Mode, str], tuple[SensorError, ...]] = {}
        for fault in (*full.plan.installed, *(f for g in full.plan.service for f in g)):
            if fault.mode in (Mode.DRIFTED, Mode.MISPLACED):
                self._errors.update({(fault.mode, p): fault.error for p in fault.parts})
        self._known: dict[int, tuple[Choice, World, Mapping[str, Value]]] = {}

    def world(self, choice: Choice) -> tuple[World, Mapping[str, Value]]:
        known = self._known.get(id(choice))
        if known is not None and not choice.onset:
            return known[1], known[2]
        config = self.full.configs[choice.config]
        faults = self.full.fault_sets[config.arisen]
        present = frozenset(f for i, g in enumerate(self.full.plan.service) if config.arisen >> i & 1 for f in g)
        truth: dict[str, Value] = {}
        readings: dict[str, Value] = {}
        for group, bounds in choice.solutions:
            work = bounds.copy()
            sticks = {self.full.sensors[i] for i in choice.onset}
            for name, value in (self.stuck | {n: v for n, v in self._will_stick.items() if n in sticks}).items():
                v = group.place.get(("element", name))
                if v is not None and not (work.add(v, 0, value) and work.add(0, v, -value)):
                    raise UnrealError(f"{name} can't keep the value it stuck at")
            self._solve(group, work, truth, readings)
        self._fill(truth, readings, faults)
        for i in choice.onset:
            name = self.full.sensors[i]
            self.stuck[name] = int(readings[name] * SCALE)
        circuit = self.full.circuits[config.arisen]
        inputs = dict(zip(self.full.compiled(config.arisen).inputs, choice.x, strict=True))
        lines = {k[1]: bool(inputs[n]) for k, n in circuit.bools.items() if k[0] == "line"}
        cycles = frozenset(k[1] for k, n in circuit.bools.items() if k[0] == "cycle" and inputs[n])
        world = World(cast("Mapping[str, int]", readings), lines, present, cycles)
        if not choice.onset:
            self._known[id(choice)] = (choice, world, truth)
        return world, truth

    def _solve(self, group: Group, bounds: Bounds, truth: dict[str, Value], readings: dict[str, Value]) -> None:
        values = whole_solution(bounds)
        for (kind, name), i in group.place.items():
            (truth if kind == "quantity" else readings)[name] = values[i]

    def _fill(self, truth: dict[str, Value], readings: dict[str, Value], faults: FaultSet) -> None:
        """Truths and readings the claim does not look at."""
        index = self.full.index
        for component, members in enumerate(index.members):
            if members[0] not in truth:
                values = whole_solution(index.truth(component))
                truth.update({q: values[i + 1] for i, q in enumerate(members)})
        for sensor in self.scheme.sensors.values():
            if sensor.name in readings:
                continue
            error = {e.quantity: e for e in sensor.measures}
            for mode in (Mode.MISPLACED, Mode.DRIFTED):
                if faults.has(mode, sensor.name):
                    error |= {e.quantity: e for e in self._errors[mode, sensor.name]}
            low = max(truth[e.quantity] + e.interval.low for e in error.values())
            high = min(truth[e.quantity] + e.interval.high for e in error.values())
            middle = (low + high) // 2
            readings[sensor.name] = middle if low <= middle <= high else low


def _values(full: System, run: Run) -> dict[str, int]:
    """Where several sensors stick, the value of the first must leave the others theirs: all chosen beforehand."""
    status, apart = [NOT_STUCK] * len(full.sensors), [NOT_STUCK] * len(full.pairs)
    for played in run.played:
        config = full.configs[played.choice.config]
        status = [now if now >= 0 else was for was, now in zip(status, config.stuck, strict=True)]
        apart = [now if now >= 0 else was for was, now in zip(apart, config.apart, strict=True)]
    bounds = full.values(status, apart)
    assert bounds is not None
    values = whole_solution(bounds)
    return {name: int(values[i + 1] * SCALE) for i, name in enumerate(full.sensors) if status[i] >= 0}


def whole_solution(bounds: Bounds) -> Sequence[Value]:
    """A solution in whole millionths where there is one, else in fractions of them."""
    size = bounds.size
    whole = Bounds(size)
    if not bounds.sums and all(
        whole.add(i, j, bounds.cells[i * size + j] // SCALE) for i in range(size) for j in range(size) if i != j
    ):
        return whole.solution()
    return [Fraction(x, SCALE) for x in bounds.solution()]


def confirmed(
    scheme: Scheme, goal: Goal, installed: frozenset[Fault], story: Sequence[Stretch], wanted: int
) -> tuple[Stretch, ...]:
    """The story with what each stretch came to. Raises UnrealError where it does not end with that many bad scans."""
    row = 0
    found: list[Stretch] = []
    engine = Engine(scheme, installed, attended=goal.resets is Resets.GIVEN)
    for stretch in story:
        seen: Seen | None = None
        for seen, scans in _scans(engine, stretch):
            row = row + scans if is_bad(goal, stretch.truth, seen) else 0
        if seen is not None:
            found.append(_with(stretch, seen))
    if row < wanted:
        raise UnrealError(f"a run of {wanted} bad scans has only {row} on the readable engine")
    return tuple(found)


def _scans(engine: Engine, stretch: Stretch) -> Iterator[tuple[Seen, int]]:
    """What a stretch came to, with the number of scans for each: scan by scan only where something changes."""
    if stretch.world.cycles:
        return ((engine.scan(stretch.world), 1) for _ in range(stretch.scans))
    return hold(engine, stretch.world, stretch.scans)


def _with(stretch: Stretch, seen: Seen) -> Stretch:
    return Stretch(stretch.world, stretch.truth, stretch.scans, stretch.bad, seen)


def is_bad(goal: Goal, truth: Mapping[str, Value], seen: Seen) -> bool:
    """Whether a scan counts for a goal."""

    def holds(c: Condition) -> bool:
        if c.signal is Signal.QUANTITY:
            assert isinstance(c.test, Limit)
            return compare(truth[c.name], c.test)
        if c.signal is Signal.LINE:
            return seen.lines[c.name] is c.test
        return seen.may_run[c.name] if c.test else seen.may_stop[c.name]

    able = {
        Moves.RUN: seen.may_run[goal.path],
        Moves.STOP: seen.may_stop[goal.path],
        Moves.ANYTHING: True,
    }[goal.moves]
    return (
        able
        and all(map(holds, goal.conditions))
        and (not goal.any_of or any(all(map(holds, alternative)) for alternative in goal.any_of))
    )
