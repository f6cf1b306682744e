"""Each tolerance adds to a sensor's error what its sensitivity coefficient says, once, and together they add up.

* JCGM 100:2008 (GUM, published), 5.1.3: a small change of an input changes the result by the partial derivative times
  that change. The derivatives here are taken by hand from the physics of each part.
* That the worst case is the sum of their absolute values (arithmetic tolerance stack-up): common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

import pytest

from interlock.elements.chain import MICRO, Range
from interlock.elements.errors import error_interval
from interlock.elements.records import Beta, Divider, Element, Input, Platinum, Pull, Rated, Sensing, Shunt, Thermometer

A, B = 3.9083e-3, -5.775e-7  # IEC 60751
PART = Fraction(1, 1000)  # each tolerance: small beside 1, large beside the millionths of a bound
KELVIN, PER_DEGREE, OHMS, ZERO = Fraction(1, 50), Fraction(1, 2000), Fraction(4), Fraction(1, 500)
BITS = 15
STEP = 2.0**-BITS
WITHIN = 0.01  # of the sum: what terms of second order make of tolerances of a thousandth
NEAR = 5e-6


class Share(NamedTuple):
    """By how much one tolerance raises and lowers the reading at the most."""

    up: float
    down: float


def both(size: float) -> Share:
    return Share(abs(size), abs(size))


def rated(value: Fraction | float, name: str, there: frozenset[str]) -> Rated:
    return Rated.within(Fraction(value), PART if name in there else Fraction(0))


def thermometer(
    kind: str, pull: Pull, t: int, supplied: bool, there: frozenset[str]
) -> tuple[Sensing, Mapping[str, Share]]:
    """A thermometer with those tolerances, and what each possible one adds at t degC."""
    other, full, feed = 10_000.0, 2.5, 2.0 if supplied else 2.5
    kelvin, beta = t + 273.15, 3435.0
    curve: Beta | Platinum
    if kind == "ntc":
        curve = Beta(rated(10000, "r25", there), rated(3435, "beta", there))
        r = 10000 * math.exp(beta * (1 / kelvin - 1 / 298.15))
        per_ohm = -(kelvin**2) / beta / r  # R = R25 exp(beta (1/T - 1/T25))
    else:
        curve = Platinum(Fraction(1000))
        r = 1000 * (1 + A * t + B * t * t)
        per_ohm = 1 / (1000 * (A + 2 * B * t))
    element = Thermometer(
        curve,
        PART if "part" in there else Fraction(0),
        KELVIN if "kelvin" in there else Fraction(0),
        PER_DEGREE if "per_degree" in there else Fraction(0),
        Rated.exact(Fraction(1, 100)) if "heat" in there else None,
    )
    reference = supplied or "heat" in there
    wiring = Input(
        pull=pull,
        resistor=rated(other, "pull", there),
        supply=rated(feed, "supply", there) if supplied else None,
        reference=rated(full, "reference", there) if reference else None,
        bits=BITS if "step" in there else None,
        leads=(Fraction(0), OHMS if "leads" in there else Fraction(0)),
    )
    part = float(PART)
    x = (r if pull is Pull.UP else other) / (r + other)  # of the feed, at the converter
    per_x = per_ohm * r / (x * (1 - x))  # R = Rp x / (1 - x), or Rp (1 - x) / x: the same but for the sign
    lead, power = per_ohm * float(OHMS), feed**2 * r / (r + other) ** 2
    shares = {
        "part": both(per_ohm * r * part),
        "kelvin": both(float(KELVIN)),
        "per_degree": both(float(PER_DEGREE) * t),
        "pull": both(per_ohm * r * part),
        "step": both(per_x * STEP * full / feed),
        "leads": Share(max(lead, 0.0), max(-lead, 0.0)),  # none to so many ohms: one way only
        "heat": Share(power / 0.01, 0.0),  # none to all of it
    }
    if kind == "ntc":
        shares["r25"] = both(per_ohm * r * part)
        shares["beta"] = both(kelvin**2 * part * (1 / kelvin - 1 / 298.15))
    if supplied:
        shares |= {"supply": both(per_x * x * part), "reference": both(per_x * x * part)}
    return Sensing(element, wiring), shares


def volts(kind: str, at: int, there: frozenset[str]) -> tuple[Sensing, Mapping[str, Share]]:
    """A divider, or a shunt, with those tolerances, and what each possible one adds at so many volts or amperes."""
    part = float(PART)
    full, gain = (2.5, 1.25) if kind == "divider" else (2.5, 20.0)
    element: Element
    if kind == "divider":
        top, bottom = 90_000, 10_000
        element = Divider(rated(top, "top", there), rated(bottom, "bottom", there))
        ratio = bottom / (top + bottom)
        shares = dict.fromkeys(("top", "bottom"), both(at * part * top / (top + bottom)))
    else:
        element = Shunt(Fraction(100), rated(Fraction(3, 40), "voltage", there))
        ratio = 0.075 / 100
        shares = {"voltage": both(at * part)}
    off = ZERO if "zero" in there else 0
    zero = Rated(Fraction(1, 2), Fraction(1, 2) - off, Fraction(1, 2) + off)
    wiring = Input(
        reference=rated(full, "reference", there),
        bits=BITS if "step" in there else None,
        gain=rated(gain, "gain", there),
        zero=zero,
    )
    shares |= {
        "gain": both(at * part),
        "zero": both(float(ZERO) / (gain * ratio)),
        "reference": both((0.5 + gain * ratio * at) * part / (gain * ratio)),  # it scales the whole, the zero too
        "step": both(STEP * full / (gain * ratio)),
    }
    return Sensing(element, wiring), shares


def judge(sensing: Sensing, at: int, valid: Range, shares: list[Share]) -> None:
    low, high = (end / MICRO for end in error_interval(sensing, Range(at * MICRO, at * MICRO), valid))
    assert high == pytest.approx(sum(s.up for s in shares), rel=WITHIN, abs=NEAR)
    assert -low == pytest.approx(sum(s.down for s in shares), rel=WITHIN, abs=NEAR)


@pytest.mark.parametrize("supplied", [False, True], ids=["ratiometric", "supplied"])
@pytest.mark.parametrize("pull", Pull, ids=lambda p: str(p.value))
@pytest.mark.parametrize(("kind", "t"), [("ntc", -10), ("ntc", 45), ("platinum", 60)])
def test_each_tolerance_of_a_thermometer_counts_once(kind: str, t: int, pull: Pull, supplied: bool) -> None:
    valid = Range(-50 * MICRO, 90 * MICRO)
    names = frozenset(thermometer(kind, pull, t, supplied, frozenset())[1])
    assert len(names) >= 7
    for there in (*(frozenset({name}) for name in sorted(names)), names):
        sensing, shares = thermometer(kind, pull, t, supplied, there)
        judge(sensing, t, valid, [shares[name] for name in there])


@pytest.mark.parametrize(("kind", "at"), [("divider", 12), ("shunt", 80), ("shunt", -15)])
def test_each_tolerance_of_a_divider_or_a_shunt_counts_once(kind: str, at: int) -> None:
    valid = Range(-400 * MICRO, 400 * MICRO)
    names = frozenset(volts(kind, at, frozenset())[1])
    for there in (*(frozenset({name}) for name in sorted(names)), names):
        sensing, shares = volts(kind, at, there)
        judge(sensing, at, valid, [shares[name] for name in there])
