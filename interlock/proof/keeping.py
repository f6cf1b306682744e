"""A real run looked for in which a fault keeps what was: a sensor sticks, a unit hangs, while the world was another.

From rest, one part of the world changes and all that follows from it has come about, or nothing changes. Then the
fault arises, and it keeps what there is now. Then the world comes to meet the goal's conditions, at once and in as many
parts as that takes, and is held. Nothing else is tried, so that little is looked at. A lower bound only.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from interlock.proof.explicit import State
from interlock.proof.replay import Player, Run
from interlock.proof.seek import MOST_WORLDS, Reached, Seek, begun, least_apart, played_on
from interlock.proof.system import Inputs, System
from interlock.scheme.words import Mode, Signal

EVENTS = 60  # that are waited for while a world is held
ALIKE = 2  # worlds tried of those in which one input is another and that differ in as few parts from the one before


def seek_kept(full: System, allowed: int, budget: int, rest: Player) -> Run | None:
    """A real run with more bad scans in a row than allowed, from rest; None where none was found within a budget of
    scans looked at."""
    if full.worlds() > MOST_WORLDS:
        return None
    return played_on(_Keeping(full, allowed, budget), [begun(rest, rests=True)], rest)


class _Keeping(Seek):
    def find(self, begins: list[Reached]) -> Reached | None:
        """The first state found that ends a longer row of bad scans than allowed."""
        seen: set[State] = set()
        for begin in begins:
            for before in self._before(begin):
                for arisen in self._arisen(before):
                    if arisen.state in seen:
                        continue
                    seen.add(arisen.state)
                    for met in self._met(arisen):
                        found = self._held(met)
                        if found.row > self.allowed:
                            return found
                        if self.left <= 0:
                            return None
        return None

    def _before(self, rest: Reached) -> Iterator[Reached]:
        """The state at rest; where a unit may hang, also those that a change of something its rules look at leads
        to."""
        yield rest
        config = rest.state[0]
        choices = self.full.inputs(config, ())
        for i in self._seen_by(config, set(self.full.plan.arising(Mode.FROZEN))):
            for value in dict.fromkeys(x[i] for x in choices if x[i] != rest.held[i]):
                near = least_apart(self.parts(config), rest.held, [x for x in choices if x[i] == value])[:ALIKE]
                yield from map(self._held, self._in(rest, near))

    def _seen_by(self, config: int, units: set[str]) -> list[int]:
        """The inputs that rules of these units look at."""
        arisen, scheme = self.full.configs[config].arisen, self.full.index.scheme
        circuit = self.full.circuits[arisen]
        lines = {line for unit in units for line in scheme.reads(unit)}
        seen = {
            n for slot, n in circuit.slots.items() if slot[0] == "rule" and scheme.rules[str(slot[1])].unit in units
        }
        seen.update(name for key, name in circuit.bools.items() if lines.intersection(key))
        return [i for i, name in enumerate(self.full.compiled(arisen).inputs) if name in seen]

    def _arisen(self, node: Reached) -> Iterator[Reached]:
        """The fault arises at the next scan, in each way in which it can."""
        still = self.still(node.state[0])
        arising = (option for option in self.full.config_moves(node.state[0]) if option is not still)
        return self.given(node, arising, partial(self.near, node))

    def _in(self, node: Reached, worlds: list[Inputs]) -> Iterator[Reached]:
        """The next scan in each of these worlds, nothing happening to the faults."""
        return self.given(node, [self.still(node.state[0])], lambda _: worlds)

    def _met(self, node: Reached) -> Iterator[Reached]:
        """The world meets the goal's conditions from the next scan on."""
        config = node.state[0]
        wanted = self._wanted(config)
        meeting = [x for x in self.full.inputs(config, ()) if all(x[i] == value for i, value in wanted)]
        return self._in(node, least_apart(self.parts(config), node.held, meeting, alike=True))

    def _wanted(self, config: int) -> list[tuple[int, int]]:
        """The inputs that the goal's conditions name, and what they have to be."""
        arisen = self.full.configs[config].arisen
        circuit, conditions = self.full.circuits[arisen], self.full.goal.conditions
        value = {circuit.slots.get(("truth", *t)): 1 for t in self.full.index.truths(conditions)}
        for c in conditions:
            if c.signal is Signal.LINE:
                value[circuit.bools.get(("line", c.name))] = int(bool(c.test))
        inputs = self.full.compiled(arisen).inputs
        return [(i, value[name]) for i, name in enumerate(inputs) if name in value]

    def _held(self, node: Reached) -> Reached:
        """What comes while the world is held: all has come to rest, or a longer row of bad scans than allowed."""
        for _ in range(EVENTS):
            last = node
            for after, _ in self._after(node, branch=False):
                last = after
                if after.row > self.allowed:
                    return after
            if last is node or self._rests(last):
                return last
            node = last
        return node
