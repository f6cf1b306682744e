"""On random schemes: every test replayed by hand, no sight differs that is said to be alike, harmless is harmless."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.faults.harmless import harmless
from interlock.logic.compiled import OneScenario, compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.logic.many import TooLargeError
from interlock.plan import proof_test
from interlock.plan.beginnings import Start, worlds_of
from interlock.plan.columns import Installation, play
from interlock.plan.proof_test import ProofTest, ProofTests, proof_tests
from interlock.plan.reach import touched
from interlock.plan.sights import SightKind, observed, sights
from interlock.plan.stimuli import LOOK_US, Position, Stimuli
from interlock.proof.index import Index
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.truth import Bounds, closed, declared_bounds, merged, reading_bounds, tighten
from tests.plan.by_hand import HEALTHY, Bench, scan_by_scan, what_is_seen
from tests.plan.test_shortest import COUNTERS
from tests.support.bench import edited
from tests.support.random_schemes import SMALL, TINY, random_scheme_text
from tests.support.random_worlds import random_world, split_faults

SEEDS = range(12)


def schemes(seed: int) -> Scheme:
    return loads(random_scheme_text(random.Random(seed), SMALL if seed % 3 else TINY), f"random {seed}")


def found_for(seed: int) -> tuple[Scheme, ProofTests]:
    scheme = schemes(seed)
    rng = random.Random(seed)
    faults = rng.sample(list(scheme.faults.values()), min(14, len(scheme.faults)))
    try:
        return scheme, proof_tests(scheme, faults, steps=2, most=3000)
    except TooLargeError:
        pytest.skip("numbers too large for arrays")


def shown(scheme: Scheme, found: ProofTests, test: ProofTest, off: int) -> None:
    """The test carried out scan by scan: the sight is as it is said for three seconds on end."""
    look = -(-LOOK_US // scheme.scan_us)
    fault = scheme.faults[test.fault]
    benches = [(Bench(found.stimuli, None, off), HEALTHY)] + [
        (Bench(found.stimuli, fault, off), h) for h in test.coming
    ]
    for bench, coming in benches:
        engine = bench.at_rest(coming) if test.start is Start.REST else bench.engine()
        position, seen = found.stimuli.rest, []
        for i, move in enumerate(test.moves):
            position = move.change.to(position) or position
            more = look if i == len(test.moves) - 1 else 0
            ran = list(scan_by_scan(bench, engine, position, move.change.press, move.scans + more))
            seen = ran[move.scans - 1 :]
        seen = seen or list(scan_by_scan(bench, engine, position, None, look))
        wanted = test.healthy if bench.fault is None else not test.healthy
        for one in seen:
            assert what_is_seen(scheme, one, FaultSet.of(bench.singles))[test.sight] is wanted, test


@pytest.mark.parametrize("seed", SEEDS)
def test_every_test_found_shows_its_fault_when_carried_out_scan_by_scan(seed: int) -> None:
    scheme, found = found_for(seed)
    kinds: Counter[str] = Counter()
    for test in found.tests.values():
        kinds[f"{test.start} {len(test.moves)}"] += 1
        if sum(move.scans for move in test.moves) < 20_000:
            for off in (-1, 1):
                shown(scheme, found, test, off)
    print(dict(kinds), len(found.searched), len(found.alike))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_search_finds_a_test_of_what_is_proved_to_have_none(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    scheme, found = found_for(seed)
    proved = [scheme.faults[name] for name in (*found.alike, *found.briefly)]
    monkeypatch.setattr(proof_test, "touched", lambda _one, _other, looked_at, _faults: looked_at)
    monkeypatch.setattr(proof_test._Planner, "_brief", lambda _self, _fault: None)
    searched = proof_tests(scheme, proved, steps=3, most=3000)
    assert not searched.tests
    print(len(proved), len(searched.searched))


@pytest.mark.parametrize("seed", SEEDS)
def test_sights_that_a_fault_is_said_not_to_touch_never_differ(seed: int) -> None:
    scheme, rng = schemes(seed), random.Random(seed)
    every = sights(scheme)
    healthy = compile_scheme(scheme)
    for fault in rng.sample(list(scheme.faults.values()), min(12, len(scheme.faults))):
        faults = FaultSet.of(fault.single())
        same = set(every) - set(touched(healthy, compile_scheme(scheme, [fault]), every, faults))
        installed, arising = split_faults([fault])
        benches = Bench(Stimuli(scheme)).engine(), Bench(Stimuli(scheme), fault).engine()
        arises, world = rng.randrange(5), None
        for scan in range(60):
            world = random_world(rng, scheme, frozenset(), world)
            later = frozenset(f for group in arising for f in group) if scan >= arises else frozenset()
            seen = benches[0].scan(world), benches[1].scan(type(world)(world.readings, world.lines, later))
            now = [what_is_seen(scheme, s, f) for s, f in zip(seen, (FaultSet(), faults), strict=True)]
            for sight in same:
                if sight.kind is SightKind.DEVICE and scan < arises and faults.faults - installed:
                    continue  # a wire not yet broken
                assert now[0][sight] is now[1][sight], (fault.name, sight)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_step_in_jumps_is_the_same_step_scan_by_scan(seed: int) -> None:
    scheme, rng = schemes(seed), random.Random(seed)
    stimuli, every = Stimuli(scheme), sights(scheme)
    compiled = compile_scheme(scheme)
    try:
        there = Installation(scheme, FaultSet(), compiled, every, stimuli.external)
    except TooLargeError:
        pytest.skip("numbers too large for arrays")
    program = compiled.restricted(observed(every, FaultSet()))
    one, state, position = OneScenario(program), there.started(1), stimuli.rest
    for _ in range(12):
        change = rng.choice(stimuli.changes)
        position = change.to(position) or position
        press = change.press if change.press is not None and not position.lines[change.press] else None
        played = play([there], [state], worlds_of(stimuli, [position], [press]), 3, [True])
        scans = int(played.scans[0])
        if scans < 0 or scans > 5000:
            break
        bench = Bench(stimuli)
        for n in range(scans):
            before = one.state
            world = bench.world(position, press if n == 0 else None)
            one.scan([_given(i.kind.value, i.name, world.readings, world.lines) for i in program.inputs])
        after = one.state
        assert [int(a[0]) for a in played.states[0]] == [int(v) for v in after]
        one.scan([_given(i.kind.value, i.name, *_steady(bench, position)) for i in program.inputs])
        assert one.state == after  # at rest
        if scans > 1:
            assert before != after  # and not a scan before
        state = played.states[0]


STALE = ("  high_tap: {measures", "  high_tap: {stale_after: 5 s, measures")


@pytest.mark.parametrize("seed", [-1, *SEEDS])
def test_nothing_seen_changes_while_only_counters_are_said_to_move(seed: int) -> None:
    """On random schemes, and on the bench with an override, a slow contactor and a stuck tap that goes stale (-1)."""
    scheme = schemes(seed) if seed >= 0 else loads(edited(*COUNTERS, STALE), "bench.yaml")
    faults = [scheme.faults["high_tap.stuck"]] if seed < 0 else []
    rng, stimuli, every = random.Random(seed), Stimuli(scheme), sights(scheme)
    there = Installation(scheme, FaultSet.of(faults), compile_scheme(scheme, faults), every, stimuli.external)
    state, position, skipped = there.started(1), stimuli.rest, 0
    for _ in range(25 if seed >= 0 else 60):
        position = rng.choice(stimuli.changes).to(position) or position
        worlds = worlds_of(stimuli, [position], [None])
        quiet, shown, present = 0, "", rng.random() < 0.8
        for scan in range(rng.choice([3, 10, 60, 700])):
            before = state
            state, observations = there.scan(before, worlds, first=scan == 0, present=present)
            now = str([a.tolist() for a in there.look(observations)])
            assert not quiet or now == shown, (seed, scan)
            quiet, shown = max(quiet - 1, int(there.room(before, state)[0]) if scan else 0), now
            skipped += quiet > 0
    assert skipped


def _steady(bench: Bench, position: Position) -> tuple[dict[str, int], dict[str, bool]]:
    world = bench.world(position)
    return dict(world.readings), dict(world.lines)


def _given(kind: str, name: str, readings: object, lines: object) -> int:
    assert isinstance(readings, dict)
    assert isinstance(lines, dict)
    return int(readings[name] if kind == "element" else lines[name])


def possible(scheme: Scheme, stimuli: Stimuli, position: Position) -> bool:
    """Whether some truth within spans and ties has all these readings: only of such worlds is harmless proved."""
    systems: list[Bounds] = [declared_bounds(scheme.quantities)]
    for sensor, applied in zip(scheme.sensors.values(), stimuli.applied(position), strict=True):
        if applied.how is not None:
            return False
        bounds = reading_bounds(sensor.measures)
        for error in sensor.measures:
            tighten(bounds, error.quantity, "", applied.value - error.interval.low)
            tighten(bounds, "", error.quantity, error.interval.high - applied.value)
        systems.append(bounds)
    return closed(merged(*systems)) is not None


@pytest.mark.parametrize("seed", range(30))
def test_no_path_tells_a_fault_that_is_proved_harmless(seed: int) -> None:
    scheme = schemes(seed)
    proved = sorted(harmless(Index(scheme)))
    try:
        found = proof_tests(scheme, [scheme.faults[n] for n in proved[:8]], steps=2, most=2000)
    except TooLargeError:
        pytest.skip("numbers too large for arrays")
    for test in found.tests.values():
        position, real = found.stimuli.rest, True
        for move in test.moves:
            position = move.change.to(position) or position
            real = real and possible(scheme, found.stimuli, position)
        if real and possible(scheme, found.stimuli, found.stimuli.rest):
            assert test.sight.kind is not SightKind.PATH, test
