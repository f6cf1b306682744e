"""What a factored tree looks like: shared parts once, votes as one gate."""

from __future__ import annotations

from itertools import combinations, product

import pytest

from interlock.faults.factor import factored
from interlock.faults.tree import GateKind, Tree, TreeError


def shape(tree: Tree, name: str = "") -> str:
    """The tree as a formula: `a + (b + c)d + 2{e f g}`."""
    gate = tree.gates.get(name or tree.top)
    if gate is None:
        return name
    inputs = [shape(tree, i) for i in gate.inputs]
    if gate.kind is GateKind.OR:
        words = " + ".join(inputs)
        return words if not name else f"({words})"
    return " ".join(inputs) if gate.kind is GateKind.AND else f"{gate.needs}{{{' '.join(inputs)}}}"


@pytest.mark.parametrize(
    ("family", "formula"),
    [
        (["a"], "a"),
        (["a", "b", "cd"], "a + b + c d"),
        (["ab", "ac", "ad"], "a (b + c + d)"),
        (["ac", "ad", "bc", "bd"], "(a + b) (c + d)"),
        (["ab", "ac", "bc"], "2{a b c}"),
        (["abc", "abd"], "a b (c + d)"),
        (["abc", "ade", "af"], "a (f + b c + d e)"),
        (["ab", "bc", "cd"], "b (a + c) + c d"),
        (["ab", "ac", "bc", "de", "df", "g"], "g + 2{a b c} + d (e + f)"),
        (["abc", "abd", "acd", "bcd"], "3{a b c d}"),
        (["xab", "xac", "xbc"], "x 2{a b c}"),
    ],
)
def test_what_sets_share_is_taken_out(family: list[str], formula: str) -> None:
    assert shape(factored("top", family)) == formula


def test_all_of_one_row_with_all_of_another_are_two_or_gates_under_one_and() -> None:
    rows = [[f"a{i}" for i in range(8)], [f"b{i}" for i in range(7)]]
    tree = factored("top", product(*rows))
    assert len(tree.gates) == 4
    assert len(tree.events()) == 15


def test_an_and_gate_never_leads_into_another() -> None:
    tree = factored("top", product("ab", "cd", "efg"))
    assert shape(tree) == "(a + b) (c + d) (e + f + g)"
    assert len(tree.gates) == 5


def test_any_two_of_twenty_are_one_gate() -> None:
    tree = factored("top", combinations([f"e{i}" for i in range(20)], 2))
    assert [(g.kind, g.needs) for g in tree.gates.values()] == [(GateKind.AT_LEAST, 2), (GateKind.OR, 0)]


def test_nothing_and_always_are_gates_without_inputs() -> None:
    assert factored("top", []).gates["top"].kind is GateKind.OR
    assert factored("top", [[]]).gates["top"].kind is GateKind.AND
    assert not factored("top", [[]]).gates["top"].inputs


def test_an_event_with_the_name_of_a_gate_is_refused() -> None:
    with pytest.raises(TreeError, match="has the name of a gate"):
        factored("top", [("top.1", "b"), ("top.1", "c")])
