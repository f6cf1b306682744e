"""The brute force judged first: against figures worked by hand, and its scan against the readable engine."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.logic.scan import Engine
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Mode
from tests.support.brute_scan import Resets
from tests.support.brute_walk import Walk
from tests.support.random_schemes import BROAD, SMALL, TINY, Profile, random_fault_set, random_scheme_text, random_world
from tests.support.random_worlds import critical_values


def compare(scheme: Scheme, faults: tuple[Fault, ...], rng: random.Random, scans: int, *, attended: bool) -> int:
    """Run both on the same worlds; every difference is an error. Returns how many scans ran."""
    walk = Walk(scheme, faults, Resets.GIVEN if attended else Resets.FREE)
    engine = Engine(scheme, walk.plan.installed, attended=attended)
    onsets = [rng.randrange(scans) for _ in walk.plan.arising]
    critical, world = critical_values(scheme), None
    keep = rng.choice([0.5, 0.8, 0.9])
    for scan in range(scans):
        arisen = sum(1 << i for i, onset in enumerate(onsets) if scan >= onset)
        present = frozenset(f for i, entry in enumerate(walk.plan.arising) if arisen >> i & 1 for f in entry)
        world = random_world(rng, scheme, present, world, cycles=walk.plan.cycled, keep=keep, critical=critical)
        seen = engine.scan(world)
        outcome = walk.scan(dict(world.readings), dict(world.lines), arisen, tuple(world.cycles))
        where = f"scan {scan} of {scans}, faults {[f.name for f in faults]}, onsets {onsets}"
        states = {name: walk.machine(outcome, name) for name in seen.states}
        assert states == dict(seen.states), where
        for told, found in (
            (seen.lines, outcome.line_truth),
            (seen.may_run, outcome.may_run),
            (seen.may_stop, outcome.may_stop),
            (seen.on, outcome.on),
        ):
            assert {name: bool(value.any()) for name, value in found.items()} == dict(told), where
        still = {u for u in scheme.units for mode in (Mode.DEAD, Mode.FROZEN) if engine.faults.has(mode, u)}
        in_force = {n for n, value in outcome.in_force.items() if value.any() and scheme.rules[n].unit not in still}
        assert in_force == {n for n in seen.in_force if scheme.rules[n].unit not in still}, where
    return scans


@pytest.mark.parametrize("profile", [TINY, SMALL, BROAD], ids=lambda p: str(p.name))
def test_its_scan_and_the_readable_engine_agree_on_random_schemes(profile: Profile) -> None:
    rng = random.Random(f"scan {profile.name}")
    modes: Counter[str] = Counter()
    scans = 0
    for _ in range(60):
        scheme = loads(random_scheme_text(rng, profile), "random")
        for size in (0, 1, 1, 2, 3):
            faults = random_fault_set(rng, scheme, size)
            modes.update(str(single.mode) for fault in faults for single in fault.single())
            scans += compare(scheme, faults, rng, 40, attended=rng.random() < 0.3)
    print(f"{profile.name}: {scans} scans; {dict(sorted(modes.items()))}")
    if profile is BROAD:
        assert set(modes) == {str(mode) for mode in Mode}
