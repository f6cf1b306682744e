"""Whatever the answers, every requirement of the written scheme holds on every behaviour, none of them emptily."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pytest
from hypothesis import HealthCheck, given, settings

from interlock.proof.decide import ENDLESS, Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Scheme
from tests.start.options import Options, options
from tests.start.test_written import SETS, written

BUDGET = 200_000  # zones; the largest of these claims takes a tenth


def longest(scheme: Scheme, claims: Iterable[Claim], *, exact: bool) -> Iterator[tuple[Claim, int]]:
    """For each claim an upper bound of its longest bad run, in scans; exact, or only whether it is short enough."""
    index = Index(scheme)
    for claim in claims:
        enough = claim.longer_than.us // scheme.scan_us - (1 if claim.adds_a_scan else 0)
        answer = Decider(index, of_claim(claim), FaultPlan.of(()), BUDGET).answer(None if exact else enough)
        yield claim, answer.upper


def judge(given: Options) -> None:
    """All claims hold. Where no bad scan exists at all, it must be an interlock that allows none."""
    _, _, scheme = written(given)
    for claim, scans in longest(scheme, scheme.claims, exact=False):
        exposure = (scans + (1 if claim.adds_a_scan and scans else 0)) * scheme.scan_us
        assert scans < ENDLESS, claim.name
        assert exposure <= claim.longer_than.us, (claim.name, exposure / 1e6)
        assert scans > 0 or claim.requirement == "one_supply", claim.name


@pytest.mark.parametrize("name", SETS)
def test_every_requirement_of_a_written_scheme_holds(name: str) -> None:
    judge(SETS[name])


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(options())
def test_the_requirements_hold_for_any_answers_that_go_together(given: Options) -> None:
    judge(given)


def test_the_usual_answers_leave_these_exposures() -> None:
    # By hand: the trip delay, the device's stopping time, and one scan, since truth may turn just after a scan.
    _, _, scheme = written({})
    claims = [c for c in scheme.claims if c.adds_a_scan]
    assert {c.name: (n + 1) / 10 for c, n in longest(scheme, claims, exact=True)} == {
        "frozen_charge/solar": 3.1,  # 2 s, 1 s
        "hot_charge/solar": 6.1,  # 5 s, 1 s
        "overfull_charge/solar": 2.1,  # 1 s, 1 s
        "empty_discharge/inverter": 5.6,  # 5 s, 500 ms
        "empty_discharge/dc_branch": 5.3,  # 5 s, 200 ms
        "frozen_discharge/inverter": 5.6,
        "frozen_discharge/dc_branch": 5.3,
        "hot_discharge/inverter": 5.6,
        "hot_discharge/dc_branch": 5.3,
    }
