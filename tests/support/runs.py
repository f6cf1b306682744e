"""Small schemes and readable runs of them, for tests of the meaning."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.logic.scan import Engine, Seen, World
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import loads

PATHS = "paths: {charger: {flow: charge}, lamp: {flow: discharge}}"
OUTPUTS = """outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed}
  K2: {drives: [lamp], contact: normally_open, runs_when: closed}"""
CELLS = """quantities: {cell: {span: -40 to 80 degC}}
sensors: {probe: {measures: {cell: -1 to 1 K}, valid: -50 to 90 degC}}"""


def scheme(*parts: str, paths: str = PATHS, outputs: str = OUTPUTS) -> Scheme:
    """A scheme with a 100 ms scan from its parts; two paths with an output each where nothing else is given."""
    return loads("\n".join(("scheme: A test", "scan: 100 ms", *parts, paths, outputs)))


class Run:
    """An engine run scan by scan; what is not given keeps its value. Readings in whole degrees or volts."""

    def __init__(self, of: Scheme, *installed: str, attended: bool = False) -> None:
        self.scheme = of
        self.engine = Engine(of, self.named(installed), attended=attended)
        self.readings: dict[str, int] = {}
        self.lines: dict[str, bool] = {}
        self.faults: set[Fault] = set()
        self.seen: Seen | None = None

    def named(self, names: Iterable[str]) -> set[Fault]:
        """Faults by name."""
        found = {self.scheme.fault(name) for name in names}
        assert None not in found, names
        return {f for f in found if f}

    def read(self, readings: Mapping[str, float]) -> None:
        """Set readings from here on."""
        self.readings |= {name: round(value * 1_000_000) for name, value in readings.items()}

    def scan(
        self,
        times: int = 1,
        *,
        faults: Iterable[str] = (),
        cycles: Iterable[str] = (),
        lines: Mapping[str, bool] | None = None,
        **readings: float,
    ) -> Seen:
        """Run scans; `faults` stay from here on; `cycles` happen at each of these scans."""
        self.read(readings)
        self.lines |= lines or {}
        self.faults |= self.named(faults)
        for _ in range(times):
            world = World(dict(self.readings), dict(self.lines), frozenset(self.faults), frozenset(cycles))
            self.seen = self.engine.scan(world)
        assert self.seen is not None
        return self.seen

    def state(self, rule: str) -> str:
        """A rule's state after the last scan."""
        assert self.seen is not None
        return str(self.seen.states[rule][0])

    def states(self, rule: str, times: int, **readings: float) -> list[str]:
        """A rule's state after each of these scans."""
        found = []
        self.read(readings)
        for _ in range(times):
            self.scan()
            found.append(self.state(rule))
        return found
