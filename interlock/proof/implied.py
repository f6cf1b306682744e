"""What a scheme's sensors imply about truth beyond its declared ties: every verdict rests on it, so it is listed.

Where no reading could satisfy all intervals of a sensor, that truth cannot occur. Two quantities seen by one sensor are
thereby held together; where spans and ties alone allow more, the difference is an assumption nobody declared.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.proof.bounds import SCALE, Bounds
from interlock.scheme.model import Scheme


@dataclass(frozen=True, slots=True)
class Implied:
    """`upper` - `lower` is at most `most` (millionths), because of `sensor`; ties and spans alone allow `declared`."""

    sensor: str
    upper: str
    lower: str
    most: int
    declared: int


def implied_assumptions(scheme: Scheme) -> tuple[Implied, ...]:
    """The differences of two quantities that a sensor's intervals bound more tightly than spans and ties do."""
    place = {q: i for i, q in enumerate(scheme.quantities, 1)}
    ties = Bounds(len(place) + 1)
    for quantity in scheme.quantities.values():
        q = place[quantity.name]
        ties.add(q, 0, quantity.span.high * SCALE)
        ties.add(0, q, -quantity.span.low * SCALE)
        if quantity.at_least:
            ties.add(place[quantity.at_least.other], q, -quantity.at_least.difference * SCALE)
        if quantity.at_most:
            ties.add(q, place[quantity.at_most.other], quantity.at_most.difference * SCALE)
    found: list[Implied] = []
    for sensor in scheme.sensors.values():
        for upper in sensor.measures:
            for lower in sensor.measures:
                if upper is lower:
                    continue
                # reading >= upper + its low, reading <= lower + its high
                most = lower.interval.high - upper.interval.low
                declared = ties.cells[place[upper.quantity] * ties.size + place[lower.quantity]] // SCALE
                if most < declared:
                    found.append(Implied(sensor.name, upper.quantity, lower.quantity, most, declared))
    return tuple(found)
