"""Single faults on the bench, by hand from the meaning of its parts; and what a verdict's support leaves out."""

from __future__ import annotations

import pytest

from interlock.faults.court import Batch, Court
from interlock.faults.cutsets_search import Ask, CutSetSearch
from interlock.faults.judge import BUDGET, Answer, Judge
from interlock.proof.index import Index
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.bench import BENCH

FROZEN_CHARGE = """probe.stuck probe.drifted K1.welded K1.wrong_contact K1.ignored K1~K2.swapped bench_charger.bypassed
    board.frozen cold_stop.omitted"""
HOT_DISCHARGE = """probe.stuck probe.drifted K2.welded K2.wrong_contact K2.ignored lamp_circuit.bypassed board.frozen
    hot_stop.omitted"""


@pytest.fixture(scope="module")
def bench() -> Scheme:
    return loads(BENCH, "bench.yaml")


def single_points(scheme: Scheme, claim: str) -> set[str]:
    search = CutSetSearch(scheme.faults, 1)
    number = [c.name for c in scheme.claims].index(claim)
    court = Court(scheme, BUDGET)
    while search.wanted:
        search.told(court.answers(Batch(number, search.wanted)).told)
    result = search.result()
    assert not result.undecided
    return {fault for (fault,) in result.minimal}


@pytest.mark.parametrize(
    ("claim", "faults"),
    [("frozen_charge/bench_charger", FROZEN_CHARGE), ("hot_discharge/lamp_circuit", HOT_DISCHARGE)],
)
def test_the_single_faults_that_violate_the_bench_are_those_found_by_hand(
    bench: Scheme, claim: str, faults: str
) -> None:
    assert single_points(bench, claim) == set(faults.split())


@pytest.mark.parametrize("claim", range(5))
def test_no_fault_outside_the_support_violates(bench: Scheme, claim: int) -> None:
    told = Court(bench, BUDGET).answers(Batch(claim, (Ask((), None, True),))).told[0]
    judge = Judge(Index(bench), bench.claims[claim])
    outside = [f for name, f in bench.faults.items() if name not in told.near]
    assert len(outside) > 10, "the support leaves something out"
    assert [f.name for f in outside if judge.rule([f]).answer is not Answer.HOLDS] == []


def test_a_claim_that_is_violated_without_a_fault_has_the_empty_cut_set(bench: Scheme) -> None:
    hasty = loads(BENCH.replace("trips: below 3 degC for 2 s", "trips: below 3 degC for 2 min"), "bench.yaml")
    search = CutSetSearch(hasty.faults, 2)
    court = Court(hasty, BUDGET)
    while search.wanted:
        search.told(court.answers(Batch(0, search.wanted)).told)
    assert search.result().minimal == ((),)
    assert search.result().judged == 1
    assert len(bench.faults) == len(hasty.faults)


LATE = """\
scheme: Charger of a hut
revision: 1
scan: 100 ms
quantities:
  cell: {span: -20 to 60 degC}
sensors:
  probe: {measures: {cell: -1 to 1 K}, valid: -25 to 65 degC, shorted_reads: 20 degC}
rules:
  hot_stop: {watches: probe, trips: above 30 degC, clears: below 15 degC, blocks: charger, power_up: clear}
paths:
  charger: {flow: charge}
outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed}
requirements:
  charger_served: {never_stopped: charger, while: {cell: below 10 degC}, longer_than: 1 s}
"""


def test_a_fault_that_harms_only_once_something_has_happened_is_found() -> None:
    """A lead that shorts at power-up reads 20 °C for good, where nothing trips; once the rule has tripped, nothing
    lets it clear again."""
    scheme = loads(LATE, "late.yaml")
    judge = Judge(Index(scheme), scheme.claims[0])
    assert judge.rule([]).answer is Answer.HOLDS
    assert judge.rule([scheme.faults["probe.shorted"]]).answer is Answer.VIOLATED
    assert judge.rule([scheme.faults["probe.open"]]).answer is Answer.VIOLATED
