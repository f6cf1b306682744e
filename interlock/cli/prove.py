"""`interlock prove`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

from interlock.cli.opened import opened
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.proof.cores import proved
from interlock.proof.prove import BUDGET, Margin, Outcome, Verdict
from interlock.scheme.grammar import nearest
from interlock.scheme.model import Claim, Fault, Limit, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.units import MICRO, lasted_text, time_text, value_text


def prove(
    file: Path,
    with_faults: list[str],
    only: str,
    *,
    case: bool,
    stories: bool,
    budget: int,
    drawn: Path | None,
    twins: bool = False,
    dead_ends: bool = False,
    as_json: bool,
) -> int:
    """Judge the claims; what is found is shown as it is found, and kept when interrupted."""
    scheme = opened(file, as_json=as_json, elements=bool(with_faults))  # without faults no lead is lost
    faults = _faults(scheme, with_faults)
    if faults is None:
        return Exit.BAD_INPUT
    claims = [c for c in scheme.claims if only.lower() in c.name.lower()]
    if not claims:
        sys.stderr.write(f"{file}: no claim has `{only}` in its name\n" if only else f"{file} has no requirements\n")
        return Exit.BAD_INPUT
    found: list[Verdict] = []
    interrupted = False
    try:
        for verdict in judged(scheme, claims, faults, budget or BUDGET):
            found.append(verdict)
            if not as_json:
                _print(scheme, verdict, faults, case=case, stories=stories)
    except KeyboardInterrupt:
        interrupted = True
    except (LoopError, ValueError) as error:
        sys.stderr.write(f"these faults can't be there together: {error}\n")
        return Exit.BAD_INPUT
    if drawn:
        from interlock.cli.counterexample import drawn_to

        try:
            files = drawn_to(scheme, found, faults, drawn)
        except OSError as error:
            sys.stderr.write(f"{drawn} cannot be written: {error.strerror or error}\n")
            return Exit.BAD_INPUT
        if not as_json:
            sys.stdout.writelines(f"drawn: {name}\n" for name in files)
    beside, sound = _beside(scheme, twins=twins, dead_ends=dead_ends, stories=stories, as_json=as_json)
    _finish(file, scheme, claims, found, faults, beside, interrupted=interrupted, case=case, as_json=as_json)
    if interrupted:
        return Exit.INTERRUPTED
    return Exit.GOOD if sound and all(v.outcome is Outcome.HOLDS for v in found) else Exit.FINDING


def _beside(
    scheme: Scheme, *, twins: bool, dead_ends: bool, stories: bool, as_json: bool
) -> tuple[dict[str, Any], bool]:
    """Twins and dead ends, where they are asked for: of the sound installation, whatever faults are planted."""
    data: dict[str, Any] = {}
    sound = True
    if twins or dead_ends:
        from interlock.cli.beside import show_dead_ends, show_twins

        if twins:
            data["twins"], complete = show_twins(scheme, as_json=as_json)
            sound &= complete
        if dead_ends:
            data["dead_ends"], none = show_dead_ends(scheme, stories=stories, as_json=as_json)
            sound &= none
    return data, sound


def _faults(scheme: Scheme, names: list[str]) -> tuple[Fault, ...] | None:
    faults = []
    for name in names:
        fault = scheme.fault(name)
        if fault is None:
            known = [*scheme.faults, *scheme.excluded_faults]
            sys.stderr.write(f"there is no fault `{name}`: {nearest(name, known) or 'see `interlock explain`'}\n")
            return None
        faults.append(fault)
    return tuple(faults)


def judged(scheme: Scheme, claims: list[Claim], faults: tuple[Fault, ...], budget: int) -> Iterator[Verdict]:
    """Verdicts one by one, with a line of progress on a terminal."""
    line, verdicts = Progress(), proved(scheme, claims, faults, budget=budget)
    try:
        for number, claim in enumerate(claims, 1):
            line.say(f"{number} of {len(claims)}: {claim.name}")
            try:
                verdict = next(verdicts)
            finally:
                line.done()
            yield verdict
    finally:
        verdicts.close()


_SHOWN = {
    Outcome.HOLDS: "holds",
    Outcome.VIOLATED: "VIOLATED",
    Outcome.UNDECIDED: "UNDECIDED",
    Outcome.VACUOUS: "VACUOUS",
}
assert set(_SHOWN) == set(Outcome), set(Outcome) - set(_SHOWN)


def _print(scheme: Scheme, verdict: Verdict, faults: tuple[Fault, ...], *, case: bool, stories: bool) -> None:
    claim = verdict.claim
    head = f"{_SHOWN[verdict.outcome]:<10} {claim.name:<40} "
    tell([head + said(scheme, verdict)], len(head))
    if verdict.trace and case:
        from interlock.cli.counterexample import NO_CASE, case_text

        sys.stdout.write(case_text(scheme, verdict, faults) or NO_CASE)
    elif verdict.trace and stories:
        from interlock.explain.trace import told

        tell(f"    {sentence}" for sentence in told(scheme, claim, verdict.trace))
        if verdict.shortest:
            sys.stdout.write("    No history that leads there is shorter.\n")
    sys.stdout.flush()


def said(scheme: Scheme, verdict: Verdict) -> str:
    """What a verdict comes to, in a few words."""
    allowed = time_text(verdict.claim.longer_than.us)
    match verdict.outcome:
        case Outcome.HOLDS:
            margins = [m for m in verdict.margins if m.value is not None]
            said = ", ".join(f"{_margin_text(scheme, m)} on {m.condition.name}" for m in margins)
            worst = ("at most " if verdict.covered else "") + lasted_text(verdict.exposure_us or 0)
            return f"{worst} of {allowed}" + (f"; margin {said}" if said else "")
        case Outcome.VIOLATED:
            worst = "without end" if verdict.exposure_us is None else lasted_text(verdict.exposure_us)
            return f"{worst}, {allowed} allowed" if verdict.endless or verdict.exposure_us else f"beyond {allowed}"
        case Outcome.VACUOUS:
            return verdict.reason
        case Outcome.UNDECIDED:
            return f"{verdict.reason}; {verdict.covered}"


def _margin_text(scheme: Scheme, margin: Margin) -> str:
    kind = scheme.quantities[margin.condition.name].kind
    return value_text(margin.value or 0, kind, difference=True) + ("" if margin.known else " at least")


def _finish(
    file: Path,
    scheme: Scheme,
    claims: list[Claim],
    found: list[Verdict],
    faults: tuple[Fault, ...],
    beside: dict[str, Any],
    *,
    interrupted: bool,
    case: bool,
    as_json: bool,
) -> None:
    if as_json:
        print_json({**verdicts_json(str(file), scheme, claims, found, faults, case=case), **beside})
        return
    rests_on = assumptions(scheme)
    for claim in _unprotected(scheme, claims):
        reason = scheme.paths[claim.path].unswitched
        head = f"{'unprotected':<10} {claim.name:<39} "
        tell([f"{head}nothing switches {claim.path}: {reason}"], len(head))
    tell(f"assumed: {said}" for said in rests_on)
    counts = {outcome: sum(v.outcome is outcome for v in found) for outcome in Outcome}
    said = ", ".join(f"{n} {'hold' if o is Outcome.HOLDS and n != 1 else o}" for o, n in counts.items() if n)
    rest = f"; interrupted with {len(claims) - len(found)} not judged" if interrupted else ""
    planted = f" with {', '.join(f.name for f in faults)}" if faults else ""
    sys.stdout.write(f"{count_text(len(found), 'claim')}{planted}: {said or 'none judged'}{rest}\n")


def verdicts_json(
    file: str,
    scheme: Scheme,
    claims: list[Claim],
    found: list[Verdict],
    faults: tuple[Fault, ...] = (),
    *,
    case: bool = False,
) -> dict[str, Any]:
    """All verdicts as plain data; `found` may be fewer than the claims, where judging was interrupted."""
    return {
        "scheme": file,
        "holds": len(found) == len(claims) and all(v.outcome is Outcome.HOLDS for v in found),
        "faults": [f.name for f in faults],
        "claims": [verdict_json(scheme, v, faults, case=case) for v in found],
        "not_judged": [c.name for c in claims[len(found) :]],
        "not_protected": [c.name for c in _unprotected(scheme, claims)],
        "assumptions": assumptions(scheme),
    }


def _unprotected(scheme: Scheme, claims: list[Claim]) -> list[Claim]:
    asked = {c.requirement for c in claims}
    return [c for c in scheme.not_protected if c.requirement in asked]


def assumptions(scheme: Scheme) -> list[str]:
    """What a sensor's intervals forbid beyond the declared ties: assumed by every verdict."""
    from interlock.check.assumptions import assumed
    from interlock.check.truths import Truths

    return [finding.message for finding in assumed(scheme, Truths(scheme))]


def verdict_json(
    scheme: Scheme, verdict: Verdict, faults: tuple[Fault, ...] = (), *, case: bool = False
) -> dict[str, Any]:
    """One verdict as plain data. `exposure_s` is null where it has none or no bound (`endless` tells which)."""
    margins = [_margin_json(scheme, m) for m in verdict.margins]
    data: dict[str, Any] = {
        "claim": verdict.claim.name,
        "verdict": str(verdict.outcome),
        "exposure_s": None if verdict.exposure_us is None else verdict.exposure_us / MICRO,
        "endless": verdict.endless,
        "allowed_s": verdict.claim.longer_than.us / MICRO,
        "margin": _first(margins),
        "margins": margins,
        "trace": _trace_json(scheme, verdict),
        "trace_shortest": verdict.shortest,
        "reason": verdict.reason,
        "covered": verdict.covered,
    }
    if verdict.trace:
        from interlock.explain.trace import told

        data["story"] = told(scheme, verdict.claim, verdict.trace)
        if case:
            from interlock.cli.counterexample import case_text

            data["case"] = case_text(scheme, verdict, faults) or None
    return data


def _margin_json(scheme: Scheme, margin: Margin) -> dict[str, Any]:
    condition = margin.condition
    assert isinstance(condition.test, Limit)
    kind = scheme.quantities[condition.name].kind
    value = None if margin.value is None else _plain(margin.value)
    return {
        "quantity": condition.name,
        "limit": f"{condition.test.compare!s} {value_text(condition.test.value, kind)}",
        "value": value,
        "unit": kind.difference_unit,
        "known": margin.known,
    }


def _first(margins: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The margin of the first limit; null where it can move to the end of its span."""
    if not margins or margins[0]["value"] is None:
        return None
    return {"value": margins[0]["value"], "unit": margins[0]["unit"]}


def _plain(micro: int | Fraction) -> int | float:
    exact = Fraction(micro, MICRO)
    return int(exact) if exact.denominator == 1 else float(exact)


def _trace_json(scheme: Scheme, verdict: Verdict) -> list[dict[str, Any]]:
    """Worlds in order, each with its first scan and how many scans it lasts: expanded, it is the run scan by scan."""
    if not verdict.trace:
        return []
    from interlock.explain.trace import moments

    return [
        {
            "first_scan": m.first,
            "scans": m.scans,
            "at_s": m.first * scheme.scan_us / MICRO,
            "truth": {n: _plain(v) for n, v in m.truth.items()},
            "readings": {n: _plain(v) for n, v in m.world.readings.items()},
            "lines": dict(m.world.lines),
            "faults": sorted(f.name for f in m.world.faults),
            "power_cycled": sorted(m.world.cycles),
            "bad": m.bad,
            "may_run": {p: run for p, run in m.seen.may_run.items() if run} if m.seen else {},
        }
        for m in moments(verdict.trace)
    ]
