"""Every state of a small cone, scan by scan: exact, where it is small enough."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from msgspec import Struct

from interlock.proof.recovery import Told
from interlock.proof.rough import Rough, Roughly
from interlock.proof.sights import Scene, Sights

MOST_SCENES = 64


class Edge(Struct, frozen=True):
    """One scan: its scene's number, the state it leads to, whether the path then runs for certain."""

    scene: int
    to: Rough
    runs: bool


class Graph(Struct, frozen=True):
    """All states that can be reached, each with what leads to it (None: power-up) and what can come next."""

    scenes: tuple[Scene, ...]
    parents: dict[Rough, tuple[Rough, int] | None]
    edges: dict[Rough, list[Edge]]

    def story(self, state: Rough) -> tuple[Told, ...]:
        """A shortest way to a state."""
        found: list[Told] = []
        back = self.parents[state]
        while back is not None:
            state, scene = back
            if found and found[-1].scene == self.scenes[scene]:
                found[-1] = Told(found[-1].scene, found[-1].scans + 1)
            else:
                found.append(Told(self.scenes[scene], 1))
            back = self.parents[state]
        return tuple(reversed(found))

    def stranded(self, able: Sequence[bool]) -> Rough | None:
        """A state soonest reached (not the one before power-up) from which scans of these scenes alone never make the
        path run."""
        back: dict[Rough, list[Rough]] = {}
        good: dict[Rough, None] = {}
        for state, edges in self.edges.items():
            for edge in edges:
                if able[edge.scene]:
                    back.setdefault(edge.to, []).append(state)
                    if edge.runs:
                        good[state] = None
        todo = deque(good)
        while todo:
            for before in back.get(todo.popleft(), ()):
                if before not in good:
                    good[before] = None
                    todo.append(before)
        return next((s for s, parent in self.parents.items() if s not in good and parent is not None), None)


def graph(roughly: Roughly, sights: Sights, budget: int) -> Graph | None:
    """The whole graph, within a budget of scans; None where it does not suffice."""
    scenes = sights.scenes(MOST_SCENES)
    if scenes is None:
        return None
    looks = [s.sight for s in scenes]
    start = roughly.start()
    parents: dict[Rough, tuple[Rough, int] | None] = {start: None}
    edges: dict[Rough, list[Edge]] = {}
    todo = deque([start])
    left = budget
    while todo:
        state = todo.popleft()
        left -= len(looks)
        if left < 0:
            return None
        mine = edges[state] = []
        for i, sight in enumerate(looks):
            after, ways = roughly.scan(state, sight)
            mine.append(Edge(i, after, ways.surely_runs))
            if after not in parents:
                parents[after] = (state, i)
                todo.append(after)
    return Graph(tuple(scenes), parents, edges)
