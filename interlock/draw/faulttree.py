"""The fault tree of one claim: its minimal cut sets, what they share drawn once; causes on the left, as in all drawings
of a scheme, and the claim on the right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate
from typing import assert_never

from interlock.draw.gates import GATE_WIDTH, PITCH, RADIUS, back_of, circle, diamond, gate_symbol, triangle
from interlock.draw.metrics import fitted, wrapped
from interlock.draw.page import FOOT, HEAD, Drawing, Sheet, a4, framed
from interlock.draw.said import Text, all_of, counted, in_turn, said, titled
from interlock.draw.style import BLACK, GREY, LINE_HEIGHT, MARGIN, NORMAL, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.draw.treesheets import BOX, GAP, Mark, Node, Page, Row, levels_of, planned, rows_of, widest
from interlock.faults.cutsets import minimal
from interlock.faults.tree import GateKind
from interlock.scheme.model import Scheme

SHEETS = 8  # what would take more is counted instead of drawn
WIDE_PITCH, WIDE_BOX = PITCH + 34, 180.0
PADDING = 7.0
TOLD = 40  # sets named in the description
BOX_LINES = 8

SAYS = Text(
    "Causes on the left. A dome needs all that leads into it, a shield any one, or as many as it says. A fault that "
    "stands in several places is one and the same."
)


@dataclass(frozen=True, slots=True)
class BasicEvent:
    """One fault, with what it means in a few words."""

    name: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class FaultTree:
    """What is drawn. `claim`: its name; `says`: its violation in words; `order`: cut sets are known up to this many
    faults, None where all are; `notes`: more lines under the claim, such as a probability."""

    claim: str
    says: str
    cut_sets: tuple[tuple[BasicEvent, ...], ...]
    order: int | None = None
    notes: tuple[str, ...] = ()


def fault_tree(scheme: Scheme, tree: FaultTree) -> list[Drawing]:
    """The tree on as many A4 sheets as it takes. Sets that contain another one are left out: they add nothing.

    Raises TreeError where a fault has the name of the claim, or of one of its gates (`CLAIM.1`, `CLAIM.2`, ...).
    """
    words = {event.name: event.words for cut_set in tree.cut_sets for event in cut_set}
    sets = minimal([event.name for event in cut_set] for cut_set in tree.cut_sets)
    pages = planned(tree.claim, words, sets, SHEETS)
    return [_sheet(scheme, tree, page, len(pages)) for page in pages]


def _sheet(scheme: Scheme, tree: FaultTree, page: Page, count: int) -> Drawing:
    width, most = a4()
    room = HEAD + FOOT + 2 * MARGIN + 12
    rows = list(rows_of(page.root))
    box = _Box(tree, page)
    above, below = _room(page, rows, box)
    height = above + below + room
    says = SAYS() if rows else ""
    if height > most + 1:
        says = f"{says} {said('It is higher than A4: print it on A3 (ISO 216).')}"
    title = said("Fault tree of {claim}", claim=tree.claim)
    sheet = Sheet(page.number, count)
    svg = framed(scheme, title, _in_words(tree), width=width, height=height, sheet=sheet, says=says if rows else "")
    y = MARGIN + HEAD + 6 + above
    if page.root is None:
        svg.text(MARGIN, y + 3, _none(tree, page))
        box.draw(svg, width - MARGIN - box.width, y)
    else:
        _draw(svg, page.root, rows, box, y)
    name = f"fault_tree_{tree.claim.replace('/', '_')}"
    return Drawing(name + (f"_{page.number}" if count > 1 else ""), title, svg)


def _in_words(tree: FaultTree) -> str:
    sets = [all_of(event.name for event in cut_set) for cut_set in tree.cut_sets[:TOLD]]
    if len(tree.cut_sets) > TOLD:
        sets.append(said("and {count} more", count=len(tree.cut_sets) - TOLD))
    told = said("Fault sets: {sets}.", sets=in_turn(sets)) if sets else said("Fault sets: none.")
    claim = said("{claim}: {violation}.", claim=tree.claim, violation=tree.says)
    return f"{claim} {_known(tree)} {told}"


def _known(tree: FaultTree) -> str:
    if tree.order is None:
        return said("Known for all sets of faults.")
    return counted(
        tree.order,
        "Known for single faults; larger ones were not looked at.",
        "Known for sets of up to {count} faults; larger ones were not looked at.",
    )


def _none(tree: FaultTree, page: Page) -> str:
    if page.whole.kind is GateKind.AND:
        return said("It is violated without any fault.")
    if tree.order is None:
        return said("No set of faults violates it.")
    return counted(tree.order, "No single fault violates it.", "No set of up to {count} faults violates it.")


class _Box:
    """The claim's box: a bold name, the violation in words, and what is to be known below it."""

    def __init__(self, tree: FaultTree, page: Page) -> None:
        self.width = WIDE_BOX if levels_of(page.root) <= 2 else BOX
        inside = self.width - 2 * PADDING
        name = said("Part {letter}", letter=page.part) if page.part else tree.claim
        self.name = wrapped(name, inside, NORMAL, bold=True)
        says = said("of {claim}", claim=tree.claim) if page.part else tree.says
        self.says = titled(name, says)
        self.lines = wrapped(says, inside, SMALL)
        if len(self.lines) > BOX_LINES:
            rest = " ".join(self.lines[BOX_LINES - 1 :])
            self.lines = [*self.lines[: BOX_LINES - 1], fitted(rest, inside, SMALL)]
        beside = [] if page.part else [_known(tree), *tree.notes]
        if page.gate is not page.whole:
            beside.append(said("Goes on from sheet {sheet}.", sheet=page.after))
        elif page.part:
            beside.append(said("Leads to sheet {sheet}.", sheet=page.after))
        self.beside = [line for text in beside for line in wrapped(text, inside, SMALL)]
        self.inner = (len(self.name) * NORMAL + len(self.lines) * SMALL) * LINE_HEIGHT + 2 * PADDING - 2
        self.below = len(self.beside) * SMALL * LINE_HEIGHT + 6

    def draw(self, svg: Svg, x: float, y: float) -> None:
        """With the middle of its left side at (x, y)."""
        top = y - self.inner / 2
        svg.open_group(self.says, ident="claim")
        svg.box(x, top, self.width, self.inner, stroke=Stroke.HEAVY)
        at = svg.lines(x + PADDING, top + PADDING + NORMAL - 2, self.name, bold=True)
        svg.lines(x + PADDING, at - 0.5, self.lines, size=SMALL)
        svg.close_group()
        svg.lines(x + PADDING, top + self.inner + 11, self.beside, size=SMALL, colour=GREY)


def _middles(rows: list[Row]) -> list[float]:
    """The middle of each row, from the top of the first."""
    tops = accumulate((row.height for row in rows), initial=0.0)
    return [top + row.height / 2 for top, row in zip(tops, rows, strict=False)]


def _room(page: Page, rows: list[Row], box: _Box) -> tuple[float, float]:
    """How much stands above and below the line into the claim's box."""
    end = _outlet(page.root, iter(_middles(rows))) if page.root else 0.0
    total = sum(row.height for row in rows)
    return max(end, box.inner / 2), max(total - end, box.inner / 2 + box.below)


def _draw(svg: Svg, root: Node | Row, rows: list[Row], box: _Box, y: float) -> None:
    """The tree, the line into the claim's box being at `y`."""
    names = widest([name for row in rows for name in row.names], NORMAL, bold=True)
    lines = widest([line for row in rows for line in row.lines], SMALL)
    label = names + (GAP + lines if lines else 0) + GAP
    levels = levels_of(root)
    free = svg.width - 2 * MARGIN - label - 2 * RADIUS - box.width - 4 * GAP
    pitch = max(PITCH, min(WIDE_PITCH, free / max(levels, 1)))
    total = label + 2 * RADIUS + levels * pitch + 4 * GAP + box.width
    left = MARGIN + max(0.0, (svg.width - 2 * MARGIN - total) / 2)
    at = _Places(left + label + RADIUS, left + total - box.width, pitch)
    middles = _middles(rows)
    top = y - _outlet(root, iter(middles))
    for row, middle in zip(rows, middles, strict=True):
        _row(svg, row, left, names, at.symbol, top + middle)
    _leading(svg, root, 0, at, iter(top + middle for middle in middles))
    svg.line(at.end(root, 0), y, at.box, y)
    box.draw(svg, at.box, y)


@dataclass(frozen=True, slots=True)
class _Places:
    """Where symbols, gates and the claim's box stand across the sheet."""

    symbol: float
    box: float
    pitch: float

    def tip(self, level: int) -> float:
        """The tip of a gate; level 0 stands next to the box."""
        return self.box - 2 * GAP - level * self.pitch

    def end(self, made: Node | Row, level: int) -> float:
        """Where the line out of a gate or a symbol begins."""
        return self.tip(level) if isinstance(made, Node) else self.symbol + RADIUS


def _outlet(made: Node | Row, middles: Iterator[float]) -> float:
    """Where the line out of a gate comes out, the rows in their order having these middles."""
    if isinstance(made, Row):
        return next(middles)
    heights = [_outlet(item, middles) for item in made.inputs]
    return (heights[0] + heights[-1]) / 2


def _leading(svg: Svg, made: Node | Row, level: int, at: _Places, middles: Iterator[float]) -> float:
    """Draw a gate and all that leads into it, rows in their order having these middles; where its line comes out."""
    if isinstance(made, Row):
        return next(middles)
    heights = [_leading(svg, item, level + 1, at, middles) for item in made.inputs]
    y = (heights[0] + heights[-1]) / 2
    back = at.tip(level) - GATE_WIDTH
    bus = back - GAP
    for item, height in zip(made.inputs, heights, strict=True):
        svg.line(at.end(item, level + 1), height, bus, height)
    if len(heights) > 1:
        svg.line(bus, heights[0], bus, heights[-1])
    svg.line(bus, y, back_of(made.gate, back), y)
    svg.open_group(ident=f"gate-{made.gate.name}")
    gate_symbol(svg, made.gate, back, y)
    svg.close_group()
    return y


def _row(svg: Svg, row: Row, left: float, names: float, symbol: float, y: float) -> None:
    svg.open_group(row.says)
    first = y + 3 - (len(row.names) - 1) * NORMAL * LINE_HEIGHT / 2
    svg.lines(left, first, row.names, bold=True)
    first = y + 2.6 - (len(row.lines) - 1) * SMALL * LINE_HEIGHT / 2
    svg.lines(left + names + GAP, first, row.lines, size=SMALL, colour=BLACK if row.mark is Mark.EVENT else GREY)
    match row.mark:
        case Mark.EVENT:
            circle(svg, symbol, y)
        case Mark.ELSEWHERE:
            triangle(svg, symbol, y)
        case Mark.COUNTED:
            diamond(svg, symbol, y)
        case _:
            assert_never(row.mark)
    svg.close_group()
