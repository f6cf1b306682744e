"""The brute force judged first: figures worked by hand, its scan against the readable engine, its two ways from truths
to readings against each other, its worst runs replayed, and random runs that may never be worse."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

import pytest

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, World
from interlock.scheme.model import Claim, Fault, Limit, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import LineForm, Mode, State
from tests.support.brute import BruteVerdict, Options, Search, judge
from tests.support.brute_margins import limit_step, margins
from tests.support.brute_parts import OutOfReach, Plan
from tests.support.brute_readings import Atom, Element, Fixed, Inputs, Live
from tests.support.brute_scan import Resets
from tests.support.brute_story import worst_run
from tests.support.brute_truth import Observations
from tests.support.brute_walk import Walk
from tests.support.random_schemes import (
    BROAD,
    INTERLOCKS,
    SMALL,
    TINY,
    Profile,
    random_fault_set,
    random_scheme_text,
    random_world,
)
from tests.support.random_worlds import critical_values
from tests.support.truth_worlds import Truth, bad_scan, fitting_readings, random_truth

# The delays of the worked bench, shortened; all else is as it stands there.
BENCH = """
scheme: Tool-crib battery bench
revision: 1
scan: 100 ms
quantities:
  coldest_cell: {span: -30 to 80 degC}
  hottest_cell: {span: -30 to 80 degC, at_least: coldest_cell, at_most: coldest_cell + 6 K}
  lowest_cell:  {span: 1.5 to 4.2 V}
  highest_cell: {span: 1.5 to 4.2 V, at_least: lowest_cell}
sensors:
  probe:
    measures: {coldest_cell: -0.5 to 2 K, hottest_cell: -4 to 0.5 K}
    valid: -35 to 90 degC
    drifts: -6 to 6 K
  low_tap:  {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}
  high_tap: {measures: {highest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}
units: [board, cell_monitor]
lines:
  monitor_charge_ok:    {low_when: [cell_full]}
  monitor_discharge_ok: {low_when: [cell_empty]}
  reset_button: external
rules:
  cell_full: {unit: cell_monitor, watches: high_tap, trips: above 3.55 V for 200 ms, clears: below 3.40 V for 300 ms}
  cell_empty: {unit: cell_monitor, watches: low_tap, trips: below 2.80 V for 600 ms, clears: above 3.10 V for 400 ms}
  full_stop: {watches: monitor_charge_ok, trips: off, clears: on for 100 ms, blocks: sources}
  empty_stop: {watches: monitor_discharge_ok, trips: off, clears: on for 100 ms, blocks: loads}
  cold_stop: {watches: probe, trips: below 3 degC for 400 ms, clears: above 5 degC for 500 ms, blocks: sources}
  hot_stop: {watches: probe, trips: above 55 degC for 400 ms, clears: below 45 degC for 1300 ms, blocks: all,
             reset: manual, reset_by: reset_button}
paths:
  bench_charger: {flow: charge}
  lamp_circuit:  {flow: discharge}
outputs:
  K1: {drives: [bench_charger], contact: normally_open, runs_when: closed, stops_within: 100 ms}
  K2: {drives: [lamp_circuit],  contact: normally_open, runs_when: closed, stops_within: 100 ms}
requirements:
  frozen_charge:   {never_running: sources, while: {coldest_cell: below 0 degC}, longer_than: 1 s}
  overfull_charge: {never_running: sources, while: {highest_cell: above 3.65 V}, longer_than: 1 s}
  empty_discharge: {never_running: loads,   while: {lowest_cell: below 2.5 V},   longer_than: 1 s}
  hot_discharge:   {never_running: loads,   while: {hottest_cell: above 60 degC}, longer_than: 1 s}
  charging_served: {never_stopped: bench_charger, longer_than: 2 s,
                    while: {coldest_cell: above 6 degC, hottest_cell: below 40 degC, highest_cell: below 3.35 V}}
  unattended:      {never_stopped: bench_charger, longer_than: 1 s, attended: no,
                    while: {coldest_cell: above 6 degC, hottest_cell: below 40 degC, highest_cell: below 3.35 V}}
"""


@pytest.fixture(scope="module")
def bench() -> Scheme:
    return loads(BENCH, "bench")


def claim_of(scheme: Scheme, requirement: str) -> Claim:
    return next(claim for claim in scheme.claims if claim.requirement == requirement)


# By hand: the trip delay, one scan for the contact that opens within 100 ms, one since truth turns just after a scan;
# charging_served: the longest clear delay (hot_stop's 13) and the scan at which the reset is given.
@pytest.mark.parametrize(
    ("requirement", "n", "exposure_ms"),
    [
        ("frozen_charge", 5, 600),
        ("overfull_charge", 3, 400),
        ("empty_discharge", 7, 800),
        ("hot_discharge", 5, 600),
        ("charging_served", 14, 1400),
    ],
)
def test_the_worked_bench_with_short_delays_has_the_figures_worked_by_hand(
    bench: Scheme, requirement: str, n: int, exposure_ms: int
) -> None:
    verdict = judge(bench, claim_of(bench, requirement))
    assert (verdict.verdict, verdict.n, verdict.exposure_us) == ("holds", n, exposure_ms * 1000)


def test_a_manual_reset_that_nobody_gives_stops_for_ever(bench: Scheme) -> None:
    assert judge(bench, claim_of(bench, "unattended")).n is None


@pytest.mark.parametrize(
    ("fault", "requirement", "verdict"),
    [
        ("probe.open", "frozen_charge", "holds"),  # invalid trips
        ("probe.drifted", "frozen_charge", "violated"),  # reads up to 6 K high, the rule allows for 3
        ("probe.stuck", "frozen_charge", "violated"),
        ("cold_stop.omitted", "frozen_charge", "violated"),
        ("cold_stop.omitted", "overfull_charge", "holds"),
        ("monitor_charge_ok.broken", "overfull_charge", "holds"),  # reads off: stops
        ("monitor_charge_ok.shorted", "overfull_charge", "violated"),
        ("K1.welded", "frozen_charge", "violated"),
        ("cell_monitor.frozen", "overfull_charge", "violated"),
        ("cell_monitor.dead", "overfull_charge", "holds"),
        ("board.dead", "overfull_charge", "holds"),  # at worst it runs until the unit dies
        ("K1.wire_broken", "charging_served", "violated"),
        ("reset_button.broken", "charging_served", "violated"),  # no reset is given
        ("bench_charger.bypassed", "frozen_charge", "violated"),
        ("lamp_circuit.bypassed", "frozen_charge", "holds"),
    ],
)
def test_single_faults_on_the_bench_have_the_verdicts_reasoned_by_hand(
    bench: Scheme, fault: str, requirement: str, verdict: str
) -> None:
    found = bench.fault(fault)
    assert found is not None
    assert judge(bench, claim_of(bench, requirement), [found]).verdict == verdict


def test_the_margins_of_the_bench_are_those_worked_by_hand(bench: Scheme) -> None:
    # 3 degC less the probe's 2 K; 55 degC and 4 K; the taps' would do as well, over far more truths
    assert margins(bench, claim_of(bench, "frozen_charge")) == (Fraction(1_000_000),)
    assert margins(bench, claim_of(bench, "hot_discharge")) == (Fraction(1_000_000),)


def test_a_claim_whose_condition_or_path_cannot_come_about_is_vacuous() -> None:
    text = BENCH.replace("{coldest_cell: below 0 degC}", "[{coldest_cell: below 0 degC}, {coldest_cell: above 1 degC}]")
    text = text.replace("  K2: ", "  K3: {drives: [lamp_circuit], contact: normally_closed, runs_when: closed}\n  K2: ")
    text = text.replace("[lamp_circuit],  contact: normally_open, runs_when: closed, stops_within: 100 ms", AT_ONCE)
    scheme = loads(text, "vacuous")
    frozen, hot = judge(scheme, claim_of(scheme, "frozen_charge")), judge(scheme, claim_of(scheme, "hot_discharge"))
    assert (frozen.verdict, frozen.condition_met, frozen.exposure_us) == ("vacuous", False, None)
    assert (hot.verdict, hot.condition_met, hot.path_could) == ("vacuous", True, False)


AT_ONCE = "[lamp_circuit],  contact: normally_open, runs_when: closed"


# --- the scan against the readable engine


def compare(scheme: Scheme, faults: tuple[Fault, ...], rng: random.Random, scans: int, *, attended: bool) -> None:
    """Run both on the same worlds; every difference is an error."""
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
        assert {name: walk.machine(outcome, name) for name in seen.states} == dict(seen.states), where
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


@pytest.mark.parametrize("profile", [TINY, SMALL, INTERLOCKS, BROAD], ids=lambda p: str(p.name))
def test_its_scan_and_the_readable_engine_agree_on_random_schemes(profile: Profile) -> None:
    rng = random.Random(f"scan {profile.name}")
    modes: Counter[str] = Counter()
    scans = 0
    for _ in range(24 if profile is BROAD else 16):
        scheme = loads(random_scheme_text(rng, profile), "random")
        cycles = tuple(fault for fault in scheme.faults.values() if fault.mode is Mode.POWER_CYCLED)
        for faults in (cycles, *(random_fault_set(rng, scheme, size) for size in (0, 1, 1, 2, 3))):
            modes.update(str(single.mode) for fault in faults for single in fault.single())
            compare(scheme, faults, rng, 40, attended=rng.random() < 0.3)
            scans += 40
    print(f"{profile.name}: {scans} scans; {dict(sorted(modes.items()))}")
    if profile is BROAD:
        assert set(modes) == {str(mode) for mode in Mode}


def test_the_scan_of_a_power_cycle_counts_for_nobody_as_seeing_the_reset_line_off() -> None:
    scheme = loads(BENCH.replace("reset: manual,", "reset: manual, power_up: as_left,"), "as left")
    fault = scheme.fault("board.power_cycled")
    assert fault is not None
    cool = {"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000}
    for cycled, state in ((True, State.AWAITING_RESET), (False, State.CLEAR)):
        walk, engine = Walk(scheme, (fault,)), Engine(scheme)
        for button, cycle in [(True, False)] * 20 + [(False, cycled), (True, False)]:
            units = ("board",) if cycle else ()
            outcome = walk.scan(cool, {"reset_button": button}, 0, units)
            seen = engine.scan(World(cool, {"reset_button": button}, frozenset(), frozenset(units)))
        assert (walk.machine(outcome, "hot_stop")[0], seen.states["hot_stop"][0]) == (state, state)


# --- the verdicts


Judged = tuple[Scheme, Claim, tuple[Fault, ...], random.Random]


def claims(seed: str, schemes: int, profiles: tuple[Profile, ...] = (TINY, INTERLOCKS)) -> Iterator[Judged]:
    """Claims of random schemes, healthy and under one or two faults, with a stream of chance for each."""
    rng = random.Random(seed)
    for _ in range(schemes):
        for profile in profiles:
            scheme = loads(random_scheme_text(rng, profile), "random")
            for claim in scheme.claims:
                yield scheme, claim, random_fault_set(rng, scheme, rng.choice([0, 1, 1, 2])), rng


def told(verdict: BruteVerdict) -> tuple[str, int | None, bool, bool]:
    return verdict.verdict, verdict.n, verdict.condition_met, verdict.path_could


def test_representative_values_and_the_solver_see_the_same_patterns() -> None:
    """What can be seen together at one scan, for every error a sensor may have, and for each of them stuck."""
    rng = random.Random("patterns")
    patterns = configs = 0
    for _ in range(40):
        scheme = loads(random_scheme_text(rng, TINY), "random")
        inputs = Inputs(scheme, scheme.rules, Plan(()))
        limits = [c for claim in scheme.claims for c in claim.conditions if isinstance(c.test, Limit)][:2]
        atoms = [Atom(c.name, c.test.compare, Fraction(c.test.value)) for c in limits if isinstance(c.test, Limit)]
        elements: list[list[tuple[str, Element]]] = []
        for e in inputs.input_of:
            sensor = scheme.sensors[e]
            ways = [sensor.measures, *(errors for errors in (sensor.drifts, sensor.misplaced) if errors)]
            values = (sensor.open_reads, sensor.valid.low, rng.randrange(sensor.valid.low, sensor.valid.high, 25_000))
            fixed = [Fixed(None if v is None else Fraction(v)) for v in values]
            found: list[Element] = [*(Live(w) for w in ways), Live(ways[0], keeps=True), *fixed]
            elements.append([(e, x) for x in found])
        for _ in range(4):
            config = tuple(rng.choice(ways) for ways in elements)
            sticking = [e for e, x in config if isinstance(x, Live) and x.keeps]
            try:
                one, other = (
                    Observations(scheme, inputs, atoms, sticking=sticking, solver=way).patterns(config)
                    for way in (False, True)
                )
            except OutOfReach:
                continue
            assert one == other, (scheme.sensors, config)
            configs, patterns = configs + 1, patterns + len(one)
    print(f"{configs} configurations, {patterns} patterns")
    assert configs > 100


def test_all_stuck_values_of_one_cell_leave_the_same_possible() -> None:
    """For a sensor weighed against another, at the scan at which it sticks and ever after."""
    rng = random.Random("cells")
    compared: Counter[str] = Counter()
    while compared["cells"] < 80:
        scheme = loads(random_scheme_text(rng, TINY), "random")
        inputs = Inputs(scheme, scheme.rules, Plan(()))
        weighed = [r for r in inputs.rules if inputs.weighs(r)]
        if not weighed:
            continue
        stuck = inputs.element_of[rng.choice(inputs.sensors(weighed[0]))]
        limits = [c for claim in scheme.claims for c in claim.conditions if isinstance(c.test, Limit)][:2]
        atoms = [Atom(c.name, c.test.compare, Fraction(c.test.value)) for c in limits if isinstance(c.test, Limit)]
        observations = Observations(scheme, inputs, atoms, sticking=[stuck])
        cuts = observations.cells(stuck)
        for _ in range(8):
            i = rng.randrange(len(cuts) - 1)
            for fits in ((), scheme.sensors[stuck].measures):
                values = [cuts[i] + (cuts[i + 1] - cuts[i]) * Fraction(part, 4) for part in (1, 2, 3)]
                configs = [
                    tuple(
                        (e, Fixed(v, fits) if e == stuck else Live(scheme.sensors[e].measures)) for e in inputs.input_of
                    )
                    for v in values
                ]
                patterns = [observations.patterns(config) for config in configs]
                assert patterns[0] == patterns[1] == patterns[2], (stuck, i, fits)
                compared["possible"] += bool(patterns[0])
            compared["cells"] += 1
    print(dict(compared))


def test_representative_values_and_the_solver_come_to_the_same_verdicts() -> None:
    compared: Counter[str] = Counter()
    for scheme, claim, faults, _ in claims("solver", 15, (TINY,)):
        try:
            verdict = judge(scheme, claim, faults)
            other = judge(scheme, claim, faults, Options(solver=True))
        except OutOfReach:
            compared["out of reach"] += 1
            continue
        assert told(verdict) == told(other), (claim.name, faults)
        compared[verdict.verdict] += 1
    print(dict(compared))
    assert compared["out of reach"] < sum(compared.values()) // 10


def test_exploring_everything_changes_no_verdict() -> None:
    compared: Counter[str] = Counter()
    for scheme, claim, faults, _ in claims("narrowed", 24):
        try:
            verdict = judge(scheme, claim, faults)
            other = judge(scheme, claim, faults, Options(narrowed=False, most_states=20_000))
        except OutOfReach:
            compared["out of reach"] += 1
            continue
        assert told(verdict) == told(other), (claim.name, faults)
        compared[verdict.verdict] += 1
    print(dict(compared))
    assert min(compared["holds"], compared["violated"], compared["vacuous"]) >= 6


def test_worst_runs_replay_on_the_readable_engine() -> None:
    replayed: Counter[str] = Counter()
    for scheme, claim, faults, rng in claims("replay", 24):
        search = Search(scheme, claim, faults, Options())
        try:
            search.explore()
        except OutOfReach:
            continue
        n = search.longest_run()
        if n == 0 or search.resets == Resets.NEVER:
            continue
        engine = Engine(scheme, Plan(faults).installed, attended=search.resets == Resets.GIVEN)
        free = [x for x, line in scheme.lines.items() if line.form is LineForm.EXTERNAL]
        bad: list[bool] = []
        for moment in worst_run(search):
            readings = {**dict.fromkeys(scheme.sensors, Fraction(0)), **moment.readings}
            lines = {name: moment.lines.get(name, rng.random() < 0.5) for name in free}
            seen = engine.scan(World(readings, lines, moment.faults, moment.cycles))  # type: ignore[arg-type]
            bad.append(bad_scan(scheme, claim, seen, moment.truth, lines))
            assert bad[-1] or not moment.bad, (claim.name, faults)
        assert all(bad[len(bad) - (12 if n is None else n) :]), (claim.name, faults, n)
        replayed["endless" if n is None else "n " + str(n)] += 1
    print(dict(replayed))
    assert sum(count for name, count in replayed.items() if name != "endless") >= 10


def test_no_random_run_is_worse_than_the_worst() -> None:
    """Truths drawn at random with readings that fit them, on the readable engine: never over n bad scans running."""
    reached: Counter[str] = Counter()
    for scheme, claim, faults, rng in claims("bound", 24):
        try:
            verdict = judge(scheme, claim, faults)
        except OutOfReach:
            continue
        attended = str(claim.must) == "never_stopped"
        if verdict.n is None or (attended and not claim.attended):
            continue
        longest = max(longest_random_run(rng, scheme, claim, faults, attended=attended) for _ in range(4))
        assert longest <= verdict.n, (claim.name, [f.name for f in faults], longest, verdict)
        reached["n reached" if longest == verdict.n else "not reached"] += 1
    print(dict(reached))
    assert reached["n reached"] >= reached["not reached"]


def longest_random_run(
    rng: random.Random, scheme: Scheme, claim: Claim, faults: tuple[Fault, ...], *, attended: bool, scans: int = 60
) -> int:
    plan = Plan(faults)
    engine = Engine(scheme, plan.installed, attended=attended)
    onsets = [rng.randrange(scans) for _ in plan.arising]
    truth: Truth | None = None
    lines: dict[str, bool] = {}
    longest = run = 0
    for scan in range(scans):
        there = frozenset(f for entry, onset in zip(plan.arising, onsets, strict=True) if scan >= onset for f in entry)
        truth = random_truth(rng, scheme, claim, truth)
        readings = fitting_readings(rng, scheme, truth, FaultSet(plan_set(plan, there)), rng.choice([-1, 1]))
        lines = {
            name: lines.get(name, False) if rng.random() < 0.7 else rng.random() < 0.5
            for name, line in scheme.lines.items()
            if line.form is LineForm.EXTERNAL
        }
        cycles = frozenset(u for u in plan.cycled if rng.random() < 0.1)
        seen = engine.scan(World(readings, lines, there, cycles))
        run = run + 1 if bad_scan(scheme, claim, seen, truth, lines) else 0
        longest = max(longest, run)
    return longest


def plan_set(plan: Plan, there: frozenset[Fault]) -> frozenset[Fault]:
    return frozenset(plan.installed) | there


def test_margins_are_the_last_limits_that_keep_the_claim() -> None:
    """A limit just inside the margin keeps the claim, one just beyond breaks it: at places the search never tried."""
    probed: Counter[str] = Counter()
    for scheme, claim, faults, _ in claims("margins", 400, (TINY,)):
        if min(probed["inside"], probed["beyond"]) >= 6:
            break
        try:
            if judge(scheme, claim, faults).verdict != "holds":
                continue
            found = margins(scheme, claim, faults)
            limits = [c for c in claim.all_conditions() if str(c.signal) == "quantity"]
            for i, (margin, condition) in enumerate(zip(found, limits, strict=True)):
                here = condition.test.value  # type: ignore[union-attr]
                toward = 1 if condition.test.compare.downward else -1  # type: ignore[union-attr]
                third = limit_step(scheme, condition) / 3
                for offset, kept in ((-third, True), (third, False)):
                    if margin is None or (kept and not margin):
                        continue
                    moved = Fraction(here) + toward * (margin + offset)
                    verdict = judge(scheme, claim, faults, None, {i: moved})
                    assert (verdict.verdict != "violated") is kept, (claim.name, faults, i, margin)
                    probed["inside" if kept else "beyond"] += 1
                probed["to the end"] += margin is None
        except OutOfReach:
            probed["out of reach"] += 1
    print(dict(probed))
    assert min(probed["inside"], probed["beyond"]) >= 6
