"""Which faults a program knows, and the node that says whether a part is in a mode at this scan."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.logic.builder import Builder
from interlock.logic.faultset import FaultSet
from interlock.logic.program import Input, InputKind
from interlock.scheme.model import Fault
from interlock.scheme.words import Mode, Part

# Modes that a scan does not see: they widen what an element may give, or are given as power cycles.
OUTSIDE_THE_SCAN = frozenset({Mode.DRIFTED, Mode.MISPLACED, Mode.POWER_CYCLED})


class Presence:
    """The faults of a program. Mistakes of installation are folded in; a fault that arises in service is an input.

    `switched`: mistakes of installation become inputs too, swaps excepted (they change the order of the rules);
    `swaps`: those as well.
    """

    def __init__(
        self, builder: Builder, faults: Iterable[Fault], *, switched: bool = False, swaps: bool = False
    ) -> None:
        self._builder = builder
        self._nodes: dict[tuple[Mode, str], int] = {}
        self.cycled: set[str] = set()
        self._exchanged: dict[tuple[Part, str], dict[str, int]] = {}
        self._swaps = swaps
        self.exchanges: list[Fault] = []  # those that are inputs
        installed: list[Fault] = []
        for fault in sorted(set(faults), key=lambda f: f.name):
            inputs = [s for s in fault.single() if not self._folded(s, switched) and s.mode not in OUTSIDE_THE_SCAN]
            names = tuple(single.name for single in inputs)
            present = builder.input(Input(InputKind.FAULT, fault.name, singles=names)) if inputs else builder.true
            for single in fault.single():
                if single.mode is Mode.POWER_CYCLED:
                    self.cycled.update(single.parts)
                folded = self._folded(single, switched)
                if folded:
                    installed.append(single)
                elif single.mode in OUTSIDE_THE_SCAN:
                    continue
                node = builder.true if folded else present
                if single.mode is Mode.SWAPPED and not folded:
                    self.exchanges.append(single)
                    for one, other in (single.parts, single.parts[::-1]):
                        known = self._exchanged.setdefault((single.part, one), {})
                        known[other] = builder.any_of(known.get(other, builder.false), node)
                for part in single.parts:
                    key = (single.mode, part)
                    self._nodes[key] = builder.any_of(self._nodes.get(key, builder.false), node)
        self.installed = FaultSet.of(installed)

    def _folded(self, single: Fault, switched: bool) -> bool:
        if single.mode is Mode.SWAPPED:
            return not self._swaps
        return single.mode.installation and not switched

    def exchanged(self, part: Part, name: str) -> dict[str, int]:
        """The parts with which that part may be exchanged by an input, each with the node that says whether it is."""
        return self._exchanged.get((part, name), {})

    def has(self, mode: Mode, part: str) -> int:
        """Whether the part is in that mode at this scan."""
        return self._nodes.get((mode, part), self._builder.false)

    def at_power_up(self, mode: Mode, part: str) -> int:
        """Whether it was before the first scan: only a mistake of installation can be."""
        return self._builder.true if self.has(mode, part) == self._builder.true else self._builder.false
