"""One rule's machine, from the table that runs it, with the rule's own numbers."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.draw.metrics import text_width, wrapped
from interlock.draw.page import Drawing, framed
from interlock.draw.said import Text, in_turn, said
from interlock.draw.style import A4_LONG, FAINT, LINE_HEIGHT, MARGIN, NORMAL, PAPER, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import STATE_WORDS, asked_text, lasting, signal_text
from interlock.logic.machine import TABLE, Row
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import OnInvalid, PowerUp, State

BOX_WIDTH, BOX_HEIGHT = 84.0, 34.0
LANE = 24.0  # between arrows that run above or below the boxes
TOP = 96.0
STRIP_HEAD, STRIP_FOOT = 86.0, 30.0  # what a page may cut off that says itself what stands there

_INVALID = {
    OnInvalid.TRIP: Text("A lost reading counts as a reason to trip."),
    OnInvalid.CLEAR: Text("A lost reading counts as a reason to clear."),
    OnInvalid.HOLD: Text("While the reading is lost the machine stands still."),
}
assert set(_INVALID) == set(OnInvalid), set(OnInvalid) - set(_INVALID)

_POWER_UP = {
    PowerUp.TRIPPED: Text("Power-up: tripped."),
    PowerUp.CLEAR: Text("Power-up: clear."),
    PowerUp.AS_LEFT: Text("Power-up: as it was left; the first time tripped."),
}
assert set(_POWER_UP) == set(PowerUp), set(PowerUp) - set(_POWER_UP)


@dataclass(frozen=True, slots=True)
class Arrow:
    """A transition to draw."""

    source: State
    target: State
    words: str


def arrows_of(scheme: Scheme, rule: Rule) -> list[Arrow]:
    """The transitions of the table that this rule can take, in its own words."""
    fixed = {
        "no_trip_delay": rule.trips.delay.scans == 0,
        "no_clear_delay": rule.clears.delay.scans == 0,
        "manual": rule.manual,
    }
    reached = {State.CLEAR, State.TRIPPED}
    reached |= set() if fixed["no_trip_delay"] else {State.PICKING_UP}
    reached |= set() if fixed["no_clear_delay"] else {State.DROPPING_OFF}
    reached |= {State.AWAITING_RESET} if rule.manual else set()
    arrows: list[Arrow] = []
    taken: set[tuple[State, tuple[str, ...]]] = set()
    for row in TABLE:
        asked = tuple(name for name in row.when if name not in fixed)
        if row.source not in reached or any(not fixed[name] for name in row.when if name in fixed):
            continue
        if (row.source, (*asked, *row.unless)) in taken:
            continue  # an earlier row with the same condition is taken first
        taken.add((row.source, (*asked, *row.unless)))
        if row.target is not None:
            arrows.append(Arrow(row.source, row.target, _words(scheme, rule, row)))
    return arrows


def _words(scheme: Scheme, rule: Rule, row: Row) -> str:
    trips = asked_text(scheme, rule.watches, rule.watched, rule.trips.test)
    clears = asked_text(scheme, rule.watches, rule.watched, rule.clears.test)
    if "reset_edge" in row.when:
        if not rule.reset_by:
            return said("nobody can reset it")
        return said("{line} goes from off to on", line=rule.reset_by)
    if "trips" in row.unless:
        return said("no longer {asked}", asked=trips)
    if "clears" in row.unless:
        return said("no longer {asked}", asked=clears)
    if "trip_delay_over" in row.when:
        return lasting(trips, rule.trips.delay.us)
    if "clear_delay_over" in row.when:
        return lasting(clears, rule.clears.delay.us)
    return signal_text(rule.watched, trips if "trips" in row.when else clears)


def draw_machine(scheme: Scheme, rule: Rule) -> Drawing:
    """The machine of one rule as a strip as wide as an A4 page is long."""
    arrows = arrows_of(scheme, rule)
    states = [s for s in State if s in {a.source for a in arrows} | {a.target for a in arrows}]
    width = A4_LONG
    gap = (width - 2 * MARGIN - BOX_WIDTH * len(states) - 40) / max(1, len(states) - 1)
    left = {state: MARGIN + 20 + i * (BOX_WIDTH + gap) for i, state in enumerate(states)}
    order = {state: i for i, state in enumerate(states)}
    straight = [a for a in arrows if order[a.target] == order[a.source] + 1]
    above, below = _lanes([a for a in arrows if a not in straight], order)
    box_top = TOP + LANE * len(above)
    height = box_top + BOX_HEIGHT + LANE * len(below) + 92
    steps = in_turn(
        said(
            "from {source} to {target} when {asked}",
            source=STATE_WORDS[a.source](),
            target=STATE_WORDS[a.target](),
            asked=a.words,
        )
        for a in arrows
    )
    says = said("Evaluated by {unit}. It acts in the states with a heavy frame.", unit=rule.unit)
    svg = framed(
        scheme,
        rule.name,
        said("The machine of the rule {rule}: {steps}", rule=rule.name, steps=steps),
        width=width,
        height=height,
        says=f"{says} {rule.why}" if rule.why else says,
    )
    middle = box_top + BOX_HEIGHT / 2
    for arrow in straight:
        _straight(svg, arrow, left[arrow.source] + BOX_WIDTH, left[arrow.target], middle)
    for lane, arrow in enumerate(above):
        _bent(svg, arrow, left, (box_top, box_top - LANE * (lane + 0.75)), lane)
    for lane, arrow in enumerate(below):
        foot = box_top + BOX_HEIGHT
        _bent(svg, arrow, left, (foot, foot + LANE * (lane + 0.75)), lane)
    for state in states:
        _state(svg, state, left[state], box_top)
    notes = [_POWER_UP[rule.power_up]()]
    if rule.watches.numeric:
        notes.append(_INVALID[rule.on_invalid]())
    foot = box_top + BOX_HEIGHT + LANE * len(below) + 34
    svg.lines(MARGIN + 20, foot, notes, size=NORMAL)
    return Drawing(f"machine_{rule.name}", rule.name, svg)


def _lanes(arrows: list[Arrow], order: dict[State, int]) -> tuple[list[Arrow], list[Arrow]]:
    """Arrows that trip again run above the boxes, those that clear below; the shorter ones nearer."""

    def span(arrow: Arrow) -> int:
        return abs(order[arrow.source] - order[arrow.target])

    above = sorted((a for a in arrows if a.target is State.TRIPPED), key=span)
    below = sorted((a for a in arrows if a.target is not State.TRIPPED), key=span)
    return above, below


def _state(svg: Svg, state: State, x: float, y: float) -> None:
    stroke = Stroke.HEAVY if state.active else Stroke.PLAIN
    word = STATE_WORDS[state]()
    acts = (
        said("{state}: the rule acts", state=word)
        if state.active
        else said("{state}: the rule does not act", state=word)
    )
    svg.open_group(acts, ident=str(state))
    svg.box(x, y, BOX_WIDTH, BOX_HEIGHT, stroke=stroke, fill=FAINT if state.active else PAPER, round_by=6)
    lines = wrapped(word, BOX_WIDTH - 6, NORMAL, bold=True)
    first = y + BOX_HEIGHT / 2 + 3 - (len(lines) - 1) * NORMAL * LINE_HEIGHT / 2
    svg.lines(x + BOX_WIDTH / 2, first, lines, bold=True, anchor="middle")
    svg.close_group()


def _straight(svg: Svg, arrow: Arrow, x1: float, x2: float, y: float) -> None:
    svg.line(x1, y, x2 - 4, y)
    svg.arrow_head(x2 - 1, y, 1, 0)
    lines = wrapped(arrow.words, x2 - x1 - 12, SMALL)
    svg.lines((x1 + x2) / 2, y - 5 - (len(lines) - 1) * SMALL * LINE_HEIGHT, lines, size=SMALL, anchor="middle")


def _bent(svg: Svg, arrow: Arrow, left: dict[State, float], ys: tuple[float, float], lane: int) -> None:
    """Out of one box, along a lane, into the other; each lane leaves and enters at its own place."""
    edge, y = ys
    out = left[arrow.source] + BOX_WIDTH * 0.5 + (lane - 0.5) * 9
    into = left[arrow.target] + BOX_WIDTH * 0.5 + (0.5 - lane) * 9 + (18 if out > left[arrow.target] else -18)
    svg.polyline([(out, edge), (out, y), (into, y), (into, edge + (4 if y > edge else -4))])
    svg.arrow_head(into, edge + (1 if y > edge else -1), 0, -1 if y > edge else 1)
    width = text_width(arrow.words, SMALL) + 6
    middle = (out + into) / 2
    svg.box(middle - width / 2, y - 5, width, 10, stroke=None)
    svg.text(middle, y + 2.6, arrow.words, size=SMALL, anchor="middle")
