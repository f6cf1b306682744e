"""What `interlock prove` shows beside its verdicts when asked: twins of claims, and dead ends."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from interlock.cli.render import count_text
from interlock.explain.trace import Told, told
from interlock.proof.deadends import DeadEnd, Ending, Free, Undecided, dead_ends
from interlock.proof.twins import RuleTwin, Shown, Twin, Witness, twins
from interlock.scheme.model import Claim, Delay, Scheme
from interlock.scheme.units import time_text
from interlock.scheme.words import Must


def show_twins(scheme: Scheme, *, as_json: bool) -> tuple[list[dict[str, Any]], bool]:
    """The twins as plain data, and whether all are complete; printed where no JSON is wanted."""
    found = twins(scheme)
    if not as_json:
        for twin in found:
            sys.stdout.write(
                f"{'twin' if twin.complete else 'NO TWIN':<10} {twin.claim.name:<40} {_twin(scheme, twin)}\n"
            )
    return [_twin_json(scheme, twin) for twin in found], all(t.complete for t in found)


def _twin(scheme: Scheme, twin: Twin) -> str:
    path = twin.claim.path
    match twin.runs.shown:
        case Shown.SHOWN:
            runs = f"{path} can run ({_after(scheme, twin.runs)})"
        case Shown.NEVER:
            runs = f"{path} can never run"
        case Shown.UNDECIDED:
            runs = f"no run was found in which {path} runs"
    able = [r for r in twin.tripping if r.trips.shown is Shown.SHOWN]
    said = f"{count_text(len(able), 'rule')} of {len(twin.tripping)} that stop it can trip"
    for rule in twin.tripping:
        said += _not_shown(rule)
    return f"{runs}; {said}"


def _not_shown(rule: RuleTwin) -> str:
    match rule.trips.shown:
        case Shown.NEVER:
            return f"; {rule.rule} can never trip once it has been clear"
        case Shown.UNDECIDED:
            return f"; no run was found in which {rule.rule} trips"
        case Shown.SHOWN:
            return "" if rule.clears_again.shown is Shown.SHOWN else f"; {rule.rule} was not seen to clear again"


def _after(scheme: Scheme, witness: Witness) -> str:
    return f"{time_text(sum(part.scans for part in witness.trace) * scheme.scan_us)} after power-up"


def _twin_json(scheme: Scheme, twin: Twin) -> dict[str, Any]:
    return {
        "claim": twin.claim.name,
        "complete": twin.complete,
        "runs": _witness_json(scheme, twin.claim.path, twin.runs),
        "rules": [
            {
                "rule": rule.rule,
                "trips": _witness_json(scheme, twin.claim.path, rule.trips),
                "clears_again": str(rule.clears_again.shown),
            }
            for rule in twin.tripping
        ],
    }


def _witness_json(scheme: Scheme, path: str, witness: Witness) -> dict[str, Any]:
    return {"shown": str(witness.shown), "story": _story(scheme, path, witness.trace)}


def _story(scheme: Scheme, path: str, trace: Sequence[Told]) -> list[str]:
    """The run in sentences, without a claim's own ending."""
    claim = Claim("story", path, Must.NEVER_STOPPED, (), (), Delay(0, 0))
    return told(scheme, claim, trace)[:-1] if trace else []


def show_dead_ends(scheme: Scheme, *, stories: bool, as_json: bool) -> tuple[list[dict[str, Any]], bool]:
    """The answers as plain data, and whether all is free with a person at the reset; printed where no JSON is asked."""
    found = dead_ends(scheme)
    if not as_json:
        for ending in found:
            sys.stdout.write(_ending(ending))
            if isinstance(ending, DeadEnd) and ending.attended and stories:
                sys.stdout.writelines(f"    {sentence}\n" for sentence in _told(scheme, ending))
    return [_ending_json(scheme, e) for e in found], all(isinstance(e, Free) for e in found if e.attended)


def _ending(ending: Ending) -> str:
    who = "with a person at the reset" if ending.attended else "without a person at the reset"
    call = f" while {ending.called_by} calls for it" if ending.called_by else ""
    match ending:
        case Free():
            word, said = "free", "can always be got running again"
        case Undecided():
            word, said = "UNDECIDED", f"may or may not be got running again always: {ending.covered}"
        case DeadEnd():
            word = "DEAD END" if ending.attended else "waits"
            held = f", held by {', '.join(ending.manual or ending.held_by)}" if ending.held_by else ""
            said = f"can come to where it never runs again{held}"
    return f"{word:<10} {ending.path:<40} {who}{call}: {said}\n"


def _told(scheme: Scheme, ending: DeadEnd) -> list[str]:
    end = sum(part.scans for part in ending.trace) * scheme.scan_us
    stays = f" as long as {ending.called_by} calls for it" if ending.called_by else ", whatever comes"
    stay = "stays" if len(ending.held_by) == 1 else "stay"
    held = f": {' and '.join(ending.held_by)} {stay} active" if ending.held_by else ""
    return [
        *_story(scheme, ending.path, ending.trace),
        f"From {time_text(end)} on {ending.path} never runs again{stays}{held}.",
    ]


def _ending_json(scheme: Scheme, ending: Ending) -> dict[str, Any]:
    data: dict[str, Any] = {"path": ending.path, "attended": ending.attended, "called_by": ending.called_by or None}
    match ending:
        case Free():
            return {**data, "verdict": "free", "known_by": ending.by}
        case Undecided():
            return {**data, "verdict": "undecided", "covered": ending.covered}
        case DeadEnd():
            held = {"held_by": list(ending.held_by), "manual": list(ending.manual)}
            return {**data, "verdict": "dead_end", **held, "story": _told(scheme, ending)}
