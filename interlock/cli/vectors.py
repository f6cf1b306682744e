"""`interlock vectors`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from interlock.cli.export import unit_of
from interlock.cli.opened import opened
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.written import write_all
from interlock.export.unit import UnitCode
from interlock.scheme.units import time_text
from interlock.vectors.generate import Vectors, generate
from interlock.vectors.goals import GoalKind
from interlock.vectors.record import json_lines

WORDS = {
    GoalKind.TRANSITION: "transitions of rule machines",
    GoalKind.LIMIT: "limits, the last safe and the first unsafe value",
    GoalKind.DELAY: "delays, to the scan",
    GoalKind.RESET: "resets: by an edge, not by a held button",
    GoalKind.OVERRIDE: "overrides: begun, run out, not before seen off",
    GoalKind.CONDITION: "conditions of rules, met and not",
    GoalKind.LOST: "lost readings",
    GoalKind.POWER_CYCLE: "power cycles of rules in a state",
}
assert set(WORDS) == set(GoalKind), set(GoalKind) - set(WORDS)


def vectors(file: Path, unit: str, to: Path | None, most: int, *, as_json: bool) -> int:
    """Make them, write them, tell what they show."""
    scheme = opened(file, as_json=as_json)
    code = unit_of(scheme, file, unit)
    made = made_for(code, most)
    if to is not None:
        try:
            write_all(to.parent, {to.name: "".join(json_lines(made.runs))})
        except OSError as error:
            sys.stderr.write(f"{to}: {error.strerror or error}\n")
            return Exit.BAD_INPUT
    if as_json:
        print_json(_json(code, made, to))
    else:
        tell(_told(code, made, to))
    return Exit.FINDING if made.missed else Exit.GOOD


def made_for(code: UnitCode, most: int) -> Vectors:
    """The unit's vectors, with progress on a terminal."""
    progress = Progress()
    made = generate(code, most=most, progress=progress.say)
    progress.done()
    return made


def _told(code: UnitCode, made: Vectors, to: Path | None) -> list[str]:
    lines = [
        f"{code.unit}: {count_text(made.scans, 'scan')} ({time_text(made.scans * code.scheme.scan_us)}) "
        f"in {count_text(len(made.runs), 'run')}" + (f", in {to}" if to else "; --to FILE keeps them")
    ]
    lines += [f"  {hit:>4} of {of:<4} {WORDS[kind]}" for kind, (hit, of) in made.counts().items()]
    lines += [f"not shown  {goal}" for goal in made.missed]
    return lines


def _json(code: UnitCode, made: Vectors, to: Path | None) -> dict[str, Any]:
    return {
        "scheme": code.scheme.title,
        "unit": code.unit,
        "file": str(to) if to else None,
        "scans": made.scans,
        "runs": [len(run.vectors) for run in made.runs],
        "shown": {str(kind): {"shown": hit, "of": of} for kind, (hit, of) in made.counts().items()},
        "not_shown": [{"rule": g.rule, "kind": str(g.kind), "what": g.what} for g in made.missed],
    }
