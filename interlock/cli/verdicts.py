"""All that the tool says about a scheme by itself, as plain data: for a record, and for weighing one again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from interlock.check.run import check
from interlock.cli.cases import cases_json
from interlock.cli.prove import judged, verdicts_json
from interlock.cli.render import count_text, finding_json
from interlock.logic.cases import run_case
from interlock.proof.prove import BUDGET, Outcome
from interlock.scheme.model import Scheme


@dataclass(frozen=True)
class Verdicts:
    """The answers of `prove`, `check` and `cases` as their `--json` gives them, each summed up in words, and whether
    every claim holds and every case passes."""

    data: dict[str, Any]
    counts: dict[str, str]
    good: bool


def verdicts(scheme: Scheme, file: str) -> Verdicts:
    """Work all of it out, with a line of progress on a terminal. `file` is what the scheme is called in the data."""
    claims = list(scheme.claims)
    found = list(judged(scheme, claims, (), BUDGET))
    findings = check(scheme)
    cases = [run_case(scheme, case) for case in scheme.cases]
    outcomes = {outcome: sum(v.outcome is outcome for v in found) for outcome in Outcome}
    said = ", ".join(f"{n} {'hold' if o is Outcome.HOLDS and n != 1 else o}" for o, n in outcomes.items() if n)
    failed = sum(not case.passed for case in cases)
    return Verdicts(
        {
            "prove": verdicts_json(file, scheme, claims, found),
            "check": [finding_json(f, file) for f in findings],
            "cases": cases_json(file, scheme.scan_us, cases),
        },
        {
            "prove": f"{count_text(len(found), 'claim')}: {said}" if found else "no requirements",
            "check": count_text(len(findings), "finding") if findings else "no findings",
            "cases": f"{count_text(len(cases), 'case')}: {f'{failed} failed' if failed else 'all passed'}"
            if cases
            else "no cases",
        },
        outcomes[Outcome.HOLDS] == len(found) and not failed,
    )
