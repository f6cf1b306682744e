"""Numbers that certainly lie between two bounds, with their slopes, and the highest value of a function over a range.

The arithmetic is that of balls (Arb, by F. Johansson, as python-flint has it): every result contains the exact one,
whatever is rounded. Each number carries its derivative, so that a function's rise over a range is bounded too.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from fractions import Fraction
from functools import reduce
from typing import NamedTuple

from flint import arb, ctx, fmpq

PRECISION = 96  # bits: far below a millionth of anything on a battery system
MOST_PIECES = 3_000
PATIENCE = 250  # pieces after which twice as much above the highest value will do, and so on

Ball = arb


class Dual:
    """A number and its derivative, each somewhere in its ball."""

    __slots__ = ("slope", "value")

    def __init__(self, value: Ball, slope: Ball | int = 0) -> None:
        self.value, self.slope = value, arb(slope)

    def __add__(self, other: Dual | Ball | int) -> Dual:
        if isinstance(other, Dual):
            return Dual(self.value + other.value, self.slope + other.slope)
        return Dual(self.value + other, self.slope)

    __radd__ = __add__

    def __neg__(self) -> Dual:
        return Dual(-self.value, -self.slope)

    def __sub__(self, other: Dual | Ball | int) -> Dual:
        return self + (-other)

    def __rsub__(self, other: Ball | int) -> Dual:
        return -self + other

    def __mul__(self, other: Dual | Ball | int) -> Dual:
        if isinstance(other, Dual):
            return Dual(self.value * other.value, self.slope * other.value + self.value * other.slope)
        return Dual(self.value * other, self.slope * other)

    __rmul__ = __mul__

    def __truediv__(self, other: Dual | Ball | int) -> Dual:
        return self * other.inverse() if isinstance(other, Dual) else Dual(self.value / other, self.slope / other)

    def __rtruediv__(self, other: Ball | int) -> Dual:
        return self.inverse() * other

    def inverse(self) -> Dual:
        """1 / x."""
        one = 1 / self.value
        return Dual(one, -self.slope * one * one)

    def log(self) -> Dual:
        """The natural logarithm."""
        return Dual(self.value.log(), self.slope / self.value)

    def exp(self) -> Dual:
        """The exponential."""
        value = self.value.exp()
        return Dual(value, self.slope * value)

    def clip(self, low: Ball | None, high: Ball | None) -> Dual:
        """Not below `low`, not above `high`; None: no bound."""
        if low is not None and self.value <= low:
            return Dual(low)
        if high is not None and self.value >= high:
            return Dual(high)
        inside = (low is None or self.value >= low) and (high is None or self.value <= high)
        if inside:
            return self
        value = self.value
        value = value if low is None else value.max(low)
        value = value if high is None else value.min(high)
        return Dual(value, arb(0).union(self.slope))

    def size(self) -> Dual:
        """|x|."""
        if self.value >= 0:
            return self
        return -self if self.value <= 0 else Dual(abs(self.value), self.slope.union(-self.slope))


def exact(value: Fraction | int) -> Ball:
    """A fraction as a ball."""
    return arb(value) if isinstance(value, int) else arb(fmpq(value.numerator, value.denominator))


def precisely() -> AbstractContextManager[object]:
    """The context in which this module's numbers are worked out."""
    return ctx.workprec(PRECISION)


def inverse(function: Callable[[Dual], Dual], wanted: Dual, start: Callable[[Ball], Ball]) -> Dual:
    """The x at which a monotone function has the wanted value. `start`: near where to begin.

    Newton's steps find it; that it is there is then proved by the function's values on both sides of it. Raises
    ArithmeticError where that fails: the function is not monotone there.
    """
    if wanted.value.rad() > wanted.value.mid() * arb(2) ** -60 + arb(2) ** -90:
        ends = [_root(function, end, start(end)) for end in (wanted.value.lower(), wanted.value.upper())]
        x = ends[0].union(ends[1])
    else:
        x = _root(function, wanted.value, start(wanted.value))
    return Dual(x, wanted.slope / function(Dual(x, arb(1))).slope)


def _root(function: Callable[[Dual], Dual], wanted: Ball, start: Ball) -> Ball:
    x = arb(start.mid())
    for _ in range(80):
        at = function(Dual(x, arb(1)))
        step = arb(((at.value - wanted) / at.slope).mid())
        if not step.is_finite():
            break
        x = arb((x - step).mid())
        if abs(step) < (1 + abs(x)) * arb(2) ** -75:
            break
    near = (1 + abs(x)) * arb(2) ** -74
    for _ in range(12):
        low, high = function(Dual(x - near)).value, function(Dual(x + near)).value
        if (low <= wanted and high >= wanted) or (low >= wanted and high <= wanted):
            return (x - near).union(x + near)
        near = near * 8
    raise ArithmeticError("no such value")


class Over(NamedTuple):
    """A continuous function and the range over which it matters."""

    function: Callable[[Dual], Dual]
    low: Fraction
    high: Fraction


class _End(NamedTuple):
    """An end of a piece: where, and the function's value there."""

    at: Ball
    value: Ball


def highest(overs: Iterable[Over], near: Fraction) -> Ball:
    """An upper bound of all these functions over their ranges, at most `near` above the highest value of any; functions
    that hardly change over a whole range would take very long, and are given twice that after each `PATIENCE` pieces.

    Branch and bound: over a piece on which the slope has one sign the highest value is that of an end; over any other
    piece the function lies below the two lines that rise from its ends as steeply as it can. The piece that may reach
    highest is halved first. Raises ArithmeticError where no bound is found: a function is not finite.
    """
    tolerance = exact(near)
    pieces: list[tuple[float, int, Ball, Callable[[Dual], Dual], _End, _End]] = []
    best = arb.neg_inf()
    count = 0

    def end(function: Callable[[Dual], Dual], at: Ball) -> _End:
        nonlocal best
        value = function(Dual(at, arb(1))).value
        if not value.lower() <= best:
            best = value.lower()
        return _End(at, value)

    def consider(function: Callable[[Dual], Dual], left: _End, right: _End) -> None:
        nonlocal count
        over = function(Dual(left.at.union(right.at), arb(1)))
        if over.slope >= 0 or over.slope <= 0:
            return  # its ends count already
        bound = _below_lines(over.slope, left, right)
        if not bound.is_finite() or over.value.upper() < bound:
            bound = over.value.upper() if over.value.is_finite() else arb.pos_inf()
        count += 1
        heapq.heappush(pieces, (-float(bound), count, bound, function, left, right))

    tops: list[Ball] = []
    for function, low, high in overs:
        left = end(function, exact(low))
        right = end(function, exact(high))
        tops.extend((left.value, right.value))
        if low < high:
            consider(function, left, right)
    while pieces:
        _, _, bound, function, left, right = pieces[0]
        if count > MOST_PIECES and not bound.is_finite():
            raise ArithmeticError("no bound is found")
        if bound <= best + tolerance * 2 ** (count // PATIENCE) or count > MOST_PIECES:
            tops.append(bound)
            break
        heapq.heappop(pieces)
        middle = end(function, arb(((left.at + right.at) / 2).mid()))
        tops.append(middle.value)
        consider(function, left, middle)
        consider(function, middle, right)
    return highest_of(tops)


def highest_of(balls: Iterable[Ball]) -> Ball:
    """An upper bound of all of them."""
    return reduce(arb.max, (ball.upper() for ball in balls))


def _below_lines(slope: Ball, left: _End, right: _End) -> Ball:
    """What a function with such slopes, some above 0 and some below, stays below between two values of its own:
    where the steepest rise from the one meets the steepest fall to the other."""
    rise, fall = slope.upper(), slope.lower()
    met = rise * right.value - fall * left.value - rise * fall * (right.at - left.at)
    return (met / (rise - fall)).upper()
