"""Our units against a general-purpose units library: pint (its registry follows the SI brochure, BIPM, 9th edition)."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest

from interlock.scheme.grammar import read_time, read_value
from interlock.scheme.units import MICRO, TIMES, UNITS, Kind, Unit

# Our symbol, where pint's differs; a temperature difference is pint's delta_degC.
PINT_NAMES = {"degC": "delta_degC", "K": "kelvin", "mK": "millikelvin", "%": "percent", "Mohm": "megaohm", "d": "day"}
BASE = {
    Kind.TEMPERATURE: "kelvin",
    Kind.PERCENT: "percent",
    Kind.SPEED: "rpm",
    Kind.CAPACITY: "ampere * hour",
    Kind.ENERGY: "watt * hour",
}
REGISTRY: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)


def pint_name(symbol: str) -> str:
    if symbol in ("Ah", "mAh"):
        return symbol[:-1] + " * hour"
    if symbol in ("Wh", "kWh"):
        return symbol[:-1] + " * hour"
    return PINT_NAMES.get(symbol, symbol)


@pytest.mark.parametrize("unit", UNITS.values(), ids=lambda u: u.symbol)
def test_a_unit_is_worth_what_pint_says(unit: Unit) -> None:
    base = BASE.get(unit.kind, str(unit.kind))
    theirs = REGISTRY.Quantity(Fraction(1), pint_name(unit.symbol)).to(base).magnitude
    assert theirs * MICRO == unit.micro


@pytest.mark.parametrize(("symbol", "us"), TIMES.items())
def test_a_time_unit_is_worth_what_pint_says(symbol: str, us: int) -> None:
    assert REGISTRY.Quantity(Fraction(1), pint_name(symbol)).to("microsecond").magnitude == us


@pytest.mark.parametrize("text", ["3.55 V", "-12.5 mV", "0.000001 A", "80 %", "1.5 kohm", "250 mbar", "13.25 kWh"])
def test_a_written_value_is_what_pint_reads(text: str) -> None:
    number, symbol = text.split()
    measure = read_value(text)
    base = BASE.get(measure.unit.kind, str(measure.unit.kind))
    theirs = REGISTRY.Quantity(Fraction(number), pint_name(symbol)).to(base).magnitude
    assert Fraction(measure.micro, MICRO) == theirs


@pytest.mark.parametrize("text", ["100 ms", "0.25 s", "15 min", "1.5 h", "2 d"])
def test_a_written_time_is_what_pint_reads(text: str) -> None:
    number, symbol = text.split()
    assert read_time(text) == REGISTRY.Quantity(Fraction(number), pint_name(symbol)).to("microsecond").magnitude
