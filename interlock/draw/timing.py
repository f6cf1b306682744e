"""Timing diagrams: readings with their thresholds, rules, lines and paths over a run.

Time is broken where nothing happens: every change has its own place on the axis and its own time in words; a while in
which nothing changes is drawn short.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from math import log2

from interlock.draw.history import Segment, only, worth_showing
from interlock.draw.metrics import text_width, wrapped
from interlock.draw.page import A4, FOOT, HEAD, Drawing, Paper, Sheet, framed
from interlock.draw.said import listed, said
from interlock.draw.style import FAINT, GREY, MARGIN, NORMAL, PAPER, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import STATE_WORDS, kind_of, side_text
from interlock.logic.readings import Value
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.units import decimal_text, time_text, value_text
from interlock.scheme.words import Signal, State

LABEL = 128.0
ROW, READING_ROW = 19.0, 46.0
AXIS_ROOM = 62.0
STEPS = 12.0


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the diagram."""

    name: str
    height: float
    draw: Callable[[Svg, float], None]


def draw_timing(
    scheme: Scheme,
    segments: Sequence[Segment],
    *,
    name: str,
    title: str,
    always: Collection[str] = (),
    exactly: bool = False,
    paper: Paper = A4,
) -> list[Drawing]:
    """The diagram on as many sheets as its rows take.

    `always`: names shown even where they never change; `exactly`: these and no others.
    """
    segments = only(segments, set(always) if exactly else worth_showing(segments, always))
    xs = _places(segments, MARGIN + LABEL, paper.width - MARGIN)
    rows = _rows(scheme, segments, xs)
    room = paper.height - 2 * MARGIN - HEAD - FOOT - AXIS_ROOM - STEPS
    sheets: list[list[Row]] = [[]]
    for row in rows:
        if sheets[-1] and sum(r.height for r in sheets[-1]) + row.height > room:
            sheets.append([])
        sheets[-1].append(row)
    drawings = []
    for number, chosen in enumerate(sheets, 1):
        svg = framed(
            scheme,
            title,
            f"{said('A timing diagram.')} {_story(scheme, segments)}",
            width=paper.width,
            height=paper.height,
            sheet=Sheet(number, len(sheets)),
            says=said(
                "Time runs to the right, not to scale: each change stands with its time, long waits are drawn short."
            ),
        )
        _draw(svg, scheme, segments, xs, chosen)
        drawings.append(Drawing(name + (f"_{number}" if len(sheets) > 1 else ""), title, svg))
    return drawings


def _places(segments: Sequence[Segment], left: float, right: float) -> list[float]:
    """Where each segment begins, and the end: longer whiles are wider, but only by the logarithm of their length."""
    weights = [3 + log2(1 + s.scans) for s in segments]
    total = sum(weights) or 1
    xs = [left]
    for weight in weights:
        xs.append(xs[-1] + weight / total * (right - left))
    return xs


def _story(scheme: Scheme, segments: Sequence[Segment]) -> str:
    """What happens to the paths, in words, for those who do not see the drawing."""
    told = []
    last: Mapping[str, bool | None] = {}
    for segment in segments:
        changed = [
            said("{path} {state}", path=p, state=_path_word(r))
            for p, r in segment.running.items()
            if p not in last or last[p] is not r
        ]
        if changed:
            time = time_text(segment.first * scheme.scan_us)
            told.append(said("At {time}: {changes}.", time=time, changes=listed(changed)))
        last = segment.running
    return " ".join(told)


def _path_word(running: bool | None) -> str:
    return said("either") if running is None else side_text(Signal.PATH, first=running)


def _rows(scheme: Scheme, segments: Sequence[Segment], xs: Sequence[float]) -> list[Row]:
    """A row for each name, in the order cause to effect."""
    if not segments:
        return []
    first = segments[0]
    rows = [Row(name, READING_ROW, _reading_row(scheme, name, segments, xs)) for name in first.readings]
    for name in first.lines:
        ons = [s.lines[name] for s in segments]
        rows.append(Row(name, ROW, _word_row([(side_text(Signal.LINE, first=on), on) for on in ons], xs)))
    for name in dict.fromkeys(name for s in segments for name in s.states):
        states = [s.states.get(name) for s in segments]
        rows.append(Row(name, ROW, _word_row([(STATE_WORDS[s]() if s else said("left out"), s) for s in states], xs)))
    for name in first.running:
        running = [s.running[name] for s in segments]
        rows.append(Row(name, ROW, _word_row([(_path_word(r), r) for r in running], xs)))
    return rows


def _word_row(words: Sequence[tuple[str, object]], xs: Sequence[float]) -> Callable[[Svg, float], None]:
    """A band per while in which one word holds; the word stands in it where it fits."""

    def draw(svg: Svg, y: float) -> None:
        start = 0
        for i in range(1, len(words) + 1):
            if i == len(words) or words[i] != words[start]:
                _band(svg, words[start], xs[start], xs[i], y)
                start = i

    return draw


def _band(svg: Svg, word: tuple[str, object], x1: float, x2: float, y: float) -> None:
    text, value = word
    svg.open_group(text)
    top, height = y + 3, ROW - 6
    quiet = value in (False, State.CLEAR)
    if quiet:
        svg.line(x1, top + height, x2, top + height)
    elif value in (None, State.PICKING_UP):
        svg.box(x1, top, x2 - x1, height, stroke=Stroke.DASHED)
    else:
        heavy = value in (State.TRIPPED, State.AWAITING_RESET)
        svg.box(x1, top, x2 - x1, height, stroke=Stroke.HEAVY if heavy else Stroke.PLAIN, fill=FAINT)
    if text_width(text, SMALL) <= x2 - x1 - 4:
        svg.text((x1 + x2) / 2, top + height - 3.5, text, size=SMALL, anchor="middle")
    svg.close_group()


def _reading_row(
    scheme: Scheme, name: str, segments: Sequence[Segment], xs: Sequence[float]
) -> Callable[[Svg, float], None]:
    signal = next(
        s
        for s, table in (
            (Signal.SENSOR, scheme.sensors),
            (Signal.READING, scheme.readings),
            (Signal.QUANTITY, scheme.quantities),
        )
        if name in table
    )
    kind, difference = kind_of(scheme, signal, name)
    assert kind is not None
    limits = sorted(
        {
            trigger.test.value
            for rule in scheme.rules.values()
            if rule.watched == name
            for trigger in (rule.trips, rule.clears)
            if isinstance(trigger.test, Limit)
        }
    )
    values: list[Value] = [s.readings.get(name) for s in segments]
    known = [float(v) for v in values if v is not None]
    near = [v for v in limits if known and min(known) - 1 <= v <= max(known) + 1]
    low, high = min([*known, *near], default=0.0), max([*known, *near], default=1.0)

    def draw(svg: Svg, y: float) -> None:
        def at(value: float) -> float:
            return y + READING_ROW - 8 - (value - low) / ((high - low) or 1) * (READING_ROW - 18)

        for limit in near:
            svg.line(xs[0], at(limit), xs[-1], at(limit), Stroke.DOTTED)
        start = 0
        for i in range(1, len(values) + 1):
            if i < len(values) and values[i] == values[start]:
                continue
            value = values[start]
            if value is None:
                svg.box(xs[start], y + 6, xs[i] - xs[start], READING_ROW - 12, stroke=Stroke.WARNING, fill="hatch")
                words = said("lost")
            else:
                svg.line(xs[start], at(float(value)), xs[i], at(float(value)), Stroke.HEAVY)
                after = values[i] if i < len(values) else None
                if after is not None:
                    svg.line(xs[i], at(float(value)), xs[i], at(float(after)), Stroke.HEAVY)
                words = value_text(value, kind, difference=difference)
            if text_width(words, SMALL) <= xs[i] - xs[start] - 3:
                middle = y + READING_ROW / 2 if value is None else at(float(value)) - 3
                width = text_width(words, SMALL)
                svg.box((xs[start] + xs[i] - width) / 2 - 1, middle - 6.5, width + 2, 8, stroke=None, fill=PAPER)
                svg.text((xs[start] + xs[i]) / 2, middle, words, size=SMALL, anchor="middle")
            start = i

    return draw


def _draw(svg: Svg, scheme: Scheme, segments: Sequence[Segment], xs: Sequence[float], rows: Sequence[Row]) -> None:
    top = MARGIN + HEAD + STEPS
    bottom = top + sum(row.height for row in rows)
    for x in xs:
        svg.line(x, top, x, bottom + 4, Stroke.FAINT)
    _steps(svg, segments, xs, top, bottom)
    y = top
    for row in rows:
        name = said("{quantity} (true)", quantity=row.name) if row.name in scheme.quantities else row.name
        lines = wrapped(name, LABEL - 10, NORMAL)[:2]
        svg.lines(MARGIN, y + row.height / 2 + 3 - (len(lines) - 1) * 5, lines)
        row.draw(svg, y)
        y += row.height
    _axis(svg, scheme, segments, xs, bottom)


def _steps(svg: Svg, segments: Sequence[Segment], xs: Sequence[float], top: float, bottom: float) -> None:
    """A line and a number where each step begins; what a person did there stands in its title."""
    if not any(s.marks for s in segments):
        return
    svg.text(MARGIN, top - STEPS + 4, said("step"), size=SMALL, colour=GREY)
    for x, segment in zip(xs, segments, strict=False):
        if segment.marks:
            mark = segment.marks[0]
            svg.open_group(mark.says)
            svg.line(x, top - STEPS - 2, x, bottom + 4, Stroke.DOTTED)
            svg.text(x + 2, top - STEPS + 4, str(mark.number), size=SMALL, colour=GREY)
            svg.close_group()


def _axis(svg: Svg, scheme: Scheme, segments: Sequence[Segment], xs: Sequence[float], y: float) -> None:
    """Times of changes, reading upwards; one is left out where there is no room beside its neighbour."""
    svg.line(xs[0], y + 4, xs[-1], y + 4)
    svg.text(MARGIN, y + 14, said("time"), size=SMALL, colour=GREY)
    last = -1e9
    ends = [s.first for s in segments] + ([segments[-1].first + segments[-1].scans] if segments else [])
    for x, scan in zip(xs, ends, strict=True):
        svg.line(x, y + 4, x, y + 8)
        if x - last >= SMALL + 1.5:
            words = exact_time(scan * scheme.scan_us)
            svg.text(x + 3, y + 11 + text_width(words, SMALL), words, size=SMALL, turned=True)
            last = x


def exact_time(us: int) -> str:
    """A time with all its figures: `6 min 1.2 s`."""
    minutes, rest = divmod(us, 60_000_000)
    if not minutes:
        return time_text(us) if us else "0 s"
    hours, minutes = divmod(minutes, 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if minutes else []
    parts += [f"{decimal_text(rest)} s"] if rest else []
    return " ".join(parts)
