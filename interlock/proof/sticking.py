"""The values at which sensors can stick, cut into spans: within one, every value allows the same at every scan.

Of sensors that are weighed against each other the differences are cut too. What the rules see of a scan are systems of
difference bounds, and what such a system leaves of some of its variables is bounds on each and on their differences:
between the cuts all of them agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from msgspec import Struct

from interlock.proof.bounds import INF, SCALE, Bounds
from interlock.proof.cells import Group, Span, UnsupportedError, grouped
from interlock.scheme.words import Combine, Mode, Part

if TYPE_CHECKING:
    from interlock.proof.system import System

_FAR = 1 << 70  # scaled values beyond which nothing is cut
MOST_WAYS = 6_000  # in which two can be stuck that are weighed against each other: beyond it nothing would be decided


class Sticking(Struct, frozen=True):
    """`spans`: for each sensor that can stick, by number, what its values are cut into; `pairs` of them whose
    difference counts, and what each difference (first less second) is cut into (`apart`)."""

    spans: list[list[Span]]
    pairs: tuple[tuple[int, int], ...]
    apart: list[list[Span]]


def cut(system: System) -> Sticking:
    """The cuts for the sensors that can stick in a system. Raises UnsupportedError for what differences do not say."""
    sensors = range(len(system.sensors))
    seen = frozenset(i for i in sensors if system.sensors[i] in system.seen_elements())
    weighed = frozenset(_weighed(system, seen))
    starts: dict[tuple[int, ...], set[int]] = {(i,): set() for i in sensors}
    for arisen in range(len(system.circuits)):
        stuck = frozenset(i for i in seen if system.fault_sets[arisen].has(Mode.STUCK, system.sensors[i]))
        for loose, mine in _sets(stuck, weighed):
            for group in grouped(system.index, list(system.circuits[arisen].slots), system.loose(arisen, loose)):
                _take(system, group, mine, starts)
    pairs = tuple(key for key in sorted(starts) if len(key) == 2)
    found = Sticking([_spans(starts[i,]) for i in sensors], pairs, [_spans(starts[pair]) for pair in pairs])
    for (i, j), apart in zip(pairs, found.apart, strict=True):
        if len(found.spans[i]) * len(found.spans[j]) * len(apart) > MOST_WAYS:
            one, other = system.sensors[i], system.sensors[j]
            raise UnsupportedError(f"there are too many ways in which {one} and {other} can both be stuck")
    return found


def _sets(stuck: frozenset[int], weighed: frozenset[int]) -> Iterator[tuple[frozenset[int], frozenset[int]]]:
    """Which sensors are cut off from truth, and whose values are cut then: each by itself, and of those weighed against
    each other any, the rest still following the truth at the scan at which they stick."""
    together = stuck & weighed
    yield from ((frozenset({i}), frozenset({i})) for i in sorted(stuck - together))
    for size in range(0 if len(together) > 1 else 1, len(together) + 1):
        yield from ((frozenset(loose), together) for loose in combinations(sorted(together), size))


def _take(system: System, group: Group, mine: Iterable[int], starts: dict[tuple[int, ...], set[int]]) -> None:
    """Cut where one of the group's systems begins or ends."""
    place = {i: group.place.get(("element", system.sensors[i])) for i in sorted(mine)}
    there = [(i, v) for i, v in place.items() if v is not None]
    for leaves in group.vectors().values():
        for leaf in leaves:
            for i, v in there:
                starts[i,].update((_start(leaf.lowest(v)), _start(leaf.highest(v) + 1)))
            for (i, v), (j, w) in combinations(there, 2):
                starts.setdefault((i, j), set()).update(_start(c) for c in _between(leaf, v, w))


def _between(leaf: Bounds, v: int, w: int) -> Iterator[int]:
    """Where the difference of two variables begins and ends, as far as their own bounds do not say so already."""
    most, least = leaf.cells[v * leaf.size + w], -leaf.cells[w * leaf.size + v]
    if most < leaf.highest(v) - leaf.lowest(w):
        yield most + 1
    if least > leaf.lowest(v) - leaf.highest(w):
        yield least


def _spans(starts: set[int]) -> list[Span]:
    cuts: list[int | None] = [None, *sorted(c for c in starts if abs(c) < _FAR), None]
    return [Span(low, None if high is None else high - 1) for low, high in pairwise(cuts)]


def _start(at: int) -> int:
    """A scaled cut as the first value of its part: one unit above a limit, whatever the number of strict bounds."""
    base, rest = divmod(at + SCALE // 2, SCALE)
    return base * SCALE + (1 if rest > SCALE // 2 else 0)


def _weighed(system: System, seen: frozenset[int]) -> Iterator[int]:
    """The sensors among several that can stick whose element a reading compares with others by more than their order.
    Raises UnsupportedError where their sum counts."""
    if len(seen) < 2:
        return
    names = {system.sensors[i]: i for i in seen}
    for reading in system.index.scheme.readings.values():
        if reading.combine in (Combine.LOWEST_OF, Combine.HIGHEST_OF):
            continue
        mine = sorted({names[e] for e in _elements(system, reading.sensors) if e in names})
        if len(mine) > 1 and reading.combine is not Combine.DIFFERENCE_OF:
            one, other = (system.sensors[i] for i in mine[:2])
            raise UnsupportedError(f"{one} and {other} both stuck, where their sum counts")
        if reading.combine is Combine.DIFFERENCE_OF:
            yield from mine


def _elements(system: System, sensors: Iterable[str]) -> list[str]:
    return [system.fault_sets[0].source(Part.SENSOR, s) for s in sensors]


assert _FAR < INF // 2
