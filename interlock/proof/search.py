"""The exact search: the longest run of consecutive bad scans of a system, over all its behaviours from power-up.

First all reachable states are found, as pairs of places and zones; then, from each of them, what bad scans alone lead
to, with one more clock that counts them. Staying in the same places is one step, however long it lasts, so the cost
does not depend on the delays. A state that another one can do everything for (by the signs of the components) is not
kept.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from heapq import heappop, heappush
from operator import ge, le
from typing import NamedTuple

from msgspec import Struct

from interlock.proof.components import Comp, Kind
from interlock.proof.emit import Places
from interlock.proof.system import Move, System
from interlock.proof.zones import FAR, Rows, Zone, elapsed, freed, over, rows, tighten, within

PATIENCE = 5  # zones more, so that the best places may lead somewhere as well
FAIR = 4  # two places may alternate for thousands of scans; what does not is not to wait for that


class BudgetError(Exception):
    """The search was stopped: it looked at as many zones as it may."""


class Node(Struct, eq=False):
    """A zone that was reached, how, and whether staying in its places is possible.

    `cover`: the zone with the states that one of it can do everything for.
    """

    config: int
    places: Places
    zone: Zone
    cover: Zone
    parent: Node | None
    move: Move | None
    stays: Move | None
    bad: bool  # whether it belongs to the bad run
    dropped: bool = False
    done: bool = False  # all that follows from it has been looked at
    equal: tuple[int, ...] = ()
    value: tuple[int, ...] = ()

    def path(self) -> list[Node]:
        """The nodes from the first to this one."""
        found: list[Node] = []
        node: Node | None = self
        while node is not None:
            found.append(node)
            node = node.parent
        return found[::-1]


class Longest(Struct, frozen=True):
    """The longest bad run: its length (None: no end), where it was found, and the zones looked at.

    `loop`: for an endless run, the earlier node of its path to which it comes back (None: it stays at `node`).
    """

    scans: int | None
    node: Node | None
    loop: Node | None
    zones: int


class _Carried(Struct, frozen=True):
    """What a move does to a zone of so many rows: the bounds it is first held to, and for each entry of the zone after
    it, which one it comes from and what is added."""

    rows: int
    guards: list[tuple[int, int, int]]
    entries: Sequence[tuple[int, int]]


@lru_cache(maxsize=1 << 14)
def _entries(rows: int, source: tuple[int, ...], added: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    """The entries of a zone whose rows come from these of a zone of so many rows, so many scans later."""
    new = list(zip(source, added, strict=True))
    return tuple((a * rows + b, more - less) for a, more in new for b, less in new)


class Shape(NamedTuple):
    """Of the zones of some places: how many rows, the most each timer can be (FAR for counts), and the rows in which
    one state of a zone can do everything for others: up to how large ones, None for all smaller ones."""

    rows: int
    most: list[int]
    covered: list[tuple[int, int | None]]


class Search:
    """One search of one system."""

    extra = (0, 1)  # rows of a zone beside the timers', where bad scans are not counted and where they are

    def __init__(self, system: System, budget: int) -> None:
        self.system, self.budget = system, budget
        self.comps: Sequence[Comp] = system.layout.comps
        self.count = 0
        self._clocks: dict[Places, tuple[list[int], list[int]]] = {}
        self._shapes: dict[tuple[Places, bool], Shape] = {}
        self._carried: dict[tuple[int, bool], _Carried] = {}
        self._stays: dict[tuple[int, Places, bool], Move | None] = {}
        self._common: dict[tuple[Places, Places, bool], tuple[Rows, Rows]] = {}
        self.split, self.sign = system.split, system.signs()
        self.phased = any(circuit.phase for circuit in system.circuits)

    def clocks(self, places: Places) -> tuple[list[int], list[int]]:
        """The running components and the most each timer can be (one less than its delay)."""
        if places not in self._clocks:
            found = self.system.running[places]
            self._clocks[places] = ([i for i, _ in found], [delay - 1 for _, delay in found])
        return self._clocks[places]

    # --- one scan on zones

    def after(self, node: Node, move: Move, counts: bool) -> list[int] | None:
        """The zone after a move, without what staying there adds; None where the move's guard can't be met."""
        key = (id(move), counts)  # the system keeps its moves, each for one place it leaves
        carried = self._carried.get(key)
        if carried is None:
            carried = self._carried[key] = self._carry(node.places, move, counts)
        n = carried.rows
        d: Sequence[int] = node.zone
        if carried.guards:
            tightened = list(d)
            for i, j, bound in carried.guards:
                if not tighten(tightened, n, i, j, bound):
                    return None
            d = tightened
        return [FAR if d[at] >= FAR else d[at] + more for at, more in carried.entries]

    def _carry(self, places: Places, move: Move, counts: bool) -> _Carried:
        old, most = self.clocks(places)
        more = self.extra[counts]
        n = len(old) + 1 + more
        guards = [
            (0, row, -top) if move.ends >> i & 1 else (row, 0, top - 1)
            for row, (i, top) in enumerate(zip(old, most, strict=True), 1)
            if move.asked >> i & 1
        ]
        where = {i: row for row, i in enumerate(old, 1)}
        # for each new row: the old row it goes on from (0: starts at zero) and what one scan adds to it
        source, added = [0], [0]
        for i in self.clocks(move.places)[0]:
            goes_on = i in where and places[i] == move.places[i] and not move.again >> i & 1
            source.append(where[i] if goes_on else 0)
            added.append(1 if goes_on and not move.still >> i & 1 else 0)
        source += range(n - more, n)
        added += [1] * more
        return _Carried(n, guards, _entries(n, tuple(source), tuple(added)))

    def shape(self, places: Places, counts: bool) -> Shape:
        """What all zones of these places have in common."""
        found = self._shapes.get((places, counts))
        if found is None:
            clocks, most = self.clocks(places)
            count = len(clocks) + 1 + self.extra[counts]
            covered = [
                (row, None if better > 0 else top)
                for row, (i, top) in enumerate(zip(clocks, most, strict=True), 1)
                if (better := self.larger_is_better(i, places[i]))
            ]
            covered += self.covered(count, counts)
            found = self._shapes[places, counts] = Shape(count, most + [FAR] * self.extra[counts], covered)
        return found

    def covered(self, rows: int, counts: bool) -> list[tuple[int, int | None]]:
        """As in `Shape`, of the rows beside the timers'."""
        return [(rows - 1, None)] if counts else []

    def larger_is_better(self, i: int, place: int) -> int:
        sign, kind = self.sign[i], self.comps[i].kind
        if kind is Kind.RULE:
            return sign if place == 1 else -sign
        return -sign if kind in (Kind.WITHIN, Kind.SETTLING) else 0

    # --- what is kept

    def covers(self, a: Node, b: Node, counts: bool) -> bool:
        """Whether each state of b has one in a, whose places are better in some ways and worse in none, that can do
        everything for it."""
        key = (a.places, b.places, counts)
        common = self._common.get(key)
        if common is None:
            common = self._common[key] = self._in_common(*key)
        return within(common[1](b.zone), common[0](a.cover))

    def _in_common(self, a: Places, b: Places, counts: bool) -> tuple[Rows, Rows]:
        """What takes from a zone of each the rows that both have: zero's first, those of the timers that run in both
        and are in the same place, and those beside the timers'."""
        mine, others = self.clocks(a)[0], self.clocks(b)[0]
        more = self.extra[counts]
        na, nb = len(mine) + 1 + more, len(others) + 1 + more
        theirs = {i: r for r, i in enumerate(others, 1)}
        both = [(r, theirs[i]) for r, i in enumerate(mine, 1) if i in theirs and a[i] == b[i]]
        return (
            over(na, (0, *(r for r, _ in both), *range(na - more, na))),
            over(nb, (0, *(r for _, r in both), *range(nb - more, nb))),
        )

    def keep(self, group: list[Node], node: Node, counts: bool) -> bool:
        """Take a node into a group of what is kept, without those it covers; False where one of them covers it."""
        # equal values in one group: the same places (written out here: this is where a search spends its time)
        value, zone, cover = node.value, node.zone, node.cover
        for k in group:
            if k.value == value:
                if all(map(le, zone, k.cover)):
                    return False
            elif k.value > value and all(map(ge, k.value, value)) and self.covers(k, node, counts):
                return False
        worse = False
        for k in group:
            if k.value == value:
                covered = all(map(le, k.zone, cover))
            else:
                covered = k.value < value and all(map(ge, value, k.value)) and self.covers(node, k, counts)
            if covered:
                k.dropped = worse = True
        if worse:
            group[:] = [k for k in group if not k.dropped]
        group.append(node)
        return True

    def explore(self, starts: Sequence[Node], counts: bool, stop: Callable[[Node], bool]) -> Iterator[Node]:
        """All that can be reached (by bad scans alone where they are counted), best places first but for every FAIR-th,
        the oldest, until one is found to stop at: when its turn comes, or some zones after it was first seen."""
        kept: dict[tuple[object, ...], list[Node]] = {}
        heap: list[tuple[int, int, Node]] = []
        waiting: deque[Node] = deque()
        serial = turns = 0
        seen_first: Node | None = None
        patience = self.budget

        def put(node: Node) -> None:
            nonlocal serial, seen_first, patience
            if not self.keep(kept.setdefault((node.config, node.equal), []), node, counts):
                return
            serial += 1
            heappush(heap, (-sum(node.value), serial, node))
            waiting.append(node)
            self.count += 1
            if seen_first is None:
                if stop(node):
                    seen_first, patience = node, min(self.budget, self.count + PATIENCE)
                elif self.count > self.budget:
                    raise BudgetError

        for node in starts:
            put(node)
        while heap:
            turns += 1
            node = waiting.popleft() if turns % FAIR == 0 else heappop(heap)[2]
            if node.dropped or node.done:
                continue
            node.done = True
            yield node
            if stop(node):
                return
            seen: set[tuple[object, ...]] = set()
            places = node.places
            for ends in self.endings(node, counts):
                for move in self.system.moves(node.config, places, ends):
                    if (counts and not move.bad) or (move.places == places and self._stay(node, move)):
                        continue
                    if move.bad and not counts and self.phased:
                        continue  # the same scan stands there as one of no bad run

                    key = (move.config, move.places, move.asked, move.ends, move.again, move.still)
                    if key in seen:
                        continue
                    seen.add(key)
                    d = self.after(node, move, counts)
                    if d is not None:
                        put(self.settled(move.config, move.places, d, node, move, counts))
                    if seen_first is not None and self.count > patience:
                        yield seen_first
                        return
        if seen_first is not None:
            yield seen_first

    def endings(self, node: Node, counts: bool) -> list[int]:
        """The sets of running delays that can be at their last scan together, as bits."""
        clocks, most = self.clocks(node.places)
        if not clocks:
            return [0]
        n = len(clocks) + 1 + self.extra[counts]
        found: list[tuple[int, list[int]]] = [(0, list(node.zone))]
        for row, (i, top) in enumerate(zip(clocks, most, strict=True), 1):
            further: list[tuple[int, list[int]]] = []
            for ends, d in found:
                high, low = d[row * n], -d[row]
                if high < top:
                    further.append((ends, d))
                elif low >= top:
                    further.append((ends | 1 << i, d))
                else:
                    shorter = d.copy()
                    tighten(shorter, n, row, 0, top - 1)
                    further.append((ends, shorter))
                    tighten(d, n, 0, row, -top)
                    further.append((ends | 1 << i, d))
            found = further
        return [ends for ends, _ in found]

    def _stay(self, node: Node, move: Move) -> bool:
        """A move that only lets time go by."""
        return (
            move.config == node.config
            and move.places == node.places
            and not move.ends
            and not move.again
            and not move.still
        )

    def settled(
        self, config: int, places: Places, d: list[int], parent: Node | None, move: Move | None, counts: bool
    ) -> Node:
        """A node with all that staying in its places adds."""
        node = Node(config, places, (), (), parent, move, None, counts)
        node.equal, node.value = self.split(places)
        here = (config, places, counts)
        if here not in self._stays:
            stays = (m for m in self.system.moves(config, places, 0) if self._stay(node, m) and (m.bad or not counts))
            self._stays[here] = next(stays, None)
        node.stays = self._stays[here]
        shape = self._shapes.get((places, counts)) or self.shape(places, counts)
        if node.stays:
            elapsed(d, shape.rows, shape.most)
        node.zone = node.cover = tuple(d)
        if shape.covered:
            for row, most in shape.covered:
                freed(d, shape.rows, row, most)
            node.cover = tuple(d)
        return node

    # --- the two phases

    def reachable(self) -> list[Node]:
        """The states that can be reached, as nodes none of which covers another."""
        config, places = self.system.start
        clocks, _ = self.clocks(places)
        start = self.settled(config, places, [0] * (len(clocks) + 1) ** 2, None, None, False)
        found = list(self.explore([start], False, lambda _: False))
        return [n for n in found if not n.dropped]

    def longest(self, reached: Sequence[Node], enough: int | None = None) -> Longest:
        """The longest run of bad scans from these states. `enough`: stop as soon as it is longer than that."""
        starts: list[Node] = []
        for node in reached:
            n = len(self.clocks(node.places)[0]) + 1
            d = [0] * ((n + 1) ** 2)
            for i in range(n):
                for j in range(n):
                    d[i * (n + 1) + j] = node.zone[i * n + j]
                # the count is zero: it differs from a timer as zero does
                d[i * (n + 1) + n] = node.zone[i * n]
                d[n * (n + 1) + i] = node.zone[i]
            starts.append(self.settled(node.config, node.places, d, node, None, True))
        most = 0
        best: Node | None = None
        last: Node | None = None

        def counted(node: Node) -> int:
            n = self.shape(node.places, True).rows
            return node.zone[(n - 1) * n]

        def stop(node: Node) -> bool:
            top = counted(node)
            return top >= FAR or (enough is not None and top > enough) or self._comes_back(node) is not None

        for last in self.explore(starts, True, stop):
            if counted(last) > most:
                most, best = counted(last), last
        loop = last and self._comes_back(last)
        if last is not None and (most >= FAR or loop is not None):
            return Longest(None, last, None if most >= FAR else loop, self.count)
        return Longest(most, best, None, self.count)

    def _comes_back(self, node: Node) -> Node | None:
        """An earlier node of the bad run whose timers this one can have again: then the run need not end."""
        n = len(self.clocks(node.places)[0]) + 2
        mine: Zone | None = None
        earlier = node.parent
        while earlier is not None and earlier.bad:
            if earlier.places == node.places and earlier.config == node.config:
                if mine is None:
                    mine = rows(node.cover, n, range(n - 1))
                if within(rows(earlier.zone, n, range(n - 1)), mine):
                    return earlier
            earlier = earlier.parent
        return None
