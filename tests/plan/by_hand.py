"""Proof tests carried out on the readable engine, scan by scan or stretch by stretch, with nothing of the search."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.plan.beginnings import Coming, Start, comings, starts
from interlock.plan.sights import Sight, SightKind, sights
from interlock.plan.stimuli import Change, Position, Stimuli
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Mode

HEALTHY = Coming(False)
PATIENCE = 400  # stretches


class RestlessError(Exception):
    """It never comes to rest."""


@dataclass(frozen=True)
class Bench:
    """One installation, healthy or with a fault, and how far off each reading is: -1 low, 0 not, 1 high."""

    stimuli: Stimuli
    fault: Fault | None = None
    off: int = 0

    @property
    def singles(self) -> tuple[Fault, ...]:
        return self.fault.single() if self.fault else ()

    def engine(self) -> Engine:
        return Engine(self.stimuli.scheme, [f for f in self.singles if f.mode.installation])

    def world(self, position: Position, press: int | None = None, *, there: bool = True) -> World:
        readings = {}
        for name, values, at in zip(self.stimuli.scheme.sensors, self.stimuli.values, position.sensors, strict=True):
            applied = values[at]
            readings[name] = applied.value + {-1: applied.low, 0: 0, 1: applied.high}[self.off]
        lines = {
            name: on or i == press
            for i, (name, on) in enumerate(zip(self.stimuli.external, position.lines, strict=True))
        }
        service = frozenset(f for f in self.singles if not f.mode.installation) if there else frozenset()
        return World(readings, lines, service)

    def settle(self, engine: Engine, position: Position, press: int | None = None, *, there: bool = True) -> int:
        """Until nothing changes any more: after how many scans that is so."""
        done, stretched = 0, 0
        if press is not None:
            engine.scan(self.world(position, press, there=there))
            done = 1
        last = 0
        for _, last in stretches(engine, self.world(position, there=there), 1 << 40, settle=True):
            done, stretched = done + last, stretched + 1
            if stretched > PATIENCE:
                raise RestlessError
        return done - last

    def at_rest(self, coming: Coming) -> Engine:
        engine, rest = self.engine(), self.stimuli.rest
        early = coming.at_power_up
        self.settle(engine, rest, there=early)
        for button in self.stimuli.resets:
            self.settle(engine, rest, button, there=early)
        if self.fault is not None and not early:
            engine.scan(self.world(Change(sensors=coming.onset).to(rest) or rest))
            self.settle(engine, rest)
        return engine


def what_is_seen(scheme: Scheme, seen: Seen, faults: FaultSet) -> dict[Sight, bool | None]:
    """Everything a person sees."""
    found: dict[Sight, bool | None] = {}
    for path in scheme.paths:
        found[Sight(SightKind.PATH, path)] = {(1, 0): True, (0, 1): False}.get(
            (seen.may_run[path], seen.may_stop[path])
        )
    for name, line in scheme.lines.items():
        if line.form.sent:
            found[Sight(SightKind.LINE, name)] = seen.lines[name]
    for rule in scheme.rules.values():
        if rule.alarm:
            found[Sight(SightKind.ALARM, rule.name)] = rule.name in seen.alarms
    for sensor in scheme.sensors:
        found[Sight(SightKind.SENSOR, sensor)] = seen.readings[sensor] is not None
    partner = {
        a: b for f in faults.faults for s in f.single() if s.mode is Mode.SWAPPED for a, b in (s.parts, s.parts[::-1])
    }
    for output in scheme.outputs:
        owner = partner.get(output, output)
        broken = any(s.mode is Mode.WIRE_BROKEN and owner in s.parts for f in faults.faults for s in f.single())
        found[Sight(SightKind.DEVICE, output)] = seen.closed[owner] and not broken
    return found


def scan_by_scan(bench: Bench, engine: Engine, position: Position, press: int | None, scans: int) -> Iterator[Seen]:
    """So many scans, each by itself; a button is on for the first."""
    for n in range(scans):
        yield engine.scan(bench.world(position, press if n == 0 else None))


Key = tuple[bool, bool, int, int, int]  # a meter; powered up; seconds; a path before what is told of it; scans


def best_of(stimuli: Stimuli, fault: Fault, steps: int, look: int) -> Key | None:
    """The best test of exactly so many steps: every sequence of changes tried, nothing merged, nothing left out."""
    keys: list[Key] = []
    healthy = Bench(stimuli)
    faulty = Bench(stimuli, fault)
    for start in starts(fault):
        if start is Start.REST:
            others = {how: faulty.at_rest(how) for how in comings(stimuli, fault)}
            begun = [healthy.at_rest(HEALTHY), *(e for e in others.values() if not _shows(healthy, faulty, e, look))]
            begun = begun if len(begun) > 1 else [begun[0], *others.values()]
        else:
            begun = [healthy.engine(), faulty.engine()]
        for changes in _sequences(stimuli, start, steps):
            keys += _tried(stimuli, healthy, faulty, [e.twin() for e in begun], start, changes, look)
    return min(keys, default=None)


def _shows(healthy: Bench, faulty: Bench, other: Engine, look: int) -> bool:
    return bool(_told_apart([healthy, faulty], [healthy.at_rest(HEALTHY), other.twin()], None, look))


def _sequences(stimuli: Stimuli, start: Start, steps: int) -> Iterator[tuple[Change, ...]]:
    first = [Change(), *stimuli.changes] if start is Start.POWER_UP else list(stimuli.changes)
    yield from product(first, *[stimuli.changes] * (steps - 1))


def _tried(
    stimuli: Stimuli,
    healthy: Bench,
    faulty: Bench,
    engines: list[Engine],
    start: Start,
    changes: Sequence[Change],
    look: int,
) -> Iterator[Key]:
    benches = [healthy, *[faulty] * (len(engines) - 1)]
    position, waited = stimuli.rest, 0
    for i, change in enumerate(changes):
        after = position if change == Change() else change.to(position)
        if after is None or not stimuli.sure(after, range(len(after.sensors))):
            return
        position = after
        if i < len(changes) - 1:
            try:
                waited += max(b.settle(e, position, change.press) for b, e in zip(benches, engines, strict=True))
            except RestlessError:
                return
    found = _told_apart(benches, engines, (position, changes[-1].press), look)
    for sight, scans in found.items():
        second = -(-1_000_000 // stimuli.scheme.scan_us)
        total = waited + scans
        meter, told = sight.kind is SightKind.DEVICE, sight.kind is not SightKind.PATH
        yield (meter, start is Start.POWER_UP, -(-total // second), told + meter, total)


def _told_apart(
    benches: Sequence[Bench], engines: Sequence[Engine], step: tuple[Position, int | None] | None, look: int
) -> dict[Sight, int]:
    """The sights by which all others are told from the first for `look` scans more, each with its first scan; a step
    None looks at rest, at the first scan only."""
    scheme = benches[0].stimuli.scheme
    position, press = step or (benches[0].stimuli.rest, None)
    rows = [_row(b, e, position, press, look) for b, e in zip(benches, engines, strict=True)]
    length = max(map(len, rows))
    rows = [row + [row[-1]] * (length - len(row)) for row in rows]
    found: dict[Sight, int] = {}
    for sight in sights(scheme):
        apart: list[bool | None] = []
        for at in zip(*rows, strict=True):
            first, *rest = (now[sight] for now in at)
            apart.append(first if first is not None and all(r is (not first) for r in rest) else None)
        for scan in range(len(apart) if step else 1):
            held = apart[scan : scan + look + 1]
            if held[0] is not None and set(held) == {held[0]}:
                found[sight] = scan + 1
                break
    return found


def _row(
    bench: Bench, engine: Engine, position: Position, press: int | None, look: int
) -> list[dict[Sight, bool | None]]:
    """What is seen at each scan until nothing changes any more, and `look` scans more."""
    scheme, faults = bench.stimuli.scheme, FaultSet.of(bench.singles)
    row: list[dict[Sight, bool | None]] = []
    if press is not None:
        row.append(what_is_seen(scheme, engine.scan(bench.world(position, press)), faults))
    for stretched, (seen, scans) in enumerate(stretches(engine, bench.world(position), 1 << 40, settle=True)):
        row += [what_is_seen(scheme, seen, faults)] * scans
        if stretched > PATIENCE:
            raise RestlessError
    return row + [row[-1]] * (look + 1)
