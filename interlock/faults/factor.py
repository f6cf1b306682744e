"""A family of cut sets as a fault tree that people can read: what the sets share is drawn once.

The tree has exactly the same minimal cut sets. Singles stand directly under the top; a part of the family that is all
sets of k out of n events becomes one gate; what many sets share is taken out of them: AB + AC + BD is A(B + C) + BD.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import combinations
from math import comb

from interlock.faults.cutsets import minimal
from interlock.faults.tree import Family, Gate, GateKind, Tree, no_clash

Sets = tuple[frozenset[str], ...]


def factored(top: str, family: Iterable[Iterable[str]]) -> Tree:
    """The readable tree of a family; made minimal first. Gates are called `TOP.1`, `TOP.2` and so on, the top `TOP`.

    Raises TreeError when an event has such a name.
    """
    work = _Work(top)
    sets = minimal(family)
    ranks = _ranks(sets)
    if sets == ((),):
        return Tree(top, {top: Gate(top, GateKind.AND, ())})
    inputs = work.parts(tuple(frozenset(s) for s in sets), ranks)
    gates = {gate.name: gate for gate in work.gates}
    gates[top] = Gate(top, GateKind.OR, tuple(inputs))
    no_clash(gates, ranks)
    return Tree(top, gates)


def _ranks(sets: Family) -> dict[str, int]:
    return {name: i for i, name in enumerate(dict.fromkeys(name for s in sets for name in s))}


@dataclass(slots=True)
class _Work:
    top: str
    gates: list[Gate] = field(default_factory=list)

    def gate(self, kind: GateKind, inputs: Iterable[str], needs: int = 0) -> str:
        """A new gate's name; the only input's where there is but one."""
        names = tuple(inputs)
        if len(names) == 1:
            return names[0]
        name = f"{self.top}.{len(self.gates) + 1}"
        self.gates.append(Gate(name, kind, names, needs))
        return name

    def _flat(self, inputs: list[str]) -> tuple[str, ...]:
        """What an AND gate takes for any one of the inputs: those of the only one, where that is an AND gate too."""
        last = self.gates[-1] if self.gates else None
        if last and inputs == [last.name] and last.kind is GateKind.AND:
            return self.gates.pop().inputs
        return (self.gate(GateKind.OR, inputs),)

    def parts(self, sets: Sets, ranks: dict[str, int]) -> list[str]:
        """Inputs of an OR gate that together have these cut sets: the singles, then part after part."""
        singles = [name for s in sets if len(s) == 1 for name in s]
        return singles + [
            name for part in _components([s for s in sets if len(s) > 1]) for name in self._part(part, ranks)
        ]

    def _part(self, sets: Sets, ranks: dict[str, int]) -> list[str]:
        found = []
        waiting = [sets]
        while waiting:
            part = waiting.pop()
            vote = _vote(part, ranks)
            if vote:
                found.append(self.gate(GateKind.AT_LEAST, *vote))
                continue
            shared, quotient, rest = _taken_out(part, ranks)
            common = frozenset.intersection(*quotient)
            inputs = [self.gate(GateKind.OR, shared), *sorted(common, key=ranks.__getitem__)]
            if len(quotient) > 1:
                left = tuple(q - common for q in quotient)
                inputs += self._flat(self.parts(left, ranks))
            found.append(self.gate(GateKind.AND, inputs))
            waiting += reversed(_components(rest))
        return found


def _components(sets: Iterable[frozenset[str]]) -> list[Sets]:
    """The sets in groups that share no event, each group at the place of its first set."""
    groups: list[tuple[set[str], list[frozenset[str]]]] = []
    for one in sets:
        touched = [g for g in groups if g[0] & one]
        if not touched:
            groups.append((set(one), [one]))
            continue
        first, *others = touched
        for events, members in others:
            first[0].update(events)
            first[1].extend(members)
            groups = [g for g in groups if g[1] is not members]
        first[0].update(one)
        first[1].append(one)
    return [tuple(members) for _, members in groups]


def _vote(sets: Sets, ranks: dict[str, int]) -> tuple[list[str], int] | None:
    """The events and the number needed, where the sets are all that many of these events."""
    size = len(sets[0])
    events = sorted(frozenset().union(*sets), key=ranks.__getitem__)
    if not 2 <= size < len(events) or len(sets) != comb(len(events), size):
        return None
    found = set(sets)
    return (events, size) if all(frozenset(c) in found for c in combinations(events, size)) else None


def _taken_out(sets: Sets, ranks: dict[str, int]) -> tuple[list[str], Sets, Sets]:
    """The events that can be taken out of most sets, what these sets then leave, and the sets not touched.

    Taken out of `event x rest` is the event with the most rests, with every other event that has all these rests too.
    """
    rests: dict[str, dict[frozenset[str], None]] = {}
    for one in sets:
        for event in one:
            rests.setdefault(event, {})[one - {event}] = None
    most = max(rests, key=lambda e: (len(rests[e]), -ranks[e]))
    quotient = rests[most]
    shared = [e for e in sorted(rests, key=ranks.__getitem__) if quotient.keys() <= rests[e].keys()]
    taken = {rest | {event} for rest in quotient for event in shared}
    return shared, tuple(quotient), tuple(s for s in sets if s not in taken)
