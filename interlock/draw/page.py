"""The frame of every drawing: title, scheme and sheet, a key, and the usual caution at its foot."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.said import Text, said, titled
from interlock.draw.style import A4_LONG, A4_SHORT, GREY, LINE_HEIGHT, MARGIN, NORMAL, SMALL, TITLE
from interlock.draw.svg import Svg
from interlock.scheme.model import Scheme

HEAD = 46.0  # height of the title
FOOT = 26.0

_CAUTION = Text(
    "An aid to engineering judgement; it certifies nothing. Local codes, the maker's manual and licensed practice come "
    "first."
)
CAUTION = _CAUTION.text  # where no catalogue is in force


@dataclass(frozen=True, slots=True)
class Drawing:
    """A finished drawing: `name` is its file's name without an ending."""

    name: str
    title: str
    svg: Svg


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of a drawing: `number` of `count`."""

    number: int = 1
    count: int = 1


@dataclass(frozen=True, slots=True)
class Paper:
    """The size in points of what a drawing is laid out for, its frame included. Drawings that are split over sheets
    have more sheets on a smaller paper; those that are one whole keep their own size."""

    width: float = A4_LONG
    height: float = A4_SHORT


A4 = Paper()


def a4(*, landscape: bool = True) -> tuple[float, float]:
    """The size of an A4 page in points."""
    return (A4_LONG, A4_SHORT) if landscape else (A4_SHORT, A4_LONG)


def framed(
    scheme: Scheme,
    title: str,
    description: str,
    *,
    width: float,
    height: float,
    sheet: Sheet | None = None,
    says: str = "",
) -> Svg:
    """An empty drawing with its title, a line that `says` how to read it, and its foot."""
    named = scheme.title
    if scheme.revision:
        named = said("{scheme}, revision {revision}", scheme=named, revision=scheme.revision)
    svg = Svg(width, height, titled(title, scheme.title), description)
    room = width - 2 * MARGIN
    shown = fitted(title, room * 0.6, TITLE, bold=True)
    rest = room - text_width(shown, TITLE, bold=True) - 20
    svg.text(MARGIN, MARGIN + 10, shown, size=TITLE, bold=True)
    svg.text(width - MARGIN, MARGIN + 10, fitted(named, rest, NORMAL), anchor="end", colour=GREY)
    if sheet and sheet.count > 1:
        words = said("sheet {number} of {count}", number=sheet.number, count=sheet.count)
        svg.text(width - MARGIN, MARGIN + 22, words, anchor="end", colour=GREY)
    if says:
        room -= 90 if sheet and sheet.count > 1 else 0
        lines = wrapped(says, room, NORMAL)
        rest_of_it = [fitted(" ".join(lines[1:]), room, NORMAL)] if len(lines) > 1 else []
        svg.lines(MARGIN, MARGIN + 25, [lines[0], *rest_of_it], colour=GREY)
    foot = wrapped(_CAUTION(), width - 2 * MARGIN, SMALL)
    svg.lines(MARGIN, height - MARGIN + 10 - (len(foot) - 1) * SMALL * LINE_HEIGHT, foot, size=SMALL, colour=GREY)
    svg.framed(says)
    return svg
