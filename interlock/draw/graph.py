"""A graph of boxes with text, laid out left to right and drawn: what overview, wiring and logic share."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.draw.layout import Edge, Layout, Node, Routed, laid_out
from interlock.draw.metrics import text_width, wrapped
from interlock.draw.page import FOOT, HEAD, framed
from interlock.draw.said import said
from interlock.draw.style import A4_LONG, A4_SHORT, FAINT, GREY, LINE_HEIGHT, MARGIN, NORMAL, PAPER, PENS, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.scheme.model import Scheme

PADDING = 6.0
PACK = "pack"  # the box of the pack, which no scheme names


@dataclass(frozen=True, slots=True)
class Box:
    """A box: a bold name and lines of text below it; `says` is its title for screen readers and pointers."""

    ident: str
    name: str
    lines: tuple[str, ...] = ()
    says: str = ""
    link: str = ""
    frame: str = ""
    stroke: Stroke = Stroke.PLAIN
    shaded: bool = False
    rounded: bool = False
    widest: float = 120.0


@dataclass(frozen=True, slots=True)
class Arrow:
    """An arrow with a few words beside it; `says` is its title for screen readers and pointers."""

    tail: str
    head: str
    says: str
    words: str = ""
    stroke: Stroke = Stroke.PLAIN
    both: bool = False
    constrains: bool = True


@dataclass(slots=True)
class Graph:
    """Boxes, arrows and the frames that boxes stand in, in the order they are to be drawn."""

    boxes: list[Box] = field(default_factory=list)
    arrows: list[Arrow] = field(default_factory=list)
    frames: list[str] = field(default_factory=list)
    rank_gap: float = 38
    node_gap: float = 9


def _texts(box: Box) -> tuple[list[str], list[str]]:
    names = wrapped(box.name, box.widest, NORMAL, bold=True)
    return names, [line for text in box.lines for line in wrapped(text, box.widest, SMALL)]


def _size(box: Box) -> tuple[float, float]:
    names, lines = _texts(box)
    widths = [text_width(n, NORMAL, bold=True) for n in names] + [text_width(x, SMALL) for x in lines]
    height = (len(names) * NORMAL + len(lines) * SMALL) * LINE_HEIGHT
    return max(widths, default=0) + 2 * PADDING, height + 2 * PADDING - 2


def placed(graph: Graph, *, portable: bool = False) -> Layout:
    """Where everything goes. Raises NoRendererError."""
    nodes = [Node(box.ident, *_size(box), cluster=box.frame) for box in graph.boxes]
    edges = []
    for arrow in graph.arrows:
        lines = wrapped(arrow.words, 90, SMALL) if arrow.words else []
        width = max((text_width(line, SMALL) for line in lines), default=0)
        room = (width + 6, len(lines) * SMALL * LINE_HEIGHT + 2) if lines else (0.0, 0.0)
        edges.append(Edge(arrow.tail, arrow.head, *room, arrow.stroke, arrow.constrains, arrow.both))
    clusters = [(name, text_width(name, SMALL)) for name in graph.frames]
    return laid_out(
        nodes, edges, clusters=clusters, rank_gap=graph.rank_gap, node_gap=graph.node_gap, portable=portable
    )


def draw_graph(scheme: Scheme, title: str, description: str, graph: Graph, *, says: str, portable: bool = False) -> Svg:
    """The graph on a page of its own size, at least as wide as an A4 page is long; a larger one says so."""
    layout = placed(graph, portable=portable)
    width = max(A4_LONG, layout.width + 2 * MARGIN)
    height = layout.height + 2 * MARGIN + HEAD + FOOT
    height = max(height, 220.0) if width > A4_LONG else max(height, min(A4_SHORT, height))
    if width > A4_LONG:
        says = f"{says} {said('It is wider than A4: print it on A3 (ISO 216).')}"
    svg = framed(scheme, title, description, width=width, height=height, says=says)
    left, top = (width - layout.width) / 2, MARGIN + HEAD
    for name, (x, y, w, h) in layout.frames.items():
        svg.box(left + x, top + y, w, h, stroke=Stroke.DASHED, fill="none", round_by=4)
        svg.text(left + x + w / 2, top + y + 12, name, size=SMALL, colour=GREY, anchor="middle")
    for arrow, routed in zip(graph.arrows, layout.arrows, strict=True):
        _arrow(svg, arrow, routed, left, top)
    for box in graph.boxes:
        x, y = layout.places[box.ident]
        _box(svg, box, left + x, top + y)
    return svg


def _arrow(svg: Svg, arrow: Arrow, routed: Routed, left: float, top: float) -> None:
    moved = routed.moved(left, top)
    svg.open_arrow(arrow.says, arrow.tail, arrow.head)
    svg.curve(moved.path(), arrow.stroke)
    for tip, (x, y) in ((moved.tip, moved.points[-1]), (moved.start, moved.points[0])):
        if tip:
            svg.arrow_head(*tip, tip[0] - x, tip[1] - y, size=7, colour=PENS[arrow.stroke].colour)
    if moved.label and arrow.words:
        lines = wrapped(arrow.words, 90, SMALL)
        height = len(lines) * SMALL * LINE_HEIGHT
        first = moved.label[1] - height / 2 + SMALL
        svg.lines(moved.label[0], first, lines, size=SMALL, anchor="middle")
    svg.close_group()


def _box(svg: Svg, box: Box, x: float, y: float) -> None:
    width, height = _size(box)
    names, lines = _texts(box)
    svg.open_group(box.says or box.name, ident=f"box-{box.ident}", link=box.link)
    svg.box(
        x - width / 2,
        y - height / 2,
        width,
        height,
        stroke=box.stroke,
        fill=FAINT if box.shaded else PAPER,
        round_by=7 if box.rounded else 0,
    )
    at = y - height / 2 + PADDING + NORMAL - 2
    at = svg.lines(x, at, names, bold=True, anchor="middle")
    svg.lines(x, at - 0.5, lines, size=SMALL, anchor="middle")
    svg.close_group(link=bool(box.link))
