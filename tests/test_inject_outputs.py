"""What a study is written to: trees that read back as its cut sets, figures with what they leave out, refusals."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from typer.testing import CliRunner

from interlock.cli.app import app
from interlock.cli.fault_trees import fault_trees
from interlock.cli.inject import study_json
from interlock.cli.inject_outputs import Wanted, outputs, refusal
from interlock.cli.inject_proof_tests import SleepersTests
from interlock.cli.inject_words import rounded_down
from interlock.cli.study_file import read_study
from interlock.faults.cutsets import minimal_cut_sets
from tests.draw.read_tree import SVG, read_tree
from tests.faults.studies import bench, in_series
from tests.support.bench import BENCH


def texts(file: str) -> str:
    return " ".join("".join(t.itertext()) for t in ET.parse(file).getroot().iter(f"{SVG}text"))


def test_each_tree_reads_back_as_the_cut_sets_of_its_claim(tmp_path: Path) -> None:
    scheme, study = in_series()
    given = outputs(scheme, study, Wanted(trees=tmp_path / "new" / "trees"))
    assert list(given.data["trees"]) == [claim.name for claim in scheme.claims]
    for claim, found in zip(scheme.claims, study.cut_sets, strict=True):
        drawn, counted = read_tree(Path(f).read_text() for f in given.data["trees"][claim.name])
        assert not counted
        assert {frozenset(s) for s in minimal_cut_sets(drawn)} == {frozenset(s) for s in found.minimal}


def test_a_kept_study_draws_the_trees_that_the_study_itself_draws(tmp_path: Path) -> None:
    scheme, study = bench()
    kept = tmp_path / "study.json"
    plain = study_json(Path("bench.yaml"), "digest", scheme, study, SleepersTests(scheme, None))
    kept.write_text(json.dumps(plain), encoding="utf-8")
    drawn = {sheet.name: str(sheet.svg) for sheet in fault_trees(scheme, read_study(kept, scheme, "digest"))}
    given = outputs(scheme, study, Wanted(trees=tmp_path / "trees")).data["trees"]
    assert drawn == {Path(f).stem: Path(f).read_text(encoding="utf-8") for files in given.values() for f in files}
    # a study of single faults knows all cut sets of some claims, and says so of no other
    assert {claim.name for claim, found in zip(scheme.claims, study.cut_sets, strict=True) if found.near}
    assert any("Known for single faults" in svg for svg in drawn.values())


def test_a_study_of_another_scheme_draws_nothing(tmp_path: Path) -> None:
    kept, file = tmp_path / "study.json", tmp_path / "bench.yaml"
    kept.write_text('{"cut_sets": {}, "faults": [], "scheme_digest": "another"}', encoding="utf-8")
    file.write_text(BENCH, encoding="utf-8")
    done = CliRunner().invoke(app, ["draw", str(file), "--to", str(tmp_path / "out"), "--study", str(kept)])
    assert done.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_a_tree_says_its_chance_is_a_lower_bound_and_what_is_missing(tmp_path: Path) -> None:
    scheme, study = bench()
    given = outputs(scheme, study, Wanted(trees=tmp_path))
    said = texts(given.data["trees"]["frozen_charge/bench_charger"][0])
    assert "at least 0.03 (rare-event" in said.replace("  ", " ")
    assert "no rate for probe.drifted" in said
    assert "probe sticks at the reading it had; 2e-06 per hour, in 58 % of the chance" in said
    lines = "\n".join(given.lines)
    assert "frozen_charge/bench_charger: at least 0.03, at least 3.4e-06 per hour" in lines
    assert "a lower bound: no rate for probe.drifted; no rate can be given for mistakes of installation" in lines
    data = given.data["chances"]["frozen_charge/bench_charger"]
    assert data["lower_bound"] is True
    assert data["missing_rates"] == ["probe.drifted"]
    assert data["chance"][0] == data["chance"][1] < data["rare_event"]
    assert [i["fault"] for i in data["importances"]] == ["probe.stuck", "K1.welded", "board.frozen"]
    assert json.loads(json.dumps(given.data)) == given.data


def test_another_mission_another_chance(tmp_path: Path) -> None:
    scheme, study = bench()
    year, day = (
        outputs(scheme, study, Wanted(trees=tmp_path, mission=hours)).data["chances"]["frozen_charge/bench_charger"]
        for hours in (8760.0, 24.0)
    )
    assert day["chance"][0] < year["chance"][0] / 300
    assert (day["mission_h"], year["mission_h"]) == (24.0, 8760.0)


@pytest.mark.parametrize("suffix", ["csv", "html", "json", "CSV"])
def test_a_table_is_written_by_the_suffix_of_its_file(tmp_path: Path, suffix: str) -> None:
    scheme, study = bench()
    to = tmp_path / f"table.{suffix}"
    given = outputs(scheme, study, Wanted(table=str(to)))
    assert given.lines == [f"table: {to}"]
    rows = len(scheme.faults) + len(scheme.excluded)
    text = to.read_bytes().decode()
    match suffix.lower():
        case "csv":
            assert len(list(csv.reader(text.splitlines()))) == rows + 1
        case "html":
            assert text.count("<tr ") == rows
            assert "Local codes, the maker's manual and licensed practice come first." in text.replace("&#x27;", "'")
        case _:
            assert len(json.loads(text)["table"]) == rows


def test_a_table_for_the_terminal_stands_in_the_data_too() -> None:
    scheme, study = bench()
    given = outputs(scheme, study, Wanted(table="-"))
    assert max(map(len, given.lines)) <= 100
    assert len(given.data["table"]) == len(scheme.faults) + len(scheme.excluded)


def test_intervals_are_told_with_the_rates_that_are_missing() -> None:
    scheme, study = in_series()
    given = outputs(scheme, study, Wanted(bound=1e-7))
    told = "\n".join(given.lines)
    assert (
        "every 5 years (at the latest after 7.61 years), or more often: no rate for monitor_charge_ok.shorted" in told
    )
    assert "at commissioning, and after work on the wiring: K3.ignored, full_stop.omitted" in told
    assert "of the faults whose rates are given; the others come on top" in told
    data = given.data["inspections"]
    assert data["complete"] is False
    (third,) = [i for i in data["intervals"] if i["fault"] == "K3.welded"]
    assert third["usual"] == "every 5 years"
    assert third["second_faults"] == ["monitor_charge_ok.shorted", "K1.welded", "board.frozen"]


@pytest.mark.parametrize(("value", "said"), [(66666.7, "66666"), (7.6199, "7.61"), (0.9999, "0.999"), (4.0, "4.00")])
def test_a_limit_is_never_rounded_past_itself(value: float, said: str) -> None:
    assert rounded_down(value) == said
    assert float(rounded_down(value)) <= value


def test_what_cannot_be_had_is_refused_before_anything_is_judged(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    assert ".csv, .html, .json" in refusal(Wanted(table="table.xls"), 1)
    assert "no folder" in refusal(Wanted(table=str(tmp_path / "none" / "table.csv")), 1)
    assert "that is a file" in refusal(Wanted(trees=file), 1)
    assert "--size 2" in refusal(Wanted(bound=1e-7), 1)
    assert "above 0" in refusal(Wanted(bound=-1.0), 2)
    assert "above 0" in refusal(Wanted(bound=float("nan")), 2)
    assert "--mission" in refusal(Wanted(mission=0.0), 1)
    fine = (Wanted(), Wanted(table="-"), Wanted(table="x.csv", trees=tmp_path), Wanted(bound=1e-7))
    assert [refusal(wanted, 2) for wanted in fine] == [""] * 4
