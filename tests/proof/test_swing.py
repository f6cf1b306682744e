"""Runs that need a certain scan of an endless swing: found, never made up, as cheap with long delays as with short."""

from __future__ import annotations

import random
from pathlib import Path

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import _story
from interlock.proof.system import FaultPlan
from interlock.scheme.read import loads
from tests.support.brute import Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import TINY
from tests.support.random_schemes import random_fault_set, random_scheme_text

HUT = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"
EXCHANGED = "generator_closed~valley_closed.swapped"


def decider(text: str) -> Decider:
    scheme = loads(text, "hut.yaml")
    claim = next(c for c in scheme.claims if c.name == "one_supply/generator_charger")
    return Decider(Index(scheme), of_claim(claim), FaultPlan.of([scheme.faults[EXCHANGED]]), 0)


def test_both_supplies_meet_when_a_long_delay_ends_at_the_right_scan_of_a_swing() -> None:
    """With the auxiliary contacts exchanged each contactor takes itself off again and again, and nothing comes to rest.
    The valley line comes alive 300 s before the scan at which the generator's contactor is closed for a moment."""
    found = decider(HUT.read_text())
    assert found.rest is None
    run = found.swung(0, 60_000)
    assert run is not None
    assert _story(found, run, 1)[0][-1].bad  # confirmed on the readable engine


def test_the_search_does_not_grow_with_the_delay_that_the_swing_has_to_meet() -> None:
    text = HUT.read_text()
    assert text.count("clears: on for 5 min") == 1
    longer = decider(text.replace("clears: on for 5 min", "clears: on for 50 min"))
    run = longer.swung(0, 60_000)
    assert run is not None
    assert sum(p.scans for p in run.played) > 30_000  # 50 min at 100 ms


def test_no_run_is_longer_than_brute_force_finds() -> None:
    found = missed = 0
    for seed in range(7100, 7150):
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, TINY), "random.yaml")
        present = random_fault_set(rng, scheme, seed % 2)
        for claim in scheme.claims:
            try:
                brute = judge(scheme, claim, present, Options(most_states=6_000))
            except OutOfReach:
                continue
            tried = Decider(Index(scheme), of_claim(claim), FaultPlan.of(present), 0)
            if brute.n is not None:
                assert tried.swung(brute.n, 4_000) is None, (seed, claim.name)
            if brute.n is None or brute.n > 0:
                run = tried.swung(10 if brute.n is None else brute.n - 1, 20_000)
                found += run is not None
                missed += run is None
                if run is not None:
                    assert _story(tried, run, 11 if brute.n is None else brute.n)
    print({"found": found, "missed": missed})
    assert found > 2 * missed
    assert found > 10
