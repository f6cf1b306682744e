"""The card for the wall is one A5 side (210 mm by 148 mm, ISO 216) with every stop on it."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest

from interlock.draw.style import SMALL
from interlock.handbook.card import NEVER, card_page, draw_card, stops
from interlock.handbook.words import english
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from tests.draw.browser import Page, browser, measured
from tests.draw.test_in_browser import inside, overlaps
from tests.handbook.pages import ROOT, hostile, visited, written
from tests.support.bench import edited

needs_browser = pytest.mark.skipif(browser() is None, reason="no chromium to print with")
NAMES = ["alpine_hut", "survey_launch", "hostile", "crowded"]


def scheme(name: str) -> Scheme:
    if name == "hostile":
        return loads(hostile())
    if name == "crowded":
        rule = "  hot_stop:"
        more = "".join(
            f"  stop_{i}: {{watches: probe, trips: below {i - 29} degC for 2 s, clears: above 40 degC for 60 s, "
            f"blocks: sources, why: 'reason {i}'}}\n"
            for i in range(40)
        )
        return loads(edited((rule, more + rule)))
    return load(ROOT / "rules" / f"{name}.yaml")


def shown_on(name: str) -> Page:
    drawn = draw_card(scheme(name), english())
    return measured({name: str(drawn.svg)})[0]


@needs_browser
@pytest.mark.parametrize("name", NAMES)
def test_it_is_one_a5_side_and_each_text_has_its_room(name: str) -> None:
    with visited(card_page(scheme(name), english())) as tab:
        pages = pypdf.PdfReader(io.BytesIO(tab.pdf())).pages
        assert tab.complaints() == []
    assert [[round(float(s) / 72 * 25.4) for s in p.mediabox[2:]] for p in pages] == [[210, 148]]
    page = shown_on(name)
    assert [(a.words, b.words) for a, b in overlaps(page)] == []
    assert [t.words for t in page.texts if not inside(t.box, page.page)] == []
    assert [t.words for t in page.texts if t.size < SMALL - 0.5] == []


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch", "hostile"])
def test_every_stop_is_on_it_with_what_to_look_at_and_what_ends_it(name: str) -> None:
    own = scheme(name)
    listed = stops(own, english())
    assert [s.name for s in listed] == [r.name for r in own.rules.values() if r.blocks or r.alarm]
    text = str(draw_card(own, english()).svg)
    for stop in listed:
        assert f">{stop.name}</text>" in text
        assert "Look at" in stop.look
    assert english()("card.more", count=1)[-10:] not in text


def test_by_hand_what_the_cold_stop_of_the_hut_says() -> None:
    """From rules/alpine_hut.yaml: two probes on X1.1 and X1.3, below 3 degC for 2 s, above 7 degC for 60 s."""
    (cold,) = [s for s in stops(scheme("alpine_hut"), english()) if s.name == "cold_stop"]
    assert cold.means == "stops charging when coldest_reading is below 3 degC for 2 s."
    assert cold.look == "Look at floor_probe (X1.1), wall_probe (X1.3). Ends once above 7 degC for 1 min."
    (hot,) = [s for s in stops(scheme("alpine_hut"), english()) if s.name == "hot_lockout"]
    assert "look first, then press reset_button" in hot.look


def test_groups_that_stops_name_are_told_path_by_path() -> None:
    text = " ".join(t.words for t in shown_on("alpine_hut").texts)
    assert "comfort_loads is comfort_circuits, inverter_precharge, inverter." in " ".join(text.split())
    assert "more: see the handbook" not in text


def test_where_not_all_have_room_the_card_says_how_many_are_missing() -> None:
    own = scheme("crowded")
    text = str(draw_card(own, english()).svg)
    shown = [s.name for s in stops(own, english()) if f">{s.name}</text>" in text]
    missing = re.search(r">and (\d+) more: see the handbook<", text)
    assert missing
    assert len(shown) + int(missing[1]) == len(stops(own, english()))
    assert len(shown) >= 20


def test_what_never_to_do_and_whom_to_call_are_always_there() -> None:
    for name in NAMES:
        text = str(draw_card(scheme(name), english()).svg)
        for key in ("never", "call", "call_emergency"):
            assert f">{english()(f'card.{key}')}</text>" in text
        assert text.count("✕") == len(NEVER)


def test_the_command_writes_the_card_alone(tmp_path: Path) -> None:
    out = tmp_path / "card.html"
    said = written(str(ROOT / "rules" / "alpine_hut.yaml"), "--out", str(out), "--card")
    assert "A5" in said
    assert "cold_stop" in out.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["card.html"]
