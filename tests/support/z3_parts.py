"""What the z3 encoding is made of: memories from scan to scan, the fault set, small formulas.

A memory is a flag (a boolean), a dial (one of a few positions, one boolean each) or, for a stuck reading, a real.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import z3

from interlock.scheme.model import Fault, Limit, SensorError
from interlock.scheme.words import Combine, Compare, Mode, Part

Formula = Any  # a z3 expression: the library ships no types


class NotEncoded(Exception):  # noqa: N818 - no error of the scheme: this second opinion declines, naming the construct
    """A construct that this second opinion leaves to the others."""


# --- what a scan leaves to the next


@dataclass(frozen=True)
class Flag:
    """On or off."""

    start: bool


@dataclass(frozen=True)
class Dial:
    """One of `size` positions."""

    size: int
    start: int


@dataclass(frozen=True)
class Value:
    """A real number."""


Memory = Flag | Dial | Value


def memory_at(name: str, memory: Memory, i: int) -> Formula:
    """A memory before scan i: a boolean, a list of booleans, or a real."""
    match memory:
        case Flag():
            return z3.Bool(f"{name}@{i}")
        case Dial(size):
            return [z3.Bool(f"{name}={v}@{i}") for v in range(size)]
        case Value():
            return z3.Real(f"{name}@{i}")


def at_start(name: str, memory: Memory, i: int) -> list[Formula]:
    """That a memory before scan i is as before scan 0."""
    now = memory_at(name, memory, i)
    match memory:
        case Flag(start):
            return [now if start else z3.Not(now)]
        case Dial(_, start):
            return [at if v == start else z3.Not(at) for v, at in enumerate(now)]
        case Value():
            return [now == 0]


def well_formed(name: str, memory: Memory, i: int) -> list[Formula]:
    """That a memory before scan i is in one of its states."""
    return [z3.PbEq([(at, 1) for at in memory_at(name, memory, i)], 1)] if isinstance(memory, Dial) else []


def alike(name: str, memory: Memory, i: int, j: int) -> list[Formula]:
    """That a memory is the same before scans i and j."""
    one, other = memory_at(name, memory, i), memory_at(name, memory, j)
    pairs = zip(one, other, strict=True) if isinstance(memory, Dial) else [(one, other)]
    return [a == b for a, b in pairs]


# --- the fault set


@dataclass
class Plan:
    """Faults there from power-up, those that arise (each entry at a scan of its own), units that may cycle, swaps."""

    installed: list[Fault] = field(default_factory=list)
    arising: list[list[Fault]] = field(default_factory=list)
    cycled: set[str] = field(default_factory=set)
    swapped: dict[tuple[Part, str], str] = field(default_factory=dict)

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> Plan:
        """Raises NotEncoded where two swaps share a part."""
        plan = cls()
        for fault in faults:
            later = []
            for single in fault.single():
                if single.mode is Mode.POWER_CYCLED:
                    plan.cycled.add(single.parts[0])
                elif single.mode is Mode.SWAPPED:
                    one, other = single.parts
                    for a, b in ((one, other), (other, one)):
                        if plan.swapped.setdefault((single.part, a), b) != b:
                            raise NotEncoded("two swaps that share a part")
                elif single.mode.installation:
                    plan.installed.append(single)
                else:
                    later.append(single)
            if later:
                plan.arising.append(later)
        return plan

    def at_other(self, part: Part, name: str) -> str:
        """The part that stands in this one's place."""
        return self.swapped.get((part, name), name)


def one_error(faults: Iterable[Fault], mode: Mode, sensor: str) -> tuple[SensorError, ...]:
    """The error of a drifted or misplaced sensor; () where it is neither. Raises NotEncoded where there are two."""
    errors = {f.error for f in faults if f.mode is mode and f.parts == (sensor,)}
    if len(errors) > 1:
        raise NotEncoded(f"a sensor {mode} in two ways at once")
    return errors.pop() if errors else ()


# --- small formulas


def every(parts: Iterable[Formula]) -> Formula:
    """All of them (True of none)."""
    parts = list(parts)
    return z3.And(parts) if len(parts) != 1 else parts[0]


def some(parts: Iterable[Formula]) -> Formula:
    """Any of them (False of none)."""
    parts = list(parts)
    return z3.Or(parts) if len(parts) != 1 else parts[0]


def so(formula: Formula, wanted: bool) -> Formula:
    """A formula, or its opposite."""
    return formula if wanted else z3.Not(formula)


def compared(value: Formula, limit: Limit) -> Formula:
    """A value held against a limit."""
    match limit.compare:
        case Compare.BELOW:
            return value < limit.value
        case Compare.ABOVE:
            return value > limit.value
        case Compare.AT_OR_BELOW:
            return value <= limit.value
        case Compare.AT_OR_ABOVE:
            return value >= limit.value


def within(reading: Formula, truth: Formula, error: SensorError) -> Formula:
    """A reading that is off by what the interval allows."""
    return z3.And(reading - truth >= error.interval.low, reading - truth <= error.interval.high)


def lowest(values: Sequence[Formula]) -> Formula:
    """The least of some values."""
    low = values[0]
    for value in values[1:]:
        low = z3.If(value < low, value, low)
    return low


def highest(values: Sequence[Formula]) -> Formula:
    """The greatest of some values."""
    return -lowest([-v for v in values])


def middle(values: Sequence[Formula]) -> Formula:
    """The median. Of three: the greatest of the pairs' lesser ones; of four: the mean of what is between the ends."""
    match len(values):
        case 1:
            return values[0]
        case 2:
            return (values[0] + values[1]) / 2
        case 3:
            a, b, c = values
            return highest([lowest([a, b]), lowest([a, c]), lowest([b, c])])
        case 4:
            return (z3.Sum(list(values)) - lowest(values) - highest(values)) / 2
        case number:
            raise NotEncoded(f"a median of {number}")


COMBINED: dict[Combine, Callable[[Sequence[Formula]], Formula]] = {
    Combine.LOWEST_OF: lowest,
    Combine.HIGHEST_OF: highest,
    Combine.MEDIAN_OF: middle,
    Combine.DIFFERENCE_OF: lambda values: highest(values) - lowest(values),
    Combine.AVERAGE_OF: lambda values: z3.Sum(list(values)) / len(values),
}
assert set(COMBINED) == set(Combine), "a way to combine readings is missing"
