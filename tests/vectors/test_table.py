"""Vectors as CSV: what is written is what JSON Lines hold; what is no table of vectors is refused with its line."""

from __future__ import annotations

import csv
import io

import pytest

from interlock.export.unit import unit_code
from interlock.scheme.read import loads
from interlock.vectors.generate import generate
from interlock.vectors.record import BadVectorsError, Run, json_lines, read_json_lines
from interlock.vectors.table import csv_lines, read_csv
from tests.support.quick import QUICK_BENCH

HEADER = "sequence,scan,start,aims,reading probe,line b,output K1\n"


@pytest.fixture(scope="module")
def runs() -> tuple[Run, ...]:
    return generate(unit_code(loads(QUICK_BENCH), "board", "bench.yaml")).runs


def test_a_table_holds_what_json_lines_hold(runs: tuple[Run, ...]) -> None:
    assert read_csv(iter(list(csv_lines(runs)))) == read_json_lines(iter(json_lines(runs)))


def test_a_spreadsheet_reads_one_row_a_scan(runs: tuple[Run, ...]) -> None:
    rows = list(csv.DictReader(io.StringIO("".join(csv_lines(runs)))))
    (run,) = runs
    assert len(rows) == len(run.vectors)
    for row, vector in zip(rows, run.vectors, strict=True):
        probe = vector.readings["probe"]
        assert row["reading probe"] == "" if probe is None else float(row["reading probe"]) * 10**6 == probe
        assert {n: row[f"output {n}"] == "1" for n in vector.outputs} == vector.outputs
    assert [row["start"] for row in rows[:2]] == ["first", ""]
    assert "power_cycle" in {row["start"] for row in rows}


def test_a_row_is_read() -> None:
    (run,) = read_csv(iter([HEADER, "1,0,first,a: trip limit; b: lost,-2.5,1,0\n", "1,1,,,,0,1\n"]))
    first, second = run.vectors
    assert (first.readings, first.lines, first.outputs) == ({"probe": -2_500_000}, {"b": True}, {"K1": False})
    assert first.aims == ("a: trip limit", "b: lost")
    assert second.readings == {"probe": None}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "line 1 is no vector: the header begins with sequence"),
        ("sequence,scan\n", "the header begins with sequence"),
        ("sequence,scan,start,aims,speed x\n", "'speed x' is no column"),
        (HEADER + "1,0,first,,2\n", "line 2 is no vector: 5 fields where the header has 7"),
        (HEADER + "1,0,first,,warm,1,0\n", "'warm' where a number belongs"),
        (HEADER + "1,0,first,,NaN,1,0\n", "NaN is no number of at most six decimals"),
        (HEADER + "1,0,first,,0.0000001,1,0\n", "no number of at most six decimals"),
        (HEADER + "1,0,first,,1,yes,0\n", "'yes' where 0 or 1 belongs"),
        (HEADER + "1,0,late,,1,1,0\n", "'late' is not a valid Start"),
        (HEADER + "1,0,,,1,1,0\n", "begins with a first power-up"),
        (HEADER + '1,0,first,,"1,1,0\n', "unexpected end of data"),
    ],
)
def test_what_is_no_table_of_vectors_is_refused(text: str, says: str) -> None:
    with pytest.raises(BadVectorsError, match=says):
        read_csv(iter(text.splitlines(keepends=True)))
