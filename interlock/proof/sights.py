"""What a path's rules can see of the world: codes that readings can have together, and worlds that give them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import product
from typing import cast

from msgspec import Struct

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import World
from interlock.proof.cells import CLEARS, HOLDS, NEITHER, TRIPS, Group, View, grouped, live
from interlock.proof.components import SlotKey
from interlock.proof.cone import Cone, Wants
from interlock.proof.index import Index
from interlock.proof.rough import BOTH, Sight, only
from interlock.proof.story import whole_solution
from interlock.scheme.words import Signal

LOW = (CLEARS, NEITHER, HOLDS, TRIPS)
HIGH = (TRIPS, HOLDS, NEITHER, CLEARS)
LOOSE = (CLEARS, NEITHER, TRIPS, HOLDS)

MOST_SLOTS = 8  # of rules that watch the same truths, for every world to be listed

Codes = Mapping[str, int]  # a code for each rule of the cone that watches a value


class Scene(Struct, frozen=True):
    """One scan's world as the cone sees it: single codes, and the external lines."""

    codes: Codes
    lines: Mapping[str, bool]

    @property
    def sight(self) -> Sight:
        """The same for the rough scan."""
        return Sight({r: 1 << c for r, c in self.codes.items()}, {n: only(v) for n, v in self.lines.items()})


class Sights:
    """Of one cone, in a sound installation."""

    def __init__(self, index: Index, cone: Cone) -> None:
        self.index, self.cone, self.scheme = index, cone, index.scheme
        faults = FaultSet(frozenset())
        elements = tuple((s.name, live(s, faults, {})) for s in self.scheme.sensors.values())
        self.view = View(elements, faults)
        self.numeric = tuple(r for r in cone.rules if self.scheme.rules[r].watches.numeric)
        self.groups: list[Group] = grouped(index, [("rule", r) for r in self.numeric], self.view)

    def first(self, held: Codes, order: Sequence[tuple[str, Sequence[int]]]) -> dict[str, int] | None:
        """Codes for all rules: `held` as given, the others by the first of what is liked for them that still fits, in
        this order. None where `held` can't be."""
        liked = dict(order)
        found: dict[str, int] = {}
        for group in self.groups:
            at = {str(slot[1]): i for i, slot in enumerate(group.slots)}
            first = [(at[r], (held[r],)) for r in at if r in held]
            then = [(at[r], codes) for r, codes in liked.items() if r in at and r not in held]
            rest = [(i, LOOSE) for r, i in at.items() if r not in held and r not in liked]
            solved = group.first([*first, *then, *rest])
            if solved is None:
                return None
            found.update({r: solved[0][i] for r, i in at.items()})
        return found

    def scene(self, wants: Wants, held: Codes, lines: Mapping[str, bool]) -> Scene | None:
        """A world that does what is wanted as far as it can. `held` codes and `lines` come first; a line nobody wants
        is off. None where `held` can't be."""
        order = [(name, _liked(wanted)) for (signal, name), wanted in wants.items() if signal is Signal.RULE]
        codes = self.first(held, order)
        if codes is None:
            return None
        asked = {n: True in wanted for (signal, n), wanted in wants.items() if signal is Signal.LINE}
        return Scene(codes, {n: lines.get(n, asked.get(n, False)) for n in self.cone.external})

    def free(self, held: Codes, lines: Mapping[str, bool]) -> Sight | None:
        """Anything that can be while `held` codes and `lines` stay. None where `held` can't be."""
        if self.first(held, ()) is None:
            return None
        codes = {}
        for rule in self.numeric:
            can = [c for c in range(4) if rule not in held and self._can(rule, c, held)]
            codes[rule] = 1 << held[rule] if rule in held else sum(1 << c for c in can)
        return Sight(codes, {n: only(lines[n]) if n in lines else BOTH for n in self.cone.external})

    def _can(self, rule: str, code: int, held: Codes) -> bool:
        group = next(g for g in self.groups if ("rule", rule) in g.slots)
        at = {str(slot[1]): i for i, slot in enumerate(group.slots)}
        return group.first([(at[rule], (code,)), *((at[r], (held[r],)) for r in at if r in held)]) is not None

    def cells(self, rules: Sequence[str]) -> Iterator[Codes]:
        """All codes these rules can have together."""
        slots: list[SlotKey] = [("rule", r) for r in rules]
        parts = []
        for group in grouped(self.index, slots, self.view):
            parts.append([dict(zip((str(s[1]) for s in group.slots), v, strict=True)) for v in group.vectors()])
        for chosen in product(*parts):
            yield {r: c for part in chosen for r, c in part.items()}

    def scenes(self, most: int) -> list[Scene] | None:
        """Every world as the cone can tell it from others; None where they are more than `most`."""
        if any(len(group.slots) > MOST_SLOTS for group in self.groups):
            return None
        found: list[Scene] = []
        for codes in self.cells(self.numeric):
            for values in product((False, True), repeat=len(self.cone.external)):
                found.append(Scene(codes, dict(zip(self.cone.external, values, strict=True))))
                if len(found) > most:
                    return None
        return found

    # --- real worlds

    def world(self, scene: Scene) -> tuple[World, dict[str, int | Fraction]]:
        """A world that looks so, and its truth, in millionths."""
        truth: dict[str, int | Fraction] = {}
        readings: dict[str, int | Fraction] = {}
        for group in self.groups:
            solved = group.first([(i, (scene.codes[str(s[1])],)) for i, s in enumerate(group.slots)])
            assert solved is not None, "the codes of a scene can be together"
            values = whole_solution(solved[1])
            for (kind, name), i in group.place.items():
                (truth if kind == "quantity" else readings)[name] = values[i]
        for component, members in enumerate(self.index.members):
            if members[0] not in truth:
                values = whole_solution(self.index.truth(component))
                truth.update({q: values[i + 1] for i, q in enumerate(members)})
        for sensor in self.scheme.sensors.values():
            if sensor.name not in readings:
                low = max(truth[e.quantity] + e.interval.low for e in sensor.measures)
                high = min(truth[e.quantity] + e.interval.high for e in sensor.measures)
                middle = (low + high) // 2
                readings[sensor.name] = middle if low <= middle <= high else low
        return World(cast("Mapping[str, int]", readings), dict(scene.lines)), truth


def _liked(wanted: frozenset[bool]) -> Sequence[int]:
    if len(wanted) > 1:
        return LOOSE
    return HIGH if True in wanted else LOW
