"""`interlock cases`."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from interlock.cli.opened import opened
from interlock.cli.render import count_text, print_json
from interlock.cli.status import Exit
from interlock.logic.cases import CaseResult, StepResult, run_case
from interlock.scheme.units import time_text


def cases(file: Path, only: str, *, as_json: bool) -> int:
    """Run the cases and show each; a failing step with what was expected, got, and every rule's state."""
    scheme = opened(file, as_json=as_json)
    chosen = [case for case in scheme.cases if only.lower() in case.name.lower()]
    if not chosen:
        what = f"no case has `{only}` in its name" if only and scheme.cases else "the scheme has no cases"
        if as_json:
            print_json({"scheme": str(file), "passed": False, "cases": [], "message": what})
        else:
            sys.stderr.write(f"{file}: {what}\n")
        return Exit.BAD_INPUT
    results = []
    for case in chosen:
        result = run_case(scheme, case)
        results.append(result)
        if not as_json:
            sys.stdout.writelines(f"{line}\n" for line in told(result, scheme.scan_us, str(file)))
    failed = sum(not r.passed for r in results)
    if as_json:
        print_json(cases_json(str(file), scheme.scan_us, results))
    else:
        verdict = f"{failed} failed" if failed else "all passed"
        sys.stdout.write(f"{count_text(len(results), 'case')}: {verdict}\n")
    return Exit.FINDING if failed else Exit.GOOD


def told(result: CaseResult, scan_us: int, file: str) -> Iterator[str]:
    """A case's outcome, line by line; of a failing step what was expected, got, and every rule's state."""
    yield f"{'passed' if result.passed else 'FAILED'}  {result.name}"
    for step in result.steps:
        if step.failures:
            end = time_text((step.last_scan + 1) * scan_us)
            yield f"  step {step.number} ({file}:{step.place.line}), at its end after {end}:"
            for failure in step.failures:
                where = f"{file}:{failure.place.line}:{failure.place.column}"
                yield f"    {where}: {failure.name}: expected {failure.expected}, got {failure.got}"
                yield from (f"      because {reason}" for reason in failure.reasons)
            yield "    the rules then:"
            yield from (f"      {rule.sentence()}" for rule in step.rules)


def cases_json(file: str, scan_us: int, results: Sequence[CaseResult]) -> dict[str, Any]:
    """All results as plain data."""
    return {
        "scheme": file,
        "passed": all(r.passed for r in results),
        "cases": [_json(r, scan_us) for r in results],
    }


def _json(result: CaseResult, scan_us: int) -> dict[str, Any]:
    return {
        "case": result.name,
        "line": result.place.line,
        "passed": result.passed,
        "steps": [_step_json(step, scan_us) for step in result.steps],
    }


def _step_json(step: StepResult, scan_us: int) -> dict[str, Any]:
    return {
        "step": step.number,
        "line": step.place.line,
        "starts_s": step.first_scan * scan_us / 1e6,
        "ends_s": (step.last_scan + 1) * scan_us / 1e6,
        "failures": [
            {
                "name": f.name,
                "expected": f.expected,
                "got": f.got,
                "line": f.place.line,
                "column": f.place.column,
                "because": list(f.reasons),
            }
            for f in step.failures
        ],
        "rules": [
            {
                "rule": r.rule,
                "state": str(r.state) if r.state else None,
                "timer_s": r.timer_us / 1e6,
                "in_force": r.in_force,
                "sees": r.sees,
            }
            for r in step.rules
        ],
    }
