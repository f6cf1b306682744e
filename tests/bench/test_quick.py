"""Long waits in few scans leave what the same scans one by one leave."""

from __future__ import annotations

import random

import pytest

from interlock.bench.quick import Quick
from interlock.bench.setting import way_to_rest
from interlock.bench.tables import installation
from interlock.logic.compiled import OneScenario, inputs_of
from interlock.logic.program import Observe
from interlock.logic.scan import World
from interlock.records import replace
from interlock.scheme.words import LineForm
from tests.bench.driver import demo
from tests.support.random_worlds import critical_values

MOST = 2500  # scans of one wait


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_a_wait_ends_as_its_scans_one_by_one_do(name: str) -> None:
    scheme, rng = demo(name), random.Random(name)
    program, faults = installation(scheme)
    critical = critical_values(scheme)
    quick, slow = Quick(program), OneScenario(program)
    external = [n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL]
    world = World({n: rng.choice(critical[n]) for n in scheme.sensors})
    done = 0
    for _ in range(24):
        readings = {**world.readings, **{n: rng.choice(critical[n]) for n in rng.sample(list(scheme.sensors), 1)}}
        lines = {n: rng.random() < 0.5 for n in external}
        planted = frozenset(rng.sample(faults, rng.choice([0, 0, 1]))) if rng.random() < 0.5 else world.faults
        world = replace(world, readings=readings, lines=lines, faults=planted)
        given, scans = inputs_of(program, world), rng.choice([1, 2, 3, rng.randint(4, MOST)])
        told = quick.wait(given, scans)
        for _ in range(scans):
            expected = slow.scan(given)
        assert (told, quick.state) == (expected, slow.state), (scans, world)
        done += scans
    assert done > 5000


def test_what_has_settled_does_not_change_any_more() -> None:
    scheme = demo("survey_launch")
    program, _ = installation(scheme)
    quick = Quick(program)
    given = inputs_of(program, World({n: s.valid.low + 10**6 for n, s in scheme.sensors.items()}))
    scans = quick.settle(given, 100_000)
    assert 10 < scans < 100_000
    state = quick.state
    quick.wait(given, 5)
    assert quick.state == state


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_what_changes_changes_at_the_scan_that_is_told(name: str) -> None:
    """A pack that turns cold and empty at rest: nothing but timers moves between the scans that are run one by one."""
    scheme = demo(name)
    program, _ = installation(scheme)
    kept = [i for i, o in enumerate(program.observations) if o.kind is not Observe.LEVEL]
    given = inputs_of(program, World({n: s.valid.low + 10**6 for n, s in scheme.sensors.items()}))
    quick, _, _ = way_to_rest(scheme, program)
    slow, now = OneScenario(program), None
    slow.state = quick.state
    events = {at: [told[i] for i in kept] for at, told in quick.events(given, 100_000)}
    for scan in range(1, max(events) + 1):
        told = slow.scan(given)
        before, now = now, [told[i] for i in kept]
        assert events.get(scan, now) == now, scan
        assert scan in events or now == before, scan
