"""Long stretches in few steps are the same as every scan on its own: random schemes, faults and power cycles."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from interlock.logic.scan import LONG_AGO, Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import loads
from tests.support.bench import BENCH, edited
from tests.support.random_schemes import BROAD, LONG, SMALL, Profile, random_scheme_text
from tests.support.random_worlds import (
    critical_values,
    cycled_units,
    random_fault_set,
    random_world,
    split_faults,
)

Segment = tuple[World, int]


def segments(rng: random.Random, scheme: Scheme, faults: tuple[Fault, ...], longest: int) -> Iterator[Segment]:
    """Worlds and how long each stays: mostly short, now and then beyond every delay. Faults come, and some go again."""
    _, arising = split_faults(faults)
    cycles, critical = cycled_units(faults), critical_values(scheme)
    here: set[int] = set()
    world: World | None = None
    for _ in range(12):
        for i in range(len(arising)):
            if rng.random() < 0.25:
                here ^= {i}
        present = frozenset(f for i in sorted(here) for f in arising[i])
        world = random_world(rng, scheme, present, world, keep=0.8, critical=critical)
        scans = rng.choice([1, 2, 3, 5, rng.randint(1, 30), rng.randint(1, longest)])
        if cycles and rng.random() < 0.2:
            yield World(world.readings, world.lines, present, frozenset(rng.sample(cycles, 1))), 1
        yield world, scans


def memory(engine: Engine) -> dict[str, object]:
    """All that the engine leaves to the next scan. Counters of scans long past what they decide are cut off there."""
    outputs = engine.scheme.outputs
    return {
        "machines": {n: (m.state, m.timer) for n, m in engine.machines.items()},
        "override": dict(engine.override),
        "stuck": dict(engine.stuck),
        "seen_off": dict(engine.seen_off),
        "sent": dict(engine.sent),
        "on": dict(engine.on),
        "energised": dict(engine.energised),
        "closed": dict(engine.closed),
        "commanded": dict(engine.commanded),
        "since_run": {n: min(engine.since_run[n], o.stops_within.scans + 1) for n, o in outputs.items()},
        "since_stop": {n: min(engine.since_stop[n], o.starts_within.scans + 1) for n, o in outputs.items()},
    }


def told(seen: Seen) -> tuple[object, ...]:
    """All that a stretch promises to hold for each of its scans: everything but timers."""
    return (
        seen.readings,
        seen.lines,
        {name: state for name, (state, _) in seen.states.items()},
        seen.in_force,
        seen.on,
        seen.closed,
        seen.may_run,
        seen.may_stop,
        seen.alarms,
    )


@pytest.mark.parametrize(("profile", "schemes", "longest"), [(SMALL, 100, 60), (BROAD, 40, 60), (LONG, 12, 4000)])
def test_stretches_equal_plain_stepping_on_random_schemes(profile: Profile, schemes: int, longest: int) -> None:
    """Every scan seen the same, and the engine left the same, whatever the faults."""
    rng = random.Random(f"stretches {profile.name}")
    scans = steps = 0
    for number in range(schemes):
        scheme = loads(random_scheme_text(rng, profile))
        faults = random_fault_set(rng, scheme, rng.choice([0, 1, 2, 3]))
        installed, _ = split_faults(faults)
        attended = rng.random() < 0.3
        quick = Engine(scheme, installed, attended=attended)
        plain = Engine(scheme, installed, attended=attended)
        for world, long in segments(rng, scheme, faults, longest):
            done = 0
            for seen, lasted in stretches(quick, world, long):
                for _ in range(lasted):
                    assert told(plain.scan(world)) == told(seen), (profile.name, number)
                done += lasted
                steps += 1
            assert done == long
            scans += long
            assert memory(quick) == memory(plain), (profile.name, number)
    print(f"{profile.name}: {scans} scans in {steps} steps, {schemes} schemes")
    assert scans > 2 * steps  # it skips: most scans are never run one by one


def test_a_sensor_that_sticks_while_nothing_else_moves_is_stepped_over() -> None:
    """Its age starts to count although no rule sees any difference."""
    scheme = loads(BENCH)
    world = World({"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000})
    stuck = World(world.readings, {}, frozenset([scheme.faults["probe.stuck"]]))
    engine = Engine(scheme, attended=True)
    list(stretches(engine, world, 10_000))
    lasted = [n for _, n in stretches(engine, stuck, 10_000)]
    assert sum(lasted) == 10_000
    assert len(lasted) <= 3
    assert engine.stuck["probe"] == (20_000_000, 9_999)


def test_a_mended_unit_starts_its_timers_again_in_one_scan_only() -> None:
    """The scan in which a unit comes back differs from all that follow, though no state changes in it."""
    text = edited(
        ("clears: on for 1 s, blocks: sources}", "clears: on for 1 s, blocks: sources, power_up: as_left}"),
        ("clears: on for 1 s, blocks: loads}", "clears: on for 1 s, blocks: loads, power_up: as_left}"),
        ("5 degC for 60 s, blocks: sources}", "5 degC for 60 s, blocks: sources, power_up: as_left}"),
        ("below 45 degC for 5 min, blocks: all,", "below 45 degC for 5 min, blocks: all, power_up: as_left,"),
        ("reset: manual, reset_by: reset_button, ", ""),
    )
    scheme = loads(text)
    world = World({"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000})
    dead = World(world.readings, {}, frozenset([scheme.faults["board.dead"]]))
    quick, plain = Engine(scheme), Engine(scheme)
    for now, scans in ((world, 700), (dead, 20), (world, 40)):
        for _ in stretches(quick, now, scans):
            pass
        for _ in range(scans):
            plain.scan(now)
    assert memory(quick) == memory(plain)


def test_settling_ends_where_nothing_can_change_any_more() -> None:
    """It takes as long as the longest delay under way, and afterwards the world may stay for ever."""
    scheme = loads(BENCH)
    world = World({"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000})
    engine = Engine(scheme, attended=True)
    taken = sum(lasted for _, lasted in stretches(engine, world, 1 << 40, settle=True))
    assert 3_000 < taken < 3_010  # the 5 min of hot_stop, and a few scans to see that all is still
    before = memory(engine)
    for _ in range(3_000):
        engine.scan(world)
    assert memory(engine) == before
    assert engine.since_run["K1"] == 0
    assert engine.since_stop["K1"] < LONG_AGO
