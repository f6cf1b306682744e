"""`interlock handbook`."""

from __future__ import annotations

import sys
from collections.abc import Mapping
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
from interlock.draw.page import Drawing
from interlock.explain.trace import told
from interlock.faults.court import Court
from interlock.faults.effects import Effect
from interlock.faults.inject import Study
from interlock.faults.inject import inject as study_of
from interlock.faults.judge import BUDGET as FAULT_BUDGET
from interlock.faults.parallel import Bench, Cores, Here
from interlock.handbook.card import card_page
from interlock.handbook.live import bench, exercises
from interlock.handbook.material import Material
from interlock.handbook.page import handbook_page
from interlock.logic.cases import run_cases
from interlock.proof.cores import cores
from interlock.proof.prove import BUDGET, Outcome, Verdict
from interlock.scheme.model import Scheme

DRAWN = (
    DrawingKind.OVERVIEW,
    DrawingKind.WIRING,
    DrawingKind.MATRIX,
    DrawingKind.LADDER,
    DrawingKind.MACHINE,
    DrawingKind.CASE,
    DrawingKind.PERMIT,
)


def handbook(
    file: Path,
    out: Path,
    *,
    faults: bool,
    study_file: Path | None,
    resume: bool,
    jobs: int,
    language: str,
    portable: bool,
    as_json: bool,
) -> int:
    """Work everything out, then write the page, whole or not at all. What was interrupted is said to be missing."""
    if why := refused(out, ".html"):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    if study_file is not None and (resume or not faults):
        sys.stderr.write("--study takes a study that is done: it goes without --resume and --no-faults\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    scheme = opened(file, as_json=as_json)
    digest = file_digest(file)
    verdicts, interrupted = _verdicts(scheme)
    study: Study | None = None
    try:
        if study_file is not None:
            study = read_study(study_file, scheme, digest)
        elif faults and not interrupted and scheme.claims:
            study = _study(file, scheme, jobs, resume=resume)
        drawings = _drawings(scheme, portable=portable)
        live = [bench(scheme, words, portable=portable), exercises(scheme, words)]
    except (StudyFileError, NoRendererError, TooWideError) as error:
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    material = Material(
        scheme,
        digest,
        verdicts,
        study,
        run_cases(scheme),
        drawings,
        tuple(assumptions(scheme)),
        _stories(scheme, verdicts),
    )
    page = handbook_page(material, words, live)
    try:
        write_whole(out, page.encode())
    except OSError as error:
        sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    interrupted = interrupted or (study is not None and study.interrupted and study_file is None)
    if as_json:
        print_json(_json(file, out, material, len(page.encode())))
    else:
        tell(_told(out, material))
    if interrupted:
        sys.stderr.write("interrupted: the page is written and says what is missing on it\n")
        return Exit.INTERRUPTED
    return Exit.GOOD if material.good and not material.unjudged else Exit.FINDING


def card(file: Path, out: Path, *, language: str, as_json: bool) -> int:
    """Write the card for the wall alone."""
    if why := refused(out, ".html"):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    scheme = opened(file, as_json=as_json)
    try:
        write_whole(out, card_page(scheme, words).encode())
    except OSError as error:
        sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    if as_json:
        print_json({"scheme": str(file), "scheme_digest": file_digest(file), "file": str(out)})
    else:
        tell([f"{out} is written: it prints on one A5 side"])
    return Exit.GOOD


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


def _drawings(scheme: Scheme, *, portable: bool) -> Mapping[DrawingKind, tuple[Drawing, ...]]:
    return {kind: tuple(draw(scheme, (kind,), portable=portable)) for kind in DRAWN}


def _stories(scheme: Scheme, verdicts: Mapping[str, Verdict]) -> dict[str, tuple[str, ...]]:
    return {
        name: tuple(told(scheme, verdict.claim, verdict.trace)) for name, verdict in verdicts.items() if verdict.trace
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


def _told(out: Path, material: Material) -> list[str]:
    claims = len(material.verdicts)
    held = sum(v.outcome is Outcome.HOLDS for v in material.verdicts.values())
    passed = sum(c.passed for c in material.cases)
    said = [
        f"{out} is written: it opens without a network",
        f"  {count_text(claims, 'claim')}: {held} hold"
        + (f", {material.unjudged} not judged" if material.unjudged else ""),
        f"  {count_text(len(material.cases), 'case')}: {passed} pass",
    ]
    if material.study is None:
        said.append("  faults: left out, as the page says")
    else:
        said.append(f"  faults: {count_text(len(_singles(material)), 'single point')} of failure in service")
    return said
