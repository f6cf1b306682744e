"""`interlock export`."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import typer

from interlock.cli.opened import opened
from interlock.cli.render import BUILT_OTHERWISE, Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.written import write_all
from interlock.export.c import c_files
from interlock.export.comments import step_text
from interlock.export.host import host_file
from interlock.export.st import st_files
from interlock.export.steps import widened
from interlock.export.unit import NothingToDoError, TooWideError, UnitCode, unit_code
from interlock.scheme.grammar import nearest
from interlock.scheme.model import Scheme
from interlock.scheme.words import Word


class Language(Word):
    """What an export is written in."""

    C = "c"
    ST = "st"


def unit_of(scheme: Scheme, file: Path, unit: str, *, exact: bool = False) -> UnitCode:
    """What is to be written for the unit, "" for the first; ends the command where there is none."""
    name = unit or scheme.units[0]
    if name not in scheme.units:
        near = _near(name, scheme.units)
        sys.stderr.write(f"{file}: `{name}` is no unit of the scheme: {near}its units: {', '.join(scheme.units)}\n")
        raise typer.Exit(Exit.BAD_INPUT)
    try:
        code = unit_code(scheme, name, file.name, exact=exact)
        _ = code.bits
    except (NothingToDoError, TooWideError) as error:
        sys.stderr.write(f"{file}: {error}\n")
        raise typer.Exit(Exit.BAD_INPUT) from error
    return code


def _near(name: str, known: Iterable[str]) -> str:
    near = nearest(name, known)
    return f"{near} " if near else ""


def export(
    file: Path, unit: str, folder: Path, language: str, *, host: bool, exact: bool, prove: bool, as_json: bool
) -> int:
    """Work out all files first, then write them."""
    known = {str(word): word for word in Language}
    if language not in known:
        sys.stderr.write(f"`{language}` is no language of exports: {_near(language, known)}known: c, st\n")
        return Exit.BAD_INPUT
    scheme = opened(file, as_json=as_json)
    code = unit_of(scheme, file, unit, exact=exact)
    match known[language]:
        case Language.C:
            files = c_files(code) | (host_file(code) if host else {})
        case Language.ST:
            files = st_files(code)
    if host and known[language] is not Language.C:
        sys.stderr.write("a host program is written in C: leave --host out, or export as c\n")
        return Exit.BAD_INPUT
    try:
        write_all(folder, files)
    except OSError as error:
        sys.stderr.write(f"{folder}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    changed = _changed_by_rounding(scheme, code) if prove and code.steps.rounds else []
    if as_json:
        print_json(_json(code, folder, files, changed, proved=prove))
    else:
        tell(_told(code, folder, files, changed, proved=prove))
    return Exit.FINDING if changed else Exit.GOOD


def _changed_by_rounding(scheme: Scheme, code: UnitCode) -> list[tuple[str, str, str]]:
    """Claims whose verdict is another where every sensor may err by one step more: name, verdict, that verdict."""
    from interlock.proof.prove import prove

    progress, wide, changed = Progress(), widened(scheme, code.steps), []
    for number, (claim, wider) in enumerate(zip(scheme.claims, wide.claims, strict=True)):
        progress.say(f"claim {number + 1} of {len(scheme.claims)}: {claim.name}")
        before, after = (prove(s, c, margins=False, trace=False).outcome for s, c in ((scheme, claim), (wide, wider)))
        if before is not after:
            changed.append((claim.name, str(before), str(after)))
    progress.done()
    return changed


def _told(
    code: UnitCode, folder: Path, files: dict[str, str], changed: list[tuple[str, str, str]], *, proved: bool
) -> list[str]:
    rules = sum(rule.unit == code.unit for rule in code.scheme.rules.values())
    lines = [
        f"{code.unit}: {count_text(rules, 'rule')}, {count_text(len(code.sensors), 'sensor')}, "
        f"{count_text(len(code.lines), 'line')} in; {count_text(len(code.outputs), 'output')}, "
        f"{count_text(len(code.sent), 'line')}, {count_text(len(code.alarms), 'alarm')} out; {code.bits}-bit integers"
    ]
    lines += [f"  {folder / name}" for name in files]
    if code.sensors:
        steps = {step_text(code, name): None for name in code.sensors}
        lines.append(f"readings in whole steps ({', '.join(steps)}): every limit is a whole number of them")
    if changed:
        lines += [
            f"ROUNDED    {name}: {before}, but {after} where readings are rounded" for name, before, after in changed
        ]
    elif code.steps.rounds and proved:
        lines.append(
            f"rounding is harmless: {count_text(len(code.scheme.claims), 'claim')} keep their verdicts with every "
            "sensor's error one step wider"
        )
    elif code.steps.rounds and code.sensors:
        lines.append(
            "a finer reading that is rounded moves by less than a step (--prove-rounding proves the claims with that)"
        )
    lines.append(f"An aid; it certifies nothing. {BUILT_OTHERWISE}")
    return lines


def _json(
    code: UnitCode, folder: Path, files: dict[str, str], changed: list[tuple[str, str, str]], *, proved: bool
) -> dict[str, Any]:
    return {
        "scheme": code.scheme.title,
        "unit": code.unit,
        "files": [str(folder / name) for name in files],
        "bits": code.bits,
        "fingerprint": f"{code.fingerprint:08x}",
        "steps": {name: code.steps.of[name] / 1e6 for name in code.sensors},
        "inputs": {"sensors": list(code.sensors), "lines": list(code.lines)},
        "outputs": {"outputs": list(code.outputs), "lines": list(code.sent), "alarms": list(code.alarms)},
        "kept": [code.program.slots[i].name for i in code.kept],
        "rounding": {
            "rounds": code.steps.rounds,
            "proved_harmless": not changed if proved or not code.steps.rounds else None,
            "changed": [{"claim": n, "verdict": b, "rounded": a} for n, b, a in changed],
        },
    }
