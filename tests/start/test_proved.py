"""Whatever the answers, every requirement of the written scheme holds on every behaviour, none of them emptily."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import BUDGET, Outcome, prove, prove_all
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Scheme
from tests.start.options import Options, options
from tests.start.test_written import SETS, written


def judge_bounds(scheme: Scheme) -> None:
    """All claims hold, by an upper bound of the longest bad run: exact figures may take a hundred times as long."""
    index = Index(scheme)
    for claim in scheme.claims:
        most = claim.longer_than.us // scheme.scan_us - claim.adds_a_scan
        longest = Decider(index, of_claim(claim), FaultPlan.of(()), BUDGET).answer(most).upper
        assert longest <= most, claim.name
        assert longest > 0 or claim.requirement == "one_supply", claim.name


@pytest.mark.parametrize("name", SETS)
def test_every_requirement_of_a_written_scheme_holds(name: str) -> None:
    _, _, scheme = written(SETS[name])
    judge_bounds(scheme)
    index = Index(scheme)
    exactly = scheme.claims[:: 1 if len(scheme.claims) < 40 else 7]  # of alike devices not each one
    outcomes = {c.name: prove(scheme, c, margins=False, trace=False, index=index).outcome for c in exactly}
    assert len(outcomes) > 2
    assert outcomes == dict.fromkeys(outcomes, Outcome.HOLDS)


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(options())
def test_the_requirements_hold_for_any_answers_that_go_together(given: Options) -> None:
    # Exposures are not always exact in the budget.
    _, _, scheme = written(given)
    judge_bounds(scheme)


def test_the_usual_answers_leave_these_exposures() -> None:
    # By hand: the trip delay, the device's stopping time, and one scan, since truth may turn just after a scan.
    _, _, scheme = written({})
    found = {v.claim.name: v.exposure_us for v in prove_all(scheme, margins=False) if v.claim.adds_a_scan}
    assert found == {
        "frozen_charge/solar": 3_100_000,  # 2 s, 1 s
        "hot_charge/solar": 6_100_000,  # 5 s, 1 s
        "overfull_charge/solar": 2_100_000,  # 1 s, 1 s
        "empty_discharge/inverter": 5_600_000,  # 5 s, 500 ms
        "empty_discharge/dc_branch": 5_300_000,  # 5 s, 200 ms
        "frozen_discharge/inverter": 5_600_000,
        "frozen_discharge/dc_branch": 5_300_000,
        "hot_discharge/inverter": 5_600_000,
        "hot_discharge/dc_branch": 5_300_000,
    }


def test_every_requirement_on_the_pack_keeps_a_margin_on_each_of_its_limits() -> None:
    for name in ("nothing asked", "only heat"):
        _, _, scheme = written(SETS[name])
        checked = 0
        for verdict in prove_all(scheme):
            for margin in verdict.margins:
                assert margin.known
                assert margin.value is None or margin.value > 0, (verdict.claim.name, margin)
                checked += 1
        assert checked > 10
