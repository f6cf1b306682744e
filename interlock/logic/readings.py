"""Readings: several sensors combined, and a value held against a limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction

from interlock.scheme.model import Interval, Limit, Reading
from interlock.scheme.words import Combine, Compare

# A reading in millionths; exact, since averages and medians may fall between; None: invalid.
Value = int | Fraction | None


def median(values: Sequence[int]) -> Fraction:
    """The middle value; of an even number, the mean of the middle two."""
    ordered = sorted(values)
    return Fraction(ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2], 2)


_COMBINE: dict[Combine, Callable[[Sequence[int]], int | Fraction]] = {
    Combine.LOWEST_OF: min,
    Combine.HIGHEST_OF: max,
    Combine.MEDIAN_OF: median,
    Combine.DIFFERENCE_OF: lambda values: max(values) - min(values),
    Combine.AVERAGE_OF: lambda values: Fraction(sum(values), len(values)),
}
assert set(_COMBINE) == set(Combine), set(Combine) - set(_COMBINE)


def at_input(element: int | None, valid: Interval) -> int | None:
    """What a unit makes of an element's value: None where it is lost or outside the valid range."""
    return element if element is not None and element in valid else None


def combined(reading: Reading, inputs: Mapping[str, int | None]) -> Value:
    """A derived reading from its sensors' readings; None when fewer than `needs` of them are valid."""
    values = [value for name in reading.sensors if (value := inputs[name]) is not None]
    return _COMBINE[reading.combine](values) if len(values) >= reading.needs else None


def compare(value: Value, limit: Limit) -> bool:
    """Whether a valid value meets a limit; strict unless the word says otherwise."""
    assert value is not None
    match limit.compare:
        case Compare.BELOW:
            return value < limit.value
        case Compare.ABOVE:
            return value > limit.value
        case Compare.AT_OR_BELOW:
            return value <= limit.value
        case Compare.AT_OR_ABOVE:
            return value >= limit.value
