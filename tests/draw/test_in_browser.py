"""No text overlaps another, leaves its box or the page, or is too small to print: measured in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from interlock.draw.everything import draw
from interlock.draw.faulttree import fault_tree
from interlock.draw.style import SMALL
from interlock.scheme.read import load, loads
from tests.draw.browser import Box, Page, Text, browser, measured
from tests.draw.fault_trees import sample_trees
from tests.support.bench import edited

RULES = Path(__file__).parents[2] / "rules"
SLACK = 0.6  # pixels: rounding of coordinates

NASTY = "<b>&\"'</b> \N{GREEK CAPITAL LETTER OMEGA} \N{CJK UNIFIED IDEOGRAPH-96FB} ]]> {} " + "long words " * 15

needs_browser = pytest.mark.skipif(browser() is None, reason="no chromium to measure with")


@cache
def pages(name: str) -> tuple[Page, ...]:
    if name == "fault trees":
        hut = load(RULES / "alpine_hut.yaml")
        trees = [drawing for tree in sample_trees() for drawing in fault_tree(hut, tree)]
        return tuple(measured({f"{i}_{d.name}": str(d.svg) for i, d in enumerate(trees)}))
    if name == "hostile":
        quoted = NASTY.replace("'", "''")
        scheme = loads(
            edited(
                ("Tool-crib battery bench", f"'{quoted}'"),
                ("why: an overheated pack needs eyes on it before it runs again", f"why: '{quoted}'"),
                ("lamp_circuit:  {flow: discharge}", f"lamp_circuit: {{flow: discharge, why: '{quoted}'}}"),
                ("stops_within: 100 ms}", f"stops_within: 100 ms, terminal: '{quoted}', wire: '{quoted}'}}"),
            )
        )
    else:
        scheme = load(RULES / f"{name}.yaml")
    return tuple(measured({d.name: str(d.svg) for d in draw(scheme, portable=True)}))


def inside(inner: Box, outer: Box) -> bool:
    return (
        inner[0] >= outer[0] - SLACK
        and inner[1] >= outer[1] - SLACK
        and inner[2] <= outer[2] + SLACK
        and inner[3] <= outer[3] + SLACK
    )


def shrunk(box: Box) -> Box:
    """A text's box without the empty room above and below its letters: lines may stand close."""
    height = box[3] - box[1]
    width = box[2] - box[0]
    if width < height:  # turned
        return (box[0] + width * 0.22, box[1], box[2] - width * 0.18, box[3])
    return (box[0], box[1] + height * 0.22, box[2], box[3] - height * 0.18)


def overlaps(page: Page) -> Iterator[tuple[Text, Text]]:
    texts = sorted(page.texts, key=lambda t: t.box[0])
    for i, one in enumerate(texts):
        a = shrunk(one.box)
        for other in texts[i + 1 :]:
            if other.box[0] > one.box[2] - SLACK:
                break
            b = shrunk(other.box)
            if min(a[2], b[2]) - max(a[0], b[0]) > SLACK and min(a[3], b[3]) - max(a[1], b[1]) > SLACK:
                yield one, other


SCHEMES = ["alpine_hut", "survey_launch", "hostile", "fault trees"]


@needs_browser
@pytest.mark.parametrize("name", SCHEMES)
def test_no_text_overlaps_another(name: str) -> None:
    found = [(page.name, a.words, b.words) for page in pages(name) for a, b in overlaps(page)]
    assert not found, f"{len(found)}: {found[:12]}"


@needs_browser
@pytest.mark.parametrize("name", SCHEMES)
def test_no_text_leaves_the_page(name: str) -> None:
    found = [
        (page.name, t.words, t.box, page.page)
        for page in pages(name)
        for t in page.texts
        if not inside(t.box, page.page)
    ]
    assert not found, found[:8]


@needs_browser
@pytest.mark.parametrize("name", SCHEMES)
def test_no_text_leaves_its_box(name: str) -> None:
    """In graphs and machines each group is a box with its text; in a fault tree one is, the claim."""
    found = [
        (page.name, t.words, t.box, t.frame)
        for page in pages(name)
        if page.name.startswith(("overview", "logic", "machine")) or "fault_tree" in page.name
        for t in page.texts
        if t.frame and not inside(shrunk(t.box), t.frame)
    ]
    assert not found, found[:8]


@needs_browser
@pytest.mark.parametrize("name", SCHEMES)
def test_no_text_is_too_small_to_print(name: str) -> None:
    found = [(page.name, t.words, t.size) for page in pages(name) for t in page.texts if t.size < SMALL - 0.5]
    assert not found, found[:8]


@needs_browser
def test_the_measure_sees_an_overlap_and_a_text_outside() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="100pt" height="50pt" viewBox="0 0 100 50">'
        '<text x="5" y="20" font-size="9">one text</text><text x="8" y="21" font-size="9">another</text>'
        '<text x="90" y="40" font-size="9">leaves the page</text></svg>'
    )
    page = measured({"probe": svg})[0]
    assert [(a.words, b.words) for a, b in overlaps(page)] == [("one text", "another")]
    assert [t.words for t in page.texts if not inside(t.box, page.page)] == ["leaves the page"]
