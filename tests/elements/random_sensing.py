"""Random sensors, for properties that hold for all of them."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from interlock.elements.chain import MICRO, Range
from interlock.elements.classes import CLASS_A, CLASS_B
from interlock.elements.records import (
    AS_IT_IS,
    NOTHING,
    Beta,
    Curve,
    Divider,
    Input,
    Platinum,
    Polynomial,
    Pull,
    Rated,
    Sensing,
    Shunt,
    SteinhartHart,
    Table,
    Thermometer,
)

# A published maker's table with B25/85 = 3435 K (outside values; the ends are carried on by beta from it).
ROWS = {
    -60: 751000, -40: 197000, -20: 67770, -10: 42470, 0: 27280, 10: 17960, 25: 10000, 45: 4911, 60: 3020, 100: 961,
    120: 603,
}  # fmt: skip
TABLE = Table(tuple((Fraction(t), Fraction(r)) for t, r in ROWS.items()))
PARTS = st.sampled_from([Fraction(0), Fraction(1, 1000), Fraction(1, 100), Fraction(3, 100)])


def rated(values: st.SearchStrategy[Fraction]) -> st.SearchStrategy[Rated]:
    return st.builds(Rated.within, values, PARTS)


def among(*values: int | str) -> st.SearchStrategy[Fraction]:
    return st.sampled_from([Fraction(v) for v in values])


def ntc_curves() -> st.SearchStrategy[Curve]:
    r25 = among(2200, 10000, 47000)
    steinhart = SteinhartHart(Fraction("1.40e-3"), Fraction("2.37e-4"), Fraction("9.90e-8"))
    numbers = [Fraction(x) for x in ("3.354016e-3", "2.569850e-4", "2.620131e-6", "6.383091e-8")]
    return st.one_of(
        st.builds(Beta, rated(r25), rated(among(3435, 3977))),
        st.builds(lambda r: Polynomial(r, *numbers), rated(r25)),
        st.just(steinhart),
        st.just(TABLE),
    )


def platinum() -> st.SearchStrategy[Thermometer]:
    classes = st.sampled_from([CLASS_A, CLASS_B])
    return st.builds(
        lambda r0, c, w: Thermometer(Platinum(r0), Fraction(0), c[0], c[1], w), among(100, 1000), classes, warms()
    )


def warms() -> st.SearchStrategy[Rated | None]:
    return st.one_of(st.none(), rated(among("0.002", "0.01")))


@st.composite
def thermometers(draw: st.DrawFn) -> Sensing:
    if draw(st.integers(0, 3)) == 0:
        element = draw(platinum())
        pull = draw(rated(among(1000, 4700)))
        converts_by = None
        bits = draw(st.sampled_from([None, 16]))
    else:
        kelvin = draw(among(0, "0.2"))
        element = Thermometer(draw(ntc_curves()), draw(PARTS), kelvin, dissipates=draw(warms()))
        pull = draw(rated(among(4700, 10000, 22000)))
        bits = draw(st.sampled_from([None, 10, 12]))
        formula = Beta(Rated.exact(10000), Rated.exact(3435))
        converts_by = formula if isinstance(element.curve, Table) and draw(st.booleans()) else None
    supply = draw(st.one_of(st.none(), rated(among("3.3", "5"))))
    reference = draw(rated(among("2.5", "5"))) if supply or element.dissipates else None
    if supply and reference and supply.high > reference.low * Fraction("1.02"):
        reference = Rated.within(supply.nominal, Fraction(1, 500))  # a converter must see most of its divider
    leads = (Fraction(0), draw(among(0, 1)))
    wiring = Input(draw(st.sampled_from(Pull)), pull, supply, reference, bits, leads)
    return Sensing(element, wiring, converts_by)


@st.composite
def voltmeters(draw: st.DrawFn) -> Sensing:
    bits = draw(st.sampled_from([None, 10, 12, 16]))
    if draw(st.booleans()):
        divider = Divider(draw(rated(among(10000, 150000))), draw(rated(among(10000))))
        return Sensing(divider, Input(reference=draw(rated(among("2.5"))), bits=bits))
    shunt = Shunt(draw(among(100, 300)), draw(rated(among("0.05", "0.06"))))
    gain = draw(st.sampled_from([Rated.within(20, Fraction(1, 200)), AS_IT_IS]))
    zero = draw(st.sampled_from([Rated.within(Fraction("1.25"), Fraction(1, 500)), NOTHING]))
    return Sensing(shunt, Input(reference=draw(rated(among("2.5"))), bits=bits, gain=gain, zero=zero))


@st.composite
def worlds(draw: st.DrawFn) -> tuple[Sensing, Range, Range]:
    """A sensor, the truths at its place, and the readings that are valid."""
    sensing = draw(st.one_of(thermometers(), thermometers(), voltmeters()))
    if isinstance(sensing.element, Thermometer):
        low, high = draw(st.sampled_from([(-20, 60), (-40, 80), (0, 45)]))
        spare = draw(st.integers(-5, 10))
    elif isinstance(sensing.element, Divider):
        low, high, spare = *draw(st.sampled_from([(0, 4), (1, 3), (2, 30)])), draw(st.sampled_from([0, 1]))
    else:
        low, high, spare = *draw(st.sampled_from([(-200, 200), (0, 100)])), draw(st.sampled_from([-10, 10]))
    return sensing, Range(low * MICRO, high * MICRO), Range((low - spare) * MICRO, (high + spare) * MICRO)
