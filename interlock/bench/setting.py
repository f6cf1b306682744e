"""Where the bench begins, and the scheme's cases as scripts that the page can play."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.bench.quick import Quick
from interlock.bench.tables import Plain
from interlock.logic.cases import CaseRun
from interlock.logic.compiled import inputs_of
from interlock.logic.program import Program
from interlock.logic.scan import World
from interlock.plan.stimuli import Stimuli
from interlock.scheme.model import Case, Fault, Scheme

LONGEST_US = 6 * 3_600_000_000  # a setting that has not come to rest by then is taken as it is
PRESSES = 3  # a reset may uncover another rule that waits for the same button


def rest_world(scheme: Scheme) -> World:
    """Readings and lines with which as many rules as can be let go."""
    stimuli = Stimuli(scheme)
    given = stimuli.applied(stimuli.rest)
    return World(
        {name: one.value for name, one in zip(scheme.sensors, given, strict=True)},
        dict(zip(stimuli.external, stimuli.rest.lines, strict=True)),
    )


def resets(scheme: Scheme) -> tuple[str, ...]:
    """The buttons by which manual rules are reset."""
    return tuple(dict.fromkeys(r.reset_by for r in scheme.rules.values() if r.manual and r.reset_by))


def way_to_rest(scheme: Scheme, program: Program) -> tuple[Quick, World, int]:
    """A healthy installation powered up, left alone until nothing changes, its resets given; what it was given; and
    for how many scans it ran."""
    world, most = rest_world(scheme), LONGEST_US // scheme.scan_us
    given = inputs_of(program, world)
    pressed = inputs_of(program, World(world.readings, {**world.lines, **dict.fromkeys(resets(scheme), True)}))
    run = Quick(program)
    scans = run.settle(given, most)
    for _ in range(PRESSES):
        before = run.state
        run.wait(pressed, 1)
        scans += 1 + run.settle(given, most)
        if run.state == before:
            break
    return run, world, scans


def at_rest(scheme: Scheme, program: Program) -> Plain:
    """The slots at rest and what the installation is given there."""
    run, world, scans = way_to_rest(scheme, program)
    return {
        "slots": [int(value) for value in run.state],
        "readings": dict(world.readings),
        "lines": {name: bool(on) for name, on in world.lines.items()},
        "scans": scans,
    }


def scripts(scheme: Scheme, faults: Iterable[Fault]) -> list[Plain]:
    """Each case from power-up, step by step: what is given from which scan on, and how long the step lasts. Without
    cases that need another fault than these."""
    known = {fault.name for fault in faults}
    return [
        {"name": case.name, "steps": _script(scheme, case)}
        for case in scheme.cases
        if all(fault.name in known for step in case.steps for fault in step.faults)
    ]


def _script(scheme: Scheme, case: Case) -> list[Plain]:
    run = CaseRun(scheme, case)
    found: list[Plain] = []
    for step in case.steps:
        parts = run.worlds(step)
        found.append(
            {
                "parts": [
                    {
                        "readings": dict(world.readings),
                        "lines": dict(world.lines),
                        "pressed": list(step.presses) if part == 0 else [],
                        "faults": sorted(fault.name for fault in world.faults),
                        "cycles": sorted(world.cycles),
                        "scans": scans,
                    }
                    for part, (world, scans) in enumerate(parts)
                ],
                "note": step.note,
            }
        )
    return found
