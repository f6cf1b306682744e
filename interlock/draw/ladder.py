"""The grading ladder of a quantity: every threshold in its order, from warning to shedding to stopping to damage.

Each rule's threshold is a limit of a *reading*; its band shows where the *truth* can then be, the sensor's error taken
in. Limits of requirements are limits of the truth itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from interlock.draw.metrics import wrapped
from interlock.draw.page import FOOT, HEAD, Drawing, a4, framed
from interlock.draw.said import Text, in_turn, listed, said, titled
from interlock.draw.style import GREY, LINE_HEIGHT, MARGIN, NORMAL, SMALL, Stroke
from interlock.draw.svg import Svg
from interlock.draw.words import asked_text, lasting, limit_text, trigger_text
from interlock.scheme.bands import limited, looked_after, reading_error, truth_at
from interlock.scheme.model import Claim, Interval, Limit, Quantity, Rule, Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Compare, Must, OwnLimit, Signal

Scale = Callable[[int], float]  # a value to its height on the page

SAYS = Text(
    "Right: the rules, solid where they trip, dashed where they clear; a bar shows where the truth can be then. Left: "
    "what requirements say of the truth."
)
SAYS_DEVICES = Text("Coloured: what is set inside devices; dotted where they come back.")

_OWN = {
    OwnLimit.ABSORPTION: Text("absorption"),
    OwnLimit.FLOAT: Text("float"),
    OwnLimit.HIGH_CUT_OFF: Text("high_cut_off"),
    OwnLimit.HIGH_RECONNECT: Text("high_reconnect"),
    OwnLimit.LOW_CUT_OFF: Text("low_cut_off"),
    OwnLimit.LOW_RECONNECT: Text("low_reconnect"),
    OwnLimit.HOT_CUT_OFF: Text("hot_cut_off"),
    OwnLimit.HOT_RECONNECT: Text("hot_reconnect"),
    OwnLimit.COLD_CUT_OFF: Text("cold_cut_off"),
    OwnLimit.COLD_RECONNECT: Text("cold_reconnect"),
}
assert set(_OWN) == set(OwnLimit), set(OwnLimit) - set(_OWN)

AXIS = 300.0  # x of the scale; requirements stand to its left, rules to its right
BAND, BAND_GAP = 9.0, 5.0


@dataclass(frozen=True, slots=True)
class Rung:
    """One threshold: its value, where the truth can be when a reading meets it (for rules), and its words."""

    value: int
    truth: Interval | None
    words: str
    says: str
    stroke: Stroke


def draw_ladders(scheme: Scheme) -> list[Drawing]:
    """A ladder for each quantity that a rule or a requirement has a limit on."""
    drawings = []
    for quantity in scheme.quantities.values():
        rules = sorted(
            (*rule_rungs(scheme, quantity), *device_rungs(scheme, quantity)), key=lambda r: (-r.value, r.words)
        )
        claims = sorted((*claim_rungs(scheme, quantity), *damage_rungs(quantity)), key=lambda r: (-r.value, r.words))
        if rules or claims:
            drawings.append(_draw(scheme, quantity, rules, claims))
    return drawings


def rule_rungs(scheme: Scheme, quantity: Quantity) -> list[Rung]:
    """The trips and clears of the rules that look after this quantity, highest first."""
    rungs = []
    limits = {downward: limited(scheme, downward=downward) for downward in (True, False)}
    for rule in scheme.rules.values():
        error = reading_error(scheme, rule.watches, rule.watched, quantity.name)
        if error is None or not isinstance(rule.trips.test, Limit):
            continue
        if quantity.name not in looked_after(scheme, rule, limits[rule.trips.test.compare.downward]):
            continue
        for trigger in (rule.trips, rule.clears):
            if not isinstance(trigger.test, Limit):
                continue
            value, trips = trigger.test.value, trigger is rule.trips
            asked = trigger_text(scheme, rule, trigger)
            if trips:
                words = said("{rule} trips {asked}: {effect}", rule=rule.name, asked=asked, effect=_effect(rule))
                says = said("{rule} trips", rule=rule.name)
            else:
                words = said("{rule} clears {asked}", rule=rule.name, asked=asked)
                says = said("{rule} clears", rule=rule.name)
            stroke = Stroke.HEAVY if trips else Stroke.DASHED
            rungs.append(Rung(value, truth_at(value, error), words, titled(says, rule.why), stroke))
    return sorted(rungs, key=lambda r: (-r.value, r.words))


def device_rungs(scheme: Scheme, quantity: Quantity) -> list[Rung]:
    """What is set inside devices on this quantity, each with the value of the quantity itself, highest first."""
    rungs = []
    for device in scheme.devices.values():
        for limit in device.limits:
            if limit.quantity != quantity.name:
                continue
            asked = value_text(limit.value, quantity.kind)
            asked = lasting(limit_text(limit.compare, asked) if limit.compare else asked, limit.delay.us)
            if limit.nominal != limit.value:
                asked = said("{asked}, {value} a cell", asked=asked, value=value_text(limit.nominal, quantity.kind))
            words = said("{device} {which}: {asked}", device=device.path, which=_OWN[limit.which](), asked=asked)
            stroke = Stroke.DOTTED if limit.which.cut_off else Stroke.ACCENT
            rungs.append(Rung(limit.nominal, limit.truth, words, device.what or words, stroke))
    return sorted(rungs, key=lambda r: (-r.value, r.words))


def damage_rungs(quantity: Quantity) -> list[Rung]:
    """Where the cells themselves are damaged."""
    return [
        Rung(
            value,
            None,
            said("{asked}: damage", asked=limit_text(compare, value_text(value, quantity.kind))),
            said("damage, by the datasheet"),
            Stroke.HEAVY,
        )
        for compare, value in ((Compare.ABOVE, quantity.damaged_above), (Compare.BELOW, quantity.damaged_below))
        if value is not None
    ]


def claim_rungs(scheme: Scheme, quantity: Quantity) -> list[Rung]:
    """The limits that requirements set on this quantity, highest first; one for all the paths of a requirement."""
    rungs: dict[tuple[str, int], Rung] = {}
    for claim in scheme.claims:
        for condition in claim.conditions:
            if condition.name == quantity.name and isinstance(condition.test, Limit):
                asked = asked_text(scheme, Signal.QUANTITY, quantity.name, condition.test)
                stroke = Stroke.WARNING if claim.protects else Stroke.ACCENT
                words = _demand(claim, asked)
                rungs[claim.requirement, condition.test.value] = Rung(
                    condition.test.value, None, words, claim.why or claim.requirement, stroke
                )
    return sorted(rungs.values(), key=lambda r: (-r.value, r.words))


def _demand(claim: Claim, asked: str) -> str:
    name, time = claim.requirement, time_text(claim.longer_than.us)
    if claim.must is Must.NEVER_RUNNING:
        return said("{asked}: {requirement}, no running beyond {time}", asked=asked, requirement=name, time=time)
    return said("{asked}: {requirement}, no stop beyond {time}", asked=asked, requirement=name, time=time)


def _effect(rule: Rule) -> str:
    """What the rule does, in few words."""
    told = []
    if rule.blocks:
        groups = dict.fromkeys(t.group or t.path for t in rule.blocks)
        told.append(said("stops {paths}", paths=listed(groups)))
    if rule.starts:
        told.append(said("starts {paths}", paths=listed(rule.starts)))
    if rule.alarm:
        told.append(said("alarm"))
    return in_turn(told) or said("sends its line")


def _draw(scheme: Scheme, quantity: Quantity, rules: Sequence[Rung], claims: Sequence[Rung]) -> Drawing:
    width, height = a4()
    title = said("Ladder: {quantity}", quantity=quantity.name)
    described = said("Thresholds on {quantity} from high to low.", quantity=quantity.name)
    says = SAYS()
    if any(r.stroke in (Stroke.ACCENT, Stroke.DOTTED) for r in rules):
        says = f"{says} {SAYS_DEVICES()}"
    svg = framed(
        scheme,
        title,
        f"{described} {in_turn(r.words for r in sorted((*rules, *claims), key=lambda r: -r.value))}",
        width=width,
        height=height,
        says=says,
    )
    top, bottom = MARGIN + HEAD + 12, height - MARGIN - FOOT
    values = [r.value for r in (*rules, *claims)]
    values += [v for r in rules if r.truth for v in (r.truth.low, r.truth.high)]
    low, high = min(values), max(values)
    room = max(high - low, 1)

    def y(value: int) -> float:
        return bottom - 10 - (value - low) / room * (bottom - top - 24)

    svg.line(AXIS, top, AXIS, bottom, Stroke.HEAVY)
    for value in sorted(set(values)):
        svg.line(AXIS - 3, y(value), AXIS + 3, y(value))
    bands = len([r for r in rules if r.truth])
    right = AXIS + 16 + bands * (BAND + BAND_GAP)
    _rules(svg, rules, quantity, y, (top, bottom), right, width - MARGIN)
    _claims(svg, claims, y, (top, bottom))
    return Drawing(f"ladder_{quantity.name}", title, svg)


def spread(wanted: Sequence[float], heights: Sequence[float], top: float, bottom: float) -> list[float]:
    """Middles as near to the wanted ones as they can be without overlapping, in the same order (from the top)."""
    placed: list[list[float]] = []  # blocks of labels that touch: [middle of the block, height, first index, count]
    for i, (at, height) in enumerate(zip(wanted, heights, strict=True)):
        placed.append([_clamped(at, height, top, bottom), height, i, 1])
        while len(placed) > 1 and placed[-2][0] + placed[-2][1] / 2 > placed[-1][0] - placed[-1][1] / 2:
            middle, size, _, count = placed.pop()
            before = placed[-1]
            total = before[1] + size
            before[0] = (before[0] * before[3] + middle * count) / (before[3] + count)
            before[0] = _clamped(before[0], total, top, bottom)
            before[1], before[3] = total, before[3] + count
    middles: list[float] = []
    for middle, size, first, count in placed:
        at = middle - size / 2
        for height in heights[int(first) : int(first + count)]:
            middles.append(at + height / 2)
            at += height
    return middles


def _clamped(middle: float, height: float, top: float, bottom: float) -> float:
    """The middle moved so that the block lies between top and bottom; from the top on where it is too high for both."""
    return min(max(middle, top + height / 2), max(bottom - height / 2, top + height / 2))


def _rules(
    svg: Svg,
    rungs: Sequence[Rung],
    quantity: Quantity,
    y: Scale,
    span: tuple[float, float],
    left: float,
    right: float,
) -> None:
    room = right - left - 20
    texts = [wrapped(rung.words, room, NORMAL) for rung in rungs]
    bands = [wrapped(_band_words(rung, quantity), room, SMALL) if rung.truth else [] for rung in rungs]
    heights = [
        (len(lines) * NORMAL + len(band) * SMALL) * LINE_HEIGHT + 5 for lines, band in zip(texts, bands, strict=True)
    ]
    middles = spread([y(r.value) for r in rungs], heights, *span)
    lane = AXIS + 12
    for rung, lines, band, height, middle in zip(rungs, texts, bands, heights, middles, strict=True):
        at = y(rung.value)
        svg.open_group(rung.says)
        if rung.truth:
            top, bottom = y(rung.truth.high), y(rung.truth.low)
            svg.box(lane, top, BAND, max(bottom - top, 1.5), stroke=Stroke.PLAIN, fill="#ececec")
            lane += BAND + BAND_GAP
        svg.line(AXIS, at, left, at, rung.stroke)
        svg.polyline([(left, at), (left + 12, middle)], Stroke.PLAIN)
        below = svg.lines(left + 15, middle - height / 2 + NORMAL + 1, lines)
        svg.lines(left + 15, below - 1, band, size=SMALL, colour=GREY)
        svg.close_group()


def _band_words(rung: Rung, quantity: Quantity) -> str:
    assert rung.truth is not None
    low, high = (value_text(v, quantity.kind) for v in (rung.truth.low, rung.truth.high))
    return said("{quantity} is then {low} to {high}", quantity=quantity.name, low=low, high=high)


def _claims(svg: Svg, rungs: Sequence[Rung], y: Scale, span: tuple[float, float]) -> None:
    texts = [wrapped(r.words, AXIS - MARGIN - 34, NORMAL, bold=True) for r in rungs]
    heights = [len(lines) * NORMAL * LINE_HEIGHT + 5 for lines in texts]
    middles = spread([y(r.value) for r in rungs], heights, *span)
    for rung, lines, height, middle in zip(rungs, texts, heights, middles, strict=True):
        at = y(rung.value)
        svg.open_group(rung.says)
        svg.line(AXIS - 18, at, AXIS, at, rung.stroke)
        svg.polyline([(AXIS - 30, middle), (AXIS - 18, at)])
        first = middle - height / 2 + NORMAL + 1
        svg.lines(AXIS - 33, first, lines, bold=rung.stroke is Stroke.WARNING, anchor="end")
        svg.close_group()
