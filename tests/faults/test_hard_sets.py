"""Fault sets of both schemes that took a way of their own to be decided: each is, within what a study may spend."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from interlock.faults.judge import Answer, Judge, Shown
from interlock.proof.index import Index
from interlock.scheme.model import Scheme
from interlock.scheme.read import load

RULES = Path(__file__).parents[2] / "rules"


@lru_cache(maxsize=2)
def scheme_of(file: str) -> tuple[Scheme, Index]:
    scheme = load(RULES / file)
    return scheme, Index(scheme)


def judged(file: str, claim: str, faults: str) -> Answer:
    scheme, index = scheme_of(file)
    judge = Judge(index, next(c for c in scheme.claims if c.name == claim))
    healthy = judge.rule(())
    assert isinstance(healthy.shown, Shown)
    before, *also = judge.proofs((), healthy.shown)
    return judge.rule([scheme.faults[name] for name in faults.split()], before, also).answer


@pytest.mark.parametrize(
    ("claim", "faults"),
    [
        # what contacts tell settles too
        ("branch_served/inverter_charger", "K1~K2.swapped"),
        ("branch_served/inverter_charger", "discharge_permit~contactor_closed.swapped"),
        # a line held where nothing trips
        ("branch_served/branch_converter", "charge_permit.shorted"),
        ("thruster_served/bow_thruster", "pack_permit.shorted"),
        # one proof does not stand any more, another does
        ("overfull_charge/inverter_charger", "contactor_closed~shore_live.swapped"),
        # what the permit's own rules do is followed before a limit that has nothing to do with it
        ("hot_discharge/bow_thruster", "cell_monitor.power_cycled"),
    ],
)
def test_a_hard_fault_of_the_launch_is_decided(claim: str, faults: str) -> None:
    assert judged("survey_launch.yaml", claim, faults) is Answer.HOLDS


@pytest.mark.parametrize("first", ["K1~K2.swapped", "K1.ignored", "charge_bus.bypassed"])
def test_a_lockout_whose_reset_hangs_on_its_own_contactor_is_followed_there(first: str) -> None:
    # the reset button is read where the bus contactor tells of itself, which the lockout keeps open: nobody resets it
    faults = f"{first} bus_closed~reset_button.swapped"
    assert judged("alpine_hut.yaml", "dump_spares_pack/dump_load", faults) is Answer.HOLDS
