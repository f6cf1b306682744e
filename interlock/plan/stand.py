"""Many installations side by side, each with something else wrong, on one compiled scheme.

All that can be wrong is an input: faults, exchanges, settings. Each installation is taken on from event to event by its
own clock (`columns.py` says why that may be skipped).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.logic.compiled import compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.logic.halves import halves
from interlock.logic.many import ManyScenarios
from interlock.logic.program import InputKind, Observe, Program, Setting, SlotKind, setting_name
from interlock.plan.columns import FOREVER, MOST_EVENTS, Ints, State, counting
from interlock.plan.sights import Bools, Sight, SightKind, observed
from interlock.plan.wrong import Slip, Wrong
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Contact, LineForm, Mode, Part

NO_FAULTS = FaultSet()
Packed = NDArray[np.uint8]


@dataclass(frozen=True)
class Given:
    """What a phase gives each installation: arrays of shape (columns, sensors) and (columns, external lines)."""

    readings: Ints
    lines: Bools
    pressed: Bools  # the lines that are on for the first `held` scans only
    held: int | Ints = 1  # one number for all columns, or an array

    def only(self, which: Any) -> Given:
        """These columns alone."""
        held = self.held if isinstance(self.held, int) else self.held[which]
        return Given(self.readings[which], self.lines[which], self.pressed[which], held)


@dataclass(frozen=True)
class Looks:
    """What may be seen in each window: whether each sight may be seen true, and false, at any scan of it. `packed`: of
    shape (2, windows, bytes, columns), true then false, a bit for each sight as numpy packs them."""

    packed: Packed
    sights: int

    @property
    def true(self) -> Bools:
        """Of shape (windows, columns, sights)."""
        return self._unpacked(0)

    @property
    def false(self) -> Bools:
        """Of shape (windows, columns, sights)."""
        return self._unpacked(1)

    def _unpacked(self, which: int) -> Bools:
        bits = np.unpackbits(self.packed[which], axis=1, count=self.sights).astype(bool)
        return np.moveaxis(bits, 1, 2)


Watch = Callable[[Ints, Ints, Packed, Packed, State], None]  # columns, from which scan on, may be true, false; slots


@dataclass
class Columns:
    """Installations: the inputs that say what is wrong with each, and the slots. `lost`: so much went on in one that it
    was not followed any further, so that nothing is certain of it."""

    inputs: list[Any]
    state: State
    lost: Bools

    def only(self, which: Any) -> Columns:
        """These columns alone; a column may be taken more than once."""
        return Columns([a[which] for a in self.inputs], [a[which] for a in self.state], self.lost[which])


@dataclass(frozen=True)
class Stand:
    """A scheme in which any of `wrong` may be; of what can be seen `looked_at` is wanted."""

    scheme: Scheme
    wrong: tuple[Wrong, ...]
    looked_at: tuple[Sight, ...]
    program: Program = field(init=False)

    def __post_init__(self) -> None:
        """Raises LoopError where no order of the rules serves all exchanges of lines."""
        longest: dict[tuple[str, Setting], int] = {}
        for slip in self.wrong:
            if isinstance(slip, Slip):
                key = slip.rule, slip.setting
                longest[key] = max(slip.value, longest.get(key, 0))
        faults = [w for w in self.wrong if isinstance(w, Fault)]
        compiled = compile_scheme(self.scheme, faults, switched=True, swaps=True, settings=longest)
        wanted = {(kind, s.name) for s in self.looked_at for kind in _OBSERVED[s.kind]}
        wanted |= {(Observe.CLOSED, s.name) for s in self.looked_at if s.kind is SightKind.DEVICE}
        object.__setattr__(self, "program", compiled.restricted(self._closed_too(wanted)))

    def _closed_too(self, wanted: set[tuple[Observe, str]]) -> set[tuple[Observe, str]]:
        """A device that may be fed by another contact: that contact is wanted too."""
        devices = {name for kind, name in wanted if kind is Observe.CLOSED}
        return wanted | {(Observe.CLOSED, other) for name in devices for other in self._feeds.get(name, {})}

    @cached_property
    def _feeds(self) -> dict[str, dict[str, list[str]]]:
        """For each output the outputs that may be exchanged with it, each with the faults by which it is."""
        found: dict[str, dict[str, list[str]]] = {}
        for fault, single in self._singles:
            if single.mode is Mode.SWAPPED and single.part is Part.OUTPUT:
                for one, other in (single.parts, single.parts[::-1]):
                    found.setdefault(one, {}).setdefault(other, []).append(fault.name)
        return found

    @cached_property
    def _singles(self) -> list[tuple[Fault, Fault]]:
        return [(fault, single) for fault in self.wrong if isinstance(fault, Fault) for single in fault.single()]

    @cached_property
    def external(self) -> tuple[str, ...]:
        """The external lines, in the order of Given."""
        return tuple(n for n, line in self.scheme.lines.items() if line.form is LineForm.EXTERNAL)

    @cached_property
    def _at(self) -> dict[tuple[InputKind, str], int]:
        return {(declared.kind, declared.name): i for i, declared in enumerate(self.program.inputs)}

    # --- columns

    def columns(self, sets: Sequence[Iterable[Wrong]], held: Sequence[Mapping[str, int]] = ()) -> Columns:
        """Installations before power-up, one for each set of what is wrong, all of it there already. `held`: for each,
        sensors that are stuck at a reading from before."""
        count = len(sets)
        inputs: list[Any] = []
        for declared in self.program.inputs:
            match declared.kind:
                case InputKind.FAULT | InputKind.CYCLE:
                    inputs.append(np.zeros(count, bool))
                case InputKind.SETTING:
                    inputs.append(np.full(count, declared.usual, np.int64))
                case InputKind.ELEMENT | InputKind.LINE:
                    inputs.append(np.zeros(count, bool))  # given scan by scan
        present: dict[Wrong, list[int]] = {}
        for column, wrongs in enumerate(sets):
            for wrong in wrongs:
                present.setdefault(wrong, []).append(column)
        for wrong, columns in present.items():
            if isinstance(wrong, Slip):
                at = self._at.get((InputKind.SETTING, setting_name(wrong.rule, wrong.setting)))
                if at is not None:
                    inputs[at][columns] = wrong.value
            else:
                at = self._at.get((InputKind.FAULT, wrong.name))
                if at is not None:
                    inputs[at][columns] = True
        state = [np.array(a) for a in ManyScenarios(self.program, count).state]
        self._power_up(state, self._present(sets))
        for column, readings in enumerate(held):
            for name, value in readings.items():
                self._hold(state, column, name, value)
        return Columns(inputs, state, np.zeros(count, bool))

    def _present(self, sets: Sequence[Iterable[Wrong]]) -> dict[tuple[Mode, str], Bools]:
        """Where the mistakes of installation that contacts know at power-up are."""
        found: dict[tuple[Mode, str], Bools] = {}
        for column, wrongs in enumerate(sets):
            for fault in wrongs:
                for single in fault.single() if isinstance(fault, Fault) else ():
                    if single.mode in (Mode.WRONG_CONTACT, Mode.SWAPPED):
                        name = "~".join(single.parts)
                        found.setdefault((single.mode, name), np.zeros(len(sets), bool))[column] = True
        return found

    def _power_up(self, state: State, present: Mapping[tuple[Mode, str], Bools]) -> None:
        """Contacts and what devices were told before the first scan, where a contact is the wrong one or exchanged."""
        scheme, count = self.scheme, len(state[0]) if state else 0
        no = np.zeros(count, bool)
        closed = {
            name: present.get((Mode.WRONG_CONTACT, name), no) ^ (o.contact is Contact.NORMALLY_CLOSED)
            for name, o in scheme.outputs.items()
        }
        fed = dict(closed)
        for (mode, pair), where in present.items():
            one, _, other = pair.partition("~")
            if mode is Mode.SWAPPED and one in closed and other in closed:
                fed[one] = np.where(where, closed[other], fed[one])
                fed[other] = np.where(where, closed[one], fed[other])
        for i, slot in enumerate(self.program.slots):
            if slot.kind is SlotKind.CLOSED:
                state[i] = closed[slot.name].copy()
            elif slot.kind in (SlotKind.SINCE_RUN, SlotKind.SINCE_STOP):
                told = fed[slot.name] == scheme.outputs[slot.name].runs_when.when_made
                now = told if slot.kind is SlotKind.SINCE_RUN else ~told
                state[i] = np.where(now, 0, slot.high).astype(np.int64)

    def _hold(self, state: State, column: int, name: str, value: int) -> None:
        for i, slot in enumerate(self.program.slots):
            if slot.name == name and slot.kind is SlotKind.HELD:
                state[i][column] = min(max(value, slot.low), slot.high)
            elif slot.name == name and slot.kind is SlotKind.AGE:
                state[i][column] = 1

    # --- running

    @cached_property
    def _counters(self) -> tuple[list[int], tuple[Ints, ...]]:
        places = [i for i, slot in enumerate(self.program.slots) if not slot.boolean]
        runs = [counting(self.program, self.program.slots[i]) for i in places]
        return places, tuple(np.array(ends, np.int64)[:, None] for ends in zip(*runs, strict=True))

    @cached_property
    def _switches(self) -> list[int]:
        return [i for i, slot in enumerate(self.program.slots) if slot.boolean]

    def _joined(self, state: Sequence[Any], count: int) -> _Joined:
        """Slots as two tables: on or off, and numbers."""
        tables = []
        for places, kind in ((self._switches, bool), (self._counters[0], np.int64)):
            table = np.empty((len(places), count), kind)
            for row, i in enumerate(places):
                table[row] = state[i]
            tables.append(table)
        return _Joined(*tables)

    def _rows(self, joined: _Joined) -> State:
        rows: State = [None] * len(self.program.slots)
        for table, places in ((joined.switches, self._switches), (joined.counters, self._counters[0])):
            for row, i in zip(table, places, strict=True):
                rows[i] = row
        return rows

    def _room(self, before: _Joined, after: _Joined) -> tuple[Ints, Ints, Ints]:
        """For each column how many more scans only counters move in: 0 after an event, FOREVER at rest. Which counters
        move in any column, and by how much each does."""
        room = np.full(after.counters.shape[1], FOREVER, np.int64)
        steps = after.counters - before.counters
        moving = np.flatnonzero(steps.any(axis=1))
        steps = steps[moving]
        if len(moving):
            was, now = before.counters[moving], after.counters[moving]
            least, most, highest, lowest = (ends[moving] for ends in self._counters[1])
            up = (steps == 1) & (was >= least) & (now <= most)
            down = (steps == -1) & (was <= highest) & (now >= lowest)
            each = np.where(up, most - now, np.where(down, now - lowest, np.where(steps == 0, FOREVER, 0)))
            room = each.min(axis=0)
        room[(before.switches != after.switches).any(axis=0)] = 0
        return room, moving, steps

    def phase(
        self,
        columns: Columns,
        given: Given,
        scans: int | Ints,
        windows: Sequence[tuple[int | Ints, int | Ints]],
        watch: Watch | None = None,
        left_at: int | Ints | None = None,
    ) -> tuple[Columns, Looks, Ints]:
        """Run so many scans with the same given. `windows`: first and last scan of each, from 1, within `scans`. Both
        may be one number for all columns, or an array. `watch` is told of every stretch. `left_at`: after which of the
        scans the columns are given back as they were then, rather than after all.

        Gives the columns after it, what may be seen in each window, and the scan after which nothing changed any more
        (-1 where something still may). A column in which more than MOST_EVENTS things happen is lost."""
        count, rows = len(columns.lost), len(self.looked_at)
        may = np.zeros((2, len(windows), (rows + 7) // 8, count), np.uint8)
        may[..., columns.lost] = 255
        ends = np.broadcast_to(np.asarray(scans, np.int64), (count,))
        left = ends if left_at is None else np.minimum(np.broadcast_to(np.asarray(left_at, np.int64), (count,)), ends)
        spans = np.array([[np.broadcast_to(end, (count,)) for end in w] for w in windows], np.int64)
        final = self._joined(columns.state, count)
        running = _Running(self, columns, given, np.flatnonzero((ends > 0) & ~columns.lost), final)
        settled, lost = np.full(count, -1, np.int64), columns.lost.copy()
        settled[(ends <= 0) & ~lost] = 0
        look = self._looker(columns)
        for _ in range(MOST_EVENTS if len(running.where) else 0):
            where, done, live = running.where, running.done, running.live
            before, pressed = running.joined, running.pressed()
            observations = running.scan()
            room, moving, steps = self._room(before, running.joined)
            until = ends[where]
            last = np.minimum(done + 1 + room, np.where(pressed, running.held, until))
            if windows or watch is not None:
                self._see(spans, look, watch, observations, running, last, may)
            quiet = live & ~pressed & (room >= FOREVER)
            settled[where[quiet]] = done[quiet]
            leaves = live & (done < left[where]) & (left[where] <= last)
            if leaves.any():
                into = where[leaves]
                final.switches[:, into] = running.joined.switches[:, leaves]
                final.counters[:, into] = running.joined.counters[:, leaves]
                by = (left[where] - done - 1)[leaves]
                final.counters[np.ix_(moving, into)] += steps[:, leaves] * by
            if not running.go_on(last, last < until, moving, steps):
                break
        else:
            unfinished = running.where[running.live]
            lost[unfinished] = True
            for w in range(len(windows)):
                may[:, w, :, unfinished[spans[w, 1, unfinished] > running.done[running.live]]] = 255
        return Columns(columns.inputs, self._rows(final), lost), Looks(may, rows), settled

    def _see(
        self,
        spans: Ints,
        look: Callable[[Sequence[Any], Ints], tuple[Packed, Packed]],
        watch: Watch | None,
        observations: Sequence[Any],
        running: _Running,
        last: Ints,
        may: Packed,
    ) -> None:
        """What is seen in a stretch: told to `watch`, and put into each window that it falls into."""
        where, done, live = running.where, running.done, running.live
        if len(spans):
            inside = (
                live & (done + 1 <= spans[:, 1, where]) & (last >= spans[:, 0, where])
            )  # of shape (windows, columns)
            windows = np.flatnonzero(inside.any(axis=1))
        else:
            inside, windows = np.zeros((0, len(where)), bool), np.zeros(0, np.int64)
        if not len(windows) and watch is None:
            return
        true, false = look(observations, where)
        if watch is not None:
            slots = [a[live] for a in self._rows(running.joined)]
            watch(where[live], (done + 1)[live], true[:, live], false[:, live], slots)
        for w in windows.tolist():
            columns = inside[w]
            if columns.all():
                may[0, w][:, where] |= true
                may[1, w][:, where] |= false
            else:
                may[0, w][:, where[columns]] |= true[:, columns]
                may[1, w][:, where[columns]] |= false[:, columns]

    def inputs(self, inputs: Sequence[Any], given: Given, pressed: Bools) -> list[Any]:
        """The program's inputs for one scan. `pressed`: the columns in which what is pressed still is."""
        place = {name: i for i, name in enumerate(self.scheme.sensors)}
        line = {name: i for i, name in enumerate(self.external)}
        lines = given.lines | (given.pressed & pressed[:, None])
        full = list(inputs)
        for i, declared in enumerate(self.program.inputs):
            if declared.kind is InputKind.ELEMENT:
                full[i] = given.readings[:, place[declared.name]]
            elif declared.kind is InputKind.LINE:
                full[i] = lines[:, line[declared.name]]
        return full

    def _looker(self, columns: Columns) -> Callable[[Sequence[Any], Ints], tuple[Packed, Packed]]:
        """From observations of some columns to what may be seen true, and false: packed, of shape (bytes, columns)."""
        at = {(o.kind, o.name): i for i, o in enumerate(self.program.observations)}
        rows = {kind: [r for r, s in enumerate(self.looked_at) if s.kind is kind] for kind in SightKind}
        one = [r for kind in rows for r in rows[kind] if kind not in (SightKind.PATH, SightKind.DEVICE)]
        paths, devices = rows[SightKind.PATH], rows[SightKind.DEVICE]
        may = [[at[kind, self.looked_at[r].name] for r in paths] for kind in (Observe.MAY_RUN, Observe.MAY_STOP)]
        told = [at[_OBSERVED[self.looked_at[r].kind][0], self.looked_at[r].name] for r in one]
        contacts = [name for kind, name in at if kind is Observe.CLOSED]
        closed = [at[Observe.CLOSED, name] for name in contacts]
        fed, cut = self._wires(columns, contacts, [self.looked_at[r].name for r in devices])
        whole = (len(self.looked_at) + 7) // 8 * 8

        def look(observations: Sequence[Any], where: Ints) -> tuple[Packed, Packed]:
            true, false = (np.zeros((whole, len(where)), bool) for _ in range(2))
            for into, numbers in zip((true, false), may, strict=True):
                for row, number in zip(paths, numbers, strict=True):
                    into[row] = observations[number]
            for row, number in zip(one, told, strict=True):
                true[row] = observations[number]
            if devices:
                made = np.empty((len(closed), len(where)), bool)
                for n, number in enumerate(closed):
                    made[n] = observations[number]
                true[devices] = np.take_along_axis(made, fed[:, where], axis=0) & ~cut[:, where]
            opposite = one + devices
            false[opposite] = ~true[opposite]
            return _packed(true), _packed(false)

        return look

    def _wires(self, columns: Columns, contacts: Sequence[str], devices: Sequence[str]) -> tuple[Ints, Bools]:
        """For each device and column which of the contacts its wire comes from, and whether it is cut."""
        count, place = len(columns.lost), {name: i for i, name in enumerate(contacts)}
        fault = {name: columns.inputs[i] for (kind, name), i in self._at.items() if kind is InputKind.FAULT}
        no = np.zeros(count, bool)
        broken = dict.fromkeys(contacts, no)
        for of, single in self._singles:
            if single.mode is Mode.WIRE_BROKEN and single.parts[0] in broken:
                broken[single.parts[0]] = broken[single.parts[0]] | fault.get(of.name, no)
        fed = np.empty((len(devices), count), np.int64)
        for n, name in enumerate(devices):
            fed[n] = place[name]
            for other, by in self._feeds.get(name, {}).items():
                for swap in by:
                    fed[n][fault.get(swap, no)] = place[other]
        every = np.array([broken[name] for name in contacts], bool).reshape(len(contacts), count)
        return fed, every[fed, np.arange(count)] if len(devices) else np.zeros((0, count), bool)


@dataclass(slots=True)
class _Joined:
    """All slots of some columns in two tables of shape (slots, columns): those that are on or off, those that count."""

    switches: Bools
    counters: Ints


class _Running:
    """The columns of a phase that still run: which they are (`where`), the scans each has `done`, its slots. Those that
    have ended are taken along (not `live`) until they are the most."""

    def __init__(self, stand: Stand, columns: Columns, given: Given, where: Ints, joined: _Joined) -> None:
        self._stand, self._halves = stand, halves(stand.program)
        self._inputs, self._given, self.where = columns.inputs, given, where
        self.joined = _Joined(joined.switches.copy(), joined.counters.copy())
        if len(where) < len(columns.lost):
            self._inputs, self._given = [a[where] for a in columns.inputs], given.only(where)
            self.joined = _Joined(joined.switches[:, where], joined.counters[:, where])
        self.done = np.zeros(len(where), np.int64)
        self.live = np.ones(len(where), bool)
        self._presses: Bools = np.asarray(self._given.pressed.any(axis=1))
        self._now_pressed: Bools | None = None
        self._still: list[Any] = []

    @property
    def held(self) -> int | Ints:
        """For how many scans what is pressed is."""
        return self._given.held

    def pressed(self) -> Bools:
        """The columns in which a button is pressed at the next scan. It decides what inputs are."""
        pressed: Bools = np.asarray(self._presses & (self.done < self.held))
        if self._now_pressed is None or (pressed != self._now_pressed).any():
            self._still = self._halves.still(self._stand.inputs(self._inputs, self._given, pressed))
            self._now_pressed = pressed
        return pressed

    def scan(self) -> Sequence[Any]:
        """One scan of all: what it observes."""
        following, observations = self._halves.scan(self._stand._rows(self.joined), self._still)
        self.joined = self._stand._joined(following, len(self.where))
        return observations

    def go_on(self, last: Ints, going: Bools, moving: Ints, steps: Ints) -> bool:
        """Take each column on to the scan `last`; those not `going` have ended. Whether any goes on."""
        self.live = self.live & going
        kept = int(np.count_nonzero(self.live))
        if not kept:
            return False
        self.joined.counters[moving] += steps * np.where(self.live, last - self.done - 1, 0)
        self.done = np.where(self.live, last, self.done)
        if 2 * kept <= len(self.where):
            self._shrink(np.flatnonzero(self.live))
        return True

    def _shrink(self, to: Ints) -> None:
        self.where, self.done, self.live = self.where[to], self.done[to], self.live[to]
        self._inputs, self._given = [a[to] for a in self._inputs], self._given.only(to)
        self.joined = _Joined(self.joined.switches[:, to], self.joined.counters[:, to])
        self._presses = self._presses[to]
        if self._now_pressed is not None:
            self._now_pressed = self._now_pressed[to]
        self._still = [a[to] if isinstance(a, np.ndarray) else a for a in self._still]


def _packed(table: Bools) -> Packed:
    """Rows as bits, a byte for each eight of them, the first row the highest bit (as numpy packs): of shape (bytes,
    columns). Shifting whole rows is quicker than `packbits` across them."""
    eights = table.view(np.uint8).reshape(-1, 8, table.shape[1])
    packed: Packed = eights[:, 0] << np.uint8(7)
    for bit in range(1, 8):
        packed |= eights[:, bit] << np.uint8(7 - bit)
    return packed


_OBSERVED: Mapping[SightKind, tuple[Observe, ...]] = {
    kind: tuple(of for of, _ in observed([Sight(kind, "")], NO_FAULTS)) for kind in SightKind
}
