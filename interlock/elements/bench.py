"""What to put in an element's place on the bench so that the controller reads a wanted value, from what is at hand.

A resistor stands in for a thermometer, a voltage source for what is above a divider or for a shunt. The leads stay, and
so do the input's own tolerances; the element is out of the way, so its tolerance, what it warms itself and its place
play no part.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from enum import Enum
from fractions import Fraction

from msgspec import Struct

from interlock.elements.chain import MICRO, Range
from interlock.elements.errors import element_at, nominal_of, place_ohms, readings_of
from interlock.elements.records import ElementError, Sensing, Shunt, Thermometer
from interlock.elements.series import E24, E96, pairs, values

FAR = Fraction(1, 4)  # a single resistor off by more than this part of its own tolerance gives way to a pair


class KitKind(Enum):
    """What an integrator has at hand."""

    DECADE = "decade"
    E24 = "e24"
    E96 = "e96"
    SOURCE = "source"


class Kit(Struct, frozen=True):
    """What is at hand: in ohms for resistors, in volts for a source. `step`: the smallest one (none for a series).
    A value put is right to `part` of itself and `fixed` besides. `most`: the highest value it has."""

    kind: KitKind
    step: Fraction
    part: Fraction
    fixed: Fraction
    most: Fraction

    def ends(self, value: Fraction) -> tuple[Fraction, Fraction]:
        """The least and the greatest true value of what is put."""
        off = abs(value) * self.part + self.fixed
        return value - off, value + off


WORDS = {
    KitKind.DECADE: "a decade box",
    KitKind.E24: "E24 resistors",
    KitKind.E96: "E96 resistors",
    KitKind.SOURCE: "a voltage source",
}
assert set(WORDS) == set(KitKind)
# What an ordinary bench has: common practice, no source; the tolerances of the series are those IEC 60063 ties to them.
DECADE_BOX = Kit(KitKind.DECADE, Fraction(1), Fraction(1, 100), Fraction(1, 10), Fraction(10**7))
E24_RESISTORS = Kit(KitKind.E24, Fraction(0), Fraction(5, 100), Fraction(0), Fraction(10**7))
E96_RESISTORS = Kit(KitKind.E96, Fraction(0), Fraction(1, 100), Fraction(0), Fraction(10**7))
VOLTAGE_SOURCE = Kit(KitKind.SOURCE, Fraction(1, 1000), Fraction(1, 1000), Fraction(2, 1000), Fraction(100))
MILLIVOLT_SOURCE = Kit(KitKind.SOURCE, Fraction(1, 10**5), Fraction(1, 1000), Fraction(2, 10**5), Fraction(1))
KITS = {
    KitKind.DECADE: DECADE_BOX,
    KitKind.E24: E24_RESISTORS,
    KitKind.E96: E96_RESISTORS,
    KitKind.SOURCE: VOLTAGE_SOURCE,
}
_SERIES = {KitKind.E24: E24, KitKind.E96: E96}


def usual_kit(sensing: Sensing) -> Kit:
    """The kit for an element where none is named: a decade box, a voltage source, a millivolt source."""
    if isinstance(sensing.element, Thermometer):
        return DECADE_BOX
    return MILLIVOLT_SOURCE if isinstance(sensing.element, Shunt) else VOLTAGE_SOURCE


def fits(sensing: Sensing, kit: Kit) -> bool:
    """Whether such a kit can stand in for the element: resistors for a thermometer, a source for the rest."""
    return isinstance(sensing.element, Thermometer) is not (kit.kind is KitKind.SOURCE)


class Stimulus(Struct, frozen=True):
    """What to put in the element's place. `parts`: ohms in series, or one voltage. `nominal`: what nominal parts read,
    in millionths; `reads`: all that may be read, what is invalid a millionth outside the valid range. `element_at`: the
    temperature at which the element itself has that resistance, in degC (None where that means nothing)."""

    parts: tuple[Fraction, ...]
    nominal: int
    reads: Range
    element_at: Fraction | None

    @property
    def value(self) -> Fraction:
        """The whole of it."""
        return sum(self.parts, Fraction(0))


def stimulus(sensing: Sensing, parts: tuple[Fraction, ...], kit: Kit, valid: Range) -> Stimulus:
    """What it means to put these parts of a kit in the element's place."""
    low, high = _true_ends(parts, kit)
    value = sum(parts, Fraction(0))
    if isinstance(sensing.element, Thermometer):
        low = max(low, Fraction(0))
    reads = readings_of(sensing, low, high, valid)
    return Stimulus(parts, nominal_of(sensing, value, valid), reads, element_at(sensing, value))


def _true_ends(parts: tuple[Fraction, ...], kit: Kit) -> tuple[Fraction, Fraction]:
    ends = [kit.ends(part) for part in parts]
    return sum((low for low, _ in ends), Fraction(0)), sum((high for _, high in ends), Fraction(0))


def pretend(sensing: Sensing, reading: int, kit: Kit, valid: Range) -> Stimulus:
    """What of the kit makes the controller read nearest to `reading` (millionths). Raises ElementError where nothing of
    it comes near: the reading is beyond what the kit reaches."""
    _must_fit(sensing, kit)
    target = place_ohms(sensing, Fraction(reading, MICRO))
    found = list(_candidates(kit, target, resistors=isinstance(sensing.element, Thermometer)))
    if not found:
        raise ElementError(f"{WORDS[kit.kind]} has nothing near {float(target):g}")
    best = min(found, key=lambda parts: (abs(sum(parts) - target), len(parts)))
    single = min((p for p in found if len(p) == 1), key=lambda parts: abs(parts[0] - target), default=best)
    near = abs(single[0] - target) <= FAR * kit.part * target
    return stimulus(sensing, single if near or kit.kind not in _SERIES else best, kit, valid)


def surely(
    sensing: Sensing, meets: Callable[[int], bool], limit: int, kit: Kit, valid: Range, *, upward: bool
) -> Stimulus:
    """What of the kit lies nearest to a limit on the reading (millionths) with every reading it may give meeting
    `meets`: beyond the limit upward (readings above it) or downward.

    `meets` holds from some reading near the limit on, in that direction, to the end of the valid range. Raises
    ElementError where no value of the kit is sure to.
    """
    _must_fit(sensing, kit)
    higher = not isinstance(sensing.element, Thermometer) or sensing.element.rises  # more of it reads higher
    more = higher is upward  # in which direction of the kit's values the reading moves away from the limit
    start = place_ohms(sensing, Fraction(limit, MICRO))

    def beyond(value: Fraction) -> bool:
        made = stimulus(sensing, (value,), kit, valid)
        return meets(made.reads.low) and meets(made.reads.high)

    target = _edge(beyond, start, max(kit.step, (abs(start) * kit.part + kit.fixed) / 8), more=more)
    found = [] if target is None else _candidates(kit, target, resistors=isinstance(sensing.element, Thermometer))
    for parts in sorted(found, key=lambda parts: (abs(sum(parts) - start), len(parts))):
        made = stimulus(sensing, parts, kit, valid)
        if meets(made.reads.low) and meets(made.reads.high) and _inside(made.reads, valid):
            return made
    raise ElementError(f"no value of {WORDS[kit.kind]} is surely beyond the limit and still read as valid")


def _edge(beyond: Callable[[Fraction], bool], start: Fraction, unit: Fraction, *, more: bool) -> Fraction | None:
    """The value nearest to `start` from which on all are beyond, to the 64th part of a unit; None where none is."""
    way = 1 if more else -1
    near, far = Fraction(0), unit
    while not beyond(start + way * far):
        near, far = far, 2 * far
        if far > 10**9 or (not more and start > 0 and far > 2 * start):
            return None
    while far - near > unit / 64:
        middle = (near + far) / 2
        near, far = (near, middle) if beyond(start + way * middle) else (middle, far)
    return start + way * far


def _inside(reads: Range, valid: Range) -> bool:
    return reads.low in valid and reads.high in valid


def _candidates(kit: Kit, target: Fraction, *, resistors: bool) -> list[tuple[Fraction, ...]]:
    """The values of a kit on both sides of a target, as the parts they are made of."""
    if kit.kind in _SERIES:
        series = _SERIES[kit.kind]
        known = values(series)
        at = bisect_left(known, target)
        singles: list[tuple[Fraction, ...]] = [(v,) for v in known[max(0, at - 1) : at + 1]]
        both = sorted(pairs(series, target), key=lambda pair: abs(sum(pair) - target))
        below = [p for p in both if sum(p) <= target][:1]
        above = [p for p in both if sum(p) >= target][:1]
        return [*singles, *below, *above]
    count = target / kit.step
    found = {kit.step * (count.numerator // count.denominator), -(kit.step * (-count.numerator // count.denominator))}
    least = kit.step if resistors else -kit.most
    return [(v,) for v in sorted(found) if least <= v <= kit.most]


def _must_fit(sensing: Sensing, kit: Kit) -> None:
    if not fits(sensing, kit):
        raise ElementError(
            "a resistor stands in for a thermometer, never a voltage"
            if kit.kind is KitKind.SOURCE
            else "a voltage stands in for it, never a resistor"
        )
