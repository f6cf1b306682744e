"""At which readings does this path stop? All of them are found: between two limits nothing changes."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import pairwise

from interlock.exercises.records import Act, Kind, Question, Span
from interlock.exercises.scene import Scene
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.words import Combine, Signal

MOST_SPANS = 2
TRIES = 80


def find_settings(scene: Scene, rng: random.Random) -> Iterator[Question]:
    """Each path with each of the sensors whose reading alone stops it; of those with the same answer the first."""
    scheme = scene.scheme
    asked = [(path, sensors) for path in scheme.paths if scheme.paths[path].outputs for sensors in groups(scheme)]
    known: set[tuple[tuple[str, ...], tuple[Span, ...]]] = set()
    for path, sensors in rng.sample(asked, len(asked)):
        if scene.tired:
            return
        question = _about(scene, rng, path, sensors)
        if question is not None and (sensors, question.spans) not in known:
            known.add((sensors, question.spans))
            yield question


def groups(scheme: Scheme) -> list[tuple[str, ...]]:
    """Sensors that are given the same reading: those that a reading combines, and each that stands alone."""
    joint = [r.sensors for r in scheme.readings.values() if r.combine is not Combine.DIFFERENCE_OF]
    combined = {name for members in joint for name in members}
    return list(dict.fromkeys([*joint, *((name,) for name in scheme.sensors if name not in combined)]))


def _about(scene: Scene, rng: random.Random, path: str, sensors: tuple[str, ...]) -> Question | None:
    before = _running(scene, rng, path)
    if before is None:
        return None
    if before:
        return _asked(scene, before, path, sensors)
    # what begins at rest is the same in every set
    if (path, sensors) not in scene.settings:
        restless = scene.restless
        question = _asked(scene, before, path, sensors)
        scene.settings[path, sensors] = question, scene.restless - restless
        return question
    question, restless = scene.settings[path, sensors]
    scene.restless += restless
    return question


def _asked(scene: Scene, before: tuple[Act, ...], path: str, sensors: tuple[str, ...]) -> Question | None:
    valid = Span(
        max(scene.scheme.sensors[s].valid.low for s in sensors),
        min(scene.scheme.sensors[s].valid.high for s in sensors),
        True,
        True,
    )
    spans = stopping(scene, before, path, sensors, valid)
    whole = spans == (valid,)
    if not spans or whole or len(spans) > MOST_SPANS:
        return None
    within = 1
    reasons: dict[str, None] = {}
    for span in spans:
        for value in {span.first, (span.low + span.high) // 2, span.last}:
            within = max(within, scene.settled((*before, _given(sensors, value)), path)[1])
    for span in spans:
        acts = (*before, _given(sensors, (span.low + span.high) // 2, within))
        reasons.update(dict.fromkeys(scene.reasons(acts, (path,))))
    return Question(
        Kind.FIND_SETTING,
        before,
        (path,),
        (False,),
        tuple(reasons),
        sensors=sensors,
        spans=spans,
        within=within,
        valid=valid,
    )


def _given(sensors: tuple[str, ...], value: int, scans: int = 1) -> Act:
    return Act(scans, tuple((s, value) for s in sensors))


def _running(scene: Scene, rng: random.Random, path: str) -> tuple[Act, ...] | None:
    """Acts after which the path runs for good; None where none were found."""
    if scene.settled(())[0].running[path]:
        return ()
    long = max(scene.waits())
    for _ in range(TRIES):
        acts = tuple(scene.act(rng.choice(scene.changes), long) for _ in range(rng.randint(1, 2)))
        if scene.settled(acts)[0].running[path]:
            return acts
    return None


def stopping(
    scene: Scene, before: tuple[Act, ...], path: str, sensors: tuple[str, ...], valid: Span
) -> tuple[Span, ...]:
    """All valid readings of these sensors, given alike, at which the path comes to be stopped and stays so."""
    ends = sorted({valid.low, valid.high, *(v for v in _limits(scene.scheme, sensors) if valid.inside(v))})

    def stops(value: int) -> bool:
        look, _ = scene.settled((*before, _given(sensors, value)))
        return look.running[path] is False

    pieces: list[tuple[Span, bool]] = []
    for low, high in pairwise(ends):
        pieces.append((Span(low, low, True, True), stops(low)))
        if high - low > 1:
            pieces.append((Span(low, high, False, False), stops((low + high) // 2)))
    pieces.append((Span(ends[-1], ends[-1], True, True), stops(ends[-1])))
    found: list[Span] = []
    for span, stopped in pieces:
        if not stopped:
            continue
        last = found[-1] if found else None
        if last and last.high == span.low and (last.high_closed or span.low_closed):
            found[-1] = Span(last.low, span.high, last.low_closed, span.high_closed)
        else:
            found.append(span)
    return tuple(found)


def _limits(scheme: Scheme, sensors: tuple[str, ...]) -> Iterator[int]:
    """Where something may turn: the limits of every rule that looks at one of these sensors, by itself or combined, and
    the ends of what is valid at each input."""
    for rule in scheme.rules.values():
        reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
        members = reading.sensors if reading else (rule.watched,)
        if set(members) & set(sensors):
            yield from (t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit))
    for name in sensors:
        yield from (scheme.sensors[name].valid.low, scheme.sensors[name].valid.high)
