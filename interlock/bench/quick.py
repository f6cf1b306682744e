"""A compiled scheme run through long waits in few scans: where one moves nothing but counters, so do those after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.logic.compiled import OneScenario
from interlock.logic.program import Program
from interlock.plan.columns import FOREVER, counting

MOST_EVENTS = 500  # after so many scans run one by one a scheme is taken never to come to rest


class RestlessError(Exception):
    """A wait in which something changes all the time."""


class Quick:
    """A program being run once. `state` holds the slots and may be set. `rests`: whether the last run of events came to
    rest."""

    rests = False

    def __init__(self, program: Program) -> None:
        self._run = OneScenario(program)
        self._booleans = [i for i, slot in enumerate(program.slots) if slot.boolean]
        self._counters = [(i, *counting(program, slot)) for i, slot in enumerate(program.slots) if not slot.boolean]

    @property
    def state(self) -> tuple[int, ...]:
        """The slots."""
        return self._run.state

    @state.setter
    def state(self, slots: tuple[int, ...]) -> None:
        self._run.state = slots

    def wait(self, inputs: Sequence[int], scans: int) -> tuple[int, ...]:
        """Run `scans` scans of the same inputs, at least one; what the last of them tells. Raises RestlessError where
        more than MOST_EVENTS of them change something."""
        left = scans
        for _ in range(MOST_EVENTS):
            before = self._run.state
            told = self._run.scan(inputs)
            left -= 1
            if left < 1:
                return told
            room = self._room(before)
            if room and left > 1:
                self._skip(before, min(room, left - 1))
                left -= min(room, left - 1)
        raise RestlessError(f"{scans - left} scans of {scans} were run one by one")

    def settle(self, inputs: Sequence[int], most: int) -> int:
        """Run until nothing can change any more, `most` scans at most; how many that were."""
        return max((done for done, _ in self.events(inputs, most)), default=0)

    def events(self, inputs: Sequence[int], most: int) -> Iterator[tuple[int, tuple[int, ...]]]:
        """The scans that are run one by one until nothing can change any more (or MOST_EVENTS of them): how many scans
        that makes, and what the scan tells. What is told changes at no scan between them, timers aside."""
        done, self.rests = 0, False
        for _ in range(MOST_EVENTS):
            if done >= most:
                return
            before = self._run.state
            told = self._run.scan(inputs)
            done += 1
            yield done, told
            room = self._room(before)
            if room == FOREVER:
                self.rests = True
                return
            room = min(room, most - done)
            self._skip(before, room)
            done += room

    def _room(self, before: Sequence[int]) -> int:
        """How many more scans only counters move in: 0 after an event, FOREVER at rest."""
        after = self._run.state
        if any(before[i] != after[i] for i in self._booleans):
            return 0
        room = FOREVER
        for i, least, most, highest, lowest in self._counters:
            was, now = before[i], after[i]
            if now == was:
                continue
            if now == was + 1 and least <= was and now <= most:
                room = min(room, most - now)
            elif now == was - 1 and was <= highest and now >= lowest:
                room = min(room, now - lowest)
            else:
                return 0
        return room

    def _skip(self, before: Sequence[int], scans: int) -> None:
        after = list(self._run.state)
        for i, *_ in self._counters:
            after[i] += scans * (after[i] - before[i])
        self._run.state = tuple(after)
