"""Several proofs of one claim, and faults that can only help: what they leave unjudged, and that it follows."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from interlock.faults.court import Batch, Court
from interlock.faults.cutsets_search import Ask, CutSetSearch, Told
from interlock.faults.judge import BUDGET, Answer, Judge
from interlock.faults.support import support
from interlock.proof.components import EVERYTHING
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.random_schemes import INTERLOCKS, TINY, random_scheme_text

SERIES = """\
scheme: Two stops in series, two probes
revision: 1
scan: 100 ms
quantities:
  coldest_cell: {span: -30 to 60 degC}
sensors:
  floor_probe: {measures: {coldest_cell: -1 to 1 K}, valid: -35 to 65 degC}
  wall_probe: {measures: {coldest_cell: -1 to 1 K}, valid: -35 to 65 degC}
readings:
  cold_side: {lowest_of: [floor_probe, wall_probe], needs: 1}
rules:
  cold_stop: {watches: cold_side, trips: below 3 degC, clears: above 5 degC, blocks: charger}
paths:
  charger: {flow: charge}
outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed}
  K2: {drives: [charger], contact: normally_open, runs_when: closed}
requirements:
  frozen_charge: {never_running: charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}
  charger_served: {never_stopped: charger, while: {coldest_cell: above 10 degC}, longer_than: 1 s}
"""


@pytest.fixture(scope="module")
def series() -> Scheme:
    return loads(SERIES, "series.yaml")


def healthy(scheme: Scheme, claim: int) -> Told:
    return Court(scheme, BUDGET).answers(Batch(claim, (Ask((), None, True),))).told[0]


def near(told: Told) -> list[set[str]]:
    """What each proof rests on."""
    return [set(told.near), *(set(other.near) for other in told.others)]


def test_each_of_two_stops_and_each_of_two_probes_is_a_proof_by_itself(series: Scheme) -> None:
    proofs = near(healthy(series, 0))
    stops, probes = {"K1.welded", "K2.welded"}, {"floor_probe.stuck", "wall_probe.stuck"}
    assert sorted((sorted(p & stops), sorted(p & probes)) for p in proofs) == [
        (["K1.welded"], ["floor_probe.stuck"]),
        (["K1.welded"], ["wall_probe.stuck"]),
        (["K2.welded"], ["floor_probe.stuck"]),
        (["K2.welded"], ["wall_probe.stuck"]),
    ]
    assert all("cold_stop.omitted" in p for p in proofs)


def searched(scheme: Scheme, claim: int, size: int) -> tuple[CutSetSearch, set[tuple[str, ...]]]:
    """A whole search, and the sets that were judged for it."""
    search, court = CutSetSearch(scheme.faults, size), Court(scheme, BUDGET)
    asked: set[tuple[str, ...]] = set()
    while search.wanted:
        asked.update(ask.faults for ask in search.wanted)
        search.told(court.answers(Batch(claim, search.wanted)).told)
    return search, asked


def test_one_stop_of_two_is_not_judged_and_both_together_are_a_cut_set(series: Scheme) -> None:
    search, asked = searched(series, 0, 2)
    found = search.result()
    assert ("K1.welded",) not in asked
    assert ("floor_probe.stuck",) not in asked
    assert ("K1.welded", "K2.welded") in found.minimal
    assert ("floor_probe.stuck", "wall_probe.stuck") in found.minimal
    assert ("cold_stop.omitted",) in found.minimal


def test_what_only_helps_is_asked_about_and_hurts_nothing(series: Scheme) -> None:
    index = Index(series)
    for number, helps, hurts in (
        (0, ("K1.wire_broken", "K2.wire_broken", "board.dead"), ("K1.welded", "cold_stop.omitted", "charger.bypassed")),
        (1, ("K1.welded", "cold_stop.omitted", "charger.bypassed"), ("K1.wire_broken", "board.dead")),
    ):
        goal = of_claim(series.claims[number])
        found = support(index, goal, FaultPlan.of(()), EVERYTHING)
        faults = {name: series.faults[name] for name in (*helps, *hurts) if name in series.faults}
        assert len(faults) >= 4, sorted(series.faults)
        assert all(found.touches(fault) for fault in faults.values())
        assert {name for name, fault in faults.items() if found.hurts(fault)} == set(hurts) & set(faults)


@pytest.mark.parametrize("seed", range(1_000, 1_006))
def test_what_follows_without_being_judged_holds(seed: int) -> None:
    """Judged by itself, with nothing known of smaller sets, no set that was passed over is violated."""
    rng = random.Random(seed)
    scheme = loads(random_scheme_text(rng, INTERLOCKS if seed % 2 else TINY), "random.yaml")
    index, passed = Index(scheme), 0
    for number, claim in enumerate(scheme.claims[:1]):
        search, asked = searched(scheme, number, 2)
        found = search.result()
        shut = [set(s) for s in (*found.minimal, *(u.faults for u in found.undecided))]
        judge = Judge(index, claim)
        pairs = list(combinations(scheme.faults, 2))
        for names in (*((name,) for name in scheme.faults), *rng.sample(pairs, min(12, len(pairs)))):
            if names in asked or any(inside <= set(names) for inside in shut):
                continue
            passed += 1
            ruling = judge.rule([scheme.faults[name] for name in names])
            assert ruling.answer is not Answer.VIOLATED, (claim.name, names)
    print(f"seed {seed}: {passed} sets passed over")
