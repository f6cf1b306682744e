"""Which fault is this? One fault is planted at rest; what is seen after each act tells it from all others offered."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence

from interlock.exercises.records import Kind, Look, Otherwise, Question
from interlock.exercises.scene import Scene, difference
from interlock.scheme.model import Fault
from interlock.scheme.words import Mode

OFFERED = 4
MOST_ACTS = 2
TRIES = 60
SCRIPTS = 6  # tried for each fault
CANDIDATES = 24  # faults tried as others, those of the same parts or mode first
# What has no one course of events: it depends on how far a sensor drifts, or on when the power comes back.
LEFT_OUT = frozenset({Mode.DRIFTED, Mode.MISPLACED, Mode.POWER_CYCLED})


def which_faults(scene: Scene, rng: random.Random) -> Iterator[Question]:
    """Questions, each about another fault."""
    possible = [f for f in scene.faults if not f.together and f.mode not in LEFT_OUT]
    order = rng.sample(possible, min(len(possible), TRIES))
    for fault in order:
        if scene.tired:
            return
        question = _about(scene, rng, fault, possible)
        if question is not None:
            yield question


def _about(scene: Scene, rng: random.Random, fault: Fault, possible: list[Fault]) -> Question | None:
    for _ in range(SCRIPTS):
        acts = scene.random_acts(rng, MOST_ACTS)
        if not acts:
            continue
        sound = scene.play(acts)
        seen = scene.play(acts, frozenset({fault.name}))
        if told_apart(seen, sound, sound, fault.name) is None:
            continue
        others: dict[Fault, Otherwise] = {}
        for other in _alike(rng, fault, possible):
            apart = told_apart(seen, scene.play(acts, frozenset({other.name})), sound, other.name)
            if apart:
                others[other] = apart
            if len(others) == OFFERED - 1:
                break
        if len(others) < OFFERED - 1:
            continue
        offered = rng.sample([fault, *others], OFFERED)
        return Question(
            Kind.WHICH_FAULT,
            acts,
            tuple(f.name for f in offered),
            tuple(f is fault for f in offered),
            (),
            seen=seen,
            sound=sound,
            otherwise=tuple(others[f] for f in offered if f is not fault),
        )
    return None


def told_apart(seen: Sequence[Look], other: Sequence[Look], sound: Sequence[Look], name: str) -> Otherwise | None:
    """What would be seen for certain otherwise than it is, were it the other fault, `name`."""
    for number, (one, would, as_sound) in enumerate(zip(seen, other, sound, strict=True), 1):
        path = difference(one, would, as_sound)
        if path:
            return Otherwise(name, number, path, bool(would.running[path]))
    return None


def _alike(rng: random.Random, fault: Fault, possible: list[Fault]) -> list[Fault]:
    """Others that someone may take it for: of the same part or of the same mode first."""
    others = [f for f in possible if f is not fault]
    rng.shuffle(others)
    near = sorted(others, key=lambda f: not (set(f.parts) & set(fault.parts)) and f.mode is not fault.mode)
    return near[:CANDIDATES]
