"""The demo schemes' claims, and what their sensors imply."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.proof.prove import Outcome, prove, prove_all
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.truth import Implied, closed, declared_bounds, implied_assumptions
from interlock.scheme.units import MICRO
from tests.support.bench import BENCH, edited

RULES = Path(__file__).parents[2] / "rules"


def test_every_claim_of_the_hut_holds_with_all_margins_known() -> None:
    verdicts = prove_all(load(RULES / "alpine_hut.yaml"))
    assert {v.claim.name: v.outcome for v in verdicts if v.outcome is not Outcome.HOLDS} == {}
    assert all(m.known for v in verdicts for m in v.margins)
    assert any(v.margins for v in verdicts)


def test_every_claim_of_the_launch_holds_exactly_with_all_margins_known() -> None:
    verdicts = {v.claim.name: v for v in prove_all(load(RULES / "survey_launch.yaml"))}
    assert {name: v.outcome for name, v in verdicts.items() if v.outcome is not Outcome.HOLDS} == {}
    assert not any(v.covered for v in verdicts.values())
    assert all(m.known for v in verdicts.values() for m in v.margins)
    assert verdicts["field_first/alternator"].scans == 0
    # A tap of the stop button just before the duty limit runs out: the thruster starts again when helm_stop has dropped
    # off, 1 s after the button, and is stopped two scans later, which `starts_within` hides; busy goes on for 30 s and
    # the limit for 270 s more, with a scan between each and the next; and it may take two scans more to start.
    assert verdicts["thruster_served/bow_thruster"].scans == 3_015


@pytest.mark.parametrize(
    ("file", "claim"),
    [
        ("hut_heater_dead_end.yaml", "pack_thawed/cell_heater"),
        ("hut_override_renewable.yaml", "override_ends/rescue_radio"),
        ("hut_probe_dead_range.yaml", "hot_discharge/rescue_radio"),
        ("hut_probe_error_forgotten.yaml", "frozen_charge/roof_pv"),
        ("hut_turbine_unloaded.yaml", "turbine_loaded/dump_load"),
        ("launch_contact_reversed.yaml", "branch_served/branch_converter"),
        ("launch_path_forgotten.yaml", "frozen_charge/inverter_charger"),
    ],
)
def test_a_design_mistake_is_found_with_a_story(file: str, claim: str) -> None:
    scheme = load(RULES / "flawed" / file)
    verdict = prove(scheme, next(c for c in scheme.claims if c.name == claim))
    assert verdict.outcome is Outcome.VIOLATED
    assert verdict.trace


def implied(scheme: Scheme) -> tuple[Implied, ...]:
    return implied_assumptions(closed(declared_bounds(scheme.quantities)) or {}, scheme.sensors.values())


def test_a_sensor_that_forbids_more_than_the_ties_is_named() -> None:
    # probe: reading - coldest >= -0.5 K and reading - hottest <= 0.5 K never bind beyond the ties; its other two do:
    # hottest - coldest <= 2 + 4 K is the tie itself
    assert implied(loads(BENCH, "bench.yaml")) == ()
    looser = loads(edited(("at_most: coldest_cell + 6 K", "at_most: coldest_cell + 9 K")), "bench.yaml")
    assert implied(looser) == (Implied("probe", "hottest_cell", "coldest_cell", 6 * MICRO, 9 * MICRO),)
