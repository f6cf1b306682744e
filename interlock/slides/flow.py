"""Texts, tables and drawings put onto slides: legible from the back of a room, nothing cut off, as many as it takes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import FOOT, HEAD, Drawing, Paper
from interlock.draw.style import MARGIN, SMALL
from interlock.records import replace
from interlock.slides.frame import POINT_INDENT, TITLE_SIZE
from interlock.slides.odp import LINE, WIDTH, Para, Print, Row, Slide, Styles, package
from interlock.slides.shapes import Box, Placing, Thing, blocks, part_of, put, things_of, together, words_in

# Sizes of print in points, on a slide 540 points high: 18 is what presenters are commonly told to keep above (common
# practice, no source).
BODY, LEAST = Print(20), Print(18)
LEFT, RIGHT, TOP, BOTTOM = 36.0, WIDTH - 36.0, 92.0, 504.0
AREA: Box = (24.0, 88.0, WIDTH - 24.0, 504.0)  # for drawings
NARROWER = 0.97  # to which lines are measured, so that another program breaks none that was whole
CELL = (7.1, 3.7)  # room beside and above a table cell's text: what readers keep where nothing is said (0.25, 0.13 cm)

LARGEST = 2.2  # times a drawing is enlarged
LEGIBLE = 12.0  # points, of the smallest words of a drawing that is shown in parts
ENLARGED = LEGIBLE / SMALL
EDGE = 1.0  # around what a part shows
WINDOW = (AREA[2] - AREA[0]) / ENLARGED, (AREA[3] - AREA[1]) / ENLARGED
# What drawings that can be split are laid out for: a slide of them is legible as it is.
PAPER = Paper(WINDOW[0] + 2 * MARGIN, WINDOW[1] + 2 * MARGIN + HEAD + FOOT)


@dataclass(frozen=True, slots=True)
class Names:
    """How slides are named that continue one, and the parts of a drawing, by their number and their count."""

    next: Callable[[str, int, int], str]
    part: Callable[[str, int, int], str]


@dataclass(slots=True)
class Deck:
    """A deck being made. `names`: see there."""

    names: Names
    slides: list[Slide] = field(default_factory=list)
    styles: Styles = field(default_factory=Styles)

    def slide(self, title: str, notes: Iterable[str] = ()) -> Slide:
        """A new slide with its title, which is cut where it has no room: the notes have it whole then."""
        lines = wrapped(title, (RIGHT - LEFT) * NARROWER, TITLE_SIZE, bold=True)
        shown = title if len(lines) <= 2 else f"{lines[0]} {_cut(' '.join(lines[1:]))}"
        made = Slide(shown, self.styles, [*([] if shown == title else [title]), *notes])
        self.slides.append(made)
        return made

    def text(self, title: str, paras: Sequence[Para], notes: Sequence[str] = (), below: float = TOP) -> float:
        """Paragraphs under a title, on as many slides as they take; the first begins at `below`, on the last slide
        where that is not the top. Gives where the text on the last one ends."""
        first = BOTTOM - below
        look = next((p for p in (BODY, LEAST) if len(_pages(paras, p, first)) == 1), BODY)
        pages = _pages(paras, look, first)
        end = below
        for number, page in enumerate(pages, 1):
            top = below if number == 1 else TOP
            if number > 1 or below == TOP:
                said = title if number == 1 else self.names.next(title, number, len(pages))
                slide = self.slide(said, notes if number == 1 else ())
            else:
                slide = self.slides[-1]
            height = sum(_height(para, look) for para in page)
            if page:
                room = min(height + look.size, BOTTOM - top + 4)
                slide.paragraphs(LEFT, top, RIGHT - LEFT, room, page, look)
            end = top + height
        return end

    def table(
        self, title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], top: float
    ) -> None:
        """A table from `top` on, on the last slide where it has room there, its head again on each further one."""
        made = [self._row(row, widths) for row in rows]
        head = self._row(heads, widths, bold=True)
        chunks: list[list[Row]] = [[]]
        room = BOTTOM - top - head.height
        if made and made[0].height > room:
            top, room = BOTTOM, 0.0
        for row in made:
            if row.height > room and (chunks[-1] or top > TOP):
                chunks.append([])
                room = BOTTOM - TOP - head.height
            chunks[-1].append(row)
            room -= row.height
        for number, chunk in enumerate(chunks):
            if not chunk:
                continue
            slide = self.slides[-1] if number == 0 else self.slide(self.names.next(title, number + 1, len(chunks)))
            slide.table(LEFT, top if number == 0 else TOP, widths, [head, *chunk], LEAST)

    def _row(self, cells: Sequence[str], widths: Sequence[float], *, bold: bool = False) -> Row:
        lines = max(
            len(wrapped(cell, (width - 2 * CELL[0]) * NARROWER, LEAST.size, bold=bold))
            for cell, width in zip(cells, widths, strict=True)
        )
        return Row(tuple(cells), lines * LEAST.size * LINE + 2 * CELL[1], bold)

    def drawing(self, title: str, drawing: Drawing, notes: Sequence[str] = (), *, whole: bool = False) -> float:
        """A drawing on a slide, and where its words are then too small the same again, enlarged, in parts that
        together have every word; not where `whole`, for its words stand below it then. Gives where it ends on the
        last slide."""
        things = things_of(drawing.svg)
        said = [*notes, *([drawing.svg.says] if drawing.svg.says else []), drawing.svg.description]
        if not things:
            return TOP
        slide = self.slide(title, said)
        placing, end = _fitted_into(AREA, together([t.around for t in things]))
        put(slide, things, placing, drawing.svg.title, drawing.svg.description)
        smallest = min((w.look.size for w in words_in(things)), default=LEGIBLE) * placing.scale
        if not whole and smallest < LEGIBLE - 1:
            self._parts(title, drawing, things)
        return end

    def _parts(self, title: str, drawing: Drawing, things: Sequence[Thing]) -> None:
        windows = parts(things)
        for number, window in enumerate(windows, 1):
            slide = self.slide(self.names.part(title, number, len(windows)))
            shown = part_of(things, window)
            around = together([t.around for t in shown])
            middle = (around[0] + around[2]) / 2
            placing = Placing(ENLARGED, (AREA[0] + AREA[2]) / 2 - middle * ENLARGED, AREA[1] - around[1] * ENLARGED)
            put(slide, shown, placing, drawing.svg.title, "")

    def packed(self, title: str, language: str, foot: str) -> bytes:
        """The deck's file."""
        return package(title, language, fitted(foot, 790, 10), self.slides, self.styles)


def _cut(text: str) -> str:
    return fitted(text, (RIGHT - LEFT) * NARROWER, TITLE_SIZE, bold=True)


def _fitted_into(area: Box, around: Box) -> tuple[Placing, float]:
    """As large as there is room, in the middle, at the area's top; and where it ends."""
    wide, high = max(around[2] - around[0], 1), max(around[3] - around[1], 1)
    scale = min((area[2] - area[0]) / wide, (area[3] - area[1]) / high, LARGEST)
    left = (area[0] + area[2] - wide * scale) / 2
    return Placing(scale, left - around[0] * scale, area[1] - around[1] * scale), area[1] + high * scale


def parts(things: Sequence[Thing]) -> list[Box]:
    """Windows of a legible part's size that together hold every block whole: columns, each cut into rows."""
    whole = together([t.around for t in things])
    found: list[Box] = []
    for left, column in _cuts(blocks(things, WINDOW), 0, whole):
        found += [
            (left, top, left + WINDOW[0] + 2 * EDGE, top + WINDOW[1] + 2 * EDGE) for top, _ in _cuts(column, 1, whole)
        ]
    return found


def _cuts(boxes: Sequence[Box], axis: int, whole: Box) -> Iterator[tuple[float, list[Box]]]:
    """Where windows begin along an axis, the first at the first box, and what each holds that none before it did; the
    last is moved back where it would stand out of the drawing."""
    rest = sorted(boxes, key=lambda b: (b[axis], b[axis + 2]))
    while rest:
        start = min(rest[0][axis], max(whole[axis], whole[axis + 2] - WINDOW[axis])) - EDGE
        held = [b for b in rest if b[axis + 2] <= start + WINDOW[axis] + EDGE]
        rest = [b for b in rest if b not in held]
        yield start, held


def _height(para: Para, look: Print) -> float:
    return len(_lines(para, look)) * look.size * LINE + para.space


def _lines(para: Para, look: Print) -> list[str]:
    wide = (RIGHT - LEFT - (POINT_INDENT if para.bullet else 0)) * NARROWER
    if para.lead:
        wide -= text_width(para.lead, look.size, bold=True) - text_width(para.lead, look.size)
    return wrapped(f"{para.lead} {para.text}" if para.lead else para.text, wide, look.size, bold=para.bold)


def _pages(paras: Sequence[Para], look: Print, first: float) -> list[list[Para]]:
    """Paragraphs in heaps of a slide's height each, `first` for the first; a heading stays with what follows it, and
    only a paragraph higher than a whole slide is divided."""
    pages: list[list[Para]] = [[]]
    room = first
    waiting = [piece for para in paras for piece in _divided(para, look)]
    for i, para in enumerate(waiting):
        needed = _height(para, look)
        if para.bold and i + 1 < len(waiting):
            needed += _height(waiting[i + 1], look)
        if needed > room and (pages[-1] or first < BOTTOM - TOP):
            pages.append([])
            room = BOTTOM - TOP
        shown = para if pages[-1] else replace(para, space=0.0)
        pages[-1].append(shown)
        room -= _height(shown, look)
    return pages


def _divided(para: Para, look: Print) -> Iterable[Para]:
    lines = _lines(para, look)
    most = int((BOTTOM - TOP) / (look.size * LINE))
    if len(lines) <= most:
        yield para
        return
    text = " ".join(f"{para.lead} {para.text}".split())
    at = 0
    for i in range(0, len(lines), most):
        start = at
        for line in lines[i : i + most]:
            at = text.index(line, at) + len(line)
        yield replace(para, lead="", text=text[start:at].strip(), space=para.space if i == 0 else 0.0)
