"""The strength of vectors: mistakes sown in the rules are caught, or proved to change nothing that is told."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from interlock.compare.verdict import Comparison, Meaning
from interlock.export.unit import UnitCode, unit_code
from interlock.logic.mutants import Mistake, mutants
from interlock.scheme.read import loads
from interlock.vectors.alone import alone
from interlock.vectors.generate import Vectors, generate
from interlock.vectors.score import Fate, kills, scored, strengthened, told_as_paths
from tests.support.bench import BENCH


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
