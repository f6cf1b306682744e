"""Runs in which a fault keeps what was, found at once and played for real."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import _story
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Scheme
from interlock.scheme.read import load

RULES = Path(__file__).parents[2] / "rules"
LOOKED_AT = 600  # scans: some milliseconds


@pytest.fixture(scope="module")
def hut() -> Scheme:
    return load(RULES / "alpine_hut.yaml")


def decider(scheme: Scheme, claim: str, fault: str) -> tuple[Decider, int]:
    asked = next(c for c in scheme.claims if c.name == claim)
    plan = FaultPlan.of([scheme.faults[fault]])
    assert plan.keeps()
    return Decider(Index(scheme), of_claim(asked), plan, 0), asked.longer_than.us // scheme.scan_us - asked.adds_a_scan


@pytest.mark.parametrize(
    ("claim", "fault"),
    [
        ("generator_served/generator_charger", "high_tap.stuck"),  # stuck where the pack is full
        ("valley_served/valley_charger", "floor_probe.stuck"),  # where it is cold
        ("comfort_served/inverter", "shunt.stuck"),  # where little charge is left
        ("generator_served/generator_charger", "cell_monitor.frozen"),  # while it takes the permit away
    ],
)
def test_what_a_fault_keeps_is_found_soon(hut: Scheme, claim: str, fault: str) -> None:
    asked, allowed = decider(hut, claim, fault)
    run = asked.kept(allowed, LOOKED_AT)
    assert run is not None
    assert run.bad_run > allowed
    assert _story(asked, run, allowed + 1)[0][-1].bad  # confirmed on the readable engine
    full = asked.full
    arisen = [full.configs[p.choice.config].arisen for p in run.played]
    assert arisen == sorted(arisen)
    assert arisen[0] == 0  # it came while the installation was at rest or on its way from there
    assert arisen[-1] == 1


def test_nothing_is_found_where_what_is_kept_does_no_harm(hut: Scheme) -> None:
    asked, allowed = decider(hut, "pack_thawed/cell_heater", "shunt.stuck")
    assert asked.kept(allowed, LOOKED_AT) is None
