"""Many installations side by side, each with something else wrong, against the readable engine scan by scan."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.many import TooLargeError
from interlock.logic.program import Setting
from interlock.logic.scan import Engine, World
from interlock.plan.predict import stands
from interlock.plan.sights import Sight, seen, sights
from interlock.plan.stand import Columns, Given, Stand
from interlock.plan.wrong import Slip, Wrong, usual, with_slips
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import load, loads
from tests.support.random_schemes import SMALL, TINY, random_fault_set, random_scheme_text
from tests.support.random_worlds import random_world, split_faults

RULES = Path(__file__).parents[2] / "rules"
COLUMNS = 12
PHASES = 4


def random_slips(rng: random.Random, scheme: Scheme) -> list[Slip]:
    """One setting or two of which each is another than the scheme has."""
    found: list[Slip] = []
    for rule in rng.sample(list(scheme.rules.values()), min(2, len(scheme.rules))):
        setting = rng.choice(list(Setting))
        value = usual(rule, setting)
        if value is not None:
            unit = 1_000_000 if setting in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT) else 1
            other = value + rng.choice([-3, -2, -1, 1, 2, 5]) * unit
            other = other if unit > 1 else max(0, other)
            if other != value:
                found.append(Slip(rule.name, setting, other, other > value))
    return found


def random_sets(rng: random.Random, scheme: Scheme) -> list[tuple[Wrong, ...]]:
    sets: list[tuple[Wrong, ...]] = [()]
    while len(sets) < COLUMNS:
        faults = random_fault_set(rng, scheme, rng.randrange(3))
        slips = random_slips(rng, scheme) if rng.random() < 0.6 else []
        sets.append((*faults, *slips))
    return sets


class Told:
    """One installation on the readable engine."""

    def __init__(self, scheme: Scheme, wrongs: Sequence[Wrong]) -> None:
        slips = [w for w in wrongs if isinstance(w, Slip)]
        faults = [w for w in wrongs if isinstance(w, Fault)]
        self.faults = FaultSet.of(s for f in faults for s in f.single())
        installed, arising = split_faults(faults)
        self.present = frozenset(f for group in arising for f in group)
        self.engine = Engine(with_slips(scheme, slips), installed)

    def look(self, world: World, looked_at: Sequence[Sight]) -> list[bool | None]:
        """One scan."""
        scan = self.engine.scan(World(world.readings, world.lines, self.present))
        return [seen(sight, scan, self.faults) for sight in looked_at]


def compare(scheme: Scheme, rng: random.Random, longest: int) -> int:
    """Phases of random length with random windows; how many values were compared."""
    looked_at, sets = sights(scheme), random_sets(rng, scheme)
    compared = 0
    for stand, members in stands(scheme, sets, looked_at):
        columns = stand.columns([sets[i] for i in members])
        told = [Told(scheme, sets[i]) for i in members]
        world: World | None = None
        for _ in range(PHASES):
            world = random_world(rng, scheme, frozenset(), world)
            columns = phase(stand, columns, told, world, rng, longest)
            compared += 3 * len(members) * len(looked_at)
    return compared


def phase(stand: Stand, columns: Columns, told: list[Told], world: World, rng: random.Random, longest: int) -> Columns:
    scheme, count = stand.scheme, len(told)
    readings = np.array([[world.readings[n] for n in scheme.sensors]] * count, np.int64).reshape(count, -1)
    lines = np.array([[bool(world.lines.get(n)) for n in stand.external]] * count, bool).reshape(count, -1)
    pressed = np.zeros_like(lines)
    button = rng.randrange(len(stand.external)) if stand.external and rng.random() < 0.5 else None
    if button is not None:
        pressed[:, button] = True
    scans, held = rng.randrange(2, longest), rng.randrange(1, 3)
    firsts = [rng.randrange(1, scans + 1) for _ in range(3)]
    windows = [(first, min(scans, first + rng.randrange(4))) for first in firsts]
    given = Given(readings, lines, pressed, held)
    after, looks, settled = stand.phase(columns, given, scans, windows)
    early = rng.randrange(1, scans + 1)
    left = stand.phase(columns, given, scans, windows, left_at=early)[0]
    shorter = stand.phase(columns, given, early, [])[0]
    assert all((a == b)[~shorter.lost].all() for a, b in zip(left.state, shorter.state, strict=True))
    for column, one in enumerate(told):
        rows = []
        for scan in range(scans):
            on = dict(world.lines)
            if button is not None and scan < held:
                on[stand.external[button]] = True
            rows.append(one.look(World(world.readings, on), stand.looked_at))
        for w, (first, last) in enumerate(windows):
            for s in range(len(stand.looked_at)):
                values = {row[s] for row in rows[first - 1 : last]}
                assert looks.true[w, column, s] == bool(values & {True, None}), (
                    stand.looked_at[s],
                    column,
                    first,
                    last,
                )
                assert looks.false[w, column, s] == bool(values & {False, None}), (stand.looked_at[s], column)
        if settled[column] >= 0:
            assert all(row == rows[-1] for row in rows[settled[column] :])
    return after


@pytest.mark.parametrize("seed", range(24))
def test_installations_side_by_side_are_seen_as_the_readable_engine_shows_each(seed: int) -> None:
    rng = random.Random(seed)
    scheme = loads(random_scheme_text(rng, SMALL if seed % 3 else TINY), f"random {seed}")
    try:
        compared = compare(scheme, rng, 25)
    except TooLargeError:
        pytest.skip("numbers too large for arrays")
    assert compared > 0


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_the_demo_schemes_are_seen_as_the_readable_engine_shows_them(name: str) -> None:
    scheme = load(RULES / f"{name}.yaml")
    assert compare(scheme, random.Random(name), 120) > 3_000


def test_exchanged_lines_that_no_common_order_serves_stand_apart() -> None:
    for seed in range(40):
        scheme = loads(random_scheme_text(random.Random(seed), SMALL), f"random {seed}")
        sets: list[tuple[Wrong, ...]] = [(f,) for f in scheme.faults.values()]
        members = [m for _, numbers in stands(scheme, sets, sights(scheme)) for m in numbers]
        assert sorted(members) == list(range(len(sets)))
        for fault in scheme.faults.values():  # each has an order of its own
            try:
                scan_order(scheme, FaultSet.of(fault.single()))
            except LoopError:
                pytest.fail(f"{fault.name} has no meaning")
