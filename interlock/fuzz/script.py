"""A behaviour as data, and its run on the readable engine."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.fuzz.faults import Plan
from interlock.fuzz.judge import Judge, Resets, engine_for
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.scheme.model import Scheme


@dataclass(frozen=True, slots=True)
class Step:
    """`scans` scans of one world. `arisen`: the faults there, by name; `cycles`: units cycled at its first scan."""

    truth: Mapping[str, int]
    readings: Mapping[str, int]  # of each sensor's element, before open, shorted or stuck
    lines: Mapping[str, bool]  # every external line
    arisen: tuple[str, ...] = ()
    cycles: tuple[str, ...] = ()
    scans: int = 1

    def world(self, plan: Plan, *, cycles: bool = False) -> World:
        """What the engine is given at each scan; the power cycles belong to the first one only."""
        return World(self.readings, self.lines, plan.present(self.arisen), frozenset(self.cycles if cycles else ()))

    def alike(self, other: Step) -> bool:
        """The same world, whatever the time it lasts."""
        mine = (self.truth, self.readings, self.lines, self.arisen)
        return mine == (other.truth, other.readings, other.lines, other.arisen)


@dataclass(frozen=True, slots=True)
class Script:
    """A whole behaviour from power-up, under a fault set."""

    plan: Plan
    steps: tuple[Step, ...]

    @property
    def scans(self) -> int:
        """How long it takes."""
        return sum(step.scans for step in self.steps)


def stretches_of(engine: Engine, plan: Plan, step: Step, *, settle: bool = False) -> Iterator[tuple[Seen, int]]:
    """One step on the engine: what was seen and for how many scans each (see `stretches`)."""
    left = step.scans
    if step.cycles and left:
        yield engine.scan(step.world(plan, cycles=True)), 1
        left -= 1
    yield from stretches(engine, step.world(plan), left, settle=settle)


class ImpossibleError(AssertionError):
    """A behaviour that the world does not admit: a fault of the fuzzer."""


def admitted(scheme: Scheme, script: Script) -> None:
    """Hold a behaviour against the reference, section Truth and readings, value by value. Raises ImpossibleError."""
    arisen: set[str] = set()
    for number, step in enumerate(script.steps, 1):
        if not arisen <= set(step.arisen) <= set(script.plan.arising):
            raise ImpossibleError(f"step {number}: a fault goes again, or is none of the set")
        arisen = set(step.arisen)
        if not script.plan.may_cycle(step.arisen).issuperset(step.cycles):
            raise ImpossibleError(f"step {number}: no fault lets {', '.join(step.cycles)} power-cycle")
        for name, quantity in scheme.quantities.items():
            value = step.truth[name]
            low, high = quantity.at_least, quantity.at_most
            if (
                value not in quantity.span
                or (low and value < step.truth[low.other] + low.difference)
                or (high and value > step.truth[high.other] + high.difference)
            ):
                raise ImpossibleError(f"step {number}: {name} can't be {value}")
        errors = script.plan.errors(scheme, step.arisen)
        for name, sensor in scheme.sensors.items():
            if max(step.truth[e.quantity] + e.interval.low for e in sensor.measures) > min(
                step.truth[e.quantity] + e.interval.high for e in sensor.measures
            ):
                raise ImpossibleError(f"step {number}: {name} could not read such a truth in health")
            for error in errors[name]:
                if step.readings[name] - step.truth[error.quantity] not in error.interval:
                    raise ImpossibleError(f"step {number}: {name} can't read {step.readings[name]}")


@dataclass(frozen=True, slots=True)
class Breach:
    """Where a claim was violated in a run: the step from 0, and the scans done in it until then."""

    step: int
    scans: int


def replay(scheme: Scheme, script: Script, resets: Resets, judge: Judge, most: int) -> tuple[Breach | None, int]:
    """Run a behaviour before a judge until its claim is violated, and how many scans were really run; after `most` of
    them the rest is left."""
    engine = engine_for(scheme, script.plan.installed, resets)
    run = 0
    for number, step in enumerate(script.steps):
        done = 0
        for seen, lasted in stretches_of(engine, script.plan, step):
            missing = judge.missing
            judge.see(step.truth, seen, lasted)
            run += 1
            if judge.violated:
                return Breach(number, done + min(lasted, missing)), run
            if run >= most:
                return None, run
            done += lasted
    return None, run
