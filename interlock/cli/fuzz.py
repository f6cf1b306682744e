"""`interlock fuzz`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from interlock.cli.opened import opened
from interlock.cli.render import count_text, print_json
from interlock.cli.status import Exit
from interlock.fuzz.against import Answer, Contradiction, Proved, found_against_proof
from interlock.fuzz.as_case import AsCase, as_case
from interlock.fuzz.campaign import Campaign, Options, Report, Result
from interlock.fuzz.faults import FaultSetError
from interlock.fuzz.region import TruthError
from interlock.fuzz.story import claim_text, facts, story
from interlock.scheme.grammar import GrammarError, nearest, read_time
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.units import lasted_text, time_text


def fuzz(
    file: Path,
    *,
    examples: int,
    seed: int,
    only: str,
    given: list[str],
    more: int,
    limit: str,
    against_proof: bool,
    as_json: bool,
) -> int:
    """Attack the claims and tell what was found."""
    scheme = opened(file, as_json=as_json)
    claims = [claim for claim in scheme.claims if only.lower() in claim.name.lower()]
    if not claims:
        what = f"no claim has `{only}` in its name" if only and scheme.claims else "the scheme claims nothing"
        return _bad(f"{file}: {what}")
    faults = [(name, scheme.fault(name)) for name in given]
    for name, fault in faults:
        if fault is None:
            known = [*scheme.faults, *scheme.excluded_faults]
            return _bad(f"there is no fault `{name}`: {nearest(name, known) or 'PART.mode, such as `K1.welded`'}")
    chosen = tuple(dict.fromkeys(fault for _, fault in faults if fault))
    try:
        seconds = read_time(limit) / 1e6 if limit else None
    except GrammarError as error:
        return _bad(f"--time {limit}: {error.message}; {error.hint}")
    terminal = sys.stderr.isatty() and not as_json
    options = Options(examples, seed, chosen, more, seconds)
    try:
        report = Campaign(scheme, claims, options, _progress if terminal else lambda _: None).run()
    except (FaultSetError, TruthError) as error:
        return _bad(f"{file}: {', '.join(given) or 'nothing'} can't be looked at: {error}")
    if terminal:
        sys.stderr.write("\r" + " " * 60 + "\r")
    contradictions = found_against_proof(scheme, report, _prove) if against_proof else ()
    again = _again(file, options, only)
    if as_json:
        print_json(_json(scheme, file, report, options, contradictions, against_proof=against_proof, again=again))
    else:
        _print(scheme, report, contradictions, against_proof=against_proof, again=again)
    if contradictions:
        return Exit.FAULT_OF_THE_TOOL
    if report.violated:
        return Exit.FINDING
    return Exit.INTERRUPTED if report.cut_short == "interrupted" else Exit.GOOD


def _bad(message: str) -> int:
    sys.stderr.write(message + "\n")
    return Exit.BAD_INPUT


def _prove(scheme: Scheme, claim: Claim, faults: tuple[Fault, ...]) -> Answer:
    from interlock.proof.prove import prove

    verdict = prove(scheme, claim, faults, margins=False, trace=False)
    return Answer(Proved(str(verdict.outcome)), verdict.exposure_us)


def _progress(report: Report) -> None:
    if report.examples % 5 == 0:
        found = f", {len(report.violated)} violated" if report.violated else ""
        sys.stderr.write(f"\r{count_text(report.examples, 'example')}, {report.seconds:.0f} s{found}   ")
        sys.stderr.flush()


def _again(file: Path, options: Options, only: str) -> str:
    """The command that brings the same about again."""
    import shlex

    words = ["interlock", "fuzz", str(file), "--examples", str(options.examples), "--seed", str(options.seed)]
    words += ["--claim", only] if only else []
    for fault in options.given:
        words += ["--with", fault.name]
    words += ["--faults", str(options.more)] if options.more else []
    return shlex.join(words)


def _print(
    scheme: Scheme, report: Report, contradictions: tuple[Contradiction, ...], *, against_proof: bool, again: str
) -> None:
    out = sys.stdout.write
    for result in report.results:
        if result.found:
            _print_found(scheme, result)
        else:
            seen = "never seen" if result.longest_us is None else f"{time_text(result.longest_us)} seen"
            out(
                f"not violated  {result.claim.name}: {seen}, {time_text(result.claim.longer_than.us)} allowed "
                f"({count_text(result.examples, 'example')})\n"
            )
    for contradiction in contradictions:
        out(f"AGAINST THE PROOF  {contradiction.says}\n")
    if against_proof and not contradictions:
        out("nothing was found against the proof\n")
    cut = f" ({report.cut_short})" if report.cut_short else ""
    violated = f"{len(report.violated)} violated" if report.violated else "none violated, which proves nothing"
    claims, examples = count_text(len(report.results), "claim"), count_text(report.examples, "example")
    out(f"{claims}, {examples}{cut}: {violated}\n")
    if report.violated or contradictions:
        out(f"the same again: {again}\n")


def _print_found(scheme: Scheme, result: Result) -> None:
    found, out = result.found, sys.stdout.write
    assert found is not None
    lasts = ", and goes on" if found.endless else ""
    faults = "".join(f"  with {name}\n" for name in found.script.plan.names)
    out(
        f"VIOLATED  {result.claim.name}: {lasted_text(found.exposure_us)} seen{lasts}, "
        f"{time_text(result.claim.longer_than.us)} allowed (example {result.found_at})\n"
        f"  {claim_text(scheme, result.claim)}\n{faults}"
    )
    for line in story(scheme, found):
        at = f"at {time_text(line.at_us)}:" if line.at_us else "at power-up:"
        for number, says in enumerate(line.says):
            out(f"  {at if number == 0 else '':<14} {says}\n")
    case = as_case(scheme, found)
    if case:
        out("  as a case of the scheme, which fails until this is mended:\n")
        sys.stdout.writelines(f"  {line}\n" for line in case.text.splitlines())
    else:
        out("  no case of the scheme can bring this about: a case gives no truth, and resets only as presses\n")


def _json(
    scheme: Scheme,
    file: Path,
    report: Report,
    options: Options,
    contradictions: tuple[Contradiction, ...],
    *,
    against_proof: bool,
    again: str,
) -> dict[str, Any]:
    data: dict[str, Any] = {
        "scheme": str(file),
        "seed": options.seed,
        "examples": report.examples,
        "cut_short": report.cut_short or None,
        "violated": bool(report.violated),
        "claims": [_claim_json(scheme, result) for result in report.results],
        "again": again,
    }
    if against_proof:
        data["against_proof"] = [{"claim": c.claim.name, "message": c.says} for c in contradictions]
    return data


def _claim_json(scheme: Scheme, result: Result) -> dict[str, Any]:
    found = result.found
    exposure = found.exposure_us if found else result.longest_us
    data: dict[str, Any] = {
        "claim": result.claim.name,
        "violated": found is not None,
        "exposure_s": None if exposure is None else exposure / 1e6,
        "allowed_s": result.claim.longer_than.us / 1e6,
        "examples": result.examples,
    }
    if found:
        case: AsCase | None = as_case(scheme, found)
        steps, now = [], 0
        for step in found.script.steps:
            steps.append(facts(scheme, step, now * scheme.scan_us))
            now += step.scans
        data |= {
            "found_at": result.found_at,
            "endless": found.endless,
            "faults": list(found.script.plan.names),
            "story": [{"at_s": line.at_us / 1e6, "says": list(line.says)} for line in story(scheme, found)],
            "steps": steps,
            "case": case.text if case else None,
        }
    return data
