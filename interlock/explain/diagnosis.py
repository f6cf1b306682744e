"""A diagnosis in words: what each candidate would mean, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.diagnose.candidates import Candidate
from interlock.diagnose.following import How, Next
from interlock.explain.injection import happened
from interlock.explain.phrases import text
from interlock.logic.program import Setting
from interlock.plan.sheet import PRESSED
from interlock.plan.wrong import Slip, Wrong
from interlock.scheme.model import Fault, Limit, Scheme
from interlock.scheme.units import MICRO, time_text, value_text
from interlock.scheme.words import Mode, Part

NOTHING = "nothing is wrong"


def meaning(scheme: Scheme, candidate: Candidate) -> str:
    """What the candidate says has happened, with the terminals and wires to look at where the scheme names them."""
    return "; ".join(_one(scheme, wrong) for wrong in candidate.wrongs) or NOTHING


def _one(scheme: Scheme, wrong: Wrong) -> str:
    if isinstance(wrong, Slip):
        return _typed(scheme, wrong)
    said = text(happened(scheme, wrong))
    labels = list(dict.fromkeys(label for single in wrong.single() for label in _labels(scheme, single)))
    where = ""
    if wrong.mode is Mode.SWAPPED and not wrong.together and wrong.part is Part.OUTPUT:
        where = f" at {scheme.outputs[wrong.parts[0]].unit}"
    return said + where + (f" ({', '.join(labels)})" if labels else "")


def _labels(scheme: Scheme, single: Fault) -> Iterator[str]:
    for name in single.parts:
        part = scheme.outputs.get(name) or scheme.lines.get(name) or scheme.sensors.get(name)
        if part is not None:
            yield from (
                f"{kind} {label}" for kind, label in (("terminal", part.terminal), ("wire", part.wire)) if label
            )


def _typed(scheme: Scheme, slip: Slip) -> str:
    rule = scheme.rules[slip.rule]
    way = "more" if slip.more else "less"
    trigger = rule.trips if slip.setting in (Setting.TRIP_LIMIT, Setting.TRIP_DELAY) else rule.clears
    what = "trip" if trigger is rule.trips else "clear"
    if slip.setting in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT) and isinstance(trigger.test, Limit):
        watched = scheme.sensors.get(rule.watched) or scheme.readings[rule.watched]
        return f"{slip.rule}'s {what} limit is typed {way} than {value_text(trigger.test.value, watched.kind)}"
    if slip.setting is Setting.OVERRIDE:
        return f"{slip.rule}'s longest override is typed {way} than it should be"
    return f"{slip.rule}'s {what} delay is typed {way} than {time_text(trigger.delay.us)}"


def rank_words(scheme: Scheme, candidates: Sequence[Candidate]) -> str:
    """Why they stand in this order."""
    if len(candidates) < 2:
        return ""
    said = "fewest faults first"
    if any(c.rate is not None for c in candidates):
        said += "; of as many, those with rates by these, the highest first, then the others in the scheme's order"
    elif scheme.rates:
        said += "; the scheme gives no rates for these, so each counts the same"
    else:
        said += "; the scheme gives no rates, so of as many each counts the same"
    return said


def next_words(following: Next, names: Sequence[str]) -> Iterator[str]:
    """What to do next, line by line. `names`: the candidates in words."""
    look = _listed(following.look_at)
    match following.how:
        case How.STEP:
            through = following.through
            steps = f"step {through[0]}" if len(through) == 1 else f"steps {through[0]} to {through[-1]}"
            yield f"Next: do {steps} of the sheet ({time_text(following.wait_s * MICRO)} of waiting), look at {look}."
        case How.LOOK:
            yield f"Next: look at {look}, with all else as it is."
        case How.STIMULUS:
            yield "Next: with a value in each sensor's place on the bench, never by cooling or draining a pack,"
            yield f"  bring the installation to rest: {_set(following.rest or {})}."
            if following.set:
                yield f"  Then: {_set(following.set)}."
            most = time_text(following.wait_s * MICRO)
            yield f"  Wait until nothing changes any more, at most {most}, and look at {look}."
    for outcome in following.outcomes:
        seen = ", ".join(f"{name} {word}" for name, word in outcome.seen.items())
        left = [names[i] for i in outcome.leaves]
        some = ", ".join(left[:4]) + (f" and {len(left) - 4} more" if len(left) > 4 else "")
        yield f"  {seen}: leaves {some}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + f" and {names[-1]}"


def _set(given: Mapping[str, str]) -> str:
    return ", ".join(f"press {name}" if word == PRESSED else f"{name} {word}" for name, word in given.items())
