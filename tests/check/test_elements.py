"""What is stated of a sensor against what it is made of: each side of each comparison."""

from __future__ import annotations

from tests.check.found import edited, findings, found, mended

PAGE = mended("error-understated")
STATED = "measures: {hottest_cell: -3 to 3 K}"
BITS = "input: {pull_up: 10 kohm within 1 %, bits: 10}"


def of(text: str, ident: str) -> list[str]:
    return [f.message for f in findings(text) if f.ident == ident]


def test_an_error_that_is_too_small_on_either_side_is_found_with_both_numbers() -> None:
    for low, high in (("-1", "3"), ("-3", "1")):
        said = of(edited(PAGE, (STATED, f"measures: {{hottest_cell: {low} to {high} K}}")), "error-understated")
        assert len(said) == 1
        assert f"{low} K to {high} K" in said[0]
        assert "-1.651468 K to 1.684628 K follows" in said[0]


def test_an_error_that_is_just_enough_is_none() -> None:
    enough = edited(PAGE, (STATED, "measures: {hottest_cell: -1.651468 to 1.684628 K}"))
    assert of(enough, "error-understated") == []
    less = edited(PAGE, (STATED, "measures: {hottest_cell: -1.651468 to 1.684627 K}"))
    assert len(of(less, "error-understated")) == 1


def test_the_place_of_the_element_counts() -> None:
    placed = edited(PAGE, (BITS, BITS + "\n    placed: {hottest_cell: -2 to 0 K}"))
    said = of(placed, "error-understated")
    assert len(said) == 1
    assert "-3.651468 K to 1.684628 K" in said[0]


def test_a_lead_that_is_invalid_by_hand_and_by_the_element_is_none() -> None:
    assert of(edited(PAGE, (BITS, BITS + "\n    open_reads: -60 degC")), "lead-reads-otherwise") == []
    assert of(edited(PAGE, (BITS, BITS + "\n    open_reads: 95 degC")), "lead-reads-otherwise") == []


def test_a_lead_that_reads_as_valid_and_is_stated_invalid_is_found() -> None:
    """A supply 5 % below the reference: the open input seems to be 19 times the pull resistor, some -36 degC."""
    low = "input: {pull_up: 10 kohm within 1 %, supply: 5 V within 5 %, reference: 5 V, bits: 10}"
    text = edited(PAGE, (BITS, low + "\n    open_reads: -60 degC"), (STATED, "measures: {hottest_cell: -60 to 60 K}"))
    said = of(text, "lead-reads-otherwise")
    assert len(said) == 1
    assert "which is valid" in said[0]
    assert of(text.replace("open_reads: -60 degC", "open_reads: -38 degC"), "lead-reads-otherwise") == []


TABLE = mended("formula-reads-unsafe")
OWN = "input: {pull_up: 10 kohm within 0.1 %, bits: 12}"


def by(beta: int, *more: tuple[str, str]) -> str:
    return edited(TABLE, (OWN, OWN[:-1] + f", converts_by: {{r25: 10 kohm, beta: {beta} K}}}}"), *more)


def test_a_formula_that_errs_to_the_safe_side_is_none() -> None:
    """By a smaller beta the controller reads too cold at 0 degC: it stops too early, never too late."""
    assert of(by(3000), "formula-reads-unsafe") == []
    assert len(of(by(3435), "formula-reads-unsafe")) == 1


def test_a_formula_fitted_at_the_limit_is_none() -> None:
    """ln(27.28 / 10) / (1/273.15 - 1/298.15) = 3269 K."""
    assert of(by(3269), "formula-reads-unsafe") == []


def test_a_requirement_on_the_warm_side_turns_it_round() -> None:
    warm = (
        ("trips: below 8 degC for 5 s, clears: above 15 degC", "trips: above 40 degC for 5 s, clears: below 30 degC"),
        ("coldest_cell: below 0 degC", "coldest_cell: above 55 degC"),
    )
    assert len(of(by(3435, *warm), "formula-reads-unsafe")) == 1  # at 55 degC it reads 0.4 K too cold
    assert ("formula-reads-unsafe", "probe") in found(by(3435, *warm))
