"""An OpenDocument presentation being written: text boxes and shapes on slides, always the same bytes.

OpenDocument 1.2 (ISO/IEC 26300-1:2015 the schema, -3 the package). Whatever is written here is text or a shape that any
reader of the format can edit; nothing is a picture. No time, no user and no path goes into the file.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from interlock.draw.metrics import text_width
from interlock.draw.svg import clean, number
from interlock.slides.frame import FONT, MIMETYPE, NAMESPACES, POINTS, manifest, meta, styles

Align = Literal["start", "center", "end"]
ASCENT = 0.905  # of the font's size: Arial and the fonts with its widths (head of their `hhea` table; from memory)
LINE = 1.15  # from one line to the next: ascent, descent and line gap of the same fonts
# Of a line of text on either side, so that no other font's width breaks it: a share of its width, and points.
SLACK = 0.08, 3.0

WIDTH, HEIGHT = 960.0, 540.0  # of a slide, in points: 16 by 9


@dataclass(frozen=True, slots=True)
class Pen:
    """A line's colour, width and dash (lengths of strokes and gaps), in points; `Pen("")` draws nothing."""

    colour: str
    width: float = 1.0
    dash: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Fill:
    """A colour, "" for none; `hatch` the name of a hatching over it; `opacity` from 0 to 1."""

    colour: str
    hatch: str = ""
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class Print:
    """How a text looks: its size in points, whether it is bold, its colour, where its lines are set."""

    size: float
    bold: bool = False
    colour: str = "#000000"
    align: Align = "start"


NOTHING, CLEAR = Pen(""), Fill("")
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Para:
    """A paragraph of a text box; `lead`: bold words that it begins with; `bullet`: a point of a list; `space`: points
    above it."""

    text: str
    lead: str = ""
    bold: bool = False
    bullet: bool = False
    space: float = 0.0


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table."""

    cells: tuple[str, ...]
    height: float
    bold: bool = False


@dataclass(slots=True)
class Styles:
    """The styles of a deck's shapes and texts, each written once, named in the order of their first use."""

    _names: dict[tuple[str, str], str] = field(default_factory=dict)
    _made: list[str] = field(default_factory=list)
    dashes: dict[tuple[float, float], str] = field(default_factory=dict)

    def shape(self, pen: Pen, fill: Fill) -> str:
        """The style of a shape."""
        if pen.colour:
            said = f'svg:stroke-color="{pen.colour}" svg:stroke-width="{number(pen.width)}pt"'
            if pen.dash:
                name = self.dashes.setdefault(pen.dash, f"dash{len(self.dashes) + 1}")
                said += f' draw:stroke="dash" draw:stroke-dash="{name}"'
            else:
                said += ' draw:stroke="solid"'
        else:
            said = 'draw:stroke="none"'
        if fill.hatch:
            said += (
                f' draw:fill="hatch" draw:fill-hatch-name="{fill.hatch}" draw:fill-hatch-solid="true" '
                f'draw:fill-color="{fill.colour}"'
            )
        elif fill.colour:
            said += f' draw:fill="solid" draw:fill-color="{fill.colour}"'
            if fill.opacity < 1:
                said += f' draw:opacity="{round(fill.opacity * 100)}%"'
        else:
            said += ' draw:fill="none"'
        return self._named("graphic", "gr", f"<style:graphic-properties {said}/>")

    def box(self, *, wraps: bool) -> str:
        """The style of a frame that holds text and nothing else."""
        wrap = "wrap" if wraps else "no-wrap"
        return self._named(
            "graphic",
            "gr",
            '<style:graphic-properties draw:stroke="none" draw:fill="none" draw:auto-grow-height="false" '
            'draw:auto-grow-width="false" draw:fit-to-size="false" fo:padding-top="0pt" fo:padding-bottom="0pt" '
            f'fo:padding-left="0pt" fo:padding-right="0pt" fo:wrap-option="{wrap}"/>',
        )

    def paragraph(self, look: Print, *, space: float = 0.0) -> str:
        """The style of a paragraph."""
        weight = "bold" if look.bold else "normal"
        above = f' fo:margin-top="{number(space)}pt"' if space else ""
        return self._named(
            "paragraph",
            "P",
            f'<style:paragraph-properties fo:text-align="{look.align}"{above}/>'
            f'<style:text-properties fo:font-size="{number(look.size)}pt" fo:font-weight="{weight}" '
            f'fo:color="{look.colour}"/>',
        )

    def measure(self, family: Literal["table-column", "table-row"], prefix: str, side: str, length: float) -> str:
        """The style of a column's width or a row's height."""
        key = "column-width" if side == "width" else "row-height"
        return self._named(family, prefix, f'<style:{family}-properties style:{key}="{number(length)}pt"/>')

    def _named(self, family: str, prefix: str, properties: str) -> str:
        key = family, properties
        if key not in self._names:
            name = f"{prefix}{sum(f == family for f, _ in self._names) + 1}"
            self._names[key] = name
            self._made.append(f'<style:style style:name="{name}" style:family="{family}">{properties}</style:style>')
        return self._names[key]

    def __str__(self) -> str:
        return "".join(self._made)


@dataclass(slots=True)
class Slide:
    """One slide: its title, what stands on it as markup, and what its notes say."""

    title: str
    styles: Styles
    notes: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    @property
    def said(self) -> str:
        """All words on it but its title, and its notes."""
        return " ".join([*self.texts, *self.notes])

    def line(self, x1: float, y1: float, x2: float, y2: float, pen: Pen) -> None:
        """A straight line."""
        style = self.styles.shape(pen, CLEAR)
        ends = " ".join(f'svg:{n}="{number(v)}pt"' for n, v in (("x1", x1), ("y1", y1), ("x2", x2), ("y2", y2)))
        self.parts.append(f'<draw:line draw:style-name="{style}" draw:layer="layout" {ends}/>')

    def box(self, x: float, y: float, width: float, height: float, pen: Pen, fill: Fill, round_by: float = 0) -> None:
        """A rectangle."""
        corner = f' draw:corner-radius="{number(round_by)}pt"' if round_by else ""
        style = self.styles.shape(pen, fill)
        self.parts.append(
            f'<draw:rect draw:style-name="{style}" draw:layer="layout" {_at(x, y, width, height)}{corner}/>'
        )

    def shape(self, points: Points, pen: Pen, fill: Fill, *, closed: bool) -> None:
        """A line through points, or what they enclose."""
        x, y, width, height = _around(points)
        listed = " ".join(f"{round((a - x) * 100)},{round((b - y) * 100)}" for a, b in points)
        kind = "polygon" if closed else "polyline"
        style = self.styles.shape(pen, fill)
        self.parts.append(
            f'<draw:{kind} draw:style-name="{style}" draw:layer="layout" {_at(x, y, width, height)} '
            f'svg:viewBox="0 0 {round(width * 100)} {round(height * 100)}" draw:points="{listed}"/>'
        )

    def text(self, x: float, y: float, text: str, look: Print, *, turned: bool = False) -> None:
        """One line of text whose baseline is at y, set as `look.align` says about x; `turned`: reading upwards."""
        measured = text_width(text, look.size, bold=look.bold)
        slack = measured * SLACK[0] + SLACK[1]
        width = measured + 2 * slack
        before = {"start": 0.0, "center": width / 2, "end": width}[look.align]
        rise, height = ASCENT * look.size, LINE * look.size
        if turned:
            # the box is turned about its upper left corner, then moved
            place = (
                f'svg:width="{number(width)}pt" svg:height="{number(height)}pt" '
                f'draw:transform="rotate (1.5707963) translate ({number(x - rise)}pt {number(y + before)}pt)"'
            )
        else:
            place = _at(x - before, y - rise, width, height)
        self._frame(place, f"{self._p(Para(text), look)}", wraps=False)

    def paragraphs(self, x: float, y: float, width: float, height: float, paras: Iterable[Para], look: Print) -> None:
        """A text box that breaks its lines."""
        self._frame(_at(x, y, width, height), self._flow(paras, look), wraps=True)

    def open_group(self, title: str = "", description: str = "") -> None:
        """What follows belongs together."""
        said = f"<svg:title>{_text(title)}</svg:title>" if title else ""
        said += f"<svg:desc>{_text(description)}</svg:desc>" if description else ""
        self.parts.append(f"<draw:g>{said}")

    def close_group(self) -> None:
        """Up to here; a group with nothing in it is left out."""
        if self.parts[-1].startswith("<draw:g>"):
            self.parts.pop()
        else:
            self.parts.append("</draw:g>")

    def _frame(self, place: str, inside: str, *, wraps: bool) -> None:
        style = self.styles.box(wraps=wraps)
        self.parts.append(
            f'<draw:frame draw:style-name="{style}" draw:layer="layout" {place}>'
            f"<draw:text-box>{inside}</draw:text-box></draw:frame>"
        )

    def _flow(self, paras: Iterable[Para], look: Print) -> str:
        out: list[str] = []
        for para in paras:
            said = self._p(para, look)
            if para.bullet:
                said = f'<text:list text:style-name="points"><text:list-item>{said}</text:list-item></text:list>'
            out.append(said)
        return "".join(out)

    def _p(self, para: Para, look: Print) -> str:
        self.texts += [para.lead, para.text]
        shown = Print(look.size, para.bold or look.bold, look.colour, look.align)
        lead = f'<text:span text:style-name="lead">{_text(para.lead)}</text:span> ' if para.lead else ""
        style = self.styles.paragraph(shown, space=para.space)
        return f'<text:p text:style-name="{style}">{lead}{_text(para.text)}</text:p>'

    def table(self, x: float, y: float, widths: Sequence[float], rows: Sequence[Row], look: Print) -> None:
        """A table whose rows are as high as they say."""
        columns = "".join(
            f'<table:table-column table:style-name="{self.styles.measure("table-column", "co", "width", w)}"/>'
            for w in widths
        )
        body = "".join(self._row(row, look) for row in rows)
        self.parts.append(
            f'<draw:frame draw:layer="layout" {_at(x, y, sum(widths), sum(row.height for row in rows))}>'
            f'<table:table table:name="{len(self.parts)}">{columns}{body}</table:table></draw:frame>'
        )

    def _row(self, row: Row, look: Print) -> str:
        style = self.styles.measure("table-row", "ro", "height", row.height)
        cells = "".join(
            f'<table:table-cell table:style-name="cell">{self._p(Para(cell, bold=row.bold), look)}</table:table-cell>'
            for cell in row.cells
        )
        return f'<table:table-row table:style-name="{style}">{cells}</table:table-row>'

    def markup(self, number_: int) -> str:
        """The slide, the `number_`th of its deck."""
        heading = (
            f'<draw:frame presentation:style-name="Slide-title" presentation:class="title" '
            f'presentation:user-transformed="true" draw:layer="layout" {_at(36, 16, 888, 66)}>'
            f"<draw:text-box><text:p>{_text(self.title)}</text:p></draw:text-box></draw:frame>"
        )
        notes = "".join(f"<text:p>{_text(n)}</text:p>" for n in self.notes)
        return (
            f'<draw:page draw:name="{number_}" draw:style-name="page" draw:master-page-name="Slide">'
            f"{heading}{''.join(self.parts)}"
            '<presentation:notes draw:style-name="page">'
            f'<draw:page-thumbnail draw:layer="layout" {_at(57.6, 55, 480, 270)} draw:page-number="{number_}" '
            'presentation:class="page"/>'
            f'<draw:frame presentation:style-name="Slide-notes" presentation:class="notes" draw:layer="layout" '
            f"{_at(57.6, 350, 480, 430)}><draw:text-box>{notes or '<text:p/>'}</draw:text-box></draw:frame>"
            "</presentation:notes></draw:page>"
        )


def _at(x: float, y: float, width: float, height: float) -> str:
    return f'svg:x="{number(x)}pt" svg:y="{number(y)}pt" svg:width="{number(width)}pt" svg:height="{number(height)}pt"'


def _around(points: Points) -> tuple[float, float, float, float]:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(max(xs) - min(xs), 0.01), max(max(ys) - min(ys), 0.01)


def _text(text: str) -> str:
    """A text as characters of XML: one space between words, nothing that XML forbids."""
    return escape(" ".join(clean(text).split()))


def package(title: str, language: str, foot: str, slides: Sequence[Slide], made: Styles) -> bytes:
    """The deck as a file's bytes. `foot` stands under every slide."""
    body = "".join(slide.markup(n) for n, slide in enumerate(slides, 1))
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<office:document-content {NAMESPACES} office:version="1.2">'
        f"<office:font-face-decls>{FONT}</office:font-face-decls>"
        '<office:automatic-styles><style:style style:name="page" style:family="drawing-page">'
        '<style:drawing-page-properties presentation:background-visible="true" '
        'presentation:background-objects-visible="true" presentation:display-page-number="true"/></style:style>'
        '<style:style style:name="lead" style:family="text"><style:text-properties fo:font-weight="bold"/>'
        "</style:style>"
        '<style:style style:name="cell" style:family="table-cell"><loext:graphic-properties draw:fill="none"/>'
        '<style:table-cell-properties fo:background-color="transparent"/><style:paragraph-properties '
        'fo:border-top="none" fo:border-left="none" fo:border-right="none" fo:border-bottom="0.75pt solid #8a8a8a"/>'
        "</style:style>"
        f"{POINTS}{made}</office:automatic-styles><office:body><office:presentation>{body}</office:presentation></office:body>"
        "</office:document-content>\n"
    )
    files = {
        "content.xml": content,
        "styles.xml": styles(language, _text(foot), made.dashes),
        "meta.xml": meta(_text(title), quoteattr(language)[1:-1]),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        # ISO/IEC 26300-3:2015, 3.3: `mimetype` comes first, neither packed nor with an extra field
        _add(archive, "mimetype", MIMETYPE, zipfile.ZIP_STORED)
        for name, said in files.items():
            _add(archive, name, said, zipfile.ZIP_DEFLATED)
        _add(archive, "META-INF/manifest.xml", manifest(files), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _add(archive: zipfile.ZipFile, name: str, said: str, how: int) -> None:
    entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the earliest time that a ZIP file can tell
    entry.compress_type, entry.create_system, entry.external_attr = how, 3, 0o644 << 16
    archive.writestr(entry, said.encode(), compresslevel=9)
