"""The shortest tests of one fault: breadth first over steps, equal states of all installations merged.

A state is what the inputs are given and what each installation keeps, healthy and with the fault in each way it may
have come. Every step but the last waits until nothing changes by itself any more, so that waiting longer does no harm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from interlock.plan.beginnings import worlds_of
from interlock.plan.columns import Installation, Ints, Played, State, Worlds, play
from interlock.plan.sights import Ease, Sight
from interlock.plan.stimuli import Change, Position, Stimuli


@dataclass(frozen=True, slots=True)
class Move:
    """One step: a change, and the scans to wait after it."""

    change: Change
    scans: int


@dataclass(frozen=True, slots=True)
class Candidate:
    """A test as the compiled scheme sees it: what is seen after the last of the moves differs."""

    moves: tuple[Move, ...]
    sight: Sight

    @property
    def ease(self) -> Ease:
        """How easily its sight is seen."""
        return self.sight.ease

    @property
    def scans(self) -> int:
        """All waiting together."""
        return sum(move.scans for move in self.moves)


class Ground:
    """All positions that any search comes to, numbered, and where each change leads from each: shared by the searches
    for all faults."""

    def __init__(self, stimuli: Stimuli) -> None:
        self.stimuli = stimuli
        self.known: list[Position] = []
        self._numbers: dict[Position, int] = {}
        self._steps: dict[int, list[tuple[int, int, int | None]]] = {}
        self._usable: dict[tuple[tuple[int, ...], ...], dict[int, bool]] = {}
        self.rest = self._number(stimuli.rest)

    def _number(self, position: Position) -> int:
        number = self._numbers.setdefault(position, len(self.known))
        if number == len(self.known):
            self.known.append(position)
        return number

    def steps(self, number: int) -> list[tuple[int, int, int | None]]:
        """The changes possible in a position: each with the number of the position it leads to, and what it presses."""
        known = self._steps.get(number)
        if known is None:
            here = self.known[number]
            reached = ((i, change.to(here), change.press) for i, change in enumerate(self.stimuli.changes))
            known = self._steps[number] = [(i, self._number(to), press) for i, to, press in reached if to is not None]
        return known

    def usable(self, sources: tuple[tuple[int, ...], ...]) -> dict[int, bool]:
        """Which positions leave no rule in doubt, as far as that is known: with each sensor's input wired to the
        element that any of these says."""
        return self._usable.setdefault(sources, {self.rest: True})


class Positions:
    """The positions that inputs can be brought to by changes; those that leave a rule in doubt are not used.

    `matters`: the sensors and lines of which at least one is changed by each change. `source`: which element each
    sensor's input is wired to where the fault exchanges two."""

    def __init__(self, ground: Ground, matters: frozenset[str], source: Sequence[int] = ()) -> None:
        self.ground, self.stimuli, self.rest = ground, ground.stimuli, ground.rest
        own = range(len(self.stimuli.values))
        self.sources = tuple(dict.fromkeys((tuple(own), tuple(source or own))))
        self._usable = ground.usable(self.sources)
        self.changes = self.stimuli.changes
        self._mine = [not matters.isdisjoint(self.stimuli.names(c)) for c in self.changes]
        self._after: dict[int, list[tuple[int, int]]] = {}

    def after(self, number: int) -> list[tuple[int, int]]:
        """The changes possible in a position, each with the number of the position it leads to; of changes that come to
        the same one."""
        if number not in self._after:
            mine, usable = self._mine, self._usable
            reached: dict[tuple[int, int | None], int] = {}
            for i, to, press in self.ground.steps(number):
                if mine[i]:
                    if to not in usable:
                        usable[to] = all(self.stimuli.sure(self.ground.known[to], source) for source in self.sources)
                    if usable[to]:
                        reached.setdefault((to, press), i)
            self._after[number] = [(i, to) for (to, _), i in reached.items()]
        return self._after[number]

    def worlds(self, numbers: Ints, presses: Sequence[int | None]) -> Worlds:
        """Positions as the inputs of as many scenarios."""
        used, at = np.unique(numbers, return_inverse=True)
        every = worlds_of(self.stimuli, [self.ground.known[n] for n in used], [None] * len(used))
        pressed = np.zeros((len(numbers), every.lines.shape[1]), bool)
        for row, press in enumerate(presses):
            if press is not None:
                pressed[row, press] = True
        return Worlds(every.readings[at], every.lines[at], pressed)


@dataclass(frozen=True, slots=True)
class _Layer:
    """What so many steps lead to: for each state the position, what each installation keeps, the scans waited so far,
    and how it came about: the state of the layer before, the change (-1: none), the scans of the last step."""

    positions: Ints
    states: list[State]
    waited: Ints
    parents: Ints
    changes: Ints
    scans: Ints


class _Ways(NamedTuple):
    """A step in many scenarios: from which state of the last layer, by which change (-1: none), to which position, and
    that as a world."""

    nodes: Ints
    changes: Ints
    numbers: Ints
    worlds: Worlds


def step(searches: Sequence[Search], *, last: bool) -> list[list[Candidate]]:
    """One more step of searches for one fault, all in one: for each the tests that end with it. `last`: no further step
    will be asked for."""
    every = [search.ways() for search in searches]
    longest = max(searches, key=lambda search: len(search.installations))
    count = len(longest.installations)
    states = []
    for i in range(count):
        of_each = [search.states(i, ways) for search, ways in zip(searches, every, strict=True)]
        states.append([np.concatenate(slots) for slots in zip(*of_each, strict=True)])
    worlds = Worlds(*(np.concatenate(each) for each in zip(*(w.worlds.parts() for w in every), strict=True)))
    played = play(longest.installations, states, worlds, longest.look, [True] * count)
    found, end = [], 0
    for search, ways in zip(searches, every, strict=True):
        begin, end = end, end + len(ways.nodes)
        found.append(search.taken(ways, played.part(slice(begin, end), len(search.installations)), last=last))
    return found


@dataclass
class Search:
    """A search from one beginning. `first_step`: the first step may also change nothing (it powers up)."""

    installations: Sequence[Installation]
    positions: Positions
    look: int
    first_step: bool
    layers: list[_Layer] = field(default_factory=list)
    _known: set[bytes] = field(default_factory=set)

    def begin(self, states: Sequence[State]) -> None:
        """Begin with one state."""
        one = np.zeros(1, np.int64)
        self.layers = [_Layer(np.array([self.positions.rest]), list(states), one, one, one - 1, one)]
        self._known = set(self._rows(self.layers[0].positions, self.layers[0].states))

    def wider(self, most: int) -> bool:
        """Whether the next step has more scenarios than that, over all installations."""
        wide = self._nothing()
        for number in self.layers[-1].positions:
            wide += len(self.positions.after(int(number)))
            if wide * len(self.installations) > most:
                return True
        return False

    def _nothing(self) -> int:
        return int(self.first_step and len(self.layers) == 1)

    def ways(self) -> _Ways:
        """One step from everywhere."""
        found = [
            (node, change, number)
            for node, at in enumerate(self.layers[-1].positions)
            for change, number in [*([(-1, int(at))] if self._nothing() else []), *self.positions.after(int(at))]
        ]
        nodes, changes, numbers = np.array(found, np.int64).reshape(len(found), 3).T
        presses = [None if c < 0 else self.positions.changes[c].press for c in changes]
        return _Ways(nodes, changes, numbers, self.positions.worlds(numbers, presses))

    def states(self, installation: int, ways: _Ways) -> State:
        """The states from which an installation goes these ways; of several with the fault the last stands for any
        more."""
        states = self.layers[-1].states
        return [a[ways.nodes] for a in states[min(installation, len(states) - 1)]]

    def taken(self, ways: _Ways, played: Played, *, last: bool) -> list[Candidate]:
        """What came of the step: the tests that end with it, those with the least waiting first. `last`: no further
        step will be asked for."""
        layer, (nodes, changes, numbers, _) = self.layers[-1], ways
        found = [
            (int(layer.waited[nodes[i]] + played.since[meter, i]), int(played.sight[meter, i]), int(i), int(meter))
            for meter, i in np.argwhere(played.since >= 0)
        ]
        candidates = [
            Candidate(
                (*self._way(len(self.layers) - 1, int(nodes[i])), self._move(int(changes[i]), int(played.since[m, i]))),
                self.installations[0].looked_at[sight],
            )
            for _, sight, i, m in sorted(found)
        ]
        if not last:
            self.layers.append(self._next(layer, nodes, changes, numbers, played))
        return candidates

    def _next(self, layer: _Layer, nodes: Ints, changes: Ints, numbers: Ints, played: Played) -> _Layer:
        """The states reached and not known, each once, with the least waiting."""
        waited = layer.waited[nodes] + played.scans
        kept: list[int] = []
        order = [i for i in np.argsort(waited, kind="stable") if played.scans[i] >= 0]
        rows = list(self._rows(numbers, played.states))
        for i in order:
            if rows[i] not in self._known:
                self._known.add(rows[i])
                kept.append(int(i))
        which = np.array(kept, np.int64)
        return _Layer(
            numbers[which],
            [[a[which] for a in state] for state in played.states],
            waited[which],
            nodes[which],
            changes[which],
            played.scans[which],
        )

    @staticmethod
    def _rows(numbers: Ints, states: Sequence[State]) -> Iterator[bytes]:
        """Each scenario's whole state as bytes."""
        table = np.stack([numbers, *(a.astype(np.int64) for state in states for a in state)], axis=1)
        for row in np.ascontiguousarray(table):
            yield row.tobytes()

    def _way(self, depth: int, node: int) -> tuple[Move, ...]:
        if depth == 0:
            return ()
        layer = self.layers[depth]
        move = self._move(int(layer.changes[node]), int(layer.scans[node]))
        return (*self._way(depth - 1, int(layer.parents[node])), move)

    def _move(self, change: int, scans: int) -> Move:
        return Move(Change() if change < 0 else self.positions.changes[change], scans)
