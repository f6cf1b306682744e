"""The command: what it refuses, what it does when interrupted, the same bytes every time."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from interlock.cli import material as command
from interlock.cli.app import app
from interlock.cli.inject import inject
from interlock.cli.inject_outputs import Wanted
from interlock.cli.prove import judged
from interlock.faults import parallel
from interlock.faults.court import Answers, Batch
from interlock.handbook.words import english
from interlock.proof.prove import Verdict
from interlock.scheme.model import Claim, Fault, Scheme
from tests.handbook.pages import ROOT, written
from tests.support.bench import BENCH, edited


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The bench in a folder of its own; what is kept of studies is kept there too."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    file = tmp_path / "bench.yaml"
    file.write_text(BENCH, encoding="utf-8")
    return file


def page(out: Path) -> str:
    return out.read_text(encoding="utf-8")


def test_a_study_that_is_interrupted_gives_a_page_that_says_so_and_is_taken_up_again(
    bench: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "page.html"
    whole = parallel.Here.answers
    seen: list[int] = []

    def until_interrupted(self: parallel.Here, work: Sequence[Batch]) -> Iterator[Answers]:
        for answers in whole(self, work):
            seen.append(len(answers.told))
            yield answers
            if len(seen) == 7:
                raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(parallel.Here, "answers", until_interrupted)
        written(str(bench), "--out", str(out), "--jobs", "1", status=130)
    assert english()("about.missing") in page(out)
    assert english()("faults.incomplete") in page(out)
    assert "were not judged: the study of faults was interrupted" in page(out)
    first = len(seen)
    again: list[int] = []

    def counted(self: parallel.Here, work: Sequence[Batch]) -> Iterator[Answers]:
        for answers in whole(self, work):
            again.append(len(answers.told))
            yield answers

    monkeypatch.setattr(parallel.Here, "answers", counted)
    written(str(bench), "--out", str(out), "--jobs", "1", "--resume")
    assert english()("about.missing") not in page(out)
    resumed, again[:] = list(again), []
    written(str(bench), "--out", str(out), "--jobs", "1")
    assert sum(resumed) == sum(again) - sum(seen[:first]), "what was judged is not judged again"


def test_judging_claims_that_is_interrupted_gives_a_page_that_names_them(
    bench: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "page.html"

    def until_interrupted(
        scheme: Scheme, claims: list[Claim], faults: tuple[Fault, ...], budget: int
    ) -> Iterator[Verdict]:
        for number, verdict in enumerate(judged(scheme, claims, faults, budget)):
            if number == 2:
                raise KeyboardInterrupt
            yield verdict

    monkeypatch.setattr(command, "judged", until_interrupted)
    written(str(bench), "--out", str(out), status=130)
    assert "3 claims were not judged." in page(out)
    assert page(out).count(f">{english()('claims.not_judged')}</td>") == 3


def test_a_finished_study_is_taken_as_inject_wrote_it_and_tells_the_same(
    bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    inject(bench, 1, jobs=1, cluster="", resume=False, budget=0, wanted=Wanted(), as_json=True)
    study = tmp_path / "study.json"
    study.write_text(capsys.readouterr().out, encoding="utf-8")
    taken, anew = tmp_path / "taken.html", tmp_path / "anew.html"
    written(str(bench), "--out", str(taken), "--study", str(study))
    written(str(bench), "--out", str(anew), "--jobs", "1")
    assert page(taken) == page(anew)
    assert "probe.stuck" in page(taken)
    data = json.loads(study.read_text(encoding="utf-8"))
    spoils: list[Callable[[dict[str, Any]], object]] = [
        lambda d: d["faults"].pop(),
        lambda d: d["faults"][0].update(effect="odd"),
        lambda d: d["faults"][0].update(revealed_by=["nobody"]),
        lambda d: d["cut_sets"].popitem(),
        lambda d: d["cut_sets"].update({next(iter(d["cut_sets"])): [["nobody"]]}),
        lambda d: d.pop("sets"),
    ]
    for spoil in spoils:
        spoiled: dict[str, Any] = json.loads(json.dumps(data))
        spoil(spoiled)
        study.write_text(json.dumps(spoiled), encoding="utf-8")
        written(str(bench), "--out", str(tmp_path / "no.html"), "--study", str(study), status=2)
    for text in ("", "[]", "{", "\xff"):
        study.write_bytes(text.encode("latin-1"))
        written(str(bench), "--out", str(tmp_path / "no.html"), "--study", str(study), status=2)
    assert not (tmp_path / "no.html").exists()


def test_a_claim_that_is_violated_is_a_finding_and_its_story_is_told(tmp_path: Path) -> None:
    file, out = tmp_path / "bench.yaml", tmp_path / "page.html"
    file.write_text(edited(("trips: below 3 degC", "trips: below -3 degC")), encoding="utf-8")
    written(str(file), "--out", str(out), "--no-faults", status=1)
    assert english()("claims.violated") in page(out)
    assert english()("claims.story") in page(out)
    assert "Do not energise the pack" in page(out)


def test_two_runs_write_the_same_bytes_and_json_says_what_is_on_the_page(bench: Path, tmp_path: Path) -> None:
    one, other = tmp_path / "one.html", tmp_path / "other.html"
    told = json.loads(written(str(bench), "--out", str(one), "--no-faults", "--json"))
    written(str(bench), "--out", str(other), "--no-faults")
    assert one.read_bytes() == other.read_bytes()
    assert told["bytes"] == len(one.read_bytes())
    assert told["holds"] is True
    assert told["whole"] is False
    assert [c["claim"] for c in told["claims"]]
    assert told["faults"] is None


def test_another_language_is_one_file(bench: Path, tmp_path: Path) -> None:
    german, out = tmp_path / "de.yaml", tmp_path / "page.html"
    result = CliRunner().invoke(app, ["words", "--out", str(german)])
    assert result.exit_code == 0, result.output
    text = german.read_text(encoding="utf-8")
    for old, new in (
        ("language: en", "language: de"),
        ("title: 'Handbook: {scheme}'", "title: 'Handbuch: {scheme}'"),
        ("it clears by itself once {clears}", "er endet, sobald {clears}"),
        ("word: Arcs", "word: Lichtbogen"),
        ("title: What must never happen, and what must always be had", "title: Was nie und was immer sein muss"),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    german.write_text(text, encoding="utf-8")
    written(str(bench), "--out", str(out), "--no-faults", "--words", str(german))
    assert '<html lang="de">' in page(out)
    assert "<h1>Handbuch: Tool-crib battery bench</h1>" in page(out)
    assert "<b>Lichtbogen.</b>" in page(out)
    assert "er endet, sobald" in page(out)
    assert page(out).count("Was nie und was immer sein muss") == 2  # in the contents and over its part


@pytest.mark.parametrize(
    "arguments",
    [
        ["--out", "page.txt"],
        ["--out", "no/such/folder/page.html"],
        ["--out", "page.html", "--words", "tlh"],
        ["--out", "page.html", "--words", "absent.yaml"],
        ["--out", "page.html", "--study", "absent.json"],
        ["--out", "page.html", "--study", "x.json", "--no-faults"],
        ["--out", "page.html", "--study", "x.json", "--resume"],
        ["--out", "page.txt", "--card"],
        ["--out", "page.html", "--card", "--words", "tlh"],
    ],
)
def test_what_cannot_be_done_is_refused_and_nothing_is_written(
    bench: Path, arguments: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench.parent)
    before = sorted(p.name for p in bench.parent.iterdir())
    written(str(bench), *arguments, status=2)
    assert sorted(p.name for p in bench.parent.iterdir()) == before


def test_the_kept_studies_are_of_the_schemes_as_they_are() -> None:
    """Else the handbooks in diagrams/ could not be made again: `bash .ci/regenerate --studies`."""
    from interlock.cli.study_file import file_digest, read_study
    from interlock.scheme.read import load

    for name in ("alpine_hut", "survey_launch"):
        file = ROOT / "rules" / f"{name}.yaml"
        study = read_study(ROOT / "diagrams" / "studies" / f"{name}.json", load(file), file_digest(file))
        assert not study.interrupted
