"""The card for the wall: one A5 side with what each stop means, what to look at, what never to do, whom to call."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import Drawing
from interlock.draw.style import GREY, LINE_HEIGHT, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import trigger_text
from interlock.handbook.frame import document
from interlock.handbook.html import Html, Part, coded, element, items, joined, paragraph, plain
from interlock.handbook.inline import figure, pens
from interlock.handbook.style import STYLE
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import LineForm, Signal
from interlock.sheet.style import css_string

WIDTH, HEIGHT = 595.28, 419.53  # 210 mm by 148 mm
EDGE, GAP = 20.0, 14.0
# Print and whether reasons are told, tried in turn until all stops have room.
TRIED = ((9.0, True), (8.0, True), (7.5, True), (9.0, False), (8.0, False), (7.5, False), (7.0, False))
TITLE = 14.0
NEVER = ("never_bridge", "never_reset", "never_freeze", "never_pull", "never_stay")
CALLS = ("call_installer", "call_owner", "call_emergency")
LINE = 16.5  # room to write in
BELOW = 116.0  # height of what stands under the stops


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop: its name, what it means, what to look at and what ends it, and why it is there."""

    name: str
    means: str
    look: str
    why: str = ""

    def said(self, *, why: bool) -> str:
        """What stands under its first line."""
        return f"{self.look} {self.why}" if why and self.why else self.look


def stops(scheme: Scheme, words: Catalogue) -> list[Stop]:
    """Each rule that stops something or tells people, in the scheme's order."""
    return [_stop(scheme, rule, words) for rule in scheme.rules.values() if rule.blocks or rule.alarm]


def _names(scheme: Scheme, words: Catalogue) -> Iterator[Stop]:
    """What the groups are that the stops name."""
    groups: dict[str, dict[str, None]] = {}
    for target in (t for rule in scheme.rules.values() for t in rule.blocks if t.group):
        groups.setdefault(target.group, {})[target.path] = None
    if groups:
        said = (words("card.group", group=group, paths=", ".join(paths)) for group, paths in groups.items())
        yield Stop(words("card.names"), " ".join(said), "")


def _stop(scheme: Scheme, rule: Rule, words: Catalogue) -> Stop:
    trips = trigger_text(scheme, rule, rule.trips)
    if rule.blocks:
        groups = dict.fromkeys(t.group or t.path for t in rule.blocks)
        means = words("card.stops", paths=", ".join(groups), signal=rule.watched, trips=trips)
    else:
        means = words("card.tells", signal=rule.watched, trips=trips)
    look = f"{words('card.look', things=', '.join(things(scheme, rule)))} {ends(scheme, rule, words)}"
    return Stop(rule.name, means, look, words("card.why", why=rule.why.rstrip(". ")) if rule.why else "")


def ends(scheme: Scheme, rule: Rule, words: Catalogue) -> str:
    """What ends a stop."""
    if not rule.manual:
        return words("card.by_itself", clears=trigger_text(scheme, rule, rule.clears))
    return words("card.by_person", line=rule.reset_by) if rule.reset_by else words("card.by_nobody")


def things(scheme: Scheme, rule: Rule) -> Iterator[str]:
    """What one looks at when the rule has tripped: sensors with their terminals, lines with what sends them, paths."""
    match rule.watches:
        case Signal.SENSOR:
            yield _labelled(rule.watched, scheme.sensors[rule.watched].terminal)
        case Signal.READING:
            for name in scheme.readings[rule.watched].sensors:
                yield _labelled(name, scheme.sensors[name].terminal)
        case Signal.LINE:
            line = scheme.lines[rule.watched]
            yield _labelled(line.name, line.terminal)
            if line.form is LineForm.CONFIRMS:
                yield line.output
            yield from line.rules
        case Signal.PATH | Signal.RULE:
            yield rule.watched
        case Signal.QUANTITY:
            raise AssertionError("no rule watches the truth")


def _labelled(name: str, terminal: str) -> str:
    return f"{name} ({terminal})" if terminal else name


def draw_card(scheme: Scheme, words: Catalogue) -> Drawing:
    """The card. Where there are more stops than a side holds at the smallest print, it says how many are missing."""
    listed = [*stops(scheme, words), *_names(scheme, words)]
    never = [words(f"card.{key}") for key in NEVER]
    said = [f"{s.name}: {s.means} {s.look}" for s in listed]
    title = words("card.title", scheme=scheme.title)
    svg = Svg(WIDTH, HEIGHT, title, " ".join([*said, words("card.never"), *never, words("card.call")]))
    room = WIDTH - 2 * EDGE
    svg.text(EDGE, EDGE + 10, fitted(title, room, TITLE, bold=True), size=TITLE, bold=True)
    svg.lines(EDGE, EDGE + 22, wrapped(words("card.says"), room, 8.0)[:2], size=8.0, colour=GREY)
    top = EDGE + 34
    bottom = HEIGHT - EDGE - BELOW
    _columns(svg, listed, words, top, bottom)
    _below(svg, never, words, bottom + 8)
    revision = f"{words('card.revision', revision=scheme.revision)} " if scheme.revision else ""
    foot = revision + words("card.certifies")
    svg.text(EDGE, HEIGHT - 10, fitted(foot, room, 7.0), size=7.0, colour=GREY)
    return Drawing("card", words("card.name"), svg)


def _columns(svg: Svg, listed: Sequence[Stop], words: Catalogue, top: float, bottom: float) -> None:
    """The stops in two columns, in the largest print in which all of them fit."""
    width = (WIDTH - 2 * EDGE - GAP) / 2
    for size, why in TRIED:
        blocks = [_block(stop, width, size, why=why) for stop in listed]
        if _fit(blocks, size, bottom - top) == len(blocks):
            break
    shown = _fit(blocks, size, bottom - top - (0 if _fit(blocks, size, bottom - top) == len(blocks) else 10))
    column, y = 0, top
    for stop, lines in list(zip(listed, blocks, strict=True))[:shown]:
        height = _height(lines, size)
        if y + height > bottom and column == 0:
            column, y = 1, top
        x = EDGE + column * (width + GAP)
        svg.open_group(f"{stop.name}: {stop.means} {stop.look}")
        name = fitted(stop.name, width, size, bold=True)
        svg.text(x, y + size, name, size=size, bold=True)
        svg.text(x + text_width(name, size, bold=True) + 3, y + size, lines[0], size=size)
        svg.lines(x, y + size * (1 + LINE_HEIGHT), lines[1:], size=size)
        svg.close_group()
        y += height
    if missing := sum(1 for stop in listed[shown:] if stop.look):  # names without a stop are none
        more = words("card.more", count=missing)
        svg.text(EDGE + width + GAP, bottom - 1, fitted(more, width, size, bold=True), size=size, bold=True)


def _block(stop: Stop, width: float, size: float, *, why: bool) -> list[str]:
    """The lines after a stop's name: the first beside it, the others below."""
    room = width - text_width(fitted(stop.name, width, size, bold=True), size, bold=True) - 3
    first, *rest = wrapped(stop.means, room, size) if room > width / 4 else ["", stop.means]
    below = wrapped(" ".join(rest), width, size) if rest else []
    said = stop.said(why=why)
    return [first, *below, *(wrapped(said, width, size) if said else [])]


def _height(lines: Sequence[str], size: float) -> float:
    return len(lines) * size * LINE_HEIGHT + size * 0.45


def _fit(blocks: Sequence[Sequence[str]], size: float, room: float) -> int:
    """How many of these blocks two columns hold."""
    column, used = 0, 0.0
    for i, lines in enumerate(blocks):
        height = _height(lines, size)
        if used + height > room:
            column, used = column + 1, 0.0
        if column > 1 or height > room:
            return i
        used += height
    return len(blocks)


def _below(svg: Svg, never: Sequence[str], words: Catalogue, top: float) -> None:
    """What never to do, and whom to call, side by side."""
    width = (WIDTH - 2 * EDGE - GAP) * 0.58
    height = BELOW - 18
    svg.box(EDGE, top, width, height, stroke=Stroke.WARNING)
    svg.text(EDGE + 6, top + 12, words("card.never"), size=9.5, bold=True)
    y = top + 24
    for line in never:
        lines = wrapped(line, width - 22, 7.5)
        svg.text(EDGE + 6, y, "✕", size=7.5, bold=True)
        y = svg.lines(EDGE + 16, y, lines, size=7.5) + 1.2
    x = EDGE + width + GAP
    rest = WIDTH - EDGE - x
    svg.box(x, top, rest, height, stroke=Stroke.HEAVY)
    svg.text(x + 6, top + 12, words("card.call"), size=9.5, bold=True)
    y = top + 30
    for key in CALLS:
        said = words(f"card.{key}")
        svg.text(x + 6, y, fitted(said, rest * 0.5, 7.5), size=7.5)
        svg.line(x + 6 + min(text_width(said, 7.5), rest * 0.5) + 4, y + 1.5, x + rest - 6, y + 1.5)
        y += LINE
    svg.lines(x + 6, y, wrapped(words("card.place"), rest - 12, 7.5)[:1], size=7.5)
    svg.line(x + 6, y + LINE, x + rest - 6, y + LINE)


def card(scheme: Scheme, words: Catalogue) -> Part:
    """The card as a part of the handbook: in print a side of its own."""
    title = Html(f"<b>{words.html('card.never')}</b>")
    never = [element("p", title, 'class="screen"'), items((words(f"card.{key}") for key in NEVER), "screen")]
    shown = figure(words, draw_card(scheme, words), kind="card")
    body = joined([paragraph(coded(words("card.part")), "screen"), *never, shown])
    return Part("card", words("card.name"), body, "sheets")


def card_page(scheme: Scheme, words: Catalogue) -> str:
    """The card alone, to be printed on one A5 side."""
    with words.drawn():
        drawn = draw_card(scheme, words)
    style = STYLE.replace("FOOT", css_string("")) + pens() + "@page { size: A5 landscape; margin: 0 }\n"
    title = words("card.title", scheme=scheme.title)
    heading = Html(f'<h1 class="screen">{plain(title)}</h1>\n')
    body = joined([Html("<main>\n"), heading, figure(words, drawn, kind="card"), Html("</main>\n")])
    return document(words, title, style, body)
