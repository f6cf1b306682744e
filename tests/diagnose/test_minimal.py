"""Minimal diagnoses of random systems against all subsets, and what a measurement gains against counting."""

from __future__ import annotations

import random
from itertools import chain, combinations
from math import log2

import pytest

from interlock.diagnose.minimal import minimal_diagnoses
from interlock.diagnose.split import best, split, told_apart

PARTS = ("A", "B", "C", "D", "E", "F", "G")
SUBSETS = [frozenset(s) for s in chain.from_iterable(combinations(PARTS, n) for n in range(len(PARTS) + 1))]


@pytest.mark.parametrize("seed", range(40))
def test_minimal_diagnoses_are_those_of_trying_every_subset(seed: int) -> None:
    """A random system: its conflicts are random sets, and what hits them all is a diagnosis."""
    random_ = random.Random(seed)
    conflicts = [frozenset(random_.sample(PARTS, random_.randint(1, 4))) for _ in range(random_.randint(0, 7))]
    asked = []

    def consistent(abnormal: frozenset[str]) -> bool:
        asked.append(abnormal)
        return all(abnormal & conflict for conflict in conflicts)

    every = [s for s in SUBSETS if consistent(s)]
    least = {s for s in every if not any(other < s for other in every)}
    asked.clear()
    found = minimal_diagnoses(PARTS, consistent)
    assert {frozenset(s) for s in found} == least
    assert len(found) == len(least)
    assert list(found) == sorted(found, key=lambda s: (len(s), [PARTS.index(part) for part in s]))
    assert {frozenset(s) for s in minimal_diagnoses(PARTS, consistent, order=2)} == {s for s in least if len(s) <= 2}


def test_a_measurement_that_halves_takes_one_bit_away() -> None:
    assert split(["x", "x", "y", "y"], [1, 1, 1, 1], ["x", "y"]).gain == pytest.approx(1)
    assert split(["x", "y", "y", "y"], [3, 1, 1, 1], ["x", "y"]).gain == pytest.approx(1)
    assert split(["x", "x", "x", "x"], [1, 1, 1, 1], ["x", "y"]).gain == pytest.approx(0)
    assert split(["x", "y", "z", "w"], [1, 1, 1, 1], ["x", "y", "z", "w"]).gain == pytest.approx(2)


def test_a_candidate_that_leaves_the_outcome_open_stays_whichever_comes() -> None:
    found = split(["x", "y", None], [1, 1, 1], ["x", "y"])
    assert found.leaves == {"x": (0, 2), "y": (1, 2)}
    # By hand: x or y with one half each; then two candidates at 2/3 and 1/3.
    left = -(2 / 3 * log2(2 / 3) + 1 / 3 * log2(1 / 3))
    assert found.gain == pytest.approx(log2(3) - left)
    assert found.most == 2


def test_candidates_that_all_leave_it_open_gain_nothing() -> None:
    assert split([None, None], [1, 2], ["x", "y"]).gain == pytest.approx(0)


def test_the_best_measurement_gains_most_and_of_equal_ones_costs_least() -> None:
    weights = [1.0] * 4
    none, quarter, half, also = (
        split(p, weights, ["x", "y"]) for p in (["x"] * 4, ["x", "y", "y", "y"], ["x", "x", "y", "y"], [*"xyxy"])
    )
    assert best([none, quarter, half, also], [0, 0, 2, 1]) == 3
    assert best([none, quarter, half, also], [0, 0, 1, 1]) == 2
    assert best([none, quarter], [0, 9]) == 1
    assert best([none], [0]) is None
    assert best([], []) is None


def test_classes_hold_what_nothing_tells_apart() -> None:
    assert told_apart([["x", "x", "y", "x"], ["u", None, "u", "u"]], 4) == [(0, 3), (1,), (2,)]
    assert told_apart([], 2) == [(0, 1)]
