"""What a counterexample of `prove` is turned into: a case of the scheme, a timing diagram."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from interlock.explain.trace import Moment, moments, names_that_matter
from interlock.proof.prove import Verdict
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import LineForm, Must

NO_CASE = "    no case of the scheme can bring this about: a case gives no truth, and resets only as presses\n"
MOST_CYCLES = 20  # power cycles that a case still spells out one by one


def case_text(scheme: Scheme, verdict: Verdict, faults: tuple[Fault, ...]) -> str:
    """The counterexample as a case to be put under `cases:`, run before it is shown; "" where it can't be one."""
    from interlock.fuzz.as_case import case_of
    from interlock.fuzz.faults import Plan
    from interlock.fuzz.script import Script, Step

    external = [name for name, line in scheme.lines.items() if line.form is LineForm.EXTERNAL]
    plan = Plan.of(scheme, faults)

    def steps(moment: Moment) -> Iterator[Step]:
        world = moment.world
        arisen = tuple(name for name, rising in plan.arising.items() if rising <= world.faults)
        step = Step(
            truth={},  # a case gives readings only
            readings=world.readings,
            lines={name: world.lines.get(name, False) for name in external},
            arisen=arisen,
            cycles=tuple(sorted(world.cycles)),
            scans=moment.scans,
        )
        yield from (replace(step, scans=1) for _ in range(moment.scans)) if world.cycles else (step,)

    parts = moments(verdict.trace)
    cycles = sum(m.scans for m in parts if m.world.cycles)
    fine = any(isinstance(value, Fraction) for m in parts for value in m.world.readings.values())
    if fine or cycles > MOST_CYCLES:
        return ""
    script = Script(plan, tuple(step for moment in parts for step in steps(moment)))
    case = case_of(scheme, verdict.claim, script, f"{verdict.claim.name}, refuted")
    return case.text if case else ""


def drawn_to(scheme: Scheme, found: list[Verdict], faults: tuple[Fault, ...], folder: Path) -> list[str]:
    """A timing diagram of each counterexample."""
    from interlock.draw.history import history, replayed
    from interlock.draw.timing import draw_timing
    from interlock.proof.system import FaultPlan

    files = []
    installed = FaultPlan.of(faults).installed
    for verdict in found:
        if not verdict.trace:
            continue
        claim = verdict.claim
        attended = claim.must is Must.NEVER_STOPPED and claim.attended
        run = [(m.world, m.truth, m.scans) for m in moments(verdict.trace)]
        segments = history(scheme, replayed(scheme, run, installed, attended=attended))
        name = "refuted_" + claim.name.replace("/", "_")
        shown = names_that_matter(scheme, claim) | {claim.path}
        shown |= {r.name for r in scheme.rules.values() if any(t.path == claim.path for t in r.blocks)}
        for drawing in draw_timing(
            scheme, segments, name=name, title=f"Refuted: {claim.name}", always=shown, exactly=True
        ):
            folder.mkdir(parents=True, exist_ok=True)
            (folder / f"{drawing.name}.svg").write_text(str(drawing.svg), encoding="utf-8")
            files.append(str(folder / f"{drawing.name}.svg"))
    return files
