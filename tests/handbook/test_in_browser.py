"""The handbook in a real browser: nothing is fetched, nothing complains, all can read it, a phone and a printer too."""

from __future__ import annotations

import io

import pypdf
import pytest

from tests.conftest import Shown
from tests.draw.browser import browser
from tests.handbook.pages import AXE, PHONE, handbook, open_everything, overflow, violations, visited

NAMES = ["alpine_hut", "survey_launch", "hostile"]
MOST = 2_000_000  # bytes
WHOLE = "<!doctype html><html lang='en'><title>A page</title><body><main><h1>A page</h1>{}</main>"

PAINTED = """new Promise(done => new PerformanceObserver(list => done(list.getEntries()[0].startTime))
  .observe({type: 'paint', buffered: true}))"""

pytestmark = pytest.mark.skipif(browser() is None, reason="no chromium to open the page with")
needs_axe = pytest.mark.skipif(not AXE, reason="INTERLOCK_AXE does not say where axe.min.js of npm's axe-core is")


@needs_axe
@pytest.mark.parametrize("name", NAMES)
def test_nothing_complains_nothing_leaves_the_page_and_everyone_can_use_it(name: str) -> None:
    with visited(handbook(name)) as tab:
        open_everything(tab)
        assert violations(tab) == []
        assert tab.complaints() == []
        asked = tab.requests()
        assert len(asked) == 1, asked
        assert asked[0].startswith("file:")


@pytest.mark.parametrize("name", NAMES)
def test_it_is_small_and_soon_there(name: str, shown: Shown) -> None:
    page = handbook(name)
    assert len(page.encode()) < MOST
    with visited(page) as tab:
        paint = tab.ask(PAINTED)
    shown("handbooks", f"{name}: {len(page.encode()) / 1e6:.2f} MB, first paint after {paint:.0f} ms")


@pytest.mark.parametrize("name", NAMES)
def test_on_a_phone_nothing_has_to_be_moved_sideways_but_drawings(name: str) -> None:
    with visited(handbook(name), PHONE) as tab:
        open_everything(tab)
        assert overflow(tab) == []


@pytest.mark.parametrize("name", NAMES)
def test_it_prints_on_a4_with_its_foot_and_its_cautions_first(name: str) -> None:
    with visited(handbook(name)) as tab:
        pages = pypdf.PdfReader(io.BytesIO(tab.pdf())).pages
    sizes = [tuple(round(float(s) / 72 * 25.4) for s in p.mediabox[2:]) for p in pages]
    assert set(sizes) == {(210, 297), (297, 210), (210, 148)}
    assert sizes.count((210, 148)) == 1, "the card"
    first = pages[0].extract_text()
    assert "Fault current" in first
    assert "this page certifies nothing" in first
    if name == "survey_launch":
        said = " ".join(" ".join(page.extract_text() for page in pages).split())
        assert said.count("Step 1:") == 11, "the steps of each case, which are folded on the screen"
        assert said.count("Local effect") > 3, "the table of all faults, its head on each page"
        assert "It is not " not in said, "no question's answer is given away"


def test_what_is_folded_prints_without_the_script_and_without_the_style() -> None:
    """A browser may know only one of both ways."""
    steps = []
    for gone in ('addEventListener("beforeprint"', "::details-content"):
        page = handbook("hostile")
        assert gone in page
        with visited(page.replace(gone, gone.replace("before", "never-").replace("details", "no-such"))) as tab:
            said = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(tab.pdf())).pages)
            assert tab.ask("[...document.querySelectorAll('details:not(.set)')].some(d => d.open)") is False
        steps.append(said.count("Step 1:"))
    assert steps == [1, 1]


def test_one_set_of_questions_at_a_time_is_open() -> None:
    with visited(handbook("hostile"), PHONE) as tab:
        shown = "[...document.querySelectorAll('.set')].map(d => d.open)"
        assert tab.ask(shown) == [True, False, False, False]
        tab.click(".set:nth-of-type(3) > summary")
        assert tab.ask(shown) == [False, False, True, False]
        names = tab.ask("[...new Set([...document.querySelectorAll('.exercise input')].map(i => i.name))]")
        assert len({name.split("-")[1] for name in names}) == 4, "an answer ticked in one set is none in another"


def test_all_of_it_is_reached_by_keys() -> None:
    """The first key leads past the contents; drawings that are wider than a phone can be reached and scrolled."""
    with visited(handbook("survey_launch"), PHONE) as tab:
        tab.key("Tab", 9)
        assert tab.ask("document.activeElement.className") == "skip"
        tab.key("Enter", 13, "\r")
        assert tab.ask("location.hash") == "#about"
        wide = tab.ask("document.querySelectorAll('figure').length")
        assert tab.ask("[...document.querySelectorAll('figure')].every(f => f.tabIndex === 0 && f.ariaLabel)")
        assert wide > 30
        tab.ask("document.querySelector('#maps figure').focus()")
        assert tab.ask("document.activeElement.closest('section').id") == "maps"
        before = tab.ask("document.activeElement.scrollLeft")
        for _ in range(3):
            tab.key("ArrowRight", 39)
        moved = "new Promise(r => setTimeout(() => r(document.activeElement.scrollLeft), 400))"
        assert tab.ask(moved) > before


@needs_axe
def test_the_checks_see_what_they_look_for() -> None:
    bad = WHOLE.format("<img src='https://example.invalid/x.png'><p style='color:#bbb'>faint</p>")
    with visited(bad) as tab:
        found = violations(tab)
        assert any(v.startswith("image-alt") for v in found)
        assert any(v.startswith("color-contrast") for v in found)
        assert any("example.invalid" in url for url in tab.requests())
    with visited(WHOLE.format("<p style='width:900px'>wide</p><script>undefined_name()</script>"), PHONE) as tab:
        assert overflow(tab)
        assert tab.complaints()
