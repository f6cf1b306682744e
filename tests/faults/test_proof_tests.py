"""Inspection plans at their edges: missing rates are named, nothing is tested that need not be."""

from __future__ import annotations

from math import nan

import pytest

from interlock.faults.proof_tests import (
    HOURS_A_YEAR,
    Arising,
    Channel,
    Due,
    Sleeper,
    Voting,
    asleep,
    bound_per_hour,
    failure_on_demand,
    inspection_plan,
    single_channel_per_hour,
    usual_interval,
    yearly_tests,
)
from tests.faults.near import near

WELDED, PROBE = Arising("K1.welded", 2e-6), Arising("probe.stuck", 5e-6)
UNRATED = Arising("cold_stop.omitted")


def test_one_dormant_fault_is_tested_so_often_that_the_bound_is_just_kept() -> None:
    plan = inspection_plan([Sleeper(WELDED, (PROBE,))], 2e-8)
    (found,) = plan.intervals
    assert found.due is Due.EVERY
    assert found.hours == near(2 * 2e-8 / (2e-6 * 5e-6))
    assert found.per_hour is not None
    assert found.per_hour == plan.per_hour
    assert 0.99 * 2e-8 < plan.per_hour <= 2e-8
    assert plan.complete
    assert yearly_tests(plan.intervals) == near(2.19)


def test_a_missing_rate_is_named_and_never_invented() -> None:
    sleepers = [
        Sleeper(UNRATED, (PROBE,)),
        Sleeper(WELDED, (UNRATED, Arising("hot_stop.omitted"))),
        Sleeper(Arising("K2.welded", 2e-6), (PROBE, UNRATED)),
        Sleeper(Arising("lamp.open", 1e-6), ()),
    ]
    plan = inspection_plan(sleepers, 1e-8)
    assert [(i.name, i.due, i.unrated) for i in plan.intervals] == [
        ("cold_stop.omitted", Due.NO_RATE, ("cold_stop.omitted",)),
        ("K1.welded", Due.NO_RATE, ("cold_stop.omitted", "hot_stop.omitted")),
        ("K2.welded", Due.AT_LEAST_EVERY, ("cold_stop.omitted",)),
        ("lamp.open", Due.NO_SECOND, ()),
    ]
    assert [i.hours is None for i in plan.intervals] == [True, True, False, True]
    assert not plan.complete


def test_what_the_life_allows_unseen_needs_no_test_and_leaves_its_share_to_others() -> None:
    rare = Sleeper(Arising("K3.welded", 1e-10), (PROBE,))
    alone = inspection_plan([Sleeper(WELDED, (PROBE,))], 1e-8).intervals[0]
    both = inspection_plan([Sleeper(WELDED, (PROBE,)), rare], 1e-8).intervals
    assert both[1].due is Due.NOT_IN_LIFE
    assert both[0].hours is not None
    assert alone.hours is not None
    assert 0.9 * alone.hours < both[0].hours < alone.hours


def test_a_bound_that_repairs_alone_use_up_is_not_met_by_any_test() -> None:
    plan = inspection_plan([Sleeper(WELDED, (PROBE,))], 1e-10, repair=24)
    assert plan.intervals[0].due is Due.NOT_BY_TESTS
    assert plan.intervals[0].hours is None


def test_a_rate_of_zero_needs_no_test() -> None:
    plan = inspection_plan([Sleeper(Arising("K1.welded", 0.0), (PROBE,))], 1e-9)
    assert plan.intervals[0].due is Due.NOT_IN_LIFE
    assert plan.per_hour == 0
    assert inspection_plan([], 1e-9).complete


def test_what_makes_no_sense_is_refused_in_words() -> None:
    sleeper = Sleeper(WELDED, (PROBE,))
    for bound, life in ((0.0, 1.0), (-1e-9, 1.0), (nan, 1.0), (1e-9, 0.0)):
        with pytest.raises(ValueError, match="expected a number above 0"):
            inspection_plan([sleeper], bound, life=life)
    with pytest.raises(ValueError, match=r"'K1\.welded' is named twice"):
        inspection_plan([sleeper, sleeper], 1e-9)
    with pytest.raises(ValueError, match=r"rate of probe\.stuck"):
        inspection_plan([Sleeper(WELDED, (Arising("probe.stuck", -1.0),))], 1e-9)
    with pytest.raises(ValueError, match="repair time"):
        inspection_plan([sleeper], 1e-9, repair=-1)
    with pytest.raises(ValueError, match=r"coverage is 1\.2"):
        Channel(1e-6, 1.2, 8760)
    with pytest.raises(ValueError, match="a test interval of -1"):
        Channel(1e-6, 0.5, -1)
    with pytest.raises(ValueError, match="expected a number above 0"):
        single_channel_per_hour(0)
    with pytest.raises(ValueError, match="is no probability"):
        bound_per_hour(1.1, 1)
    with pytest.raises(ValueError, match="a mission of 0"):
        bound_per_hour(0.1, 0)


def test_a_common_cause_of_detected_failures_is_half_that_of_undetected_ones_unless_given() -> None:
    channel = Channel(1e-6, 0.9, 8760, beta=0.1)
    assert channel.detected_beta == 0.05
    assert failure_on_demand(Voting.ONE_OF_TWO, channel) == near(
        failure_on_demand(Voting.ONE_OF_TWO, Channel(1e-6, 0.9, 8760, beta=0.1, beta_detected=0.05))
    )


def test_asleep_is_smooth_where_the_series_takes_over() -> None:
    below, above = asleep(1e-8, 9_999.0), asleep(1e-8, 10_001.0)
    assert below == near(9_999e-8 / 2, rel=1e-4)
    assert above / below == near(10_001 / 9_999, rel=1e-7)
    assert asleep(1.0, 1e9) == near(1.0)


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (10, None),
        (24, "every day"),
        (HOURS_A_YEAR / 12, "every month"),
        (HOURS_A_YEAR * 0.99, "every 6 months"),
        (HOURS_A_YEAR, "every year"),
        (1e9, "every 10 years"),
    ],
)
def test_a_usual_interval_is_never_longer_than_asked(hours: float, words: str | None) -> None:
    assert usual_interval(hours) == words
