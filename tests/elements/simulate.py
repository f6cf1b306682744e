"""Sensors simulated part by part in plain floating point, written from the physics and not from our chain.

Each tolerance is a number from -1 to 1 (heating: 0 to 1, of an element that has warmed itself by so much of what it
can); a resistance's temperature is found by halving, never by the formula's own inverse.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import product

from interlock.elements.chain import Range
from interlock.elements.records import (
    Beta,
    Curve,
    Divider,
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

Draws = dict[str, float]
PARTS: tuple[str, ...] = ("r25", "beta", "part", "kelvin", "pull", "supply", "reference", "step", "leads", "heat")
VOLT_PARTS: tuple[str, ...] = ("top", "bottom", "voltage", "gain", "zero", "reference", "step")


def value(rated: Rated, draw: float) -> float:
    ends = (rated.nominal - rated.low) if draw < 0 else (rated.high - rated.nominal)
    return float(rated.nominal) + float(ends) * draw


def ohms(curve: Curve, t: float, draws: Draws) -> float:
    """The resistance at t degC of a part with these tolerances."""
    kelvin = t + 273.15
    match curve:
        case Beta():
            beta = value(curve.beta, draws.get("beta", 0))
            return value(curve.r25, draws.get("r25", 0)) * math.exp(beta * (1 / kelvin - 1 / 298.15))
        case Platinum():
            cubic = -4.183e-12 * (t - 100) * t**3 if t < 0 else 0.0
            return float(curve.r0) * (1 + 3.9083e-3 * t - 5.775e-7 * t * t + cubic)
        case Table():
            rows = [(float(a), float(b)) for a, b in curve.rows]
            i = max(0, min(len(rows) - 2, sum(a <= t for a, _ in rows) - 1))
            (t0, r0), (t1, r1) = rows[i], rows[i + 1]
            x0, x1 = 1 / (t0 + 273.15), 1 / (t1 + 273.15)
            part = (1 / kelvin - x0) / (x1 - x0)
            return math.exp(math.log(r0) + part * (math.log(r1) - math.log(r0)))
        case SteinhartHart():
            a, b, c = float(curve.a), float(curve.b), float(curve.c)
            return math.exp(halved(lambda x: a + b * x + c * x**3 - 1 / kelvin, -5, 21))
        case Polynomial():
            r25 = value(curve.r25, draws.get("r25", 0))
            a, b, c, d = (float(x) for x in (curve.a, curve.b, curve.c, curve.d))
            return r25 * math.exp(halved(lambda x: a + b * x + c * x * x + d * x**3 - 1 / kelvin, -14, 14))


def halved(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is zero; an end where it is not."""
    for _ in range(60):
        middle = (low + high) / 2
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def degrees(curve: Curve, r: float, low: float, high: float) -> float:
    """The temperature at which the nominal curve has r ohm; the nearer end where it has it nowhere from low to high."""
    rises = isinstance(curve, Platinum)
    return halved(lambda t: ohms(curve, t, {}) - r if rises else r - ohms(curve, t, {}), low, high)


def read(sensing: Sensing, truth: float, draws: Draws, valid: Range) -> float:
    """The reading; outside `valid` the nearer end of it."""
    low, high = float(valid.ends[0]), float(valid.ends[1])
    if isinstance(sensing.element, Thermometer):
        found = _temperature(sensing, truth, draws, low, high)
    else:
        found = _volts(sensing, truth, draws)
    return min(max(found, low), high)


def _steps(sensing: Sensing, x: float, draws: Draws) -> float:
    step = float(sensing.input.step)
    return min(max(x + step * draws.get("step", 0), 0.0), 1 - step)


def _temperature(sensing: Sensing, truth: float, draws: Draws, low: float, high: float) -> float:
    element, wiring = sensing.element, sensing.input
    assert isinstance(element, Thermometer)
    assert wiring.resistor is not None
    pull = value(wiring.resistor, draws.get("pull", 0))
    feed = wiring.supply or wiring.reference
    volts = value(feed, draws.get("supply" if wiring.supply else "reference", 0)) if feed else 0.0
    own = truth
    for _ in range(40 if element.dissipates else 1):  # its own heat changes its resistance, and so its own heat
        shift = (float(element.kelvin) + float(element.per_degree) * abs(own)) * draws.get("kelvin", 0)
        r = ohms(element.curve, own + shift, draws) * (1 + float(element.part) * draws.get("part", 0))
        if element.dissipates:
            power = volts**2 * r / (pull + r) ** 2
            own = truth + draws.get("heat", 0) * power / float(element.dissipates.low)
    leads = [float(x) for x in wiring.leads]
    r += leads[0] + (leads[1] - leads[0]) * (draws.get("leads", 0) + 1) / 2
    part = pull / (pull + r) if wiring.pull is Pull.DOWN else r / (pull + r)
    ratio, back = 1.0, 1.0
    if wiring.supply:
        assert wiring.reference is not None
        ratio = volts / value(wiring.reference, draws.get("reference", 0))
        back = float(wiring.reference.nominal / wiring.supply.nominal)
    x = _steps(sensing, part * ratio, draws) * back
    nominal = float(wiring.resistor.nominal)
    if not 0 < x < 1:
        seen = 0.0 if (x <= 0) is not (wiring.pull is Pull.DOWN) else 1e18
    else:
        seen = nominal * (1 - x) / x if wiring.pull is Pull.DOWN else nominal * x / (1 - x)
    return degrees(sensing.formula, seen, low, high)


def _volts(sensing: Sensing, truth: float, draws: Draws) -> float:
    element, wiring = sensing.element, sensing.input
    assert wiring.reference is not None
    if isinstance(element, Divider):
        top, bottom = value(element.top, draws.get("top", 0)), value(element.bottom, draws.get("bottom", 0))
        measured = truth * bottom / (top + bottom)
        nominal = float(element.bottom.nominal / (element.top.nominal + element.bottom.nominal))
    else:
        assert isinstance(element, Shunt)
        measured = truth * value(element.voltage, draws.get("voltage", 0)) / float(element.current)
        nominal = float(element.voltage.nominal / element.current)
    x = value(wiring.zero, draws.get("zero", 0)) + value(wiring.gain, draws.get("gain", 0)) * measured
    x = _steps(sensing, x / value(wiring.reference, draws.get("reference", 0)), draws)
    back = x * float(wiring.reference.nominal) - float(wiring.zero.nominal)
    return back / float(wiring.gain.nominal) / nominal


def parts(sensing: Sensing) -> tuple[str, ...]:
    """The tolerances that a sensor really has."""
    element, wiring = sensing.element, sensing.input
    rated: dict[str, Rated | None] = {"supply": wiring.supply, "gain": wiring.gain, "zero": wiring.zero}
    names = PARTS
    heats = isinstance(element, Thermometer) and element.dissipates is not None
    if isinstance(element, Thermometer):
        curve = element.curve
        rated |= {"r25": getattr(curve, "r25", None), "beta": getattr(curve, "beta", None), "pull": wiring.resistor}
        rated["reference"] = wiring.reference if wiring.supply or heats else None
        there = {"part": element.part, "kelvin": element.kelvin, "leads": wiring.leads[1] - wiring.leads[0]}
    else:
        rated |= {name: getattr(element, name, None) for name in ("top", "bottom", "voltage")}
        rated["reference"] = wiring.reference
        there = {}
        names = VOLT_PARTS
    has = {name for name, r in rated.items() if r is not None and r.low != r.high}
    has |= {name for name, size in there.items() if size}
    has |= {"step"} if wiring.bits else set()
    has |= {"heat"} if heats else set()
    return tuple(name for name in names if name in has)


def corners(sensing: Sensing) -> Iterator[Draws]:
    """Every tolerance at one of its ends."""
    names = parts(sensing)
    for ends in product((-1.0, 1.0), repeat=len(names)):
        draws = dict(zip(names, ends, strict=True))
        if "heat" in draws:
            draws["heat"] = max(draws["heat"], 0.0)
        yield draws
