"""A fault set sorted by when its faults are there, and the sets that have a meaning."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from interlock.logic.faultset import FaultSet, scan_order
from interlock.scheme.model import Fault, Scheme, SensorError
from interlock.scheme.order import LoopError
from interlock.scheme.words import Mode


class FaultSetError(ValueError):
    """These faults can't be looked at together: why."""


@dataclass(frozen=True)
class Plan:
    """What is installed, what may arise in service (what arises together, by the name of its fault), and which units
    may be power-cycled: from the start, or (by fault) from its onset on."""

    faults: tuple[Fault, ...]
    installed: frozenset[Fault]
    arising: Mapping[str, frozenset[Fault]]
    cycled: frozenset[str]
    cycled_after: Mapping[str, frozenset[str]]

    @classmethod
    def of(cls, scheme: Scheme, faults: Iterable[Fault]) -> Plan:
        """Sort a fault set. Raises FaultSetError where it has no meaning."""
        chosen = tuple(sorted(set(faults), key=lambda f: f.name))
        singles = [single for fault in chosen for single in fault.single()]
        try:
            scan_order(scheme, FaultSet.of(singles))
        except LoopError as error:
            raise FaultSetError("their exchanges close a loop of rules within one scan") from error
        except ValueError as error:
            raise FaultSetError(str(error)) from error
        for mode in (Mode.DRIFTED, Mode.MISPLACED):
            wrong = [(s.parts[0], s.error) for s in singles if s.mode is mode]
            if len({part for part, _ in set(wrong)}) < len(set(wrong)):
                raise FaultSetError(f"one sensor is {mode} in two ways")
        arising: dict[str, frozenset[Fault]] = {}
        cycled: set[str] = set()
        cycled_after: dict[str, frozenset[str]] = {}
        for fault in chosen:
            rising = frozenset(s for s in fault.single() if not s.mode.installation)
            units = frozenset(p for s in rising if s.mode is Mode.POWER_CYCLED for p in s.parts)
            rising = frozenset(s for s in rising if s.mode is not Mode.POWER_CYCLED)
            if rising:
                arising[fault.name] = rising
                cycled_after[fault.name] = units
            else:
                cycled |= units
        installed = frozenset(s for s in singles if s.mode.installation)
        return cls(chosen, installed, arising, frozenset(cycled), cycled_after)

    @property
    def names(self) -> tuple[str, ...]:
        """The faults by name."""
        return tuple(fault.name for fault in self.faults)

    def present(self, arisen: Iterable[str]) -> frozenset[Fault]:
        """The service faults there once those of these names have arisen."""
        return frozenset(single for name in arisen for single in self.arising[name])

    def may_cycle(self, arisen: Iterable[str]) -> frozenset[str]:
        """The units that may lose their power for a moment then."""
        return self.cycled.union(*(self.cycled_after[name] for name in arisen))

    def errors(self, scheme: Scheme, arisen: Iterable[str]) -> dict[str, tuple[SensorError, ...]]:
        """Each sensor's error intervals in force: a drift's, else a misplacement's, else the healthy ones."""
        found = {name: sensor.measures for name, sensor in scheme.sensors.items()}
        there = self.installed | self.present(arisen)
        for mode in (Mode.MISPLACED, Mode.DRIFTED):
            found.update({s.parts[0]: s.error for s in there if s.mode is mode})
        return found


def meaningful(scheme: Scheme, faults: Iterable[Fault]) -> bool:
    """Whether these faults can be looked at together."""
    try:
        Plan.of(scheme, faults)
    except FaultSetError:
        return False
    return True
