"""What a record holds, what it refuses to take in, and that it is whole or not there."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from interlock.cli import record as command
from interlock.record import write
from interlock.record.chain import examined
from interlock.record.connections import LabelError, connections, labels_of_name
from interlock.scheme.read import loads
from tests.record.made import LABELLED, interlock, make_record, results, rewrite_manifests, verified


def contents(folder: Path) -> dict[str, str]:
    """Every file under a folder with its digest."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def visit_of(record: Path, number: int = 1) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((record / f"visit-{number:03d}" / "data" / "visit.json").read_text())
    return data


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_record(tmp_path_factory.mktemp("made"), visits=2)


def test_a_visit_holds_the_scheme_byte_for_byte_and_the_verdicts_of_the_commands(record: Path) -> None:
    data = record / "visit-001" / "data"
    assert (data / "scheme.yaml").read_text() == LABELLED
    for name in ("prove", "check", "cases"):
        done = interlock(name, "scheme.yaml", "--json", folder=data)
        assert (data / "verdicts" / f"{name}.json").read_text() == done.stdout


def test_who_and_when_and_what_for_are_told_to_people_and_to_programs(record: Path) -> None:
    visit = visit_of(record)
    assert (visit["by"], visit["when"], visit["visit"]) == ("A. Keller", "2026-05-17T14:30:00+02:00", 1)
    page = (record / "visit-001" / "data" / "visit.txt").read_text()
    assert "Recorded by   A. Keller" in page
    assert "prove   5 claims: 5 hold" in page
    tags = (record / "visit-001" / "bag-info.txt").read_text()
    assert "Contact-Name: A. Keller\n" in tags
    assert "Bagging-Date: 2026-05-17\n" in tags
    assert (record / "visit-001" / "bagit.txt").read_text().startswith("BagIt-Version: 1.0\n")  # RFC 8493, 2.1.1


def test_photographs_are_tied_to_terminals_and_what_has_none_is_listed(record: Path) -> None:
    first, second = visit_of(record, 1), visit_of(record, 2)
    shown = {c["part"]: c["photographs"] for c in first["connections"]}
    assert shown == {"probe": ["photographs/001_X1.1.jpg"], "monitor_charge_ok": [], "K1": []}
    assert first["without_photograph"] == ["monitor_charge_ok", "K1"]
    assert second["without_photograph"] == ["monitor_charge_ok"]  # W7 is K1's wire; probe was shown on the first visit
    assert second["photographs"][0]["labels"] == ["W7"]
    assert first["without_label"] == ["low_tap", "high_tap", "monitor_discharge_ok", "reset_button", "K2"]
    assert first["photographs"][1]["parts"] == []
    done = interlock("record", "show", record, folder=record.parent)
    assert "Without a photograph: 1 of 3 connections\n  monitor_charge_ok, line: terminal X1.10\n" in done.stdout


@pytest.mark.parametrize(
    ("name", "labels"),
    [
        ("X1.1.jpg", ("X1.1",)),
        ("X1.10.jpg", ("X1.10",)),
        ("X1.1 left, lid off.jpg", ("X1.1",)),
        ("X1.1_2.jpg", ("X1.1",)),
        ("W7+X1.10-close.png", ("W7", "X1.10")),
        ("K1.png", ("K1",)),
        ("Overview 3.jpg", ()),
        ("X1.11.jpg", None),
        ("X1.1.2.jpg", None),
        ("K12.jpg", None),
        ("IMG_0042.jpg", None),
        ("W7+IMG.jpg", None),
    ],
)
def test_a_files_name_says_what_it_shows_and_no_label_is_taken_for_another(
    name: str, labels: tuple[str, ...] | None
) -> None:
    known = connections(loads(LABELLED))
    if labels is None:
        with pytest.raises(LabelError):
            labels_of_name(name, known)
    else:
        assert labels_of_name(name, known) == labels


def test_the_longest_label_is_meant_where_one_begins_with_another() -> None:
    known = connections(loads(LABELLED.replace("terminal: X1.10", "terminal: X1.1-2")))
    assert labels_of_name("X1.1-2.jpg", known) == ("X1.1-2",)
    assert labels_of_name("X1.1-3.jpg", known) == ("X1.1",)


def test_adding_a_visit_alters_no_byte_of_an_earlier_one(tmp_path: Path) -> None:
    record = make_record(tmp_path)
    before = contents(record)
    (tmp_path / "bench.yaml").write_text(LABELLED.replace("below 3 degC for 2 s", "below 4 degC for 2 s"))
    done = interlock("record", "add", record, "--by", "B. Roth", "--scheme", "bench.yaml", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    after = contents(record)
    assert {name: after.get(name) for name in before} == before
    assert "visit-002/data/scheme.yaml" in after
    assert verified(record)[0] == 0


REFUSED: dict[str, tuple[tuple[str, ...], str]] = {
    "no such scheme": (("absent.yaml", "--by", "A"), "absent.yaml cannot be opened"),
    "nobody": (("bench.yaml", "--by", "  "), "nobody made this visit"),
    "no such photograph": (("bench.yaml", "--by", "A", "--photo", "X1.1=absent.jpg"), "absent.jpg cannot be opened"),
    "an unknown label": (("bench.yaml", "--by", "A", "--photo", "X1.2=a.jpg"), "did you mean `X1.1`?"),
    "an empty file": (("bench.yaml", "--by", "A", "--photo", "X1.1=empty.jpg"), "empty.jpg is empty"),
    "no photograph": (("bench.yaml", "--by", "A", "--photo", "X1.1=bench.yaml"), "bench.yaml is no photograph"),
    "a nameless photograph": (("bench.yaml", "--by", "A", "--photos", "folder"), "IMG_1.jpg begins with no label"),
    "a folder that is none": (("bench.yaml", "--by", "A", "--photos", "a.jpg"), "a.jpg is no folder"),
    "a folder for a file": (("bench.yaml", "--by", "A", "--attach", "folder"), "folder is no file"),
    "no time": (("bench.yaml", "--by", "A", "--when", "yesterday"), "`yesterday` is no time"),
    "no results": (("bench.yaml", "--by", "A", "--results", "bench.yaml"), "no results of a test sheet"),
    "results of another scheme": (("bench.yaml", "--by", "A", "--results", "other.json"), "results of another scheme"),
    "notes that are no text": (("bench.yaml", "--by", "A", "--notes", "a.jpg"), "a.jpg is no text"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_bad_input_is_refused_and_nothing_is_left_behind(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "bench.yaml").write_text(LABELLED)
    (tmp_path / "a.jpg").write_bytes(b"\xff\xd8")
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "other.json").write_text(results(LABELLED + "\n"))
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "IMG_1.jpg").write_bytes(b"\xff\xd8")
    before = sorted(os.listdir(tmp_path))
    monkeypatch.chdir(tmp_path)
    from typer.testing import CliRunner

    from interlock.cli.app import app

    options, words = REFUSED[case]
    done = CliRunner().invoke(app, ["record", "new", "record", *options])
    assert done.exit_code == 2
    assert words in done.stderr
    assert sorted(os.listdir(tmp_path)) == before


def test_a_record_that_is_there_is_never_written_over(record: Path) -> None:
    before = contents(record)
    done = interlock("record", "new", record, "bench.yaml", "--by", "A", folder=record.parent)
    assert done.returncode == 2
    assert "exists already" in done.stderr
    assert contents(record) == before


@pytest.mark.parametrize("step", ["close_bag", "as_text", "_to_disk"])
def test_an_interrupt_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """At each step of writing, for the first visit and for a later one."""
    record = make_record(tmp_path)
    before = contents(tmp_path)
    given = command.Given("B. Roth", "", "", [], [], None, "a note", None, [])

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(write, step, interrupted)
    with pytest.raises(KeyboardInterrupt):
        command.add(record, None, given, as_json=False)
    with pytest.raises(KeyboardInterrupt):
        command.new(tmp_path / "another", tmp_path / "bench.yaml", given, as_json=False)
    assert contents(tmp_path) == before
    assert not [name for name in os.listdir(tmp_path) if name.startswith(".")]
    assert sorted(os.listdir(record)) == ["README.txt", "visit-001"]


def test_what_a_killed_recording_left_is_named_and_no_part_of_the_record(record: Path, tmp_path: Path) -> None:
    import shutil

    copied = Path(shutil.copytree(record, tmp_path / "copy"))
    (copied / ".unfinished-x").mkdir()
    status, said = verified(copied)
    assert status == 1
    assert "remove it" in said["problems"][0]["message"]


def test_results_with_a_failed_step_are_recorded_and_are_a_finding(tmp_path: Path) -> None:
    (tmp_path / "bench.yaml").write_text(LABELLED)
    (tmp_path / "results.json").write_text(results(LABELLED, passed=False))
    given = ("--by", "A", "--results", "results.json", "--json")
    done = interlock("record", "new", "record", "bench.yaml", *given, folder=tmp_path)
    assert done.returncode == 1
    assert json.loads(done.stdout)["done"]
    assert (tmp_path / "record" / "visit-001" / "data" / "results" / "001_results.json").exists()


def test_verifying_works_the_verdicts_out_again_and_says_what_differs(tmp_path: Path) -> None:
    record = make_record(tmp_path)
    assert verified(record, digests_only=False)[0] == 0
    stored = record / "visit-001" / "data" / "verdicts"
    prove = json.loads((stored / "prove.json").read_text())
    assert prove["claims"][0]["claim"] == "frozen_charge/bench_charger"
    prove["claims"][0]["exposure_s"] = 2.3  # what another version of the tool might have said
    del prove["claims"][1]
    (stored / "prove.json").write_text(json.dumps(prove))
    cases = json.loads((stored / "cases.json").read_text())
    cases["cases"][0]["passed"] = False
    (stored / "cases.json").write_text(json.dumps(cases))
    (stored / "check.json").write_text("[]")
    rewrite_manifests(record / "visit-001")  # the record itself is sound
    status, said = verified(record, digests_only=False)
    assert status == 1
    assert said["sound"]
    found = {(d["of"], d["name"]): (d["then"], d["now"]) for d in said["weighed_again"][0]["differences"]}
    then, now = found["prove", "frozen_charge/bench_charger"]
    assert then.startswith("holds, 2.3 s of 10 s")
    assert now.startswith("holds, 2.2 s of 10 s")  # the exposure worked out by hand in the reference
    assert found["prove", "overfull_charge/bench_charger"][0] == ""
    assert found["cases", "a cold morning"] == ("failed", "passed")
    assert {of for of, _ in found} == {"prove", "cases", "check"}
    told = interlock("record", "verify", record, folder=tmp_path).stdout
    assert "frozen_charge/bench_charger: was holds, 2.3 s" in told


def test_a_scheme_that_can_be_read_no_more_is_told_not_thrown(tmp_path: Path) -> None:
    record = make_record(tmp_path)
    scheme = record / "visit-001" / "data" / "scheme.yaml"
    scheme.write_text(scheme.read_text().replace("normally_open", "a_word_of_old"))
    rewrite_manifests(record / "visit-001")
    status, said = verified(record, digests_only=False)
    assert status == 1
    assert "its scheme is none any more" in said["weighed_again"][0]["failed"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"format": "interlock record 9"}', '{"format": 1}'])
def test_a_visit_that_tells_nothing_is_a_problem_not_a_crash(tmp_path: Path, record: Path, text: str) -> None:
    import shutil

    copied = Path(shutil.copytree(record, tmp_path / "copy"))
    (copied / "visit-002" / "data" / "visit.json").write_text(text)
    rewrite_manifests(copied / "visit-002")
    found = examined(copied)
    assert [p.file for p in found.problems] == ["visit-002/data/visit.json"]


def test_the_way_to_check_that_the_readme_tells_strangers_works_and_finds_what_is_wrong(
    record: Path, tmp_path: Path
) -> None:
    """Every command of README.txt, run by a shell as it stands."""
    import shutil

    text = (record / "README.txt").read_text()
    assert text == (record / "visit-001" / "data" / "README.txt").read_text()
    blocks = ["\n".join(line.strip() for line in b.splitlines()) for b in re.findall(r"\n\n((?:     .*\n)+)", text)]
    assert len(blocks) == 4
    assert "visit-002" in blocks[2]

    def said(folder: Path) -> list[str]:
        done = [
            subprocess.run(
                ["bash", "-c", block.replace("/tmp/", f"{tmp_path}/")],
                cwd=folder,
                capture_output=True,
                text=True,
                check=False,
            )
            for block in blocks
        ]
        return [d.stdout for d in done]

    digests, added, older, seal = said(record)
    assert "FAILED" not in digests + older
    assert digests.count(": OK\n") > 10
    assert older.count(": OK\n") > 10
    assert added == ""
    assert seal.split()[0] == examined(record).seal
    copied = Path(shutil.copytree(record, tmp_path / "copy"))
    (copied / "visit-001" / "data" / "notes.txt").write_text("wet and cold\n")
    (copied / "visit-001" / "more.txt").write_text("more\n")
    digests, added, older, _ = said(copied)
    assert "data/notes.txt: FAILED" in digests
    assert added.strip().endswith("> more.txt")
    assert "visit-001/data/notes.txt: FAILED" in older


@pytest.mark.parametrize("name", ["absent", "empty", "file"])
def test_what_is_no_record_is_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").touch()
    assert command.show(tmp_path / name, as_json=False) == 2
    assert command.verify(tmp_path / name, "", digests_only=True, as_json=False) == 2
    assert len([line for line in capsys.readouterr().err.splitlines() if name in line]) == 2
