"""Drawings as shapes of a deck: each line, box and word of a drawing becomes one that can be edited, none a picture.

Only what `draw.svg` writes is read: nothing here is a reader of SVG in general.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree

from interlock.draw.metrics import text_width
from interlock.draw.style import BLACK, PAPER
from interlock.draw.svg import Svg
from interlock.records import replace
from interlock.slides.odp import ASCENT, CLEAR, NOTHING, Align, Fill, Pen, Print, Slide

Box = tuple[float, float, float, float]  # left, top, right, bottom
Point = tuple[float, float]

_ALIGN: dict[str, Align] = {"start": "start", "middle": "center", "end": "end"}
_STEPS = 12  # straight pieces of which a curve is made where a part of a drawing is cut out
DESCENT = 0.212  # of the font's size, as odp.ASCENT
PATTERN = re.compile(r"url\(#([a-z]+)\)")


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text with its baseline at (x, y)."""

    x: float
    y: float
    text: str
    look: Print
    turned: bool = False

    @property
    def around(self) -> Box:
        """What it covers."""
        size, wide = self.look.size, text_width(self.text, self.look.size, bold=self.look.bold)
        before = {"start": 0.0, "center": wide / 2, "end": wide}[self.look.align]
        if self.turned:
            return (
                self.x - ASCENT * size,
                self.y + before - wide,
                self.x + DESCENT * size,
                self.y + before,
            )
        return self.x - before, self.y - ASCENT * size, self.x - before + wide, self.y + DESCENT * size


@dataclass(frozen=True, slots=True)
class Rect:
    """A box, its corners rounded by so much."""

    box: Box
    pen: Pen
    fill: Fill
    round_by: float = 0.0

    @property
    def around(self) -> Box:
        """What it covers."""
        return self.box


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points, or the shape they enclose."""

    points: tuple[Point, ...]
    pen: Pen
    fill: Fill = CLEAR
    closed: bool = False

    @property
    def around(self) -> Box:
        """What it covers."""
        xs, ys = [x for x, _ in self.points], [y for _, y in self.points]
        return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True, slots=True)
class Group:
    """Things that belong together, with what is said of them."""

    title: str
    things: tuple[Thing, ...]

    @property
    def around(self) -> Box:
        """What it covers."""
        return together([thing.around for thing in self.things])


Thing = Words | Rect | Line | Group


def things_of(svg: Svg) -> tuple[Thing, ...]:
    """What a drawing consists of, without the frame around it."""
    root = ElementTree.fromstring(f"<svg>{svg.inside}</svg>")
    return tuple(_read(root))


def _read(parent: ElementTree.Element) -> Iterator[Thing]:
    for element in parent:
        if element.tag == "a":
            yield from _read(element)
        elif element.tag == "g":
            inside = tuple(_read(element))
            if inside:
                yield Group(element.findtext("title", ""), inside)
        elif element.tag != "title":
            yield _thing(element)


def _thing(element: ElementTree.Element) -> Thing:
    get = element.get

    def number(name: str) -> float:
        return float(get(name, "0"))

    match element.tag:
        case "text":
            look = Print(
                number("font-size"),
                get("font-weight") == "bold",
                get("fill", BLACK),
                _ALIGN[get("text-anchor", "start")],
            )
            return Words(number("x"), number("y"), element.text or "", look, "transform" in element.attrib)
        case "rect":
            x, y = number("x"), number("y")
            box = x, y, x + number("width"), y + number("height")
            return Rect(box, _pen(element), _fill(element), number("rx"))
        case "line":
            ends = (number("x1"), number("y1")), (number("x2"), number("y2"))
            return Line(ends, _pen(element))
        case "polyline" | "polygon":
            listed = tuple(_point(pair) for pair in get("points", "").split())
            closed = element.tag == "polygon"
            return Line(listed, _pen(element), _fill(element) if closed else CLEAR, closed)
        case "path":
            return Line(tuple(_curve(get("d", ""))), _pen(element))
        case other:
            raise AssertionError(f"no drawing has a {other}")


def _point(pair: str) -> Point:
    x, y = pair.split(",")
    return float(x), float(y)


def _pen(element: ElementTree.Element) -> Pen:
    colour = element.get("stroke", "")
    if not colour:
        return NOTHING
    dash = [float(length) for length in element.get("stroke-dasharray", "").split()]
    return Pen(colour, float(element.get("stroke-width", "1")), (dash[0], dash[1]) if dash else None)


def _fill(element: ElementTree.Element) -> Fill:
    said = element.get("fill", "none")
    if found := PATTERN.fullmatch(said):
        return Fill(PAPER, found[1])
    return Fill("" if said == "none" else said, "", float(element.get("fill-opacity", "1")))


def _curve(path: str) -> Iterator[Point]:
    """`Mx,y Cx,y x,y x,y ...` (all that routed arrows have) as points of straight pieces."""
    start, *rest = path.removeprefix("M").replace("C", "").split()
    at = _point(start)
    yield at
    for i in range(0, len(rest), 3):
        one, two, end = (_point(pair) for pair in rest[i : i + 3])
        for step in range(1, _STEPS + 1):
            t = step / _STEPS
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            yield (
                a * at[0] + b * one[0] + c * two[0] + d * end[0],
                a * at[1] + b * one[1] + c * two[1] + d * end[1],
            )
        at = end


def together(boxes: Sequence[Box]) -> Box:
    """The box around boxes."""
    return (
        min(b[0] for b in boxes),
        min(b[1] for b in boxes),
        max(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )


def words_in(things: Sequence[Thing]) -> Iterator[Words]:
    """All lines of text, in the order they are drawn."""
    for thing in things:
        match thing:
            case Group(things=inside):
                yield from words_in(inside)
            case Words():
                yield thing
            case _:
                pass


def blocks(things: Sequence[Thing], most: tuple[float, float]) -> list[Box]:
    """What belongs together and is to be seen whole: groups with words no larger than `most`, else what is in them,
    down to single words."""
    found: list[Box] = []
    for thing in things:
        around = thing.around
        if isinstance(thing, Words) or _is_block(thing, most):
            found.append(around)
        elif isinstance(thing, Group):
            found += blocks(thing.things, most)
    return found


def _is_block(thing: Thing, most: tuple[float, float]) -> bool:
    left, top, right, bottom = thing.around
    fits = right - left <= most[0] and bottom - top <= most[1]
    return isinstance(thing, Group) and fits and any(True for _ in words_in(thing.things))


def part_of(things: Sequence[Thing], window: Box) -> tuple[Thing, ...]:
    """What of things stands in a window: blocks and texts whole or not at all, all else cut at its edges."""
    return tuple(kept for thing in things for kept in _kept(thing, window))


def _kept(thing: Thing, window: Box) -> Iterator[Thing]:
    left, top, right, bottom = window
    match thing:
        case Group(title=title, things=inside):
            block = _is_block(thing, (right - left, bottom - top))
            if block and not _holds(window, thing.around):
                return
            found = part_of(inside, window)
            if found:
                yield Group(title, found)
        case Rect(box=box):
            cut = max(box[0], left), max(box[1], top), min(box[2], right), min(box[3], bottom)
            if cut == box:
                yield thing
            elif cut[0] < cut[2] and cut[1] < cut[3]:
                # the area, then what is left of its edges: where it was cut there is none
                yield Rect(cut, NOTHING, thing.fill)
                corners = ((box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3]), (box[0], box[1]))
                if thing.pen.colour:
                    yield from (Line(run, thing.pen) for run in _runs(corners, window))
        case Line(points=points, closed=False):
            yield from (replace(thing, points=run) for run in _runs(points, window))
        case _:
            if _holds(window, thing.around):
                yield thing


def _holds(window: Box, box: Box) -> bool:
    return box[0] >= window[0] and box[1] >= window[1] and box[2] <= window[2] and box[3] <= window[3]


def _runs(points: Sequence[Point], window: Box) -> Iterator[tuple[Point, ...]]:
    """The pieces of a line inside a window, those that meet joined."""
    run: list[Point] = []
    for a, b in pairwise(points):
        piece = _inside(a, b, window)
        if piece is None:
            continue
        if run and run[-1] == piece[0]:
            run.append(piece[1])
        else:
            if run:
                yield tuple(run)
            run = [*piece]
    if run:
        yield tuple(run)


def _inside(a: Point, b: Point, window: Box) -> tuple[Point, Point] | None:
    """The part of a straight line inside a window (Liang and Barsky 1984), None where there is none."""
    left, top, right, bottom = window
    dx, dy = b[0] - a[0], b[1] - a[1]
    first, last = 0.0, 1.0
    for step, room in ((-dx, a[0] - left), (dx, right - a[0]), (-dy, a[1] - top), (dy, bottom - a[1])):
        if step == 0:
            if room < 0:
                return None
        elif step < 0:
            first = max(first, room / step)
        else:
            last = min(last, room / step)
    if first >= last:
        return None
    start = a if first == 0 else (a[0] + first * dx, a[1] + first * dy)
    return start, (b if last == 1 else (a[0] + last * dx, a[1] + last * dy))


@dataclass(frozen=True, slots=True)
class Placing:
    """Where a drawing's own points come on a slide, and how many times larger."""

    scale: float
    dx: float
    dy: float

    def at(self, x: float, y: float) -> Point:
        """A point of the drawing on the slide."""
        return self.dx + x * self.scale, self.dy + y * self.scale


def put(slide: Slide, things: Sequence[Thing], placing: Placing, title: str, description: str) -> None:
    """Things onto a slide, as one group with what is said of them."""
    slide.open_group(title, description)
    for thing in things:
        _put(slide, thing, placing)
    slide.close_group()


def _put(slide: Slide, thing: Thing, placing: Placing) -> None:
    scale = placing.scale
    match thing:
        case Group(title=title, things=inside):
            slide.open_group(title)
            for one in inside:
                _put(slide, one, placing)
            slide.close_group()
        case Words(x=x, y=y, text=text, look=look, turned=turned):
            slide.text(*placing.at(x, y), text, replace(look, size=look.size * scale), turned=turned)
        case Rect(box=box, pen=pen, fill=fill, round_by=round_by):
            x, y = placing.at(box[0], box[1])
            width, height = (box[2] - box[0]) * scale, (box[3] - box[1]) * scale
            slide.box(x, y, width, height, _wide(pen, scale), fill, round_by * scale)
        case Line(points=points, pen=pen, fill=fill, closed=closed):
            where = [placing.at(x, y) for x, y in points]
            if len(where) == 2 and not closed:
                slide.line(*where[0], *where[1], _wide(pen, scale))
            else:
                slide.shape(where, _wide(pen, scale), fill, closed=closed)


def _wide(pen: Pen, scale: float) -> Pen:
    return replace(pen, width=pen.width * scale)
