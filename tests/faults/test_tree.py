"""Fault trees: what is refused, and what data means."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from interlock.faults.cutsets import minimal_cut_sets
from interlock.faults.tree import Gate, GateKind, Tree, TreeError, from_cut_sets, from_data


def test_events_come_in_the_order_of_reading_and_gates_after_their_inputs() -> None:
    tree = from_data(
        "top", {"top": ("or", ["b", "g", "a"]), "g": ("and", ["c", "h", "b"]), "h": ("2", ["a", "d", "c"])}
    )
    assert tree.events() == ("b", "c", "a", "d")
    assert [gate.name for gate in tree.upwards()] == ["h", "g", "top"]
    assert tree.gates["h"] == Gate("h", GateKind.AT_LEAST, ("a", "d", "c"), 2)


def test_a_top_that_is_an_event_is_its_own_cut_set() -> None:
    assert minimal_cut_sets(Tree("fuse", {})) == (("fuse",),)


def test_a_gate_without_inputs_occurs_always_as_and_and_never_as_or() -> None:
    assert minimal_cut_sets(from_data("top", {"top": ("and", [])})) == ((),)
    assert minimal_cut_sets(from_data("top", {"top": ("or", [])})) == ()
    assert minimal_cut_sets(from_data("top", {"top": ("or", ["a", "g"]), "g": ("and", [])})) == ((),)


def test_a_shared_subtree_is_worked_out_once_however_often_it_is_named() -> None:
    """Named in pairs at each of 40 levels, it would otherwise be visited 2^40 times."""
    data: dict[str, tuple[str, Iterable[str]]] = {"g0": ("or", ["a", "b"])}
    for level in range(1, 40):
        data[f"l{level}"] = ("and", [f"g{level - 1}", "c"])
        data[f"r{level}"] = ("or", [f"g{level - 1}", "c"])
        data[f"g{level}"] = ("and", [f"l{level}", f"r{level}"])
    tree = from_data("g39", data)
    assert [gate.name for gate in tree.upwards()].count("g0") == 1
    assert minimal_cut_sets(tree) == (("a", "c"), ("b", "c"))
    below_both = from_data("top", {"top": ("or", ["g", "h"]), "g": ("and", ["h", "x"]), "h": ("or", ["y", "z"])})
    assert [gate.name for gate in below_both.upwards()] == ["h", "g", "top"]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"top": ("or", ["a", "g"]), "g": ("and", ["b", "top"])}, "depend on themselves: top <- g <- top"),
        ({"top": ("and", ["a", "b", "a"])}, "'top' names 'a' more than once"),
        ({"top": ("4", ["a", "b", "c"])}, "needs 4 of 3 inputs; expected 1 to 3"),
        ({"top": ("0", ["a", "b", "c"])}, "needs 0 of 3 inputs; expected 1 to 3"),
        ({"top": ("xor", ["a", "b"])}, "'top' is 'xor'; expected `and`, `or` or a number"),
    ],
)
def test_what_is_no_tree_is_refused_in_words(data: dict[str, tuple[str, Iterable[str]]], says: str) -> None:
    with pytest.raises(TreeError, match=says):
        from_data("top", data)


def test_a_number_of_inputs_on_a_plain_gate_and_a_gate_under_another_name_are_refused() -> None:
    with pytest.raises(TreeError, match="takes and of its inputs"):
        Tree("top", {"top": Gate("top", GateKind.AND, ("a", "b"), 2)})
    with pytest.raises(TreeError, match="goes by another name"):
        Tree("top", {"top": Gate("other", GateKind.AND, ("a", "b"))})


def test_a_family_becomes_a_tree_of_two_levels() -> None:
    tree = from_cut_sets("frozen/pv", [("K1.welded",), ("probe.stuck", "cold.omitted"), ("K1.welded",)])
    assert tree.gates["frozen/pv"].inputs == ("K1.welded", "frozen/pv.1")
    assert tree.gates["frozen/pv.1"].kind is GateKind.AND
    assert minimal_cut_sets(from_cut_sets("top", [])) == ()
    assert minimal_cut_sets(from_cut_sets("top", [(), ("a",)])) == ((),)


@pytest.mark.parametrize("family", [[("top",)], [("a", "b"), ("top.1",)], [("top.1", "b")]])
def test_an_event_with_the_name_of_a_gate_is_refused(family: list[tuple[str, ...]]) -> None:
    with pytest.raises(TreeError, match="has the name of a gate"):
        from_cut_sets("top", family)
