"""A failure modes and effects table has a row for each fault, says the same in every form, and fits where it goes."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser

import pytest

from interlock.explain.failure_modes import Column, FailureMode, failure_modes
from interlock.explain.failure_page import table_page
from interlock.explain.failure_table import cell, counts, table_csv, table_json, table_text, wrapped
from interlock.faults.severity import Severity
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.explain.schemes import everything, own
from tests.explain.studies import made_up
from tests.faults.studies import bench, in_series
from tests.support.bench import edited

CAUTION = 'An aid; <it> certifies & "guarantees" nothing.'


def rows_of(size: int = 1) -> tuple[Scheme, dict[str, FailureMode]]:
    scheme, study = bench(size)
    return scheme, {row.fault: row for row in failure_modes(scheme, study)}


def words(row: FailureMode) -> dict[Column, str]:
    return {column: cell(row, column) for column in Column}


def test_a_welded_contactor_reads_as_a_practitioner_would_write_it() -> None:
    row = words(rows_of()[1]["K1.welded"])
    assert row == {
        Column.ITEM: "K1 (output)",
        Column.MODE: "welded",
        Column.LOCAL: "its normally open contact is closed, the device sees a closed input: bench_charger may run",
        Column.END: "bench_charger may run (frozen_charge, overfull_charge)",
        Column.DETECTION: "nothing shows it",
        Column.SEVERITY: "harm",
        Column.REMARK: "1e-06 per hour (an example). It is on the list of single points of failure. A second stop in "
        "series would take it out of this list.",
    }


@pytest.mark.parametrize(
    ("fault", "local"),
    [
        ("low_tap.shorted", "reads invalid; used by cell_empty"),
        ("probe.stuck", "keeps the reading it had; used by cold_stop and hot_stop"),
        ("monitor_charge_ok.broken", "reads off, whatever is sent; used by full_stop"),
        ("monitor_charge_ok.shorted", "reads on, whatever is sent; used by full_stop"),
        ("monitor_charge_ok.inverted", "reads the opposite of what is sent; used by full_stop"),
        ("K1.wire_broken", "the device sees an open input: bench_charger is stopped"),
        ("K1.wrong_contact", "the contact does the opposite of what board says: bench_charger"),
        ("K2.ignored", "lamp_circuit may run, whatever K2 says"),
        ("lamp_circuit.bypassed", "lamp_circuit may run, whatever K2 says"),
        ("K1~K2.swapped", "K1 commands lamp_circuit, and K2 commands bench_charger"),
        ("low_tap~high_tap.swapped", "each input reads the other's sensor"),
        ("monitor_charge_ok~reset_button.swapped", "each input reads the other's wire"),
        ("board.dead", "its outputs are released, the lines it sends are not driven"),
        ("board.frozen", "its outputs and the lines it sends keep their state"),
        ("board.power_cycled", "its rules go to their state at power-up"),
        ("cold_stop.omitted", "it never trips, and no longer stops bench_charger"),
        ("cell_full.omitted", "it never trips"),
    ],
)
def test_the_local_effect_is_what_the_part_itself_does(fault: str, local: str) -> None:
    assert words(rows_of()[1][fault])[Column.LOCAL] == local


def test_an_open_probe_shows_and_stops_the_charger() -> None:
    row = words(rows_of()[1]["probe.open"])
    assert row[Column.LOCAL] == "reads invalid; used by cold_stop and hot_stop"
    assert row[Column.END] == "bench_charger may be stopped (charging_served)"
    assert row[Column.DETECTION] == "probe reads invalid; what should run stops: bench_charger"
    assert row[Column.SEVERITY] == "loss of service"


def test_a_sleeping_fault_names_the_second_ones_or_says_that_nobody_looked() -> None:
    assert words(rows_of()[1]["K2.wire_broken"])[Column.REMARK].startswith("Which second faults make it dangerous was")
    scheme, study = in_series()
    rows = {row.fault: words(row) for row in failure_modes(scheme, study)}
    assert rows["full_stop.omitted"][Column.REMARK] == (
        "A mistake of installation. Dangerous with K3.welded, K3.wrong_contact or K3.ignored."
    )
    assert rows["K2.wire_broken"][Column.REMARK] == "No second fault makes it dangerous."
    assert re.search(r"Dangerous with (\S+, ){5}\S+ and 4 more\.", rows["K3.welded"][Column.REMARK])


def test_every_fault_has_its_row_and_one_left_out_has_its_reason() -> None:
    scheme, rows = rows_of()
    assert list(rows) == [*scheme.faults, *scheme.excluded_faults]
    left_out = rows["reset_button.inverted"]
    assert left_out.severity is None
    assert words(left_out)[Column.SEVERITY] == "left out"
    assert words(left_out)[Column.REMARK] == "It is left out: the button, with its lead, was tried at commissioning."
    cause = words(rows["wet_connector"])
    assert (cause[Column.ITEM], cause[Column.MODE]) == ("wet_connector", "common cause")
    assert cause[Column.LOCAL].startswith("probe: reads invalid; used by cold_stop and hot_stop; K1: the device sees")


def test_a_claim_violated_anyway_is_said_and_not_counted() -> None:
    for study in made_up(everything()):
        anyway = [c.name for c, f in zip(everything().claims, study.cut_sets, strict=True) if () in f.minimal]
        for row in failure_modes(everything(), study):
            assert not set(row.violates) & set(anyway)


def test_the_classes_are_counted_and_told() -> None:
    _, rows = rows_of()
    told = counts(rows.values())
    assert sum(count for _, count, _ in told) == len(rows)
    assert [word for word, _, _ in told] == ["harm", "not known", "loss of service", "latent", "none", "left out"]
    assert {s for s in Severity if any(r.severity is s for r in rows.values())} == set(Severity) - {Severity.UNDECIDED}


# --- forms


@pytest.mark.parametrize("width", [20, 60, 80, 100, 300])
def test_the_terminal_table_keeps_its_width(width: int) -> None:
    made = [(scheme, study) for scheme in (bench()[0], everything()) for study in made_up(scheme)]
    made += [(scheme, next(iter(made_up(scheme)))) for scheme in own()]
    for scheme, study in made:
        text = table_text(scheme, failure_modes(scheme, study), width)
        assert max(map(len, text.splitlines())) <= min(max(width, 60), 100)


def test_the_terminal_table_says_every_word_of_every_row() -> None:
    scheme, rows = rows_of()
    text = table_text(scheme, [*rows.values()], 100)
    assert text.endswith("\n")
    head, body = re.split(r"^-+$", text, maxsplit=1, flags=re.M)
    body = body.partition("Severity classes follow")[0]
    titles = next(line for line in head.splitlines() if line.startswith("Item"))
    starts = [titles.index(word) for word in ("Item", "Failure", "Local", "End", "Detection", "Severity")]
    blocks = body.strip("\n").split("\n\n")
    assert len(blocks) == len(rows)
    for block, row in zip(blocks, rows.values(), strict=True):
        table, _, remark = block.partition("    Remark: ")
        for column, start, end in zip(Column, starts, [*starts[1:], 200], strict=False):
            said = "".join(line[start:end].strip() for line in table.splitlines())
            assert said.replace(" ", "") == cell(row, column).replace(" ", ""), row.fault
        assert " ".join(remark.split()) == cell(row, Column.REMARK)
    assert "frozen_charge: bench_charger must never run for longer than 10 s" in text


def test_a_long_name_is_broken_after_its_signs_and_loses_none() -> None:
    lines = wrapped("the monitor_discharge_permit_of_the_cell_monitor is off", 12)
    assert all(len(line) <= 12 for line in lines)
    assert lines[:2] == ["the monitor_", "discharge_"]
    assert "".join(lines).replace(" ", "") == "themonitor_discharge_permit_of_the_cell_monitorisoff"


def test_the_csv_reads_back_as_the_rows() -> None:
    _, rows = rows_of()
    text = table_csv(rows.values())
    read = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert read[0] == [
        "Fault",
        "Item",
        "Failure mode",
        "Local effect",
        "End effect",
        "Detection",
        "Severity class",
        "Remark",
    ]
    assert read[1:] == [[row.fault, *words(row).values()] for row in rows.values()]
    assert text.count("\r\n") == len(rows) + 1  # RFC 4180: lines end in CRLF, the last one too
    assert "\n" not in text.replace("\r\n", "")


def test_a_reason_full_of_signs_stays_one_field_and_no_tag() -> None:
    reason = 'a "quoted", <b>bold</b> & =1+1\treason; 5 \N{OHM SIGN}'
    faults = f"faults:\n  K1.welded: {{excluded: {json.dumps(reason, ensure_ascii=False)}}}\n\ncases:"
    scheme = loads(edited(("cases:", faults)), "bench.yaml")
    study = next(iter(made_up(scheme)))
    rows = failure_modes(scheme, study)
    (found,) = [r for r in csv.reader(io.StringIO(table_csv(rows), newline="")) if r[0] == "K1.welded"]
    assert found[-1] == f"It is left out: {' '.join(reason.split())}."
    html = table_page(scheme, rows, CAUTION)
    assert read_page(html).rows["K1.welded"][-1] == found[-1]
    assert "<b>bold" not in html


def test_the_json_has_the_same_words_and_the_class_by_its_own_word() -> None:
    _, rows = rows_of()
    data = table_json(rows.values())
    for plain, row in zip(data, rows.values(), strict=True):
        assert isinstance(plain, dict)
        assert {str(c): plain[str(c)] for c in Column} == {str(c): w for c, w in words(row).items()}
        assert plain["severity"] == (str(row.severity) if row.severity else None)
        assert plain["violates"] == [*row.violates]
        assert bool(plain["excluded"]) is (row.severity is None)


class Page(HTMLParser):
    """A table page read back: its rows by their names, its tags, and what it fetches."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: dict[str, list[str]] = {}
        self.tags: set[str] = set()
        self.links: list[str] = []
        self.text = ""
        self._row = ""
        self._in_cell = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.add(tag)
        self.links += [value or "" for key, value in attrs if key in ("src", "href")]
        if tag == "tr":
            self._row = found.get("id") or ""
            self.rows[self._row] = []
        if tag == "td":
            self._in_cell = True
            self.rows[self._row].append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self._in_cell = False

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._in_cell:
            self.rows[self._row][-1] += data


def read_page(html: str) -> Page:
    page = Page()
    page.feed(html)
    return page


def test_the_page_reads_back_as_the_rows_and_needs_nothing_from_elsewhere() -> None:
    scheme, rows = rows_of()
    html = table_page(scheme, [*rows.values()], CAUTION)
    page = read_page(html)
    page.rows.pop("")  # the head
    assert page.rows == {row.fault: [*words(row).values()] for row in rows.values()}
    assert not page.links
    assert not re.search(r"url\(|@import|https?:", html)
    assert page.text.count(CAUTION) == 1
    assert "size: A4 landscape" in html
