"""The file is what OpenDocument 1.2 says it has to be, and the same bytes every time."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest
from odf import grammar
from odf.opendocument import load

from interlock.slides.frame import MIMETYPE
from tests.slides.decks import DRAW, FO, STYLE, SVG, URN, made, part, slides

NAMES = ["bench", "hostile"]
FILES = ["content.xml", "styles.xml", "meta.xml"]
LOEXT = "{urn:org:documentfoundation:names:experimental:office:xmlns:loext:1.0}"


def key(name: str) -> tuple[str, str]:
    """`{urn}name` as odfpy's tables have it."""
    space, _, local = name.removeprefix("{").partition("}")
    return space, local


def faults(element: ElementTree.Element) -> Iterator[str]:
    """What is wrong with an element and all in it by the schema of OpenDocument 1.2 (OASIS, 29 September 2011: the
    Relax-NG schema from which odfpy's tables were generated): an element, a text or an attribute where none may be, an
    attribute that has to be and is not. Foreign elements are allowed there (part 1, 2.2.2), and passed over."""
    own = key(element.tag)
    children, required = grammar.allowed_children[own], grammar.required_attributes.get(own) or ()
    attributes = grammar.allowed_attributes.get(own)
    given = [key(name) for name in element.attrib if not name.startswith(LOEXT)]
    yield from (f"{own[1]}: no {name[1]}" for name in required if name not in given)
    if attributes is not None:
        yield from (f"{own[1]}: {name[1]} may not be" for name in given if name not in attributes)
    if (element.text or "").strip() and own not in grammar.allows_text:
        yield f"{own[1]}: text {element.text!r}"
    for child in element:
        if child.tag.startswith(LOEXT):
            continue
        if children is not None and key(child.tag) not in children:
            yield f"{own[1]}: {key(child.tag)[1]} may not stand in it"
        yield from faults(child)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("file", FILES)
def test_every_element_and_attribute_stands_where_the_schema_has_it(name: str, file: str) -> None:
    assert list(faults(part(made(name), file))) == []


def test_the_check_against_the_schema_sees_what_does_not_belong() -> None:
    root = part(made("bench"), "content.xml")
    box = root.find(f".//{DRAW}text-box")
    rect = root.find(f".//{DRAW}rect")
    assert box is not None
    assert rect is not None
    ElementTree.SubElement(box, f"{DRAW}page")
    rect.set(f"{DRAW}flavour", "sweet")
    rect.text = "words"
    page = root.find(f".//{DRAW}page")
    assert page is not None
    del page.attrib[f"{DRAW}master-page-name"]
    assert sorted(set(faults(root))) == [
        "page: no master-page-name",
        "rect: flavour may not be",
        "rect: text 'words'",
        "text-box: page may not stand in it",
    ]


@pytest.mark.parametrize("name", NAMES)
def test_the_package_begins_with_its_media_type_and_bears_no_time(name: str) -> None:
    # ISO/IEC 26300-3:2015 (OpenDocument 1.2 part 3), 3.3: the first file, neither packed nor encrypted, and no extra
    # field in its header, so that the media type stands at byte 38
    deck = made(name)
    assert deck[30:38] == b"mimetype"
    assert deck[38 : 38 + len(MIMETYPE)] == MIMETYPE.encode()
    with zipfile.ZipFile(io.BytesIO(deck)) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    listed = part(deck, "META-INF/manifest.xml")
    space = f"{{{URN}:manifest:1.0}}"
    paths = [entry.get(f"{space}full-path") for entry in listed]
    # 3.2: every file but `mimetype` and those of META-INF, and the package itself
    assert paths == ["/", *(n for n in names if n != "mimetype" and not n.startswith("META-INF/"))]
    assert listed[0].get(f"{space}media-type") == MIMETYPE


def test_the_same_scheme_gives_the_same_bytes() -> None:
    first = made("bench")
    made.cache_clear()
    assert made("bench") == first


@pytest.mark.parametrize("name", NAMES)
def test_another_reader_of_the_format_finds_all_slides_with_their_titles(name: str) -> None:
    deck = made(name)
    found = load(io.BytesIO(deck))
    pages = found.presentation.childNodes
    assert len(pages) == len(slides(deck))
    titles = [str(page.childNodes[0]) for page in pages]
    assert all(titles)
    assert any("Cautions" in title for title in titles)


@pytest.mark.parametrize("name", NAMES)
def test_every_style_that_is_named_is_there_and_every_one_that_is_there_is_used(name: str) -> None:
    content, styles = part(made(name), "content.xml"), part(made(name), "styles.xml")
    kinds = ("style-name", "stroke-dash", "fill-hatch-name", "master-page-name", "page-layout-name")
    named = {
        value
        for root in (content, styles)
        for element in root.iter()
        for attribute, value in element.items()
        if key(attribute)[1] in kinds
    }
    there = {
        value
        for root in (content, styles)
        for element in root.iter()
        if key(element.tag)[1] != "font-face"
        for attribute, value in element.items()
        if attribute in (f"{STYLE}name", f"{DRAW}name")
        and key(element.tag)[1] in ("style", "list-style", "stroke-dash", "hatch", "master-page", "page-layout")
    }
    assert named <= there
    own = {s.get(f"{STYLE}name") for s in content.iter(f"{STYLE}style")}
    assert own <= named


def test_no_length_is_without_a_unit_or_below_nothing() -> None:
    for element in part(made("bench"), "content.xml").iter():
        for name in (f"{SVG}width", f"{SVG}height", f"{FO}font-size"):
            value = element.get(name)
            if value and not value.endswith("%"):
                assert value.endswith("pt")
                assert float(value.removesuffix("pt")) > 0
