"""A claim's cone under a fault set as one transition system: configurations (which faults have arisen), places, moves.

A state is a configuration, the place of each component and the timers of those that run one. `moves` gives what can
happen in one scan for a configuration and places; the timers decide only which running delays end, and that is a move's
guard.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import copy
from itertools import product
from math import prod
from operator import ge
from typing import TypeVar

from msgspec import Struct

from interlock.logic.faultset import FaultSet
from interlock.proof import sticking
from interlock.proof.bounds import SCALE, Bounds
from interlock.proof.cells import (
    CLEARS,
    TRIPS,
    Element,
    Group,
    Limits,
    Span,
    View,
    difference,
    grouped,
    live,
    slot_needs,
    within,
)
from interlock.proof.circuit import Circuit
from interlock.proof.components import Abstraction, Kind, Layout, Running, SlotKey
from interlock.proof.emit import Compiled, Places, compiled
from interlock.proof.goal import Goal
from interlock.proof.index import Index
from interlock.scheme.model import Fault, SensorError
from interlock.scheme.words import Mode, Part

NOT_STUCK, STALE = -1, -2


class FaultPlan(Struct, frozen=True):
    """A fault set sorted by when its faults are there: installed, arising in service (in groups), power cycles."""

    installed: frozenset[Fault]
    service: tuple[tuple[Fault, ...], ...]
    cycled: frozenset[str]  # units that may be power-cycled from the start

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> FaultPlan:
        """Sort a fault set; the parts of a common cause that arise in service arise together."""
        installed: set[Fault] = set()
        service: list[tuple[Fault, ...]] = []
        cycled: set[str] = set()
        for fault in sorted(set(faults), key=lambda f: f.name):
            singles = fault.single()
            installed.update(s for s in singles if s.mode.installation)
            rising = tuple(s for s in singles if not s.mode.installation)
            if rising and all(s.mode is Mode.POWER_CYCLED for s in rising):
                cycled.update(p for s in rising for p in s.parts)
            elif rising:
                service.append(rising)
        return cls(frozenset(installed), tuple(service), frozenset(cycled))

    def from_power_up(self) -> FaultPlan:
        """The same with the faults that arise in service there from the first scan on, which is one of their onsets;
        but for those that keep a state or a value that was there before, and what arises with them."""
        later = tuple(g for g in self.service if any(f.mode in (Mode.STUCK, Mode.FROZEN, Mode.POWER_CYCLED) for f in g))
        return FaultPlan(self.installed.union(*(g for g in self.service if g not in later)), later, self.cycled)

    def keeps(self) -> bool:
        """Whether a fault that arises in service keeps a value or a state as it was."""
        return bool(self.arising(Mode.STUCK, Mode.FROZEN))

    def arising(self, *modes: Mode, arisen: int = -1) -> tuple[str, ...]:
        """The parts that these modes may befall in service, in order; `arisen`: of these groups only, as bits."""
        groups = (g for i, g in enumerate(self.service) if arisen >> i & 1)
        return tuple(dict.fromkeys(p for g in groups for f in g if f.mode in modes for p in f.parts))

    def cycling(self, arisen: int = -1) -> frozenset[str]:
        """The units that may be power-cycled; `arisen`: once these groups have arisen, as bits."""
        return self.cycled.union(self.arising(Mode.POWER_CYCLED, arisen=arisen))

    def several(self) -> bool:
        """Whether there is more than one fault; a common cause in service is one."""
        return len(self.installed) + len(self.service) + len(self.cycled) > 1

    def parts(self) -> frozenset[str]:
        """The parts that any of the faults befalls."""
        there = (*self.installed, *(f for g in self.service for f in g))
        return self.cycled.union(p for f in there for p in f.parts)

    def present(self) -> Iterator[frozenset[Fault]]:
        """The faults there for each set of groups that have arisen, by its number (bits)."""
        for arisen in range(1 << len(self.service)):
            yield self.installed.union(*(g for i, g in enumerate(self.service) if arisen >> i & 1))


class Config(Struct, frozen=True):
    """Which service groups have arisen (bits), and for each sensor that can stick: not, in which span, or stale.
    `apart`: for each pair of them that is weighed together, in which span their difference is once both are stuck."""

    arisen: int
    stuck: tuple[int, ...]
    apart: tuple[int, ...] = ()


class Move(Struct, frozen=True):
    """What one scan can do from a configuration and places.

    `asked`: components whose running delay may end here; `ends`: those of them whose delay does. `again`: timers
    started anew in the same place; `still`: timers that stand still.
    """

    config: int
    places: Places
    asked: int
    ends: int
    again: int
    still: int
    bad: bool
    inputs: tuple[int, ...]
    onset: tuple[int, ...] = ()  # sensors (by number) that stick at this scan


Inputs = tuple[int, ...]
C = TypeVar("C", bound=Circuit)


def circuits_of(
    index: Index,
    goal: Goal,
    plan: FaultPlan,
    abstraction: Abstraction,
    layout: Layout,
    *,
    fault_set: Callable[[Iterable[Fault]], FaultSet] = FaultSet.of,
    units: Callable[[Mode, Iterable[str]], frozenset[str]] = lambda _mode, names: frozenset(names),
    kind: type[C] = Circuit,  # type: ignore[assignment]
) -> list[C]:
    """The cone's circuits, one for each set of faults that can have arisen, over one layout: a component that one of
    them needs is kept up in all. `fault_set`, `units`: how the faults there, and the units that a mode may befall, are
    handed to a circuit; `kind`: of which kind it is. Raises LoopError."""
    sets = [fault_set(faults) for faults in plan.present()]
    freezing = units(Mode.FROZEN, plan.arising(Mode.FROZEN))
    circuits = [
        kind(
            index,
            goal,
            abstraction,
            layout,
            faults,
            installed=sets[0],
            may_freeze=freezing,
            cycles=units(Mode.POWER_CYCLED, plan.cycling(arisen)),
            complete=arisen + 1 == len(sets),
        )
        for arisen, faults in enumerate(sets)
    ]
    changed = len(circuits) > 1
    while changed:
        keys = list(layout.place)
        kept = [circuit.keep_up(key) for circuit in circuits for key in keys]
        changed = any(kept) or len(keys) < len(layout.place)
    return circuits


def take_signs_together(circuits: Sequence[Circuit]) -> dict[str, set[int]]:
    """For each component's signal, as it is and as it was, the directions in which it moves the bad scan in any of
    these circuits, each of which takes account of that."""
    known: dict[str, set[int]] = {}
    changed = True
    while changed:
        changed = False
        for circuit in circuits:
            circuit.take_signs((name, s) for name, both in known.items() for s in both)
            for name, both in (circuit.sign or {}).items():
                if name[0] in "ap":
                    mine = known.setdefault(name, set())
                    if not both <= mine:
                        mine |= both
                        changed = True
        if len(circuits) == 1:
            break
    return known


class System:
    """Raises LoopError and UnsupportedError."""

    def __init__(
        self, index: Index, goal: Goal, plan: FaultPlan, abstraction: Abstraction, *, probe: bool = False
    ) -> None:
        self.index, self.goal, self.plan, self.abstraction = index, goal, plan, abstraction
        self.layout = Layout()
        self.sensors = tuple(name for name in plan.arising(Mode.STUCK) if name not in abstraction.loose)
        for name in self.sensors:
            stale = index.scheme.sensors[name].stale_after
            self.layout.of(Kind.STUCK, ("stuck", name), 0, (0, stale.scans if stale else 0, 0))
        self.circuits: list[Circuit] = circuits_of(index, goal, plan, abstraction, self.layout)
        self.fault_sets = [circuit.faults for circuit in self.circuits]
        # of the faults, all that a sensor's element does not tell of itself: views are then alike wherever it is
        self._exchanged = FaultSet.of(f for f in plan.installed if f.mode is Mode.SWAPPED and f.part is Part.SENSOR)
        self._signs: list[int] | None = None
        self._compiled: dict[int, Compiled] = {}
        self._limits: Limits = ()
        self._probe = probe
        values = sticking.cut(self)
        self.spans, self.pairs, self.apart_spans = values.spans, values.pairs, values.apart
        self.configs: list[Config] = []
        self._config_number: dict[Config, int] = {}
        self._config_moves: dict[int, list[tuple[int, tuple[int, ...], tuple[int, ...], int, int]]] = {}
        self._inputs: dict[tuple[int, tuple[int, ...]], list[tuple[int, ...]]] = {}
        self._groups: dict[tuple[int, tuple[int, ...]], list[Group]] = {}
        self.wished: dict[int, tuple[dict[str, bool], dict[str, bool]]] = {}  # kept for replays: see `wishes`
        # kept for searches by states: for a configuration and a part of the world, what takes from inputs all but that
        # part, and by that the inputs alike in it, numbered
        self.apart_in: dict[
            tuple[int, int], tuple[Callable[[Inputs], Inputs], dict[Inputs, list[tuple[int, Inputs]]]]
        ] = {}
        self.running = Running(self.layout.comps)
        self._moves: dict[tuple[int, Places, int], list[Move]] = {}
        self.memo: dict[object, tuple[object, int]] = {}  # what searches found, and the zones that took
        self._split: dict[Places, tuple[tuple[int, ...], tuple[int, ...]]] = {}
        self.start = (
            self.number(Config(0, (NOT_STUCK,) * len(self.sensors), (NOT_STUCK,) * len(self.pairs))),
            tuple(c.start for c in self.layout.comps),
        )

    def signs(self) -> list[int]:
        """For each component +1, -1, or 0 where it is compared by equality. Taken when first asked for, as many a
        system never is, and from then on known to the circuits."""
        if self._signs is None:
            self._signs = self._taken()
        return self._signs

    def _taken(self) -> list[int]:
        known = take_signs_together(self.circuits)
        found = []
        for i, comp in enumerate(self.layout.comps):
            both = known.get(("p" if comp.kind is Kind.LATCH else "a") + str(i), set())
            signed = len(both) == 1 and comp.kind not in (Kind.OVERRIDE, Kind.STUCK)
            # what may still be active can do all that what may not can
            found.append(1 if comp.kind is Kind.SETTLING else next(iter(both)) if signed else 0)
        return found

    def compiled(self, arisen: int) -> Compiled:
        """The scan under the faults that have arisen."""
        if arisen not in self._compiled:
            self._compiled[arisen] = compiled(self.circuits[arisen], probe=self._probe)
        return self._compiled[arisen]

    # --- systems that are alike

    def identity(self) -> tuple[object, ...]:
        """All that a scan of this system, what it may be given, and how its states are compared hang on: two systems of
        one index with equal identities have the same moves everywhere, by the same inputs."""
        present = range(len(self.circuits))
        return (
            self._probe,
            self.start,
            len(self.plan.service),
            tuple(self.layout.comps),
            tuple(self.signs()),
            tuple((c.source, c.inputs, tuple(c.probes.items())) for c in map(self.compiled, present)),
            tuple(
                (tuple(c.slots.items()), tuple(c.bools.items()), tuple(c.alias.items()), self._directions(c))
                for c in self.circuits
            ),
            tuple((arisen, name) for arisen in present for name in self.sensors if self._sticks(arisen, name)),
            (self.sensors, tuple(map(tuple, self.spans)), tuple(self.pairs), tuple(map(tuple, self.apart_spans))),
            tuple(self.unstuck(arisen) for arisen in present),
        )

    @staticmethod
    def _directions(circuit: Circuit) -> tuple[int, ...]:
        return tuple(circuit.one_sign(name) for name in (*circuit.slots.values(), *circuit.bools.values()))

    def _sticks(self, arisen: int, sensor: str) -> bool:
        return self.fault_sets[arisen].has(Mode.STUCK, sensor)

    def go_on_from(self, other: System) -> None:
        """Take over what was found out about a system of equal identity, and share what is from now on."""
        self.configs, self._config_number, self._config_moves = other.configs, other._config_number, other._config_moves
        self._inputs, self._moves, self._split, self.memo = other._inputs, other._moves, other._split, other.memo

    # --- configurations

    def number(self, config: Config) -> int:
        """The number of a configuration, new or not."""
        if config not in self._config_number:
            self._config_number[config] = len(self.configs)
            self.configs.append(config)
        return self._config_number[config]

    def config_moves(self, number: int) -> list[tuple[int, tuple[int, ...], tuple[int, ...], int, int]]:
        """What can happen to the faults in one scan: the new configuration, the sensors that stick at this scan, new
        places of the STUCK components (-1: as it was), and the timers asked and ending."""
        if number in self._config_moves:
            return self._config_moves[number]
        config = self.configs[number]
        found: list[tuple[int, tuple[int, ...], tuple[int, ...], int, int]] = []
        for arisen in range(1 << len(self.plan.service)):
            if arisen & config.arisen != config.arisen:
                continue
            options: list[list[tuple[int, int, bool, int, int]]] = []  # status, place, onset, asked, ends
            for i, name in enumerate(self.sensors):
                status = config.stuck[i]
                delay = self.layout.comps[i].delays[1]
                stale = self.index.scheme.sensors[name].stale_after
                if status == NOT_STUCK:
                    if not self.fault_sets[arisen].has(Mode.STUCK, name):
                        options.append([(NOT_STUCK, 0, False, 0, 0)])
                    elif stale and delay == 0:
                        options.append([(STALE, 2, False, 0, 0)])
                    else:
                        place = 1 if stale else 0
                        options.append([(k, place, True, 0, 0) for k in range(len(self.spans[i]))])
                elif status == STALE or not stale:
                    options.append([(status, 2 if status == STALE else 0, False, 0, 0)])
                else:
                    options.append([(status, 1, False, 1 << i, 0), (STALE, 2, False, 1 << i, 1 << i)])
            for choice in product(*options):
                stuck = tuple(c[0] for c in choice)
                onset = tuple(i for i, c in enumerate(choice) if c[2])
                asked = sum(c[3] for c in choice)
                ends = sum(c[4] for c in choice)
                for apart in self._aparts(stuck, config.apart):
                    new = self.number(Config(arisen, stuck, apart))
                    found.append((new, onset, tuple(c[1] for c in choice), asked, ends))
        self._config_moves[number] = found
        return found

    def _aparts(self, status: tuple[int, ...], before: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """The spans in which the differences of stuck values can be, where the values are in these spans."""
        options: list[Sequence[int]] = []
        for (i, j), was, spans in zip(self.pairs, before, self.apart_spans, strict=True):
            if status[i] < 0 or status[j] < 0:
                options.append((NOT_STUCK,))
            else:
                options.append(range(len(spans)) if was == NOT_STUCK else (was,))
        for apart in product(*options):
            if all(a == b for a, b in zip(apart, before, strict=True)) or self.values(status, apart) is not None:
                yield apart

    def values(self, status: Sequence[int], apart: Sequence[int]) -> Bounds | None:
        """The values at which the sensors stick, scaled: variable i + 1 for sensor i. None where there are none."""
        found = Bounds(len(self.sensors) + 1)
        sure = found.add_all(
            tuple(b for i, k in enumerate(status) if k >= 0 for b in within(i + 1, self.spans[i][k]))
            + tuple(
                b
                for (i, j), k, spans in zip(self.pairs, apart, self.apart_spans, strict=True)
                if k >= 0
                for b in difference(i + 1, j + 1, spans[k])
            )
        )
        return found if sure else None

    def view(self, number: int, onset: tuple[int, ...] = ()) -> View:
        """The sensors' elements in a configuration; those in `onset` are live and at the value they stick at."""
        config = self.configs[number]
        apart = tuple((one, other, span) for (one, other), span in self.apart(number).items())
        return self._view(config.arisen, config.stuck, onset, apart=apart)

    def apart(self, number: int) -> dict[tuple[str, str], Span]:
        """What the differences of stuck values lie in, in a configuration."""
        return {
            (self.sensors[i], self.sensors[j]): spans[k]
            for (i, j), k, spans in zip(self.pairs, self.configs[number].apart, self.apart_spans, strict=True)
            if k >= 0
        }

    def unstuck(self, arisen: int) -> View:
        """The sensors' elements under the faults that have arisen, none of them stuck."""
        return self._view(arisen, [NOT_STUCK] * len(self.sensors))

    def loose(self, arisen: int, sensors: frozenset[int]) -> View:
        """The sensors' elements under the faults that have arisen, these (by number) at any value."""
        return self._view(arisen, [NOT_STUCK] * len(self.sensors), loose=sensors)

    def _view(
        self,
        arisen: int,
        stuck: Sequence[int],
        onset: tuple[int, ...] = (),
        loose: frozenset[int] = frozenset(),
        apart: tuple[tuple[str, str, Span], ...] = (),
    ) -> View:
        faults = self.fault_sets[arisen]
        errors: dict[tuple[Mode, str], tuple[SensorError, ...]] = {}
        for fault in (*self.plan.installed, *(f for g in self.plan.service for f in g)):
            if fault.mode in (Mode.DRIFTED, Mode.MISPLACED):
                errors.update({(fault.mode, p): fault.error for p in fault.parts})
        number = {name: i for i, name in enumerate(self.sensors)}
        elements: list[tuple[str, Element]] = []
        for name in self.seen_elements():
            sensor = self.index.scheme.sensors[name]
            element = live(sensor, faults, errors)
            i = number.get(name, -1)
            if name in self.abstraction.loose:
                element = Element()  # a value that is not valid stands for none
            elif faults.has(Mode.SHORTED, name) or faults.has(Mode.OPEN, name):
                shorted = faults.has(Mode.SHORTED, name)
                value = sensor.shorted_reads if shorted else sensor.open_reads
                element = Element(lost=True) if value is None else _fixed(value)
            elif i in loose:
                element = Element()
            elif i >= 0 and stuck[i] == STALE:
                element = Element(lost=True)
            elif i >= 0 and stuck[i] >= 0:
                span = self.spans[i][stuck[i]]
                element = Element(element.error, span) if i in onset else Element((), span)
            elements.append((name, element))
        return View(tuple(elements), self._exchanged, self._limits, apart)

    def with_limits(self, limits: Limits) -> System:
        """The same system with limits of its goal's conditions moved."""
        if not limits:
            return self
        moved = copy(self)
        moved._limits, moved._inputs, moved._moves, moved._groups, moved.memo = limits, {}, {}, {}, {}
        return moved

    def seen_elements(self) -> list[str]:
        """The sensors whose elements the cone looks at."""
        if not hasattr(self, "_elements"):
            names: dict[str, None] = {}
            for circuit in self.circuits:
                for slot in circuit.slots:
                    for kind, name in slot_needs(self.index, slot, circuit.faults):
                        if kind == "element":
                            names[name] = None
            self._elements = [n for n in self.index.scheme.sensors if n in names]
        return self._elements

    # --- inputs

    def inputs(self, number: int, onset: tuple[int, ...]) -> list[tuple[int, ...]]:
        """The input vectors of a scan in a configuration, without those that another one is as good as in every way."""
        key = (number, onset)
        if key not in self._inputs:
            circuit = self.circuits[self.configs[number].arisen]
            parts: list[list[tuple[int, ...]]] = []
            order: list[str] = []
            self.signs()
            for group in self.groups_at(number, onset):
                names = [circuit.slots[slot] for slot in group.slots]
                sign = [self.slot_sign(circuit, slot) for slot in group.slots]
                vectors = self.group_vectors(group)
                parts.append(best(vectors, sign))
                order += names
            for name in circuit.bools.values():
                if name in circuit.alias:
                    continue
                order.append(name)
                parts.append([(1,), (0,)] if circuit.one_sign(name) == 0 else [(int(circuit.one_sign(name) == 1),)])
            where = {name: i for i, name in enumerate(order)}
            pick = [where[name] for name in self.compiled(self.configs[number].arisen).inputs]
            found: list[tuple[int, ...]] = []
            for combination in product(*parts):
                flat = [x for part in combination for x in part]
                found.append(tuple(flat[i] for i in pick))
            self._inputs[key] = found
        return self._inputs[key]

    def groups_at(self, number: int, onset: tuple[int, ...] = ()) -> list[Group]:
        """The slots of a configuration's circuit in independent groups."""
        key = (number, onset)
        if key not in self._groups:
            circuit = self.circuits[self.configs[number].arisen]
            self._groups[key] = self.groups(circuit, self.view(number, onset))
        return self._groups[key]

    def worlds(self) -> int:
        """How many worlds there are at power-up that differ for the cone."""
        vectors = (len(self.group_vectors(group)) for group in self.groups_at(self.start[0]))
        return prod(vectors) << len(self.circuits[0].bools)

    def groups(self, circuit: Circuit, view: View) -> list[Group]:
        """The circuit's slots in independent groups; those that name an element's onset stay even without slots."""
        return grouped(self.index, list(circuit.slots), view)

    def group_vectors(self, group: Group) -> list[tuple[int, ...]]:
        """A group's feasible vectors."""
        return list(group.vectors())

    @staticmethod
    def slot_sign(circuit: Circuit, slot: SlotKey) -> int:
        """+1, -1 or 0 for a slot; a truth condition counts with the bad scan."""
        sign = circuit.one_sign(circuit.slots[slot])
        return 1 if slot[0] == "truth" else 0 if sign == 2 else sign

    # --- moves

    def moves(self, number: int, places: Places, ends: int) -> list[Move]:
        """Everything one scan can do from here, the running delays in `ends` ending at this scan (if they go on), the
        others not; without moves that another one is as good as."""
        key = (number, places, ends)
        if key in self._moves:
            return self._moves[key]
        found: dict[tuple[object, ...], Move] = {}
        stuck = len(self.sensors)
        for new, onset, stuck_places, asked0, ends0 in self.config_moves(number):
            if ends & asked0 != ends0:
                continue
            step = self.compiled(self.configs[new].arisen).step
            for x in self.inputs(new, onset):
                result, asked, again, still, bad, _ = step(places, ends, x)
                if stuck:
                    result = stuck_places + result[stuck:]
                asked |= asked0
                slot = (new, result, asked, again, still, bad)
                if slot not in found:
                    found[slot] = Move(new, result, asked, ends & asked, again, still, bool(bad), x, onset)
        kept = self._best_moves(places, list(found.values()))
        self._moves[key] = kept
        return kept

    def _best_moves(self, places: Places, moves: list[Move]) -> list[Move]:
        if len(moves) < 2:
            return moves
        groups: dict[tuple[object, ...], list[tuple[tuple[int, ...], Move]]] = {}
        for move in moves:
            equal, value = self.split(move.places)
            stays = move.places == places  # kept apart: staying is what lets time go by
            slot = (move.config, equal, move.asked, move.again, move.still, stays)
            rivals = groups.setdefault(slot, [])
            mine = (*value, move.bad)
            if any(all(map(ge, other, mine)) for other, _ in rivals):
                continue
            rivals[:] = [(v, m) for v, m in rivals if not all(map(ge, mine, v))]
            rivals.append((mine, move))
        return [m for rivals in groups.values() for _, m in rivals]

    def split(self, places: Places) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """What must be equal for one state to stand for another, and how good the rest is for the bad scan."""
        known = self._split.get(places)
        if known is None:
            sign = self.signs()
            known = self._split[places] = (
                tuple(p for p, s in zip(places, sign, strict=True) if not s),
                tuple(self._value(i, places[i]) * s for i, s in enumerate(sign) if s),
            )
        return known

    def _value(self, i: int, place: int) -> int:
        kind = self.layout.comps[i].kind
        return RULE_RANK[place] if kind is Kind.RULE else -place if kind in (Kind.WITHIN, Kind.SETTLING) else place


RULE_RANK = (0, 1, 4, 3, 2)  # a rule's places along its line, from clear to tripped


def _fixed(value: int) -> Element:
    return Element((), Span(value * SCALE, value * SCALE))


def as_good(a: Sequence[int], b: Sequence[int], sign: Sequence[int]) -> bool:
    """Whether vector a allows the bad scan at least what b does, slot by slot."""
    for x, y, s in zip(a, b, sign, strict=True):
        if x == y:
            continue
        if not (s > 0 and (x == TRIPS or y == CLEARS)) and not (s < 0 and (x == CLEARS or y == TRIPS)):
            return False
    return True


def best(vectors: Sequence[tuple[int, ...]], sign: Sequence[int]) -> list[tuple[int, ...]]:
    """The vectors that no other is as good as."""
    kept: list[tuple[int, ...]] = []
    for v in vectors:
        if any(as_good(k, v, sign) for k in kept):
            continue
        kept = [k for k in kept if not as_good(v, k, sign)]
        kept.append(v)
    return kept
