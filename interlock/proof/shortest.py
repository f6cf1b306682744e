"""The shortest run to a violation: as few scans as can be before the row of bad scans that is too long.

Zones of the whole cone once more, with a clock that nothing sets back; whatever has taken least so far goes on first,
so what arrives first took least (Dijkstra 1959, over zones: Larsen et al. 2001, "As cheap as possible"). Nothing is
looked at that takes as long as a run already known.
"""

from __future__ import annotations

from collections.abc import Iterator
from heapq import heappop, heappush

from msgspec import Struct

from interlock.proof.replay import Run, replay
from interlock.proof.schedule import stages
from interlock.proof.search import Node, Search
from interlock.proof.system import System
from interlock.proof.zones import FAR, tighten

MOST_WORLDS = 2_000  # that differ for the cone
ZONES = 600


class Shorter(Struct, frozen=True):
    """A run with fewer scans before its row of bad ones, if there is one; and whether there is none shorter still."""

    run: Run | None
    sure: bool


def shortest(full: System, wanted: int, before: int, budget: int = ZONES) -> Shorter:
    """Look in the whole cone for a run that ends with `wanted` bad scans in a row and takes fewer than `before` scans
    up to that row; not sure where the budget of zones did not suffice."""
    if full.worlds() > MOST_WORLDS:
        return Shorter(None, False)
    search = _Quickest(full, budget)
    node, sure = search.first(wanted, before)
    if node is None:
        return Shorter(None, sure)
    return Shorter(replay(full, full, stages(search, node.path(), wanted), settling=False), True)


class _Quickest(Search):
    """Zones with a row for all scans so far (the first after the timers), and one for the bad scans in a row."""

    extra = (1, 2)

    def covered(self, rows: int, counts: bool) -> list[tuple[int, int | None]]:
        """As in any search; having taken longer is never better."""
        return [(rows - self.extra[counts], FAR), *super().covered(rows, counts)]

    def first(self, wanted: int, before: int) -> tuple[Node | None, bool]:
        """The end of a shortest run, None where none takes fewer scans than `before` up to its row; and whether that is
        sure."""
        kept: dict[tuple[object, ...], list[Node]] = {}
        heap: list[tuple[int, int, Node, bool]] = []  # scans before the row, number, node, whether the row is complete
        serial = 0

        def put(node: Node) -> None:
            nonlocal serial
            took = self._took(node)
            if took >= before:
                return
            if not self.keep(kept.setdefault((node.bad, node.config, node.equal), []), node, node.bad):
                return
            self.count += 1
            serial += 1
            heappush(heap, (took, serial, node, False))
            complete = self._took(node, wanted) if node.bad else before
            if complete < before:
                serial += 1
                heappush(heap, (complete, -serial, node, True))

        config, places = self.system.start
        put(self.settled(config, places, [0] * (len(self.clocks(places)[0]) + 2) ** 2, None, None, False))
        while heap:
            _, _, node, complete = heappop(heap)
            if complete:
                return node, True
            if node.dropped:
                continue
            if self.count > self.budget:
                return None, False
            for further in self._further(node):
                put(further)
        return None, True

    def _further(self, node: Node) -> Iterator[Node]:
        if not node.bad:
            yield self._begun(node)
        for ends in self.endings(node, node.bad):
            for move in self.system.moves(node.config, node.places, ends):
                if (node.bad and not move.bad) or self._stay(node, move):
                    continue
                d = self.after(node, move, node.bad)
                if d is not None:
                    yield self.settled(move.config, move.places, d, node, move, node.bad)

    def _begun(self, node: Node) -> Node:
        """The row of bad scans begins here: their count is zero, so it differs from any clock as zero does."""
        n = len(self.clocks(node.places)[0]) + 2
        source = [*range(n), 0]
        d = [node.zone[i * n + j] for i in source for j in source]
        return self.settled(node.config, node.places, d, node, None, True)

    def _took(self, node: Node, wanted: int = 0) -> int:
        """The fewest scans before the row of bad ones with which one can be here, `wanted` of them done; FAR where one
        can't."""
        n = len(self.clocks(node.places)[0]) + 1 + self.extra[node.bad]
        if not node.bad:
            return -node.zone[n - 1]
        d = list(node.zone)
        if not tighten(d, n, 0, n - 1, -wanted):
            return FAR
        return -d[(n - 1) * n + n - 2]


__all__ = ["Shorter", "shortest"]
