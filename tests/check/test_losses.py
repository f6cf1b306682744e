"""One broken wire, dead unit or lost reading: the page's schemes run on the readable engine with that fault."""

from __future__ import annotations

import pytest

from interlock.check.pages import examples
from interlock.scheme.read import loads
from tests.check.found import edited, findings, found, mended
from tests.support.runs import Run

# ident: (fault, readings and lines that call for a stop, the path)
RUNS: dict[str, tuple[str, dict[str, float], dict[str, bool], str]] = {
    "broken-wire-runs": ("charge_permit.broken", {"high_tap": 3.7}, {}, "roof_pv"),
    "broken-wire-overrides": ("service_key.broken", {}, {"hatch_closed": False}, "shaft_drive"),
    "broken-wire-hides-mode": (
        "shore_live.broken",
        {},
        {"source_switch": False, "shore_live": True},
        "inverter_charger",
    ),
    "dead-unit-runs": ("cell_monitor.dead", {"high_tap": 3.7}, {}, "roof_pv"),
    "lost-reading-runs": ("probe.open", {"probe": 40}, {}, "heater"),
    "runs-when-released": ("controller.dead", {"high_tap": 3.7}, {}, "roof_pv"),
    "cut-output-wire-runs": ("K1.wire_broken", {"high_tap": 3.7}, {}, "roof_pv"),
}
RESTED = 6000  # scans: longer than any delay on these pages


def certainly(ident: str, text: str) -> bool | None:
    """Whether the path runs at the end of a long healthy run, the fault, and a stop called for."""
    fault, readings, lines, path = RUNS[ident]
    run = Run(loads(text))
    healthy = {"high_tap": 3.3, "probe": 10.0}
    run.read({n: healthy[n] for n in run.scheme.sensors})
    run.scan(RESTED, lines=dict.fromkeys(run.scheme.lines, False))
    quiet = {n: n in {"hatch_closed", "source_switch"} for n in run.scheme.lines}
    run.scan(RESTED, lines=quiet)
    run.scan(2, faults=[fault])
    run.read(readings)
    return run.scan(200, lines=lines).running(path)


@pytest.mark.parametrize("ident", RUNS)
def test_the_loss_leaves_the_path_running_on_the_engine_and_no_longer_once_mended(ident: str) -> None:
    assert certainly(ident, examples(ident).found) is True
    assert certainly(ident, examples(ident).mended) is False


def test_an_inverted_contact_runs_when_blocked_and_stops_when_not() -> None:
    for text, right in ((examples("contact-inverted").found, False), (mended("contact-inverted"), True)):
        run = Run(loads(text))
        assert run.scan(400, high_tap=3.3).running("roof_pv") is right
        assert run.scan(400, high_tap=3.7).running("roof_pv") is not right


def test_the_chain_is_shown_link_by_link() -> None:
    (finding,) = findings(examples("broken-wire-runs").found)
    assert finding.message == (
        "a broken wire of `charge_permit`, or `cell_monitor` dead, reads on and leaves `roof_pv` running against "
        "`overfull_charge`"
    )
    chain, _, mend = finding.help.partition(". ")
    assert chain.split(" → ") == [
        "highest_cell above 3.65 V",
        "high_tap above 3.55 V",
        "cell_full (cell_monitor) active",
        "line charge_permit broken: reads on",
        "full_stop (board) clear",
        "K1 energised, normally open contact closed",
        "input runs when closed",
        "roof_pv runs",
    ]
    assert mend.startswith("Let a broken wire forbid: `undriven_reads: off`")


PERMIT = mended("broken-wire-runs")
SECOND = (
    "  cell_overfull: {unit: cell_monitor, watches: high_tap, trips: above 3.6 V, clears: below 3.4 V}\n"
    "  overfull_stop: {watches: second_permit, trips: off, clears: on, blocks: sources}\npaths:"
)
TWO_LINES = edited(
    PERMIT,
    ("undriven_reads: off}", "undriven_reads: off}\n  second_permit: {low_when: [cell_overfull], undriven_reads: off}"),
    ("paths:", SECOND),
)


def test_a_wire_that_takes_one_of_two_protections_away_unnoticed_is_told_with_what_is_left() -> None:
    assert found(TWO_LINES) == []
    (finding,) = findings(edited(TWO_LINES, ("[cell_full], undriven_reads: off", "[cell_full], undriven_reads: on")))
    assert (finding.ident, finding.name) == ("broken-wire-runs", "charge_permit")
    assert finding.message.endswith("leaves `overfull_charge` for `roof_pv` to `overfull_stop` alone")


def test_a_wire_that_cannot_break_is_not_told() -> None:
    text = edited(
        TWO_LINES,
        ("[cell_full], undriven_reads: off", "[cell_full], undriven_reads: on"),
        ("requirements:", "faults: {charge_permit.broken: {excluded: soldered}}\nrequirements:"),
    )
    assert found(text) == []  # dead, the monitor still lets the second permit go


def test_a_lost_probe_that_makes_another_rule_stop_the_path_is_no_finding() -> None:
    text = examples("lost-reading-runs").found
    assert found(text) == [("lost-reading-runs", "probe")]
    cold = "  too_cold: {watches: probe, trips: below -10 degC, clears: above 0 degC, blocks: heater}\npaths:"
    assert found(edited(text, ("paths:", cold))) == []


def test_a_value_that_an_open_lead_reads_counts_as_that_value() -> None:
    text = mended("lost-reading-runs")
    for reads, lost in (("0 degC", True), ("40 degC", False), ("-45 degC", False)):  # the last is invalid, and trips
        wired = edited(text, ("valid: -40 to 90 degC", f"valid: -40 to 90 degC, open_reads: {reads}"))
        assert (("lost-reading-runs", "probe") in found(wired)) is lost, reads


TWO_PROBES = edited(
    mended("lost-reading-runs"),
    ("rules:", "  other: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}\n"
               "readings: {hottest: {highest_of: [probe, other], needs: 1}}\nrules:"),
    ("watches: probe", "watches: hottest"),
    ("for 1 min,", "for 1 min, on_invalid: clear,"),
)  # fmt: skip


def test_two_probes_of_which_one_is_enough_survive_the_loss_of_one() -> None:
    assert found(TWO_PROBES) == []
    names = {n for _, n in found(edited(TWO_PROBES, (", needs: 1", "")))}
    assert names == {"probe", "other"}  # both needed: the loss of either clears the rule


def test_a_shorted_probe_that_reads_cold_does_not_hide_behind_the_highest_of_two() -> None:
    for combine, lost in (("highest_of", set()), ("lowest_of", {("lost-reading-runs", "other")})):
        text = edited(
            TWO_PROBES,
            ("highest_of", combine),
            ("  other: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC}",
             "  other: {measures: {hottest_cell: -4 to 1 K}, valid: -40 to 90 degC, shorted_reads: -30 degC}"),
        )  # fmt: skip
        assert set(found(text)) == lost


def test_a_broken_wire_on_a_path_that_must_run_is_meant() -> None:
    turbine = mended("blocks-what-must-run")
    confirmed = edited(
        turbine,
        ("rules:", "lines: {turbine_closed: {confirms: K1, undriven_reads: off}}\nrules:\n"
                   "  unloaded: {watches: turbine_closed, trips: on, clears: off, power_up: clear, blocks: dump_load}"),
        ("requirements:", "requirements:\n  spared: {never_running: dump_load, while: {turbine: running}, "
                          "longer_than: 1 s}"),
    )  # fmt: skip
    assert found(confirmed) == []
    # The same wiring for a load that need not run is a broken wire that leaves it running.
    plain = edited(
        confirmed,
        (
            "contact: normally_closed, runs_when: closed, energised_when: stops",
            "contact: normally_open, runs_when: closed",
        ),
    )
    assert ("broken-wire-runs", "turbine_closed") in found(plain)
