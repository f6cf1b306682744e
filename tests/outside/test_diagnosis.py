"""The diagnosis engine against published examples. What parts may be together is asked of a general solver (z3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from itertools import product

import pytest
import z3

from interlock.diagnose.minimal import minimal_conflict, minimal_diagnoses
from interlock.diagnose.split import best, split, told_apart


def asked_of_z3(rules: Mapping[str, z3.BoolRef], facts: Sequence[z3.BoolRef]) -> Callable[[frozenset[str]], bool]:
    """Whether all facts can be while these parts may do anything and the rule of every other part holds."""

    def consistent(abnormal: frozenset[str]) -> bool:
        solver = z3.Solver()
        solver.add(*facts, *(rule for part, rule in rules.items() if part not in abnormal))
        return bool(solver.check() == z3.sat)

    return consistent


# --- The polybox: three multipliers, two adders (Davis, "Diagnostic reasoning based on structure and behavior", 1984;
# de Kleer and Williams, "Diagnosing multiple faults", 1987).


def polybox(f: int, g: int) -> tuple[list[str], Callable[[frozenset[str]], bool]]:
    a, b, c, d, e, x, y, z, out_f, out_g = z3.Ints("a b c d e x y z f g")
    rules = {
        "M1": x == a * c,
        "M2": y == b * d,
        "M3": z == c * e,
        "A1": out_f == x + y,
        "A2": out_g == y + z,
    }
    facts = [a == 3, b == 2, c == 2, d == 3, e == 3, out_f == f, out_g == g]
    return list(rules), asked_of_z3(rules, facts)


def test_the_polybox_has_its_four_minimal_diagnoses() -> None:
    """De Kleer and Williams, 1987: F is seen 10 where 12 is due, G is seen 12 as it should."""
    parts, consistent = polybox(10, 12)
    assert minimal_diagnoses(parts, consistent) == (("M1",), ("A1",), ("M2", "M3"), ("M2", "A2"))


def test_of_the_polybox_only_single_ones_are_found_where_only_these_are_asked_for() -> None:
    parts, consistent = polybox(10, 12)
    assert minimal_diagnoses(parts, consistent, order=1) == (("M1",), ("A1",))


def test_a_conflict_of_the_polybox_is_one_of_its_two() -> None:
    """De Kleer and Williams, 1987: the minimal conflicts are {A1, M1, M2} and {A1, A2, M1, M3}."""
    parts, consistent = polybox(10, 12)
    assert set(minimal_conflict(parts, parts, consistent)) in ({"A1", "M1", "M2"}, {"A1", "A2", "M1", "M3"})


def test_a_sound_polybox_needs_no_diagnosis() -> None:
    parts, consistent = polybox(12, 12)
    assert minimal_diagnoses(parts, consistent) == ((),)
    with pytest.raises(ValueError, match="can all be sound"):
        minimal_conflict(parts, parts, consistent)


def test_what_can_be_by_no_misbehaviour_has_no_diagnosis() -> None:
    assert minimal_diagnoses(["A", "B"], lambda _: False) == ()


# --- The full adder (Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32, 1987): two
# exclusive ors, two ands, an or; inputs 1, 0, 1; the sum is seen 1 and the carry 0, and both are wrong.


def test_reiters_full_adder_has_its_three_minimal_diagnoses() -> None:
    in1, in2, in3, x1, a1, a2, total, carry = z3.Bools("in1 in2 in3 x1 a1 a2 total carry")
    rules = {
        "X1": x1 == z3.Xor(in1, in2),
        "X2": total == z3.Xor(x1, in3),
        "A1": a1 == z3.And(in1, in2),
        "A2": a2 == z3.And(x1, in3),
        "O1": carry == z3.Or(a1, a2),
    }
    facts = [in1, z3.Not(in2), in3, total, z3.Not(carry)]
    found = minimal_diagnoses(list(rules), asked_of_z3(rules, facts))
    assert found == (("X1",), ("X2", "A2"), ("X2", "O1"))


# --- c17 of the ISCAS-85 benchmark circuits (Brglez and Fujiwara, 1985): six nands. 34 single stuck-at faults, 22 after
# collapsing, all detectable; six vectors separate all classes and the good circuit at best.

C17: dict[str, tuple[str, str]] = {
    "10": ("1", "3"),
    "11": ("3", "6"),
    "16": ("2", "11"),
    "19": ("11", "7"),
    "22": ("10", "16"),
    "23": ("16", "19"),
}
INPUTS = ("1", "2", "3", "6", "7")
OUTPUTS = ("22", "23")
VECTORS = tuple(product((0, 1), repeat=len(INPUTS)))
Site = tuple[str, str]  # a net, and the gate at the end of its branch ("" for the stem)


def sites() -> list[Site]:
    """Every net, and every branch of a net that goes to more than one gate."""
    fan_out = Counter(net for pair in C17.values() for net in pair)
    branches = [(net, gate) for gate, pair in C17.items() for net in pair if fan_out[net] > 1]
    return [(net, "") for net in (*INPUTS, *C17)] + branches


def c17(vector: Sequence[int], site: Site | None = None, stuck: int = 0) -> tuple[int, ...]:
    level: dict[str, int] = {}

    def read(net: str, gate: str) -> int:
        return stuck if site == (net, gate) else level[net]

    for net, value in zip(INPUTS, vector, strict=True):
        level[net] = stuck if site == (net, "") else value
    for gate, (a, b) in C17.items():
        value = 1 - (read(a, gate) & read(b, gate))
        level[gate] = stuck if site == (gate, "") else value
    return tuple(level[net] for net in OUTPUTS)


FAULTS: list[tuple[Site, int] | None] = [None, *((site, value) for site in sites() for value in (0, 1))]
SHOWN = [[c17(vector, *fault) if fault else c17(vector) for fault in FAULTS] for vector in VECTORS]


def test_the_stuck_at_faults_of_c17_are_told_apart_into_its_22_classes() -> None:
    assert len(FAULTS) == 1 + 34
    classes = told_apart(SHOWN, len(FAULTS))
    assert len(classes) == 1 + 22
    assert classes[0] == (0,)  # every fault can be seen


def test_each_stuck_at_fault_of_c17_is_found_again_by_few_vectors_each_the_best_there_is() -> None:
    """Never more vectors than the smallest fixed set that separates all (6), and fewer on average."""
    classes = {place: set(members) for members in told_apart(SHOWN, len(FAULTS)) for place in members}
    needed = []
    for truth in range(len(FAULTS)):
        left = list(range(len(FAULTS)))
        used = 0
        while True:
            options = [
                split([row[place] for place in left], [1.0] * len(left), list(product((0, 1), repeat=2)))
                for row in SHOWN
            ]
            chosen = best(options, [0.0] * len(options))
            if chosen is None:
                break
            used += 1
            left = [place for place in left if SHOWN[chosen][place] == SHOWN[chosen][truth]]
        assert set(left) == classes[truth]
        needed.append(used)
    assert max(needed) <= 6
    assert sum(needed) / len(needed) < 5


@pytest.mark.parametrize("gate", C17)
@pytest.mark.parametrize("value", [0, 1])
def test_a_gate_of_c17_that_is_stuck_is_a_diagnosis_by_itself(gate: str, value: int) -> None:
    """With every vector applied at once: a copy of the circuit for each, in which only what misbehaves may differ."""
    rules: dict[str, z3.BoolRef] = {}
    facts = []
    for number, vector in enumerate(VECTORS):
        net = {name: z3.Bool(f"{name}.{number}") for name in (*INPUTS, *C17)}
        for name, (a, b) in C17.items():
            own = net[name] == z3.Not(z3.And(net[a], net[b]))
            rules[name] = z3.And(rules[name], own) if name in rules else own
        facts += [net[name] == bool(bit) for name, bit in zip(INPUTS, vector, strict=True)]
        shown = c17(vector, (gate, ""), value)
        facts += [net[name] == bool(bit) for name, bit in zip(OUTPUTS, shown, strict=True)]
    assert (gate,) in minimal_diagnoses(list(rules), asked_of_z3(rules, facts))
