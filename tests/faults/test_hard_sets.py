"""Fault sets of both schemes that took a way of their own to be decided: each is, within what a study may spend."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from interlock.faults.judge import Answer, Judge, Shown
from interlock.logic.scan import Engine, World
from interlock.logic.stretch import run_for
from interlock.proof.index import Index
from interlock.scheme.model import Scheme
from interlock.scheme.read import load
from interlock.scheme.words import State

RULES = Path(__file__).parents[2] / "rules"


@lru_cache(maxsize=2)
def scheme_of(file: str) -> tuple[Scheme, Index]:
    scheme = load(RULES / file)
    return scheme, Index(scheme)


def judge_of(file: str, claim: str) -> tuple[Scheme, Judge]:
    scheme, index = scheme_of(file)
    return scheme, Judge(index, next(c for c in scheme.claims if c.name == claim))


def judged(file: str, claim: str, faults: str) -> Answer:
    scheme, judge = judge_of(file, claim)
    healthy = judge.rule(())
    assert isinstance(healthy.shown, Shown)
    before, *also = judge.proofs((), healthy.shown)
    return judge.rule([scheme.faults[name] for name in faults.split()], before, also).answer


def judged_pair(file: str, claim: str, faults: str) -> Answer:
    """With what each fault alone was shown on, as a study of pairs has it."""
    scheme, judge = judge_of(file, claim)
    healthy = judge.rule(()).shown
    known = [judge.rule([scheme.faults[name]], healthy).shown for name in faults.split()]
    before, *also = sorted((shown for shown in known if shown is not None), key=lambda shown: shown.zones)
    assert also, "each alone does no harm"
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


@pytest.mark.parametrize(
    ("claim", "faults"),
    [
        # the proof found with the one fault takes thousands of zones with the other, that found with the other eight
        ("dump_spares_pack/dump_load", "K1~K10.swapped bus_closed~reset_button.swapped"),
        ("generator_served/generator_charger", "charge_permit.shorted generator_closed~valley_live.swapped"),
        ("generator_served/generator_charger", "K5.welded generator_closed~valley_live.swapped"),
    ],
)
def test_a_hard_pair_of_the_hut_does_no_harm(claim: str, faults: str) -> None:
    assert judged_pair("alpine_hut.yaml", claim, faults) is Answer.HOLDS


DUMP = "dump_spares_pack/dump_load"
CALM = {"floor_probe": 12_000_000, "wall_probe": 13_000_000, "low_tap": 3_290_000, "shunt": 75_000_000}


def test_contactors_that_weld_in_the_middle_of_a_second_stop_do_harm() -> None:
    """By hand: the charge bus has welded. The cell monitor's stop ends, is given again a scan later, and the turbine's
    contactor welds two scans on, in the 200 ms that it has to open: the dump load, which waits for half a second of
    turbine, then begins to count anew."""
    scheme, _ = scheme_of("alpine_hut.yaml")
    bus, turbine = scheme.faults["K1.welded"], scheme.faults["K3.welded"]

    def world(high_tap: int, *faults: str, reset: bool = False) -> World:
        return World(
            CALM | {"high_tap": high_tap}, {"reset_button": reset}, frozenset(scheme.faults[name] for name in faults)
        )

    def longest(waits: int) -> int:
        engine = Engine(scheme)
        run_for(engine, world(3_310_000), 4_000)
        run_for(engine, world(3_310_000, reset=True), 2)
        run_for(engine, world(3_310_000), 4_000)
        run_for(engine, world(3_600_000, bus.name), 30)
        while engine.scan(world(3_310_000, bus.name)).states["cell_full"][0] is not State.CLEAR:
            pass
        row = most = 0
        for scan in range(60):  # from the next on the monitor is over its limit again, and stops in the eleventh
            there = [turbine.name] if scan >= 10 + waits else []
            seen = engine.scan(world(3_600_000, bus.name, *there))
            row = row + 1 if seen.may_run["dump_load"] and seen.may_run["turbine_charging"] else 0
            most = max(most, row)
        return most

    assert [longest(waits) for waits in range(4)] == [8, 10, 11, 8], "1 s is allowed: 10 scans"
    assert judged_pair("alpine_hut.yaml", DUMP, "K1.welded K3.welded") is Answer.VIOLATED


@pytest.mark.parametrize("faults", ["K1.wrong_contact K3.welded", "K3.welded K3.wrong_contact"])
def test_so_do_other_contacts_that_do_not_open(faults: str) -> None:
    assert judged_pair("alpine_hut.yaml", DUMP, faults) is Answer.VIOLATED
