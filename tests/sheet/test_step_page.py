"""The test sheet's page in a real browser: results are taken, kept through a reload and a dead battery, given back."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pypdf
import pytest

from interlock.plan.results import Results, StepResult, read_results
from interlock.records import replace
from interlock.scheme.source import Source
from interlock.sheet.step_page import step_page
from tests.draw.browser import browser
from tests.sheet.devtools import Browser, opened
from tests.sheet.samples import hut_sheet

pytestmark = pytest.mark.skipif(browser() is None, reason="no chromium to open the page with")

SCHEME, SHEET = hut_sheet()
LIVE = "document.documentElement.classList.contains('live')"
RESULTS = "document.getElementById('results-text').value"


@pytest.fixture
def page(tmp_path: Path) -> str:
    (tmp_path / "sheet.html").write_text(step_page(SCHEME, SHEET), encoding="utf-8")
    return f"file://{tmp_path / 'sheet.html'}"


@pytest.fixture
def tab(page: str, tmp_path: Path) -> Iterator[Browser]:
    with opened(tmp_path / "profile") as tab:
        visit(tab, page)
        yield tab


def until(tab: Browser, code: str, patience_s: float = 20.0) -> Any:
    """The value of an expression once it is true."""
    end = time.monotonic() + patience_s
    while not (value := tab.ask(code)):
        assert time.monotonic() < end, code
    return value


def visit(tab: Browser, page: str) -> None:
    tab.go(page)
    until(tab, LIVE)


def seen(step: int, name: str, word: str) -> str:
    return f'input[name="seen-{step}-{name}"][value="{word}"]'


def entered(tab: Browser) -> Results:
    """The results as the page gives them back, through the tool's own reader."""
    return read_results(Source("results.json", tab.ask(RESULTS)))


def kept(tab: Browser) -> None:
    """Wait until the page says that it has kept the last entry."""
    until(tab, "document.getElementById('kept').textContent.startsWith('Kept')")


def enter_all(tab: Browser) -> Results:
    """Touch everything as expected but for two things, type into fields, and what must come of it."""
    tab.type('[data-field="by"]', "A. Tester")
    tab.ask(
        "(() => { const d = document.querySelector('[data-field=when]'); d.value = '2026-05-01';"
        " d.dispatchEvent(new Event('input', {bubbles: true})) })()"
    )
    steps = []
    for number, step in enumerate(SHEET.steps, 1):
        told: dict[str, str | None] = {}
        for name, word in step.expect.items():
            if number == 5:
                told[name] = None  # nobody has looked at the last step
                continue
            told[name] = {"either": "running"}.get(word, word)
            if (number, name) == (3, "inverter"):
                told[name] = "stopped"
            tab.click(seen(number, name, str(told[name])))
        steps.append(StepResult(number, told, passed={3: False, 5: None}.get(number, True)))
    tab.type('[data-field="measured"][data-step="2"][data-name="K1"]', '0.2 Ω "ok"')
    tab.type('[data-field="initials"][data-step="2"]', "AT")
    tab.type('[data-field="note"][data-step="3"]', "<b>K9</b> hangs, looked at twice")
    steps[1] = replace(steps[1], measured={"K1": '0.2 Ω "ok"'}, initials="AT")
    steps[2] = replace(steps[2], note="<b>K9</b> hangs, looked at twice")
    return Results(SHEET.scheme, SHEET.scheme_digest, SHEET.digest, tuple(steps), "A. Tester", "2026-05-01")


def test_results_are_taken_by_touch_kept_and_given_back_and_nothing_is_fetched(page: str, tmp_path: Path) -> None:
    with suppress(BrokenPipeError), opened(tmp_path / "profile") as tab:
        visit(tab, page)
        wanted = enter_all(tab)
        assert entered(tab) == wanted
        assert "differs" in tab.ask("document.querySelector('[data-differs=\"3\"][data-name=inverter]').textContent")
        assert tab.ask("document.getElementById('progress').textContent") == "4 of 5 steps judged, 1 FAILED"
        tab.reload()
        until(tab, LIVE)
        assert entered(tab) == wanted
        tab.click(seen(5, "roof_pv", "stopped"))
        kept(tab)
        assert tab.complaints() == []
        assert [url for url in tab.requests() if not url.startswith(("file:", "data:"))] == []
        assert {url for url in tab.requests() if url.startswith("file:")} == {page}
        tab.process.kill()  # the battery dies
        tab.process.wait()
    with opened(tmp_path / "profile") as tab:
        visit(tab, page)
        found = entered(tab)
        assert found.steps[:4] == wanted.steps[:4]
        assert found.steps[4].seen["roof_pv"] == "stopped"
        assert found.by == "A. Tester"


def test_a_results_file_is_given_back_and_another_device_goes_on_with_it(
    tab: Browser, page: str, tmp_path: Path
) -> None:
    wanted = enter_all(tab)
    down = tmp_path / "down"
    down.mkdir()
    tab.call("Page.setDownloadBehavior", behavior="allow", downloadPath=str(down))
    tab.click("#download")
    end = time.monotonic() + 20
    while not (files := list(down.glob("results-*.json"))):
        assert time.monotonic() < end
        tab.ask("1")
    assert read_results(Source("results", files[0].read_text(encoding="utf-8"))) == wanted
    with opened(tmp_path / "other device") as other:
        visit(other, page)
        other.click(seen(1, "roof_pv", "running"))
        before = entered(other)
        choose(other, files[0])
        until(other, "document.getElementById('taken').textContent == 'Taken over.'")
        assert entered(other) == wanted
        other.reload()
        until(other, LIVE)
        assert entered(other) == wanted
        other.click("#undo")
        assert entered(other) == before
        assert other.complaints() == []


def choose(tab: Browser, file: Path) -> None:
    """Choose a file in the page's own field."""
    found = tab.call("Runtime.evaluate", expression="document.getElementById('results-file')")
    tab.call("DOM.setFileInputFiles", files=[str(file)], objectId=found["result"]["objectId"])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "no JSON"),
        ('{"format": "something else"}', "no results file"),
        ('{"format": "interlock results 1", "sheet_digest": "00"}', "another sheet"),
    ],
)
def test_a_file_that_does_not_belong_here_changes_nothing(tab: Browser, text: str, says: str) -> None:
    tab.click(seen(1, "roof_pv", "stopped"))
    before = entered(tab)
    tab.ask(f"document.getElementById('given-text').value = {json.dumps(text)}")
    tab.click("#take-text")
    assert says in tab.ask("document.getElementById('taken').textContent")
    assert entered(tab) == before


def test_what_does_not_fit_is_left_out_of_what_is_taken_over(tab: Browser) -> None:
    odd = {
        "format": "interlock results 1", "scheme": 7, "sheet_digest": SHEET.digest, "by": ["x"],
        "steps": [
            None, {"step": 99}, {"step": 1, "seen": {"roof_pv": "melted", "inverter": "stopped", "__proto__": 1},
                                 "passed": "yes", "note": {"a": 1}},
        ],
    }  # fmt: skip
    tab.ask(f"document.getElementById('given-text').value = {json.dumps(json.dumps(odd))}")
    tab.click("#take-text")
    found = entered(tab)
    assert (found.scheme, found.by, len(found.steps)) == (SHEET.scheme, "", 5)
    assert found.steps[0].seen["roof_pv"] is None
    assert found.steps[0].seen["inverter"] == "stopped"
    assert tab.complaints() == []


def test_a_browser_that_keeps_nothing_says_so_loudly(page: str, tmp_path: Path) -> None:
    with opened(tmp_path / "profile") as tab:
        tab.call(
            "Page.addScriptToEvaluateOnNewDocument",
            source="Object.defineProperty(window, 'localStorage', {get() { throw new Error('denied') }})",
        )
        visit(tab, page)
        assert tab.ask("document.getElementById('lost').getBoundingClientRect().height") > 40
        tab.click(seen(1, "roof_pv", "stopped"))
        assert "NOT kept" in tab.ask("document.getElementById('kept').textContent")
        assert entered(tab).steps[0].seen["roof_pv"] == "stopped"
        assert tab.complaints() == []


def test_storage_that_is_full_says_so_and_a_browser_that_keeps_says_nothing(tab: Browser) -> None:
    assert tab.ask("document.getElementById('lost').hidden")
    tab.ask("Storage.prototype.setItem = () => { throw new Error('full') }; 0")
    tab.click(seen(1, "roof_pv", "stopped"))
    assert not tab.ask("document.getElementById('lost').hidden")


def test_the_stopwatch_survives_a_reload_and_says_when_to_look(tab: Browser) -> None:
    tab.click('[data-start="1"]')
    first = tab.ask("document.querySelector('[data-timer=\"1\"]').textContent")
    assert first in ("look in 10:01", "look in 10:00")
    kept(tab)
    tab.reload()
    until(tab, LIVE)
    assert tab.ask("document.querySelector('[data-timer=\"1\"]').textContent").startswith("look in ")
    tab.ask("(() => { const now = Date.now; Date.now = () => now() + 601000 })()")
    until(tab, "document.querySelector('[data-timer=\"1\"]').textContent == 'look now'")
    assert tab.ask("document.querySelector('[data-timer=\"2\"]').textContent") == ""


def test_a_step_that_sets_nothing_counts_on_from_the_one_before(tab: Browser) -> None:
    assert not tab.ask("document.querySelector('[data-start=\"4\"]')")
    tab.click('[data-start="3"]')
    assert tab.ask("document.querySelector('[data-timer=\"4\"]').textContent").startswith("look in 0:0")


def test_it_can_be_filled_in_from_the_keyboard_alone(tab: Browser) -> None:
    tab.ask("document.querySelector('input[name=\"seen-1-roof_pv\"]').focus()")
    tab.key(" ", 32, " ")
    assert entered(tab).steps[0].seen["roof_pv"] == "running"
    tab.key("ArrowDown", 40)
    assert entered(tab).steps[0].seen["roof_pv"] == "stopped"
    tab.key("Tab", 9)
    assert tab.ask("document.activeElement.dataset.clears") == "1"
    tab.key("Enter", 13, "\r")
    assert entered(tab).steps[0].seen["roof_pv"] is None


def test_a_step_judged_by_hand_stays_judged_until_it_is_opened_again(tab: Browser) -> None:
    for name, word in SHEET.steps[3].expect.items():
        tab.click(seen(4, name, {"either": "stopped"}.get(word, word)))
    assert entered(tab).steps[3].passed is True
    tab.click('input[name="passed-4"][value="false"]')
    tab.click(seen(4, "generator_charger", "running"))
    assert entered(tab).steps[3].passed is False
    tab.click('input[name="passed-4"][value="null"]')
    assert entered(tab).steps[3].passed is True


UNNAMED = """
[...document.querySelectorAll('input, textarea, button')].filter(e =>
  !e.getAttribute('aria-label') && !(e.labels && e.labels.length && e.labels[0].textContent.trim())
  && !(e.tagName == 'BUTTON' && e.textContent.trim())).map(e => e.outerHTML)
"""
SMALL = """
[...document.querySelectorAll('.choices label, button, input[type=text], input[type=date]')].filter(e => {
  const b = e.getBoundingClientRect(); return b.height && b.height < 43.5 }).map(e => e.outerHTML)
"""
WIDE = """
[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 360.5).map(e => e.outerHTML)
"""


def test_on_a_small_phone_nothing_is_cut_off_and_everything_can_be_touched_and_has_a_name(tab: Browser) -> None:
    tab.call("Emulation.setDeviceMetricsOverride", width=360, height=740, deviceScaleFactor=2, mobile=True)
    assert tab.ask("document.documentElement.scrollWidth") == 360
    assert tab.ask(WIDE) == []
    assert tab.ask(SMALL) == []
    assert tab.ask(UNNAMED) == []
    tab.click("#next")
    assert tab.ask("document.activeElement.id") == "step-1"


def test_in_print_every_step_is_whole_on_one_page_and_nothing_of_the_screen_is_there(tab: Browser) -> None:
    sheets = [" ".join(p.extract_text().split()) for p in pypdf.PdfReader(io.BytesIO(tab.pdf())).pages]
    size = pypdf.PdfReader(io.BytesIO(tab.pdf())).pages[0].mediabox
    assert (round(float(size.width)), round(float(size.height))) in ((595, 842), (594, 841), (595, 841))
    assert "Cautions" in sheets[0]
    for number, step in enumerate(SHEET.steps, 1):
        (whole,) = [s for s in sheets if f"Step {number} of 5" in s]
        part = whole[whole.index(f"Step {number} of 5") :].split("Step ", 2)[1]
        for name, word in step.expect.items():
            assert name in part, (number, name)
            assert ("may be either" if word == "either" else f" {word} ") in part
        assert part.count("initials") == 1
        assert "FAIL" in part
    for words in sheets:
        assert "Test sheet: Alpine hut, revision 1, 5 steps" in words
        assert "certifies nothing" in words
        assert "not looked" not in words
        assert "stopwatch of step" not in words
        assert "Take the results" not in words
