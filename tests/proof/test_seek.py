"""The search for real runs finds what the bounds leave open, and never makes up a run."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import _story
from interlock.proof.seek import seek
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.read import load, loads
from tests.support.brute import Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import TINY
from tests.support.random_schemes import random_fault_set, random_scheme_text

RULES = Path(__file__).parents[2] / "rules"


def claim_of(scheme: Scheme, name: str) -> Claim:
    return next(c for c in scheme.claims if c.name == name)


@pytest.mark.parametrize(
    ("file", "name", "mended"),
    [
        ("hut_supplies_overlap.yaml", "one_supply/generator_charger", "alpine_hut.yaml"),
        ("launch_contactor_before_field.yaml", "field_first/alternator", "survey_launch.yaml"),
    ],
)
def test_a_rare_coincidence_is_found_and_replays(file: str, name: str, mended: str) -> None:
    scheme = load(RULES / "flawed" / file)
    decider = Decider(Index(scheme), of_claim(claim_of(scheme, name)), FaultPlan.of(()), 0)
    run = seek(decider.full, 0, 150_000)
    assert run is not None
    assert _story(decider, run, 1)[0][-1].bad  # confirmed on the readable engine
    sound = load(RULES / mended)
    held = Decider(Index(sound), of_claim(claim_of(sound, name)), FaultPlan.of(()), 0)
    assert seek(held.full, 0, 20_000) is None


@pytest.mark.parametrize("faults", [0, 1])
def test_no_run_is_longer_than_brute_force_finds_and_most_of_the_longest_are_found(faults: int) -> None:
    found = missed = 0
    for seed in range(7000, 7030):
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, TINY), "random.yaml")
        present = random_fault_set(rng, scheme, faults)
        for claim in scheme.claims:
            try:
                brute = judge(scheme, claim, present, Options(most_states=6_000))
            except OutOfReach:
                continue
            decider = Decider(Index(scheme), of_claim(claim), FaultPlan.of(present), 0)
            if brute.n is None:  # need not end
                continue
            assert seek(decider.full, brute.n, 2_000, decider.rest) is None, (seed, claim.name)
            if brute.n > 0:
                rest = decider.rest if seed % 2 else None  # with what follows from rest looked at first, and without
                run = seek(decider.full, brute.n - 1, 20_000, rest)
                found += run is not None
                missed += run is None
                if run is not None:
                    assert _story(decider, run, brute.n)
    print({"found": found, "missed": missed})
    assert found > 10 * missed
    assert found > 10


def test_a_violation_from_rest_is_found_in_few_scans() -> None:
    """The tier that must go last is wired to what has to run before the inverter: it goes while the inverter runs."""
    hut = load(RULES / "alpine_hut.yaml")
    plan = FaultPlan.of([hut.faults["K8~K11.swapped"]])
    decider = Decider(Index(hut), of_claim(claim_of(hut, "inverter_filled/inverter")), plan, 0)
    assert seek(decider.full, 3, 3_000) is None
    run = seek(decider.full, 3, 500, decider.rest)
    assert run is not None
    assert _story(decider, run, 4)[0][-1].bad  # confirmed on the readable engine
