"""An SVG page being written: real text, titles for screen readers, links, nothing injected, always the same bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape  # that of the library for XML brings a network library along
from typing import Literal

from interlock.draw.metrics import text_width
from interlock.draw.style import BLACK, FONT, LINE_HEIGHT, NORMAL, PAPER, PENS, WARNING, Stroke

Anchor = Literal["start", "middle", "end"]


def number(value: float) -> str:
    """A coordinate to a hundredth of a point, without a trailing zero or a negative nothing."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def clean(text: str) -> str:
    """A text fit for XML: control characters and lone surrogates, which XML 1.0 forbids, become a replacement mark."""
    return "".join(c if _allowed(ord(c)) else "\N{REPLACEMENT CHARACTER}" for c in text)


def escaped(text: str) -> str:
    """A text as markup."""
    return escape(clean(text), quote=False)


_IN_QUOTES = str.maketrans({'"': "&quot;", "\n": "&#10;", "\r": "&#13;", "\t": "&#9;"})


def quoted(text: str) -> str:
    """A text as the value of an attribute, in its quotes."""
    return f'"{escaped(text).translate(_IN_QUOTES)}"'


def _allowed(code: int) -> bool:
    return code in (0x9, 0xA, 0xD) or 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or code >= 0x10000


@dataclass(slots=True)
class Svg:
    """One drawing, `width` by `height` points. `title` and `description` are what a screen reader says of it."""

    width: float
    height: float
    title: str
    description: str
    says: str = ""  # how to read it, where its frame says so
    framing: int = 0  # of the parts, how many at the beginning are the frame's
    _parts: list[str] = field(default_factory=list)
    _live: dict[int, str] = field(default_factory=dict)  # what stands for a part in a page with a script
    _patterns: str = ""

    def framed(self, says: str) -> None:
        """All that was drawn so far is the frame around what follows; `says` is its line on how to read that."""
        self.says, self.framing = says, len(self._parts)

    @property
    def inside(self) -> str:
        """What was drawn inside the frame, as markup."""
        return "\n".join(self._parts[self.framing :])

    def define(self, patterns: str) -> None:
        """Patterns to fill boxes with, as markup, beside the warning hatching that is always there."""
        self._patterns += patterns

    def veil(self, x: float, y: float, width: float, height: float, colour: str, opacity: float) -> None:
        """A box through which one sees what is behind."""
        at = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
        self._parts.append(f'<rect {at} fill="{colour}" fill-opacity="{number(opacity)}"/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = NORMAL,
        bold: bool = False,
        colour: str = BLACK,
        anchor: Anchor = "start",
        turned: bool = False,
    ) -> None:
        """One line of text, its baseline at y, its width fixed to what was measured; `turned`: reading upwards."""
        if not text.strip():
            return
        attributes = [f'x="{number(x)}" y="{number(y)}" font-size="{number(size)}"']
        if bold:
            attributes.append('font-weight="bold"')
        if colour != BLACK:
            attributes.append(f'fill="{colour}"')
        if anchor != "start":
            attributes.append(f'text-anchor="{anchor}"')
        if turned:
            attributes.append(f'transform="rotate(-90 {number(x)} {number(y)})"')
        length = number(text_width(text, size, bold=bold))
        attributes.append(f'textLength="{length}" lengthAdjust="spacingAndGlyphs"')
        self._parts.append(f"<text {' '.join(attributes)}>{escaped(text)}</text>")

    def lines(
        self,
        x: float,
        y: float,
        lines: Sequence[str],
        *,
        size: float = NORMAL,
        bold: bool = False,
        colour: str = BLACK,
        anchor: Anchor = "start",
    ) -> float:
        """Lines of text below each other, the first baseline at y; gives the baseline that a next line would have."""
        for line in lines:
            self.text(x, y, line, size=size, bold=bold, colour=colour, anchor=anchor)
            y += size * LINE_HEIGHT
        return y

    def line(self, x1: float, y1: float, x2: float, y2: float, stroke: Stroke = Stroke.PLAIN) -> None:
        """A straight line."""
        ends = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
        self._parts.append(f"<line {ends} {pen_attributes(stroke)}/>")

    def polyline(self, points: Sequence[tuple[float, float]], stroke: Stroke = Stroke.PLAIN) -> None:
        """A line through points."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self._parts.append(f'<polyline points="{path}" fill="none" {pen_attributes(stroke)}/>')

    def curve(self, path: str, stroke: Stroke = Stroke.PLAIN) -> None:
        """An SVG path, not filled."""
        self._parts.append(f'<path d="{path}" fill="none" {pen_attributes(stroke)}/>')

    def polygon(self, points: Sequence[tuple[float, float]], fill: str = BLACK, stroke: Stroke | None = None) -> None:
        """A filled shape."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        pen = f" {pen_attributes(stroke)}" if stroke else ""
        self._parts.append(f'<polygon points="{path}" fill="{fill}"{pen}/>')

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        stroke: Stroke | None = Stroke.PLAIN,
        fill: str = PAPER,
        round_by: float = 0,
    ) -> None:
        """A rectangle; `fill` "hatch" is the warning hatching, "none" leaves what is behind."""
        painted = "url(#hatch)" if fill == "hatch" else fill
        corner = f' rx="{number(round_by)}"' if round_by else ""
        pen = f" {pen_attributes(stroke)}" if stroke else ""
        at = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
        self._parts.append(f'<rect {at}{corner} fill="{painted}"{pen}/>')

    def arrow_head(self, x: float, y: float, dx: float, dy: float, size: float = 5, colour: str = BLACK) -> None:
        """A head whose tip is at (x, y), pointing along (dx, dy)."""
        length = max((dx * dx + dy * dy) ** 0.5, 1e-9)
        ux, uy = dx / length * size, dy / length * size
        self.polygon(
            [(x, y), (x - ux - uy * 0.42, y - uy + ux * 0.42), (x - ux + uy * 0.42, y - uy - ux * 0.42)], colour
        )

    def open_arrow(self, title: str, tail: str, head: str) -> None:
        """A group for an arrow between two boxes, by their `ident`s: a page with a script finds it by its ends."""
        ends = f"data-tail={quoted(tail)} data-head={quoted(head)}"
        self._live[len(self._parts)] = f"<g {ends}><title>{escaped(title)}</title>"
        self.open_group(title)

    def live(self) -> str:
        """The drawing for a page with a script, in which arrows tell their ends."""
        return self._text([self._live.get(i, part) for i, part in enumerate(self._parts)])

    def open_group(self, title: str = "", *, ident: str = "", link: str = "") -> None:
        """A group, with a title that screen readers and pointers show; a link when `link` is given."""
        name = f" id={quoted(ident)}" if ident else ""
        if link:
            self._parts.append(f"<a href={quoted(link)}>")
        self._parts.append(f"<g{name}>" + (f"<title>{escaped(title)}</title>" if title else ""))

    def close_group(self, *, link: bool = False) -> None:
        """Close the last group; `link`: it was a link."""
        self._parts.append("</g>" + ("</a>" if link else ""))

    def __str__(self) -> str:
        return self._text(self._parts)

    def _text(self, parts: Sequence[str]) -> str:
        head = (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(self.width)}pt" height="{number(self.height)}pt" '
            f'viewBox="0 0 {number(self.width)} {number(self.height)}" role="img" aria-labelledby="title desc" '
            f'font-family="{FONT}" xml:space="preserve">\n'
            f'<title id="title">{escaped(self.title)}</title>\n'
            f'<desc id="desc">{escaped(self.description)}</desc>\n'
            '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)">'
            f'<rect width="5" height="5" fill="{PAPER}"/><line x1="0" y1="0" x2="0" y2="5" stroke="{WARNING}" '
            f'stroke-width="1.6"/></pattern>{self._patterns}</defs>\n'
            f'<rect width="{number(self.width)}" height="{number(self.height)}" fill="{PAPER}"/>\n'
        )
        return head + "\n".join(parts) + "\n</svg>\n"


def pen_attributes(stroke: Stroke) -> str:
    """A kind of line as attributes of an element."""
    pen = PENS[stroke]
    dash = f' stroke-dasharray="{pen.dash}"' if pen.dash else ""
    return f'stroke="{pen.colour}" stroke-width="{number(pen.width)}"{dash}'
