"""How far a reading may be from the truth, bounded outward to the scheme's millionths."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from flint import arb
from msgspec import Struct

from interlock.elements.chain import MICRO, OPEN_OHMS, Range, ends, just_outside, ohm_reader, volt_reader
from interlock.elements.curves import Function, corners, degrees_of, judge, ohms, ohms_of, part_of
from interlock.elements.enclose import Ball, Dual, Over, exact, highest, highest_of, precisely
from interlock.elements.records import Curve, Divider, ElementError, Sensing, Shunt, Thermometer

NEAR = Fraction(1, 4 * MICRO)  # how far above the exact bound the computed one may lie
HOTTEST = Fraction(50)  # kelvins of self-heating beyond which a measurement makes no sense


class Lead(Struct, frozen=True):
    """What a broken or shorted lead reads: some value from `low` to `high`, `reads` for short. None: always invalid."""

    reads: int | None
    low: int = 0
    high: int = 0


def _up(ball: Ball) -> int:
    return _whole((ball * MICRO).upper().ceil())


def _down(ball: Ball) -> int:
    return _whole((ball * MICRO).lower().floor())


def _whole(ball: Ball) -> int:
    whole = ball.unique_fmpz()
    if whole is None:
        raise ArithmeticError("it is not finite")
    return int(whole)


@contextmanager
def _worked_out() -> Iterator[None]:
    """Precisely; what can't be worked out is the element's fault, not the tool's."""
    with precisely():
        try:
            yield
        except (ArithmeticError, ValueError) as error:
            raise ElementError("its numbers give no reading that can be worked out: check their units") from error


# --- temperatures


def heating(sensing: Sensing) -> Fraction:
    """The most by which an element can warm itself, in K: where its resistance equals the pull resistor's it takes
    V^2 / 4 Rp (the theorem of maximum power transfer)."""
    element, wiring = sensing.element, sensing.input
    if not isinstance(element, Thermometer) or element.dissipates is None:
        return Fraction(0)
    feed = wiring.supply or wiring.reference
    assert feed is not None
    assert wiring.resistor is not None
    return feed.high**2 / (4 * wiring.resistor.low) / element.dissipates.low


def _heat(sensing: Sensing) -> Function:
    """The most kelvins by which an element of so many ohms warms itself."""
    element, wiring = sensing.element, sensing.input
    assert isinstance(element, Thermometer)
    feed = wiring.supply or wiring.reference
    if element.dissipates is None or feed is None or wiring.resistor is None:
        return lambda _: Dual(arb(0))
    pull, most = exact(wiring.resistor.low), exact(feed.high**2 / element.dissipates.low)

    def heat(r: Dual) -> Dual:
        part = 1 / (r + pull)
        return most * part * (1 - pull * part)

    return heat


def element_ohms(element: Thermometer, curve: Curve, side: int) -> Function:
    """The resistance at so many degC of the part that reads highest (side 1), lowest (-1), or is nominal (0)."""
    shift, per_degree, forward = side * exact(element.kelvin), side * exact(element.per_degree), ohms_of(curve)
    low, high = part_of(curve)
    up = side if element.rises else -side
    factor = exact(high * (1 + element.part) if up > 0 else low * (1 - element.part) if up < 0 else Fraction(1))
    if element.per_degree:
        return lambda t: factor * forward(t + (shift + per_degree * t.size()))
    return lambda t: factor * forward(t + shift)


class _Error(NamedTuple):
    """One combination of tolerances that may read highest (`side` 1) or lowest (-1): `side` times reading minus truth,
    and the reading, both of the element's own temperature, or of volts or amperes."""

    error: Function
    reading: Function


def _temperature_error(sensing: Sensing, curve: Curve, side: int, truth: Range, valid: Range) -> _Error:
    element = sensing.element
    assert isinstance(element, Thermometer)
    resistance, reads, heat = element_ohms(element, curve, side), ohm_reader(sensing, side, valid), _heat(sensing)
    coldest = exact(truth.ends[0])

    def error(t: Dual) -> Dual:
        r = resistance(t)
        if side < 0:
            return t - reads(r)  # just after power-up it has not warmed itself yet
        place = t if element.dissipates is None else (t - heat(r)).clip(coldest, None)
        return reads(r) - place

    return _Error(error, lambda t: reads(resistance(t)))


def _volt_errors(sensing: Sensing, side: int, valid: Range) -> list[_Error]:
    def error(reading: Function) -> _Error:
        return _Error(lambda u: side * (reading(u) - u), reading)

    return [error(volt_reader(sensing, side, at, valid)) for at in ends(side)]


def _readable(reading: Function, low: Fraction, high: Fraction, valid: Range, side: int) -> tuple[Fraction, Fraction]:
    """The truths at which this reading may be valid, or lies beyond the far end of `valid`.

    Where even the highest reading is below `valid` nothing is asked of it: a reading as low as the truth is invalid
    too. Likewise for the lowest one above `valid`. Readings rise with the truth.
    """
    half = Fraction(1, 2 * MICRO)
    edge = exact(valid.ends[0] - half if side > 0 else valid.ends[1] + half)

    def lost(t: Fraction) -> bool:
        value = reading(Dual(exact(t))).value
        return value < edge if side > 0 else value > edge

    gone, kept = (low, high) if side > 0 else (high, low)
    if not lost(gone):
        return low, high
    if lost(kept):
        return kept, kept
    while abs(kept - gone) > NEAR:
        middle = (gone + kept) / 2
        gone, kept = (middle, kept) if lost(middle) else (gone, middle)
    return (gone, high) if side > 0 else (low, gone)


# --- what the scheme needs


@lru_cache(maxsize=512)
def error_interval(sensing: Sensing, truth: Range, valid: Range) -> Range:
    """The least interval of whole millionths that holds reading minus truth for every truth at the element's place in
    `truth`, with every tolerance anywhere; at most a millionth wider at each end, where the error hardly changes from
    truth to truth (perfect parts) at most two thousandths of a kelvin.

    A reading outside `valid` is invalid wherever it lies: it counts as the one outside that is nearest to the truth.
    Raises ElementError where a curve does not reach far enough or turns back, or the element would heat itself beyond
    all measure.
    """
    with _worked_out():
        low, high = truth.ends
        if isinstance(sensing.element, Thermometer):
            hotter = heating(sensing)
            _judge(sensing, truth, valid, hotter)
            curves = tuple(corners(sensing.element.curve))
            up, down = ([_temperature_error(sensing, c, side, truth, valid) for c in curves] for side in (1, -1))
            high_end = high + hotter
        else:
            up, down = _volt_errors(sensing, 1, valid), _volt_errors(sensing, -1, valid)
            high_end = high
        most = highest((Over(e.error, *_readable(e.reading, low, high_end, valid, 1)) for e in up), NEAR)
        # An element that is warmer than its place reads higher: what it warms itself matters on one side alone.
        least = highest((Over(e.error, *_readable(e.reading, low, high, valid, -1)) for e in down), NEAR)
        return Range(min(-_up(least), _up(most)), _up(most))


def _judge(sensing: Sensing, truth: Range, valid: Range, hotter: Fraction) -> None:
    assert isinstance(sensing.element, Thermometer)
    low, high = truth.ends
    if hotter > HOTTEST:
        raise ElementError(f"it would warm itself by up to {float(hotter):.0f} K")
    try:
        judge(sensing.element.curve, low, high)
    except ElementError as error:
        raise ElementError(f"it may be at {_words(truth)}, and {error}") from error
    try:
        judge(sensing.formula, *valid.ends)
    except ElementError as error:
        what = "what the controller converts by" if sensing.converts_by else "the element"
        raise ElementError(f"readings from {_words(valid)} are valid, and of {what}: {error}") from error


def _words(span: Range) -> str:
    return f"{float(span.ends[0]):g} to {float(span.ends[1]):g} degC"


def nominal_reading(sensing: Sensing, truth: int, valid: Range) -> int:
    """What nominal parts and a perfect converter read of a truth, in millionths, rounded: only the controller's own
    formula is to blame for the difference."""
    with _worked_out():
        t = Dual(exact(Fraction(truth, MICRO)))
        if isinstance(sensing.element, Thermometer):
            r = element_ohms(sensing.element, sensing.element.curve, 0)(t)
            return _rounded(ohm_reader(sensing, 0, valid)(r).value)
        return _rounded(volt_reader(sensing, 0, next(ends(0)), valid)(t).value)


def _rounded(ball: Ball) -> int:
    return round(float((ball * MICRO).mid()))


def readings_of(sensing: Sensing, low: Fraction, high: Fraction, valid: Range) -> Range:
    """All readings of what stands in the element's place, from `low` to `high`: ohms in place of a thermometer, volts
    at the top of a divider, volts in place of a shunt. Outward; what is invalid stands a millionth outside `valid`."""
    with _worked_out():
        least, most = _readings_of(sensing, low, high, valid)
        return Range(_settled(least, valid, _down), _settled(most, valid, _up))


def _settled(ball: Ball, valid: Range, rounded: Callable[[Ball], int]) -> int:
    """Rounded outward; what is cut to a millionth outside `valid` is that, and no millionth more."""
    for outside in (valid.low - 1, valid.high + 1):
        if abs(ball - exact(Fraction(outside, MICRO))) < arb(2) ** -60:  # far nearer to it than to what is valid
            return outside
    return rounded(ball)


def _readings_of(sensing: Sensing, low: Fraction, high: Fraction, valid: Range) -> tuple[Ball, Ball]:
    element = sensing.element
    values = Dual(exact(low)), Dual(exact(high))
    if isinstance(element, Thermometer):
        first, last = values if element.rises else values[::-1]
        return ohm_reader(sensing, -1, valid)(first).value, ohm_reader(sensing, 1, valid)(last).value
    if isinstance(element, Shunt):
        per_volt = exact(element.current / element.voltage.nominal)
        values = values[0] * per_volt, values[1] * per_volt
    sides = []
    for value, side in zip(values, (-1, 1), strict=True):
        balls = [side * volt_reader(_without(sensing), side, at, valid)(value).value for at in ends(side)]
        sides.append(side * highest_of(balls))
    return sides[0], sides[1]


def _without(sensing: Sensing) -> Sensing:
    """The same input with a perfect shunt: a voltage in its place has none of its tolerance."""
    element = sensing.element
    if not isinstance(element, Shunt):
        return sensing
    exact_voltage = type(element.voltage).exact(element.voltage.nominal)
    return Sensing(Shunt(element.current, exact_voltage), sensing.input)


def nominal_of(sensing: Sensing, value: Fraction, valid: Range) -> int:
    """What nominal parts read of what stands in the element's place (`readings_of` says what), in millionths."""
    with _worked_out():
        x = Dual(exact(value))
        element = sensing.element
        if isinstance(element, Thermometer):
            return _rounded(ohm_reader(sensing, 0, valid)(x).value)
        if isinstance(element, Shunt):
            x = x * exact(element.current / element.voltage.nominal)
        return _rounded(volt_reader(sensing, 0, next(ends(0)), valid)(x).value)


def open_lead(sensing: Sensing, valid: Range) -> Lead:
    """What an open lead reads. Raises ElementError for a shunt: its open lead hangs in the air."""
    if isinstance(sensing.element, Shunt):
        raise ElementError("an open sense lead of a shunt hangs in the air: nothing tells what it reads")
    at = Fraction(0) if isinstance(sensing.element, Divider) else OPEN_OHMS  # the bottom resistor pulls it to 0 V
    return _lead(sensing, at, valid)


def shorted_lead(sensing: Sensing, valid: Range) -> Lead:
    """What a shorted lead reads."""
    return _lead(sensing, Fraction(0), valid)


def _lead(sensing: Sensing, at: Fraction, valid: Range) -> Lead:
    """The nominal reading where that is valid; else, where a valid one is possible, the valid one nearest to it."""
    if isinstance(sensing.element, Thermometer) and not at:
        most = sensing.input.leads[1]
        low, high = readings_of(sensing, Fraction(0), most, valid)
    else:
        low, high = readings_of(sensing, at, at, valid)
    if high < valid.low or low > valid.high:
        return Lead(None, low, high)
    nominal = nominal_of(sensing, at, valid)
    return Lead(min(max(nominal, low, valid.low), high, valid.high), low, high)


def place_ohms(sensing: Sensing, reading: Fraction) -> Fraction:
    """What in the element's place makes nominal parts read this: ohms, volts at the top of a divider, volts in place
    of a shunt. To well below a millionth."""
    with _worked_out():
        element = sensing.element
        if isinstance(element, Thermometer):
            return _fraction(ohms(sensing.formula, Dual(exact(reading))).value)
        if isinstance(element, Shunt):
            return reading * element.voltage.nominal / element.current
        return reading


def element_at(sensing: Sensing, value: Fraction) -> Fraction | None:
    """The temperature at which a nominal element has this resistance, in degC; None for other elements, and where its
    curve says nothing of it."""
    if not isinstance(sensing.element, Thermometer) or value <= 0:
        return None
    with _worked_out():
        try:
            found = _fraction(degrees_of(sensing.element.curve)(Dual(exact(value))).value)
            judge(sensing.element.curve, found, found)
        except (ArithmeticError, ElementError):
            return None
        return found


def _fraction(ball: Ball) -> Fraction:
    if not ball.is_finite():
        raise ArithmeticError("it is not finite")
    return Fraction(round(float(ball.mid()) * 10**9), 10**9)


__all__ = [
    "Lead",
    "Range",
    "element_at",
    "error_interval",
    "heating",
    "just_outside",
    "nominal_of",
    "nominal_reading",
    "open_lead",
    "place_ohms",
    "readings_of",
    "shorted_lead",
]
