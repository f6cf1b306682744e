"""What is put in an element's place: near what is wanted, from what is at hand, and surely on the right side."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.elements.bench import (
    DECADE_BOX,
    E24_RESISTORS,
    E96_RESISTORS,
    KITS,
    MILLIVOLT_SOURCE,
    VOLTAGE_SOURCE,
    Kit,
    KitKind,
    pretend,
    stimulus,
    surely,
    usual_kit,
)
from interlock.elements.chain import MICRO, Range
from interlock.elements.errors import readings_of
from interlock.elements.records import Beta, Divider, ElementError, Input, Platinum, Rated, Sensing, Shunt, Thermometer
from interlock.elements.series import E24, E96, values

PROBE = Sensing(
    Thermometer(Beta(Rated.within(10000, Fraction(1, 100)), Rated.exact(3435))),
    Input(resistor=Rated.within(10000, Fraction(1, 1000)), bits=12),
)
PLATINUM = Sensing(Thermometer(Platinum(Fraction(1000))), Input(resistor=Rated.exact(2200), bits=16))
TEN = Rated.within(10000, Fraction(1, 1000))
TAP = Sensing(Divider(TEN, TEN), Input(reference=Rated.within(Fraction("2.5"), Fraction(1, 1000)), bits=12))
SHUNT = Sensing(
    Shunt(Fraction(200), Rated.within(Fraction("0.05"), Fraction(1, 10))),
    Input(reference=Rated.exact(Fraction("2.5")), gain=Rated.exact(20), zero=Rated.exact(Fraction("1.25"))),
)
PROBE_VALID, TAP_VALID = Range(-45 * MICRO, 90 * MICRO), Range(MICRO, 4_500_000)
SHUNT_VALID = Range(-210 * MICRO, 210 * MICRO)
RESISTORS = (DECADE_BOX, E24_RESISTORS, E96_RESISTORS)
FEW = settings(max_examples=25, deadline=None, derandomize=True, database=None)


@pytest.mark.parametrize("kit", RESISTORS, ids=lambda k: k.kind.value)
@pytest.mark.parametrize("sensing", [PROBE, PLATINUM], ids=["ntc", "platinum"])
@FEW
@given(wanted=st.integers(-30, 80))
def test_what_is_put_is_had_and_near_what_is_wanted(sensing: Sensing, kit: Kit, wanted: int) -> None:
    made = pretend(sensing, wanted * MICRO, kit, PROBE_VALID)
    series = {KitKind.E24: E24, KitKind.E96: E96}.get(kit.kind)
    if series:
        assert set(made.parts) <= set(values(series))
        assert len(made.parts) <= 2
    else:
        assert len(made.parts) == 1
        assert made.value % kit.step == 0
    assert made.reads.low <= made.nominal <= made.reads.high
    # A quarter of the kit's tolerance, or a step: an NTC moves a kelvin for 3 % at the least, platinum for 0.3 %.
    per_kelvin = Fraction(3, 100) if sensing is PROBE else Fraction(3, 1000)
    near = max(kit.part / 4, kit.step / made.value) / per_kelvin
    assert abs(made.nominal - wanted * MICRO) <= near * MICRO


@pytest.mark.parametrize("kit", RESISTORS, ids=lambda k: k.kind.value)
@pytest.mark.parametrize("sensing", [PROBE, PLATINUM], ids=["ntc", "platinum"])
@FEW
@given(limit=st.integers(-25, 70), upward=st.booleans())
def test_what_is_surely_beyond_a_limit_is_beyond_and_near(sensing: Sensing, kit: Kit, limit: int, upward: bool) -> None:
    def meets(reading: int) -> bool:
        return reading > limit * MICRO if upward else reading < limit * MICRO

    try:
        made = surely(sensing, meets, limit * MICRO, kit, PROBE_VALID, upward=upward)
    except ElementError:
        assert sensing is PLATINUM  # 5 % of a platinum resistor are 13 K and more: some limits can't be tried so
        assert kit is E24_RESISTORS
        return
    assert meets(made.reads.low)
    assert meets(made.reads.high)
    assert made.reads.low in PROBE_VALID
    assert made.reads.high in PROBE_VALID
    # No farther than the width of what may be read, and a step.
    width = made.reads.high - made.reads.low
    assert abs(made.nominal - limit * MICRO) <= width * 6 // 5 + MICRO // 2


def test_a_voltage_is_snapped_to_the_sources_step() -> None:
    coarse = Kit(KitKind.SOURCE, Fraction(1, 10), Fraction(0), Fraction(0), Fraction(10))
    made = pretend(TAP, 2_840_000, coarse, TAP_VALID)
    assert made.value == Fraction(28, 10)
    assert made.nominal == 2_800_000
    low, high = made.reads
    # By hand: 0.05 % each way of the divider twice over, 0.1 % of the reference, one step of 5 V / 4096.
    assert abs(high - (2_800_000 * Fraction("1.002") + Fraction(5_000_000, 4096))) < 30
    assert abs(low - (2_800_000 * Fraction("0.998") - Fraction(5_000_000, 4096))) < 30


def test_a_voltage_in_a_shunts_place_has_none_of_its_tolerance() -> None:
    """The shunt is within 10 %, and out of the way; the input itself is perfect."""
    low, high = readings_of(SHUNT, Fraction("0.025"), Fraction("0.025"), SHUNT_VALID)
    assert 100 * MICRO - 1 <= low <= 100 * MICRO <= high <= 100 * MICRO + 1
    made = pretend(SHUNT, -100 * MICRO, MILLIVOLT_SOURCE, SHUNT_VALID)
    assert made.value == Fraction("-0.025")
    assert made.nominal == -100 * MICRO


def test_the_kits_own_tolerance_is_in_what_may_be_read() -> None:
    perfect = Sensing(PROBE.element, Input(resistor=Rated.exact(10000)))
    box = Kit(KitKind.DECADE, Fraction(1), Fraction(1, 100), Fraction(0), Fraction(10**6))
    made = stimulus(perfect, (Fraction(10000),), box, PROBE_VALID)
    # By beta: 1 % of resistance is 298.15^2 / 3435 / 100 = 0.2588 K at 25 degC.
    assert abs(made.reads.high - made.nominal - 258_800) < 3_000
    assert abs(made.nominal - made.reads.low - 258_800) < 3_000


def test_resistors_and_voltages_do_not_stand_in_for_each_other() -> None:
    with pytest.raises(ElementError, match="never a voltage"):
        pretend(PROBE, 0, VOLTAGE_SOURCE, PROBE_VALID)
    with pytest.raises(ElementError, match="never a resistor"):
        pretend(TAP, 2 * MICRO, DECADE_BOX, TAP_VALID)
    assert [usual_kit(s) for s in (PROBE, TAP, SHUNT)] == [DECADE_BOX, VOLTAGE_SOURCE, MILLIVOLT_SOURCE]
    assert set(KITS) == set(KitKind)


def test_a_limit_at_the_end_of_the_valid_range_can_not_be_passed() -> None:
    with pytest.raises(ElementError, match="surely beyond"):
        surely(PROBE, lambda reading: reading > 90 * MICRO, 90 * MICRO, DECADE_BOX, PROBE_VALID, upward=True)
