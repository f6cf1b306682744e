"""One scan: lines, overrides, outputs, windows, and every mode of fault, each sentence of the meaning as a claim."""

from __future__ import annotations

import pytest

from interlock.scheme.read import loads
from tests.support.bench import BENCH
from tests.support.runs import CELLS, Run, scheme

PLAIN = "rules: {cold: {watches: probe, trips: below 3 degC, clears: above 5 degC, blocks: charger}}"


def plain(*installed: str, output: str = "contact: normally_open, runs_when: closed") -> Run:
    outputs = (
        f"outputs: {{K1: {{drives: [charger], {output}}}, K2: {{drives: [lamp], contact: driven, runs_when: high}}}}"
    )
    return Run(scheme(CELLS, PLAIN, outputs=outputs), *installed)


# --- outputs


@pytest.mark.parametrize("contact", ["normally_open", "normally_closed"])
@pytest.mark.parametrize("runs_when", ["closed", "open"])
@pytest.mark.parametrize("energised_when", ["runs", "stops"])
def test_only_a_matching_chain_runs_when_permitted(contact: str, runs_when: str, energised_when: str) -> None:
    run = plain(output=f"contact: {contact}, runs_when: {runs_when}, energised_when: {energised_when}")
    matches = ((contact == "normally_open") + (runs_when == "closed") + (energised_when == "runs")) % 2 == 1
    assert run.scan(probe=20).running("charger") is matches
    assert run.scan(probe=0).running("charger") is not matches


def test_a_released_output_energised_to_stop_lets_its_device_run() -> None:
    run = plain(output="contact: normally_closed, runs_when: closed, energised_when: stops")
    assert run.scan(probe=20).running("charger") is True
    assert run.scan(faults=["controller.dead"], probe=0).running("charger") is True


def test_a_device_may_run_on_until_stops_within_after_it_is_told_to_stop() -> None:
    run = plain(output="contact: normally_open, runs_when: closed, stops_within: 150 ms")
    run.scan(2, probe=20)
    seen = [run.scan(probe=0) for _ in range(4)]
    assert [s.may_run["charger"] for s in seen] == [True, True, False, False]
    assert [s.may_stop["charger"] for s in seen] == [True] * 4


def test_a_device_may_stay_stopped_until_starts_within_after_it_is_told_to_run() -> None:
    run = plain(output="contact: normally_open, runs_when: closed, starts_within: 100 ms")
    run.scan(probe=0)
    seen = [run.scan(probe=20) for _ in range(3)]
    assert [s.may_run["charger"] for s in seen] == [True] * 3
    assert [s.may_stop["charger"] for s in seen] == [True, False, False]


def test_a_path_driven_by_two_outputs_runs_only_while_both_let_it() -> None:
    rules = """rules:
  cold: {watches: probe, trips: below 3 degC, clears: above 5 degC, blocks: charger}
  warm: {unit: b, watches: probe, trips: above 40 degC, clears: below 35 degC, blocks: charger}"""
    outputs = """outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed}
  K3: {unit: b, drives: [charger], contact: normally_open, runs_when: closed}
  K2: {drives: [lamp], contact: normally_open, runs_when: closed}"""
    run = Run(scheme(CELLS, "units: [a, b]", rules, outputs=outputs))
    assert run.scan(probe=20).running("charger") is True
    assert run.scan(probe=0).running("charger") is False
    assert run.scan(probe=50).running("charger") is False
    assert run.scan(faults=["a.frozen"], probe=20).running("charger") is True
    assert run.scan(probe=50).running("charger") is False


def test_an_output_with_two_paths_stops_both_when_either_is_blocked() -> None:
    outputs = "outputs: {K1: {drives: [charger, lamp], contact: normally_open, runs_when: closed}}"
    run = Run(scheme(CELLS, PLAIN, outputs=outputs))
    assert run.scan(probe=20).running("lamp") is True
    assert run.scan(probe=0).running("lamp") is False


def test_a_path_behind_another_stops_with_it_but_does_not_stop_it() -> None:
    paths = "paths: {charger: {flow: charge}, lamp: {flow: discharge, behind: charger}}"
    run = Run(scheme(CELLS, PLAIN, paths=paths))
    seen = run.scan(probe=0)
    assert (seen.running("charger"), seen.running("lamp")) == (False, False)
    other = Run(scheme(CELLS, PLAIN.replace("blocks: charger", "blocks: lamp"), paths=paths))
    seen = other.scan(probe=0)
    assert (seen.running("charger"), seen.running("lamp")) == (True, False)


def test_a_path_that_rules_start_runs_only_while_one_of_them_is_in_force() -> None:
    rules = "rules: {heat: {watches: probe, trips: below 3 degC, clears: above 5 degC, starts: lamp}}"
    run = Run(scheme(CELLS, rules))
    assert run.scan(probe=20).running("lamp") is False
    assert run.scan(probe=0).running("lamp") is True
    assert run.scan(probe=0, faults=["heat.omitted"]).running("lamp") is False


def test_a_path_with_modes_is_blocked_only_in_the_mode_the_rule_names() -> None:
    paths = "paths: {charger: {flow: {charge: {shore: on}, discharge: {shore: off}}}, lamp: {flow: discharge}}"
    rules = PLAIN.replace("blocks: charger", "blocks: sources")
    run = Run(scheme(CELLS, "lines: {shore: external}", rules, paths=paths))
    assert run.scan(probe=0).running("charger") is True
    assert run.scan(lines={"shore": True}).running("charger") is False
    assert run.scan(faults=["shore.broken"]).running("charger") is True


# --- lines

SENT = """units: [a, b]
lines: {permit: {low_when: [cold]}, made: {confirms: K1}}
rules:
  cold: {unit: b, watches: probe, trips: below 3 degC, clears: above 5 degC}
  stop: {watches: permit, trips: off, clears: on, blocks: charger}
  shut: {watches: made, trips: off, clears: on, alarm: K1 is open}"""


def test_a_sent_line_is_seen_in_the_same_scan_and_a_contact_as_of_the_scan_before() -> None:
    run = Run(scheme(CELLS, SENT))
    seen = run.scan(probe=20)
    assert (seen.lines["permit"], seen.lines["made"]) == (True, False)
    assert run.scan().lines["made"] is True
    seen = run.scan(probe=0)
    assert (seen.lines["permit"], seen.running("charger"), seen.lines["made"]) == (False, False, True)
    assert run.scan().lines["made"] is False


@pytest.mark.parametrize("fault", ["permit.broken", "b.dead"])
def test_an_undriven_line_reads_what_the_scheme_says(fault: str) -> None:
    run = Run(scheme(CELLS, SENT))
    run.scan(probe=20)
    assert run.scan(faults=[fault]).running("charger") is False
    permits = Run(scheme(CELLS, SENT.replace("[cold]}", "[cold], undriven_reads: on}")))
    assert permits.scan(faults=[fault], probe=0).running("charger") is True


def test_a_shorted_line_reads_the_opposite_and_wins_over_broken() -> None:
    run = Run(scheme(CELLS, SENT))
    assert run.scan(faults=["permit.shorted", "permit.broken"], probe=0).running("charger") is True


def test_an_inverted_line_is_turned_after_all_else() -> None:
    run = Run(scheme(CELLS, SENT), "permit.inverted")
    assert run.scan(probe=0).running("charger") is True
    assert run.scan(faults=["permit.broken"]).running("charger") is True
    assert run.scan(faults=["permit.shorted"]).running("charger") is False


def test_a_frozen_unit_keeps_what_it_sent_and_switched() -> None:
    run = Run(scheme(CELLS, SENT))
    run.scan(probe=20)
    run.scan(faults=["b.frozen"])
    seen = run.scan(probe=0)
    assert (seen.lines["permit"], seen.running("charger")) == (True, True)


def test_a_unit_frozen_at_scan_0_keeps_its_outputs_released_and_its_lines_undriven() -> None:
    run = Run(scheme(CELLS, SENT))
    seen = run.scan(faults=["a.frozen", "b.frozen"], probe=20)
    assert (seen.running("charger"), seen.lines["permit"]) == (False, False)


def test_dead_wins_over_frozen_and_a_mended_unit_powers_up() -> None:
    run = Run(scheme(CELLS, SENT))
    run.scan(2, probe=20)
    seen = run.scan(faults=["b.frozen", "b.dead"])
    assert seen.lines["permit"] is False
    run.faults.clear()
    assert run.scan(probe=4).states["cold"][0].active
    assert run.scan(probe=20).lines["permit"] is True


def test_swapped_lines_are_read_for_each_other_with_the_wires_own_faults() -> None:
    text = """lines: {one: {external: yes, undriven_reads: on}, other: external}
rules:
  r: {watches: one, trips: off, clears: on, blocks: charger}
  s: {watches: other, trips: off, clears: on, blocks: lamp}"""
    run = Run(scheme(text), "one~other.swapped")
    seen = run.scan(lines={"one": True})
    assert (seen.running("charger"), seen.running("lamp")) == (False, True)
    seen = run.scan(lines={"one": False}, faults=["one.broken"])
    assert (seen.running("charger"), seen.running("lamp")) == (False, True)
    assert Run(scheme(text), "other~one.swapped").scan(lines={"other": True}).running("charger") is True


# --- overrides

OVERRIDE = (
    "lines: {key: external}\nrules: {cold: {watches: probe, trips: below 3 degC, clears: above 5 degC, "
    "blocks: charger, overridden_by: key, override_at_most: 300 ms}}"
)


def test_an_override_runs_out_and_must_be_seen_off_before_it_can_override_again() -> None:
    run = Run(scheme(CELLS, OVERRIDE))
    run.scan(probe=0)
    assert [run.scan(lines={"key": True}).running("charger") for _ in range(5)] == [True, True, True, False, False]
    run.scan(lines={"key": False})
    assert run.scan(lines={"key": True}).running("charger") is True


def test_an_override_held_at_power_up_or_through_a_power_cycle_does_not_count() -> None:
    run = Run(scheme(CELLS, OVERRIDE))
    assert run.scan(3, lines={"key": True}, probe=0).running("charger") is False
    run.scan(lines={"key": False})
    assert run.scan(lines={"key": True}).running("charger") is True
    assert run.scan(cycles=["controller"]).running("charger") is False
    assert run.scan(3).running("charger") is False


def test_an_override_suspends_the_effects_and_not_the_machine() -> None:
    run = Run(scheme(CELLS, OVERRIDE))
    run.scan(probe=0)
    run.scan(lines={"key": True})
    assert run.state("cold") == "tripped"


def test_effects_count_only_while_their_conditions_hold() -> None:
    rules = PLAIN.replace("blocks: charger", "blocks: charger, only_while: {key: on}")
    run = Run(scheme(CELLS, "lines: {key: external}", rules))
    assert run.scan(probe=0).running("charger") is True
    assert run.scan(lines={"key": True}).running("charger") is False


def test_a_watched_path_is_what_the_unit_commanded_at_the_scan_before() -> None:
    rules = PLAIN[:-1] + ", seen: {watches: charger, trips: stopped, clears: running, blocks: lamp}}"
    run = Run(scheme(CELLS, rules))
    assert run.scan(probe=20).running("lamp") is False  # before power-up it was commanded off
    assert run.scan().running("lamp") is True
    assert run.scan(probe=0).running("lamp") is True
    assert run.scan().running("lamp") is False


# --- faults of outputs, sensors, paths


def test_a_welded_contact_runs_on_unless_its_wire_breaks() -> None:
    run = plain()
    assert run.scan(faults=["K1.welded"], probe=0).running("charger") is True
    assert run.scan(faults=["K1.wire_broken"]).running("charger") is False


def test_a_wrong_contact_runs_when_it_should_stop_and_is_there_before_power_up() -> None:
    run = plain("K1.wrong_contact", output="contact: normally_open, runs_when: closed, stops_within: 100 ms")
    assert run.engine.since_run["K1"] == 0
    assert run.scan(probe=0).running("charger") is True
    assert run.scan(2, probe=20).running("charger") is False


def test_an_ignored_input_and_a_bypass_always_let_run() -> None:
    assert plain("K1.ignored").scan(probe=0).running("charger") is True
    paths = "paths: {charger: {flow: charge, behind: lamp}, lamp: {flow: discharge}}"
    rules = PLAIN.replace("blocks: charger", "blocks: all")
    assert Run(scheme(CELLS, rules, paths=paths), "K1.ignored").scan(probe=0).running("charger") is False
    assert Run(scheme(CELLS, rules, paths=paths), "charger.bypassed").scan(probe=0).running("charger") is True


def test_swapped_outputs_feed_each_others_devices_and_the_contacts_faults_go_along() -> None:
    run = Run(scheme(CELLS, PLAIN), "K1~K2.swapped")
    seen = run.scan(probe=0)
    assert (seen.running("charger"), seen.running("lamp")) == (True, False)
    assert run.scan(faults=["K1.welded"]).running("lamp") is True


def test_a_stuck_sensor_keeps_the_reading_of_its_onset_until_it_is_stale() -> None:
    cells = CELLS.replace("valid:", "stale_after: 250 ms, valid:")
    run = Run(scheme(cells, PLAIN))
    run.scan(probe=20)
    run.scan(faults=["probe.stuck"])
    assert [run.scan(probe=0).readings["probe"] for _ in range(4)] == [20_000_000, 20_000_000, None, None]


def test_open_and_shorted_read_as_given_and_shorted_wins() -> None:
    cells = CELLS.replace("valid:", "open_reads: -60 degC, shorted_reads: 80 degC, valid:")
    run = Run(scheme(cells, PLAIN))
    assert run.scan(probe=20, faults=["probe.open"]).readings["probe"] is None  # outside valid
    assert run.scan(faults=["probe.shorted"]).readings["probe"] == 80_000_000


def test_a_lost_reading_trips() -> None:
    run = plain()
    assert run.scan(probe=20).running("charger") is True
    assert run.scan(faults=["probe.open"]).running("charger") is False


def test_swapped_sensors_read_each_others_place_within_their_own_valid_range() -> None:
    cells = """quantities: {cell: {span: -40 to 80 degC}, wall: {span: -40 to 80 degC}}
sensors:
  probe: {measures: {cell: -1 to 1 K}, valid: -50 to 30 degC}
  other: {measures: {wall: -1 to 1 K}, valid: -50 to 90 degC}"""
    run = Run(scheme(cells, PLAIN), "probe~other.swapped")
    seen = run.scan(probe=0, other=40)
    assert (seen.readings["probe"], seen.readings["other"]) == (None, 0)
    run.scan(probe=0, other=20, faults=["other.open"])
    assert run.seen is not None
    assert (run.seen.readings["probe"], run.seen.readings["other"]) == (None, 0)


def test_an_omitted_rule_is_not_there() -> None:
    seen = plain("cold.omitted").scan(probe=0)
    assert seen.running("charger") is True
    assert "cold" not in seen.states


def test_a_dead_unit_raises_no_alarm() -> None:
    rules = PLAIN.replace("blocks: charger", "blocks: charger, alarm: it is cold")
    run = Run(scheme(CELLS, rules))
    assert run.scan(probe=0).alarms == ("cold",)
    assert run.scan(faults=["controller.dead"]).alarms == ()


@pytest.mark.parametrize(
    ("combine", "values", "reads"),
    [
        ("lowest_of", (1, 2, 5), 1),
        ("highest_of", (1, 2, 5), 5),
        ("median_of", (1, 2, 5), 2),
        ("difference_of", (1, 2, 5), 4),
        ("average_of", (1, 2, 6), 3),
        ("median_of", (1, 2, None), 1.5),
        ("average_of", (1, 2, None), 1.5),
        ("difference_of", (None, 2, None), 0),
        ("lowest_of", (None, None, None), None),
    ],
)
def test_derived_readings_combine_their_valid_sensors(
    combine: str, values: tuple[float | None, ...], reads: float | None
) -> None:
    cells = "\n".join(
        (
            "quantities: {cell: {span: -40 to 80 degC}}",
            "sensors:",
            *(f"  p{i}: {{measures: {{cell: -9 to 9 K}}, valid: -50 to 90 degC}}" for i in range(3)),
            f"readings: {{probe: {{{combine}: [p0, p1, p2], needs: 1}}}}",
        )
    )
    unit = "K" if combine == "difference_of" else "degC"
    run = Run(scheme(cells, PLAIN.replace("degC", unit)))
    lost = [f"p{i}.open" for i, value in enumerate(values) if value is None]
    run.read({f"p{i}": value or 0 for i, value in enumerate(values)})
    seen = run.scan(faults=lost)
    value = seen.readings["probe"]
    assert (None if value is None else float(value) / 1e6) == reads


def test_the_attended_reset_is_given_at_the_first_scan_that_accepts_it_unless_its_line_is_broken() -> None:
    bench = loads(BENCH)
    for fault, last in (((), "clear"), (("reset_button.broken",), "awaiting_reset")):
        run = Run(bench, attended=True)
        run.scan(3001, faults=fault, probe=20, low_tap=3.3, high_tap=3.3)
        assert run.state("hot_stop") == "awaiting_reset"
        run.scan()
        assert run.state("hot_stop") == last
