"""Modified condition/decision coverage against published examples.

RTCA DO-178C asks for it; the NASA tutorial (Hayhurst, Veerhusen, Chilenski, Rierson: "A Practical Tutorial on Modified
Condition/Decision Coverage", NASA/TM-2001-210876, 2001) works its building blocks and decisions through: n + 1 tests
are the fewest for n conditions of which none is coupled. The sets named here are the tutorial's for and, or and
exclusive or (from memory; the text was not at hand); the sizes for the other decisions are its n + 1, found again here
by trying all sets. Two out of three, where each condition stands twice, takes four tests by masking.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest

from interlock.vectors.mcdc import All, Differ, Expr, Form, Not, Some, Var, conditions, pair_shows, shown, smallest

A, B, C, D = (Var(name) for name in "ABCD")

WORKED: dict[str, tuple[Expr, int]] = {
    "A and B": (All((A, B)), 3),
    "A or B": (Some((A, B)), 3),
    "A xor B": (Differ(A, B), 3),
    "(A or B) and C": (All((Some((A, B)), C)), 4),
    "A and (B or C)": (All((A, Some((B, C)))), 4),
    "A or (B and C)": (Some((A, All((B, C)))), 4),
    "A and B and C": (All((A, B, C)), 4),
    "A or B or C": (Some((A, B, C)), 4),
    "(A and B) or (C and D)": (Some((All((A, B)), All((C, D)))), 5),
    "(A or B) and (C or D)": (All((Some((A, B)), Some((C, D)))), 5),
    "A and (B or C) and D": (All((A, Some((B, C)), D)), 5),
    "((A and B) or C) and D": (All((Some((All((A, B)), C)), D)), 5),
}


def assignments(decision: Expr, rows: str) -> list[dict[str, bool]]:
    return [dict(zip(conditions(decision), (c == "T" for c in row), strict=True)) for row in rows.split()]


@pytest.mark.parametrize("name", WORKED)
def test_the_fewest_tests_by_unique_cause_are_one_more_than_the_conditions(name: str) -> None:
    decision, size = WORKED[name]
    assert size == len(conditions(decision)) + 1
    assert len(smallest(decision)) == size


def test_two_out_of_three_takes_four_tests_by_masking() -> None:
    two_of_three = Some((All((A, B)), All((A, C)), All((B, C))))
    assert len(smallest(two_of_three, Form.MASKING)) == 4


@pytest.mark.parametrize(
    ("name", "rows"),
    [
        ("A and B", "TT TF FT"),
        ("A or B", "FF FT TF"),
        ("A xor B", "TT TF FT"),
        ("A xor B", "FF TF FT"),
        ("(A or B) and C", "FFT TFT FTT FTF"),
        ("(A or B) and C", "FFT TFT FTT TFF"),
    ],
)
def test_the_published_sets_show_every_condition_by_unique_cause(name: str, rows: str) -> None:
    decision = WORKED[name][0]
    given = assignments(decision, rows)
    assert set(shown(decision, given).values()) == {Form.UNIQUE_CAUSE}
    for left_out in given:  # each of them is needed
        rest = [one for one in given if one is not left_out]
        assert None in shown(decision, rest).values()


def test_any_three_of_exclusive_or_show_both_conditions() -> None:
    """The tutorial: for xor any three of the four combinations do."""
    decision = WORKED["A xor B"][0]
    for rows in combinations(("TT", "TF", "FT", "FF"), 3):
        assert set(shown(decision, assignments(decision, " ".join(rows))).values()) == {Form.UNIQUE_CAUSE}


def test_where_more_than_the_condition_differs_it_is_masking_or_nothing() -> None:
    decision = WORKED["(A or B) and C"][0]
    one, other, third = assignments(decision, "TFT FFT FTF")
    assert pair_shows(decision, "A", one, other) is Form.UNIQUE_CAUSE
    assert pair_shows(decision, "A", one, third) is None  # with C false, A decides nothing
    either = Some((All((A, B)), All((C, D))))
    one, other = assignments(either, "TTTF FTFT")  # of C and D one is false in both: masked
    assert pair_shows(either, "A", one, other) is Form.MASKING


@pytest.mark.parametrize("name", WORKED)
def test_all_assignments_show_every_condition_and_one_alone_shows_none(name: str) -> None:
    decision = WORKED[name][0]
    every = [
        dict(zip(conditions(decision), v, strict=True))
        for v in product((True, False), repeat=len(conditions(decision)))
    ]
    assert set(shown(decision, every).values()) == {Form.UNIQUE_CAUSE}
    assert set(shown(decision, every[:1]).values()) == {None}


def test_a_condition_that_decides_nothing_has_no_set() -> None:
    idle = Some((A, Not(A), B))
    with pytest.raises(ValueError, match="no set of assignments shows every condition by unique cause"):
        smallest(idle)
