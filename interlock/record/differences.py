"""Verdicts stored on a visit against those the tool gives now, on the same scheme."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Difference:
    """One answer that is another now: of which command, on what, and both in words ("" where there was or is none)."""

    command: str
    name: str
    then: str
    now: str


def differences(then: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Difference, ...]:
    """All that differs, in the order of commands and names. A trace may be another as long as the verdict is the same.

    Raises KeyError, TypeError where what was stored is not what the commands give.
    """
    found: list[Difference] = []
    for command, words in (("prove", _claims), ("check", _findings), ("cases", _cases)):
        before, after = words(then[command]), words(now[command])
        for name in dict.fromkeys((*before, *after)):
            if before.get(name) != after.get(name):
                found.append(Difference(command, name, before.get(name, ""), after.get(name, "")))
    return tuple(found)


def _claims(data: Any) -> dict[str, str]:
    found = {}
    for claim in data["claims"]:
        worst = claim["exposure_s"]
        exposure = "" if worst is None else f", {worst:g} s"
        margins = ", ".join(
            f"{'none' if m['value'] is None else format(m['value'], 'g')} {m['unit']} on {m['quantity']} {m['limit']}"
            for m in claim["margins"]
        )
        found[claim["claim"]] = (
            f"{claim['verdict']}{exposure}{' without end' if claim['endless'] else ''} of {claim['allowed_s']:g} s"
            + (f", margin {margins}" if margins else "")
        )
    found |= dict.fromkeys(data["not_protected"], "not protected")
    return found | dict.fromkeys(data["assumptions"], "assumed")


def _findings(data: Any) -> dict[str, str]:
    return {f"{f['id']} {f['name']}".strip() + f", line {f['line']}": f["message"] for f in data}


def _cases(data: Any) -> dict[str, str]:
    return {case["case"]: "passed" if case["passed"] else "failed" for case in data["cases"]}
