"""What a sensor is made of and how it is read, as frozen records.

Values are exact fractions of ohms, volts, amperes, watts per kelvin and kelvins; temperatures are in degC.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from typing import ClassVar

from msgspec import Struct

from interlock.records import Aside


class Rated(Aside, frozen=True, eq=False):
    """A value with its tolerance: low <= nominal <= high. `text`: as it was written, for people."""

    nominal: Fraction
    low: Fraction
    high: Fraction
    text: str = ""
    aside: ClassVar[tuple[str, ...]] = ("text",)

    @classmethod
    def exact(cls, value: Fraction | int, text: str = "") -> Rated:
        """A value without a tolerance."""
        return cls(Fraction(value), Fraction(value), Fraction(value), text)

    @classmethod
    def within(cls, value: Fraction | int, part: Fraction, text: str = "") -> Rated:
        """A value within so large a part of itself."""
        nominal = Fraction(value)
        return cls(nominal, nominal - abs(nominal) * part, nominal + abs(nominal) * part, text)

    def towards(self, way: int) -> Fraction:
        """The high end (1), the low end (-1) or the nominal value (0)."""
        return self.high if way > 0 else self.low if way < 0 else self.nominal


class Beta(Struct, frozen=True):
    """An NTC by the beta formula: R = R25 exp(beta (1/T - 1/298.15 K))."""

    r25: Rated
    beta: Rated


class SteinhartHart(Struct, frozen=True):
    """An NTC by Steinhart's and Hart's equation (1968): 1/T = a + b ln R + c (ln R)^3, R in ohm, T in K."""

    a: Fraction
    b: Fraction
    c: Fraction


class Polynomial(Struct, frozen=True):
    """An NTC by the extended polynomial: 1/T = a + b l + c l^2 + d l^3 with l = ln(R/R25), T in K."""

    r25: Rated
    a: Fraction
    b: Fraction
    c: Fraction
    d: Fraction


class Table(Struct, frozen=True):
    """An NTC by its maker's table: (degC, ohm) in rising temperature; between two rows ln R is linear in 1/T."""

    rows: tuple[tuple[Fraction, Fraction], ...]


class Platinum(Struct, frozen=True):
    """A platinum resistor by IEC 60751 with `r0` ohm at 0 degC."""

    r0: Fraction


Curve = Beta | SteinhartHart | Polynomial | Table | Platinum


class Thermometer(Struct, frozen=True):
    """A resistor that follows a temperature.

    `part`: its resistance is within so large a part of the curve's, besides the tolerances of the curve itself.
    `kelvin`, `per_degree`: it is as if it were warmer or colder by up to kelvin + per_degree |t|.
    `dissipates`: the power that warms it by one kelvin, in W/K; None where it does not warm itself.
    """

    curve: Curve
    part: Fraction = Fraction(0)
    kelvin: Fraction = Fraction(0)
    per_degree: Fraction = Fraction(0)
    dissipates: Rated | None = None

    @property
    def rises(self) -> bool:
        """Whether its resistance rises with the temperature."""
        return isinstance(self.curve, Platinum)


class Divider(Struct, frozen=True):
    """Two resistors that bring a voltage down: bottom / (top + bottom) of it is measured, across `bottom`."""

    top: Rated
    bottom: Rated


class Shunt(Struct, frozen=True):
    """A resistor in the current's way: `voltage` (volts) across it at `current` (amperes)."""

    current: Fraction
    voltage: Rated


Element = Thermometer | Divider | Shunt


AS_IT_IS, NOTHING = Rated.exact(1), Rated.exact(0)


class Pull(Enum):
    """On which side of the element the other resistor of its divider stands."""

    UP = "up"
    DOWN = "down"


class Input(Struct, frozen=True):
    """How an element is read.

    `pull` and `resistor`: the other resistor of a thermometer's divider. `supply`: what feeds that divider where it is
    not the converter's own reference (None: it is, the reading is ratiometric). `reference`: the converter's full
    scale, in volts. `bits`: of the converter; None: finer than anything else. `leads`: the least and the most ohms in
    series with the element. `gain`, `zero`: a voltage u is brought to the converter as zero + gain u.
    """

    pull: Pull = Pull.UP
    resistor: Rated | None = None
    supply: Rated | None = None
    reference: Rated | None = None
    bits: int | None = None
    leads: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))
    gain: Rated = AS_IT_IS
    zero: Rated = NOTHING

    @property
    def step(self) -> Fraction:
        """One step of the converter, as a part of its full scale."""
        return Fraction(1, 2**self.bits) if self.bits else Fraction(0)


class Sensing(Struct, frozen=True):
    """An element and its input. `converts_by`: the curve by which the controller turns resistance into temperature,
    where that is not the element's own nominal one."""

    element: Element
    input: Input
    converts_by: Curve | None = None

    @property
    def formula(self) -> Curve:
        """The curve that the controller goes by. Only for a thermometer."""
        assert isinstance(self.element, Thermometer)
        return self.converts_by or self.element.curve


class ElementError(Exception):
    """What an element can't do, in words: a curve that does not reach far enough, or turns back."""
