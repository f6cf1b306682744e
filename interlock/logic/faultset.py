"""A fault set as an edit of what each part does at one scan: looked up by mode and part, swaps both ways round."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import in_order
from interlock.scheme.words import Mode, Part


@dataclass(frozen=True)
class FaultSet:
    """The faults present at one scan. Built once per set and kept: looking up is what happens at every scan."""

    faults: frozenset[Fault] = frozenset()
    _modes: dict[str, set[Mode]] = field(init=False, compare=False, repr=False)  # of each part that has any
    _partner: dict[tuple[Part, str], str] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        singles = [single for fault in self.faults for single in fault.single()]
        partner: dict[tuple[Part, str], str] = {}
        modes: dict[str, set[Mode]] = {}
        for fault in singles:
            for part in fault.parts:
                modes.setdefault(part, set()).add(fault.mode)
            if fault.mode is Mode.SWAPPED:
                one, other = fault.parts
                if (fault.part, one) in partner or (fault.part, other) in partner:
                    raise ValueError(f"{fault.name} shares a part with another swap of the set")
                partner[fault.part, one], partner[fault.part, other] = other, one
        object.__setattr__(self, "_modes", modes)
        object.__setattr__(self, "_partner", partner)

    @classmethod
    def of(cls, faults: Iterable[Fault]) -> FaultSet:
        """The set of these faults. Raises ValueError where two swaps share a part."""
        return cls(frozenset(faults))

    def exchanged(self, part: Part) -> frozenset[Fault]:
        """The exchanges of two parts of that kind."""
        if not self._partner:
            return frozenset()
        singles = (single for fault in self.faults for single in fault.single())
        return frozenset(s for s in singles if s.mode is Mode.SWAPPED and s.part is part)

    def has(self, mode: Mode, part: str) -> bool:
        """Whether that part is in that mode. Modes that two kinds of part share never collide: names are unique."""
        return part in self._modes and mode in self._modes[part]

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

    Raises LoopError where an exchange of lines closes a loop: such a fault set has no meaning.
    """
    return in_order(
        scheme.rules,
        {name: line.rules for name, line in scheme.lines.items()},
        lambda unit, line: faults.line_source(scheme, unit, line),
    )
