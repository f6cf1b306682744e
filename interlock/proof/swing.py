"""A real run looked for where the whole cone never comes to rest: from an endless swing, the moment of a change chosen.

With some faults a contactor opens itself again and again, whatever the world does. What a change then leads to hangs
on the scan of the swing at which it comes, and, where it starts a long delay, on the scan at which that ends. So a
world is held until the cone repeats itself; from each scan of that swing one thing in the world is changed, and the new
world held in its turn. Rounds of a swing during which a long delay only counts are passed over as one step, so that the
search does not grow with delays. Rest is a swing of one scan. A lower bound only: what is found is played on the whole
cone before it counts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from functools import partial

from interlock.proof.replay import Player, Run
from interlock.proof.seek import Reached, Seek, begun, played_on, unchanged
from interlock.proof.system import System

LONGEST = 64  # scans of a swing each of which is tried for a change; of a longer one its events only
STEPS = 400  # events within which a held world has to lead to a swing
LOOKED_BACK = 4  # visits of the same places that may begin a round


def seek_from_swing(full: System, allowed: int, budget: int, swinging: Player) -> Run | None:
    """A real run with more bad scans in a row than allowed, from where the whole cone swings, or rests, with its world
    held; None where none was found within a budget of scans looked at."""
    return played_on(_Swings(full, allowed, budget), [begun(swinging, rests=False)], swinging)


class _Swings(Seek):
    always = True

    def find(self, begins: list[Reached]) -> Reached | None:
        """The first state found that ends a longer row of bad scans than allowed; fewest changes of the world first."""
        waiting = deque(begins)
        rows: dict[object, int] = {}
        while waiting and self.left > 0:
            trail, begins_at = self._held(waiting.popleft(), rows)
            if trail[-1].row > self.allowed:
                return trail[-1]
            if begins_at is None:
                continue
            for node in self._moments(trail[begins_at:]):
                for after in self._changed(node):
                    if after.row > self.allowed:
                        return after
                    waiting.append(after)
        return None

    def _held(self, node: Reached, rows: dict[object, int]) -> tuple[list[Reached], int | None]:
        """What comes while the world is held, event by event, and where in that the part begins which repeats itself
        (None: no such part was found). Ends early where a longer row of bad scans than allowed is reached, and where
        it has been before: `rows` says with which row of bad scans."""
        trail = [node]
        visits: dict[object, list[int]] = {}
        new: dict[object, int] = {}
        while len(trail) < STEPS and self.left > 0 and node.row <= self.allowed:
            if rows.get((node.state, node.held), -1) >= node.row:
                break
            new[node.state, node.held] = node.row
            before = visits.setdefault(node.state[:2], [])
            for at in reversed(before[-LOOKED_BACK:]):
                if trail[at].state == node.state:
                    rows.update(new)
                    if all(move.bad for n in trail[at + 1 :] for move, _ in n.done):  # a bad run without end
                        trail.append(self._again(trail[at:], self.allowed + 1))
                    return trail, at + 1
                further = self._rounds(trail[at:])
                if further is not None:
                    node = further
                    trail.append(node)
                    break
            before.append(len(trail) - 1)
            following = self._next(node)
            if following is None:
                break
            node = following
            trail.append(node)
        rows.update(new)
        return trail, None

    def _next(self, node: Reached) -> Reached | None:
        """Up to the scan before the next delay ends where nothing else happens, else one scan."""
        config, places, timers = node.state
        left = self.left_to_run(places, timers)
        move = self.move(node.state, self.still(config), node.held, self.ends(left, 0))
        if move is None:
            return None
        room = min(left.values(), default=1) - 1 if unchanged(move, node.state) else 0
        return self.go(node, move, max(1, room))

    def _rounds(self, trail: list[Reached]) -> Reached | None:
        """From the last of these nodes, as many further rounds from the first to it as change nothing but delays that
        only count."""
        first, last = trail[0], trail[-1]
        scans = last.scans - first.scans
        counting = []
        running = dict(self.running[last.state[1]])
        for i, (before, now) in enumerate(zip(first.state[2], last.state[2], strict=True)):
            if now != before:
                if now - before != scans:
                    return None
                counting.append(running[i] - now)
        rounds = (min(counting, default=0) - 1) // scans
        return self._again(trail, rounds) if rounds > 0 else None

    @staticmethod
    def _again(trail: list[Reached], rounds: int) -> Reached:
        """From the last of these nodes, so many further rounds from the first to it."""
        first, last = trail[0], trail[-1]
        done = tuple(step for node in trail[1:] for step in node.done)
        bad = all(move.bad for move, _ in done)
        config, places, timers = last.state
        later = tuple(t + rounds * (t - b) for t, b in zip(timers, first.state[2], strict=True))
        scans = rounds * (last.scans - first.scans)
        row = last.row + scans if bad else last.row
        return Reached((config, places, later), last.held, row, last, done * rounds, scans=last.scans + scans)

    def _moments(self, swing: list[Reached]) -> Iterator[Reached]:
        """Each scan of a swing."""
        long = sum(n for node in swing for _, n in node.done) > LONGEST
        for node in swing:
            yield node
            following = None if long else self._next(node)
            if following is not None and following.done[0][1] > 1:
                move, scans = following.done[0]
                for wait in range(1, scans):
                    yield self.go(node, move, wait)

    def _changed(self, node: Reached) -> Iterator[Reached]:
        """What one change of the world, or of the faults that have arisen, leads to at the next scan."""
        return self.given(node, self.full.config_moves(node.state[0]), partial(self.near, node))
