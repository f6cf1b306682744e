"""A worst run found by the brute force as a list of worlds, to be replayed on the readable engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from interlock.scheme.model import Fault
from tests.support.brute import Search
from tests.support.brute_parts import Array
from tests.support.brute_solver import example
from tests.support.brute_truth import Config


@dataclass(frozen=True)
class Moment:
    """One scan of a run: true values, elements' readings (millionths, perhaps between two), external lines, the service
    faults there, units power-cycled, and whether it is a bad scan."""

    truth: Mapping[str, Fraction]
    readings: Mapping[str, Fraction]
    lines: Mapping[str, bool]
    faults: frozenset[Fault]
    cycles: frozenset[str]
    bad: bool


def worst_run(search: Search, longest: int = 12) -> list[Moment]:
    """A run from power-up that ends with as many bad scans as there can be (with `longest` of them where they never
    have to end)."""
    levels, endless = search.levels()
    bad = longest if endless else len(levels) - 1
    chain = _bad_chain(search, levels, bad)
    lead = [chain[0]]
    while lead[-1] != search.layout.start:
        lead.append(search.parent[lead[-1]])
    lead.reverse()
    moments = [_moment(search, a, b, bad=False) for a, b in pairwise(lead)]
    return moments + [_moment(search, a, b, bad=True) for a, b in pairwise(chain)]


def _bad_chain(search: Search, levels: list[Array], bad: int) -> list[int]:
    """States linked by bad steps, `bad` of them, found backward from a state of the last level."""
    if not bad:
        return [int(search.layout.start)]
    source, target = search.ends()
    state = int(np.nonzero(levels[min(bad, len(levels) - 1)])[0][0])
    chain = [state]
    for k in range(bad - 1, -1, -1):
        before = source[(target == state) & levels[min(k, len(levels) - 1)][source]]
        state = int(before[0])
        chain.append(state)
    return [int(search.reached[s]) for s in reversed(chain)]


def _moment(search: Search, state: int, after: int, *, bad: bool) -> Moment:
    """The inputs of one step between two states."""
    plan = search.plan
    for states, config, arisen, before in search.batches(np.array([state])):
        inputs, width = search.inputs_under(config)
        reached, condition, could = search.look(states, inputs, width, arisen, before)
        fits = np.nonzero((reached[0] == after) & ((condition & could)[0] if bad else True))[0]
        if len(fits):
            i = int(fits[0])
            there = frozenset(f for k, entry in enumerate(plan.arising) if arisen >> k & 1 for f in entry)
            truth, readings = _values(search, config, i, width)
            return Moment(
                truth,
                readings,
                {key[1]: bool(values[0, i]) for key, values in inputs.items() if key[0] == "line"},
                there,
                frozenset(key[1] for key, values in inputs.items() if key[0] == "cycle" and values[0, i]),
                bool((condition & could)[0, i]),
            )
    raise AssertionError("no step between two states that one links")


def _values(search: Search, config: Config, index: int, width: int) -> tuple[dict[str, Fraction], dict[str, Fraction]]:
    patterns = search.observations.patterns(config)
    return example(search.observations, config, patterns[index // (width // len(patterns))])
