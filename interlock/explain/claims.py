"""Requirements and cases, in words."""

from __future__ import annotations

from interlock.explain.conditions import (
    number,
    plain_conditions,
    plain_time,
    time,
    true_all,
    true_any,
    value,
)
from interlock.explain.document import Item, Plain
from interlock.explain.measured import why
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import DEMANDS, DEMANDS_AT_ALL, SIDES_TRUE, STATES
from interlock.explain.words import Say
from interlock.scheme.model import Case, Claim, Expectation, Scheme, Setting, Step
from interlock.scheme.units import time_text
from interlock.scheme.words import TWO_WORDS, Must, State


def requirements(scheme: Scheme) -> list[Item]:
    """Each requirement in words, its paths together."""
    by_name: dict[str, list[Claim]] = {}
    for claim in scheme.claims:
        by_name.setdefault(claim.requirement, []).append(claim)
    return [_requirement(scheme, name, claims) for name, claims in by_name.items()]


def _requirement(scheme: Scheme, name: str, claims: list[Claim]) -> Item:
    first = claims[0]
    sentences = [_demand(scheme, claims)]
    if first.must is Must.NEVER_STOPPED and any(rule.manual for rule in scheme.rules.values()):
        sentences.append(say(Say.REQUIREMENT_ATTENDED if first.attended else Say.REQUIREMENT_UNATTENDED))
    if first.by_running:
        sentences.append(say(Say.REQUIREMENT_PROTECTS))
    data: dict[str, Plain] = {
        "must": str(first.must),
        "protects": first.protects,
        "while": plain_conditions(scheme, first.conditions),
        "longer_than": plain_time(first.longer_than),
        "attended": first.attended,
        "claims": [
            {"claim": c.name, "path": c.path, "modes": [plain_conditions(scheme, a) for a in c.any_of]} for c in claims
        ],
        "why": first.why,
    }
    return Item(name, name, (*sentences, *why(first.why)), data=data)


def _demand(scheme: Scheme, claims: list[Claim]) -> Phrase:
    first = claims[0]
    plain, conditioned = (DEMANDS if first.longer_than.us else DEMANDS_AT_ALL)[first.must]
    names = listing(_path_words(scheme, claim) for claim in claims)
    fields: dict[str, Value] = {"paths": say(Say.EACH_OF, paths=names) if len(claims) > 1 else names}
    if first.longer_than.us:
        fields["time"] = time(scheme, first.longer_than)
    if first.conditions:
        return say(conditioned, **fields, conditions=true_all(scheme, first.conditions))
    return say(plain, **fields)


def _path_words(scheme: Scheme, claim: Claim) -> Value:
    if not claim.any_of:
        return claim.path
    return say(Say.PATH_IN_MODE, path=claim.path, conditions=true_any(scheme, claim.any_of))


def not_protected(scheme: Scheme) -> list[Item]:
    """Each claim on a path that nothing can stop."""
    return [
        Item(
            claim.name,
            claim.name,
            (say(Say.NOT_PROTECTED, path=claim.path, requirement=_demand(scheme, [claim])),),
            data={"requirement": claim.requirement, "path": claim.path},
        )
        for claim in scheme.not_protected
    ]


# --- cases


def cases(scheme: Scheme) -> list[Item]:
    """Each case, step by step."""
    return [
        Item(
            case.name,
            case.name,
            points=tuple(_step(scheme, number, step) for number, step in enumerate(case.steps, start=1)),
            data={"steps": [_step_facts(scheme, step) for step in case.steps], "seconds": _length(scheme, case)},
        )
        for case in scheme.cases
    ]


def _length(scheme: Scheme, case: Case) -> Plain:
    return number(sum(step.scans for step in case.steps) * scheme.scan_us)


def _step(scheme: Scheme, count: int, step: Step) -> Phrase:
    doings: list[Value] = [_set(scheme, setting) for setting in step.sets]
    if step.presses:
        doings.append(say(Say.STEP_PRESS, lines=listing(step.presses)))
    if step.faults:
        doings.append(say(Say.STEP_FAULT, faults=listing(f.name for f in step.faults)))
    if step.repairs:
        doings.append(say(Say.STEP_REPAIR, faults=listing(f.name for f in step.repairs)))
    if step.scans:
        doings.append(say(Say.STEP_FOR, time=time_text(step.scans * scheme.scan_us)))
    if step.expects:
        doings.append(say(Say.STEP_EXPECT, expected=listing(_expected(e) for e in step.expects)))
    words = say(Say.STEP, number=str(count), doings=listing(doings or [say(Say.STEP_LOOK)], Say.COMMA))
    return say(Say.STEP_NOTED, step=words, note=step.note.rstrip(". ")) if step.note else words


def _set(scheme: Scheme, setting: Setting) -> Phrase:
    if isinstance(setting.value, bool):
        return say(Say.STEP_TURN, name=setting.name, value=say(Say.ON if setting.value else Say.OFF))
    return say(Say.STEP_SET, name=setting.name, value=value(scheme, setting.signal, setting.name, setting.value))


def _expected(expectation: Expectation) -> Phrase:
    return say(Say.IS, name=expectation.name, value=say(_side(expectation)))


def _side(expectation: Expectation) -> Say:
    if isinstance(expectation.wanted, State):
        return STATES[expectation.wanted]
    sides = SIDES_TRUE[expectation.signal]
    assert sides is not None, f"nothing is expected of a {expectation.signal}"
    return sides[0] if expectation.wanted else sides[1]


def _step_facts(scheme: Scheme, step: Step) -> dict[str, Plain]:
    return {
        "set": {s.name: _set_fact(s) for s in step.sets},
        "press": [*step.presses],
        "fault": [f.name for f in step.faults],
        "repair": [f.name for f in step.repairs],
        "seconds": number(step.scans * scheme.scan_us),
        "expect": {e.name: _wanted_fact(e) for e in step.expects},
        "note": step.note,
    }


def _set_fact(setting: Setting) -> Plain:
    if isinstance(setting.value, bool):
        return "on" if setting.value else "off"
    return number(setting.value)


def _wanted_fact(expectation: Expectation) -> str:
    if isinstance(expectation.wanted, State):
        return str(expectation.wanted)
    return TWO_WORDS[expectation.signal][0 if expectation.wanted else 1]
