"""Resistance against temperature, both ways, for every kind of curve.

Sources: IEC 60751 (platinum: R = R0 (1 + A t + B t^2 + C (t - 100) t^3), the last term below 0 degC only); Steinhart
and Hart, Deep-Sea Research 15 (1968) 497; the beta formula is what is left of their series with one term.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import lru_cache

from flint import arb

from interlock.elements.enclose import Ball, Dual, exact, inverse
from interlock.elements.records import Beta, Curve, ElementError, Platinum, Polynomial, Rated, SteinhartHart, Table
from interlock.records import replace

ZERO_C = Fraction("273.15")
T25 = Fraction("298.15")
A, B, C = Fraction("3.9083e-3"), Fraction("-5.775e-7"), Fraction("-4.183e-12")
PLATINUM_RANGE = (Fraction(-200), Fraction(850))
# An NTC's resistance is taken to lie between a millionth and a million times that at 25 degC.
WIDEST_LOG = Fraction(14)
LEAST_CHANGE = Fraction(1, 10_000)  # of its resistance per kelvin: platinum has forty times as much
LOWEST_LOG, HIGHEST_LOG = Fraction(-5), Fraction(21)  # of ohms: 7 milliohm to a gigaohm


def corners(curve: Curve) -> Iterator[Curve]:
    """The curves at the ends of the tolerance of beta, which acts one way below 25 degC and the other way above it;
    the tolerance of R25 is left to `part_of`."""
    if isinstance(curve, Beta) and curve.beta.low != curve.beta.high:
        yield replace(curve, beta=Rated.exact(curve.beta.low))
        yield replace(curve, beta=Rated.exact(curve.beta.high))
    else:
        yield curve


def part_of(curve: Curve) -> tuple[Fraction, Fraction]:
    """By what factor the resistance may lie below and above the nominal curve's because of R25."""
    if isinstance(curve, Beta | Polynomial):
        return curve.r25.low / curve.r25.nominal, curve.r25.high / curve.r25.nominal
    return Fraction(1), Fraction(1)


Function = Callable[[Dual], Dual]


@lru_cache(maxsize=256)
def ohms_of(curve: Curve) -> Function:
    """The nominal resistance in ohm of a temperature in degC."""
    zero = exact(ZERO_C)
    match curve:
        case Platinum():
            r0, a, b, c = (exact(x) for x in (curve.r0, A, B, C))

            def platinum(t: Dual) -> Dual:
                cold = t.clip(None, arb(0))
                return r0 * (1 + t * (a + b * t) + c * (t - 100) * cold * cold * cold)

            return platinum
        case Beta():
            beta, at25, r25 = exact(curve.beta.nominal), exact(1 / T25), exact(curve.r25.nominal)
            return lambda t: (beta * (1 / (t + zero) - at25)).exp() * r25
        case Table():
            inverses, logs = _knots(curve)
            return lambda t: _between(inverses, logs, 1 / (t + zero)).exp()
        case SteinhartHart():
            log = _log_of(curve)
            return lambda t: log(1 / (t + zero)).exp()
        case Polynomial():
            log, r25 = _log_of(curve), exact(curve.r25.nominal)
            return lambda t: log(1 / (t + zero)).exp() * r25


@lru_cache(maxsize=256)
def degrees_of(curve: Curve) -> Function:
    """The temperature in degC that the nominal curve gives to a resistance in ohm."""
    zero = exact(ZERO_C)
    match curve:
        case Platinum():
            r0, slope, forward = exact(curve.r0), exact(curve.r0 * A), ohms_of(curve)
            return lambda r: inverse(forward, r, lambda y: (y - r0) / slope)
        case Beta():
            beta, at25, r25 = exact(curve.beta.nominal), exact(1 / T25), exact(curve.r25.nominal)
            return lambda r: 1 / ((r / r25).log() / beta + at25) - zero
        case Table():
            inverses, logs = _knots(curve)
            return lambda r: 1 / _between(logs, inverses, r.log()) - zero
        case SteinhartHart():
            rise = _per_kelvin(curve)
            return lambda r: 1 / rise(r.log()) - zero
        case Polynomial():
            rise, r25 = _per_kelvin(curve), exact(curve.r25.nominal)
            return lambda r: 1 / rise((r / r25).log()) - zero


def ohms(curve: Curve, t: Dual) -> Dual:
    """`ohms_of` at once."""
    return ohms_of(curve)(t)


def degrees(curve: Curve, r: Dual) -> Dual:
    """`degrees_of` at once."""
    return degrees_of(curve)(r)


def _per_kelvin(curve: SteinhartHart | Polynomial) -> Function:
    """1/T of the logarithm of the resistance (polynomial: of the ratio to R25)."""
    if isinstance(curve, SteinhartHart):
        a, b, c = exact(curve.a), exact(curve.b), exact(curve.c)
        return lambda log: a + log * (b + c * log * log)
    a, b, c, d = exact(curve.a), exact(curve.b), exact(curve.c), exact(curve.d)
    return lambda log: a + log * (b + log * (c + log * d))


def _log_of(curve: SteinhartHart | Polynomial) -> Function:
    """And back."""
    rise, a, b = _per_kelvin(curve), exact(curve.a), exact(curve.b)
    return lambda per_kelvin: inverse(rise, per_kelvin, lambda y: (y - a) / b)


# --- tables

Knots = tuple[Ball, ...]


@lru_cache(maxsize=64)
def _knots(curve: Table) -> tuple[Knots, Knots]:
    """1/T and ln R of the rows; both rise."""
    rows = sorted(curve.rows, reverse=True)
    inverses = tuple(exact(1 / (t + ZERO_C)) for t, _ in rows)
    logs = tuple(exact(r).log() for _, r in rows)
    return inverses, logs


def _between(xs: Knots, ys: Knots, x: Dual) -> Dual:
    """On the straight lines between the points, the first and the last of them carried on. The points rise."""
    slack = abs(x.value) * arb(2) ** -80
    first = min(max(bisect_left(xs, x.value.lower() - slack) - 1, 0), len(xs) - 2)
    last = min(max(bisect_right(xs, x.value.upper() + slack) - 1, 0), len(xs) - 2)
    slopes = [(ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i]) for i in range(first, last + 1)]
    slope = slopes[0]
    for other in slopes[1:]:
        slope = slope.union(other)
    if first == last:
        return Dual(ys[first] + slope * (x.value - xs[first]), slope * x.slope)
    low = ys[first] + slopes[0] * (x.value.lower() - xs[first])
    high = ys[last] + slopes[-1] * (x.value.upper() - xs[last])
    return Dual(low.union(high), slope * x.slope)


# --- what a curve may be


def judge(curve: Curve, low: Fraction, high: Fraction) -> None:
    """Raises ElementError, in words, where the curve says nothing of some temperature from low to high degC, or turns
    back somewhere."""
    if isinstance(curve, Platinum):
        if low < PLATINUM_RANGE[0] or high > PLATINUM_RANGE[1]:
            raise ElementError("IEC 60751 ends at -200 and at 850 degC")
    elif isinstance(curve, Table):
        first, last = curve.rows[0][0], curve.rows[-1][0]
        if low < first or high > last:
            raise ElementError(f"its table runs from {float(first):g} to {float(last):g} degC")
    elif isinstance(curve, SteinhartHart | Polynomial) and not _rises(curve):
        raise ElementError("its coefficients make a curve that turns back: one resistance would be two temperatures")
    if low <= -ZERO_C:
        raise ElementError("nothing is colder than -273.15 degC")
    for t in (low, high):
        if not _in_range(curve, t):
            raise ElementError(
                f"by its numbers it has no resistance at {float(t):g} degC that a thermometer can have, or one that "
                "hardly changes"
            )


def _in_range(curve: Curve, t: Fraction) -> bool:
    try:
        log = ohms(curve, Dual(exact(t), 1)).log()
    except ArithmeticError:
        return False
    return bool(
        log.value >= exact(LOWEST_LOG) and log.value <= exact(HIGHEST_LOG) and abs(log.slope) >= exact(LEAST_CHANGE)
    )


def _rises(curve: SteinhartHart | Polynomial) -> bool:
    """Whether 1/T rises with ln R wherever a resistance can be: its derivative is a parabola, lowest at an end or at
    its vertex."""
    if isinstance(curve, SteinhartHart):
        low, high, parabola = LOWEST_LOG, HIGHEST_LOG, (curve.b, Fraction(0), 3 * curve.c)
    else:
        low, high, parabola = -WIDEST_LOG, WIDEST_LOG, (curve.b, 2 * curve.c, 3 * curve.d)
    p, q, r = parabola
    spots = [low, high] + ([-q / (2 * r)] if r and low <= -q / (2 * r) <= high else [])
    return all(p + q * x + r * x * x > 0 for x in spots)
