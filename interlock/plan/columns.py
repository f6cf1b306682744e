"""Installations run side by side in many scenarios, all of one scenario in step, from one event to the next.

Between two events only counters move (`logic/stretch.py` says why that may be skipped); each scenario is taken on by as
many scans as none of its installations has an event in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.logic.faultset import FaultSet
from interlock.logic.many import ArrayScan
from interlock.logic.program import InputKind, Program, Slot, SlotKind
from interlock.plan.sights import Bools, Ease, Sight, looker, observed
from interlock.scheme.model import Scheme

Ints = NDArray[np.int64]
State = list[Any]  # one array for each slot
FOREVER = 1 << 40  # more scans than any delay has
MOST_EVENTS = 100  # after so many, a scenario is taken never to come to rest


@dataclass(frozen=True, slots=True)
class Worlds:
    """What many scenarios are given: arrays of shape (scenarios, sensors) and (scenarios, external lines); `pressed`
    likewise, the lines that are on for the first scan only."""

    readings: Ints
    lines: Bools
    pressed: Bools

    def only(self, which: Any) -> Worlds:
        """These scenarios alone."""
        return Worlds(*(each[which] for each in self.parts()))

    def parts(self) -> tuple[Ints, Bools, Bools]:
        """Its arrays."""
        return self.readings, self.lines, self.pressed


@dataclass(frozen=True)
class Installation:
    """A scheme with these faults, compiled; of what can be seen of it, `looked_at` is wanted. `external`: its external
    lines, in the order of Worlds."""

    scheme: Scheme
    faults: FaultSet
    compiled: Program
    looked_at: tuple[Sight, ...]
    external: tuple[str, ...]
    program: Program = field(init=False)
    look: Callable[[Sequence[Any]], tuple[Bools, Bools]] = field(init=False)
    _scan: ArrayScan = field(init=False, repr=False)
    _switches: tuple[int, ...] = field(init=False, repr=False)  # the slots that are on or off
    _counters: tuple[int, ...] = field(init=False, repr=False)  # the others, and for each where it only counts
    _runs: tuple[Ints, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        program = self.compiled.restricted(observed(self.looked_at, self.faults))
        object.__setattr__(self, "program", program)
        object.__setattr__(self, "_scan", ArrayScan(program))
        object.__setattr__(self, "look", looker(program, self.looked_at, self.faults))
        for kept, boolean in (("_switches", True), ("_counters", False)):
            object.__setattr__(self, kept, tuple(i for i, s in enumerate(program.slots) if s.boolean is boolean))
        runs = [counting(program, program.slots[i]) for i in self._counters]
        object.__setattr__(self, "_runs", tuple(np.array(ends, np.int64)[:, None] for ends in zip(*runs, strict=True)))

    @property
    def given(self) -> frozenset[str]:
        """The sensors and external lines on which something looked at depends."""
        return frozenset(i.name for i in self.program.inputs if i.kind in (InputKind.ELEMENT, InputKind.LINE))

    def started(self, count: int) -> State:
        """The slots at power-up, in so many scenarios."""
        return self._scan.initial(count)

    def scan(self, state: State, worlds: Worlds, *, first: bool, present: bool) -> tuple[State, list[Any]]:
        """One scan of all scenarios. `present`: the part of the fault that arises in service has arisen."""
        place = {name: i for i, name in enumerate(self.scheme.sensors)}
        line = {name: i for i, name in enumerate(self.external)}
        lines = worlds.lines | worlds.pressed if first else worlds.lines
        inputs: list[Any] = []
        count = len(worlds.readings)
        for declared in self.program.inputs:
            match declared.kind:
                case InputKind.ELEMENT:
                    inputs.append(worlds.readings[:, place[declared.name]])
                case InputKind.LINE:
                    inputs.append(lines[:, line[declared.name]])
                case InputKind.FAULT:
                    inputs.append(np.broadcast_to(present, count))
                case InputKind.CYCLE:
                    inputs.append(np.broadcast_to(False, count))
                case InputKind.SETTING:
                    inputs.append(np.broadcast_to(declared.usual, count))
        return self._scan(count, state, inputs)

    def room(self, before: State, after: State) -> Ints:
        """For each scenario how many more scans only counters move in: 0 after an event, FOREVER at rest."""
        room = np.full(len(after[0]) if after else 1, FOREVER, np.int64)
        if self._switches:
            was, now = (np.stack([state[i] for i in self._switches]) for state in (before, after))
            room[(was != now).any(axis=0)] = 0
        if self._counters:
            was, now = (np.stack([state[i] for i in self._counters]) for state in (before, after))
            least, most, highest, lowest = self._runs
            up = (now - was == 1) & (was >= least) & (now <= most)
            down = (now - was == -1) & (was <= highest) & (now >= lowest)
            each = np.where(up, most - now, np.where(down, now - lowest, np.where(was == now, FOREVER, 0)))
            room = np.minimum(room, each.min(axis=0))
        return room

    def moved(self, before: State, after: State, by: Ints) -> State:
        """Each counter taken on by `by` scans."""
        return [
            now if slot.boolean or was is now else now + (now - was) * by
            for slot, was, now in zip(self.program.slots, before, after, strict=True)
        ]


def counting(program: Program, slot: Slot) -> tuple[int, int, int, int]:
    """Where one step up is only counting, from the lowest value before it to the highest after it, and where one step
    down is: from the highest before it to the lowest after it."""
    match slot.kind:
        case SlotKind.LEVEL:
            levels = program.levels[slot.name]
            return 1, levels.trip_scans, levels.top - 1, levels.awaiting + 1
        case SlotKind.OVERRIDE:
            return 2, slot.high - 1, *_NEVER
        case SlotKind.AGE:
            return 1, slot.high - 1, *_NEVER
        case SlotKind.SINCE_RUN | SlotKind.SINCE_STOP:
            return 0, slot.high - 1, *_NEVER
        case _:
            return FOREVER, -1, *_NEVER


_NEVER = (-1, FOREVER)


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a step in many scenarios. `scans`: until nothing changed any more, or -1 where it never did;
    `states`: of each installation then. `since`: the scan (from 1) from which the sight `sight` could be told apart, -1
    where none could for long enough; a row for each Ease."""

    scans: Ints
    states: list[State]
    since: Ints
    sight: Ints

    def part(self, which: slice, installations: int) -> Played:
        """Of these scenarios, and of the first so many installations."""
        states = [[a[which] for a in state] for state in self.states[:installations]]
        return Played(self.scans[which], states, self.since[:, which], self.sight[:, which])


def play(
    installations: Sequence[Installation], states: Sequence[State], worlds: Worlds, look: int, present: Sequence[bool]
) -> Played:
    """Run one step. The first installation is the healthy one: a sight counts where it is certain in all, and every
    other one shows the opposite of the healthy one, for `look` scans on end."""
    count = len(worlds.readings)
    scans = np.full(count, -1, np.int64)
    since, sight = (np.full((len(Ease), count), -1, np.int64) for _ in range(2))
    final = [[np.array(a) for a in state] for state in states]
    where = np.arange(count)
    now = [list(state) for state in states]
    rows = len(installations[0].looked_at)
    eases = [s.ease for s in installations[0].looked_at]
    spans = [(ease, eases.index(ease), len(eases) - eases[::-1].index(ease)) for ease in Ease if ease in eases]
    begun = np.full((rows, count), -1, np.int64)
    shown = np.zeros((rows, count), bool)
    done = np.zeros(count, np.int64)
    for event in range(MOST_EVENTS):
        before = now
        stepped = [
            i.scan(s, worlds, first=event == 0, present=p)
            for i, s, p in zip(installations, before, present, strict=True)
        ]
        now = [state for state, _ in stepped]
        room = np.full(len(where), FOREVER if event else 0, np.int64)
        if event:
            for i, was, is_now in zip(installations, before, now, strict=True):
                room = np.minimum(room, i.room(was, is_now))
        views = [i.look(observations) for i, (_, observations) in zip(installations, stepped, strict=True)]
        differs, value = _differs(views)
        kept = differs & (begun >= 0) & (shown == value)
        begun = np.where(kept, begun, np.where(differs, done + 1, -1))
        shown = value
        lasted = done + 1 + room - begun
        found = differs & (lasted >= look)
        resting = room >= FOREVER
        for row, low, high in spans:
            if found[low:high].any():
                first = np.where(found[low:high], begun[low:high], FOREVER * 2)
                best = first.argmin(axis=0)
                earliest = first[best, np.arange(len(where))]
                fresh = (earliest < FOREVER * 2) & (since[row, where] < 0)
                since[row, where[fresh]], sight[row, where[fresh]] = earliest[fresh], low + best[fresh]
        # a scenario at rest has been so since its last event: the scan before this one
        ended = where[resting]
        scans[ended] = np.maximum(done[resting], 1)
        for of_final, state in zip(final, now, strict=True):
            for slot_final, slot_now in zip(of_final, state, strict=True):
                slot_final[ended] = slot_now[resting]
        going = ~resting
        if not going.any():
            break
        on = np.where(going, room, 0)
        now = [
            [a[going] for a in i.moved(was, is_now, on)]
            for i, was, is_now in zip(installations, before, now, strict=True)
        ]
        done = (done + 1 + on)[going]
        where, worlds, begun, shown = where[going], worlds.only(going), begun[:, going], shown[:, going]
    return Played(scans, final, since, sight)


def _differs(views: Sequence[tuple[Bools, Bools]]) -> tuple[Bools, Bools]:
    """Where all installations are certain and every one shows the opposite of the first; what the first shows."""
    certain, value = views[0]
    differs = certain & (len(views) > 1)
    for other_certain, other in views[1:]:
        differs = differs & other_certain & (other != value)
    return differs, value
