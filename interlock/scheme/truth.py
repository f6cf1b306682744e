"""What truths can occur together: difference bounds over the quantities of a scheme, closed exactly.

A system of bounds x - y <= c over whole millionths has a solution exactly when its graph has no negative cycle, and the
tightest implied bounds are its shortest paths (Bellman 1958; the closure is Floyd's and Warshall's of 1962).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from msgspec import Struct

from interlock.scheme.model import Quantity, Sensor, SensorError

ZERO = ""  # the fixed point of every bound on one quantity alone

# The greatest value of left - right, for each pair that is bounded.
Bounds = dict[tuple[str, str], int]


def tighten(bounds: Bounds, left: str, right: str, most: int) -> None:
    """Add left - right <= most."""
    known = bounds.get((left, right))
    if known is None or most < known:
        bounds[left, right] = most


def declared_bounds(quantities: Mapping[str, Quantity]) -> Bounds:
    """Spans and ties, as written."""
    bounds: Bounds = {}
    for q in quantities.values():
        tighten(bounds, q.name, ZERO, q.span.high)
        tighten(bounds, ZERO, q.name, -q.span.low)
        if q.at_least and q.at_least.other in quantities:
            tighten(bounds, q.at_least.other, q.name, -q.at_least.difference)
        if q.at_most and q.at_most.other in quantities:
            tighten(bounds, q.name, q.at_most.other, q.at_most.difference)
    return bounds


def reading_bounds(errors: Iterable[SensorError]) -> Bounds:
    """What it takes that one reading meets all the error intervals at once: p - q <= high of q - low of p."""
    errors = tuple(errors)
    bounds: Bounds = {}
    for p in errors:
        for q in errors:
            if p.quantity != q.quantity:
                tighten(bounds, p.quantity, q.quantity, q.interval.high - p.interval.low)
    return bounds


def closed(bounds: Bounds) -> Bounds | None:
    """The tightest implied bounds; None where no truth meets them all.

    Quantities that nothing ties together, however indirectly, have no entry: there the bounds on each alone say it all.
    """
    result: Bounds = {}
    by_node: dict[str, list[tuple[str, str]]] = {}
    for a, b in bounds:
        by_node.setdefault(a or b, []).append((a, b))
    for nodes in _components(bounds):
        members = {*nodes, ZERO}
        part = {pair: bounds[pair] for n in nodes for pair in by_node.get(n, ())}
        for n in members:
            part[n, n] = min(0, part.get((n, n), 0))
        for via in (*nodes, ZERO):
            into = [(a, part[a, via]) for a in members if (a, via) in part]
            out = [(b, part[via, b]) for b in members if (via, b) in part]
            for a, first in into:
                for b, second in out:
                    tighten(part, a, b, first + second)
        if any(part[n, n] < 0 for n in members):
            return None
        result.update(part)
    return result


def _components(bounds: Bounds) -> list[list[str]]:
    """The quantities in groups tied together, each sorted, in the order of their first names."""
    group = {n: n for pair in bounds for n in pair if n != ZERO}

    def root(n: str) -> str:
        while group[n] != n:
            group[n] = group[group[n]]
            n = group[n]
        return n

    for a, b in bounds:
        if ZERO not in (a, b):
            group[root(a)] = root(b)
    found: dict[str, list[str]] = {}
    for n in sorted(group):
        found.setdefault(root(n), []).append(n)
    return list(found.values())


def merged(*systems: Bounds) -> Bounds:
    """All bounds of several systems together."""
    result: Bounds = {}
    for system in systems:
        for (left, right), most in system.items():
            tighten(result, left, right, most)
    return result


def most_apart(bounds: Bounds, one: str, other: str) -> int:
    """The greatest value of one - other under closed bounds."""
    known = bounds.get((one, other))
    return known if known is not None else bounds[one, ZERO] + bounds[ZERO, other]


class Implied(Struct, frozen=True):
    """`upper` - `lower` is at most `most` (millionths), because of `sensor`; ties and spans alone allow `declared`.

    Where no reading could satisfy all intervals of a sensor, that truth cannot occur: two quantities seen by one sensor
    are thereby held together. Where spans and ties alone allow more, the difference is an assumption nobody declared.
    """

    sensor: str
    upper: str
    lower: str
    most: int
    declared: int


def implied_assumptions(declared: Bounds, sensors: Iterable[Sensor]) -> tuple[Implied, ...]:
    """The differences that sensors bound more tightly than the closed spans and ties do, in the scheme's order."""
    return tuple(
        Implied(sensor.name, upper, lower, most, known)
        for sensor in sensors
        for (upper, lower), most in reading_bounds(sensor.measures).items()
        if (known := most_apart(declared, upper, lower)) > most
    )
