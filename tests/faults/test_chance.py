"""Chances at their edges: what is refused, what rounding may not spoil, what has no rate."""

from __future__ import annotations

import random
import sys
from fractions import Fraction
from math import exp, nan

import pytest

from interlock.faults.chance import (
    Bounded,
    chance,
    frequency,
    importances,
    mean_frequency,
    over_mission,
    rare_event,
    rated,
    rates_of,
)
from interlock.faults.cutsets import minimal
from interlock.scheme.read import loads
from tests.faults.near import near
from tests.support.bench import edited


def test_nothing_never_happens_and_the_empty_set_always_has() -> None:
    assert chance([], {}) == Bounded(0.0, 0.0)
    assert chance([()], {}) == Bounded(1.0, 1.0)
    assert importances([], {}) == ()
    assert rare_event([], {}) == 0


def test_an_event_only_in_sets_that_are_not_minimal_has_no_importance() -> None:
    assert [i.event for i in importances([("a",), ("a", "b")], {"a": 0.1, "b": 0.5})] == ["a"]


def test_a_top_event_that_cannot_occur_has_no_shares() -> None:
    found = importances([("a", "b")], {"a": 0.0, "b": 0.0})
    assert [i.fussell_vesely for i in found] == [None, None]
    assert [i.birnbaum for i in found] == [Bounded(0.0, 0.0)] * 2


def test_tiny_chances_keep_their_digits() -> None:
    """1 - (1 - p)(1 - q) would lose them below 1e-16."""
    p, q = 3e-18, 5e-17
    assert chance([("a",), ("b",)], {"a": p, "b": q}).exact == near(p + q, rel=1e-15)
    weak = importances([("a",), ("b", "c")], {"a": 1e-2, "b": 1e-9, "c": 1e-9})
    whole = Fraction(1e-9) * (1 - Fraction(1e-2))
    found = next(i for i in weak if i.event == "b").birnbaum.exact
    assert found == near(float(whole), rel=1e-14)


def test_hundreds_of_entangled_sets_are_exact() -> None:
    rng = random.Random(4)
    names = [f"e{i}" for i in range(60)]
    family = minimal(rng.sample(names, 2) for _ in range(500))
    assert len(family) > 400
    assert chance(family, {n: rng.uniform(1e-6, 1e-4) for n in names}, work=100_000).exact is not None


def test_a_branch_that_comes_again_with_more_weight_is_worked_out_again() -> None:
    rng = random.Random(2)
    names = [f"e{i}" for i in range(120)]
    family = minimal(rng.sample(names, 2) for _ in range(300))
    found = chance(family, {n: rng.uniform(1e-6, 1e-4) for n in names})
    assert 0 < found.upper / found.lower - 1 < 2e-10


def test_depth_is_no_matter() -> None:
    """A staircase has to be taken apart step by step: 70 deep, with room for 25 calls only."""
    family = [(f"a{i}", f"b{j}") for i in range(70) for j in range(i, 70)]
    probability = {name: 1e-3 for pair in family for name in pair}
    depth = 0
    frame = sys._getframe()
    while frame.f_back:
        frame, depth = frame.f_back, depth + 1
    limit = sys.getrecursionlimit()
    sys.setrecursionlimit(depth + 25)
    try:
        found = chance(family, probability, work=2_000_000)
    finally:
        sys.setrecursionlimit(limit)
    # The highest b that occurred is j with chance p (1-p)^(69-j); then one of a0 to aj has to occur.
    q = 1 - 1e-3
    assert found.exact == near(sum(1e-3 * q ** (69 - j) * (1 - q ** (j + 1)) for j in range(70)), rel=1e-11)


@pytest.mark.parametrize("value", [-0.1, 1.5, nan])
def test_what_is_no_probability_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="expected a number from 0 to 1"):
        chance([("a",)], {"a": value})


def test_an_event_without_a_probability_is_named() -> None:
    with pytest.raises(ValueError, match="'b' has no probability"):
        rare_event([("a", "b")], {"a": 0.1})


def test_a_rate_over_a_mission_follows_the_exponential_law() -> None:
    assert over_mission(2e-7, 87_600) == near(1 - exp(-0.01752), rel=1e-12)
    assert over_mission(1e-15, 1) == near(1e-15, rel=1e-12)
    for rate, hours in ((-1e-6, 1), (1e-6, -1), (nan, 1), (1e-6, float("inf"))):
        with pytest.raises(ValueError, match="expected a number from 0 up"):
            over_mission(rate, hours)
    with pytest.raises(ValueError, match="no mean frequency"):
        mean_frequency([("a",)], {"a": 1e-6}, 0)


def test_at_the_start_only_single_faults_have_a_frequency() -> None:
    rates = {"a": 1e-6, "b": 2e-6, "c": 3e-6}
    assert frequency([("a",), ("b", "c")], rates, 0).exact == near(1e-6, rel=1e-15)


def test_sets_with_a_fault_without_a_rate_are_set_aside_and_the_fault_named() -> None:
    known, missing = rated([("a",), ("a", "b"), ("c", "b"), ("d", "a")], {"a": 1e-6, "d": 1e-7})
    assert known == (("a",), ("d", "a"))
    assert missing == ("b", "c")


def test_a_scheme_gives_rates() -> None:
    given = (
        "faults:\n"
        "  K1.welded: {rate: 2e-7 per h, source: the maker}\n"
        "  wet: {together: [probe.open, K1.wire_broken]}\n\n"
        "requirements:\n"
    )
    assert rates_of(loads(edited(("requirements:\n", given)))) == {"K1.welded": 2e-7}
