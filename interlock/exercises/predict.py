"""What will happen? A few acts, a wait, and of some paths whether they run."""

from __future__ import annotations

import random
from collections.abc import Iterator

from interlock.exercises.records import Kind, Question
from interlock.exercises.scene import Scene

ASKED = 4  # paths in a question
MOST_ACTS = 3
TRIES = 400


def predictions(scene: Scene, rng: random.Random) -> Iterator[Question]:
    """Questions of which no two turn on the same: what runs otherwise than at rest, and the rules' states. In at most a
    third of them nothing runs otherwise: a delay still runs, or a limit was not reached."""
    scheme = scene.scheme
    rest = scene.settled(())[0]
    switched = [name for name, path in scheme.paths.items() if path.outputs]
    known: set[tuple[object, ...]] = set()
    still = 0
    for _ in range(TRIES):
        acts = scene.random_acts(rng, MOST_ACTS)
        if scene.tired:
            return
        if not acts:
            continue
        look = scene.play(acts)[-1]
        sure = [path for path in switched if look.running[path] is not None]
        if len(sure) < 2:
            continue
        changed = [path for path in sure if look.running[path] is not rest.running[path]]
        _, seen = scene.told(acts)
        states = {name: state for name, (state, _) in seen.states.items()}
        turns_on = tuple(changed), tuple(states.values())
        # Without a change there must be a rule in a state of its own: a delay still runs, or holds on.
        if turns_on in known or not (changed or _undecided(scene, turns_on[1])):
            continue
        if not changed and 3 * (still + 1) > len(known) + 1:
            continue
        still += not changed
        known.add(turns_on)
        asked = rng.sample(changed, min(len(changed), ASKED - 1))
        others = [path for path in sure if path not in changed]
        asked += rng.sample(others, min(len(others), ASKED - len(asked)))
        asked.sort(key=switched.index)
        answer = tuple(bool(look.running[path]) for path in asked)
        yield Question(Kind.PREDICT, acts, tuple(asked), answer, scene.reasons(acts, asked))


def _undecided(scene: Scene, states: tuple[object, ...]) -> bool:
    """Whether the rules are not as they are at rest."""
    return states != scene.states_at_rest
