"""Permit maps drawn: a panel for all paths that stand alike, its edges where the scheme has them.

What a path may do is told by a word, a pattern and a shade at once, so that colour alone says nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import A4, FOOT, HEAD, Drawing, Paper, Sheet, framed
from interlock.draw.patches import patches, told
from interlock.draw.said import Text, all_of, in_turn, listed, said, titled
from interlock.draw.style import ACCENT, FAINT, GREY, LINE_HEIGHT, MARGIN, NORMAL, PAPER, SMALL, WARNING, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import asked_text, condition_text, limit_text
from interlock.logic.permits import Panel, PermitMap, Standing, Subject
from interlock.logic.steady import Alike, Piece
from interlock.scheme.model import Interval, Limit, Scheme
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Compare, Must, Signal

SAYS = Text(
    "All else as favourable as can be, resets given, nobody overriding, readings held still. Edges: the rules' limits, "
    "exact. Lines across: requirements' limits on the truth (dashed: against harm, plain: for a service), with "
    "the band of what sensors may read there."
)
WORDS = {
    Standing.RUNS: Text("may run"),
    Standing.TURNS: Text("runs by turns"),
    Standing.DEPENDS: Text("as it was"),
    Standing.STOPPED: Text("stopped"),
    Standing.UNKNOWN: Text("not known"),
}
assert set(WORDS) == set(Standing), set(Standing) - set(WORDS)
MEANS = {
    Standing.RUNS: Text("it ends up running, wherever the readings came from"),
    Standing.TURNS: Text("it runs and stops by turns, by a rule's own times"),
    Standing.DEPENDS: Text("it stays running or stopped, by where the readings came from"),
    Standing.STOPPED: Text("it ends up stopped, whatever else is set"),
    Standing.UNKNOWN: Text("whether what went before matters could not be shown"),
}
assert set(MEANS) == set(Standing), set(Standing) - set(MEANS)
FILL = {
    Standing.RUNS: PAPER,
    Standing.TURNS: "url(#turns)",
    Standing.DEPENDS: "url(#depends)",
    Standing.STOPPED: FAINT,
    Standing.UNKNOWN: "url(#hatch)",
}
assert set(FILL) == set(Standing), set(Standing) - set(FILL)
PATTERNS = (
    f'<pattern id="depends" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    f'<rect width="6" height="6" fill="{PAPER}"/><line x1="0" y1="0" x2="0" y2="6" stroke="{ACCENT}" '
    'stroke-width="1.6"/></pattern>'
    '<pattern id="turns" width="7" height="7" patternUnits="userSpaceOnUse">'
    f'<rect width="7" height="7" fill="{PAPER}"/>'
    f'<line x1="0" y1="3.5" x2="7" y2="3.5" stroke="{ACCENT}" stroke-width="1.2"/></pattern>'
)

LEAST_WIDTH, LEAST_HEIGHT = 280.0, 190.0  # of a panel
LEAST_PLOT = 80.0  # height of its plot
ROW = 215.0  # by which a sheet with a row of panels less is shorter
LEFT, ABOVE, SCALE = 58.0, 14.0, 56.0  # room around a plot for its scales and its title
KEY = 52.0  # room for what stands above the panels
GAP = 14.0
LEAST_X, LEAST_Y = 0.055, 0.075  # of an axis, between two values that are written at it
Scale = Callable[[int], float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A limit that requirements have on an axis: `band` is what a sensor may read while the truth is at the limit,
    `asked` the condition, `must` what they demand, `harm` whether the opposite does harm (else a service is lost)."""

    value: int
    band: Interval
    names: tuple[str, ...]
    asked: str
    must: Must
    harm: bool

    @property
    def words(self) -> str:
        """`frozen_charge: no running while coldest_cell below 0 degC`."""
        return _demand(self.names, [self.asked], self.must)


_DEMANDS = {
    Must.NEVER_RUNNING: Text("{requirements}: no running while {asked}"),
    Must.NEVER_STOPPED: Text("{requirements}: no stop while {asked}"),
}
assert set(_DEMANDS) == set(Must), set(Must) - set(_DEMANDS)


def _demand(names: Sequence[str], asked: Sequence[str], must: Must) -> str:
    return _DEMANDS[must](requirements=listed(names), asked=all_of(asked))


def draw_permits(scheme: Scheme, found: PermitMap, paper: Paper = A4) -> list[Drawing]:
    """A map on as many sheets as its panels take. Panels that are the same everywhere are told in words."""
    width, full = paper.width, paper.height
    across = max(1, int((width - 2 * MARGIN + GAP) // (LEAST_WIDTH + GAP)))
    room = full - 2 * MARGIN - HEAD - FOOT - KEY
    wide = (width - 2 * MARGIN - GAP * (across - 1)) / across
    longest = max((len(_legend(scheme, found, p, wide)) for p in found.panels if p.uniform is None), default=0)
    down = max(1, int(room // max(LEAST_HEIGHT, LEAST_PLOT + ABOVE + _below(longest))))
    panels = [panel for panel in found.panels if panel.uniform is None]
    same = [panel for panel in found.panels if panel.uniform is not None]
    per_sheet = across * down
    parts = [panels[i : i + per_sheet] for i in range(0, len(panels), per_sheet)] or [[]]
    title = said("Where what may run: {one} and {other}", one=axis_name(found.x), other=axis_name(found.y))
    drawings = []
    for count, part in enumerate(parts, 1):
        rows = max(1, -(-len(part) // across))
        height = full - (down - rows) * ROW
        svg = framed(
            scheme,
            title,
            " ".join(_described(scheme, found, p) for p in [*part, *(same if count == 1 else [])]),
            width=width,
            height=height,
            sheet=Sheet(count, len(parts)),
            says=SAYS(),
        )
        svg.define(PATTERNS)
        top = 10 + _key(svg, [told(cell) for p in part for column in p.cells for cell in column])
        beside = _beside(scheme, found, same) if count == 1 else []
        if beside:
            lines = [fitted(line, width - 2 * MARGIN, SMALL) for line in beside]
            svg.lines(MARGIN, top - 2, lines, size=SMALL)
            top += len(lines) * SMALL * LINE_HEIGHT
        room_y = (height - top - MARGIN - FOOT + 12) / rows
        for i, panel in enumerate(part):
            x, row = MARGIN + (i % across) * (wide + GAP), i // across
            legends = [_legend(scheme, found, p, wide) for p in part[row * across : (row + 1) * across]]
            legend = _cut(legends[i % across], wide, room_y)
            below = _below(max(len(_cut(lines, wide, room_y)) for lines in legends))
            _panel(svg, scheme, found, panel, (x, top + row * room_y, wide, room_y), legend, below)
        suffix = f"_{count}" if len(parts) > 1 else ""
        drawings.append(Drawing(f"permit_{_file(found.x)}_{_file(found.y)}{suffix}", title, svg))
    return drawings


def _beside(scheme: Scheme, found: PermitMap, same: Sequence[Panel]) -> list[str]:
    """The paths that need no panel."""
    everywhere = [
        said("{paths}: {may} everywhere", paths=names_of(scheme, p), may=WORDS[p.uniform]())
        for p in same
        if p.uniform is not None
    ]
    lines = [in_turn(everywhere)] if everywhere else []
    if found.untouched:
        untouched = listed(subject_name(scheme, s) for s in found.untouched)
        lines.append(said("these readings do not matter to {paths}", paths=untouched))
    return lines


_NOUNS = {
    Kind.TEMPERATURE: Text("temperature"),
    Kind.VOLTAGE: Text("voltage"),
    Kind.CURRENT: Text("current"),
    Kind.POWER: Text("power"),
    Kind.PERCENT: Text("percentage"),
    Kind.FREQUENCY: Text("frequency"),
    Kind.SPEED: Text("speed of rotation"),
    Kind.PRESSURE: Text("pressure"),
    Kind.RESISTANCE: Text("resistance"),
    Kind.CAPACITY: Text("capacity"),
    Kind.ENERGY: Text("energy"),
}
assert {kind: noun.text for kind, noun in _NOUNS.items()} == {kind: kind.noun for kind in Kind}


def axis_name(group: Alike) -> str:
    """The group in words: a quantity's name, or what kind of value it is."""
    return _NOUNS[group.kind]() if group.name == group.kind.noun and len(group.quantities) > 1 else group.name


def _file(group: Alike) -> str:
    return "_".join(group.name.split())


def names_of(scheme: Scheme, panel: Panel) -> str:
    """The paths of a panel, each with its mode."""
    return listed(subject_name(scheme, s) for s in panel.subjects)


def subject_name(scheme: Scheme, subject: Subject) -> str:
    """A path, with its mode where it has some."""
    mode = all_of(condition_text(scheme, c) for c in subject.mode)
    return said("{path} while {mode}", path=subject.path, mode=mode) if mode else subject.path


def _described(scheme: Scheme, found: PermitMap, panel: Panel) -> str:
    """The panel in words, for those who do not see it: its areas, the largest first."""
    areas = [
        said(
            "{may} where {one} and {other}",
            may=WORDS[patch.standing](),
            one=_where(found.x, panel.xs, patch.columns),
            other=_where(found.y, panel.ys, patch.rows),
        )
        for patch in patches(panel)
    ]
    return said("{paths}: {areas}.", paths=names_of(scheme, panel), areas=in_turn(areas))


def _where(group: Alike, axis: Sequence[Piece], span: tuple[int, int]) -> str:
    """A stretch of an axis in words; the end of the axis itself is a piece of its own and no limit."""
    first, last = axis[span[0]], axis[span[1]]
    ends = [] if span[0] <= 1 else [limit_text(Compare.ABOVE, value_text(first.low, group.kind))]
    if span[1] < len(axis) - 2:
        ends.append(limit_text(Compare.BELOW, value_text(last.high, group.kind)))
    name = axis_name(group)
    return said("{name} is {asked}", name=name, asked=all_of(ends)) if ends else said("{name} is anything", name=name)


def _key(svg: Svg, present: Sequence[Standing]) -> float:
    """What the patterns mean; gives the height below it."""
    x, y = MARGIN, MARGIN + HEAD - 4
    for standing in Standing:
        if standing not in present:
            continue
        words = titled(WORDS[standing](), MEANS[standing]())
        wide = 20 + text_width(words, SMALL)
        if x > MARGIN and x + wide > svg.width - MARGIN:
            x, y = MARGIN, y + 12
        svg.box(x, y, 16, 9, fill=FILL[standing])
        svg.text(x + 20, y + 7.5, words, size=SMALL)
        x += wide + 14
    return y + 12


def _panel(
    svg: Svg,
    scheme: Scheme,
    found: PermitMap,
    panel: Panel,
    at: tuple[float, float, float, float],
    legend: Sequence[str],
    below: float,
) -> None:
    left, top, width, height = at
    plot = (left + LEFT, top + ABOVE, width - LEFT - 6, height - ABOVE - below)
    title = fitted(names_of(scheme, panel), width, NORMAL, bold=True)
    svg.text(left, top + 8, title, bold=True)
    x_marks = marks(scheme, found.x, panel.subjects)
    y_marks = marks(scheme, found.y, panel.subjects)
    to_x = _scale(panel.xs, x_marks, plot[0], plot[2], LEAST_X)
    to_y = _scale(panel.ys, y_marks, plot[1] + plot[3], -plot[3], LEAST_Y)
    labels: list[tuple[str, float, float]] = []
    for patch in patches(panel):
        x1, x2 = to_x(panel.xs[patch.columns[0]].low), to_x(panel.xs[patch.columns[1]].high)
        y1, y2 = to_y(panel.ys[patch.rows[1]].high), to_y(panel.ys[patch.rows[0]].low)
        word = WORDS[patch.standing]()
        svg.open_group(titled(word, MEANS[patch.standing]()))
        svg.box(x1, y1, x2 - x1, y2 - y1, fill=FILL[patch.standing])
        svg.close_group()
        if text_width(word, SMALL, bold=True) + 6 <= x2 - x1 and y2 - y1 >= SMALL + 4:
            labels.append((word, (x1 + x2) / 2, (y1 + y2) / 2 + 3))
    _limits(svg, x_marks, to_x, plot, across=True)
    _limits(svg, y_marks, to_y, plot, across=False)
    svg.box(plot[0], plot[1], plot[2], plot[3], fill="none")
    for words, x, y in labels:
        wide = text_width(words, SMALL, bold=True) + 4
        svg.box(x - wide / 2, y - 7.5, wide, 10, stroke=None)
        svg.text(x, y, words, size=SMALL, bold=True, anchor="middle")
    _scales(svg, found, panel, (x_marks, y_marks), (to_x, to_y), plot)
    svg.lines(left, plot[1] + plot[3] + SCALE, legend, size=SMALL, colour=GREY)


def _scale(axis: Sequence[Piece], marked: Sequence[Mark], start: float, length: float, least: float) -> Scale:
    """Values to places. The ends of an axis, where nothing happens any more, are cut to a share of what lies between;
    what would stand too close to its neighbour is moved apart: the scale then is not even, and its words count."""
    inner = sorted(
        {p.low for p in axis[1:-1] if p.point} | {m.value for m in marked if axis[0].low < m.value < axis[-1].high}
    )
    low, high = axis[0].low, axis[-1].high
    if not inner:
        return lambda value: start + length * (value - low) / max(high - low, 1)
    room = max(inner[-1] - inner[0], (high - low) // 10, 1)
    stops = [max(low, inner[0] - room // 4), *inner, min(high, inner[-1] + room // 4)]
    shares = [max((b - a) / max(stops[-1] - stops[0], 1), least) for a, b in pairwise(stops)]
    total = sum(shares)
    places = [0.0]
    for share in shares:
        places.append(places[-1] + share / total)

    def place(value: int) -> float:
        value = min(max(value, stops[0]), stops[-1])
        for i in range(len(shares)):
            if value <= stops[i + 1]:
                part = (value - stops[i]) / max(stops[i + 1] - stops[i], 1)
                return start + length * (places[i] + part * (places[i + 1] - places[i]))
        return start + length

    return place


def _limits(
    svg: Svg, marked: Sequence[Mark], to: Scale, plot: tuple[float, float, float, float], *, across: bool
) -> None:
    """Requirements' limits with their bands, over the areas."""
    x, y, width, height = plot
    for mark in marked:
        svg.open_group(mark.words)
        stroke = Stroke.WARNING if mark.harm else Stroke.ACCENT
        low, high = sorted((to(mark.band.low), to(mark.band.high)))
        at = to(mark.value)
        colour = WARNING if mark.harm else ACCENT
        if across:
            svg.veil(low, y, high - low, height, colour, 0.2 if mark.harm else 0.12)
            svg.line(at, y, at, y + height, stroke)
        else:
            svg.veil(x, low, width, high - low, colour, 0.2 if mark.harm else 0.12)
            svg.line(x, at, x + width, at, stroke)
        svg.close_group()


def _scales(
    svg: Svg,
    found: PermitMap,
    panel: Panel,
    marked: tuple[Sequence[Mark], Sequence[Mark]],
    to: tuple[Scale, Scale],
    plot: tuple[float, float, float, float],
) -> None:
    x, y, width, height = plot
    values = sorted({p.low for p in panel.xs[1:-1] if p.point} | {m.value for m in marked[0]})
    last = -1e9
    for value in values:
        at = to[0](value)
        svg.line(at, y + height, at, y + height + 3)
        if at - last >= SMALL + 1:
            words = value_text(value, found.x.kind)
            svg.text(at + 3, y + height + 5 + text_width(words, SMALL), words, size=SMALL, turned=True)
            last = at
    svg.text(x + width, y + height + 45, axis_name(found.x), size=SMALL, anchor="end", colour=GREY)
    values = sorted({p.low for p in panel.ys[1:-1] if p.point} | {m.value for m in marked[1]})
    last = 1e9
    for value in values:
        at = to[1](value)
        svg.line(x - 3, at, x, at)
        if last - at >= SMALL + 0.5:
            svg.text(x - 5, at + 2.5, value_text(value, found.y.kind), size=SMALL, anchor="end")
            last = at
    svg.text(x - LEFT + 8, y + height / 2 + text_width(axis_name(found.y), SMALL) / 2, axis_name(found.y), size=SMALL,
             colour=GREY, turned=True)  # fmt: skip


def _legend(scheme: Scheme, found: PermitMap, panel: Panel, width: float) -> list[str]:
    """The limits of the panel's rules, then what requirements ask, in lines of a panel's width."""
    lines = []
    for name in panel.rules:
        rule = scheme.rules[name]
        trips, clears = (asked_text(scheme, rule.watches, rule.watched, t.test) for t in (rule.trips, rule.clears))
        lines.append(said("{rule} trips {trips}, clears {clears}", rule=name, trips=trips, clears=clears))
    demands: dict[tuple[tuple[str, ...], Must], dict[str, None]] = {}
    for mark in (*marks(scheme, found.x, panel.subjects), *marks(scheme, found.y, panel.subjects)):
        demands.setdefault((mark.names, mark.must), {})[mark.asked] = None
    lines += [_demand(names, list(asked), must) for (names, must), asked in demands.items()]
    return wrapped(in_turn(lines), width, SMALL)


def _below(lines: int) -> float:
    """Room under a plot: its scale, then so many lines."""
    return SCALE + max(0, lines - 1) * SMALL * LINE_HEIGHT + SMALL


def _cut(lines: Sequence[str], width: float, height: float) -> list[str]:
    """The lines that leave a plot its room in a panel of that height; it takes dozens of rules to lose one."""
    most = max(1, int((height - ABOVE - LEAST_PLOT - SCALE - SMALL) / (SMALL * LINE_HEIGHT)) + 1)
    if len(lines) <= most:
        return list(lines)
    return [*lines[: most - 1], fitted(" ".join(lines[most - 1 :]), width, SMALL)]


def marks(scheme: Scheme, group: Alike, subjects: Sequence[Subject]) -> list[Mark]:
    """The limits of requirements on these paths, where the group's sensors measure what they are on."""
    found: dict[tuple[int, bool, Must, str], tuple[Interval, dict[str, None]]] = {}
    for claim in scheme.claims:
        if not any(s.path == claim.path and (not claim.any_of or s.mode in claim.any_of) for s in subjects):
            continue  # the claim counts in another mode of the path
        for condition in claim.conditions:
            if condition.signal is Signal.QUANTITY and isinstance(condition.test, Limit):
                value = condition.test.value
                band = _band(scheme, group, condition.name, value)
                if band is not None:
                    key = value, claim.protects, claim.must, condition_text(scheme, condition)
                    found.setdefault(key, (band, {}))[1][claim.requirement] = None
    return [
        Mark(value, band, tuple(names), asked, must, harm)
        for (value, harm, must, asked), (band, names) in sorted(found.items(), key=lambda item: item[0])
    ]


def _band(scheme: Scheme, group: Alike, quantity: str, value: int) -> Interval | None:
    """All that a sensor of the group may read while the quantity is at the value."""
    errors = [e.interval for s in group.sensors for e in scheme.sensors[s].measures if e.quantity == quantity]
    if not errors:
        return None
    return Interval(value + min(e.low for e in errors), value + max(e.high for e in errors))
