"""Questions on paper and on the page: answers apart from questions, or in a fold with a way to the bench."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from interlock.cli.app import app
from interlock.exercises.questions import questions
from interlock.exercises.records import Kind
from interlock.exercises.scene import Scene
from interlock.handbook.live import SEEDS
from tests.bench.driver import demo, page_of
from tests.draw.browser import browser
from tests.sheet.devtools import Browser

HUT = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"
LONG = 9000  # scans: longer ones take seconds in the page
STATES = "Object.fromEntries([...document.querySelectorAll('[data-state]')].map(e => [e.dataset.state, e.textContent]))"


def command(*arguments: str) -> str:
    result = CliRunner().invoke(app, ["exercises", *arguments])
    assert result.exit_code == 0, (result.output, result.exception)
    return result.stdout


def test_the_printed_set_has_its_answers_on_sheets_of_their_own(tmp_path: Path) -> None:
    out = tmp_path / "set.html"
    told = json.loads(command(str(HUT), "--seed", "5", "--out", str(out), "--json"))
    page = out.read_text(encoding="utf-8")
    first, answers = page.split('<section class="answers">')
    assert re.search(r"\.answers \{ break-before: page", page)
    counts = [half.count('<li class="exercise">') for half in (first, answers)]
    assert counts == [13, 13] == [len(told["questions"])] * 2
    for question in told["questions"]:
        assert question["asks"] in first
        for line in question["says"]:
            assert line.replace("'", "&#x27;") in answers
            assert line.replace("'", "&#x27;") not in first
    assert "certifies nothing" in page
    assert "Stored energy" in first
    assert "<script" not in page


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.html", "b.html"):
        command(str(HUT), "--seed", "7", "--out", str(tmp_path / name))
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    if browser() is None:
        pytest.skip("no chromium to open the page with")
    with page_of(demo("alpine_hut"), tmp_path_factory.mktemp("hut")) as opened:
        yield opened


def test_answers_stay_folded_until_they_are_opened(tab: Browser) -> None:
    assert tab.ask("[...document.querySelectorAll('.exercise details')].some(d => d.open)") is False
    count = tab.ask("document.querySelectorAll('.exercise').length")
    assert count == tab.ask("document.querySelectorAll('.exercise details').length") == 13
    tab.click(".exercise summary")
    assert tab.ask("document.querySelector('.exercise details').open")


def test_each_question_shown_on_the_bench_ends_as_its_answer_says(tab: Browser) -> None:
    """The page's own machine is a third way to every answer."""
    asked = questions(Scene(demo("alpine_hut")), SEEDS[0])
    shown = 0
    for number, question in enumerate(asked):
        link = f"document.querySelectorAll('.exercise')[{number}].querySelector('details a')"
        if not tab.ask(f"!!{link}") or sum(act.scans for act in question.acts) > LONG:
            continue
        tab.ask(f"{link}.click()")
        address = json.dumps(tab.ask(f"{link}.hash"))
        tab.ask(f"new Promise(done => setTimeout(done, 30)).then(() => location.hash === {address})")
        states = tab.ask(STATES)
        if question.kind is Kind.WHICH_FAULT:
            wanted = {p: runs for p, runs in question.seen[-1].running.items() if runs is not None}
        else:
            wanted = dict(zip(question.asked, question.answer, strict=True))
        words = {True: "running", False: "stopped"}
        assert {path: states[path] for path in wanted} == {path: words[runs] for path, runs in wanted.items()}, question
        shown += 1
    assert shown >= 6
