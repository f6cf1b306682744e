"""The plain search for cones whose delays are short: every state of the whole cone, one scan at a time.

It stands in where zones get too many: machines with a few states each that all help and hurt. Its cost grows with the
delays, so it has a budget of its own.
"""

from __future__ import annotations

from collections import deque

from msgspec import Struct

from interlock.proof.components import Running
from interlock.proof.emit import Places
from interlock.proof.replay import Player, Realiser, Run
from interlock.proof.system import Move, System

State = tuple[int, Places, tuple[int, ...]]  # configuration, places, timers
Edge = tuple[Move, State]


class Explored(Struct, frozen=True):
    """The longest bad run (None: it need not end), and a real run that shows it."""

    scans: int | None
    run: Run


def longest_run(full: System, budget: int) -> Explored | None:
    """Explore the whole cone; None where it has more states than the budget."""
    config, places = full.start
    start: State = (config, places, (0,) * len(places))
    parents: dict[State, tuple[State, Move] | None] = {start: None}
    bad: dict[State, list[Edge]] = {}
    todo = deque([start])
    while todo:
        state = todo.popleft()
        for move, after in _successors(full, state):
            if move.bad:
                bad.setdefault(state, []).append((move, after))
            if after not in parents:
                if len(parents) >= budget:
                    return None
                parents[after] = (state, move)
                todo.append(after)
    first, moves, scans, cycle = _longest_path(list(parents), bad)
    lead: list[Move] = []
    back = parents[first]
    while back is not None:
        lead.append(back[1])
        back = parents[back[0]]
    run = _played(full, [*reversed(lead), *moves])
    run.endless, run.loop = scans is None, len(run.played) - cycle
    return Explored(scans, run)


def _successors(full: System, state: State) -> list[Edge]:
    config, places, timers = state
    ends = sum(1 << i for i, delay in full.running[places] if timers[i] + 1 >= delay)
    return [(move, successor(full.running, state, move)) for move in full.moves(config, places, ends)]


def successor(running: Running, state: State, move: Move) -> State:
    """The state after a move."""
    _, old, timers = state
    places, again, still = move.places, move.again, move.still
    after = [0] * len(places)
    for i, _ in running[places]:
        if places[i] == old[i] and not again >> i & 1:
            after[i] = timers[i] + (not still >> i & 1)
    return move.config, places, tuple(after)


def _longest_path(states: list[State], bad: dict[State, list[Edge]]) -> tuple[State, list[Move], int | None, int]:
    """Where the longest path over bad edges begins, its moves, its length (None: no end), and the length of the cycle
    it ends with, gone round twice (0: none)."""
    length: dict[State, int] = {}
    chosen: dict[State, Edge] = {}
    open_: dict[State, int] = {}
    for root in states:
        if root in length:
            continue
        stack: list[tuple[State, int]] = [(root, 0)]
        open_[root] = 0
        trail: list[Move] = []
        while stack:
            state, at = stack[-1]
            edges = bad.get(state, [])
            if at == len(edges):
                best = max(((length[after] + 1, -k) for k, (_, after) in enumerate(edges)), default=None)
                length[state] = best[0] if best else 0
                if best:
                    chosen[state] = edges[-best[1]]
                stack.pop()
                del open_[state]
                if trail:
                    trail.pop()
                continue
            stack[-1] = (state, at + 1)
            move, after = edges[at]
            if after in open_:
                begins = open_[after]
                cycle = [*trail[begins:], move]
                return root, [*trail[:begins], *cycle, *cycle], None, len(cycle)
            if after not in length:
                open_[after] = len(stack)
                stack.append((after, 0))
                trail.append(move)
    first = max(states, key=length.__getitem__)
    moves: list[Move] = []
    state = first
    while state in chosen:
        move, state = chosen[state]
        moves.append(move)
    return first, moves, length[first], 0


def _played(full: System, moves: list[Move]) -> Run:
    """The moves as a real run."""
    player, realiser = Player(full), Realiser(full, full)
    for move in moves:
        choice = realiser.choice(player.config, player.due(), move.config, move.onset, move.inputs, move.places)
        if choice is None:
            raise AssertionError("a move of the whole cone has a world")
        player.play(choice, 1, False, None)
    return player.run
