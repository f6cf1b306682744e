"""What `interlock inject` says of proof tests, in words and as data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interlock.cli.inject import study_json
from interlock.cli.inject_proof_tests import tests_of as joined
from interlock.explain.phrases import text
from interlock.explain.proof_tests import begins, plain_rest, plain_test, told
from interlock.plan.proof_test import ProofTests, proof_tests
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from tests.faults.studies import bench
from tests.plan.by_hand import Bench
from tests.plan.test_shortest import TWO_STOPS
from tests.support.bench import BENCH, edited


def found_of(scheme: Scheme, *names: str) -> ProofTests:
    return proof_tests(scheme, [scheme.faults[n] for n in names], steps=2)


def said(found: ProofTests, name: str) -> str:
    return " ".join(text(s) for s in told(found, found.stimuli.scheme.faults[name]))


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (
            "K2.wire_broken",
            "Shown at rest: lamp_circuit, at its device's own input, must be running, and with K2.wire_broken it is"
            " stopped.",
        ),
        (
            "reset_button.inverted",
            "Shown by: powered up and left alone for 5 min 1 s, then reset_button on for 1 s; then bench_charger, at "
            "its device's own input, must be running, and with reset_button.inverted it is stopped.",
        ),
        (
            "cold_stop.omitted",
            "Shown by: probe at -2 degC for 3 s; then bench_charger, at its device's own input, must be stopped, and "
            "with cold_stop.omitted it is running.",
        ),
        (
            "probe.stuck",
            "Shown by: probe's lead taken off for 1 s; then the reading of probe must be invalid, and with probe.stuck "
            "it is valid. Had it come in another state, it would show at rest.",
        ),
        (
            "cell_monitor.frozen",
            "Shown by: high_tap at 3.7 V for 2 s; then bench_charger, at its device's own input, must be stopped, and "
            "with cell_monitor.frozen it is running. Had it come in another state, it would show at rest.",
        ),
        (
            "probe.drifted",
            "A value in its place does not test it: compare its reading with a reference instrument beside it.",
        ),
        ("board.power_cycled", "It passes and leaves nothing to look for."),
    ],
)
def test_a_test_is_told_as_do_this_wait_that_see_this(fault: str, words: str) -> None:
    assert said(found_of(loads(BENCH), fault), fault) == words


def test_a_line_is_looked_at_where_it_is_sent_and_a_hidden_contact_at_its_device() -> None:
    launch, two_stops = load("rules/survey_launch.yaml"), loads(edited(TWO_STOPS))
    assert said(found_of(launch, "cell_full.omitted"), "cell_full.omitted") == (
        "Shown by: high_tap at 3.7 V for 2 s; then charge_permit, where cell_monitor sends it, must be off, and with "
        "cell_full.omitted it is on."
    )
    assert said(found_of(two_stops, "K3.welded"), "K3.welded") == (
        "Shown by: probe at 60 degC for 3 s; then what K3's device sees at its input must be open, and with K3.welded "
        "it is closed."
    )


def test_what_stands_before_all_tests_harms_no_pack() -> None:
    words = text(begins(found_of(loads(BENCH), "K2.wire_broken")))
    assert "probe at 20 degC, low_tap at 3.2 V, high_tap at 3.3 V and reset_button off" in words
    assert "left alone for 5 min 1 s, then reset_button pressed and 1 s waited" in words
    assert "no pack is cooled, heated, charged or drained" in words


TWICE = "{watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}"
UNSWITCHED = edited(
    ("outputs:", "  bilge: {flow: discharge, unswitched: it must always run}\n\noutputs:"),
    ("  cold_stop: ", f"  told_twice: {TWICE}\n  cold_stop: "),
)


def test_what_nothing_shows_is_said_to_be_proved_or_only_not_found() -> None:
    found = found_of(loads(UNSWITCHED), "bilge.bypassed", "cold_stop.omitted")
    assert found.alike == ("bilge.bypassed", "cold_stop.omitted")
    for name in found.alike:
        assert said(found, name) == (
            "No test shows it: proved to change nothing that can be seen while it is the only fault."
        )
    hidden = found_of(loads(edited(TWO_STOPS)), "K3.ignored")
    assert said(hidden, "K3.ignored") == "No test of up to 2 steps shows it."
    assert plain_rest(hidden)["no_test_up_to_steps"] == {"K3.ignored": 2}


def test_what_differs_too_briefly_for_a_look_is_said_to_with_the_time() -> None:
    hut = load("rules/alpine_hut.yaml")
    found = found_of(hut, "turbine_closed.shorted", "valley_made.omitted")
    assert found.briefly == {"turbine_closed.shorted": 5, "valley_made.omitted": 21}
    assert said(found, "valley_made.omitted") == (
        "No test shows it: proved to change what can be seen for no longer than 2.1 s, too short for a look."
    )
    assert plain_rest(found)["differs_at_most_s"] == {"turbine_closed.shorted": 0.5, "valley_made.omitted": 2.1}


def test_data_of_a_test_are_steps_waits_and_what_is_expected() -> None:
    found = found_of(loads(BENCH), "reset_button.inverted", "probe.stuck")
    assert plain_test(found, "reset_button.inverted") == {
        "from": "power_up",
        "steps": [{"wait_s": 301}, {"set": {"reset_button": "on"}, "wait_s": 1}],
        "look_at": "path",
        "expect": {"bench_charger": "running"},
        "with_fault": {"bench_charger": "stopped"},
    }
    assert plain_test(found, "probe.stuck") == {
        "from": "rest",
        "steps": [{"set": {"probe": "open"}, "wait_s": 1}],
        "look_at": "sensor",
        "expect": {"probe": "invalid"},
        "with_fault": {"probe": "valid"},
    }
    assert plain_test(found, "K1.welded") is None


def test_the_study_has_a_test_for_each_fault_that_sleeps_and_for_no_other() -> None:
    scheme, study = bench()
    data: dict[str, Any] = study_json(Path("bench.yaml"), "", scheme, study, joined(scheme, study, 1))
    shared = study_json(Path("bench.yaml"), "", scheme, study, joined(scheme, study, 2))
    assert shared == data  # looked for in two processes
    tested = {f["fault"] for f in data["faults"] if f["proof_test"] is not None}
    assert tested == {f["fault"] for f in data["faults"] if f["effect"] == "dormant"}
    assert data["proof_tests"]["rest"]["set"]["probe"] == "20 degC"


OSCILLATES = edited(
    ("rules:", "rules:\n  flips: {watches: bench_charger, trips: running, clears: stopped, blocks: bench_charger}"),
)


def test_an_installation_that_never_comes_to_rest_is_tested_from_power_up_or_said_to_be_untested() -> None:
    found = found_of(loads(OSCILLATES), "K1.welded", "K2.wire_broken")
    assert Bench(found.stimuli).stimuli.rest.sensors
    assert found.rest == ()
    assert {t.start.value for t in found.tests.values()} <= {"power_up"}
    for name in ("K1.welded", "K2.wire_broken"):
        assert said(found, name)
