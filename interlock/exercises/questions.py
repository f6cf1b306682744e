"""A set of questions of a scheme: always the same for the same seed."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from itertools import islice

from interlock.exercises.find_setting import find_settings
from interlock.exercises.predict import predictions
from interlock.exercises.records import Kind, Question
from interlock.exercises.scene import Scene
from interlock.exercises.which_fault import which_faults

_MAKE: Mapping[Kind, Callable[[Scene, random.Random], Iterator[Question]]] = {
    Kind.PREDICT: predictions,
    Kind.WHICH_FAULT: which_faults,
    Kind.FIND_SETTING: find_settings,
}
assert set(_MAKE) == set(Kind), set(Kind) - set(_MAKE)

USUAL: Mapping[Kind, int] = {Kind.PREDICT: 6, Kind.WHICH_FAULT: 4, Kind.FIND_SETTING: 3}


def questions(scene: Scene, seed: int, counts: Mapping[Kind, int] = USUAL) -> tuple[Question, ...]:
    """So many of each kind, or as many as the scheme has; the same whatever was asked of the scene before."""
    scene.restless = 0
    found: list[Question] = []
    for kind, count in counts.items():
        found += islice(_MAKE[kind](scene, random.Random(f"{seed} {kind}")), count)
    return tuple(found)
