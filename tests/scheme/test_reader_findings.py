"""Every finding of the reader, seen at its place: an edit of the bench, the id, and the text under the caret."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.idents import READER_FINDINGS
from interlock.scheme.read import load, loads
from interlock.scheme.source import Source
from tests.support.bench import BENCH, edited

LAMP = "lamp_circuit:  {flow: discharge}"
COLD = "cold_stop:   {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}"
K1 = "K1: {drives: [bench_charger], contact: normally_open, runs_when: closed, stops_within: 100 ms}"
STEP = "- {press: reset_button, for: 1 s, expect: {bench_charger: running, lamp_circuit: running}}"
ANCHORS = "\n".join(
    [
        "scheme: &a0 [x, x, x, x, x, x, x, x, x]",
        *(f"s{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 9)),
    ]
)

# (id, replacements, the text under the caret; None: not looked at)
EDITS: list[tuple[str, list[tuple[str, str]], str | None]] = [
    ("yaml-syntax", [(LAMP, LAMP[:-1])], None),
    ("yaml-syntax", [("  probe:\n", "\tprobe:\n")], None),
    ("yaml-syntax", [("Tool-crib", "Tool\x07crib")], None),
    ("yaml-tag", [("revision: 1", "revision: !!python/object/apply:os.system [x]")], None),
    ("several-documents", [("cases:", "---\ncases:")], None),
    ("duplicate-key", [("revision: 1", "revision: 1\nrevision: 2")], "revision"),
    ("duplicate-key", [("blocks: sources}", "blocks: sources, blocks: loads}")], "blocks"),
    ("key-not-a-word", [("revision: 1", "? [a, b]\n: 1")], None),
    ("comma-splits-text", [("needs eyes on it", "needs eyes, and hands, on it")], "and hands"),
    ("comma-splits-text", [("trips: off, clears", "trips off, clears")], "trips off"),
    ("alias-unknown", [("revision: 1", "revision: *nowhere")], None),
    ("alias-loop", [("cases:", "why: &w [*w]\ncases:")], None),
    ("too-deep", [("revision: 1", "revision: " + "[" * 30 + "]" * 30)], None),
    ("missing-section", [("scan: 100 ms", "# no scan")], None),
    ("missing-section", [("paths: ", "pats: ")], None),
    ("unknown-key", [("paths: ", "pats: ")], "pats"),
    ("unknown-key", [("runs_when: closed", "run_when: closed")], "run_when"),
    ("missing-key", [("runs_when: closed, ", "")], "K1"),
    ("missing-key", [(", longer_than: 10 s}", "}")], "frozen_charge"),
    ("missing-key", [("never_running: sources, ", "")], "frozen_charge"),
    ("keys-exclude", [("never_running: sources, ", "never_running: sources, never_stopped: loads, ")], "frozen_charge"),
    ("keys-exclude", [("longer_than: 10 s}\n  overfull", "longer_than: 10 s, protects: yes}\n  overfull")], "yes"),
    ("keys-exclude", [("{low_when: [cell_full]}", "{low_when: [cell_full], high_when: [cell_empty]}")], "high_when"),
    ("keys-exclude", [(LAMP, "lamp_circuit: {flow: discharge, unswitched: it is small}")], "lamp_circuit"),
    ("key-without-effect", [("reset: manual, ", "")], "reset_by"),
    ("key-without-effect", [("for 60 s, blocks: sources}", "for 60 s, blocks: sources, override_at_most: 1 s}")], "override_at_most"),
    ("bad-name", [("  K2:", "  2K:")], "2K"),
    ("bad-name", [("  K2:", "  K.2:")], "K.2"),
    ("bad-name", [("frozen_charge:", "frozen/charge:")], "frozen/charge"),
    ("reserved-name", [("lamp_circuit:  {flow", "loads:  {flow")], "loads"),
    ("name-used-twice", [("  K2:", "  probe:")], "probe"),
    ("named-twice", [("low_when: [cell_full]", "low_when: [cell_full, cell_full]")], "cell_full"),
    ("unknown-name", [("watches: probe, trips: below", "watches: prob, trips: below")], "prob"),
    ("unknown-name", [("drives: [bench_charger]", "drives: [bench_charge]")], "bench_charge"),
    ("unknown-name", [("reset_by: reset_button", "reset_by: reset_buton")], "reset_buton"),
    ("unknown-name", [("unit: cell_monitor, watches: high_tap", "unit: monitor, watches: high_tap")], "monitor"),
    ("wrong-kind-of-name", [("drives: [bench_charger]", "drives: [probe]")], "probe"),
    ("wrong-kind-of-name", [("watches: probe, trips: below", "watches: coldest_cell, trips: below")], "coldest_cell"),
    ("bad-value", [("{flow: charge}", "charge")], "charge"),
    ("bad-value", [("below 3 degC for 2 s", "belwo 3 degC for 2 s")], "belwo"),
    ("bad-value", [("below 3 degC for 2 s", "below three degC for 2 s")], "three"),
    ("bad-value", [("below 3 degC for 2 s", "below 3 degC for 2 s or so")], "or"),
    ("bad-value", [("below 3 degC for 2 s", "below nan degC for 2 s")], "nan"),
    ("bad-value", [("below 3 degC for 2 s", "below .inf degC for 2 s")], "."),
    ("bad-value", [("scan: 100 ms", "scan: 0 ms")], None),
    ("bad-value", [("  a cold morning:\n", "")], None),
    ("bad-value", [("cases:", "requirements2:"), ("requirements:", "requirements: []\ncases2:")], "["),
    ("missing-unit", [("trips: below 3 degC", "trips: below 3")], "3"),
    ("missing-unit", [("for 2 s, clears: above 5", "for 2, clears: above 5")], "2"),
    ("unknown-unit", [("trips: below 3 degC", "trips: below 3 deg")], "deg"),
    ("wrong-unit", [("trips: below 3 degC", "trips: below 3 V")], "below 3 V"),
    ("wrong-unit", [("trips: below 3 degC", "trips: below 3 K")], "below 3 K"),
    ("wrong-unit", [("coldest_cell + 6 K", "coldest_cell + 6 degC")], "6 degC"),
    ("wrong-unit", [("-0.5 to 2 K", "-0.5 to 2 V")], "coldest_cell"),
    ("wrong-unit", [("valid: -35 to 90 degC", "valid: -35 to 90 V")], "-35 to 90 V"),
    ("wrong-unit", [("for 2 s, clears: above 5", "for 2 V, clears: above 5")], "V"),
    ("unknown-word", [("contact: normally_open", "contact: normaly_open")], "normaly_open"),
    ("unknown-word", [("{flow: charge}", "{flow: charging}")], "charging"),
    ("unknown-word", [("lamp_circuit: running}}\n    - {set: {probe: -4", "lamp_circuit: on}}\n    - {set: {probe: -4")], "on"),
    ("wrong-condition", [("trips: off, clears: on for 1 s, blocks: sources", "trips: stopped, clears: on, blocks: sources")], "stopped"),
    ("wrong-condition", [("watches: probe, trips: below 3 degC", "watches: probe, trips: off")], "off"),
    ("wrong-condition", [("trips: off, clears", "trips: below 3 V, clears")], "below 3 V"),
    ("number-too-fine", [("below 3 degC", "below 3.0000001 degC")], "3.0000001 degC"),
    ("number-too-fine", [("below 3 degC for 2 s", "below 3 degC for 0.0001 ms")], "0.0001 ms"),
    ("number-out-of-range", [("below 3 degC", "below -3e99 degC")], "-3e99 degC"),
    ("number-out-of-range", [("below 3 degC for 2 s", "below 3 degC for 2e9 s")], "2e9 s"),
    ("number-out-of-range", [("below 3 degC", "below " + "3" * 50 + " degC")], "3" * 50),
    ("negative-time", [("for 2 s, clears: above 5", "for -2 s, clears: above 5")], "-2 s"),
    ("span-upside-down", [("{span: -30 to 80 degC}", "{span: 80 to -30 degC}")], "80 to -30 degC"),
    ("wrong-kind", [("at_least: lowest_cell", "at_least: coldest_cell")], "coldest_cell"),
    ("wrong-kind", [("{lowest_cell: -10 to 10 mV}", "{lowest_cell: -10 to 10 mV, coldest_cell: -1 to 1 K}")], None),
    ("tied-to-itself", [("at_least: coldest_cell, ", "at_least: hottest_cell, ")], "hottest_cell"),
    ("no-truth-left", [("at_most: coldest_cell + 6 K", "at_most: coldest_cell - 6 K")], "hottest_cell"),
    ("no-truth-left", [("hottest_cell: -4 to 0.5 K", "hottest_cell: 3 to 4 K")], "probe"),
    ("not-measured", [("drifts: -6 to 6 K", "drifts: {lowest_cell: -6 to 6 V}")], "lowest_cell"),
    ("fault-restricts-truth", [("drifts: -6 to 6 K", "drifts: 1 to 2 K")], "probe"),
    ("element-falls-short", [
        ("valid: -35 to 90 degC", "valid: -35 to 90 degC\n    input: {pull_up: 10 kohm}\n    element: {type: ntc, table: {-20 degC: 68 kohm, 60 degC: 3 kohm}}"),
    ], "element"),
    ("needs-too-many", [("units:", "readings: {cold: {lowest_of: [probe], needs: 2}}\nunits:")], "2"),
    ("trip-and-clear-overlap", [("clears: above 5 degC", "clears: above 2 degC")], None),
    ("trip-and-clear-overlap", [("clears: above 5 degC", "clears: below 5 degC")], None),
    ("trip-and-clear-overlap", [("trips: off, clears: on for 1 s, blocks: sources", "trips: off, clears: off, blocks: sources")], None),
    ("no-hysteresis", [("clears: above 5 degC", "clears: at_or_above 3 degC")], None),
    ("threshold-outside-valid", [("valid: -35 to 90 degC", "valid: 10 to 90 degC")], None),
    ("threshold-outside-span", [("coldest_cell: {span: -30", "coldest_cell: {span: 4"), ("{span: -30", "{span: 4")], None),
    ("watches-itself", [(COLD, COLD.replace("watches: probe, trips: below 3 degC", "watches: cold_stop, trips: active"))], "cold_stop"),
    ("rule-of-another-unit", [("watches: monitor_charge_ok,    trips: off, clears: on for", "watches: cell_full, trips: active, clears: clear for")], "full_stop"),
    ("rule-without-effect", [("clears: above 5 degC for 60 s, blocks: sources}", "clears: above 5 degC for 60 s}")], "cold_stop"),
    ("no-output-of-unit", [("cell_full:   {unit: cell_monitor", "cell_full:   {blocks: sources, unit: cell_monitor")], "cell_full"),
    ("no-output-of-unit", [("cell_full:   {unit: cell_monitor", "cell_full:   {starts: bench_charger, unit: cell_monitor")], "cell_full"),
    ("no-output-of-unit", [("cell_full:   {unit: cell_monitor", "cell_full:   {only_while: {lamp_circuit: running}, unit: cell_monitor")], "lamp_circuit"),
    ("sent-by-two-units", [("low_when: [cell_full]", "low_when: [cell_full, cold_stop]")], "monitor_charge_ok"),
    ("loop", [("{low_when: [cell_full]}", "{low_when: [full_stop]}")], "full_stop"),
    ("loop", [("{flow: charge}", "{flow: charge, behind: lamp_circuit}"), ("{flow: discharge}", "{flow: discharge, behind: bench_charger}")], None),
    ("loop", [("outputs:", "groups: {a: [b], b: [a]}\noutputs:")], "a"),
    ("path-without-output", [(LAMP, LAMP + "\n  pump: {flow: discharge}")], "pump"),
    ("started-by-two-units", [
        (K1, K1 + "\n  K3: {unit: cell_monitor, drives: [bench_charger], contact: driven, runs_when: high}"),
        ("cell_full:   {unit: cell_monitor", "cell_full:   {starts: bench_charger, unit: cell_monitor"),
        ("cold_stop:   {watches", "cold_stop:   {starts: bench_charger, watches"),
    ], "bench_charger"),
    ("limit-outside-span", [("coldest_cell: below 0 degC", "coldest_cell: below -40 degC")], "coldest_cell"),
    ("condition-on-contact", [
        ("reset_button: external", "reset_button: external\n  made: {confirms: K1}"),
        ("while: {lowest_cell: below 2.5 V}", "while: {lowest_cell: below 2.5 V, made: on}"),
    ], "made"),
    ("unknown-fault", [("fault: probe.open", "fault: probe.opened")], "probe.opened"),
    ("unknown-fault", [("cases:", "faults: {K9.welded: {excluded: no such relay}}\ncases:")], "K9.welded"),
    ("duplicate-fault", [("cases:", "faults: {probe.drifted: {like: drifted, error: -9 to 9 K}}\ncases:")], "probe.drifted"),
    ("rate-of-mistake", [("cases:", "faults: {K1.ignored: {rate: 1e-6 per h, source: a guess}}\ncases:")], "1e-6 per h"),
    ("rate-of-mistake", [
        ("cases:", "faults: {both: {together: [K1.ignored, K2.ignored], rate: 2e-6 per h, source: a guess}}\ncases:"),
    ], "2e-6 per h"),
    ("swaps-share-a-part", [
        (K1, K1 + "\n  K3: {drives: [bench_charger], contact: driven, runs_when: high}"),
        ("cases:", "faults: {both: {together: [K1~K2.swapped, K3~K1.swapped]}}\ncases:"),
    ], "both"),
    ("not-external", [("press: reset_button", "press: monitor_charge_ok")], "monitor_charge_ok"),
    ("sensor-never-set", [("low_tap: 3.30 V, high_tap", "high_tap")], None),
    ("sets-conflict", [("{probe: 20 degC, low", "{coldest_cell: 1 degC, hottest_cell: 2 degC, low")], None),
    ("unknown-name", [("requirements:", "devices:\n  charger: {cells: 16}\nrequirements:")], "charger"),
    ("unknown-key", [("requirements:", "devices:\n  bench_charger: {absorbtion: {highest_cell: 3.4 V}}\nrequirements:")], "absorbtion"),
    ("bad-value", [("requirements:", "devices:\n  bench_charger: {absorption: 55.2 V}\nrequirements:")], None),
    ("bad-value", [("requirements:", "devices:\n  bench_charger: {absorption: {highest_cell: above 3.4 V}}\nrequirements:")], "above"),
    ("wrong-kind", [("requirements:", "devices:\n  bench_charger: {absorption: {hottest_cell: 40 degC}}\nrequirements:")], "hottest_cell"),
    ("wrong-kind", [("requirements:", "devices:\n  bench_charger: {low_cut_off: {coldest_cell: below 4 degC}}\nrequirements:")], "coldest_cell"),
    ("wrong-unit", [("requirements:", "devices:\n  bench_charger: {absorption: {highest_cell: 3 A}}\nrequirements:")], "3 A"),
    ("wrong-unit", [("requirements:", "devices:\n  bench_charger: {float: {highest_cell: 3.4 V}, error: -1 to 1 K}\nrequirements:")], "-1 to 1 K"),
    ("wrong-condition", [("requirements:", "devices:\n  bench_charger: {high_cut_off: {highest_cell: below 3.5 V}}\nrequirements:")], "below 3.5 V"),
    ("limit-outside-span", [("requirements:", "devices:\n  bench_charger: {absorption: {highest_cell: 55.2 V}}\nrequirements:")], "55.2 V"),
    ("limit-outside-span", [("requirements:", "devices:\n  bench_charger: {cells: 8, absorption: {highest_cell: 55.2 V}}\nrequirements:")], "55.2 V"),
    ("keys-exclude", [("requirements:", "devices:\n  bench_charger: {absorption: {highest_cell: 3.45 V, lowest_cell: 3.4 V}}\nrequirements:")], "lowest_cell"),
    ("keys-exclude", [("requirements:", "devices:\n  bench_charger: {high_cut_off: {highest_cell: above 3.5 V}, high_reconnect: {lowest_cell: below 3.4 V}}\nrequirements:")], "below 3.4 V"),
    ("key-without-effect", [("requirements:", "devices:\n  bench_charger: {high_reconnect: {highest_cell: below 3.4 V}}\nrequirements:")], "high_reconnect"),
    ("key-without-effect", [("requirements:", "devices:\n  bench_charger: {imbalance: 0 to 40 mV, float: {highest_cell: 3.4 V}}\nrequirements:")], "imbalance"),
    ("key-without-effect", [("requirements:", "devices:\n  bench_charger: {verified_at: menu 4}\nrequirements:")], "verified_at"),
    ("trip-and-clear-overlap", [("requirements:", "devices:\n  bench_charger: {high_cut_off: {highest_cell: above 3.5 V}, high_reconnect: {highest_cell: below 3.5 V}}\nrequirements:")], "below 3.5 V"),
    ("key-without-effect", [
        (LAMP, LAMP + "\n  pump: {flow: discharge, unswitched: the last to go}"),
        ("requirements:", "devices:\n  pump: {remote_enabled: yes}\nrequirements:"),
    ], "remote_enabled"),
    ("limit-outside-span", [("{span: 1.5 to 4.2 V}", "{span: 1.5 to 4.2 V, damaged_below: 1 V}")], "1 V"),
    ("wrong-unit", [("{span: 1.5 to 4.2 V}", "{span: 1.5 to 4.2 V, damaged_below: 1 degC}")], "1 degC"),
]  # fmt: skip

TEXTS: list[tuple[str, str]] = [
    ("empty-file", ""),
    ("empty-file", "# only a comment\n"),
    ("not-a-mapping", "- a\n- b\n"),
    ("not-a-mapping", "just words"),
    ("too-large", ANCHORS),
]


def findings_of(text: str) -> tuple[Finding, ...]:
    with pytest.raises(SchemeError) as caught:
        loads(text)
    return caught.value.findings


def under_caret(text: str, finding: Finding) -> str:
    line = Source("", text).line(finding.place.line)
    return line[finding.place.column - 1 : finding.place.column - 1 + finding.place.length]


@pytest.mark.parametrize(("ident", "replacements", "marked"), EDITS, ids=[f"{i}-{e[0]}" for i, e in enumerate(EDITS)])
def test_a_fault_is_found_by_its_id_at_its_place(
    ident: str, replacements: list[tuple[str, str]], marked: str | None
) -> None:
    text = edited(*replacements)
    found = [f for f in findings_of(text) if f.ident == ident]
    assert found, [(f.ident, f.message) for f in findings_of(text)]
    assert found[0].place.line >= 1
    if marked is not None:
        assert under_caret(text, found[0]) == marked


@pytest.mark.parametrize(("ident", "text"), TEXTS, ids=[f"{i}-{t[0]}" for i, t in enumerate(TEXTS)])
def test_a_text_that_is_no_scheme_is_named(ident: str, text: str) -> None:
    assert ident in [f.ident for f in findings_of(text)]


def test_files_that_are_no_text_are_named(tmp_path: Path) -> None:
    found: dict[str, str] = {}
    for name, content in (("latin1", b"scheme: caf\xe9\n"), ("huge", b"# " + b"x" * (9 << 20)), ("folder", None)):
        path = tmp_path / name
        if content is None:
            path.mkdir()
        else:
            path.write_bytes(content)
        with pytest.raises(SchemeError) as caught:
            load(path)
        found[name] = caught.value.findings[0].ident
    with pytest.raises(SchemeError) as caught:
        load(tmp_path / "absent")
    assert caught.value.findings[0].ident == "cannot-open"
    assert found == {"latin1": "not-utf-8", "huge": "too-large", "folder": "not-a-file"}


def test_every_id_of_the_reader_has_an_example() -> None:
    shown = {ident for ident, _, _ in EDITS} | {ident for ident, _ in TEXTS}
    shown |= {"cannot-open", "not-utf-8", "not-a-file"}
    assert shown == set(READER_FINDINGS)


def test_the_bench_itself_has_no_finding() -> None:
    assert loads(BENCH).title == "Tool-crib battery bench"


def test_all_faults_of_a_file_come_in_one_go() -> None:
    text = edited(
        ("below 3 degC for 2 s", "below 3 for 2 s"),
        ("contact: normally_open", "contact: normaly_open"),
        ("coldest_cell: below 0 degC", "coldest_cel: below 0 degC"),
        ("{flow: discharge}", "{flow: dischrge}"),
    )
    assert {f.ident for f in findings_of(text)} >= {"missing-unit", "unknown-word", "unknown-name"}
    assert len(findings_of(text)) == 4


def test_a_misspelt_name_gets_the_nearest_known_one() -> None:
    finding = findings_of(edited(("reset_by: reset_button", "reset_by: reset_buton")))[0]
    assert "`reset_button`" in finding.help


def test_both_sides_of_a_conflict_are_shown() -> None:
    finding = findings_of(edited(("valid: -35 to 90 degC", "valid: 10 to 90 degC")))[0]
    assert "3 degC" in finding.message
    assert "10 degC to 90 degC" in finding.message
    assert finding.also


def test_yaml_words_stay_words() -> None:
    text = BENCH.replace("lamp_circuit", "off").replace("bench_charger", "yes").replace("probe", "null")
    scheme = loads(text)
    assert list(scheme.paths) == ["yes", "off"]
    assert next(iter(scheme.sensors)) == "null"


def test_values_are_exact_decimals() -> None:
    scheme = loads(edited(("below 3 degC", "below 2.700001 degC"), ("scan: 100 ms", "scan: 70 ms")))
    trips = scheme.rules["cold_stop"].trips
    assert trips.test.value == 2_700_001  # type: ignore[union-attr]
    assert trips.delay.scans == 29  # 2000 / 70 = 28.57


def test_a_path_named_beside_its_group_does_not_hide_that_the_group_is_driven() -> None:
    scheme = loads(
        """scheme: Two units
scan: 100 ms
units: [a, b]
lines: {mode: external, stop: external}
rules: {r: {watches: stop, trips: off, clears: on, blocks: [all, link]}}
paths: {link: {flow: {charge: {mode: on}}}, other: {flow: charge}}
outputs:
  K1: {unit: a, drives: [link], contact: normally_open, runs_when: closed}
  K2: {unit: b, drives: [other], contact: normally_open, runs_when: closed}
"""
    )
    assert [(t.path, t.when) for t in scheme.rules["r"].blocks] == [("link", ()), ("other", ())]
