"""When each step of a path through zones is taken: whole scan numbers that meet every delay on the way."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from interlock.proof.search import Node, Search

Edge = tuple[int, int, int]  # T[to] - T[from] <= weight, as (from, to, weight)


class Stage(Struct, frozen=True):
    """From one node to the next: `stay` scans in the node's places, then (except at the end) the move into `to`."""

    node: Node
    stay: int
    to: Node | None


def stages(search: Search, path: Sequence[Node], run: int) -> list[Stage]:
    """The earliest schedule of a path that ends with at least `run` scans in a row in its bad part."""
    end = len(path)
    edges: list[Edge] = []
    begun: dict[int, tuple[int, int]] = dict.fromkeys(
        search.clocks(path[0].places)[0], (0, 0)
    )  # node, scans stood still
    first_bad = next((k for k, node in enumerate(path) if node.bad), end)
    for k, node in enumerate(path):
        to = path[k + 1] if k + 1 < end else None
        move = to.move if to else None
        scans = 0 if to is None or move is None else 1
        edges.append((k + 1, k, -scans))  # T[k+1] >= T[k] + scans
        if not node.stays:
            edges.append((k, k + 1, scans))
        clocks, most = search.clocks(node.places)
        fresh: dict[int, tuple[int, int]] = {}
        for i, top in zip(clocks, most, strict=True):
            at, still = begun[i]
            delay = top + 1 + still
            if move is None:
                edges.append((at, k + 1, delay - 1))
            elif move.asked >> i & 1 and move.ends >> i & 1:
                edges += [(k + 1, at, -delay), (at, k + 1, delay)]
            else:
                edges.append((at, k + 1, delay - 1 if move.asked >> i & 1 else delay))
            if to is not None and move is None:
                fresh[i] = (at, still)
            elif to is not None and move is not None and not move.again >> i & 1 and to.places[i] == node.places[i]:
                fresh[i] = (at, still + (move.still >> i & 1))
        if to is not None:
            begun = {i: fresh.get(i, (k + 1, 0)) for i in search.clocks(to.places)[0]}
    if first_bad < end:
        edges.append((end, first_bad, -run))
    times = [0] * (end + 1)
    for _ in range(2 * end + 4):
        changed = False
        for a, b, weight in edges:
            # T[b] - T[a] <= weight: T[a] >= T[b] - weight
            if times[a] < times[b] - weight:
                times[a] = times[b] - weight
                changed = True
        if not changed:
            break
    else:
        raise AssertionError("a path found by the search has a schedule")
    found = []
    for k, node in enumerate(path):
        to = path[k + 1] if k + 1 < end else None
        scans = 1 if to is not None and to.move is not None else 0
        found.append(Stage(node, times[k + 1] - times[k] - scans, to))
    return found
