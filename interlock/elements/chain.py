"""From what stands at an input to what the controller reads, with every tolerance at the end that reads highest, or
lowest.

A thermometer's divider: x = supply R / (Rp + R) / reference (pull-up) or supply Rp / (Rp + R) / reference (pull-down).
The converter rounds or cuts off: it is off by up to one step either way, and ends at its last code. The controller goes
by nominal values.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from flint import arb

from interlock.elements.curves import Function, degrees_of, ohms
from interlock.elements.enclose import Ball, Dual, exact
from interlock.elements.records import Divider, Pull, Rated, Sensing, Shunt, Thermometer

MICRO = 1_000_000
OPEN_OHMS = Fraction(10**15)


class Range(NamedTuple):
    """From low to high, in millionths of the base unit."""

    low: int
    high: int

    @property
    def ends(self) -> tuple[Fraction, Fraction]:
        """In base units."""
        return Fraction(self.low, MICRO), Fraction(self.high, MICRO)

    def __contains__(self, value: object) -> bool:
        return isinstance(value, int) and self.low <= value <= self.high


def just_outside(valid: Range) -> tuple[Fraction, Fraction]:
    """A reading beyond `valid` is invalid wherever it lies: a millionth beyond stands for all of them."""
    return Fraction(valid.low - 1, MICRO), Fraction(valid.high + 1, MICRO)


def ohm_reader(sensing: Sensing, side: int, valid: Range) -> Function:
    """The temperature read of ohms in the element's place: the highest (side 1), the lowest (-1), with nominal parts
    and a perfect converter (0). A reading outside `valid` stands a millionth outside."""
    element, wiring = sensing.element, sensing.input
    assert isinstance(element, Thermometer)
    assert wiring.resistor is not None
    up = side if element.rises else -side  # the way in which the resistance seen must go
    down = wiring.pull is Pull.DOWN
    way = -up if down else up  # the way in which the converter's value must go
    leads = exact(wiring.leads[1] if up > 0 else wiring.leads[0] if up < 0 else Fraction(0))
    pull, nominal_pull = exact(wiring.resistor.towards(-up)), exact(wiring.resistor.nominal)
    supply, back = arb(1), arb(1)
    if wiring.supply:
        supply = exact(wiring.supply.towards(way) / _reference(sensing).towards(-way))
        back = exact(_reference(sensing).nominal / wiring.supply.nominal)
    least, most = _ends_of(sensing, valid)
    converted, degrees = _converter(sensing, way), degrees_of(sensing.formula)

    def reading(r: Dual) -> Dual:
        other = pull / (pull + r + leads)
        y = (converted((other if down else 1 - other) * supply) * back).clip(least, most)
        return degrees(nominal_pull * (1 / y - 1) if down else nominal_pull / (1 / y - 1))

    return reading


@lru_cache(maxsize=256)
def _ends_of(sensing: Sensing, valid: Range) -> tuple[Ball, Ball]:
    """The least and the greatest part of the divider's supply that the controller still takes for a temperature."""
    wiring = sensing.input
    assert wiring.resistor is not None
    pull = exact(wiring.resistor.nominal)
    whole = [ohms(sensing.formula, Dual(exact(t))).value for t in just_outside(valid)]
    parts = [pull / (pull + r) if wiring.pull is Pull.DOWN else r / (pull + r) for r in whole]
    return (parts[0], parts[1]) if parts[0] < parts[1] else (parts[1], parts[0])


def _reference(sensing: Sensing) -> Rated:
    assert sensing.input.reference is not None
    return sensing.input.reference


def _converter(sensing: Sensing, way: int) -> Function:
    """What the converter makes of a part of its full scale."""
    step, last = way * exact(sensing.input.step), exact(1 - sensing.input.step)
    return lambda x: (x + step).clip(arb(0), last)


def ratio(sensing: Sensing) -> Rated:
    """Volts measured per volt (divider) or per ampere (shunt), with the element's tolerance."""
    element = sensing.element
    if isinstance(element, Divider):
        a, b = element.top, element.bottom
        return Rated(b.nominal / (a.nominal + b.nominal), b.low / (a.high + b.low), b.high / (a.low + b.high))
    assert isinstance(element, Shunt)
    v = element.voltage
    return Rated(v.nominal / element.current, v.low / element.current, v.high / element.current)


class Ends(NamedTuple):
    """At which end the tolerances stand that act one way on a positive value and the other way on a negative one."""

    ratio: int
    gain: int
    reference: int


def ends(side: int) -> Iterator[Ends]:
    """All of them; for the nominal reading only the middle."""
    both = (-1, 1) if side else (0,)
    for one in both:
        for other in both:
            yield Ends(one, one, other)


def volt_reader(sensing: Sensing, side: int, at: Ends, valid: Range) -> Function:
    """The voltage or current read where the element gives volts at the top of a divider, or amperes in a shunt."""
    wiring, reference = sensing.input, _reference(sensing)
    whole = exact(ratio(sensing).towards(at.ratio) * wiring.gain.towards(at.gain))
    zero, scale = exact(wiring.zero.towards(side)), exact(reference.towards(at.reference))
    nominal, nominal_zero = exact(reference.nominal), exact(wiring.zero.nominal)
    back = exact(ratio(sensing).nominal * wiring.gain.nominal)
    least, most = (exact(end) for end in just_outside(valid))
    converted = _converter(sensing, side)
    return lambda u: ((converted((zero + whole * u) / scale) * nominal - nominal_zero) / back).clip(least, most)
