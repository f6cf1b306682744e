"""The order of what the cut-set engine gives, and its edges."""

from __future__ import annotations

import random
import time

from interlock.faults.cutsets import minimal, minimal_cut_sets, minimal_hitting_sets
from interlock.faults.tree import from_cut_sets, from_data


def test_sets_go_by_size_and_then_by_the_order_in_which_events_are_met() -> None:
    assert minimal([["z", "b"], ["b", "a"], ["q"], ["z", "a"], ["q", "a"]]) == (
        ("q",),
        ("z", "b"),
        ("z", "a"),
        ("b", "a"),
    )


def test_the_smallest_families_have_the_duals_they_must_have() -> None:
    assert minimal([]) == ()
    assert minimal([[], ["a"]]) == ((),)
    assert minimal_hitting_sets([]) == ((),)
    assert minimal_hitting_sets([[]]) == ()
    assert minimal_hitting_sets([["a"], []]) == ()
    assert minimal_hitting_sets([["a", "b"]], order=0) == ()


def test_an_order_leaves_out_larger_sets_and_no_smaller_one() -> None:
    tree = from_data("top", {"top": ("and", ["g", "h"]), "g": ("or", ["a", "b"]), "h": ("or", ["a", "c", "d"])})
    assert minimal_cut_sets(tree) == (("a",), ("b", "c"), ("b", "d"))
    assert minimal_cut_sets(tree, order=1) == (("a",),)
    assert minimal_cut_sets(tree, order=0) == ()


def test_the_dual_of_the_dual_is_the_family() -> None:
    rng = random.Random(9)
    for _ in range(50):
        family = minimal(rng.sample("abcdefgh", rng.randint(1, 4)) for _ in range(rng.randint(1, 9)))
        twice = minimal_hitting_sets(minimal_hitting_sets(family))
        assert {frozenset(s) for s in twice} == {frozenset(s) for s in family}


def test_large_families_of_small_sets_take_no_time() -> None:
    """Forty thousand pairs and triples among 400 events: by subsets, not by comparing each with each."""
    rng = random.Random(2)
    names = [f"e{i}" for i in range(400)]
    family = [rng.sample(names, rng.randint(2, 3)) for _ in range(40_000)]
    begun = time.process_time()
    found = minimal(family)
    pairs = minimal_cut_sets(from_cut_sets("top", found), order=2)
    assert {frozenset(s) for s in pairs} == {frozenset(s) for s in found if len(s) == 2}
    assert time.process_time() - begun < 10  # two seconds here; comparing each with each takes twenty
