"""`interlock diagnose` as people run it, on the bench and the sheet that anyone would write for it."""

from __future__ import annotations

import json
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from interlock.cli.app import app
from interlock.plan.hypotheses import Off, slips
from interlock.plan.planner import Planner
from interlock.plan.predict import predict
from interlock.plan.stimuli import Stimuli
from interlock.records import replace
from interlock.scheme.read import loads
from tests.diagnose.sheets import obvious_sheet, results_of
from tests.support.bench import BENCH

SCHEME = loads(BENCH)
SHEET = obvious_sheet(SCHEME, BENCH)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "bench.yaml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "sheet.json").write_text(json.dumps(SHEET.as_json()), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def results(folder: Path, *faults: str, steps: list[int] | None = None) -> None:
    prediction = predict(SCHEME, SHEET, [[SCHEME.faults[name] for name in faults]])
    found = results_of(SHEET, prediction, 0, steps)
    (folder / "results.json").write_text(json.dumps(found.as_json()), encoding="utf-8")


def run(*words: str) -> Result:
    return CliRunner().invoke(app, ["diagnose", "bench.yaml", *words])


def told(*words: str) -> dict[str, Any]:
    done = run("results.json", "--sheet", "sheet.json", "--json", *words)
    assert done.exit_code in (0, 1), done.stderr
    data: dict[str, Any] = json.loads(done.stdout)
    return data


def test_exchanged_outputs_are_named_in_words_with_their_terminals(folder: Path) -> None:
    results(folder, "K1~K2.swapped")
    assert told()["candidates"] == [["K1~K2.swapped"]]
    done = run("results.json", "--sheet", "sheet.json")
    assert done.exit_code == 1
    assert "K1~K2.swapped: K1 and K2 are exchanged at board" in done.stdout
    assert "certifies nothing" in done.stdout


def test_two_faults_are_found_where_one_explains_nothing(folder: Path) -> None:
    results(folder, "K2.welded", "probe.open")
    data = told()
    assert data["weighed"] == {"sets_of_up_to": 2, "complete": True}
    assert ["probe.open", "K2.welded"] in data["candidates"]
    assert all(len(names) == 2 for names in data["candidates"])


def test_a_mistyped_setting_comes_back_in_words(folder: Path) -> None:
    """Each that the planned sheet finds is among the candidates for what it would show, and few others are."""
    stimuli = Stimuli(SCHEME)
    sheet = replace(Planner(SCHEME).sheet(), scheme_digest=SHEET.scheme_digest)
    (folder / "sheet.json").write_text(json.dumps(sheet.as_json()), encoding="utf-8")
    found = [slip for slip in slips(stimuli, Off()) if slip.name in sheet.finds]
    prediction = predict(SCHEME, sheet, [(slip,) for slip in found])
    counts = []
    for number, slip in list(enumerate(found))[::3]:
        said = results_of(sheet, prediction, number).as_json()
        (folder / "results.json").write_text(json.dumps(said), encoding="utf-8")
        candidates = told()["candidates"]
        assert [slip.name] in candidates
        counts.append(len(candidates))
    assert len(found) > 20
    assert median(counts) <= 3
    number = [slip.name for slip in found].index("cold_stop.clear_limit_high")
    said = results_of(sheet, prediction, number).as_json()
    (folder / "results.json").write_text(json.dumps(said), encoding="utf-8")
    done = run("results.json", "--sheet", "sheet.json")
    assert done.exit_code == 1
    assert "cold_stop's clear limit is typed more than 5 degC" in done.stdout
    assert "(every single fault and every mistyped setting weighed)" in done.stdout


def test_a_healthy_installation_is_the_first_candidate_and_no_finding(folder: Path) -> None:
    results(folder)
    done = run("results.json", "--sheet", "sheet.json", "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["candidates"][0] == []


def test_what_nothing_tells_apart_is_one_class_with_all_its_members(folder: Path) -> None:
    results(folder, "K1.ignored")
    data = told()
    together = next(members for members in data["classes"] if ["K1.ignored"] in members)
    assert ["bench_charger.bypassed"] in together
    assert all(names in data["candidates"] for names in together)


def test_a_sheet_half_done_is_told_how_to_go_on(folder: Path) -> None:
    results(folder, "cold_stop.omitted", steps=[1])
    following = told()["next"]
    assert following["how"] == "step"
    assert following["steps"][0] == 2
    assert following["look_at"]
    assert len(following["outcomes"]) > 1


def test_moments_in_a_file_are_weighed_as_those_on_the_command_line(folder: Path) -> None:
    text = "bench_charger running, coldest_cell -4 degC, for 1 min"
    (folder / "seen.yaml").write_text(
        "moments:\n  - {bench_charger: running, coldest_cell: -4 degC, for: 1 min}\n", encoding="utf-8"
    )
    one, other = (json.loads(run(*words, "--json").stdout) for words in (("--seen", text), ("--observed", "seen.yaml")))
    assert one == other
    assert ["cold_stop.omitted"] in one["candidates"]


def test_bad_input_is_refused_with_what_to_do(folder: Path) -> None:
    results(folder)
    (folder / "other.yaml").write_text(BENCH + "\n# another\n", encoding="utf-8")
    for words, said in (
        ((), "give either the results file of a sheet, or what was seen"),
        (("results.json", "--seen", "K1 open"), "give either the results file"),
        (("absent.json", "--sheet", "sheet.json"), "absent.json cannot be opened"),
        (("results.json", "--sheet", "bench.yaml"), "is no sheet"),
        (("--observed", "absent.yaml"), "absent.yaml cannot be opened"),
        (("--seen", "coldest_cell 20 degC, hottest_cell 10 degC"), "cannot be so together"),
    ):
        done = run(*words)
        assert done.exit_code == 2, words
        assert said in done.stderr
    done = CliRunner().invoke(app, ["diagnose", "other.yaml", "results.json", "--sheet", "sheet.json"])
    assert done.exit_code == 2
    assert "taken with another scheme" in done.stderr
