"""All drawings of a scheme, kind by kind."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape

from interlock.draw.history import case_history
from interlock.draw.ladder import draw_ladders
from interlock.draw.logic import draw_logic
from interlock.draw.machine import draw_machine
from interlock.draw.matrix import draw_matrix
from interlock.draw.overview import draw_overview
from interlock.draw.page import A4, CAUTION, Drawing, Paper
from interlock.draw.permit import draw_permits
from interlock.draw.said import said
from interlock.draw.timing import draw_timing
from interlock.draw.wiring import draw_wiring
from interlock.logic.permits import Atlas
from interlock.scheme.model import Scheme
from interlock.scheme.words import Word


class DrawingKind(Word):
    """What can be drawn of a scheme."""

    OVERVIEW = "overview"
    WIRING = "wiring"
    MATRIX = "matrix"
    LADDER = "ladder"
    LOGIC = "logic"
    MACHINE = "machine"
    CASE = "case"
    PERMIT = "permit"


def _overview(scheme: Scheme, portable: bool, _: Paper) -> Iterator[Drawing]:
    yield draw_overview(scheme, portable=portable)


def _wiring(scheme: Scheme, _: bool, _paper: Paper) -> Iterator[Drawing]:
    for unit in scheme.units:
        yield from draw_wiring(scheme, unit)


def _matrix(scheme: Scheme, _: bool, paper: Paper) -> Iterator[Drawing]:
    yield from draw_matrix(scheme, paper)


def _ladder(scheme: Scheme, _: bool, _paper: Paper) -> Iterator[Drawing]:
    yield from draw_ladders(scheme)


def _logic(scheme: Scheme, portable: bool, _: Paper) -> Iterator[Drawing]:
    for path in scheme.paths:
        yield draw_logic(scheme, path, portable=portable)


def _machine(scheme: Scheme, _: bool, _paper: Paper) -> Iterator[Drawing]:
    for rule in scheme.rules.values():
        yield draw_machine(scheme, rule)


def _case(scheme: Scheme, _: bool, paper: Paper) -> Iterator[Drawing]:
    for number, case in enumerate(scheme.cases, 1):
        expected = [e.name for step in case.steps for e in step.expects]
        yield from draw_timing(
            scheme,
            case_history(scheme, case),
            name=f"case_{number:02d}",
            title=said("Case: {name}", name=case.name),
            always=expected,
            paper=paper,
        )


def _permit(scheme: Scheme, _: bool, paper: Paper) -> Iterator[Drawing]:
    atlas = Atlas(scheme)
    for x, y in atlas.planes():
        yield from draw_permits(scheme, atlas.map(x, y), paper)


_DRAW: dict[DrawingKind, Callable[[Scheme, bool, Paper], Iterator[Drawing]]] = {
    DrawingKind.OVERVIEW: _overview,
    DrawingKind.WIRING: _wiring,
    DrawingKind.MATRIX: _matrix,
    DrawingKind.LADDER: _ladder,
    DrawingKind.LOGIC: _logic,
    DrawingKind.MACHINE: _machine,
    DrawingKind.CASE: _case,
    DrawingKind.PERMIT: _permit,
}
assert set(_DRAW) == set(DrawingKind), set(DrawingKind) - set(_DRAW)


def draw(
    scheme: Scheme,
    kinds: tuple[DrawingKind, ...] = tuple(DrawingKind),
    *,
    portable: bool = False,
    paper: Paper = A4,
) -> Iterator[Drawing]:
    """The drawings of these kinds, one by one. Raises NoRendererError where a graph can't be laid out."""
    for kind in kinds:
        yield from _DRAW[kind](scheme, portable, paper)


def index_page(scheme: Scheme, drawings: list[Drawing]) -> str:
    """A plain page that lists the drawings."""
    items = "\n".join(f'<li><a href="{escape(d.name)}.svg">{escape(d.title)}</a></li>' for d in drawings)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>Drawings: {escape(scheme.title)}</title>\n"
        "<style>body{font:1rem/1.5 Arial,sans-serif;max-width:40rem;margin:2rem auto;padding:0 1rem}</style>\n"
        f"</head>\n<body>\n<h1>{escape(scheme.title)}: drawings</h1>\n<ul>\n{items}\n</ul>\n<p>{escape(CAUTION)}</p>\n"
        "</body>\n</html>\n"
    )
