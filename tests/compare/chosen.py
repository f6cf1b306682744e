"""A few mutants of a scheme, of each kind of mistake about as often."""

from __future__ import annotations

import random
from collections import Counter

from interlock.logic.mutants import Mistake, Mutant, mutants
from interlock.scheme.model import Scheme


def chosen(rng: random.Random, scheme: Scheme, most: int, seen: Counter[Mistake]) -> list[Mutant]:
    """So many mutants, each of a kind that was chosen least so far (`seen` counts): of all there are, most move a
    threshold or add a block."""
    every = list(mutants(scheme, step=1_000_000))
    rng.shuffle(every)
    found: list[Mutant] = []
    while every and len(found) < most:
        found.append(min(every, key=lambda m: seen[m.mistake]))
        every.remove(found[-1])
        seen[found[-1].mistake] += 1
    return found
