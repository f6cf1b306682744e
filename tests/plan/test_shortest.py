"""No shorter test shows a fault: everything tried by hand on the bench."""

from __future__ import annotations

from functools import cache

import pytest

from interlock.plan.beginnings import Start
from interlock.plan.proof_test import UNSEEN, ProofTests, proof_tests
from interlock.plan.sights import Ease
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.plan.by_hand import Key, best_of
from tests.support.bench import BENCH, edited

DORMANT = ("monitor_discharge_ok.broken", "reset_button.inverted", "K2.wire_broken")  # as `interlock inject` finds
# Others of the bench, one of each mode: the search is the same for them.
OTHERS = (
    "probe.open",
    "probe.stuck",
    "monitor_charge_ok.shorted",
    "K1.welded",
    "K1.ignored",
    "lamp_circuit.bypassed",
    "board.frozen",
    "cell_monitor.frozen",
    "cold_stop.omitted",
    "K1~K2.swapped",
    "low_tap~high_tap.swapped",
    "monitor_discharge_ok~reset_button.swapped",
)  # fmt: skip
# A second contactor in series with the lamp's: what only one of the two does is seen at its own device's input alone.
TWO_STOPS = (
    "  K2: {drives: [lamp_circuit]",
    "  K3: {drives: [lamp_circuit], contact: normally_open, runs_when: closed}\n  K2: {drives: [lamp_circuit]",
)


@cache
def studied(two_stops: bool = False) -> tuple[Scheme, ProofTests]:
    scheme = loads(edited(TWO_STOPS) if two_stops else BENCH, "bench.yaml")
    return scheme, proof_tests(scheme, scheme.faults.values(), steps=3)


def key(found: ProofTests, fault: str) -> tuple[int, Key]:
    """What the search says: the number of steps, and how good the test is."""
    test = found.tests[fault]
    scans = sum(move.scans for move in test.moves)
    second = -(-1_000_000 // found.stimuli.scheme.scan_us)
    meter, powers_up = test.sight.ease is Ease.METER, test.start is Start.POWER_UP
    return len(test.moves), (meter, powers_up, -(-scans // second), int(test.sight.ease), scans)


@pytest.mark.parametrize("fault", DORMANT + OTHERS)
def test_no_other_sequence_of_steps_on_the_bench_is_shorter(fault: str) -> None:
    scheme, found = studied()
    steps, best = key(found, fault)
    look = 30  # 3 s of 100 ms
    if steps == 0:
        assert best == (False, False, 0, 0, 0)
        return
    for fewer in range(1, steps):
        assert best_of(found.stimuli, scheme.faults[fault], fewer, look) is None
    tried = best_of(found.stimuli, scheme.faults[fault], steps, look)
    assert tried is not None
    assert best == tried


@pytest.mark.parametrize("fault", ["K3.welded", "K2.welded"])
def test_a_contact_that_another_one_hides_is_seen_with_a_meter(fault: str) -> None:
    scheme, found = studied(two_stops=True)
    steps, best = key(found, fault)
    assert (steps, best[0]) == (1, True)
    tried = best_of(found.stimuli, scheme.faults[fault], 1, 30)
    assert tried is not None
    assert best == tried


# An override of a few seconds with an alarm, a slow contactor: counters that end at other times than delays do.
OVERRIDDEN = "blocks: sources, alarm: it is cold,\n    overridden_by: service_key, override_at_most: 4 s}"
COUNTERS = (
    ("  reset_button: external", "  reset_button: external\n  service_key: external"),
    ("blocks: sources}\n  hot_stop", f"{OVERRIDDEN}\n  hot_stop"),
    ("stops_within: 100 ms}\n  K2", "stops_within: 700 ms, starts_within: 5500 ms}\n  K2"),
)


@pytest.mark.parametrize("fault", ["K1.welded", "cold_stop.omitted", "K1.wrong_contact"])
def test_a_slow_contactor_is_waited_for_to_the_scan(fault: str) -> None:
    scheme = loads(edited(*COUNTERS), "bench.yaml")
    found = proof_tests(scheme, [scheme.faults[fault]], steps=1)
    steps, best = key(found, fault)
    assert best == (best_of(found.stimuli, scheme.faults[fault], 1, 30) if steps else (False, False, 0, 0, 0))


def test_a_test_that_only_quick_fingers_can_do_is_not_offered() -> None:
    """Pressed for one scan at power-up, the inverted key would silence the alarm for 4 s: held longer, it would not."""
    scheme = loads(edited(*COUNTERS), "bench.yaml")
    fault = scheme.faults["service_key.inverted"]
    found = proof_tests(scheme, [fault], steps=2)
    assert best_of(found.stimuli, fault, 1, 30) is not None
    assert len(found.tests[fault.name].moves) == 2
    assert all(move.change.press is None for move in found.tests[fault.name].moves)


def test_a_device_that_another_stop_hides_is_shown_by_no_test_and_that_is_said() -> None:
    scheme, found = studied(two_stops=True)
    assert found.searched["K3.ignored"] == 3
    for steps in (1,):
        assert best_of(found.stimuli, scheme.faults["K3.ignored"], steps, 30) is None


def test_every_fault_is_tested_or_it_is_said_why_not() -> None:
    scheme, found = studied()
    named = {*found.tests, *found.searched, *found.alike, *found.briefly}
    assert {n for n, f in scheme.faults.items() if all(s.mode in UNSEEN for s in f.single())} == set(
        scheme.faults
    ) - named
    assert set(found.tests) >= set(DORMANT)
    assert not set(found.tests) & {*found.searched, *found.alike, *found.briefly}
