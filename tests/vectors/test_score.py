"""The strength of vectors: mistakes sown in the rules are caught, or proved to change nothing that is told."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.compare.verdict import Comparison, Meaning
from interlock.export.unit import UnitCode, unit_code
from interlock.logic.compiled import scan_function
from interlock.logic.mutants import Mistake, Mutant, mutants
from interlock.logic.program import InputKind, Observe
from interlock.logic.scan import Engine, World
from interlock.records import replace
from interlock.scheme.read import loads
from interlock.vectors.alone import alone
from interlock.vectors.generate import Vectors, generate
from interlock.vectors.record import Run, Start
from interlock.vectors.score import Fate, kills, scored, skipped_on, told_as_paths
from interlock.vectors.strengthen import strengthened
from tests.support.bench import BENCH
from tests.vectors.test_watch import OVERRIDDEN


@pytest.fixture(scope="module")
def monitor() -> UnitCode:
    return unit_code(loads(BENCH), "cell_monitor", file="bench.yaml")


@pytest.fixture(scope="module")
def vectors(monitor: UnitCode) -> Vectors:
    return generate(monitor)


def test_the_vectors_of_the_bench_s_monitor_catch_every_mistake(monitor: UnitCode, vectors: Vectors) -> None:
    fates = list(scored(monitor, vectors.runs))
    assert len(fates) == len(list(mutants(alone(monitor.scheme, "cell_monitor"), "cell_monitor")))
    assert {f.fate for f in fates} == {Fate.KILLED}
    assert {f.mutant.mistake for f in fates} >= {
        Mistake.THRESHOLD,
        Mistake.DELAY,
        Mistake.COMPARISON,
        Mistake.ON_INVALID,
    }


def test_without_vectors_nothing_is_caught_and_the_histories_of_the_differences_catch_it_all(monitor: UnitCode) -> None:
    fates = list(scored(monitor, []))
    assert {f.fate for f in fates} == {Fate.SURVIVED}
    runs, now = strengthened(monitor, [], fates)
    assert {f.fate for f in now} == {Fate.KILLED}
    assert 0 < len(runs) < len(fates)  # a run catches several
    for one in now:
        assert kills(monitor, one.mutant, runs) is not None
        assert one.at is not None
        assert kills(monitor, one.mutant, [runs[one.at[0]]]) == (0, one.at[1])


def test_vectors_cut_off_half_way_miss_what_the_second_half_catches(monitor: UnitCode, vectors: Vectors) -> None:
    (run,) = vectors.runs
    scans = sorted(f.at[1] for f in scored(monitor, [run]) if f.at)
    half = scans[len(scans) // 2]
    counts = Counter(f.fate for f in scored(monitor, [replace(run, vectors=run.vectors[:half])]))
    assert counts == {Fate.KILLED: sum(s < half for s in scans), Fate.SURVIVED: sum(s >= half for s in scans)}


# The bench with an override, and a rule that looks at what the unit commanded at the scan before.
WATCHED = OVERRIDDEN.replace("override_at_most: 500 ms", "override_at_most: 4 s").replace(
    "rules:\n",
    "rules:\n  watched: {watches: bench_charger, trips: running for 2 s, clears: stopped, blocks: loads}\n",
    1,
)


def first_difference(code: UnitCode, mutant: Mutant, runs: tuple[Run, ...]) -> tuple[int, int] | None:
    """Scan by scan, by the readable engine."""
    changed = alone(mutant.scheme, code.unit)
    lost = {name: sensor.valid.low - 1 for name, sensor in changed.sensors.items()}
    for number, run in enumerate(runs):
        engine = Engine(changed)
        for scan, vector in enumerate(run.vectors):
            readings = {n: lost[n] if (v := vector.readings.get(n)) is None else v for n in changed.sensors}
            cycles = frozenset({code.unit} if vector.start is Start.POWER_CYCLE else ())
            seen = engine.scan(World(readings, vector.lines, cycles=cycles))
            told = (
                {n: engine.energised[n] for n in vector.outputs},
                {n: seen.lines[n] for n in vector.sent},
                {n: n in seen.alarms for n in vector.alarms},
            )
            if told != (vector.outputs, vector.sent, vector.alarms):
                return number, scan
    return None


def test_no_wait_is_skipped_past_something_told() -> None:
    """From random states: what is skipped is what single scans come to, and all of them tell the same."""
    code = unit_code(loads(WATCHED), "board", "bench.yaml")
    program, rng, skips = code.program, random.Random(5), 0
    scan = scan_function(program)
    told = [i for i, o in enumerate(program.observations) if o.kind in (Observe.ENERGISED, Observe.ALARM)]
    for _ in range(600):
        before = tuple(rng.choice((s.low, s.high, max(s.low, s.high - rng.randint(0, 9)))) for s in program.slots)
        given = [
            rng.choice((-30_000, 2_000, 4_000, 20_000, 50_000, 60_000))
            if i.kind is InputKind.ELEMENT
            else rng.randint(0, 1)
            for i in program.inputs
        ]
        given = [0 if i.kind is InputKind.CYCLE else v for i, v in zip(program.inputs, given, strict=True)]
        before, _ = scan(before, given)
        now, seen = scan(before, given)
        after, skipped = skipped_on(program, before, now, 12)
        skips += skipped > 0
        for _ in range(skipped):
            now, later = scan(now, given)
            assert [later[i] for i in told] == [seen[i] for i in told]
        assert now == after
    assert skips > 30


def test_a_mutant_is_caught_at_the_scan_at_which_the_readable_engine_sees_it() -> None:
    """Also where waits are skipped: counters of overrides, and outputs that a rule looks at, stop the skipping."""
    code = unit_code(loads(WATCHED), "board", "bench.yaml")
    runs = generate(code).runs
    every = list(mutants(alone(code.scheme, "board"), "board", steps=code.steps.of))
    found = [kills(code, mutant, runs) for mutant in every]
    assert found == [first_difference(code, mutant, runs) for mutant in every]
    assert sum(at is not None for at in found) > 50


def test_a_mistake_that_changes_nothing_told_is_proved_equivalent() -> None:
    twice = BENCH.replace(
        "  cell_full:   {unit: cell_monitor,",
        "  cell_fuller: {unit: cell_monitor, watches: high_tap, trips: above 3.60 V for 2 s, "
        "clears: below 3.50 V for 20 s}\n"
        "  cell_full:   {unit: cell_monitor,",
    ).replace("low_when: [cell_full]", "low_when: [cell_full, cell_fuller]")
    code = unit_code(loads(twice), "cell_monitor", file="bench.yaml")
    found = [f for f in scored(code, []) if f.mutant.rule == "cell_fuller"]
    fates = [f for f in found if f.mutant.towards < 0 or f.mutant.mistake is Mistake.DELAY]
    assert fates
    assert {f.fate for f in fates} == {Fate.EQUIVALENT}


def told_otherwise(text: str, unit: str, what: str) -> dict[str, Meaning]:
    """What becomes of each line and alarm of a unit by one mistake."""
    scheme = alone(loads(text), unit)
    mutant = next(m for m in mutants(scheme, unit) if m.what == what)
    lines = [n for n, line in scheme.lines.items() if line.form.sent]
    alarms = [n for n, rule in scheme.rules.items() if rule.alarm]
    old, new = (told_as_paths(s, unit, lines, alarms) for s in (scheme, mutant.scheme))
    comparison = Comparison(old, new)
    return {v.path: v.meaning for v in comparison.verdicts() if v.path not in scheme.paths}


def test_a_sent_line_that_comes_later_is_a_difference() -> None:
    assert told_otherwise(BENCH, "cell_monitor", "cell_full: trips +1 scan") == {
        "line monitor_charge_ok": Meaning.LOOSER,
        "line monitor_discharge_ok": Meaning.SAME,
    }


def test_an_alarm_that_comes_later_is_a_difference() -> None:
    alarmed = BENCH.replace("reset: manual,", 'alarm: "too hot", reset: manual,')
    assert told_otherwise(alarmed, "board", "hot_stop: trips +1 scan") == {"alarm hot_stop": Meaning.LOOSER}
