"""A real run looked for in the whole cone, where the bounds have left a claim open: a lower bound only, never a proof.

The state is explicit; the world is changed as seldom as possible. First every world is held until all has come to rest;
from there one thing in the world changes at a time (one group of readings that hang together, one line, one fault): at
once, with the next event, or so that the delay it starts ends with one that already runs, a scan before it or after.
States are told apart by their places and by the order in which their running delays end, not by how long those still
run: so the search does not grow with the delays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from heapq import heappop, heappush
from itertools import pairwise
from operator import itemgetter

from msgspec import Struct

from interlock.proof.cells import slot_needs
from interlock.proof.emit import Places
from interlock.proof.explicit import State, successor
from interlock.proof.replay import Player, Realiser, Run
from interlock.proof.system import Inputs, Move, System

APART = 3  # delays that end at least so many scans apart count as one after the other, whatever their distance
FROM_REST = 6_000  # scans looked at: within that most of what is found from rest is found
MOST_WORLDS = 5_000  # that differ for the cone
NEAR = (-1, 0, 1)  # how a new delay's end may lie to a running one's

ConfigMove = tuple[int, tuple[int, ...], tuple[int, ...], int, int]


class Reached(Struct, eq=False):
    """A state of the whole cone, and how it was come to."""

    state: State
    held: Inputs  # the world's inputs at the last scan
    row: int  # bad scans in a row up to here
    parent: Reached | None
    done: tuple[tuple[Move, int], ...]  # what led here from the parent, and for how many scans each
    rests: bool = False  # known to be at rest
    scans: int = 0  # up to here


def seek(full: System, allowed: int, budget: int, rest: Player | None = None, *, narrowly: bool = False) -> Run | None:
    """A real run with more bad scans in a row than allowed, as the whole cone plays it; None where none was found
    within a budget of scans looked at. `rest`: the whole cone at rest, from where most such runs begin: what follows
    from there is looked at first, half the budget again, and more where that is little. `narrowly`: from there only,
    and of the world only what the goal's conditions and the faults name is changed."""
    if full.worlds() > MOST_WORLDS:
        return None
    run = None
    if narrowly:
        if rest is None:
            return None
        return played_on(Seek(full, allowed, budget, narrowly=True), [begun(rest, rests=True)], rest)
    if rest is not None:
        most = max(budget // 2, min(2 * budget, FROM_REST))
        run = played_on(Seek(full, allowed, most), [begun(rest, rests=True)], rest)
    return run or played_on(Seek(full, allowed, budget), _powered_up(full), Player(full))


def begun(player: Player, *, rests: bool) -> Reached:
    """Where a player is, its world held; `rests`: it is known to be at rest."""
    return Reached(player.state(), player.run.played[-1].choice.x, player.run.bad_run, None, (), rests)


def _powered_up(full: System) -> list[Reached]:
    config, places = full.start
    return [Reached((config, places, (0,) * len(places)), x, 0, None, ()) for x in full.inputs(config, ())]


def played_on(seeker: Seek, begins: list[Reached], player: Player) -> Run | None:
    """What is found from where the player is, played on by it."""
    node = seeker.find(begins)
    done: list[tuple[Move, int]] = []
    while node is not None:
        done[:0] = node.done
        node = node.parent
    run = _played(seeker.full, player.again(), done) if done else None
    return run if run is not None and run.bad_run > seeker.allowed else None


class Seek:
    """A search from explicit states, with a budget of scans looked at."""

    always = (
        False  # where no input differs in one part alone, as what is held is none that is kept: those in the fewest
    )

    def __init__(self, full: System, allowed: int, budget: int, *, narrowly: bool = False) -> None:
        self.full, self.allowed, self.left, self.narrowly = full, allowed, budget, narrowly
        self.running = full.running
        self._near: dict[tuple[int, Inputs], list[Inputs]] = {}
        self._parts: dict[int, list[int]] = {}
        self._still: dict[int, ConfigMove | None] = {}

    def find(self, begins: list[Reached]) -> Reached | None:
        """The first state found that ends a longer row of bad scans than allowed; fewest changes of the world first."""
        longest: dict[tuple[object, ...], int] = {}
        heap: list[tuple[int, int, int, Reached]] = []
        for node in begins:
            heappush(heap, (0, 0, len(heap), node))
        serial = len(heap)
        while heap and self.left > 0:
            changes, _, _, node = heappop(heap)
            settling = changes == 0 and not self._rests(node)
            if settling:  # to change the world while it settles comes later
                serial += 1
                heappush(heap, (1, -node.row, serial, node))
            for after, cost in self._after(node, branch=not settling):
                if after.row > self.allowed:
                    return after
                first = changes == 0 and cost == 0 and not self._rests(after)
                key = (self._class(after.state), after.held if first else ())
                if longest.get(key, -1) >= after.row:
                    continue
                longest[key] = after.row
                serial += 1
                heappush(heap, (changes + cost, -after.row, serial, after))
        return None

    def _rests(self, node: Reached) -> bool:
        """Whether the last scan left everything as it was, and no delay runs."""
        before = node.parent
        return node.rests or (not self.running[node.state[1]] and before is not None and before.state == node.state)

    def _class(self, state: State) -> tuple[object, ...]:
        """The places, and the running delays in the order in which they end."""
        timers = state[2]
        left = sorted((delay - timers[i], i) for i, delay in self.running[state[1]])
        order = tuple((min(b - a, APART), i) for (a, _), (b, i) in pairwise(left))
        return state[0], state[1], left[0][1] if left else -1, order

    def _after(self, node: Reached, *, branch: bool) -> Iterator[tuple[Reached, int]]:
        """What can follow, and how many changes of the world it costs."""
        config, places, timers = node.state
        left = self.left_to_run(places, timers)
        room = min(left.values(), default=self.allowed + 2) - 1  # scans before the one at which a delay ends
        still = self.still(config)
        others = [o for o in self.full.config_moves(config) if o is not still and (not o[4] or room == 0)]
        now = self.ends(left, 0)
        hold = self.move(node.state, still, node.held, now) if still else None
        stay = hold if hold is not None and room and unchanged(hold, node.state) else None
        if stay is not None:
            rest = self.go(node, stay, room)
            if stay.bad:
                yield rest, 0
            elif not left:
                yield self.go(node, stay, 1), 0
            if left:
                yield self.go(rest, self.move(rest.state, still, node.held, self.ends(left, room)), 1), 0
        elif hold is not None:
            yield self.go(node, hold, 1), 0
        if not branch and hold is not None:
            return
        for option in [*([still] if still else []), *others]:
            for x in self.near(node, option):
                move = self.move(node.state, option, x, now)
                if move is None:
                    continue
                for wait in self._waits(move, places, left, room) if stay is not None else [0]:
                    before = self.go(node, stay, wait) if stay is not None and wait else node
                    then = self.move(before.state, option, x, self.ends(left, wait)) if wait else move
                    yield self.go(before, then, 1), 1

    def still(self, config: int) -> ConfigMove | None:
        """Of what can happen to the faults at a scan, that nothing does."""
        if config not in self._still:
            moves = self.full.config_moves(config)
            self._still[config] = next((o for o in moves if o[0] == config and not o[1]), None)
        return self._still[config]

    def given(
        self, node: Reached, options: Iterable[ConfigMove | None], worlds: Callable[[ConfigMove], Iterable[Inputs]]
    ) -> Iterator[Reached]:
        """What the next scan leads to, by each of these options in each of its worlds."""
        now = self.ends(self.left_to_run(*node.state[1:]), 0)
        for option in options:
            for x in worlds(option) if option is not None else ():
                move = self.move(node.state, option, x, now)
                if move is not None:
                    yield self.go(node, move, 1)

    def near(self, node: Reached, option: ConfigMove) -> list[Inputs]:
        """The worlds near the one held."""
        return self.nearby(option[0], option[1], node.state[0], node.held)

    def left_to_run(self, places: Places, timers: tuple[int, ...]) -> dict[int, int]:
        """For each component whose delay runs, the scans it still takes."""
        return {i: delay - timers[i] for i, delay in self.running[places]}

    def _waits(self, move: Move, places: tuple[int, ...], left: dict[int, int], room: int) -> list[int]:
        """How long a change may be held back: not at all, until an event, or until what it starts ends close to what
        runs."""
        waits = {0, room} if left else {0}
        for i, delay in self.running[move.places]:
            if move.places[i] != places[i]:
                waits.update(scans - 1 - delay + off for scans in left.values() for off in NEAR)
        return sorted(w for w in waits if 0 <= w <= room)

    def move(self, state: State, option: ConfigMove | None, x: Inputs, ends: int) -> Move | None:
        if option is None:
            return None
        self.left -= 1
        new, onset, stuck_places, asked0, ends0 = option
        if ends & asked0 != ends0:
            return None
        step = self.full.compiled(self.full.configs[new].arisen).step
        result, asked, again, still, bad, _ = step(state[1], ends, x)
        asked |= asked0
        if stuck_places:
            result = stuck_places + result[len(stuck_places) :]
        return Move(new, result, asked, ends & asked, again, still, bool(bad), x, onset)

    def go(self, node: Reached, move: Move | None, scans: int) -> Reached:
        """A move for one scan, or one that changes nothing but timers for several."""
        if move is None:
            return node
        state = successor(self.running, node.state, move)
        if scans > 1:
            later = list(state[2])
            for i, _ in self.running[state[1]]:
                later[i] += scans - 1
            state = (state[0], state[1], tuple(later))
        row = node.row + scans if move.bad else 0
        return Reached(state, move.inputs, row, node, ((move, scans),), scans=node.scans + scans)

    def nearby(self, new: int, onset: tuple[int, ...], old: int, held: Inputs) -> list[Inputs]:
        """The inputs that differ in one part of the world; where the faults change, those that differ least."""
        arisen = self.full.configs[new].arisen
        names = self.full.compiled(arisen).inputs
        choices = self.full.inputs(new, onset)
        if names != self.full.compiled(self.full.configs[old].arisen).inputs:
            return choices
        part = self.parts(new)
        key = (new, held)
        if new == old and not onset and key in self._near:
            return self._near[key]
        if new == old and not onset:
            named = self._named(new) if self.narrowly else set(part)
            found = self.in_parts(new, held, named)
            if not found and self.always:
                found = least_apart(part, held, choices)
            self._near[key] = found
            return found
        return least_apart(part, held, choices, alike=True)

    def in_parts(self, config: int, held: Inputs, named: set[int]) -> list[Inputs]:
        """The inputs of a configuration that differ in one of these parts alone, in their order."""
        part = self.parts(config)
        found: list[tuple[int, Inputs]] = []
        for p in named.intersection(part):
            known = self.full.apart_in.get((config, p))
            if known is None:
                others = picked([i for i, q in enumerate(part) if q != p])
                alike: dict[Inputs, list[tuple[int, Inputs]]] = {}
                for number, x in enumerate(self.full.inputs(config, ())):
                    alike.setdefault(others(x), []).append((number, x))
                known = self.full.apart_in[config, p] = others, alike
            others, alike = known
            found += [(n, x) for n, x in alike.get(others(held), ()) if x != held]
        return [x for _, x in sorted(found)]

    def _named(self, config: int) -> set[int]:
        """The parts of the world that the goal's conditions and the faults name."""
        circuit = self.full.circuits[self.full.configs[config].arisen]
        names = self.full.plan.parts() | {c.name for c in self.full.goal.conditions}
        found = set()
        for k, group in enumerate(self.full.groups_at(config)):
            needs = [(s, n) for s in group.slots for n in slot_needs(self.full.index, s, circuit.faults)]
            if any(slot[0] == "truth" or name in names for slot, (_, name) in needs):
                found.add(k)
        inputs = self.full.compiled(self.full.configs[config].arisen).inputs
        bools = {name: key for key, name in circuit.bools.items()}
        found.update(len(inputs) + i for i, name in enumerate(inputs) if set(bools.get(name, ())) & names)
        return found

    def parts(self, config: int) -> list[int]:
        """For each input, the number of the part of the world it belongs to."""
        arisen = self.full.configs[config].arisen
        if arisen not in self._parts:
            names = self.full.compiled(arisen).inputs
            number = {name: len(names) + i for i, name in enumerate(names)}
            for k, group in enumerate(self.full.groups_at(config)):
                number.update({self.full.circuits[arisen].slots[slot]: k for slot in group.slots})
            self._parts[arisen] = [number[name] for name in names]
        return self._parts[arisen]

    @staticmethod
    def ends(left: dict[int, int], wait: int) -> int:
        return sum(1 << i for i, scans in left.items() if scans - wait <= 1)


def picked(places: list[int]) -> Callable[[Inputs], Inputs]:
    """What takes the values at these places."""
    match places:
        case []:
            return lambda _: ()
        case [one]:
            return lambda x: (x[one],)
        case _:
            return itemgetter(*places)


def least_apart(part: list[int], held: Inputs, choices: list[Inputs], *, alike: bool = False) -> list[Inputs]:
    """The inputs that differ from what is held in as few parts as can be; none at all counts where `alike`."""
    apart = [(len({p for p, a, b in zip(part, held, x, strict=True) if a != b}), x) for x in choices]
    least = min((count for count, _ in apart if count or alike), default=-1)
    return [x for count, x in apart if count == least]


def unchanged(move: Move, state: State) -> bool:
    same = (move.config, move.places) == state[:2]
    return same and not move.again and not move.still and not move.onset


def _played(full: System, player: Player, done: list[tuple[Move, int]]) -> Run | None:
    """The moves as a real run; None where one of them has no world."""
    realiser = Realiser(full, full)
    anywhere = full.start[1]  # every input is given, so the world is the same wherever the cone is
    for move, scans in done:
        left = scans
        while left > 0:
            choice = realiser.choice(player.config, player.due(), move.config, move.onset, move.inputs, anywhere)
            if choice is None:
                return None
            span = 1 if any(player.places[i] == 1 for i in range(len(full.sensors))) else left
            player.play(choice, span, False, None)
            left -= span
    return player.run
