"""Random inputs for a scheme: worlds biased to where things change, and fault sets from its catalogue."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Mapping, Sequence

from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.scan import World
from interlock.scheme.model import Fault, Limit, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.words import LineForm, Mode, Signal


def split_faults(faults: Sequence[Fault]) -> tuple[frozenset[Fault], tuple[tuple[Fault, ...], ...]]:
    """Mistakes of installation, there from power-up; and what arises in service, one entry for each fault of the set
    (the members of a common cause that arise in service come at one and the same scan). Power cycles are in neither:
    they are in `cycled_units`."""
    installed: set[Fault] = set()
    arising: list[tuple[Fault, ...]] = []
    for fault in faults:
        installed.update(single for single in fault.single() if single.mode.installation)
        later = tuple(s for s in fault.single() if not s.mode.installation and s.mode is not Mode.POWER_CYCLED)
        if later:
            arising.append(later)
    return frozenset(installed), tuple(arising)


def cycled_units(faults: Sequence[Fault]) -> tuple[str, ...]:
    """The units that the fault set lets power-cycle at any scan."""
    singles = [single for fault in faults for single in fault.single()]
    return tuple(dict.fromkeys(part for s in singles if s.mode is Mode.POWER_CYCLED for part in s.parts))


def random_fault_set(rng: random.Random, scheme: Scheme, size: int) -> tuple[Fault, ...]:
    """`size` different faults of the scheme's catalogue (fewer when it has fewer) that have a meaning together: swaps
    share no part and close no loop of rules."""
    names = list(scheme.faults)
    rng.shuffle(names)
    return _fitting(scheme, (scheme.faults[name] for name in names), size)


def _fitting(scheme: Scheme, faults: Iterable[Fault], size: int) -> tuple[Fault, ...]:
    """The first `size` faults that have a meaning together."""
    chosen: list[Fault] = []
    for fault in faults:
        if len(chosen) == size:
            break
        trial = [*chosen, fault]
        try:
            scan_order(scheme, FaultSet.of(single for fault in trial for single in fault.single()))
        except (LoopError, ValueError):
            continue
        chosen = trial
    return tuple(chosen)


def even_fault_set(rng: random.Random, scheme: Scheme, size: int, kind: str = "") -> tuple[Fault, ...]:
    """The same with kinds of fault drawn evenly: a catalogue holds more swaps and wires than units. `kind`: one of them
    that must be there ("sensor stuck"; empty where the scheme has none)."""
    kinds: dict[str, list[Fault]] = {}
    for fault in scheme.faults.values():
        kinds.setdefault("together" if fault.together else f"{fault.part} {fault.mode}", []).append(fault)
    order = rng.sample(sorted(kinds), len(kinds))
    if kind:
        if kind not in kinds:
            return ()
        order.sort(key=lambda k: k != kind)
    return _fitting(scheme, (rng.choice(kinds[k]) for k in order), size)


Critical = Mapping[str, Sequence[int]]  # for each sensor, the values at which something changes, in millionths


def critical_values(scheme: Scheme) -> Critical:
    """For each sensor: thresholds on it or on what it is combined into, its valid bounds, and the limits that
    requirements set to what it measures."""
    return {name: _values_of(scheme, name) for name in scheme.sensors}


def _values_of(scheme: Scheme, sensor: str) -> tuple[int, ...]:
    own = scheme.sensors[sensor]
    combined = {name for name, reading in scheme.readings.items() if sensor in reading.sensors}
    values = {own.valid.low, own.valid.high}
    for rule in scheme.rules.values():
        if rule.watched == sensor or rule.watched in combined:
            values.update(t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit))
    measured = {error.quantity for error in own.measures}
    for claim in scheme.claims:
        for condition in claim.all_conditions():
            if condition.signal is Signal.QUANTITY and condition.name in measured and isinstance(condition.test, Limit):
                values.add(condition.test.value)
    return tuple(sorted(values))


def random_reading(rng: random.Random, values: Sequence[int]) -> int:
    """An element's value in millionths: mostly at a critical value, one millionth beside it, or a little way off."""
    middle = rng.choice(values)
    match rng.randrange(6):
        case 0 | 1:
            return middle + rng.choice([-1, 0, 1])
        case 2 | 3:
            return middle + rng.choice([-1, 1]) * rng.randint(1, max(1, (values[-1] - values[0]) // 8))
        case 4:
            return (middle + rng.choice(values)) // 2
        case _:
            return rng.randint(values[0] - 10_000_000, values[-1] + 10_000_000)


def random_world(
    rng: random.Random,
    scheme: Scheme,
    faults: frozenset[Fault] = frozenset(),
    before: World | None = None,
    *,
    cycles: Sequence[str] = (),
    keep: float = 0.7,
    critical: Critical | None = None,
) -> World:
    """One scan's world. What `before` had is kept with the chance `keep` for each sensor and line, so that delays run
    out. `faults` are the service faults present at this scan. Each unit of `cycles` is power-cycled now and then.
    `critical`: what `critical_values(scheme)` gave, to save its cost."""
    critical = critical or critical_values(scheme)
    readings = {
        name: before.readings[name]
        if before is not None and name in before.readings and rng.random() < keep
        else random_reading(rng, critical[name])
        for name in scheme.sensors
    }
    lines = {
        name: before.lines[name]
        if before is not None and name in before.lines and rng.random() < keep
        else rng.random() < 0.5
        for name, line in scheme.lines.items()
        if line.form is LineForm.EXTERNAL
    }
    return World(readings, lines, faults, frozenset(unit for unit in cycles if rng.random() < 0.05))


def random_worlds(rng: random.Random, scheme: Scheme, faults: Sequence[Fault], scans: int) -> Iterator[World]:
    """A run of worlds under a fault set: each service fault arises at a random scan of the first two thirds, and stays.
    The mistakes of installation in the set are for the engine's `installed` (see `split_faults`)."""
    _, arising = split_faults(faults)
    onsets = [rng.randrange(max(1, scans * 2 // 3)) for _ in arising]
    cycles = cycled_units(faults)
    keep = rng.choice([0.5, 0.8, 0.9])
    critical = critical_values(scheme)
    world: World | None = None
    for scan in range(scans):
        present = frozenset(f for onset, group in zip(onsets, arising, strict=True) if scan >= onset for f in group)
        world = random_world(rng, scheme, present, world, cycles=cycles, keep=keep, critical=critical)
        yield world
