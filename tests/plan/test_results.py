"""The results file and the sheet: written and read back, and what is wrong with a file is told with its place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interlock.plan.results import Results, StepResult, load_results, read_results, write_results
from interlock.plan.sheet import CannotFind, Sheet, Step, canonical, from_json
from interlock.scheme.findings import SchemeError
from interlock.scheme.source import Source

SHEET = Sheet(
    "Bench",
    "0" * 64,
    (
        Step({"probe": "20 degC", "reset_button": "pressed"}, 60, {"lamp": "running"}),
        Step({}, 5, {"lamp": "running"}, at_rest=False),
        Step({"probe": "open"}, 3, {"lamp": "stopped"}),
    ),
    ("probe.open",),
    (CannotFind("probe.drifted", "the element is replaced"),),
    {"cold_stop.trip_limit": "4 K"},
)
RESULTS = Results(
    "Bench",
    "0" * 64,
    SHEET.digest,
    (
        StepResult(1, {"lamp": "running", "x": None}, {"R": "12.1 kΩ"}, True, "ab", 'so "it" is 💧'),
        StepResult(3, {"lamp": "running"}, passed=False),
    ),
    "A. Miller",
    "2026-05-01T14:30:00",
)


def test_a_sheet_comes_back_from_its_json_and_keeps_its_digest() -> None:
    back = from_json(json.loads(json.dumps(SHEET.as_json())))
    assert back == SHEET
    assert back.digest == SHEET.digest
    assert list(SHEET.stopwatch()) == [60, 65, 3]
    assert SHEET.minutes == 1.1


def test_the_digest_changes_with_what_is_to_be_seen_and_not_with_the_order_of_keys() -> None:
    other = Sheet(SHEET.scheme, SHEET.scheme_digest, SHEET.steps[:2], SHEET.finds, SHEET.cannot_find, SHEET.off_by)
    assert other.digest != SHEET.digest
    turned = dict(reversed(SHEET.as_json().items()))
    assert canonical(turned) == canonical(SHEET.as_json())


def test_a_sheet_of_another_format_is_refused() -> None:
    with pytest.raises(ValueError, match="expected 'interlock sheet 1'"):
        from_json({"format": "something"})
    with pytest.raises(ValueError, match="steps"):
        from_json({"format": "interlock sheet 1"})


@pytest.mark.parametrize("ascii_only", [True, False])
def test_results_come_back_as_they_were_written(tmp_path: Path, ascii_only: bool) -> None:
    assert read_results(Source("r", json.dumps(RESULTS.as_json(), ensure_ascii=ascii_only))) == RESULTS
    write_results(tmp_path / "r.json", RESULTS)
    assert load_results(tmp_path / "r.json") == RESULTS
    assert [p.name for p in tmp_path.iterdir()] == ["r.json"]


@pytest.mark.parametrize(
    ("change", "said", "line"),
    [
        (('"interlock results 1"', '"something"'), "the format is `something`", 2),
        (('"running"', '"runing"'), "`runing` is nothing that can be seen of lamp", 12),
        (('"step": 3', '"step": 1'), "step 1 is there twice", 22),
        (('"step": 3', '"step": 0'), "`0` is no number of a step", 23),
        (('"passed": true', '"passed": "yes"'), "`passed` is true, false or null", 18),
        (('"initials": "ab"', '"initial": "ab"'), "`initial` has no meaning here", 19),
        (('"2026-05-01T14:30:00"', '"yesterday"'), "`yesterday` is no date", 7),
        (('"by": ', '"by" '), "this is no JSON", 6),
        (('"sheet_digest": ', '"sheet": '), "`sheet_digest` is missing", 1),
    ],
)
def test_what_is_wrong_with_a_results_file_is_told_with_its_line(change: tuple[str, str], said: str, line: int) -> None:
    text = json.dumps(RESULTS.as_json(), indent=1, ensure_ascii=False)
    assert change[0] in text
    with pytest.raises(SchemeError) as raised:
        read_results(Source("r", text.replace(*change, 1)))
    assert any(said in f.message and f.place.line == line for f in raised.value.findings), raised.value.findings


def test_a_file_cut_short_is_told() -> None:
    with pytest.raises(SchemeError, match="no JSON"):
        read_results(Source("r", json.dumps(RESULTS.as_json())[:200]))
