"""`interlock tour`: the main job on the alpine hut, in a minute of reading. Every figure is computed as it is told."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Sequence
from fractions import Fraction
from itertools import takewhile
from pathlib import Path
from typing import Any

from interlock.check.run import check
from interlock.cli.render import BUILT_OTHERWISE, Progress, count_text, print_json
from interlock.cli.status import Exit
from interlock.draw.page import CAUTION
from interlock.examples import example
from interlock.explain.trace import moments, told
from interlock.logic.cases import run_cases
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, Verdict, prove
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.units import MICRO, lasted_text, time_text, value_text
from interlock.scheme.words import Must

GOOD = "alpine_hut.yaml"
FLAWED, REFUTED = "flawed/hut_probe_error_forgotten.yaml", "frozen_charge/roof_pv"


def tour(folder: Path, *, as_json: bool) -> int:
    """Read, check, run, prove and draw the hut; then refute one flawed copy of it."""
    text, name = example(GOOD)
    scheme = loads(text, name)
    findings, cases = check(scheme), run_cases(scheme)
    verdicts = _judged(scheme)
    flawed_text, flawed_name = example(FLAWED)
    flawed = loads(flawed_text, flawed_name)
    claim = next(c for c in flawed.claims if c.name == REFUTED)
    refuted = prove(flawed, claim)
    try:
        drawings = _draw(scheme, flawed, refuted, folder)
    except OSError as error:
        sys.stderr.write(f"{folder} cannot be written: {error.strerror or error}\n")
        return Exit.BAD_INPUT
    held = sum(v.outcome is Outcome.HOLDS for v in verdicts)
    if as_json:
        print_json(
            {
                "scheme": name,
                "findings": len(findings),
                "cases": len(cases),
                "cases_passed": sum(c.passed for c in cases),
                "claims": len(verdicts),
                "claims_held": held,
                "tightest": [_tight_json(scheme, v) for v in tightest(verdicts)],
                "flawed": flawed_name,
                "refuted": REFUTED,
                "verdict": str(refuted.outcome),
                "story": told(flawed, claim, refuted.trace),
                "drawings": len(drawings),
                "folder": str(folder),
            }
        )
    else:
        _tell(scheme, name, len(findings), (sum(c.passed for c in cases), len(cases)), verdicts)
        _tell_flawed(flawed, flawed_name, flawed_text, refuted)
        _tell_rest(folder, len(drawings))
    good = not findings and held == len(verdicts) and all(c.passed for c in cases)
    return Exit.GOOD if good and refuted.outcome is Outcome.VIOLATED else Exit.FINDING


def _judged(scheme: Scheme) -> list[Verdict]:
    index, line = Index(scheme), Progress()
    verdicts = []
    for number, claim in enumerate(scheme.claims, 1):
        line.say(f"proving {number} of {len(scheme.claims)}")
        verdicts.append(prove(scheme, claim, index=index))
    line.done()
    return verdicts


def tightest(verdicts: Sequence[Verdict], most: int = 3) -> list[Verdict]:
    """The claims that come nearest to the time they are allowed, one for each requirement."""
    of: dict[str, Verdict] = {}
    for v in verdicts:
        known = of.get(v.claim.requirement)
        if v.claim.must is Must.NEVER_RUNNING and _share(v) > (_share(known) if known else 0):
            of[v.claim.requirement] = v
    return sorted(of.values(), key=lambda v: (-_share(v), v.claim.name))[:most]


def _share(verdict: Verdict) -> Fraction:
    """The part of the allowed time that the worst exposure takes; 0 where no time is allowed at all."""
    allowed = verdict.claim.longer_than.us
    return Fraction(verdict.exposure_us or 0, allowed) if allowed else Fraction(0)


def _margins(scheme: Scheme, verdict: Verdict) -> str:
    said = [
        f"{value_text(m.value, scheme.quantities[m.condition.name].kind, difference=True)} on {m.condition.name}"
        for m in verdict.margins
        if m.value is not None
    ]
    return "margin " + " and ".join(said) if said else "no limit on a quantity, so no margin"


def _tight_json(scheme: Scheme, verdict: Verdict) -> dict[str, Any]:
    return {
        "claim": verdict.claim.name,
        "exposure_s": (verdict.exposure_us or 0) / MICRO,
        "allowed_s": verdict.claim.longer_than.us / MICRO,
        "margin": _margins(scheme, verdict),
    }


def _draw(scheme: Scheme, flawed: Scheme, refuted: Verdict, folder: Path) -> list[str]:
    from interlock.draw.everything import draw, index_page
    from interlock.draw.history import history, replayed
    from interlock.draw.timing import draw_timing

    drawings = list(draw(scheme, portable=True))
    run = replayed(flawed, [(m.world, m.truth, m.scans) for m in moments(refuted.trace)])
    title = f"Refuted: {REFUTED} in {FLAWED.rpartition('/')[2]}"
    names = [REFUTED.rpartition("/")[2], "coldest_cell", "floor_probe", "coldest_reading", "cold_stop"]
    drawings += draw_timing(flawed, history(flawed, run), name="refuted", title=title, always=names, exactly=True)
    folder.mkdir(parents=True, exist_ok=True)
    for drawing in drawings:
        (folder / f"{drawing.name}.svg").write_text(str(drawing.svg), encoding="utf-8")
    (folder / "index.html").write_text(index_page(scheme, drawings), encoding="utf-8")
    return [d.name for d in drawings]


def _say(text: str = "", indent: str = "") -> None:
    width = min(96, shutil.get_terminal_size((80, 24)).columns)
    sys.stdout.write(textwrap.fill(text, width, initial_indent=indent, subsequent_indent=indent) + "\n")


def _tell(scheme: Scheme, name: str, findings: int, cases: tuple[int, int], verdicts: Sequence[Verdict]) -> None:
    sources, loads_ = len(scheme.groups["sources"]), len(scheme.groups["loads"])
    held = [v for v in verdicts if v.outcome is Outcome.HOLDS]
    _say(f"{scheme.title} ({name})")
    _say()
    _say(
        f"What is protected: a pack with {count_text(sources, 'charge source')} and {count_text(loads_, 'load path')}. "
        f"{count_text(len(scheme.rules), 'rule')} on {count_text(len(scheme.units), 'unit')} watch "
        f"{count_text(len(scheme.sensors), 'sensor')} and {count_text(len(scheme.lines), 'line')} and switch "
        f"{count_text(len(scheme.outputs), 'output')}."
    )
    _say()
    _say(
        f"What was checked just now: {findings or 'no'} findings; {cases[0]} of {cases[1]} cases passed; {len(held)} "
        f"of {len(verdicts)} claims hold over every possible behaviour: any truth, any reading within each sensor's "
        "error, any state of every outside line, at every scan."
    )
    _say()
    _say("The three that come nearest to what is allowed:")
    for v in tightest(verdicts):
        worst, allowed = lasted_text(v.exposure_us or 0), time_text(v.claim.longer_than.us)
        _say(f"{v.claim.name}: at worst {worst} of {allowed}; {_margins(scheme, v)}", "  ")
    _say()


def _tell_flawed(flawed: Scheme, name: str, text: str, refuted: Verdict) -> None:
    _say(f"Now a copy with one mistake in it ({name}). Its author wrote of it:")
    head = [line.lstrip("# ") for line in takewhile(lambda line: line.startswith("#"), text.splitlines())]
    _say(" ".join(line for line in takewhile(lambda line: not line.startswith("finds:"), head[1:]) if line), "  ")
    _say(f"The claim {REFUTED} is {refuted.outcome}. How it comes about:")
    for sentence in told(flawed, refuted.claim, refuted.trace):
        _say(sentence, "  ")
    _say()


def _tell_rest(folder: Path, count: int) -> None:
    index, refuted = folder / "index.html", folder / "refuted.svg"
    _say(f"{count} drawings are in {folder}: open {index}. The mistake is drawn in {refuted}.")
    _say()
    _say("What to do next:")
    for command, what in (
        ("interlock new FILE", "a few questions, and a scheme of your own to start from"),
        ("interlock check FILE", "what is wrong or doubtful in it"),
        ("interlock prove FILE", "each of its claims, over all behaviours"),
        ("interlock reference", "every word of a scheme and what it means"),
    ):
        sys.stdout.write(f"  {command:<22} {what}\n")
    _say()
    _say(f"{CAUTION} {BUILT_OTHERWISE}")
