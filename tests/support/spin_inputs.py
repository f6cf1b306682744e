"""What a scan of the spin model may observe: one choice for each part of the scheme that nothing ties to the rest.

Under a fault set the choices depend on what has arisen. A stuck reading is remembered as a class: two values are of one
class when exactly the same can be observed with either, ever after.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from interlock.scheme.model import Fault, Scheme, SensorError
from interlock.scheme.words import Mode
from interlock.scheme.words import Part as Kind
from tests.support.spin_cells import (
    HIGHEST,
    LOWEST,
    Anything,
    Cut,
    Element,
    Linked,
    NotEncoded,
    Observation,
    Part,
    Reads,
    Truth,
    Watch,
)


class Present:
    """A fault set: mistakes of installation, what arises in service (each entry at its own scan), units that cycle."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.installed: list[Fault] = []
        self.entries: list[tuple[Fault, ...]] = []
        self.cycled: set[str] = set()
        self.partner: dict[tuple[Kind, str], str] = {}
        for fault in faults:
            later: list[Fault] = []
            for single in fault.single():
                if single.mode is Mode.SWAPPED:
                    a, b = single.parts
                    if (single.part, a) in self.partner or (single.part, b) in self.partner:
                        raise NotEncoded("two swaps that share a part")
                    self.partner |= {(single.part, a): b, (single.part, b): a}
                elif single.mode is Mode.POWER_CYCLED:
                    self.cycled.update(single.parts)
                elif single.mode.installation:
                    self.installed.append(single)
                else:
                    later.append(single)
            if later:
                self.entries.append(tuple(later))

    def standing(self, mode: Mode, part: str) -> bool:
        """Whether a mistake of installation is there."""
        return any(f.mode is mode and part in f.parts for f in self.installed)

    def arising(self, mode: Mode, part: str) -> list[int]:
        """The entries with which a fault arises."""
        return [i for i, entry in enumerate(self.entries) if any(f.mode is mode and part in f.parts for f in entry)]

    def error(self, mode: Mode, sensor: str, among: Iterable[Fault]) -> tuple[SensorError, ...] | None:
        """The error that a drifted or misplaced sensor has, with the faults `among`."""
        found = {f.error for f in among if f.mode is mode and sensor in f.parts}
        if len(found) > 1:
            raise NotEncoded(f"a sensor {mode} in two ways at once")
        return next(iter(found), None)


@dataclass(frozen=True)
class Choice:
    """One observation, and the class that a reading sticks in with it (0: none sticks now)."""

    seen: Observation
    sticks: int = 0


@dataclass(frozen=True)
class Case:
    """The choices where these entries of the fault set have arisen and no others of the part's.

    `sticking`: the element that is stuck. `held`: the class it is held in; 0 where it sticks at this very scan; None
    where it is stale.
    """

    arisen: frozenset[int]
    sticking: str
    held: int | None
    choices: tuple[Choice, ...]


def parts_of(scheme: Scheme, present: Present, looks: Sequence[Watch | Truth]) -> list[Part]:
    """The looks, in groups that nothing ties together."""
    source = {name: present.partner.get((Kind.SENSOR, name), name) for name in scheme.sensors}
    root = {f"q:{n}": f"q:{n}" for n in scheme.quantities} | {f"e:{n}": f"e:{n}" for n in scheme.sensors}

    def find(node: str) -> str:
        while root[node] != node:
            node = root[node]
        return node

    def join(nodes: Sequence[str]) -> None:
        for a, b in pairwise(nodes):
            root[find(a)] = find(b)

    for q in scheme.quantities.values():
        join([f"q:{q.name}", *(f"q:{tie.other}" for tie in (q.at_least, q.at_most) if tie)])
    for sensor in scheme.sensors.values():
        join([f"e:{sensor.name}", *(f"q:{error.quantity}" for error in sensor.measures)])

    def nodes(look: Watch | Truth) -> list[str]:
        if isinstance(look, Truth):
            return [f"q:{look.quantity}"]
        inputs = (look.name,) if look.name in scheme.sensors else scheme.readings[look.name].sensors
        return [f"e:{source[name]}" for name in inputs]

    for look in looks:
        join(nodes(look))
    found: dict[str, list[Watch | Truth]] = {}
    for look in looks:
        found.setdefault(find(nodes(look)[0]), []).append(look)
    parts = []
    for top, own in found.items():
        watched = {n[2:] for look in own for n in nodes(look) if n.startswith("e:")}
        quantities = frozenset(n for n in scheme.quantities if find(f"q:{n}") == top)
        parts.append(Part(scheme, quantities, frozenset(watched), source, tuple(own)))
    return parts


_SENSOR_MODES = (Mode.OPEN, Mode.SHORTED, Mode.STUCK, Mode.DRIFTED)


def cases_of(part: Part, present: Present) -> list[Case]:
    """Every case of a part, with its choices."""
    flags = sorted({i for s in part.elements for mode in _SENSOR_MODES for i in present.arising(mode, s)})
    subsets = [frozenset(c) for size in range(len(flags) + 1) for c in combinations(flags, size)]
    found: list[Case] = []
    held: dict[str, list[frozenset[int]]] = {}
    for arisen in subsets:
        elements = _elements(part, present, arisen)
        stuck = [name for name, element in elements.items() if isinstance(element, Anything)]
        if len(stuck) > 1:
            raise NotEncoded("two stuck sensors that are observed together")
        if not stuck:
            found.append(Case(arisen, "", 0, _plain(part, elements)))
        else:
            held.setdefault(stuck[0], []).append(arisen)
    for sensor, under in held.items():
        found += _stuck_cases(part, present, sensor, under)
    return found


def _elements(part: Part, present: Present, arisen: frozenset[int]) -> dict[str, Element]:
    """Each element with some entries arisen. Shorted wins over open, over stuck, over drifted, over misplaced."""
    elements: dict[str, Element] = {}
    for name in sorted(part.elements):
        sensor = part.scheme.sensors[name]
        modes = {mode for mode in _SENSOR_MODES if arisen & set(present.arising(mode, name))}
        if Mode.SHORTED in modes:
            elements[name] = Reads(sensor.shorted_reads)
        elif Mode.OPEN in modes:
            elements[name] = Reads(sensor.open_reads)
        elif Mode.STUCK in modes:
            elements[name] = Anything()
        else:
            elements[name] = _linked(part, present, arisen, name)
    return elements


def _linked(part: Part, present: Present, arisen: frozenset[int], name: str) -> Linked:
    now = [f for i in sorted(arisen) for f in present.entries[i]]
    drifted = present.error(Mode.DRIFTED, name, now)
    misplaced = present.error(Mode.MISPLACED, name, present.installed)
    return Linked(drifted or misplaced or part.scheme.sensors[name].measures)


def _plain(part: Part, elements: Mapping[str, Element]) -> tuple[Choice, ...]:
    return tuple(Choice(seen) for seen in dict.fromkeys(seen for seen, _, _ in part.observations(elements)))


def _stuck_cases(part: Part, present: Present, sensor: str, under: Sequence[frozenset[int]]) -> list[Case]:
    """The cases with one stuck element, under each set of entries that leaves it stuck."""
    cells = {
        arisen: [(seen, reach) for seen, _, reach in part.observations(_elements(part, present, arisen), sensor)]
        for arisen in under
    }
    cuts = sorted({cut for found in cells.values() for _, reach in found for cut in reach} - {LOWEST, HIGHEST})
    edges = [LOWEST, *cuts, HIGHEST]
    classes: dict[tuple[tuple[Observation, ...], ...], int] = {}
    of_band = []
    for low, high in pairwise(edges):
        together = tuple(_seen_between(cells[arisen], low, high) for arisen in under)
        of_band.append(classes.setdefault(together, len(classes) + 1))
    cases = []
    stale = part.scheme.sensors[sensor].stale_after
    for i, arisen in enumerate(under):
        elements = _elements(part, present, arisen)
        fresh = {**elements, sensor: _linked(part, present, arisen, sensor)}
        onset = [Choice(seen, of_band[band]) for seen, band, _ in part.observations(fresh, sensor, cuts)]
        cases.append(Case(arisen, sensor, 0, tuple(dict.fromkeys(onset))))
        for seens, number in classes.items():
            if seens[i]:
                cases.append(Case(arisen, sensor, number, tuple(Choice(seen) for seen in seens[i])))
        if stale:
            cases.append(Case(arisen, sensor, None, _plain(part, {**elements, sensor: Reads(None)})))
    return cases


def _seen_between(cells: Sequence[tuple[Observation, tuple[Cut, Cut]]], low: Cut, high: Cut) -> tuple[Observation, ...]:
    """What can be observed with a stuck value between two neighbouring cuts."""
    seen = dict.fromkeys(seen for seen, reach in cells if max(low, reach[0]) < min(high, reach[1]))
    return tuple(sorted(seen))
