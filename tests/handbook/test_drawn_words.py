"""What stands on drawings is the catalogue's: a handbook and a deck in another language have no English left but what
is the scheme's own."""

from __future__ import annotations

import ast
import io
import re
import tempfile
import zipfile
from collections.abc import Iterator
from functools import cache
from html import unescape
from pathlib import Path
from string import Formatter

import pytest
import yaml
from typer.testing import CliRunner

import interlock.draw
from interlock.cli.app import app
from interlock.draw.everything import draw
from interlock.draw.faulttree import BasicEvent, FaultTree, fault_tree
from interlock.draw.page import Drawing
from interlock.draw.said import SAYING, counted, drawn_in, said, texts
from interlock.handbook.words import WordsError, english, read, whole
from interlock.scheme.model import Scheme
from interlock.scheme.read import load
from interlock.scheme.words import Mode, Part
from tests.handbook.leftover import left_in, own_words
from tests.handbook.pages import ROOT
from tests.handbook.tongue import longer, marked, plain, tongue

MODULES = sorted(p for p in Path(interlock.draw.__file__).parent.glob("*.py") if p.name != "said.py")
SCHEMES = ("alpine_hut", "survey_launch")


def calls(module: Path) -> Iterator[ast.Call]:
    """Every call of what says a text in a module."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SAYING:
            yield node


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def test_the_catalogue_has_every_text_that_a_drawing_can_say_and_no_other() -> None:
    asked = {str(ast.literal_eval(text)) for m in MODULES for c in calls(m) for text in c.args[SAYING[c.func.id]]}  # type: ignore[attr-defined]
    own = Path(interlock.draw.__file__).parent / "said.py"
    asked |= {a.value for c in calls(own) for a in c.args if isinstance(a, ast.Constant) and isinstance(a.value, str)}
    written = yaml.safe_load(whole(english()))["on_drawings"]
    assert set(written) == asked
    assert {text for text, given in written.items() if text != given} == set()
    assert len(asked) > 200


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.stem)
def test_what_is_said_is_a_literal_with_just_the_fields_that_are_given(module: Path) -> None:
    for call in calls(module):
        assert isinstance(call.func, ast.Name)
        for text in call.args[SAYING[call.func.id]]:
            assert isinstance(text, ast.Constant), f"{module.name}:{text.lineno}"
            assert isinstance(text.value, str), f"{module.name}:{text.lineno}"
            given = {str(keyword.arg) for keyword in call.keywords}
            if call.func.id == "said":
                assert given == fields(text.value), f"{module.name}:{text.lineno}"
            elif call.func.id == "counted":
                assert fields(text.value) - {"count"} == given, f"{module.name}:{text.lineno}"
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):  # else a call would not be found by its name
        if isinstance(node, ast.ImportFrom) and node.module == "interlock.draw.said":
            assert [alias.name for alias in node.names if alias.asname] == []


def test_a_text_is_said_in_the_language_in_force_and_in_english_after_it() -> None:
    with drawn_in({"lost": "verloren", "sheet {number} of {count}": "{count} Blätter, dies ist {number}"}):
        assert said("lost") == "verloren"
        assert said("sheet {number} of {count}", number=1, count=2) == "2 Blätter, dies ist 1"
        assert said("either") == "either"  # what it lacks
        with drawn_in({}):
            assert said("lost") == "lost"
        assert said("lost") == "verloren"
    assert said("lost") == "lost"
    assert counted(1, "{count} fault", "{count} faults") == "1 fault"
    assert counted(1200, "{count} fault", "{count} faults") == "1,200 faults"


def test_the_texts_of_drawings_are_held_against_the_english_ones() -> None:
    tree = yaml.safe_load(whole(english()))
    drawn = tree["on_drawings"]
    del drawn["lost"]
    drawn["sheet {number} of {count}"] = "Blatt {number}"
    drawn["more"] = "mehr"
    with pytest.raises(WordsError) as caught:
        read(yaml.safe_dump(tree), english())
    assert str(caught.value).splitlines() == [
        "`on_drawings`: `lost` is missing",
        "`on_drawings`: `more` is no text of a drawing",
        "`on_drawings`: what stands for `sheet {number} of {count}` has the fields ['number'], expected "
        "['count', 'number']",
    ]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("[]", "expected the texts of drawings under `on_drawings`"),
        ("{lost: 3}", "`on_drawings`: `lost` or what stands for it is no text: put quotes around both"),
        ("{lost: on}", "is no text"),
        ("{lost: 'a {b'}", "a brace stands alone"),
    ],
)
def test_texts_of_drawings_that_cannot_be_used_are_refused_in_words(given: str, says: str) -> None:
    with pytest.raises(WordsError, match=re.escape(says)):
        read(f"language: de\nglossary: []\non_drawings: {given}", None)


def test_a_catalogue_of_another_language_is_read_back_as_it_was_written() -> None:
    assert read(whole(tongue()), english()) == tongue()


# --- drawings


def told_in(svg: str) -> Iterator[str]:
    """What a drawing says: titles and descriptions, then its texts, lines of one joined."""
    yield from (unescape(text) for text in re.findall(r"<(?:title|desc)[^>]*>(.*?)</(?:title|desc)>", svg, re.S))
    block = ""
    for text, _ in re.findall(r"<text[^>]*>(.*?)</text>|(</?(?:g|svg)\b)", svg, re.S):
        if not text:
            yield block
            block = ""
        else:
            block += unescape(text) if block.endswith(("_", "-", "/")) else f" {unescape(text)}"
    yield block


def trees(scheme: Scheme) -> list[Drawing]:
    """Fault trees with all that one can say; names and words are digits, for they are given."""
    names = [f"{n}.{n}" for n in range(90)]
    pairs = [(BasicEvent(names[i], f"{i}"), BasicEvent(names[(7 * i + 3) % 90], "0")) for i in range(90)]
    two_of_three = [(BasicEvent("1.1"), BasicEvent("2.2")), (BasicEvent("2.2"), BasicEvent("3.3"))]
    two_of_three.append((BasicEvent("1.1"), BasicEvent("3.3")))
    many = [
        tuple(BasicEvent(f"{a}.{b}") for a in (n, n * n % 997, n * 31 % 991) for b in (n % 7,)) for n in range(1, 900)
    ]
    found: list[Drawing] = []
    for number, (sets, order) in enumerate(
        [((), None), ((), 1), ((), 2), (((),), 1), (pairs, 2), (two_of_three, None), (many, 3), ([(pairs[0][0],)], 1)]
    ):
        found += fault_tree(scheme, FaultTree(f"{number}/{number}", "0", tuple(sets), order))
    return found


@pytest.mark.parametrize("name", SCHEMES)
def test_a_drawing_in_another_language_is_the_english_one_with_other_letters(name: str) -> None:
    """All drawings of a scheme. The made-up language is as wide as English: with its marks taken off each drawing has
    to be the English one, byte by byte; and what has no marks has to be the scheme's own."""
    file = ROOT / "rules" / f"{name}.yaml"
    scheme = load(file)
    before = [*draw(scheme, portable=True), *trees(scheme)]
    with tongue().drawn():
        other = [*draw(scheme, portable=True), *trees(scheme)]
    own = own_words(scheme, file)
    assert [d.name for d in other] == [d.name for d in before]
    strange = {}
    for drawing, in_english in zip(other, before, strict=True):
        assert plain(str(drawing.svg)) == plain(str(in_english.svg)), drawing.name
        strange[drawing.name] = {word for text in told_in(str(drawing.svg)) for word in left_in(text, own)}
    assert {drawn: words for drawn, words in strange.items() if words} == {}


Box = tuple[float, float, float, float]


def places(svg: str) -> Iterator[tuple[str, Box]]:
    """Each line of text with where its letters stand: left, top, right, bottom."""
    for given, text in re.findall(r"<text ([^>]*)>(.*?)</text>", svg, re.S):
        look = dict(re.findall(r'([\w-]+)="([^"]*)"', given))
        x, y, size, wide = (float(look[name]) for name in ("x", "y", "font-size", "textLength"))
        if "transform" in look:
            yield text, (x - 0.7 * size, y - wide, x + 0.15 * size, y)
        else:
            left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[look.get("text-anchor", "start")]
            yield text, (left, y - 0.7 * size, left + wide, y + 0.15 * size)


def overlaps(drawing: Drawing) -> list[tuple[str, str]]:
    """Texts that stand on each other, and those that stand out of the page."""
    page = (0.0, 0.0, drawing.svg.width, drawing.svg.height)
    placed = list(places(str(drawing.svg)))
    found = [
        (text, "out of the page") for text, box in placed if shared(box, page) != (box[2] - box[0], box[3] - box[1])
    ]
    for i, (text, box) in enumerate(placed):
        found += [(text, other) for other, there in placed[:i] if min(shared(box, there)) > 0.5]
    return found


def shared(one: Box, other: Box) -> tuple[float, float]:
    """How wide and how high what two boxes share is, negative where they are apart."""
    return min(one[2], other[2]) - max(one[0], other[0]), min(one[3], other[3]) - max(one[1], other[1])


@pytest.mark.parametrize("name", SCHEMES)
def test_a_longer_language_lays_out_without_a_text_on_another(name: str) -> None:
    scheme = load(ROOT / "rules" / f"{name}.yaml")
    before = [*draw(scheme, portable=True), *trees(scheme)]
    with drawn_in({text: longer(text) for text in texts()}):
        other = [*draw(scheme, portable=True), *trees(scheme)]
    letters = [sum(len(text) for d in drawings for text, _ in places(str(d.svg))) for drawings in (before, other)]
    assert letters[1] > 1.15 * letters[0]  # names are no longer than they were
    assert {d.name: found for d in (*before, *other) if (found := overlaps(d))} == {}
    word = r'<rect x="[^"]*" y="[^"]*" width="([\d.]+)"[^>]*/>\n<text [^>]*textLength="([\d.]+)"[^>]*>(\w+)</text>'
    cells = [cell for d in other if d.name.startswith("matrix") for cell in re.findall(word, str(d.svg))]
    assert {said for _, _, said in cells} == {longer("stops"), longer("starts")}
    assert [cell for cell in cells if float(cell[1]) > float(cell[0])] == []


# --- page and deck


# The failure table names parts and modes as a scheme file and the names of faults do.
IN_TABLE = {str(word) for words in (Part, Mode) for one in words for word in str(one).split("_")}


@cache
def made(name: str, command: str) -> bytes:
    """A page or a deck in the made-up language, by the command line."""
    with tempfile.TemporaryDirectory() as folder:
        words, out = Path(folder) / "other.yaml", Path(folder) / ("out.html" if command == "handbook" else "out.odp")
        words.write_text(whole(tongue()), encoding="utf-8")
        study = ROOT / "diagrams" / "studies" / f"{name}.json"
        scheme = ROOT / "rules" / f"{name}.yaml"
        given = [str(scheme), "--out", str(out), "--words", str(words), "--study", str(study), "--portable"]
        result = CliRunner().invoke(app, [command, *given])
        assert result.exit_code == 0, (result.output, result.exception)
        return out.read_bytes()


@pytest.mark.parametrize("name", SCHEMES)
def test_a_handbook_in_another_language_has_no_english_left(name: str) -> None:
    page = made(name, "handbook").decode()
    file = ROOT / "rules" / f"{name}.yaml"
    own = own_words(load(file), file)
    drawings = re.findall(r"<svg\b.*?</svg>", page, re.S)
    body = re.sub(r"<(svg|style|script)\b.*?</\1>", " ", page, flags=re.S)
    attributes = re.findall(r'\s(?:aria-label|alt|title|placeholder)="([^"]*)"', page)
    assert len(drawings) > 40
    assert len(attributes) > 40
    on_drawings = {w for svg in drawings for text in told_in(svg) for w in left_in(text, own)}
    in_attributes = {w for text in attributes for w in left_in(unescape(text), own)}
    assert on_drawings | in_attributes == set()
    digest = re.escape(re.search(r"[0-9a-f]{12}(?=…)", body)[0])  # type: ignore[index]
    body = re.sub(r"</?(?:b|wbr|small)\b[^>]*>", "", re.sub(digest, "", body))
    assert {w for text in re.split(r"<[^>]*>", body) for w in left_in(unescape(text), own)} <= IN_TABLE


@pytest.mark.parametrize("name", SCHEMES)
def test_a_deck_in_another_language_has_no_english_left(name: str) -> None:
    content = zipfile.ZipFile(io.BytesIO(made(name, "slides"))).read("content.xml").decode()
    file = ROOT / "rules" / f"{name}.yaml"
    own = own_words(load(file), file)
    content = re.sub(r"[0-9a-f]{12}(?=…)", "", re.sub(r"</?text:(?:span|s)\b[^>]*>", "", content))
    told = [unescape(text) for text in re.split(r"<[^>]*>", content)]
    assert sum(marked("stops") in text for text in told) > 10
    # A name broken over two lines is two texts here, and so is what its author wrote.
    halves = {half for name in own if re.fullmatch(r"[\w./~]+", name) for half in re.findall(r"[A-Za-z]+", name)}
    wrote = [text for text in own if text.count(" ") > 2]
    left = {line for text in told if left_in(text, own) - halves for line in re.findall(r"[A-Za-z][A-Za-z ;,']+", text)}
    assert {line for line in left if line.count(" ") < 2 or not any(line in text for text in wrote)} == set()
