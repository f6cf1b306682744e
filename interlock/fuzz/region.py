"""What truths and readings can be together: difference bounds in whole millionths, and values picked from them.

One `Region` holds some quantities and the elements of the sensors that measure them. Its variables are named as in the
scheme; a bound says that one variable exceeds another by so much at most. The bounds are kept closed (Floyd 1962), so
the range of each variable is exact, and any value picked from it can be continued to the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from interlock.scheme.model import Limit, Scheme, SensorError
from interlock.scheme.units import MICRO
from interlock.scheme.words import Compare, Word

ZERO = ""  # stands for the value 0 in a bound on one variable alone

# left - right <= most
Bound = tuple[str, str, int]

_FAR = 1 << 60


class Style(Word):
    """Where in its range a value is picked."""

    PLAIN = "plain"  # as it was, else the roundest number near to that
    LOWEST = "lowest"
    HIGHEST = "highest"


class Region:
    """A set of joint values, never empty."""

    __slots__ = ("_at", "_most")

    def __init__(self, names: Iterable[str]) -> None:
        self._at = {name: i for i, name in enumerate((ZERO, *names))}
        size = len(self._at)
        self._most = [[0 if i == j else _FAR for j in range(size)] for i in range(size)]

    def copy(self) -> Region:
        """The same region, to be narrowed on its own."""
        twin = Region.__new__(Region)
        twin._at = self._at
        twin._most = [row[:] for row in self._most]
        return twin

    def __contains__(self, name: str) -> bool:
        return name in self._at

    def add(self, left: str, right: str, most: int) -> bool:
        """Narrow by left - right <= most. False, and unchanged, where nothing would be left."""
        i, j, table = self._at[left], self._at[right], self._most
        if table[i][j] <= most:
            return True
        if table[j][i] + most < 0:
            return False
        from_j = table[j]
        for row in table:
            through = row[i] + most
            if through < _FAR:
                for b, onward in enumerate(from_j):
                    if through + onward < row[b]:  # noqa: PLR1730 - the innermost loop: a call of min costs a third
                        row[b] = through + onward
        return True

    def add_all(self, bounds: Iterable[Bound]) -> bool:
        """Narrow by several bounds. False where nothing would be left; some of them may then have been added."""
        return all(self.add(*bound) for bound in bounds)

    def range(self, name: str) -> tuple[int, int]:
        """The least and the greatest value of a variable."""
        i = self._at[name]
        return -self._most[0][i], self._most[i][0]

    def pick(self, names: Sequence[str], style: Style, before: Mapping[str, int]) -> dict[str, int]:
        """A value for each of the variables, in this order. Narrows the region to them."""
        picked = {}
        for name in names:
            low, high = self.range(name)
            match style:
                case Style.LOWEST:
                    value = low
                case Style.HIGHEST:
                    value = high
                case Style.PLAIN:
                    value = roundest(low, high, before.get(name, (low + high) // 2))
            picked[name] = value
            assert self.add_all([(name, ZERO, value), (ZERO, name, -value)])
        return picked


def roundest(low: int, high: int, near: int) -> int:
    """`near` where it lies in the range; else the number of fewest digits in the range, the nearest such to `near`."""
    if low <= near <= high:
        return near
    step = 100 * MICRO
    for divisor in _fine():
        size = step // divisor
        first = -(-low // size) * size
        last = high // size * size
        if first <= last:
            return first if near < first else last
    return min(max(near, low), high)


def _fine() -> Iterable[int]:
    for tens in range(9):
        yield from (n * 10**tens for n in (1, 2, 4) if 100 * MICRO % (n * 10**tens) == 0)


def within(limit: Limit, name: str) -> Bound:
    """A variable meets a limit."""
    edge = limit.value - limit.compare.strict if limit.compare.downward else -limit.value - limit.compare.strict
    return (name, ZERO, edge) if limit.compare.downward else (ZERO, name, edge)


_OPPOSITE = {
    Compare.BELOW: Compare.AT_OR_ABOVE,
    Compare.AT_OR_ABOVE: Compare.BELOW,
    Compare.ABOVE: Compare.AT_OR_BELOW,
    Compare.AT_OR_BELOW: Compare.ABOVE,
}
assert set(_OPPOSITE) == set(Compare)


def opposite(limit: Limit) -> Limit:
    """Met by the values that do not meet `limit`."""
    return Limit(_OPPOSITE[limit.compare], limit.value)


class TruthError(ValueError):
    """No truth meets the spans, the ties and the sensors' intervals."""


def possible(
    scheme: Scheme,
    quantities: Sequence[str],
    sensors: Sequence[str],
    errors: Mapping[str, tuple[SensorError, ...]],
) -> Region:
    """All that these quantities and these sensors' elements can be together.

    Truth is held to what the sensors' healthy intervals admit; `errors` are those in force. Raises TruthError.
    """
    region = Region((*quantities, *sensors))
    found = True
    for name in quantities:
        quantity = scheme.quantities[name]
        found &= region.add(name, ZERO, quantity.span.high) and region.add(ZERO, name, -quantity.span.low)
        if quantity.at_least:
            found &= region.add(quantity.at_least.other, name, -quantity.at_least.difference)
        if quantity.at_most:
            found &= region.add(name, quantity.at_most.other, quantity.at_most.difference)
    for name in sensors:
        healthy = scheme.sensors[name].measures
        for one in healthy:
            for other in healthy:  # one reading has to meet both: one truth - the other <= other's high - one's low
                most = other.interval.high - one.interval.low
                found &= one is other or region.add(one.quantity, other.quantity, most)
    for name in sensors:
        for error in errors[name]:
            found &= region.add(name, error.quantity, error.interval.high)
            found &= region.add(error.quantity, name, -error.interval.low)
    if not found:
        raise TruthError("no truth meets the spans, the ties and the sensors' intervals at once")
    return region


def groups(scheme: Scheme) -> tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]:
    """(quantities, sensors) that hang together: by a tie, by a sensor of both, by a derived reading."""
    lead = {name: name for name in (*scheme.quantities, *scheme.sensors)}

    def root(name: str) -> str:
        while lead[name] != name:
            lead[name] = lead[lead[name]]
            name = lead[name]
        return name

    for quantity in scheme.quantities.values():
        for tie in (quantity.at_least, quantity.at_most):
            if tie:
                lead[root(tie.other)] = root(quantity.name)
    for sensor in scheme.sensors.values():
        for error in sensor.measures:
            lead[root(error.quantity)] = root(sensor.name)
    for reading in scheme.readings.values():
        for one, other in pairwise(reading.sensors):
            lead[root(one)] = root(other)
    members: dict[str, tuple[list[str], list[str]]] = {}
    for kind, names in enumerate((scheme.quantities, scheme.sensors)):
        for name in names:
            members.setdefault(root(name), ([], []))[kind].append(name)
    return tuple((tuple(quantities), tuple(sensors)) for quantities, sensors in members.values())
