"""How far the quantities of a scheme can be apart, and how far a reading can be from each of them. Healthy sensors."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from interlock.scheme.model import Condition, Interval, Limit, Scheme, Sensor
from interlock.scheme.truth import ZERO, Bounds, closed, declared_bounds, most_apart
from interlock.scheme.words import Signal


class Truths:
    """The declared spans and ties of a scheme, closed exactly."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.declared = declared_bounds(scheme.quantities)
        # A scheme without one possible truth never gets past the reader.
        self.closed: Bounds = closed(self.declared) or {}

    @cached_property
    def tied(self) -> Bounds:
        """The closure of the ties alone, spans left out: how far two quantities move together."""
        return closed({pair: most for pair, most in self.declared.items() if ZERO not in pair}) or {}

    def range(self, quantity: str) -> Interval:
        """The values a quantity can really take, its ties considered."""
        return Interval(-self.closed[ZERO, quantity], self.closed[quantity, ZERO])

    def most_apart(self, one: str, other: str) -> int:
        """The greatest value of one - other."""
        return most_apart(self.closed, one, other)

    def follows(self, sensor: Sensor, quantity: str, *, upward: bool) -> bool:
        """Whether the reading is bounded from above (`upward`), or from below, by the quantity and ties alone."""
        pairs = ((e.quantity, quantity) if upward else (quantity, e.quantity) for e in sensor.measures)
        return any(one == other or (one, other) in self.tied for one, other in pairs)

    def worst_reading(self, sensor: Sensor, condition: Condition) -> int:
        """The reading farthest from the condition's side that the sensor may still give while the condition holds:
        with `below` the highest, else the lowest."""
        assert isinstance(condition.test, Limit)
        quantity, limit = condition.name, condition.test.value
        if condition.test.compare.downward:
            return min(
                e.interval.high + min(self.range(e.quantity).high, limit + self.most_apart(e.quantity, quantity))
                for e in sensor.measures
            )
        return max(
            e.interval.low + max(self.range(e.quantity).low, limit - self.most_apart(quantity, e.quantity))
            for e in sensor.measures
        )

    def possible(self, conditions: Iterable[Condition]) -> bool:
        """Whether some truth meets all the conditions on quantities at once.

        The conditions add bounds on single quantities only, so each negative cycle splits into cycles with one upper
        and one lower bound: looking at pairs is exact.
        """
        upper: dict[str, tuple[int, bool]] = {}
        lower: dict[str, tuple[int, bool]] = {}
        for c in conditions:
            if c.signal is not Signal.QUANTITY or not isinstance(c.test, Limit):
                continue
            value, strict = c.test.value, c.test.compare.strict
            side = upper if c.test.compare.downward else lower
            known = side.get(c.name)
            tighter = known is None or (value < known[0] if side is upper else value > known[0])
            if tighter or (known is not None and value == known[0] and strict):
                side[c.name] = (value, strict)
        for q in {*upper, *lower}:
            whole = self.range(q)
            upper.setdefault(q, (whole.high, False))
            lower.setdefault(q, (whole.low, False))
        for high, (most, most_strict) in upper.items():
            for low, (least, least_strict) in lower.items():
                apart = 0 if high == low else self.most_apart(low, high)
                room = most + apart - least
                if room < 0 or (room == 0 and (most_strict or least_strict)):
                    return False
        return True
