"""`interlock compare`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from interlock.cli.opened import opened_revision
from interlock.cli.prove import verdict_json
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.compare.verdict import BUDGET, Comparison, Difference, Meaning, PathVerdict
from interlock.explain.comparison import SHOWN, history, sentence
from interlock.proof.cores import proved
from interlock.proof.prove import Outcome, Verdict
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.units import MICRO, lasted_text, time_text, value_text
from interlock.scheme.words import Word


class Fate(Word):
    """What became of a claim."""

    GAINED = "gained"
    LOST = "lost"
    BROKEN = "broken"  # held before, does no longer
    MENDED = "mended"  # holds now, did not before
    MOVED = "moved"  # the same verdict, with another exposure, allowance or margin
    SAME = "same"


@dataclass(frozen=True)
class ClaimChange:
    """A claim before and after; None where the scheme does not make it."""

    name: str
    fate: Fate
    old: Verdict | None
    new: Verdict | None


def compare(old_name: str, new_name: str, *, no_looser: bool, stories: bool, budget: int, as_json: bool) -> int:
    """Compare two schemes path by path and claim by claim; what is found is shown as it is found."""
    old = opened_revision(old_name, as_json=as_json)
    new = opened_revision(new_name, as_json=as_json)
    try:
        comparison = Comparison(old, new, budget or BUDGET)
    except ValueError:
        scans = f"{time_text(old.scan_us)} and {time_text(new.scan_us)}"
        sys.stderr.write(
            f"{old_name} and {new_name} can't be compared scan by scan: they scan every {scans}\n"
            "  help: give both the same `scan`\n"
        )
        return Exit.BAD_INPUT
    paths: list[PathVerdict] = []
    claims: list[ClaimChange] = []
    interrupted = False
    line = Progress()
    try:
        for number, path in enumerate(comparison.paths, 1):
            line.say(f"{number} of {len(comparison.paths)}: {path}")
            verdict = comparison.verdict(path)
            line.done()
            paths.append(verdict)
            if not as_json:
                _print_path(comparison, verdict, stories=stories)
        line.say("the claims of both")
        claims = _claims(comparison)
        line.done()
    except KeyboardInterrupt:
        line.done()
        interrupted = True
    left = comparison.paths[len(paths) :]
    if as_json:
        print_json(_json(old_name, new_name, comparison, paths, claims, left))
    else:
        _print_rest(comparison, paths, claims, left)
    if interrupted:
        return Exit.INTERRUPTED
    undecided = any(v.meaning is Meaning.UNDECIDED for v in paths)
    return Exit.FINDING if undecided or (no_looser and loosened(paths, claims, comparison.added)) else Exit.GOOD


def loosened(paths: Sequence[PathVerdict], claims: Sequence[ClaimChange], added: Sequence[str] = ()) -> list[str]:
    """What a gate against loosening stops at, in words."""
    found = [f"{v.path} is {v.meaning}" for v in paths if v.meaning not in (Meaning.SAME, Meaning.STRICTER)]
    found += [f"{c.name} is {c.fate}" for c in claims if c.fate in (Fate.LOST, Fate.BROKEN)]
    found += [f"{p} is new" for p in added]
    return found


def _claims(comparison: Comparison) -> list[ClaimChange]:
    """What became of each claim; one that is the same question in both, and holds, is proved once."""
    old, new = comparison.old, comparison.new
    before = {v.claim.name: v for v in proved(old, old.claims)}
    known = {
        claim.name: replace(v, claim=claim)
        for claim in new.claims
        if (v := before.get(claim.name)) and v.outcome is Outcome.HOLDS and comparison.same_claim(v.claim, claim)
    }
    others = [claim for claim in new.claims if claim.name not in known]
    found = known | {v.claim.name: v for v in proved(new, others)}
    after = {claim.name: found[claim.name] for claim in new.claims}
    names = dict.fromkeys((*before, *after))
    return [ClaimChange(n, _fate(before.get(n), after.get(n)), before.get(n), after.get(n)) for n in names]


def _fate(old: Verdict | None, new: Verdict | None) -> Fate:
    if old is None:
        return Fate.GAINED
    if new is None:
        return Fate.LOST
    held, holds = old.outcome is Outcome.HOLDS, new.outcome is Outcome.HOLDS
    if held is not holds:
        return Fate.MENDED if holds else Fate.BROKEN
    return Fate.SAME if _figures(old) == _figures(new) else Fate.MOVED


def _figures(verdict: Verdict) -> tuple[object, ...]:
    claim = verdict.claim
    margins = tuple((m.condition, m.value, m.known) for m in verdict.margins)
    return verdict.outcome, verdict.exposure_us, verdict.endless, claim.longer_than.us, claim.conditions, margins


# --- for people


def _print_path(comparison: Comparison, verdict: PathVerdict, *, stories: bool) -> None:
    merged = comparison.merged.scheme
    if not verdict.differences:
        tell([f"{SHOWN[verdict.meaning]:<10} {verdict.path}{f': {verdict.reason}' if verdict.reason else ''}"])
    for number, difference in enumerate(verdict.differences):
        shown = SHOWN[verdict.meaning] if number == 0 else ""
        tell([f"{shown:<10} {sentence(merged, verdict.path, difference)}"])
        if stories:
            tell(f"             {said}" for said in history(merged, verdict, difference))
    sys.stdout.flush()


def _print_rest(
    comparison: Comparison, paths: Sequence[PathVerdict], claims: Sequence[ClaimChange], left: Sequence[str]
) -> None:
    tell(f"{'gone':<10} {path}" for path in comparison.gone)
    tell(f"{'new':<10} {path}: nothing to compare it with" for path in comparison.added)
    moved = [c for c in claims if c.fate is not Fate.SAME]
    tell(f"claim {c.fate!s:<8} {c.name}: {_before_and_after(comparison, c)}" for c in moved)
    counts = {m: sum(v.meaning is m for v in paths) for m in Meaning}
    said = ", ".join(f"{n} {m}" for m, n in counts.items() if n)
    same = len(claims) - len(moved)
    rest = f"; interrupted with {count_text(len(left), 'path')} not compared" if left else ""
    tell(
        [
            f"{count_text(len(paths), 'path')} compared: {said or 'none'}{rest}",
            f"{count_text(len(claims), 'claim')}: {same} as before" + (f", {len(moved)} not" if moved else ""),
        ]
    )


def _before_and_after(comparison: Comparison, change: ClaimChange) -> str:
    both = ((comparison.old, change.old), (comparison.new, change.new))
    sides = [_one(scheme, v) if v else "not made" for scheme, v in both]
    return f"{sides[0]} → {sides[1]}"


def _one(scheme: Scheme, verdict: Verdict) -> str:
    kinds = {q.name: q.kind for q in scheme.quantities.values()}
    allowed = time_text(verdict.claim.longer_than.us)
    if verdict.outcome in (Outcome.VACUOUS, Outcome.UNDECIDED):
        return str(verdict.outcome)
    worst = "without end" if verdict.exposure_us is None else lasted_text(verdict.exposure_us)
    margins = ", ".join(
        f"{value_text(m.value, kinds[m.condition.name], difference=True)} on {m.condition.name}"
        for m in verdict.margins
        if m.value is not None
    )
    return f"{verdict.outcome}, {worst} of {allowed}" + (f", margin {margins}" if margins else "")


# --- for programs


def _json(
    old_name: str,
    new_name: str,
    comparison: Comparison,
    paths: Sequence[PathVerdict],
    claims: Sequence[ClaimChange],
    left: Sequence[str],
) -> dict[str, Any]:
    return {
        "old": old_name,
        "new": new_name,
        "paths": [_path_json(comparison, v) for v in paths],
        "not_compared": list(left),
        "gone": list(comparison.gone),
        "added": list(comparison.added),
        "claims": [
            {
                "claim": c.name,
                "change": str(c.fate),
                "old": verdict_json(comparison.old, c.old) if c.old else None,
                "new": verdict_json(comparison.new, c.new) if c.new else None,
            }
            for c in claims
        ],
        "looser": loosened(paths, claims, comparison.added),
    }


def _path_json(comparison: Comparison, verdict: PathVerdict) -> dict[str, Any]:
    ways = [_difference_json(comparison, verdict, d) for d in verdict.differences]
    return {
        "path": verdict.path,
        "verdict": str(verdict.meaning),
        "reason": verdict.reason,
        "differences": ways,
        "trace": ways[0]["trace"] if ways else [],
    }


def _difference_json(comparison: Comparison, verdict: PathVerdict, difference: Difference) -> dict[str, Any]:
    merged, path = comparison.merged.scheme, verdict.path
    trace = []
    at = 0
    for m in difference.trace:
        trace.append(
            {
                "first_scan": at,
                "scans": m.scans,
                "at_s": at * merged.scan_us / MICRO,
                "readings": {n: float(Fraction(v, MICRO)) for n, v in m.world.readings.items()},
                "lines": dict(m.world.lines),
                "old_runs": m.old.may_run[path],
                "new_runs": m.new.may_run[path],
            }
        )
        at += m.scans
    lasts = difference.scans * merged.scan_us / MICRO if difference.scans is not None else None
    return {
        "direction": "looser" if difference.looser else "stricter",
        "lasts_s": lasts,
        "endless": difference.known and difference.scans is None,
        "sentence": sentence(merged, path, difference),
        "story": list(history(merged, verdict, difference)),
        "trace": trace,
    }
