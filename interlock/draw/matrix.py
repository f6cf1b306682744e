"""The cause-and-effect matrix: rules down, paths across, what each does to each, with delays and reset.

IEC 62881:2018 covers such matrices (by its published scope: combinational logic only, so delays stand in words).
"""

from __future__ import annotations

from collections.abc import Sequence

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import A4, FOOT, HEAD, Drawing, Paper, Sheet, framed
from interlock.draw.said import all_of, said, titled
from interlock.draw.style import FAINT, LINE_HEIGHT, MARGIN, NORMAL, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import condition_text, side_text, signal_text, trigger_text
from interlock.scheme.model import Rule, Scheme, Target
from interlock.scheme.units import time_text
from interlock.scheme.words import LineForm, Signal

RULE, CAUSE, CLEARS, RESET = 92.0, 128.0, 112.0, 62.0
LEFT = RULE + CAUSE + CLEARS + RESET
COLUMN = 30.0  # of a path, or as wide as the widest word that a cell can hold
PADDING = 3.0
LEAST_HEADER = 40.0


def draw_matrix(scheme: Scheme, paper: Paper = A4) -> list[Drawing]:
    """The matrix on as many sheets as it takes: paths are split across, rules down."""
    columns = _columns(scheme)
    across = max(1, int((paper.width - 2 * MARGIN - LEFT) // _column()))
    header = max([LEAST_HEADER, *(text_width(name, NORMAL) + 8 for name in columns)])
    room = paper.height - 2 * MARGIN - HEAD - FOOT - header
    rows = [(rule, _row_height(scheme, rule)) for rule in scheme.rules.values()]
    sheets = [
        (part, names)
        for part in _split([h for _, h in rows], room)
        for names in (columns[i : i + across] for i in range(0, len(columns), across))
    ]
    drawings = []
    for number, (part, names) in enumerate(sheets, 1):
        chosen = [rows[i] for i in part]
        sheet = Sheet(number, len(sheets))
        drawings.append(_sheet(scheme, chosen, names, header, sheet, paper))
    return drawings


def _column() -> float:
    """How wide a path's column is."""
    return max(
        COLUMN,
        text_width(said("stops"), SMALL, bold=True) + 2 * PADDING,
        text_width(said("by mode"), SMALL - 0.5) + PADDING,
        text_width(said("starts"), SMALL) + 3 * PADDING,
    )


def _columns(scheme: Scheme) -> list[str]:
    """The paths that some rule acts on, then those that none does: they are worth seeing too."""
    acted = {t.path for r in scheme.rules.values() for t in r.blocks} | {
        p for r in scheme.rules.values() for p in r.starts
    }
    return sorted(scheme.paths, key=lambda name: name not in acted)


def _split(heights: Sequence[float], room: float) -> list[list[int]]:
    """Rows in their order, as many on a sheet as it holds."""
    parts: list[list[int]] = [[]]
    used = 0.0
    for i, height in enumerate(heights):
        if parts[-1] and used + height > room:
            parts.append([])
            used = 0.0
        parts[-1].append(i)
        used += height
    return parts


def _cells(scheme: Scheme, rule: Rule) -> tuple[list[str], list[str], list[str], list[str]]:
    """The wrapped texts of the four columns on the left."""
    trips = signal_text(rule.watched, trigger_text(scheme, rule, rule.trips))
    cause = wrapped(trips, CAUSE - 2 * PADDING, SMALL)
    for condition in rule.only_while:
        only = said("only while {asked}", asked=condition_text(scheme, condition))
        cause += wrapped(only, CAUSE - 2 * PADDING, SMALL)
    clears = wrapped(trigger_text(scheme, rule, rule.clears), CLEARS - 2 * PADDING, SMALL)
    if not rule.manual:
        reset = [said("by itself")]
    else:
        reset = [said("by hand: {line}", line=rule.reset_by) if rule.reset_by else said("by hand: nobody can")]
    if rule.overridden_by:
        line, most = rule.overridden_by, rule.override_at_most
        reset.append(
            said("overridden by {line}, {time} at most", line=line, time=time_text(most.us))
            if most
            else said("overridden by {line}, without limit", line=line)
        )
    resets = [line for text in reset for line in wrapped(text, RESET - 2 * PADDING, SMALL)]
    return wrapped(rule.name, RULE - 2 * PADDING, NORMAL, bold=True), cause, clears, resets


def _row_height(scheme: Scheme, rule: Rule) -> float:
    lines = max(len(lines) for lines in _cells(scheme, rule))
    if any(target.when for target in rule.blocks):
        lines = max(lines, 2)  # a cell with `by mode` below its word
    return lines * SMALL * LINE_HEIGHT + 2 * PADDING + 2


def _sheet(
    scheme: Scheme,
    rows: Sequence[tuple[Rule, float]],
    names: Sequence[str],
    header: float,
    sheet: Sheet,
    paper: Paper,
) -> Drawing:
    svg = framed(
        scheme,
        said("Causes and effects"),
        said(
            "A table. Each row is a rule with its cause, when it clears and how it resets; each column a path. A cell "
            "says whether the rule stops or starts the path while it is in force."
        ),
        width=paper.width,
        height=paper.height,
        sheet=sheet,
        says=said(
            "Each rule, while in force, stops or starts the paths in its row. A path runs while nothing stops it."
        ),
    )
    top = MARGIN + HEAD
    svg.lines(MARGIN + PADDING, top + header - 5, [said("rule")], size=NORMAL, bold=True)
    x, column = MARGIN + RULE, _column()
    for head, width in ((said("trips when"), CAUSE), (said("clears when"), CLEARS), (said("resets"), RESET)):
        shown = fitted(head, width - 2 * PADDING, NORMAL, bold=True)
        svg.text(x + PADDING, top + header - 5, shown, bold=True)
        x += width
    right = MARGIN + LEFT + column * len(names)
    for i, name in enumerate(names):
        x = MARGIN + LEFT + column * (i + 0.5)
        svg.open_group(_path_title(scheme, name))
        svg.text(x + 3, top + header - 5, name, turned=True)
        svg.close_group()
    y = top + header
    svg.line(MARGIN, y, right, y, Stroke.HEAVY)
    for rule, row_height in rows:
        _row(svg, scheme, rule, names, (y, row_height, column))
        y += row_height
        svg.line(MARGIN, y, right, y, Stroke.FAINT)
    svg.line(MARGIN, y, right, y)
    for i in range(len(names) + 1):
        x = MARGIN + LEFT + column * i
        svg.line(x, top + header, x, y, Stroke.FAINT if 0 < i < len(names) else Stroke.PLAIN)
    suffix = f"_{sheet.number}" if sheet.count > 1 else ""
    return Drawing(f"matrix{suffix}", said("Causes and effects"), svg)


def _path_title(scheme: Scheme, name: str) -> str:
    path = scheme.paths[name]
    return titled(name, path.why)


def _row(svg: Svg, scheme: Scheme, rule: Rule, names: Sequence[str], at: tuple[float, float, float]) -> None:
    """A rule's row; `at`: its top, its height, and how wide a path's column is."""
    y, height, column = at
    first = y + PADDING + SMALL
    x = MARGIN
    name, *texts = _cells(scheme, rule)
    svg.open_group(titled(rule.name, rule.why), ident=f"row-{rule.name}")
    svg.lines(x + PADDING, first, name, size=NORMAL, bold=True)
    for lines, width in zip(texts, (RULE, CAUSE, CLEARS), strict=True):
        x += width
        svg.lines(x + PADDING, first, lines, size=SMALL)
    stops = {target.path: target for target in rule.blocks}
    for i, path in enumerate(names):
        left = MARGIN + LEFT + column * i
        _cell(svg, rule, stops.get(path), path, (left, y, column, height))
    svg.close_group()
    other = _other_effects(scheme, rule)
    if other and not rule.blocks and not rule.starts:
        room = column * len(names) - 2 * PADDING
        svg.box(MARGIN + LEFT + 1, y + 1, room + 4, height - 2, stroke=None)
        svg.lines(MARGIN + LEFT + PADDING, first, wrapped(other, room, SMALL)[:2], size=SMALL)


def _other_effects(scheme: Scheme, rule: Rule) -> str:
    """What a rule does that no path's column can show."""
    sent = [
        signal_text(line.name, side_text(Signal.LINE, first=line.form is LineForm.HIGH_WHEN))
        for line in scheme.lines.values()
        if rule.name in line.rules
    ]
    told = [said("sends {lines}", lines=all_of(sent))] if sent else []
    told += [said("raises an alarm")] if rule.alarm else []
    return all_of(told) or said("seen by other rules only")


def _cell(svg: Svg, rule: Rule, stop: Target | None, path: str, at: tuple[float, float, float, float]) -> None:
    x, y, width, height = at
    middle, baseline = x + width / 2, y + height / 2 + 3
    if stop:
        svg.box(x + 1.5, y + 1.5, width - 3, height - 3, stroke=None, fill=FAINT)
        svg.text(middle, baseline - (4 if stop.when else 0), said("stops"), size=SMALL, bold=True, anchor="middle")
        if stop.when:
            svg.text(middle, baseline + 5, said("by mode"), size=SMALL - 0.5, anchor="middle")
    if path in rule.starts:
        svg.box(x + 2.5, y + 2.5, width - 5, height - 5, stroke=Stroke.ACCENT, fill="none")
        svg.text(middle, baseline, said("starts"), size=SMALL, anchor="middle")
