"""What happened in a run, in segments in which nothing seen changes: the stuff of timing diagrams."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from interlock.draw.said import listed, said
from interlock.logic.cases import CaseRun
from interlock.logic.readings import Value
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.records import replace
from interlock.scheme.model import Case, Fault, Scheme
from interlock.scheme.words import State


@dataclass(frozen=True, slots=True)
class Mark:
    """A step of a case: its number, and what a person did at its start."""

    number: int
    done: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """`step 2: reset pressed`."""
        if self.done:
            return said("step {number}: {done}", number=self.number, done=listed(self.done))
        return said("step {number}", number=self.number)


@dataclass(frozen=True, slots=True)
class Segment:
    """A while in which nothing changes but timers. `marks`: the steps of a case that begin with it."""

    first: int
    scans: int
    readings: Mapping[str, Value]
    lines: Mapping[str, bool]
    states: Mapping[str, State]
    running: Mapping[str, bool | None]
    marks: tuple[Mark, ...] = ()


Lasting = tuple[
    World, Seen, int, tuple[Mark, ...]
]  # what was given, seen, for how many scans, and the marks at its start


def history(scheme: Scheme, run: Iterable[Lasting]) -> tuple[Segment, ...]:
    """Segments from a run; neighbours in which the same is seen are joined."""
    segments: list[Segment] = []
    at = 0
    for _, seen, scans, marks in run:
        states = {name: state for name, (state, _) in seen.states.items()}
        running = {path: seen.running(path) for path in scheme.paths}
        segments.append(Segment(at, scans, dict(seen.readings), dict(seen.lines), states, running, marks))
        at += scans
    return _joined(segments)


def _seen(
    s: Segment,
) -> tuple[Mapping[str, Value], Mapping[str, bool], Mapping[str, State], Mapping[str, bool | None]]:
    return s.readings, s.lines, s.states, s.running


def _joined(segments: Iterable[Segment]) -> tuple[Segment, ...]:
    """Neighbours in which the same is seen as one, unless a mark stands between them."""
    joined: list[Segment] = []
    for segment in segments:
        if joined and not segment.marks and _seen(joined[-1]) == _seen(segment):
            joined[-1] = replace(joined[-1], scans=joined[-1].scans + segment.scans)
        else:
            joined.append(segment)
    return tuple(joined)


def worth_showing(segments: Sequence[Segment], always: Collection[str] = ()) -> set[str]:
    """The names that change once the first step is over (what only settles at power-up is left out), and `always`."""
    settled = next((i for i, s in enumerate(segments) if i and s.marks), 1)
    later = segments[max(0, settled - 1) :]
    shown = set(always)
    for i, table in enumerate(_seen(segments[0]) if segments else ()):
        shown |= {name for name in table if len({repr(_seen(s)[i].get(name)) for s in later}) > 1}
    return shown


def only(segments: Sequence[Segment], names: Collection[str]) -> tuple[Segment, ...]:
    """The same run with nothing but these names in it; neighbours that then look alike are joined."""
    return _joined(
        replace(
            s,
            readings={n: v for n, v in s.readings.items() if n in names},
            lines={n: v for n, v in s.lines.items() if n in names},
            states={n: v for n, v in s.states.items() if n in names},
            running={n: v for n, v in s.running.items() if n in names},
        )
        for s in segments
    )


def case_history(scheme: Scheme, case: Case) -> tuple[Segment, ...]:
    """A case run from power-up, with a mark at each step."""
    return history(scheme, _case_run(scheme, case))


def replayed(
    scheme: Scheme,
    run: Iterable[tuple[World, Mapping[str, int | Fraction], int]],
    installed: Iterable[Fault] = (),
    *,
    attended: bool = False,
) -> Iterator[Lasting]:
    """A trace run again on the readable engine; the truth is seen beside the readings."""
    engine = Engine(scheme, installed, attended=attended)
    for world, truth, scans in run:
        for seen, lasted in _lasting(engine, world, scans):
            yield world, replace(seen, readings={**truth, **seen.readings}), lasted, ()


def _lasting(engine: Engine, world: World, scans: int) -> Iterator[tuple[Seen, int]]:
    """A world that cycles a unit does so at each of its scans; any other may be run in stretches."""
    if world.cycles:
        for _ in range(scans):
            yield engine.scan(world), 1
    else:
        yield from stretches(engine, world, scans)


def _case_run(scheme: Scheme, case: Case) -> Iterator[Lasting]:
    run = CaseRun(scheme, case)
    engine = run.engine()
    for number, step in enumerate(case.steps, 1):
        done = [said("{button} pressed", button=name) for name in step.presses]
        done += [said("{fault} arises", fault=fault.name) for fault in step.faults]
        done += [said("{fault} mended", fault=fault.name) for fault in step.repairs]
        marks: tuple[Mark, ...] = (Mark(number, tuple(done)),)
        for world, scans in run.worlds(step):
            for seen, lasted in stretches(engine, world, scans):
                yield world, seen, lasted, marks
                marks = ()
