"""A counterexample as a case brings the violation about, faults and resets included; drawn, it is the run found."""

from __future__ import annotations

import pytest

from interlock.cli.counterexample import case_text
from interlock.draw.history import history, replayed
from interlock.logic.cases import run_case
from interlock.logic.scan import Engine, World
from interlock.proof.prove import Outcome, prove
from interlock.scheme.read import loads
from tests.support.bench import BENCH


@pytest.mark.parametrize(
    ("claim", "fault"),
    [
        ("frozen_charge/bench_charger", "cold_stop.omitted"),
        ("frozen_charge/bench_charger", "probe.stuck"),
        ("frozen_charge/bench_charger", "K1~K2.swapped"),
        ("frozen_charge/bench_charger", "K1.welded"),
        ("hot_discharge/lamp_circuit", "board.frozen"),
        ("charging_served/bench_charger", "K1.wire_broken"),
        ("charging_served/bench_charger", "monitor_charge_ok.broken"),
    ],
)
def test_a_counterexample_as_a_case_fails_and_passes_once_its_fault_is_mended(claim: str, fault: str) -> None:
    scheme = loads(BENCH)
    planted = scheme.fault(fault)
    assert planted
    verdict = prove(scheme, next(c for c in scheme.claims if c.name == claim), (planted,))
    assert verdict.outcome is Outcome.VIOLATED
    text = case_text(scheme, verdict, (planted,))
    case = loads(BENCH + text).cases[-1]
    assert [f.name for f in run_case(scheme, case).steps[-1].failures] == [claim.partition("/")[2]]
    if fault.startswith("probe"):
        return  # what a stuck sensor reads is all that a case can say: mended, it would read the same
    lines = [line.replace(f"- fault: {fault}", "- ") for line in text.splitlines() if f"  fault: {fault}" not in line]
    mended = loads(BENCH + "\n".join(lines).replace("- \n      ", "- "))
    assert run_case(mended, mended.cases[-1]).passed


def test_a_world_that_cycles_a_unit_is_drawn_with_a_cycle_at_each_of_its_scans() -> None:
    scheme = loads(BENCH)
    readings = {"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_300_000}
    worlds = [(World(readings), 700), (World(readings, cycles=frozenset({"board"})), 5), (World(readings), 700)]
    plain = Engine(scheme)
    wanted = [plain.scan(world).states["cold_stop"][0] for world, scans in worlds for _ in range(scans)]
    run = replayed(scheme, [(world, {}, scans) for world, scans in worlds])
    drawn = [s.states["cold_stop"] for s in history(scheme, run) for _ in range(s.scans)]
    assert drawn == wanted
