"""What stands on the slides: all that the handbook says, legible, nothing cut off, nothing over anything else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from itertools import combinations
from xml.etree import ElementTree

import pytest

from interlock.draw.everything import DrawingKind, draw
from interlock.draw.metrics import text_width, wrapped
from interlock.draw.page import Drawing
from interlock.handbook.card import CALLS, NEVER, stops
from interlock.handbook.words import english
from interlock.scheme.read import loads
from interlock.slides.flow import LEGIBLE, PAPER, WINDOW, parts
from interlock.slides.frame import FOOT_SIZE, TITLE_SIZE
from interlock.slides.odp import ASCENT, HEIGHT, LINE, SLACK, WIDTH
from interlock.slides.shapes import Box, part_of, things_of, words_in
from tests.handbook.pages import NASTY
from tests.slides.decks import DRAW, FO, PRESENTATION, STYLE, SVG, TABLE, TEXT, made, part, slides, words
from tests.support.bench import BENCH

NAMES = ["bench", "hostile"]
LEAST = 18.0  # points, of sentences
FOOT = 514.0  # where a slide's foot begins


def points(element: ElementTree.Element, name: str) -> float:
    """A length that is written in points."""
    return float((element.get(f"{SVG}{name}") or "0pt").removesuffix("pt"))


def styles(deck: bytes) -> dict[str, tuple[float, bool, str, float]]:
    """Of each style of paragraphs: size, whether bold, how its lines are set, the room above it."""
    found = {}
    for style in part(deck, "content.xml").iter(f"{STYLE}style"):
        look, set_as = style.find(f"{STYLE}text-properties"), style.find(f"{STYLE}paragraph-properties")
        if style.get(f"{STYLE}family") == "paragraph" and look is not None and set_as is not None:
            found[style.get(f"{STYLE}name") or ""] = (
                float((look.get(f"{FO}font-size") or "").removesuffix("pt")),
                look.get(f"{FO}font-weight") == "bold",
                set_as.get(f"{FO}text-align") or "start",
                float((set_as.get(f"{FO}margin-top") or "0pt").removesuffix("pt")),
            )
    return found


def frames(slide: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """The frames on a slide itself, not those of its notes."""
    notes = set(slide.find(f"{PRESENTATION}notes") or ())
    yield from (frame for frame in slide.iter(f"{DRAW}frame") if frame not in notes)


def boxes(slide: ElementTree.Element, looks: dict[str, tuple[float, bool, str, float]]) -> Iterator[tuple[Box, str]]:
    """What each text on a slide covers, worked out once more from its frame and its style."""
    for frame in frames(slide):
        paragraphs = list(frame.iter(f"{TEXT}p"))
        x, y, wide, high = (points(frame, n) for n in ("x", "y", "width", "height"))
        said = " ".join(words(frame))
        if frame.find(f"{TABLE}table") is not None or frame.get(f"{PRESENTATION}class"):
            yield (x, y, x + wide, y + high), said
            continue
        looked = [looks[p.get(f"{TEXT}style-name") or ""] for p in paragraphs]
        size, bold, align, _ = looked[0]
        if high > LINE * size + 1:
            used = sum(
                len(wrapped(text, wide - 22, look[0], bold=look[1])) * look[0] * LINE + look[3]
                for text, look in zip(words(frame), looked, strict=True)
            )
            assert used <= high + 1, f"{said[:80]!r} takes {used} of {high} points"
            yield (x, y, x + wide, y + used), said
            continue
        measured = text_width(said, size, bold=bold)
        assert measured <= wide, said
        if turned := re.search(r"translate \((\S+)pt (\S+)pt\)", frame.get(f"{DRAW}transform") or ""):
            x, y = float(turned[1]), float(turned[2])
            start = {"start": 0.0, "center": (wide - measured) / 2, "end": wide - measured}[align]
            yield (x, y - start - measured, x + size, y - start), said
        else:
            start = {"start": 0.0, "center": (wide - measured) / 2, "end": wide - measured}[align]
            yield (x + start, y + 0.1 * size, x + start + measured, y + (ASCENT + 0.1) * size), said


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_cut_off_and_no_text_stands_over_another(name: str) -> None:
    deck = made(name)
    looks = styles(deck)
    for number, slide in enumerate(slides(deck), 1):
        found = list(boxes(slide, looks))
        for (left, top, right, bottom), said in found:
            assert left >= 0, (number, said)
            assert top >= 0, (number, said)
            assert right <= WIDTH, (number, said)
            assert bottom <= FOOT, (number, said)
        for (a, one), (b, other) in combinations(found, 2):
            across, down = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            assert not (across > 1 and down > 1), (number, one, other)


@pytest.mark.parametrize("name", NAMES)
def test_sentences_are_legible_from_the_back_of_a_room(name: str) -> None:
    looks = styles(made(name))
    seen = 0
    for slide in slides(made(name)):
        for frame in frames(slide):
            wraps = frame.find(f"{TABLE}table") is not None or points(frame, "width") == WIDTH - 72
            for paragraph in frame.iter(f"{TEXT}p"):
                style = paragraph.get(f"{TEXT}style-name")
                if wraps and style:
                    assert looks[style][0] >= LEAST
                    seen += 1
    assert seen > 300
    assert TITLE_SIZE > LEAST > FOOT_SIZE


def whole(drawing: Drawing) -> list[str]:
    return sorted(w.text for w in words_in(things_of(drawing.svg)))


@pytest.mark.parametrize("kind", [DrawingKind.OVERVIEW, DrawingKind.WIRING, DrawingKind.LADDER])
def test_the_enlarged_parts_of_a_drawing_have_all_its_words_between_them(kind: DrawingKind) -> None:
    for drawing in draw(loads(BENCH), (kind,), portable=True, paper=PAPER):
        things = things_of(drawing.svg)
        windows = parts(things)
        seen = {w for window in windows for w in words_in(part_of(things, window))}
        assert seen == set(words_in(things))
        for window in windows:
            assert window[2] - window[0] <= WINDOW[0] + 2
            for thing in part_of(things, window):
                left, top, right, bottom = thing.around
                assert left >= window[0] - 0.01
                assert top >= window[1] - 0.01
                assert right <= window[2] + 0.01
                assert bottom <= window[3] + 0.01


def test_every_word_of_a_drawing_is_on_a_slide_at_a_legible_size() -> None:
    deck = made("bench")
    looks = styles(deck)
    largest: dict[str, float] = {}
    for slide in slides(deck):
        for frame in frames(slide):
            for paragraph in frame.iter(f"{TEXT}p"):
                said, style = " ".join("".join(paragraph.itertext()).split()), paragraph.get(f"{TEXT}style-name")
                if style:
                    largest[said] = max(largest.get(said, 0), looks[style][0])
    kinds = tuple(k for k in DrawingKind if k not in (DrawingKind.LOGIC, DrawingKind.MACHINE))
    for drawing in draw(loads(BENCH), kinds, portable=True, paper=PAPER):
        for text in whole(drawing):
            assert largest[" ".join(text.split())] >= LEGIBLE - 1, (drawing.name, text)
    for drawing in draw(loads(BENCH), (DrawingKind.MACHINE,), portable=True):
        for text in whole(drawing):
            assert " ".join(text.split()) in largest, (drawing.name, text)


def handbook_sentences() -> list[str]:
    """Paragraphs, points, cells and meanings of the handbook, but for the bench, which runs in a page only, the
    questions' boxes to tick, the terms, which are each one's own, what to look at when something has stopped, which is
    for whoever stands before it, and the table of all faults, of which the deck says where it is."""
    page = made("bench", "handbook").decode()
    page = re.sub(r"<(script|style|svg|nav)\b.*?</\1>", " ", page, flags=re.S)
    page = re.sub(
        r'<section id="(bench|exercises|glossary|stopped)".*?</section>(?=\s*(<section|</main))', " ", page, flags=re.S
    )
    page = re.sub(r'<p class="(try|back)">.*?</p>', " ", page)
    page = re.sub(r'<table class="faults">.*?</table>', " ", page, flags=re.S)
    found = re.findall(r"<(p|li|dd|td|h3|h4)\b[^>]*>(.*?)</\1>", page, flags=re.S)
    texts = [unescape(re.sub(r"<[^>]*>", "", inner.replace("<wbr>", ""))) for _, inner in found]
    return [" ".join(text.split()) for text in texts if text.strip()]


def test_every_sentence_of_the_handbook_is_in_the_deck() -> None:
    deck = made("bench")
    said = " ".join(" ".join(words(slide)) for slide in slides(deck))
    said += " " + " ".join(words(part(deck, "styles.xml")))
    own = english()
    only_there = {  # what speaks of the page itself
        own("page.certifies"),
        own("card.part").replace("`", ""), own("cases.steps"),
        own("about.reads", example="cell_full"), own("faults.table"),
        own("card.never"),
        *(own(f"drawings.{kind}_title") for kind in ("overview", "wiring", "matrix", "ladder")),
    }  # fmt: skip
    missing = [text for text in handbook_sentences() if text not in said and text not in only_there]
    assert missing == []
    assert len(handbook_sentences()) > 150


def test_the_terms_of_the_trade_that_the_deck_uses_are_explained_at_its_end() -> None:
    *_, last = slides(made("bench"))
    said = [text for slide in slides(made("bench")) for text in words(slide)]
    explained = [term.name for term in english().terms if f"{term.name}: {term.means}" in said]
    assert {"claim", "exposure", "margin", "rule"} <= set(explained)
    assert "alternator" not in explained
    assert next(words(last)).startswith(english()("terms.title"))


def test_a_sentence_that_is_not_said_is_missed() -> None:
    said = " ".join(" ".join(words(slide)) for slide in slides(made("bench"))[1:])
    assert [text for text in handbook_sentences() if text not in said]


def test_the_card_is_there_stop_by_stop() -> None:
    said = [text for slide in slides(made("bench")) for text in words(slide)]
    scheme, own = loads(BENCH), english()
    listed = stops(scheme, own)
    assert len(listed) == 4
    for stop in listed:
        assert f"{stop.name}: {stop.means} {stop.said(why=True)}" in said
    assert {own(f"card.{key}") for key in (*NEVER, *CALLS)} <= set(said)


def test_texts_that_would_break_markup_are_there_as_they_were_written() -> None:
    said = " ".join(" ".join(words(slide)) for slide in slides(made("hostile")))
    assert " ".join(NASTY.split()) in said


def test_a_title_without_room_is_cut_and_the_notes_have_it_whole() -> None:
    first = slides(made("hostile"))[0]
    title, *_ = words(first)
    assert title.endswith("…")
    assert len(wrapped(title, 888, TITLE_SIZE, bold=True)) <= 2
    notes = first.find(f"{PRESENTATION}notes")
    assert notes is not None
    assert " ".join(NASTY.split()) in " ".join(words(notes))


def test_each_question_is_followed_by_its_answer_on_a_slide_of_its_own() -> None:
    own = english()
    titles = [next(words(slide)) for slide in slides(made("bench"))]
    asked = [i for i, title in enumerate(titles) if title.startswith("Question ")]
    assert len(asked) >= 10
    for number, at in enumerate(asked, 1):
        assert titles[at] == own("slides.question", number=number)
        assert titles[at + 1] == own("slides.answer", number=number)


def test_notes_have_the_reasons_and_a_drawing_in_words() -> None:
    scheme = loads(BENCH)
    notes = {}
    for slide in slides(made("bench")):
        element = slide.find(f"{PRESENTATION}notes")
        assert element is not None
        notes[next(words(slide))] = " ".join(words(element))
    assert scheme.rules["hot_stop"].why in notes["hot_stop (evaluated by board)"]
    assert "stopped by" in notes["Overview"]


def test_a_slide_wider_or_higher_than_another_program_shows_is_none() -> None:
    layout = part(made("bench"), "styles.xml").find(f".//{STYLE}page-layout-properties")
    assert layout is not None
    assert (layout.get(f"{FO}page-width"), layout.get(f"{FO}page-height")) == (f"{WIDTH:.0f}pt", f"{HEIGHT:.0f}pt")
    assert SLACK[0] > 0
