"""Values of parts, with units that a scheme's quantities never need, and with tolerances: `10 kohm within 1 %`.

    rated = NUMBER UNIT [("within" | "±") NUMBER ("%" | "ppm" | UNIT)]

The units of `units` are read from there, for they are what pint says they are (tests/outside/test_units.py); any other
is left to pint, which is imported only then: it takes longer to start than most schemes take to be read.
"""

from __future__ import annotations

import re
from enum import Enum
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from msgspec import Struct

from interlock.elements.records import Rated
from interlock.scheme.grammar import GrammarError, nearest
from interlock.scheme.units import ALIASES, MICRO, TIMES, UNITS, Kind

if TYPE_CHECKING:
    import pint

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?"
_UNIT = r"[^\W\d_]+(?:\s*[/*]\s*[^\W\d_]+){0,3}|[%°℃µμΩ][^\W\d_]*"
_RATED = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?\s*(?P<rest>.*?)\s*\Z", re.S)
_WITHIN = re.compile(rf"(?P<word>within\b|±)\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?\s*(?P<rest>.*?)\s*\Z", re.S)
_LONGEST_NUMBER = 40
LEAST, MOST = Fraction(1, 10**15), Fraction(10**15)
PARTS = {"%": Fraction(1, 100), "ppm": Fraction(1, 10**6)}


class Dimension(Enum):
    """What a part's value is measured in, with an example."""

    RESISTANCE = ("ohm", "10 kohm within 1 %")
    WARMTH = ("K", "3435 K within 1 %")
    VOLTAGE = ("V", "2.5 V within 0.2 %")
    CURRENT = ("A", "200 A")
    DISSIPATION = ("W/K", "2 mW/K within 20 %")
    GAIN = ("V/V", "20 V/V within 0.5 %")

    @property
    def base(self) -> str:
        """The unit its values are kept in."""
        return self.value[0]

    @property
    def example(self) -> str:
        """A value as it can be written."""
        return self.value[1]


class _Number(Struct, frozen=True):
    value: Fraction
    start: int
    length: int


def read_rated(text: str, dimension: Dimension) -> Rated:
    """`10 kohm within 1 %`. Raises GrammarError."""
    expected = f"expected a value such as `{dimension.example}`"
    found = _RATED.match(text)
    if found is None:
        raise GrammarError("bad-value", "no number stands where one belongs", 0, max(1, len(text)), expected)
    number = _number(found, expected)
    if found["rest"].startswith(","):
        raise GrammarError("bad-value", "a comma stands in a number", found.start("rest"), 1, "write a decimal point")
    if not found["unit"] or found["unit"] == "within":
        raise GrammarError("missing-unit", f"`{found['number']}` has no unit", number.start, number.length, expected)
    nominal = number.value * _factor(found["unit"], found.start("unit"), dimension)
    words = " ".join(text.split())
    if nominal and not LEAST <= abs(nominal) <= MOST:
        raise GrammarError(
            "number-out-of-range", f"`{words}` is beyond any part", number.start, number.length, "check its unit"
        )
    if not found["rest"]:
        return Rated.exact(nominal, words)
    tolerance = _WITHIN.match(found["rest"])
    at = found.start("rest")
    if tolerance is None or tolerance["rest"]:
        wrong = at + (tolerance.start("rest") if tolerance else 0)
        raise GrammarError(
            "bad-value", "something else follows the value", wrong, max(1, len(text.rstrip()) - wrong), expected
        )
    off = _number(tolerance, expected, at)
    if off.value < 0:
        raise GrammarError("bad-value", "a tolerance is 0 or more", off.start, off.length, expected)
    unit = tolerance["unit"]
    if not unit:
        raise GrammarError(
            "missing-unit",
            f"`{tolerance['number']}` has no unit",
            off.start,
            off.length,
            "`%`, `ppm` or the value's own",
        )
    if unit in PARTS:
        return Rated.within(nominal, off.value * PARTS[unit], words)
    width = off.value * _factor(unit, at + tolerance.start("unit"), dimension)
    return Rated(nominal, nominal - width, nominal + width, words)


def read_plain_number(text: str) -> Fraction:
    """A number without a unit: `2.37e-4`. Raises GrammarError."""
    found = re.fullmatch(rf"\s*({_NUMBER})\s*", text)
    if found is None or len(text) > _LONGEST_NUMBER:
        raise GrammarError("bad-value", "this is no plain number", 0, max(1, len(text)), "such as `2.37e-4`")
    return Fraction(found[1])


def _number(found: re.Match[str], expected: str, offset: int = 0) -> _Number:
    start, length = offset + found.start("number"), len(found["number"])
    if length > _LONGEST_NUMBER:
        raise GrammarError("number-out-of-range", "the number is too long", start, length, expected)
    return _Number(Fraction(found["number"]), start, length)


def _factor(symbol: str, start: int, dimension: Dimension) -> Fraction:
    """How many of the dimension's base unit one `symbol` is."""
    plain = ALIASES.get(symbol, symbol)
    expected = f"expected a value such as `{dimension.example}`"
    known = UNITS.get(plain)
    if known is not None:
        kind = Kind.TEMPERATURE.difference_unit if known.kind is Kind.TEMPERATURE else str(known.kind)
        if kind != dimension.base or not known.difference:
            raise GrammarError("wrong-unit", f"`{symbol}` does not fit here", start, len(symbol), expected)
        return Fraction(known.micro, MICRO)
    return _by_pint(symbol, start, dimension.base, expected)


def _by_pint(symbol: str, start: int, base: str, expected: str) -> Fraction:
    import pint

    registry = _registry()
    try:
        unit = registry.parse_units(symbol)
        one = registry.Quantity(Fraction(1), unit)
        if not one.is_compatible_with(base):
            raise GrammarError("wrong-unit", f"`{symbol}` does not fit here", start, len(symbol), expected)
        factor = Fraction(one.to(base).magnitude)
        twice = Fraction(registry.Quantity(Fraction(2), unit).to(base).magnitude)
    except (pint.PintError, ValueError, TypeError, SyntaxError) as error:
        near = nearest(symbol, [*UNITS, *TIMES])
        raise GrammarError(
            "unknown-unit", f"`{symbol}` is no unit", start, len(symbol), expected + (f"; {near}" if near else "")
        ) from error
    if twice != 2 * factor:  # degF: its zero lies elsewhere, so it measures no difference
        raise GrammarError("wrong-unit", f"`{symbol}` does not fit here", start, len(symbol), expected)
    return factor


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)
