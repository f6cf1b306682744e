"""Vectors show what they say they show; the readable engine is the judge of every answer in them."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache

import pytest

from interlock.export.unit import UnitCode, unit_code
from interlock.logic.program import Observe
from interlock.logic.readings import compare
from interlock.logic.scan import Engine, World
from interlock.records import replace
from interlock.scheme.model import Limit
from interlock.scheme.read import loads
from interlock.scheme.words import Compare
from interlock.vectors.alone import alone
from interlock.vectors.generate import Vectors, generate
from interlock.vectors.goals import GoalKind
from interlock.vectors.inputs import sides
from interlock.vectors.mcdc import Form
from interlock.vectors.record import BadVectorsError, Run, Start, json_lines, read_json_lines
from tests.support.bench import BENCH
from tests.support.quick import QUICK_BENCH


@cache
def made(unit: str) -> tuple[UnitCode, Vectors]:
    code = unit_code(loads(QUICK_BENCH), unit, "bench.yaml")
    return code, generate(code)


@pytest.mark.parametrize("unit", ["board", "cell_monitor"])
def test_all_that_the_bench_can_show_is_shown(unit: str) -> None:
    _, vectors = made(unit)
    assert not vectors.missed
    shown = vectors.counts()
    assert all(hit == of for hit, of in shown.values())
    expected = {
        "board": {"transition": 22, "limit": 8, "delay": 6, "reset": 3, "lost reading": 2, "decision": 10,
                  "left alone": 3, "power cycle": 8},
        "cell_monitor": {"transition": 12, "limit": 4, "delay": 4, "lost reading": 2, "decision": 4, "power cycle": 4},
    }[unit]  # fmt: skip
    assert set(vectors.forms.values()) == {Form.UNIQUE_CAUSE}
    assert {str(kind): of for kind, (_, of) in shown.items()} == expected


@pytest.mark.parametrize("unit", ["board", "cell_monitor"])
def test_every_answer_is_the_readable_engines_own(unit: str) -> None:
    """Run scan by scan, without the long steps in which the vectors were worked out."""
    code, vectors = made(unit)
    for run in vectors.runs:
        engine = Engine(alone(code.scheme, unit))
        for number, vector in enumerate(run.vectors):
            lost = {name: sensor.valid.high + 1 for name, sensor in code.scheme.sensors.items()}
            readings = {n: lost[n] if (v := vector.readings.get(n)) is None else v for n in code.scheme.sensors}
            cycles = frozenset({unit} if vector.start is Start.POWER_CYCLE else ())
            seen = engine.scan(World(readings, vector.lines, cycles=cycles))
            assert {n: engine.energised[n] for n in code.outputs} == vector.outputs, number
            assert {n: seen.lines[n] for n in code.sent} == vector.sent, number
            assert {n: n in seen.alarms for n in code.alarms} == vector.alarms, number


def test_a_unit_by_itself_decides_as_it_does_among_the_others() -> None:
    scheme = loads(BENCH)
    whole, board, rng = Engine(scheme), Engine(alone(scheme, "board")), random.Random(7)
    for _ in range(300):
        readings = {"probe": rng.choice([-4, 2, 4, 20, 50, 56]) * 10**6, "low_tap": 3_300_000, "high_tap": 3_300_000}
        readings["low_tap"] = rng.choice([2_700_000, 3_300_000])
        seen = whole.scan(World(readings, {"reset_button": rng.random() < 0.3}))
        again = board.scan(World(readings, dict(seen.lines)))
        assert seen.on == again.on


def test_vectors_end_where_they_were_told_to() -> None:
    code = unit_code(loads(BENCH), "board", "bench.yaml")
    vectors = generate(code, most=500)
    assert 0 < vectors.scans <= 500
    assert vectors.missed
    assert vectors.reached


@pytest.mark.parametrize("compare_word", list(Compare))
def test_the_two_sides_of_a_limit_are_one_step_apart(compare_word: Compare) -> None:
    limit = Limit(compare_word, 30)
    met, unmet = sides(limit)
    assert abs(met - unmet) == 1
    assert compare(met, limit)
    assert not compare(unmet, limit)


def test_each_limit_is_tried_at_both_sides() -> None:
    code, vectors = made("board")
    seen = {v.readings["probe"] for run in vectors.runs for v in run.vectors}
    for value in (2_999_000, 3_000_000, 5_001_000, 5_000_000, 55_001_000, 55_000_000, 44_999_000, 45_000_000, None):
        assert value in seen
    assert {g.kind for g in vectors.reached} >= {GoalKind.LIMIT, GoalKind.DELAY, GoalKind.RESET}
    assert {kind for kind, _ in code.told} == {Observe.ENERGISED}


# --- JSON Lines


def test_what_is_written_is_read_again() -> None:
    _, vectors = made("board")
    assert read_json_lines(iter(json_lines(vectors.runs))) == vectors.runs


def lines(**changes: object) -> Iterator[str]:
    import json

    data: dict[str, object] = {
        "sequence": 1, "scan": 0, "start": "first", "aims": [], "readings": {"probe": 2.5}, "lines": {"b": True},
        "outputs": {}, "sent": {}, "alarms": {},
    }  # fmt: skip
    yield json.dumps({k: v for k, v in (data | changes).items() if v != "left out"})


def test_a_vector_is_read() -> None:
    (run,) = read_json_lines(lines())
    assert run == Run((replace(run.vectors[0], readings={"probe": 2_500_000}, lines={"b": True}),))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"readings": {"probe": "warm"}}, "a number belongs"),
        ({"readings": {"probe": True}}, "a number belongs"),
        ({"readings": {"probe": 0.00000001}}, "finer than a millionth"),
        ({"readings": 3}, "line 1 is no vector"),
        ({"lines": {"b": 1}}, "true or false belongs"),
        ({"start": "late"}, "line 1 is no vector"),
        ({"start": None}, "begins with a first power-up"),
        ({"outputs": "left out"}, "KeyError: 'outputs'"),
    ],
)
def test_a_broken_vector_is_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(BadVectorsError, match=says):
        read_json_lines(lines(**changes))


def test_what_is_no_json_is_refused() -> None:
    with pytest.raises(BadVectorsError, match="line 2 is no vector"):
        read_json_lines(iter(["\n", "{"]))
