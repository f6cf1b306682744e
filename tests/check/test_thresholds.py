"""Thresholds against errors, to the last millionth: the finding turns exactly where the meaning does."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.check.facts import Facts
from interlock.check.pages import examples
from interlock.check.reach import steady
from interlock.logic.readings import combined
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Combine, Signal
from tests.check.found import edited, findings, found, mended

# hottest_cell: reading minus truth -4 to 1 K; trips above 30, clears below 24; limit above 35 degC.
HEATER = mended("error-over-limit")


@pytest.mark.parametrize(
    ("clears", "chatters"),
    [
        ("below 25 degC", False),  # as wide as the error: a steady truth can't make the reading pass both limits
        ("below 25.000001 degC", True),
        ("at_or_below 25 degC", False),  # still strict on one side
        ("below 29 degC", True),
    ],
)
def test_hysteresis_must_be_as_wide_as_the_error(clears: str, chatters: bool) -> None:
    seen = found(edited(HEATER, ("clears: below 24 degC", f"clears: {clears}")))
    assert seen == ([("small-hysteresis", "too_warm")] if chatters else [])


def test_two_limits_that_count_themselves_need_more_than_the_width_of_the_error() -> None:
    text = edited(HEATER, ("above 30 degC", "at_or_above 30 degC"), ("below 24 degC", "at_or_below 25 degC"))
    assert found(text) == [("small-hysteresis", "too_warm")]
    assert found(edited(text, ("at_or_below 25 degC", "at_or_below 24.999999 degC"))) == []


@pytest.mark.parametrize(
    ("limit", "trips", "crosses"),
    [
        ("above 35 degC", "above 31 degC", False),  # past the limit the reading is past 31: never just there
        ("above 35 degC", "above 31.000001 degC", True),
        ("at_or_above 35 degC", "above 31 degC", True),  # at the limit the reading may be just 31
        ("at_or_above 35 degC", "at_or_above 31 degC", False),
        ("above 35 degC", "at_or_above 31 degC", False),
    ],
)
def test_a_threshold_is_held_against_limit_and_error_exactly(limit: str, trips: str, crosses: bool) -> None:
    text = edited(HEATER, ("above 35 degC", limit), ("trips: above 30 degC", f"trips: {trips}"))
    assert found(text) == ([("error-over-limit", "too_warm")] if crosses else [])


def test_the_finding_shows_threshold_limit_and_worst_reading() -> None:
    (finding,) = findings(edited(HEATER, ("trips: above 30 degC", "trips: above 33 degC")))
    assert finding.message == (
        "`too_warm` trips above 33 degC, and `heater_cut_out` needs it once hottest_cell above 35 degC: "
        "there `probe` may still read 31 degC, 2 K on the wrong side"
    )
    assert "at most 31 degC" in finding.help


def test_another_rule_that_allows_for_the_error_is_enough() -> None:
    second = "  too_hot: {watches: probe, trips: above 31 degC, clears: below 25 degC, blocks: heater}\npaths:"
    text = edited(HEATER, ("trips: above 30 degC", "trips: above 33 degC"), ("paths:", second))
    assert found(text) == []


def test_a_sensor_of_a_tied_quantity_protects_with_the_tie_added_to_its_error() -> None:
    tied = "  hottest_cell: {span: -30 to 80 degC, at_least: coldest_cell, at_most: coldest_cell + 3 K}\n"
    coldest = "  coldest_cell: {span: -30 to 80 degC}\n"
    text = edited(
        HEATER,
        ("  hottest_cell: {span: -30 to 80 degC}\n", coldest + tied),
        ("measures: {hottest_cell: -4 to 1 K}", "measures: {coldest_cell: -1 to 1 K}"),
    )
    assert found(text) == []  # hottest above 35: coldest above 32, reading above 31
    assert found(edited(text, ("above 30 degC", "above 31 degC"))) == []
    assert found(edited(text, ("above 30 degC", "above 31.1 degC"))) == [("error-over-limit", "too_warm")]


def test_without_a_tie_a_sensor_of_another_quantity_protects_nothing() -> None:
    text = edited(
        HEATER,
        (
            "  hottest_cell: {span: -30 to 80 degC}\n",
            "  hottest_cell: {span: -30 to 80 degC}\n  air: {span: -30 to 80 degC}\n",
        ),
        ("measures: {hottest_cell: -4 to 1 K}", "measures: {air: -1 to 1 K}"),
    )
    assert found(text) == [("requirement-unprotected", "heater_cut_out/heater")]


def test_a_rule_on_the_wrong_side_protects_nothing() -> None:
    text = edited(HEATER, ("trips: above 30 degC", "trips: below 20 degC"), ("clears: below 24", "clears: above 26"))
    assert found(text) == [("requirement-unprotected", "heater_cut_out/heater")]


def test_only_a_threshold_nearer_to_the_edge_than_the_error_is_in_the_dead_range() -> None:
    narrow = edited(HEATER, ("valid: -40 to 90 degC", "valid: -40 to 35 degC"))
    assert found(narrow) == []  # 5 K of 5 K left
    assert found(edited(narrow, ("to 35 degC", "to 34.9 degC"))) == [("dead-range", "too_warm")]
    cool = edited(HEATER, ("span: -30 to 80 degC", "span: -30 to 36 degC"), ("valid: -40 to 90", "valid: -40 to 37"))
    assert found(edited(cool, ("trips: above 30", "trips: above 31"))) == []  # no reading ever leaves the range


def test_where_an_invalid_reading_does_not_trip_any_edge_on_the_trip_side_is_a_dead_range() -> None:
    text = edited(examples("dead-range").found, ("valid: -40 to 56 degC", "valid: -40 to 70 degC"))
    assert found(text) == [("dead-range", "too_hot")]
    assert found(edited(text, ("on_invalid: clear, ", ""))) == []
    assert found(edited(text, ("on_invalid: clear, ", "on_invalid: hold, "))) == [("dead-range", "too_hot")]
    assert found(edited(text, ("valid: -40 to 70 degC", "valid: -20 to 90 degC"))) == []  # blind on the clear side only


PROBES = """
scheme: Probes
scan: 100 ms
quantities: {{cell: {{span: -40 to 80 degC}}}}
sensors:
{sensors}
readings:
  together: {{{combine}: [{names}]}}
rules:
  stop: {{watches: together, trips: above 30 {unit}, clears: below 20 {unit}, blocks: fan}}
paths: {{fan: {{flow: none}}}}
outputs: {{K1: {{drives: fan, contact: normally_open, runs_when: closed}}}}
"""


def probes(combine: Combine, errors: list[tuple[int, int]]) -> Scheme:
    names = [f"p{i}" for i in range(len(errors))]
    sensors = "\n".join(
        f"  {n}: {{measures: {{cell: {low} to {high} K}}, valid: -80 to 140 degC}}"
        for n, (low, high) in zip(names, errors, strict=True)
    )
    unit = "K" if combine is Combine.DIFFERENCE_OF else "degC"
    return loads(PROBES.format(sensors=sensors, combine=combine, names=", ".join(names), unit=unit))


@given(
    st.sampled_from(list(Combine)),
    st.lists(
        st.tuples(st.integers(-5, 5), st.integers(0, 6)).map(lambda e: (e[0], e[0] + e[1])), min_size=1, max_size=4
    ),
)
def test_the_width_of_a_derived_reading_is_that_of_all_its_sensors_corners(
    combine: Combine, errors: list[tuple[int, int]]
) -> None:
    """With the truth at 10 degC, every combination of extreme errors gives a reading in the interval, and both ends are
    met by some error within the intervals."""
    scheme = probes(combine, errors)
    reading = scheme.readings["together"]
    grid = [range(low, high + 1) for low, high in errors]  # the ends of all intervals are whole kelvins
    values = []
    for combination in itertools.product(*grid):
        inputs = {f"p{i}": (10 + e) * 1_000_000 for i, e in enumerate(combination)}
        value = combined(reading, inputs)
        assert value is not None
        values.append(value)
    low, high = steady(Facts(scheme).truths, Signal.READING, "together") or (None, None)
    if combine is Combine.DIFFERENCE_OF:
        assert (low, high) == (min(values), max(values))
    else:
        assert (low, high) == (0, max(values) - min(values))


def test_a_difference_that_healthy_sensors_never_reach_does_not_chatter() -> None:
    apart = mended("small-hysteresis")
    two = edited(
        apart,
        ("  probe: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}\n",
         "  probe: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}\n"
         "  other: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}\n"
         "readings: {apart: {difference_of: [probe, other]}}\n"),
        ("paths:", "  differ: {watches: apart, trips: above LIMIT, clears: below 4 K, alarm: they disagree}\npaths:"),
    )  # fmt: skip
    assert found(edited(two, ("LIMIT", "6 K"))) == []
    assert found(edited(two, ("LIMIT", "4.5 K"))) == [("small-hysteresis", "differ")]
