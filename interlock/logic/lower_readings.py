"""Sensors and derived readings as nodes. Averages and medians are compared without a division, as sums and counts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import reduce

from msgspec import Struct

from interlock.logic.builder import Builder
from interlock.logic.presence import Presence
from interlock.logic.program import Input, InputKind, Slot, SlotKind
from interlock.scheme.model import Interval, Limit, Reading, Sensor
from interlock.scheme.words import Combine, Compare, Mode, Part


class Measured(Struct, frozen=True):
    """A reading: numerator / denominator in millionths, meaningful where `valid`; three nodes."""

    valid: int
    numerator: int
    denominator: int


def meets(b: Builder, value: Measured, limit: Limit, adjusted: int | None = None) -> int:
    """Whether a valid reading meets a limit: numerator against limit times denominator, which is above zero.

    `adjusted`: the node of a limit that is an input."""
    if adjusted is None:
        bound = b.scale(value.denominator, limit.value)
    else:
        each = range(1, b.nodes[value.denominator].high + 1)
        counted = [b.select(b.at_least(value.denominator, n), adjusted, b.constant(0)) for n in each]
        bound = reduce(b.add, counted)
    match limit.compare:
        case Compare.BELOW:
            return b.at_most(value.numerator, b.plus(bound, -1))
        case Compare.AT_OR_BELOW:
            return b.at_most(value.numerator, bound)
        case Compare.ABOVE:
            return b.at_most(b.plus(bound, 1), value.numerator)
        case Compare.AT_OR_ABOVE:
            return b.at_most(bound, value.numerator)


def sensors(b: Builder, presence: Presence, declared: Mapping[str, Sensor]) -> dict[str, Measured]:
    """Each sensor's reading at its unit's input, exchanged elements included."""
    elements = {
        name: _element(b, presence, sensor, _range(presence, declared, sensor)) for name, sensor in declared.items()
    }
    inputs: dict[str, Measured] = {}
    for name, sensor in declared.items():
        lost, value = elements[presence.installed.source(Part.SENSOR, name)]
        for other, swapped in presence.exchanged(Part.SENSOR, name).items():
            lost, value = b.select(swapped, elements[other][0], lost), b.select(swapped, elements[other][1], value)
        valid = b.both(b.negate(lost), b.at_least(value, sensor.valid.low), b.up_to(value, sensor.valid.high))
        inputs[name] = Measured(valid, value, b.constant(1))
    return inputs


def _range(presence: Presence, declared: Mapping[str, Sensor], sensor: Sensor) -> Interval:
    """The values of an element that matter: what is valid at the input it is wired to, and one step beyond each end."""
    at = [declared[presence.installed.source(Part.SENSOR, sensor.name)].valid]
    at += [declared[other].valid for other in presence.exchanged(Part.SENSOR, sensor.name)]
    return Interval(min(valid.low for valid in at) - 1, max(valid.high for valid in at) + 1)


def _element(b: Builder, presence: Presence, sensor: Sensor, values: Interval) -> tuple[int, int]:
    """Whether the element gives nothing, and what it gives: shorted over open over stuck."""
    value = b.input(Input(InputKind.ELEMENT, sensor.name, values.low, values.high))
    lost = b.false
    stuck = presence.has(Mode.STUCK, sensor.name)
    if stuck != b.false:
        stale = sensor.stale_after.scans + 1 if sensor.stale_after else None
        held = b.slot(Slot(SlotKind.HELD, sensor.name, False, values.low, values.high, values.low))
        age = b.slot(Slot(SlotKind.AGE, sensor.name, False, 0, stale or 1, 0))
        stays = b.select(b.equal(age, b.constant(0)), value, held)
        older = b.select(stuck, b.smaller(b.plus(age, 1), b.constant(stale or 1)), b.constant(0))
        b.leave(held, b.select(stuck, stays, b.constant(values.low)))
        b.leave(age, older)
        value = b.select(stuck, stays, value)
        lost = b.false if stale is None else b.at_least(older, stale)
    for mode, reads in ((Mode.OPEN, sensor.open_reads), (Mode.SHORTED, sensor.shorted_reads)):
        present = presence.has(mode, sensor.name)
        lost = b.select(present, b.truth(reads is None), lost)
        value = value if reads is None else b.select(present, b.constant(reads), value)
    return lost, value


def combined(b: Builder, reading: Reading, inputs: Mapping[str, Measured], declared: Mapping[str, Sensor]) -> Measured:
    """A derived reading from its sensors' readings."""
    parts = [inputs[name] for name in reading.sensors]
    whole = reading.needs >= len(parts)  # then an invalid part makes the whole invalid: no need to leave it out
    count = b.constant(len(parts)) if whole else b.count(p.valid for p in parts)
    valid = b.every(p.valid for p in parts) if whole else b.at_least(count, reading.needs)
    lowest = min(declared[name].valid.low for name in reading.sensors)
    highest = max(declared[name].valid.high for name in reading.sensors)

    def values(instead: int) -> list[int]:
        return [p.numerator if whole else b.select(p.valid, p.numerator, b.constant(instead)) for p in parts]

    one = b.constant(1)
    match reading.combine:
        case Combine.LOWEST_OF:
            return Measured(valid, reduce(b.smaller, values(highest)), one)
        case Combine.HIGHEST_OF:
            return Measured(valid, reduce(b.larger, values(lowest)), one)
        case Combine.DIFFERENCE_OF:
            spread = b.minus(reduce(b.larger, values(lowest)), reduce(b.smaller, values(highest)))
            return Measured(valid, spread, one)
        case Combine.AVERAGE_OF:
            return Measured(valid, reduce(b.add, values(0)), count)
        case Combine.MEDIAN_OF:
            return Measured(valid, _middle_two(b, _sorted(b, values(highest)), count, reading.needs), b.constant(2))


def _middle_two(b: Builder, ordered: Sequence[int], count: int, needs: int) -> int:
    """The sum of the middle two of the first `count` values, at least `needs` of them."""
    total = b.constant(0)
    for n in range(needs, len(ordered) + 1):
        pair = b.add(ordered[(n - 1) // 2], ordered[n // 2])
        total = pair if n == needs else b.select(b.equal(count, b.constant(n)), pair, total)
    return total


def _sorted(b: Builder, values: Sequence[int]) -> list[int]:
    """The values in rising order, by a fixed network of comparators."""
    ordered = list(values)
    for i, j in comparators(len(ordered)):
        ordered[i], ordered[j] = b.smaller(ordered[i], ordered[j]), b.larger(ordered[i], ordered[j])
    return ordered


def comparators(count: int) -> Iterator[tuple[int, int]]:
    """A sorting network for `count` values: merge exchange (Knuth, The Art of Computer Programming 3, 5.2.2 M)."""
    top = 1 << max(0, (count - 1).bit_length() - 1)
    p = top
    while p > 0:
        q, r, d = top, 0, p
        while True:
            yield from ((i, i + d) for i in range(count - d) if i & p == r)
            if q == p:
                break
            d, q, r = q - p, q >> 1, p
        p >>= 1
