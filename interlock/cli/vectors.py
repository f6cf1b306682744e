"""`interlock vectors`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from interlock.cli.export import unit_of
from interlock.cli.opened import opened
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.written import write_all
from interlock.export.unit import UnitCode
from interlock.scheme.units import lasted_text
from interlock.vectors.generate import MOST, Vectors, generate, with_runs
from interlock.vectors.goals import GoalKind
from interlock.vectors.mcdc import Form
from interlock.vectors.reasons import Why
from interlock.vectors.record import json_lines
from interlock.vectors.score import Fate, Scored, scored
from interlock.vectors.strengthen import strengthened
from interlock.vectors.table import csv_lines

CSV = ".csv"  # a file of that kind is a table, any other JSON Lines
WORDS = {
    GoalKind.TRANSITION: "transitions of rule machines",
    GoalKind.LIMIT: "limits, the last safe and the first unsafe value",
    GoalKind.DELAY: "delays, to the scan",
    GoalKind.RESET: "resets: by an edge, not by a held button",
    GoalKind.OVERRIDE: "overrides: begun, run out, not before seen off",
    GoalKind.CONDITION: "conditions of rules, met and not",
    GoalKind.LOST: "lost readings",
    GoalKind.DECISION: "conditions that decide, yes and no (MC/DC)",
    GoalKind.BESIDE: "paths that run beside a rule that leaves them alone",
    GoalKind.POWER_CYCLE: "power cycles of rules in a state",
}
assert set(WORDS) == set(GoalKind), set(GoalKind) - set(WORDS)


def vectors(
    file: Path,
    unit: str,
    to: Path | None,
    most: int | None,
    *,
    quick: bool = False,
    as_json: bool,
) -> int:
    """Make them, write them, tell what they show and how strong they are. What slips through is caught by vectors more,
    unless their number is given (`most`); `quick`: their strength is not measured."""
    scheme = opened(file, as_json=as_json)
    code = unit_of(scheme, file, unit)
    made = made_for(code, most)
    fates, interrupted = list[Scored](), made.interrupted
    if not quick and not interrupted:
        fates, interrupted = _scored(code, made)
        if most is None and not interrupted and any(f.fate is Fate.SURVIVED for f in fates):
            made, fates, interrupted = _strengthened(code, made, fates)
    if to is not None:
        try:
            lines = csv_lines(made.runs) if to.suffix == CSV else json_lines(made.runs)
            write_all(to.parent, {to.name: "".join(lines)})
        except OSError as error:
            sys.stderr.write(f"{to}: {error.strerror or error}\n")
            return Exit.BAD_INPUT
    if as_json:
        print_json(_json(code, made, to) | ({"mutants": _score_json(fates), "score": score_of(fates)} if fates else {}))
    else:
        tell([*_told(code, made, to), *(_score_told(fates) if fates else ())])
    if made.interrupted:
        sys.stderr.write(f"interrupted: these are the {made.scans:,} scans that were planned by then\n")
    if interrupted:
        return Exit.INTERRUPTED
    weak = any(f.fate in (Fate.SURVIVED, Fate.UNDECIDED) for f in fates)
    open_goals = any(made.why[g].why not in (Why.PROVED, Why.TOO_LONG) for g in made.missed)
    return Exit.FINDING if open_goals or weak else Exit.GOOD


def _scored(code: UnitCode, made: Vectors) -> tuple[list[Scored], bool]:
    """The fates of all mutants; of those looked at so far, and True, where someone interrupts it."""
    progress, fates, interrupted = Progress(), list[Scored](), False
    try:
        for fate in scored(code, made.runs, progress.say):
            fates.append(fate)
    except KeyboardInterrupt:
        progress.done()
        sys.stderr.write(f"interrupted after {count_text(len(fates), 'mutant')}\n")
        interrupted = True
    finally:
        progress.done()
    return fates, interrupted


def _strengthened(code: UnitCode, made: Vectors, fates: list[Scored]) -> tuple[Vectors, list[Scored], bool]:
    """The same, with what catches the mutants that slip through; as it was, and True, where someone interrupts it."""
    progress = Progress()
    try:
        runs, now = strengthened(code, made.runs, fates, progress.say, MOST)
        return with_runs(code, made, runs), now, False
    except KeyboardInterrupt:
        progress.done()
        sys.stderr.write("interrupted while vectors were sought for what is not caught: none was added\n")
        return made, fates, True
    finally:
        progress.done()


def score_of(fates: Sequence[Scored]) -> float | None:
    """Of the mutants that are not equivalent, how many are killed, in per cent; None where there are none."""
    count = sum(f.fate is not Fate.EQUIVALENT for f in fates)
    return 100 * sum(f.fate is Fate.KILLED for f in fates) / count if count else None


def _score_told(fates: list[Scored]) -> list[str]:
    counts = {fate: sum(f.fate is fate for f in fates) for fate in Fate}
    said = ", ".join(f"{n} {fate}" for fate, n in counts.items() if n)
    weak = [f for f in fates if f.fate in (Fate.SURVIVED, Fate.UNDECIDED)]
    score = score_of(fates)
    share = "" if score is None else f"; {_floor(score)} % of those that are not equivalent"
    lines = [f"{count_text(len(fates), 'mutant')}: {said}{share}"]
    return lines + [f"{f.fate!s}  {f.mutant.what} ({', '.join(f.paths)})" for f in weak]


def _floor(score: float) -> str:
    """Per cent with one decimal, never rounded up: 100 is all of them."""
    return f"{int(score * 10) / 10:g}"


def _score_json(fates: list[Scored]) -> list[dict[str, Any]]:
    return [
        {
            "rule": f.mutant.rule,
            "mistake": str(f.mutant.mistake),
            "what": f.mutant.what,
            "fate": str(f.fate),
            "run": f.at[0] if f.at else None,
            "scan": f.at[1] if f.at else None,
            "may_differ": list(f.paths),
        }
        for f in fates
    ]


def made_for(code: UnitCode, most: int | None) -> Vectors:
    """The unit's vectors, with progress on a terminal."""
    progress = Progress()
    made = generate(code, most=most, progress=progress.say)
    progress.done()
    return made


def _told(code: UnitCode, made: Vectors, to: Path | None) -> list[str]:
    lines = [
        f"{code.unit}: {made.scans:,} scan{'' if made.scans == 1 else 's'} "
        f"({lasted_text(made.scans * code.scheme.scan_us)}) "
        f"in {count_text(len(made.runs), 'run')}" + (f", in {to}" if to else "; --to FILE keeps them")
    ]
    if made.bound.scans:
        what = ", ".join(made.bound.rules)
        lines.append(f"  no fewer than {made.bound.scans:,} would do: the delays of {what} on {made.bound.watched}")
    lines += [f"  {hit:>4} of {of:<4} {WORDS[kind]}" for kind, (hit, of) in made.counts().items()]
    forms = Counter(made.forms.values())
    if made.forms:
        lines.append(
            f"  of {count_text(len(made.forms), 'condition')} {forms[Form.UNIQUE_CAUSE]} by unique cause, "
            f"{forms[Form.MASKING]} by masking"
        )
    if made.interrupted:  # what nobody looked for to the end is no finding
        return [*lines, f"  not shown when it was interrupted: {count_text(len(made.missed), 'goal')}"]
    lines += [f"{made.why[goal].why}  {goal}: {made.why[goal].says}" for goal in made.missed]
    return lines


def _json(code: UnitCode, made: Vectors, to: Path | None) -> dict[str, Any]:
    return {
        "scheme": code.scheme.title,
        "unit": code.unit,
        "file": str(to) if to else None,
        "scans": made.scans,
        "runs": [len(run.vectors) for run in made.runs],
        "shown": {str(kind): {"shown": hit, "of": of} for kind, (hit, of) in made.counts().items()},
        "at_least": {"scans": made.bound.scans, "watched": made.bound.watched, "rules": list(made.bound.rules)},
        "conditions": [
            {"decision": decision, "condition": condition, "shown_by": str(form) if form else None}
            for (decision, condition), form in made.forms.items()
        ],
        "not_shown": [
            {
                "rule": g.rule,
                "kind": str(g.kind),
                "what": g.what,
                "why": str(made.why[g].why),
                "says": made.why[g].says,
                "scans": made.why[g].scans or None,
            }
            for g in made.missed
        ],
    }
