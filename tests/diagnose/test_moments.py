"""What people say they saw: every form is read, every mistake told with its place."""

from __future__ import annotations

import pytest

from interlock.diagnose.moments import Of, from_source, from_text
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Interval
from interlock.scheme.read import loads
from interlock.scheme.source import Source
from tests.support.bench import BENCH

SCHEME = loads(BENCH)
FAR = 10**18


@pytest.mark.parametrize(
    ("text", "of", "value"),
    [
        ("bench_charger running", Of.PATH, True),
        ("bench_charger stopped", Of.PATH, False),
        ("monitor_charge_ok on", Of.LINE, True),
        ("reset_button off", Of.LINE, False),
        ("cold_stop active", Of.RULE, True),
        ("cold_stop clear", Of.RULE, False),
        ("K1 closed", Of.DEVICE, True),
        ("K1 open", Of.DEVICE, False),
        ("probe invalid", Of.VALID, False),
        ("probe 20 degC", Of.READING, Interval(20_000_000, 20_000_000)),
        ("coldest_cell 18 to 22 degC", Of.QUANTITY, Interval(18_000_000, 22_000_000)),
        ("coldest_cell below 3 degC", Of.QUANTITY, Interval(-FAR, 2_999_999)),
        ("coldest_cell at_or_above 3 degC", Of.QUANTITY, Interval(3_000_000, FAR)),
        ("lowest_cell 3.30 V", Of.QUANTITY, Interval(3_300_000, 3_300_000)),
    ],
)
def test_each_form_of_statement_is_read(text: str, of: Of, value: Interval | bool) -> None:
    (statement,) = from_text(SCHEME, text).statements
    assert (statement.of, statement.value) == (of, value)


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("", 1, "nothing was seen"),
        ("bench_charger running, lamp stopped", 24, "nothing called `lamp`"),
        ("bench_charger on", 15, "nothing that can be seen of bench_charger"),
        ("bench_charger", 15, "nothing is said of bench_charger"),
        ("coldest_cell 20 V", 14, "no unit of it"),
        ("coldest_cell 20", 14, "has no unit"),
        ("coldest_cell 20 K", 14, "no unit of it"),
        ("coldest_cell 200 degC", 14, "outside its span"),
        ("coldest_cell running", 14, "no value"),
        ("bench_charger running, for ever", 28, "where a number belongs"),
        ("bench_charger running, for 1 s, for 2 s", 33, "`for` is given twice"),
        ("K1 open, K1 closed", 10, "K1 is given twice"),
        ("probe 22 to 18 degC", 7, "runs from high to low"),
    ],
)
def test_each_mistake_is_told_with_its_place(text: str, column: int, words: str) -> None:
    with pytest.raises(SchemeError) as caught:
        from_text(SCHEME, text)
    (finding,) = caught.value.findings
    assert words in finding.message
    assert finding.place.column == column
    assert finding.help


def test_all_mistakes_are_told_in_one_go() -> None:
    with pytest.raises(SchemeError) as caught:
        from_text(SCHEME, "lamp stopped, coldest_cell 20, K1 on")
    assert len(caught.value.findings) == 3


def test_a_file_holds_several_moments() -> None:
    text = """
moments:
  - {bench_charger: stopped, coldest_cell: 20 degC, for: 10 min}
  - bench_charger: running
    probe: -4 degC
"""
    first, second = from_source(SCHEME, Source("seen.yaml", text))
    assert first.us == 600_000_000
    assert [s.name for s in first.statements] == ["bench_charger", "coldest_cell"]
    assert second.us == 0
    assert second.statements[1].value == Interval(-4_000_000, -4_000_000)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("moments: []", 1, "no list of `moments`"),
        ("seen: 1", 1, "no meaning here"),
        ("moments:\n  - K1 open", 2, "where a moment belongs"),
        ("moments:\n  - {K1: [open]}", 2, "where a value belongs"),
        ("moments:\n  - {K1: opn}", 2, "nothing that can be seen of K1"),
        ("moments:\n  - {K1: open, K1: closed}", 2, "given twice"),
    ],
)
def test_each_mistake_in_a_file_is_told_with_its_line(text: str, line: int, words: str) -> None:
    with pytest.raises(SchemeError) as caught:
        from_source(SCHEME, Source("seen.yaml", text))
    assert any(words in f.message and f.place.line == line for f in caught.value.findings), caught.value.findings
