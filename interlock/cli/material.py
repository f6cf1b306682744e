"""What handbooks and decks are made from, worked out and then written: whole, or not at all."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from interlock.bench.tables import TooWideError
from interlock.cli.catalogue import catalogue
from interlock.cli.files import refused, write_whole
from interlock.cli.inject import KEPT, bar, journal_of
from interlock.cli.opened import opened
from interlock.cli.prove import assumptions, judged, verdict_json
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.study_file import StudyFileError, file_digest, read_study
from interlock.draw.everything import DrawingKind, draw
from interlock.draw.layout import NoRendererError
from interlock.draw.page import A4, Paper
from interlock.explain.trace import told
from interlock.faults.court import Court
from interlock.faults.effects import Effect
from interlock.faults.inject import Study
from interlock.faults.inject import inject as study_of
from interlock.faults.judge import BUDGET as FAULT_BUDGET
from interlock.faults.parallel import Bench, Cores, Here
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.logic.cases import run_cases
from interlock.proof.prove import BUDGET, Outcome, Verdict
from interlock.scheme.model import Scheme
from interlock.split import cores

DRAWN = (
    DrawingKind.OVERVIEW,
    DrawingKind.WIRING,
    DrawingKind.MATRIX,
    DrawingKind.LADDER,
    DrawingKind.MACHINE,
    DrawingKind.CASE,
    DrawingKind.PERMIT,
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be worked out: `faults`: a study of single faults, anew or (`resume`) gone on with, on `jobs`
    processes; `study_file`: taken instead. `portable`, `paper`: how drawings are laid out."""

    faults: bool
    study_file: Path | None
    resume: bool
    jobs: int
    portable: bool
    paper: Paper = A4


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file: its name's `ending`, what is `said` of one that is written, and what of one that was
    interrupted."""

    ending: str
    said: str
    interrupted: str
    left_out: str


def written(
    file: Path,
    out: Path,
    kind: Kind,
    wanted: Wanted,
    made: Callable[[Material, Catalogue], bytes],
    *,
    language: str,
    as_json: bool,
) -> int:
    """Work everything out, have a file `made` of it, write that. What was interrupted is said to be missing."""
    if why := refused(out, kind.ending):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    if wanted.study_file is not None and (wanted.resume or not wanted.faults):
        sys.stderr.write("--study takes a study that is done: it goes without --resume and --no-faults\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    scheme = opened(file, as_json=as_json)
    try:
        material, interrupted = _material(file, scheme, wanted, words)
        content = made(material, words)
    except (StudyFileError, NoRendererError, TooWideError) as error:
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    try:
        write_whole(out, content)
    except OSError as error:
        sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    if as_json:
        print_json(_json(file, out, material, len(content)))
    else:
        tell(_told(out, material, kind))
    if interrupted:
        sys.stderr.write(f"interrupted: {kind.interrupted}\n")
        return Exit.INTERRUPTED
    return Exit.GOOD if material.good and not material.unjudged else Exit.FINDING


def _material(file: Path, scheme: Scheme, wanted: Wanted, words: Catalogue) -> tuple[Material, bool]:
    """All that is known of the scheme, and whether finding it out was interrupted."""
    digest = file_digest(file)
    verdicts, interrupted = _verdicts(scheme)
    study: Study | None = None
    if wanted.study_file is not None:
        study = read_study(wanted.study_file, scheme, digest)
    elif wanted.faults and not interrupted and scheme.claims:
        study = _study(file, scheme, wanted.jobs, resume=wanted.resume)
        interrupted = study.interrupted
    with words.drawn():
        drawings = {kind: tuple(draw(scheme, (kind,), portable=wanted.portable, paper=wanted.paper)) for kind in DRAWN}
    stories = _stories(scheme, verdicts, words)
    cases, assumed = run_cases(scheme), tuple(assumptions(scheme))
    return Material(scheme, digest, verdicts, study, cases, drawings, assumed, stories), interrupted


def _verdicts(scheme: Scheme) -> tuple[dict[str, Verdict], bool]:
    """The verdicts by the claims' names, and whether judging was interrupted."""
    found: dict[str, Verdict] = {}
    try:
        for verdict in judged(scheme, list(scheme.claims), (), BUDGET):
            found[verdict.claim.name] = verdict
    except KeyboardInterrupt:
        return found, True
    return found, False


def _study(file: Path, scheme: Scheme, jobs: int, *, resume: bool) -> Study:
    """The study of single faults; what is judged is kept, and `interlock inject --resume` goes on with it too."""
    court, line = Court(scheme, FAULT_BUDGET), Progress()
    bench: Bench = Here(court) if jobs == 1 else Cores(court, jobs or cores())
    with journal_of(file, court, 1, resume=resume) as journal:
        study = study_of(scheme, 1, bench, journal=journal, progress=partial(bar, line))
        if journal is not None and not study.interrupted:
            journal.done()
        elif journal is not None:
            sys.stderr.write(f"{KEPT}\n")
    return study


def _stories(scheme: Scheme, verdicts: Mapping[str, Verdict], words: Catalogue) -> dict[str, tuple[str, ...]]:
    return {
        name: tuple(told(scheme, verdict.claim, verdict.trace, words.phrases))
        for name, verdict in verdicts.items()
        if verdict.trace
    }


def _singles(material: Material) -> list[str]:
    study, scheme = material.study, material.scheme
    effects = study.effects if study is not None else ()
    return [e.fault for e in effects if e.effect is Effect.VIOLATES and not scheme.faults[e.fault].installation]


def _json(file: Path, out: Path, material: Material, size: int) -> dict[str, Any]:
    study, scheme = material.study, material.scheme
    return {
        "scheme": str(file),
        "scheme_digest": material.digest,
        "file": str(out),
        "bytes": size,
        "holds": material.good and not material.unjudged,
        "whole": material.whole,
        "claims": [verdict_json(scheme, v) for v in material.verdicts.values()],
        "not_judged": [c.name for c in scheme.claims if c.name not in material.verdicts],
        "cases": [{"case": c.name, "passed": c.passed} for c in material.cases],
        "faults": None if study is None else {"complete": not study.interrupted, "not_judged": study.waiting},
        "single_points_in_service": None if study is None else _singles(material),
    }


def _told(out: Path, material: Material, kind: Kind) -> list[str]:
    claims = len(material.verdicts)
    held = sum(v.outcome is Outcome.HOLDS for v in material.verdicts.values())
    passed = sum(c.passed for c in material.cases)
    said = [
        f"{out} is written: {kind.said}",
        f"  {count_text(claims, 'claim')}: {held} hold"
        + (f", {material.unjudged} not judged" if material.unjudged else ""),
        f"  {count_text(len(material.cases), 'case')}: {passed} pass",
    ]
    if material.study is None:
        said.append(f"  faults: left out, as {kind.left_out}")
    else:
        said.append(f"  faults: {count_text(len(_singles(material)), 'single point')} of failure in service")
    return said
