"""`interlock diagnose`: from a sheet's results, or from what was seen in service, to what may be wrong."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import typer

from interlock.cli.opened import opened_text
from interlock.cli.render import Progress, count_text, finding_json, print_findings, print_json, tell
from interlock.cli.status import Exit
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.model import Scheme
from interlock.scheme.source import Source

if TYPE_CHECKING:
    from interlock.diagnose.candidates import Candidate
    from interlock.diagnose.following import Next
    from interlock.diagnose.moments import Moment
    from interlock.plan.sheet import Sheet
    from interlock.plan.wrong import Wrong

MOST_TOLD = 20
CAUTION = (
    "Isolate before you touch a terminal, and leave live work to those licensed for it: the makers' manuals and local "
    "code come first. What is told here follows from the scheme and certifies nothing."
)


@dataclass(frozen=True)
class Diagnosis:
    """What is told: the candidates, those of which nothing tells one from another (by their places), and what to do
    next. `seen`: whether anything at all was seen that a healthy installation does not show. `size`: of the largest
    sets that were weighed; `typed`: mistyped settings were weighed too, each alone."""

    candidates: tuple[Candidate, ...]
    classes: tuple[tuple[int, ...], ...]
    next: Next | None
    size: int
    interrupted: bool = False
    typed: bool = False


def diagnose(
    file: Path,
    results: Path | None,
    seen: Sequence[str],
    observations: Path | None,
    sheet: Path | None,
    *,
    pairs: bool,
    as_json: bool,
) -> int:
    """Weigh everything that may be wrong against what was seen."""
    scheme, _ = opened_text(file, as_json=as_json)
    if (results is None) == (not seen and observations is None):
        sys.stderr.write("give either the results file of a sheet, or what was seen: --seen TEXT or --observed FILE\n")
        return Exit.BAD_INPUT
    line = Progress()
    try:
        if results is not None:
            found = _by_sheet(scheme, file, results, sheet, line, pairs=pairs, as_json=as_json)
        else:
            found = _in_service(scheme, _moments(scheme, seen, observations, as_json=as_json), line, pairs=pairs)
    except SchemeError as error:  # truths that cannot be together
        return _refused(error.findings, "what was seen", None, as_json=as_json)
    finally:
        line.done()
    if as_json:
        print_json(_json(scheme, file, found))
    else:
        tell(_told(scheme, found))
    if found.interrupted:
        return Exit.INTERRUPTED
    healthy = any(not c.wrongs for c in found.candidates)
    return Exit.GOOD if healthy else Exit.FINDING


# --- from a sheet's results


def _by_sheet(
    scheme: Scheme,
    file: Path,
    results_file: Path,
    sheet_file: Path | None,
    line: Progress,
    *,
    pairs: bool,
    as_json: bool,
) -> Diagnosis:
    from interlock.diagnose.candidates import ranked, singles
    from interlock.diagnose.following import classes, next_step, next_stimulus
    from interlock.diagnose.sheets import ResultsError, explaining, likely_pairs, seen_of
    from interlock.plan.hypotheses import Off, slips
    from interlock.plan.predict import SheetError, predict
    from interlock.plan.results import load_results
    from interlock.plan.sheet import digest_of
    from interlock.plan.stimuli import Stimuli

    try:
        results = load_results(results_file)
    except SchemeError as error:
        _refuse_file(error, results_file, as_json=as_json)
    digest = digest_of(file.read_bytes())
    if results.scheme_digest != digest:
        _stop(
            f"{results_file} was taken with another scheme: it names {results.scheme_digest[:16]}…, and {file} is"
            f" {digest[:16]}…",
            "give the scheme the sheet was made from",
        )
    sheet = _sheet(scheme, digest, sheet_file, line)
    try:
        seen = seen_of(scheme, sheet, results)
        wrongs: list[Wrong] = list(scheme.faults.values())
        line.say("each fault and each mistyped setting alone")
        found = explaining(scheme, seen, singles([*wrongs, *slips(Stimuli(scheme), Off())]))
        size, interrupted = 1, False
        if pairs or not found:
            size = 2
            several = likely_pairs(scheme, seen, wrongs)
            alone = {sets[0] for sets in found if sets}
            several = [pair for pair in several if alone.isdisjoint(pair)]
            try:
                more = explaining(
                    scheme, seen, several, lambda done, of: line.say(f"two faults together: {done} of {of} pairs")
                )
                found_sets = [*found, *more]
            except KeyboardInterrupt:
                found_sets, interrupted = list(found), True
        else:
            found_sets = list(found)
        candidates = ranked(scheme, found_sets)
        prediction = predict(scheme, seen.looks, [c.wrongs for c in candidates])
    except (ResultsError, SheetError) as error:
        _stop(f"{results_file}: {error}", getattr(error, "help", ""))
    weights = [c.weight for c in candidates]
    following = next_step(seen, prediction, weights) if len(candidates) > 1 else None
    if following is None and len(candidates) > 1 and not interrupted:
        following = next_stimulus(scheme, candidates, line.say)
    return Diagnosis(candidates, tuple(classes(prediction, len(candidates))), following, size, interrupted, typed=True)


def _sheet(scheme: Scheme, digest: str, file: Path | None, line: Progress) -> Sheet:
    """The sheet of a file; without one the sheet that `interlock plan` makes for the scheme."""
    from interlock.plan.sheet import from_json

    if file is None:
        from interlock.plan.loops import NeverRests
        from interlock.plan.planner import Planner

        try:
            return Planner(scheme, progress=line.say).sheet(digest)
        except NeverRests:
            _stop("the installation never comes to rest, so no sheet can be planned", "give the sheet by --sheet FILE")
    try:
        return from_json(json.loads(file.read_text(encoding="utf-8")))
    except OSError as error:
        _stop(f"{file} cannot be opened: {error.strerror or error}", "check the name and the permissions")
    except (ValueError, RecursionError) as error:
        _stop(f"{file} is no sheet: {error}", "expected what `interlock plan SCHEME --json` writes")


# --- from what was seen in service


def _moments(scheme: Scheme, seen: Sequence[str], file: Path | None, *, as_json: bool) -> tuple[Moment, ...]:
    from interlock.diagnose.moments import from_source, from_text
    from interlock.scheme.read import open_source

    moments: list[Moment] = []
    for text in seen:
        try:
            moments.append(from_text(scheme, text))
        except SchemeError as error:
            raise typer.Exit(_refused(error.findings, "--seen", Source("--seen", text), as_json=as_json)) from error
    if file is not None:
        try:
            moments += from_source(scheme, open_source(file))
        except SchemeError as error:
            _refuse_file(error, file, as_json=as_json)
    return tuple(moments)


def _in_service(scheme: Scheme, moments: Sequence[Moment], line: Progress, *, pairs: bool) -> Diagnosis:
    from interlock.diagnose.candidates import pairs as every_pair
    from interlock.diagnose.candidates import ranked, singles
    from interlock.diagnose.following import next_look
    from interlock.diagnose.service import Service

    line.say("each fault alone")
    wrongs: list[Wrong] = list(scheme.faults.values())
    sets = singles(wrongs)
    fits = Service(scheme, sets).explain(moments)
    kept = [wrongs_ for wrongs_, fit in zip(sets, fits.tolist(), strict=True) if fit]
    size, interrupted = 1, False
    if pairs or not kept:
        size = 2
        alone = {each[0] for each in kept if each}
        several = [pair for pair in every_pair(scheme, wrongs) if alone.isdisjoint(pair)]
        line.say(f"two faults together: {len(several)} pairs")
        try:
            fits = Service(scheme, several).explain(moments)
            kept += [pair for pair, fit in zip(several, fits.tolist(), strict=True) if fit]
        except KeyboardInterrupt:
            interrupted = True
    candidates = ranked(scheme, kept)
    following = None
    if len(candidates) > 1 and not interrupted:
        line.say("what to look at next")
        following = next_look(scheme, Service(scheme, [c.wrongs for c in candidates]), moments[-1], candidates)
    return Diagnosis(candidates, tuple((i,) for i in range(len(candidates))), following, size, interrupted)


# --- what is told


def _told(scheme: Scheme, found: Diagnosis) -> Iterator[str]:
    from interlock.explain.diagnosis import meaning, next_words, rank_words

    words = [" + ".join(c.names) or "nothing wrong" for c in found.candidates]
    alone = "every single fault and every mistyped setting" if found.typed else "every single fault"
    weighed = alone if found.size == 1 else f"{alone}, and every two faults together"
    if not found.candidates:
        yield f"Nothing explains all that was seen: {weighed} were weighed."
        yield "Was something written down wrongly, or is the installation not built as the scheme says?"
    elif not found.candidates[0].wrongs:
        rest = len(found.candidates) - 1
        yield "A healthy installation may show all that was seen."
        if rest:
            yield (
                f"So may one with any of these {rest}, none of which has been told from it yet:"
                if rest > 1
                else ("So may one with this, which has not been told from it yet:")
            )
    else:
        explain = "explains" if len(found.candidates) == 1 else "explain"
        yield f"{count_text(len(found.candidates), 'candidate')} {explain} all that was seen ({weighed} weighed):"
    told = [members for members in found.classes if any(found.candidates[i].wrongs for i in members)]
    for number, members in enumerate(told[:MOST_TOLD], 1):
        shown = [i for i in members if found.candidates[i].wrongs]
        for i in shown:
            lead = f"{number:>3}." if i == shown[0] else "  or"
            yield f"{lead} {words[i]}: {meaning(scheme, found.candidates[i])}"
    if len(told) > MOST_TOLD:
        yield f"  … and {len(told) - MOST_TOLD} more (--json lists all)"
    if any(len(members) > 1 for members in found.classes):
        yield "Candidates joined by `or` show the same at every look of the sheet."
    order = rank_words(scheme, found.candidates)
    if order:
        yield f"Order: {order}."
    if found.next is not None:
        yield from next_words(found.next, words)
    elif len(found.candidates) > 1:
        yield "Nothing that can be seen from outside was found to tell these apart: look at the parts themselves."
    if found.interrupted:
        yield "Interrupted: not all pairs were weighed."
    yield CAUTION


def _json(scheme: Scheme, file: Path, found: Diagnosis) -> dict[str, Any]:
    from interlock.explain.diagnosis import meaning, rank_words

    following = found.next
    return {
        "scheme": os.fspath(file),
        "candidates": [list(c.names) for c in found.candidates],
        "means": [meaning(scheme, c) for c in found.candidates],
        "weights": [c.weight for c in found.candidates],
        "classes": [[list(found.candidates[i].names) for i in members] for members in found.classes],
        "order": rank_words(scheme, found.candidates),
        "weighed": {"sets_of_up_to": found.size, "complete": not found.interrupted},
        "next": None
        if following is None
        else {
            "how": str(following.how),
            "step": following.step or None,
            "steps": list(following.through),
            "rest": dict(following.rest) if following.rest is not None else None,
            "set": dict(following.set) if following.set is not None else None,
            "wait_s": following.wait_s,
            "look_at": list(following.look_at),
            "gain_bits": round(following.gain, 6),
            "outcomes": [
                {"seen": dict(o.seen), "leaves": [list(found.candidates[i].names) for i in o.leaves]}
                for o in following.outcomes
            ],
        },
    }


# --- what is refused


def _refused(findings: Sequence[Finding], name: str, source: Source | None, *, as_json: bool) -> int:
    if as_json:
        print_json({"findings": [finding_json(f, name) for f in findings]})
    else:
        print_findings(findings, source, name, sys.stderr)
    return Exit.BAD_INPUT


def _refuse_file(error: SchemeError, file: Path, *, as_json: bool) -> NoReturn:
    from interlock.scheme.read import open_source

    try:
        source: Source | None = open_source(file)
    except SchemeError:
        source = None
    raise typer.Exit(_refused(error.findings, os.fspath(file), source, as_json=as_json)) from error


def _stop(message: str, help_text: str) -> NoReturn:
    sys.stderr.write(f"{message}\n" + (f"  {help_text}\n" if help_text else ""))
    raise typer.Exit(Exit.BAD_INPUT)
