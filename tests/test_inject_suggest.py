"""`inject --suggest` as data and when it is interrupted."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from interlock.cli import inject_suggest
from interlock.cli.inject_outputs import Suggested
from interlock.cli.inject_suggest import suggestions
from interlock.cli.render import Progress
from interlock.faults.changes import ChangeKind
from interlock.faults.changes import changes as all_changes
from interlock.faults.judge import BUDGET
from interlock.scheme.read import load
from interlock.scheme.source import Source
from tests.faults.studies import FAULTS, bench
from tests.support.bench import edited

TEXT = edited(("cases:", FAULTS))


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Lets only changes of these kinds be tried."""

    def only(*kinds: ChangeKind) -> None:
        def some(*given: Any) -> list[Any]:
            return [change for change in all_changes(*given) if change.kind in kinds]

        monkeypatch.setattr(inject_suggest, "changes", some)

    return only


def asked() -> Suggested:
    scheme, study = bench()
    return suggestions(scheme, Source("bench.yaml", TEXT), study, jobs=1, budget=BUDGET)


def test_the_data_has_what_the_words_say(few: Callable[..., None]) -> None:
    few(ChangeKind.STALE_AFTER, ChangeKind.SECOND_OUTPUT)
    found = asked()
    assert json.loads(json.dumps(found.data)) == found.data
    assert (found.data["suggestions_tried"], found.data["suggestions_complete"], found.interrupted) == (5, True, False)
    first = found.data["suggestions"][0]
    assert set(first) == {"change", "says", "removes", "adds", "claims_hold", "diff"}
    assert first["change"] == "second_output"
    assert first["removes"] == ["K1.welded", "K1.wrong_contact", "K1.ignored"]
    assert first["adds"] == ["K1b~K2.swapped"]
    assert first["claims_hold"] is True
    said = "\n".join(found.lines)
    assert first["says"] in said
    assert "Takes away 3: K1.welded, K1.wrong_contact, K1.ignored." in said
    assert "Brings 1: K1b~K2.swapped." in said


def test_a_diff_can_be_applied_by_patch(few: Callable[..., None], tmp_path: Path) -> None:
    """By GNU patch, which knows nothing of schemes."""
    few(ChangeKind.SECOND_SENSOR)
    (one,) = (s for s in asked().data["suggestions"] if "probe.drifted" in s["removes"])
    file = tmp_path / "bench.yaml"
    file.write_text(TEXT)
    subprocess.run(["patch", "--batch", str(file)], input=one["diff"], text=True, check=True, capture_output=True)
    assert load(file).readings["probe_lowest"].sensors == ("probe", "probe_2")


def test_an_interruption_says_what_was_found(few: Callable[..., None], monkeypatch: pytest.MonkeyPatch) -> None:
    few(ChangeKind.STALE_AFTER, ChangeKind.SECOND_OUTPUT)
    seen = []

    def say(_line: object, words: str) -> None:
        seen.append(words)
        if words == "2 of 5 changes tried":
            raise KeyboardInterrupt

    monkeypatch.setattr(Progress, "say", say)
    found = asked()
    assert found.interrupted
    assert found.data["suggestions_complete"] is False
    assert [s["claims_hold"] for s in found.data["suggestions"]] == [None, None]
    assert "2 of 5 single changes tried" in found.lines[0]
    assert any("Not proved: interrupted" in line for line in found.lines)
    assert seen[0] == "looking for changes"


def test_an_interruption_before_anything_was_tried_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_given: object) -> list[object]:
        raise KeyboardInterrupt

    monkeypatch.setattr(inject_suggest, "changes", stopped)
    found = asked()
    assert found.interrupted
    assert found.data["suggestions"] == []
    assert found.lines == ["What if… interrupted before a change was tried."]
