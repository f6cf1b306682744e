"""A sheet that anyone would write: each thing changed by itself from rest and back, all looked at; and its results."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

from interlock.diagnose.following import given_by, longest, position_of
from interlock.plan.predict import Prediction, predict
from interlock.plan.results import Results, StepResult
from interlock.plan.sheet import EITHER, PRESSED, Sheet, Step
from interlock.plan.sights import sights
from interlock.plan.stimuli import Stimuli
from interlock.records import replace
from interlock.scheme.model import Scheme


def obvious_sheet(scheme: Scheme, text: str = "") -> Sheet:
    """Every look that is certain for a healthy installation is expected."""
    stimuli = Stimuli(scheme)
    wait, rest = longest(scheme), position_of(stimuli, stimuli.rest)
    names = dict.fromkeys((sight.name for sight in sights(scheme)), "")
    back = [rest, *({stimuli.external[b]: PRESSED} for b in stimuli.resets)]
    given: list[Mapping[str, str]] = [*back]
    for change in stimuli.changes:
        if change.to(stimuli.rest) is not None:
            given += [given_by(stimuli, change), *back]
    digest = hashlib.sha256(text.encode()).hexdigest()
    sheet = Sheet(scheme.title, digest, tuple(Step(g, wait, names) for g in given), ())
    told = predict(scheme, sheet, [()]).told(0)
    steps = [
        replace(step, expect={name: word for name, word in seen.items() if word != EITHER})
        for step, seen in zip(sheet.steps, told, strict=True)
    ]
    return replace(sheet, steps=tuple(steps))


def results_of(sheet: Sheet, prediction: Prediction, number: int, steps: Sequence[int] | None = None) -> Results:
    """What people would write down with that set: of what may be either way, nothing. `steps` (from 1): those done."""
    found = []
    for i, (step, seen) in enumerate(zip(sheet.steps, prediction.told(number), strict=True), 1):
        if steps is None or i in steps:
            words = {name: None if word == EITHER else word for name, word in seen.items()}
            passed = all(words[name] in (None, expected) for name, expected in step.expect.items())
            found.append(StepResult(i, words, {}, passed, "AK"))
    return Results(sheet.scheme, sheet.scheme_digest, sheet.digest, tuple(found), "A. Keller", "2026-05-17")
