"""Schemes in which a protection seems to be there and is not, or seems lost and is not."""

from __future__ import annotations

from interlock.check.pages import examples
from tests.check.found import edited, found, mended

HEATER = """
scheme: A heater
scan: 100 ms
quantities: {cell: {span: -30 to 80 degC}}
sensors: {probe: {measures: {cell: -1 to 1 K}, valid: -40 to 90 degC}}
lines:
  bus_live: external
  button: external
rules:
  heat_wanted: {watches: probe, trips: below 5 degC, clears: above 9 degC, starts: heater, only_while: {bus_live: on}}
paths: {heater: {flow: none}}
outputs: {K1: {drives: heater, contact: normally_open, runs_when: closed}}
requirements:
  bus_dead: {never_running: heater, while: {bus_live: off}, longer_than: 1 s}
  warm:     {never_running: heater, while: {cell: above 10 degC}, longer_than: 1 s}
"""


def test_a_start_that_a_line_permits_is_lost_with_that_line() -> None:
    assert found(HEATER) == []
    pulled_up = edited(HEATER, ("bus_live: external", "bus_live: {external: yes, undriven_reads: on}"))
    assert found(pulled_up) == [("broken-wire-runs", "bus_live")]


def test_a_path_that_two_rules_start_is_stopped_only_when_both_end() -> None:
    second = "  by_hand: {watches: button, trips: on, clears: off, starts: heater, only_while: {bus_live: on}}\npaths:"
    assert found(edited(HEATER, ("paths:", second))) == [("requirement-unprotected", "warm/heater")]
    also_cold = second.replace(
        "watches: button, trips: on, clears: off", "watches: probe, trips: below 0 degC, clears: above 7 degC"
    )
    assert found(edited(HEATER, ("paths:", also_cold))) == []


def test_a_start_that_a_person_must_reset_does_not_end_by_itself() -> None:
    manual = edited(HEATER, ("clears: above 9 degC,", "clears: above 9 degC, reset: manual, reset_by: button,"))
    assert found(manual) == [("requirement-unprotected", "warm/heater")]


def test_a_lost_probe_that_ends_the_start_is_no_finding() -> None:
    text = edited(
        HEATER,
        ("clears: above 9 degC", "clears: above 40 degC"),  # too late for the requirement, and it ends all the same
        ("paths:", "  warm_stop: {watches: probe, trips: above 9 degC, clears: below 5 degC, on_invalid: clear,\n"
                   "              blocks: heater}\npaths:"),
    )  # fmt: skip
    assert found(text) == []
    assert found(edited(text, ("starts: heater,", "starts: heater, on_invalid: hold,"))) == [
        ("lost-reading-runs", "probe")
    ]


LOST = edited(
    examples("lost-reading-runs").found,
    ("rules:", "  other: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}\nrules:"),
)
COLD = "  too_cold: {watches: probe, trips: below -10 degC, clears: above 0 degC, blocks: heater}\npaths:"


def test_only_a_rule_that_acts_for_certain_makes_up_for_a_lost_probe() -> None:
    assert found(edited(LOST, ("paths:", COLD))) == []
    lost = [("lost-reading-runs", "probe")]
    suspended = COLD.replace("blocks: heater", "only_while: {heater: running}, blocks: heater")
    assert found(edited(LOST, ("paths:", suspended))) == lost
    of_two = edited(
        LOST,
        ("rules:", "readings: {coldest: {lowest_of: [probe, other], needs: 1}}\nrules:"),
        ("paths:", COLD.replace("watches: probe", "watches: coldest")),
    )
    assert found(of_two) == lost  # the other probe still reads, so nothing trips


THREE_UNITS = """
scheme: From unit to unit
scan: 100 ms
units: [board, relay, monitor]
quantities: {cell: {span: 10 to 80 degC}}
sensors: {probe: {measures: {cell: -1 to 1 K}, valid: -40 to 90 degC}}
lines:
  first:  {low_when: [warm], undriven_reads: FIRST}
  second: {low_when: [passed_on], undriven_reads: SECOND}
rules:
  warm:      {unit: monitor, watches: probe, trips: above 30 degC, clears: below 25 degC}
  passed_on: {unit: relay, watches: first, trips: off, clears: on}
  stop:      {unit: board, watches: second, trips: off, clears: on, blocks: fan}
paths: {fan: {flow: none}}
outputs: {K1: {drives: fan, contact: normally_open, runs_when: closed}}
requirements:
  told: {never_running: fan, while: {second: off}, longer_than: 1 s}
"""


def test_a_requirement_on_a_sent_line_asks_for_what_comes_after_it_only() -> None:
    def wires(first: str, second: str) -> list[tuple[str, str]]:
        return found(THREE_UNITS.replace("FIRST", first).replace("SECOND", second))

    assert wires("off", "off") == []
    assert wires("on", "off") == []
    assert wires("off", "on") == [("broken-wire-runs", "second")]


def test_a_line_that_needs_several_rules_clear_is_no_sign_of_one_of_them() -> None:
    text = """
scheme: Quiet
scan: 100 ms
quantities:
  cell: {span: 10 to 80 degC}
  room: {span: 10 to 80 degC}
sensors:
  probe: {measures: {cell: -1 to 1 K}, valid: -40 to 90 degC}
  air: {measures: {room: -1 to 1 K}, valid: -40 to 90 degC}
lines: {quiet: {low_when: [warm_cell, warm_room], undriven_reads: on}}
rules:
  warm_cell: {watches: probe, trips: above 40 degC, clears: below 30 degC}
  warm_room: {watches: air, trips: above 40 degC, clears: below 30 degC, alarm: the room is warm}
  rest: {watches: quiet, trips: on, clears: off, blocks: fan}
paths: {fan: {flow: none}}
outputs: {K1: {drives: fan, contact: normally_open, runs_when: closed}}
requirements:
  spared: {never_running: fan, while: {cell: below 25 degC}, longer_than: 1 s}
"""
    assert found(text) == [("requirement-unprotected", "spared/fan")]
    alone = edited(text, ("low_when: [warm_cell, warm_room]", "low_when: [warm_cell]"))
    assert found(alone) == [("lost-reading-runs", "probe")]  # lost, it trips: and then the fan runs


PERMIT = examples("broken-wire-runs").found


def test_a_limit_on_running_time_or_a_condition_of_the_scheme_itself_leaves_losses_to_a_proof() -> None:
    assert found(PERMIT) == [("broken-wire-runs", "charge_permit")]
    runs = "  runs: {watches: roof_pv, trips: running for 3 s, clears: stopped for 9 s, blocks: roof_pv}\npaths:"
    assert found(edited(PERMIT, ("paths:", runs))) == []
    asked = edited(PERMIT, ("{highest_cell: above 3.65 V}", "{highest_cell: above 3.65 V, charge_permit: off}"))
    assert found(asked) == []


HATCH = examples("broken-wire-overrides").found


def test_an_override_that_ends_within_the_time_allowed_is_allowed_by_a_broken_wire_too() -> None:
    assert found(HATCH) == [("broken-wire-overrides", "service_key")]
    patient = "{hatch_closed: off, service_key: off}, longer_than: 20 min"
    assert found(edited(HATCH, ("{hatch_closed: off, service_key: off}, longer_than: 1 s", patient))) == []
    exactly = patient.replace("20 min", "10 min")  # its trip and one scan come on top
    assert found(edited(HATCH, ("{hatch_closed: off, service_key: off}, longer_than: 1 s", exactly))) == [
        ("broken-wire-overrides", "service_key")
    ]


def test_a_rest_in_one_mode_is_no_rest() -> None:
    text = edited(
        mended("override-without-rest"),
        ("lines:", "lines:\n  shore_live: {external: yes, undriven_reads: on}"),
        ("{flow: discharge}", "{flow: {discharge: {shore_live: off}}}"),
    )
    assert found(text) == []
    one_mode = edited(text, ("clears: clear, blocks: shaft_drive", "clears: clear, blocks: loads"))
    assert found(one_mode) == [("override-without-rest", "hatch_stop")]


CUT = examples("cut-output-wire-runs").found


def test_a_second_output_or_a_stopped_contactor_ahead_makes_up_for_a_cut_wire() -> None:
    assert found(CUT) == [("cut-output-wire-runs", "K1")]
    output = "runs_when: open}\n  K2: {drives: PATH, contact: normally_open, runs_when: closed}"
    assert found(edited(CUT, ("runs_when: open}", output.replace("PATH", "roof_pv")))) == []
    behind = edited(
        CUT,
        ("roof_pv: {flow: charge}", "bus: {flow: none}\n  roof_pv: {flow: charge, behind: bus}"),
        ("runs_when: open}", output.replace("PATH", "bus")),
    )
    assert found(behind) == [("cut-output-wire-runs", "K1")]
    assert found(edited(behind, ("blocks: sources", "blocks: [sources, bus]"))) == []


def test_a_device_that_must_run_and_must_not_is_told() -> None:
    turbine = edited(
        mended("blocks-what-must-run"),
        ("requirements:", "requirements:\n  hot_dump: {never_running: dump_load, while: {hottest_cell: above 60 degC}, "
                          "longer_than: 1 s}"),
    )  # fmt: skip
    assert set(found(turbine)) == {("runs-when-released", "K2"), ("requirement-unprotected", "hot_dump/dump_load")}


def test_a_contact_turned_round_is_one_finding() -> None:
    text = edited(
        mended("group-partly-stopped"),
        ("blocks: thruster", "blocks: loads"),
        ("drives: thruster, contact: normally_open", "drives: thruster, contact: normally_closed"),
    )
    assert found(text) == [("contact-inverted", "K1")]
