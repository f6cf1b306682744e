"""Drawings inside the page: each with ids of its own, a name for screen readers, as wide as there is room."""

from __future__ import annotations

import re
from collections.abc import Sequence

from interlock.draw.machine import STRIP_FOOT, STRIP_HEAD
from interlock.draw.page import Drawing
from interlock.draw.style import PENS, Stroke
from interlock.draw.svg import number, pen_attributes
from interlock.handbook.html import Html, plain
from interlock.handbook.words import Catalogue

_HEAD = re.compile(r"<\?xml[^>]*\?>\s*")
_ID = re.compile(r'(?<=\sid=")([^"]*)(?=")')
_LINK = re.compile(r"<a href=[^>]*>|</a>")
_SIZE = re.compile(r'(<svg [^>]*?) width="[\d.]+pt" height="[\d.]+pt"')
_ADJUST = ' lengthAdjust="spacingAndGlyphs"'  # the page's fonts have the widths that were measured: spacing will do
_PENS = {pen_attributes(stroke): f"pen-{stroke}" for stroke in Stroke}
_UNSAFE = re.compile(r"[^A-Za-z0-9_-]")


def inline_svg(drawing: Drawing) -> Html:
    """A drawing as markup: no declaration, no links to files, ids that stand once on a page."""
    prefix = _UNSAFE.sub("-", drawing.name) + "-"
    text = _LINK.sub("", _HEAD.sub("", str(drawing.svg)))
    text = _ID.sub(lambda found: prefix + _UNSAFE.sub("-", found[1]), text)
    text = re.sub(r"url\(#([^)]*)\)", lambda found: f"url(#{prefix}{_UNSAFE.sub('-', found[1])})", text)
    text = text.replace('aria-labelledby="title desc"', f'aria-labelledby="{prefix}title {prefix}desc"', 1)
    for attributes, name in _PENS.items():
        text = text.replace(f" {attributes}/>", f' class="{name}"/>')
    return Html(_SIZE.sub(r"\1", text.replace(_ADJUST, ""), count=1))


def pens() -> str:
    """The kinds of line as a style, once for all drawings of a page."""
    return "".join(
        f".pen-{stroke} {{ stroke: {pen.colour}; stroke-width: {number(pen.width)}"
        + (f"; stroke-dasharray: {pen.dash}" if pen.dash else "")
        + " }\n"
        for stroke, pen in PENS.items()
    )


def strip(words: Catalogue, drawing: Drawing) -> Html:
    """A machine without its head and foot, which the page around it says already."""
    svg = drawing.svg
    whole = f'viewBox="0 0 {number(svg.width)} {number(svg.height)}"'
    inner = svg.height - STRIP_HEAD - STRIP_FOOT
    cut = f'viewBox="0 {number(STRIP_HEAD)} {number(svg.width)} {number(inner)}"'
    return Html(figure(words, drawing, kind="strip").replace(whole, cut, 1))


def figure(words: Catalogue, drawing: Drawing, sheet: int = 1, sheets: int = 1, kind: str = "sheet") -> Html:
    """A drawing that can be scrolled, by keys too, where the window is narrower than its words are legible."""
    name = (
        words("page.drawing", title=drawing.title)
        if sheets == 1
        else words("page.drawing_sheet", title=drawing.title, sheet=sheet, sheets=sheets)
    )
    return Html(
        f'<figure class="{kind}" tabindex="0" role="group" aria-label="{plain(name)}">{inline_svg(drawing)}</figure>\n'
    )


def figures(words: Catalogue, drawings: Sequence[Drawing], kind: str = "sheet") -> Html:
    """All sheets of a drawing."""
    return Html("".join(figure(words, d, i, len(drawings), kind) for i, d in enumerate(drawings, 1)))
