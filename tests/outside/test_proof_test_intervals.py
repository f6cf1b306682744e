"""Proof tests against published tables, and inspection intervals against IEC 61508-6's formulas, search and chance."""

from __future__ import annotations

import random
from collections.abc import Callable
from math import exp

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
    failure_per_hour,
    inspection_plan,
    single_channel_per_hour,
)
from tests.faults.near import near

YEAR = HOURS_A_YEAR


def two_figures(value: float) -> float:
    return float(f"{value:.1e}")


# The tables of PFDavg in IEC 61508-6:2010, annex B: MTTR = MRT = 8 h, beta D = beta / 2.
TABLE = [
    (Voting.ONE_OF_ONE, 5e-7, 0.0, 0.0, 1, 2.2e-3),
    (Voting.ONE_OF_ONE, 5e-7, 0.9, 0.0, 1, 2.2e-4),
    (Voting.ONE_OF_ONE, 2.5e-5, 0.99, 0.0, 10, 1.1e-2),
    (Voting.ONE_OF_TWO, 5e-7, 0.9, 0.02, 1, 4.5e-6),
    (Voting.ONE_OF_TWO, 5e-7, 0.9, 0.1, 1, 2.2e-5),
    (Voting.ONE_OF_TWO, 5e-6, 0.6, 0.02, 1, 2.8e-4),
    (Voting.ONE_OF_TWO, 5e-6, 0.0, 0.02, 1, 1.1e-3),
    (Voting.TWO_OF_THREE, 5e-7, 0.9, 0.02, 1, 4.6e-6),
    (Voting.TWO_OF_THREE, 2.5e-6, 0.9, 0.02, 1, 2.7e-5),
]


@pytest.mark.parametrize(("voting", "dangerous", "coverage", "beta", "years", "published"), TABLE)
def test_the_failure_on_demand_is_that_of_the_standards_tables(
    voting: Voting, dangerous: float, coverage: float, beta: float, years: float, published: float
) -> None:
    channel = Channel(dangerous, coverage, years * YEAR, beta)
    assert two_figures(failure_on_demand(voting, channel)) == published


@pytest.mark.parametrize(("years", "published"), [(10, 1.14e-5), (30, 3.80e-6), (100, 1.14e-6)])
def test_a_single_channel_fails_as_often_as_iso_13849_1_annex_k_says(years: float, published: float) -> None:
    assert single_channel_per_hour(years) == near(published, rel=4e-3)


def test_the_frequency_of_one_channel_and_of_common_causes_is_what_stays_undetected() -> None:
    """IEC 61508-6:2010, B.3.3.2 (from memory): 1oo1 is lambda DU; redundant ones never below beta lambda DU."""
    channel = Channel(5e-7, 0.9, YEAR, 0.02)
    assert failure_per_hour(Voting.ONE_OF_ONE, channel) == near(5e-8)
    assert failure_per_hour(Voting.ONE_OF_TWO, channel) == near(1e-9, rel=0.15)
    assert failure_per_hour(Voting.TWO_OF_THREE, channel) > failure_per_hour(Voting.ONE_OF_TWO, channel) > 1e-9


@pytest.mark.parametrize("years", [0.25, 1, 3])
def test_two_dormant_faults_that_need_each_other_meet_as_often_as_in_a_1oo2_of_the_standard(years: float) -> None:
    """Two untested stops in series, nothing detected, no common cause, are a 1oo2: PFH = 2 lambda^2 (T1/2 + MRT).
    Turned round, that frequency as the bound gives the interval."""
    rate = 2e-6
    bound = failure_per_hour(Voting.ONE_OF_TWO, Channel(rate, 0.0, years * YEAR, repair=8))
    one, other = Arising("K1.welded", rate), Arising("K2.welded", rate)
    plan = inspection_plan([Sleeper(one, (other,)), Sleeper(other, (one,))], bound, repair=8)
    assert [i.due for i in plan.intervals] == [Due.EVERY, Due.EVERY]
    assert [i.hours for i in plan.intervals] == [near(years * YEAR)] * 2


def test_three_of_which_two_must_sleep_meet_as_often_as_in_a_2oo3() -> None:
    rate = 3e-6
    bound = failure_per_hour(Voting.TWO_OF_THREE, Channel(rate, 0.0, YEAR, repair=8))
    faults = [Arising(name, rate) for name in "abc"]
    plan = inspection_plan([Sleeper(f, tuple(o for o in faults if o is not f)) for f in faults], bound, repair=8)
    assert [i.hours for i in plan.intervals] == [near(YEAR)] * 3


def test_what_sleeps_is_asleep_as_long_as_many_trials_say() -> None:
    """Drawn onsets of the exponential law, mended at each test; seeded, three standard deviations wide."""
    rng = random.Random(5)
    rate, interval, trials = 4e-5, 20_000.0, 60_000
    seen = [max(0.0, interval - rng.expovariate(rate)) / interval for _ in range(trials)]
    mean = sum(seen) / trials
    spread = (sum((s - mean) ** 2 for s in seen) / trials / trials) ** 0.5
    assert abs(asleep(rate, interval) - mean) < 3 * spread
    assert asleep(1e-7, 10) == near(1 - (1 - exp(-1e-6)) / 1e-6, rel=1e-3)
    assert asleep(1e-7, 10) == near(5e-7, rel=1e-6)


def best(total: Callable[[list[float]], float], start: list[float], rng: random.Random) -> float:
    """The least total of tests that a random search finds, staying within the bound."""
    found, at = total(start), start
    for step in range(4000):
        tried = [t * exp(rng.gauss(0, 0.3 / (1 + step / 200))) for t in at]
        if total(tried) < found:
            found, at = total(tried), tried
    return found


@pytest.mark.parametrize("seed", range(12))
def test_no_other_way_to_share_the_bound_takes_fewer_tests(seed: int) -> None:
    rng = random.Random(seed)
    life = 20 * YEAR
    harm = [10 ** rng.uniform(-14, -10) for _ in range(rng.randint(2, 4))]
    sleepers = [Sleeper(Arising(f"s{i}", h / 1e-6), (Arising("second", 1e-6),)) for i, h in enumerate(harm)]
    bound = 10 ** rng.uniform(-9, -6)
    plan = inspection_plan(sleepers, bound, life=life)
    hours = [life if i.hours is None else i.hours for i in plan.intervals]
    spent = sum(h * t / 2 for h, t in zip(harm, hours, strict=True))
    assert spent <= bound * (1 + 1e-9)
    assert plan.per_hour <= spent * (1 + 1e-9)
    if any(i.due is Due.EVERY for i in plan.intervals):
        assert spent == near(bound)

    def tests(tried: list[float]) -> float:
        """Tests per hour once the intervals are scaled to use up the bound, those capped by the life left there."""
        low, high = 0.0, 1e6
        for _ in range(60):
            middle = (low + high) / 2
            used = sum(h * min(t * middle, life) / 2 for h, t in zip(harm, tried, strict=True))
            low, high = (middle, high) if used <= bound else (low, middle)
        return sum(1 / max(min(t * low, life), 1e-9) for t in tried)

    ours = sum(1 / t for t in hours)
    assert best(tests, [YEAR] * len(harm), rng) >= ours * (1 - 1e-6)


def test_a_bound_per_mission_is_kept_by_its_bound_per_hour() -> None:
    """With meetings at a constant frequency f the probability of one within t is 1 - exp(-f t) <= f t."""
    per_hour = bound_per_hour(0.02, 5 * YEAR)
    assert 0.0197 < 1 - exp(-per_hour * 5 * YEAR) <= 0.02
