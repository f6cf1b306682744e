"""A fault set as an edit of what each part does at one scan: looked up by mode and part, swaps both ways round."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Mode, Part, Signal


class LoopError(ValueError):
    """Exchanged lines close a loop of rules within one scan: such a fault set has no meaning."""


@dataclass(frozen=True)
class FaultSet:
    """The faults present at one scan. Built once per set and kept: looking up is what happens at every scan."""

    faults: frozenset[Fault] = frozenset()
    _has: frozenset[tuple[Mode, str]] = field(init=False, compare=False, repr=False)
    _partner: dict[tuple[Part, str], str] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        singles = [single for fault in self.faults for single in fault.single()]
        partner: dict[tuple[Part, str], str] = {}
        for fault in singles:
            if fault.mode is Mode.SWAPPED:
                one, other = fault.parts
                if (fault.part, one) in partner or (fault.part, other) in partner:
                    raise ValueError(f"{fault.name} shares a part with another swap of the set")
                partner[fault.part, one], partner[fault.part, other] = other, one
        object.__setattr__(self, "_has", frozenset((f.mode, part) for f in singles for part in f.parts))
        object.__setattr__(self, "_partner", partner)

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> FaultSet:
        """The set of these faults. Raises ValueError where two swaps share a part."""
        return cls(frozenset(faults))

    def has(self, mode: Mode, part: str) -> bool:
        """Whether that part is in that mode. Modes that two kinds of part share never collide: names are unique."""
        return (mode, part) in self._has

    def source(self, part: Part, name: str) -> str:
        """The part whose place `name` really looks at: its partner in a swap, else itself."""
        return self._partner.get((part, name), name)

    def line_source(self, scheme: Scheme, unit: str, line: str) -> str:
        """The line whose wire the unit's input for `line` is on: a swap holds in every unit that reads both."""
        other = self._partner.get((Part.LINE, line), line)
        return other if other == line or {line, other} <= set(scheme.reads(unit)) else line


NO_FAULTS = FaultSet()


def scan_order(scheme: Scheme, faults: FaultSet = NO_FAULTS) -> tuple[str, ...]:
    """The rules so that each stands after all it depends on within one scan, exchanged lines included.

    Among rules that do not depend on each other the scheme's order is kept. Raises LoopError with the rules of the loop.
    """
    graph: dict[str, list[str]] = {}
    for rule in scheme.rules.values():
        before: list[str] = []
        if rule.watches is Signal.RULE:
            before.append(rule.watched)
        lines = [rule.watched] if rule.watches is Signal.LINE else []
        if rule.reset_by:
            lines.append(rule.reset_by)
        for line in lines:
            before.extend(scheme.lines[faults.line_source(scheme, rule.unit, line)].rules)
        graph[rule.name] = before
    sorter = TopologicalSorter(graph)
    try:
        sorter.prepare()
    except CycleError as error:
        raise LoopError(" → ".join(error.args[1])) from error
    place = {name: i for i, name in enumerate(scheme.rules)}
    ordered: list[str] = []
    while sorter.is_active():
        ready = sorted(sorter.get_ready(), key=place.__getitem__)
        ordered.extend(ready)
        sorter.done(*ready)
    return tuple(ordered)
