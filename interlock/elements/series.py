"""The preferred numbers of IEC 60063: what resistors can be had, E24 (made within 5 %) and E96 (within 1 %).

E96 follows from its definition, 10^(n/96) rounded to three figures. E24 does not quite follow from its own (2.7 to 4.7
and 8.2 were fixed before the rule), so it is listed.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from functools import cache

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
E96 = tuple(round(100 * 10 ** (n / 96)) for n in range(96))
DECADES = range(7)  # from 1 ohm on, up to 10 megaohm: what shops keep


@cache
def values(series: tuple[int, ...]) -> tuple[Fraction, ...]:
    """Every value in ohm from 1 ohm to 10 megaohm, rising."""
    first = series[0]
    found = [Fraction(number * 10**decade, first) for decade in DECADES for number in series]
    return (*found, Fraction(10 ** len(DECADES)))


def pairs(series: tuple[int, ...], target: Fraction) -> Iterator[tuple[Fraction, Fraction]]:
    """Two values in series, the larger first, whose sum lies next to the target: for each larger one the nearest below
    and the nearest above."""
    known = values(series)
    for large in known:
        rest = target - large
        at = bisect_left(known, rest)
        for small in known[max(0, at - 1) : at + 1]:
            if small <= large:
                yield large, small
