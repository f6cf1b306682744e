"""The computed error holds every sensor that can be built from the parts, and is not wider than it has to be."""

from __future__ import annotations

import math
import random
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from interlock.elements.chain import MICRO, Range
from interlock.elements.errors import error_interval, nominal_reading, open_lead, readings_of, shorted_lead
from interlock.elements.records import (
    Beta,
    Divider,
    ElementError,
    Input,
    Platinum,
    Pull,
    Rated,
    Sensing,
    Shunt,
    Table,
    Thermometer,
)
from tests.elements.random_sensing import TABLE, worlds
from tests.elements.simulate import Draws, corners, parts, read

World = tuple[Sensing, Range, Range]
OURS = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow],
    database=None,
)
SLACK = 2e-6  # the simulation's own rounding, and the millionth by which the bound may lie outside
WIDER = 0.03  # of its width, by which the interval may be wider than what the corners reach
TENTH = Fraction(1, 10)
NTC = Beta(Rated.within(10000, Fraction(1, 100)), Rated.within(3435, Fraction(1, 100)))
PLAIN = Input(resistor=Rated.within(10000, Fraction(1, 1000)), bits=12)
HUT = Range(-40 * MICRO, 80 * MICRO), Range(-45 * MICRO, 90 * MICRO)


def truths(truth: Range, count: int) -> list[float]:
    low, high = (float(end) for end in truth.ends)
    return [low + (high - low) * n / count for n in range(count + 1)]


@OURS
@given(worlds(), st.integers(0, 2**32))
def test_no_sensor_of_these_parts_reads_outside_its_error(world: World, seed: int) -> None:
    sensing, truth, valid = world
    low, high = (end / MICRO for end in error_interval(sensing, truth, valid))
    rng = random.Random(seed)
    names = parts(sensing)
    for at in truths(truth, 12):
        for _ in range(12):
            draws = {n: rng.choice((-1.0, 1.0, rng.uniform(-1, 1))) for n in names}
            if "heat" in draws:
                draws["heat"] = abs(draws["heat"])
            seen = read(sensing, at, draws, valid)
            bottom, top = (float(end) for end in valid.ends)
            if seen in (bottom, top):  # invalid: so must some reading be that the error allows
                lost = at + low <= bottom + SLACK if seen == bottom else at + high >= top - SLACK
                assert lost, (at, draws)
            else:
                assert low - SLACK <= seen - at <= high + SLACK, (at, draws)


@settings(OURS, max_examples=6)
@given(worlds())
def test_the_error_is_hardly_wider_than_what_some_sensor_reaches(world: World) -> None:
    sensing, truth, valid = world
    low, high = (end / MICRO for end in error_interval(sensing, truth, valid))
    assume(len(parts(sensing)) <= 7)
    found = _reached(sensing, truth, valid)
    assume(found)
    least = 0.002 if isinstance(sensing.element, Thermometer) else SLACK  # as `error_interval` says of perfect parts
    assert min(found) - low <= WIDER * (high - low) + least
    assert high - max(found) <= WIDER * (high - low) + least


@OURS
@given(worlds(), st.integers(0, 2**32))
def test_what_is_put_in_the_elements_place_reads_as_promised(world: World, seed: int) -> None:
    """A perfect element at some temperature is a resistor: the promise for that resistor holds its reading."""
    sensing, truth, valid = world
    rng = random.Random(seed)
    names = [n for n in parts(sensing) if n in ("pull", "supply", "reference", "step", "leads", "gain", "zero")]
    perfect = _perfect(sensing)
    for at in truths(truth, 5):
        put = Fraction(_put(perfect, at))
        low, high = readings_of(sensing, put, put, valid)
        for _ in range(20):
            draws = {n: rng.choice((-1.0, 1.0, rng.uniform(-1, 1))) for n in names}
            seen = read(perfect, at, draws, valid)
            if isinstance(sensing.element, Divider):
                draws |= {n: rng.choice((-1.0, 1.0)) for n in ("top", "bottom")}
                seen = read(sensing, at, draws, valid)
            assert low / MICRO - SLACK <= seen <= high / MICRO + SLACK, (at, draws)


def _perfect(sensing: Sensing) -> Sensing:
    element = sensing.element
    if isinstance(element, Thermometer):
        curve = element.curve
        if isinstance(curve, Beta):
            curve = Beta(Rated.exact(curve.r25.nominal), Rated.exact(curve.beta.nominal))
        return Sensing(Thermometer(curve), sensing.input, sensing.formula)
    if isinstance(element, Shunt):
        return Sensing(Shunt(element.current, Rated.exact(element.voltage.nominal)), sensing.input)
    return sensing


def _put(sensing: Sensing, at: float) -> float:
    from tests.elements.simulate import ohms

    element = sensing.element
    if isinstance(element, Thermometer):
        return ohms(element.curve, at, {})
    return at * float(element.voltage.nominal / element.current) if isinstance(element, Shunt) else at


def _reached(sensing: Sensing, truth: Range, valid: Range) -> list[float]:
    """The errors of the corners at a few truths, then those of the best of them at many."""
    every = list(corners(sensing))

    bottom, top = (float(end) for end in valid.ends)

    def off(draws: Draws, count: int) -> list[float]:
        pairs = [(read(sensing, at, draws, valid), at) for at in truths(truth, count)]
        return [seen - at for seen, at in pairs if bottom < seen < top] or [0.0]

    coarse = [off(draws, 12) for draws in every]
    order = sorted(range(len(every)), key=lambda n: max(coarse[n]))
    down = sorted(range(len(every)), key=lambda n: min(coarse[n]))
    return [error for n in {*order[-2:], *down[:2]} for error in off(every[n], 400)]


def test_a_perfect_sensor_has_no_error() -> None:
    exact = Input(resistor=Rated.exact(10000))
    for curve in (Beta(Rated.exact(10000), Rated.exact(3435)), TABLE, Platinum(Fraction(1000))):
        low, high = error_interval(Sensing(Thermometer(curve), exact), *HUT)
        assert -2000 <= low <= 0 <= high <= 2000
    divider = Divider(Rated.exact(10000), Rated.exact(10000))
    whole = Range(0, 4 * MICRO)
    low, high = error_interval(Sensing(divider, Input(reference=Rated.exact(5))), whole, whole)
    assert -1 <= low <= 0 <= high <= 1


def test_both_ends_of_beta_count_on_both_sides_of_25_degrees() -> None:
    """By hand: 1/T read - 1/298.15 K = (beta of the part / beta of the formula) (1/T - 1/298.15 K)."""
    part = Thermometer(Beta(Rated.exact(10000), Rated.within(3435, Fraction(2, 100))))
    sensing = Sensing(part, Input(resistor=Rated.exact(10000)))

    def off(t: float, factor: float) -> float:
        return 1 / (factor * (1 / (t + 273.15) - 1 / 298.15) + 1 / 298.15) - 273.15 - t

    for low, high in ((-40, 0), (50, 80)):
        least, most = error_interval(sensing, Range(low * MICRO, high * MICRO), HUT[1])
        found = [off(t, factor) for t in (low, high) for factor in (0.98, 1.02)]
        assert abs(least / MICRO - min(found)) < 3e-6
        assert abs(most / MICRO - max(found)) < 3e-6


def test_an_error_that_peaks_at_a_row_of_a_table_is_found() -> None:
    """A part that follows beta but for one row, 5 % low at 25 degC, under a controller that goes by beta."""
    beta = Beta(Rated.exact(10000), Rated.exact(3435))
    rows = {t: 10000 * math.exp(3435 * (1 / (t + 273.15) - 1 / 298.15)) for t in range(-40, 81, 5)}
    rows[25] *= 0.95
    dented = Table(tuple((Fraction(t), Fraction(r)) for t, r in rows.items()))
    sensing = Sensing(Thermometer(dented), Input(resistor=Rated.exact(10000)), beta)
    # By beta, 5 % less resistance at 25 degC: 1 / (1/298.15 + ln(0.95) / 3435) - 298.15 = 1.3384 K.
    least, most = error_interval(sensing, Range(-40 * MICRO, 80 * MICRO), HUT[1])
    assert abs(most / MICRO - (1 / (1 / 298.15 + math.log(0.95) / 3435) - 298.15)) < 3e-6
    assert -0.02 * MICRO < least <= 0  # between rows a straight line is not quite beta's own


def test_each_tolerance_makes_the_error_wider() -> None:
    volt = Rated.within(Fraction("3.3"), Fraction(1, 100))
    more = [
        Sensing(Thermometer(Beta(Rated.exact(10000), Rated.exact(3435))), Input(resistor=Rated.exact(10000))),
        Sensing(Thermometer(Beta(NTC.r25, Rated.exact(3435))), Input(resistor=Rated.exact(10000))),
        Sensing(Thermometer(NTC), Input(resistor=Rated.exact(10000))),
        Sensing(Thermometer(NTC), Input(resistor=PLAIN.resistor)),
        Sensing(Thermometer(NTC), PLAIN),
        Sensing(Thermometer(NTC, part=Fraction(1, 100)), PLAIN),
        Sensing(Thermometer(NTC, part=Fraction(1, 100), kelvin=TENTH), PLAIN),
        Sensing(Thermometer(NTC, Fraction(1, 100), TENTH), Input(resistor=PLAIN.resistor, bits=10)),
        Sensing(
            Thermometer(NTC, Fraction(1, 100), TENTH),
            Input(resistor=PLAIN.resistor, bits=10, supply=volt, reference=Rated.exact(volt.nominal)),
        ),
    ]
    widths = [high - low for low, high in (error_interval(s, *HUT) for s in more)]
    assert all(a < b for a, b in pairwise(widths)), widths


def test_an_element_warms_itself_upward_only() -> None:
    cold = Sensing(Thermometer(NTC), Input(resistor=PLAIN.resistor, reference=Rated.exact(5), bits=12))
    warm = Sensing(Thermometer(NTC, dissipates=Rated.exact(Fraction(2, 1000))), cold.input)
    (low, high), (warm_low, warm_high) = (error_interval(s, *HUT) for s in (cold, warm))
    # At most V^2 / 4 Rp: 25 V^2 / 4 / 9990 ohm = 0.6256 mW, by 2 mW/K some 0.31 K.
    assert high < warm_high <= high + 313_000
    assert abs(warm_low - low) < 20_000  # just after power-up it has not warmed yet


def test_an_open_lead_reads_cold_with_a_pull_up_and_as_cold_with_a_pull_down() -> None:
    for pull in Pull:
        sensing = Sensing(Thermometer(NTC), Input(pull, Rated.exact(10000), bits=12))
        narrow = Range(-45 * MICRO, 90 * MICRO)
        assert open_lead(sensing, narrow).reads is None
        assert shorted_lead(sensing, narrow).reads is None
        assert nominal_reading(sensing, 25 * MICRO, narrow) == 25 * MICRO


def test_an_open_lead_may_read_a_valid_temperature_where_supply_and_reference_differ() -> None:
    """A supply that may be 5 % below the reference: the open input seems to be 19 times the pull resistor."""
    supply = Rated.within(Fraction(5), Fraction(5, 100))
    sensing = Sensing(Thermometer(NTC), Input(resistor=Rated.exact(10000), supply=supply, reference=Rated.exact(5)))
    wide = Range(-50 * MICRO, 90 * MICRO)
    lead = open_lead(sensing, wide)
    # 190 kohm by beta 3435: 1/T = 1/298.15 + ln(19)/3435, that is -35.69 degC.
    assert lead.reads is not None
    assert abs(lead.high - -35.69 * MICRO) < 0.01 * MICRO
    assert lead.low == wide.low - 1


def test_a_divider_reads_nothing_of_an_open_tap_and_a_shunt_nothing_of_a_shorted_one() -> None:
    ten = Rated.within(10000, Fraction(1, 1000))
    divider = Sensing(Divider(ten, ten), Input(reference=Rated.exact(Fraction("2.5")), bits=12))
    assert open_lead(divider, Range(MICRO, 4 * MICRO)).reads is None
    assert open_lead(divider, Range(0, 4 * MICRO)).reads == 0
    shunt = Sensing(Shunt(Fraction(200), Rated.exact(Fraction("0.05"))), Input(reference=Rated.exact(5)))
    assert shorted_lead(shunt, Range(-200 * MICRO, 200 * MICRO)).reads == 0
    with pytest.raises(ElementError, match="hangs in the air"):
        open_lead(shunt, Range(0, MICRO))
