"""Sensors that say what they are made of: what follows, and every way in which that can be written wrongly."""

from __future__ import annotations

import random
import subprocess
import sys

import jsonschema
import pytest
import yaml

from interlock.scheme.findings import SchemeError
from interlock.scheme.grammar import GrammarError
from interlock.scheme.model import Interval, Sensor
from interlock.scheme.physical import Dimension, read_rated
from interlock.scheme.read import loads
from interlock.scheme.schema import json_schema
from interlock.scheme.source import Source
from tests.support.bench import BENCH, edited

NTC = "{type: ntc, r25: 10 kohm within 1 %, beta: 3435 K within 1 %}"
UP = "{pull_up: 10 kohm within 0.1 %, bits: 12}"
SEPARATE = "{pull_up: 10 kohm, supply: 3.3 V within 1 %, reference: 3.3 V within 0.1 %, bits: 12}"
TEN = "10 kohm within 0.1 %"
DIVIDER = f"{{type: divider, top: {TEN}, bottom: {TEN}}}"
VOLTS = "{reference: 2.5 V within 0.1 %, bits: 12}"
SHUNT = "{type: shunt, rated_current: 200 A, rated_voltage: 50 mV within 0.25 %}"

PROBE = "    valid: -35 to 90 degC\n"
TAP = "valid: 1 to 4.5 V}"


def probe(element: str = NTC, wiring: str = UP, *more: tuple[str, str], extra: str = "") -> str:
    """The bench with such a probe."""
    return edited((PROBE, f"{PROBE}    element: {element}\n    input: {wiring}\n{extra}"), *more)


def tap(element: str = DIVIDER, wiring: str = VOLTS, measures: str = "lowest_cell") -> str:
    """The bench with such a low tap."""
    keys = f"measures: {measures}, valid: 1 to 4.5 V, element: {element}, input: {wiring}}}"
    return edited(("measures: {lowest_cell: -10 to 10 mV}, " + TAP, keys))


def sensor(text: str, name: str = "probe") -> Sensor:
    return loads(text).sensors[name]


NAMES = ("measures: {coldest_cell: -0.5 to 2 K, hottest_cell: -4 to 0.5 K}", "measures: [coldest_cell, hottest_cell]")


def test_names_alone_let_the_error_follow() -> None:
    found = sensor(probe(NTC, UP, NAMES, extra="    placed: {coldest_cell: 0 to 1 K, hottest_cell: -5 to 0 K}\n"))
    assert found.element is not None
    own = found.element.own
    assert -1_200_000 < own.low < -500_000
    assert 500_000 < own.high < 1_200_000
    errors = {e.quantity: e.interval for e in found.measures}
    assert errors["coldest_cell"] == Interval(own.low, own.high + 1_000_000)
    assert errors["hottest_cell"] == Interval(own.low - 5_000_000, own.high)
    assert (found.open_reads, found.shorted_reads) == (None, None)


def test_what_is_stated_by_hand_counts() -> None:
    found = sensor(probe(NTC, UP, extra="    open_reads: -40 degC\n"))
    assert found.element is not None
    assert found.element.stated == {"measures", "open_reads"}
    assert {e.quantity: e.interval for e in found.measures}["coldest_cell"] == Interval(-500_000, 2_000_000)
    assert found.open_reads == -40_000_000
    assert found.element.open_reads is None


def test_a_sensor_without_an_element_is_as_before() -> None:
    assert all(s.element is None for s in loads(BENCH).sensors.values())


def test_a_divider_and_a_shunt_are_read_in_volts() -> None:
    assert sensor(tap(), "low_tap").measures[0].interval == Interval(-9613, 9630)  # worked out below
    # At 4.2 V: the divider may be 0.1 % of a half high (0.05 % each way), the reference 0.1 % low: 0.2 % or 8.4 mV, and
    # one step of 2 * 2.5 V / 4096 = 1.22 mV.
    with pytest.raises(SchemeError) as caught:
        loads(tap(SHUNT))
    assert [f.ident for f in caught.value.findings if f.ident == "wrong-kind"]


def test_every_element_and_curve_is_read() -> None:
    table = "{-35 degC: 150 kohm, 0 degC: 27.28 kohm, 25 degC: 10 kohm, 90 degC: 1.2 kohm}"
    for element in (
        NTC,
        "{type: ntc, steinhart_hart: [1.40e-3, 2.37e-4, 9.90e-8], tolerance: 0.2 K}",
        "{type: ntc, r25: 10 kohm, polynomial: [3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8], tolerance: 1 %}",
        f"{{type: ntc, table: {table}, tolerance: 1 %}}",
        "{type: pt100, class: A}",
        "{type: pt1000, class: B, why: it is what was at hand}",
    ):
        found = sensor(probe(element, SEPARATE))
        assert found.element is not None
        assert found.element.own.low < 0 < found.element.own.high


AMPERES = (
    tap(SHUNT)
    .replace("lowest_cell:  {span: 1.5 to 4.2 V}", "lowest_cell:  {span: -200 to 200 A}")
    .replace("valid: 1 to 4.5 V, element", "valid: -210 to 210 A, element")
)

WRONG: list[tuple[str, str, str | None]] = [
    ("missing-key", probe("{r25: 10 kohm}"), None),
    ("unknown-word", probe("{type: ptc}"), "ptc"),
    ("unknown-key", probe("{type: ntc, R25: 10 kohm, beta: 3435 K}"), "R25"),
    ("missing-key", probe("{type: ntc, r25: 10 kohm}"), None),
    ("missing-key", probe("{type: ntc, beta: 3435 K}"), None),
    ("missing-key", probe("{type: pt100}"), None),
    ("missing-key", tap("{type: divider, top: 10 kohm}"), None),
    ("missing-key", tap(DIVIDER, "{bits: 12}"), None),
    ("missing-key", probe(NTC, "{bits: 12}"), None),
    ("missing-key", probe(NTC, "{pull_up: 10 kohm, supply: 3.3 V}"), None),
    ("missing-key", probe(NTC[:-1] + ", dissipates: 2 mW/K}", UP), None),
    ("missing-key", edited((PROBE, f"{PROBE}    element: {NTC}\n")), "element"),
    ("keys-exclude", probe(NTC, "{pull_up: 10 kohm, pull_down: 10 kohm}"), None),
    ("keys-exclude", probe(NTC[:-1] + ", steinhart_hart: [1, 2, 3]}"), None),
    ("key-without-effect", edited((PROBE, f"{PROBE}    input: {UP}\n")), "input"),
    ("key-without-effect", edited((PROBE, f"{PROBE}    placed: 0 to 1 K\n")), "placed"),
    ("key-without-effect", probe("{type: pt100, class: A, beta: 3435 K}"), "beta"),
    ("key-without-effect", probe("{type: ntc, r25: 10 kohm, steinhart_hart: [1.4e-3, 2.37e-4, 9.9e-8]}"), "r25"),
    ("key-without-effect", probe(NTC, "{pull_up: 10 kohm, gain: 2 V/V}"), "gain"),
    ("key-without-effect", tap(DIVIDER, "{reference: 2.5 V, pull_up: 10 kohm}"), "pull_up"),
    (
        "key-without-effect",
        probe("{type: pt100, class: A}", "{pull_up: 1 kohm, converts_by: {r25: 1 kohm, beta: 3000 K}}"),
        "converts_by",
    ),
    ("bad-value", probe("an NTC"), "an NTC"),
    ("bad-value", probe(NTC, "10 kohm"), "10 kohm"),
    ("bad-value", probe("{type: ntc, steinhart_hart: [1.4e-3, 2.37e-4]}"), None),
    ("bad-value", probe("{type: ntc, steinhart_hart: [1.4e-3, 2.37e-4, x]}"), "x"),
    ("bad-value", probe("{type: ntc, table: {0 degC: 10 kohm}}"), None),
    ("bad-value", probe("{type: ntc, table: {-35 degC: 10 kohm, 90 degC: 20 kohm}}"), None),
    (
        "bad-value",
        probe(NTC, "{pull_up: 10 kohm, converts_by: {r25: 10 kohm within 1 %, beta: 3435 K}}"),
        "10 kohm within 1 %",
    ),
    ("bad-value", probe("{type: ntc, r25: 10 kohm 1 %, beta: 3435 K}"), "1 %"),
    ("bad-value", tap(measures="[lowest_cell, [x]]"), None),
    ("missing-unit", probe("{type: ntc, r25: 10, beta: 3435 K}"), "10"),
    ("unknown-unit", probe("{type: ntc, r25: 10 kohms, beta: 3435 Q}"), "Q"),
    ("wrong-unit", probe("{type: ntc, r25: 10 V, beta: 3435 K}"), "V"),
    ("wrong-unit", probe("{type: ntc, r25: 10 kohm, beta: 3435 degC}"), "degC"),
    ("wrong-unit", probe(NTC[:-1] + ", tolerance: 1 V}"), "1 V"),
    ("wrong-unit", probe(NTC, "{pull_up: 10 kohm, leads: 0 to 1 V}"), "0 to 1 V"),
    ("wrong-unit", probe("{type: ntc, table: {0 V: 10 kohm, 1 V: 9 kohm}}"), "0 V"),
    ("number-out-of-range", probe("{type: ntc, r25: 0 ohm, beta: 3435 K}"), "0 ohm"),
    ("number-out-of-range", probe("{type: ntc, r25: 10 kohm within 100 %, beta: 3435 K}"), "10 kohm within 100 %"),
    ("number-out-of-range", probe("{type: ntc, r25: 1e30 ohm, beta: 3435 K}"), "1e30"),
    ("number-out-of-range", probe(NTC, "{pull_up: 10 kohm, bits: 64}"), "64"),
    ("named-twice", tap(measures="[lowest_cell, lowest_cell]"), "lowest_cell"),
    ("unknown-name", tap(measures="lowest_cel"), "lowest_cel"),
    ("not-measured", probe(extra="    placed: {lowest_cell: 0 to 1 K}\n"), "lowest_cell"),
    ("no-truth-left", probe(extra="    placed: {coldest_cell: 300 to 301 K, hottest_cell: 0 to 1 K}\n"), "placed"),
    ("element-falls-short", probe("{type: ntc, steinhart_hart: [1.4e-3, 2.37e-4, -9.9e-7]}"), "element"),
    ("element-falls-short", probe(NTC[:-1] + ", dissipates: 1 uW/K}", "{pull_up: 100 ohm, reference: 5 V}"), "element"),
    ("element-falls-short", probe("{type: pt100, class: A}").replace("span: -30", "span: -250"), "element"),
    ("missing-key", AMPERES, "low_tap"),
]


@pytest.mark.parametrize(("ident", "text", "marked"), WRONG, ids=[f"{i}-{w[0]}" for i, w in enumerate(WRONG)])
def test_a_fault_of_an_element_is_found_at_its_place(ident: str, text: str, marked: str | None) -> None:
    with pytest.raises(SchemeError) as caught:
        loads(text)
    found = [f for f in caught.value.findings if f.ident == ident]
    assert found, [(f.ident, f.message) for f in caught.value.findings]
    if marked is not None:
        shown = []
        for f in found:
            line = Source("", text).line(f.place.line)
            shown.append(line[f.place.column - 1 : f.place.column - 1 + f.place.length])
        assert marked in shown


def test_several_faults_of_an_element_come_in_one_go() -> None:
    text = probe("{type: ntc, r25: 10 V, beta: 3435}", "{pull_up: 10, bits: 64}")
    with pytest.raises(SchemeError) as caught:
        loads(text)
    idents = [f.ident for f in caught.value.findings]
    assert idents.count("missing-unit") == 2 or {"wrong-unit", "missing-unit", "number-out-of-range"} <= set(idents)


@pytest.mark.parametrize("text", [probe(), tap(), probe("{type: pt100, class: A}", SEPARATE), probe(NTC, UP, NAMES)])
def test_the_schema_accepts_elements(text: str) -> None:
    assert not list(jsonschema.Draft202012Validator(json_schema()).iter_errors(yaml.safe_load(text)))


@pytest.mark.parametrize("text", [
    probe("{type: ptc}"), probe("{type: ntc, r25: 10, beta: 3435 K}"), probe(NTC, "{pull_up: 10 kohm, bits: none}"),
    probe("{type: ntc, R25: 10 kohm, beta: 3435 K}"), probe("{r25: 10 kohm}"),
])  # fmt: skip
def test_the_schema_refuses_what_is_no_element(text: str) -> None:
    assert list(jsonschema.Draft202012Validator(json_schema()).iter_errors(yaml.safe_load(text)))


@pytest.mark.parametrize("text", [
    "", " ", "ohm", "10", "10 kohm within", "10 kohm within 1", "10 kohm within -1 %", "10 kohm within 1 V", "10 kohm +- 1 %",
    "1,5 kohm", "10 __import__", "10 ohm**9", "10 ohm^9", "1e99 ohm", "9" * 50 + " ohm", "nan ohm", "10 os.system", "10 degF",
    "10 kohm within 1 % or so", "10 ohm;ohm", "10 ohm/ohm/ohm/ohm/ohm/ohm", "ten ohm", "10 \x00", "٣ ohm V",
])  # fmt: skip
def test_what_is_no_rated_value_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(GrammarError) as caught:
        read_rated(text, Dimension.RESISTANCE)
    assert 0 <= caught.value.start <= len(text)
    assert caught.value.length >= 1


@pytest.mark.parametrize(("text", "dimension", "nominal"), [
    ("2 mW/K", Dimension.DISSIPATION, 0.002), ("2 milliwatt / kelvin", Dimension.DISSIPATION, 0.002),
    ("20 V/V", Dimension.GAIN, 20), ("50 mV/V", Dimension.GAIN, 0.05), ("10 megaohm", Dimension.RESISTANCE, 1e7),
    ("3.3 kΩ", Dimension.RESISTANCE, 3300), ("75 mV", Dimension.VOLTAGE, 0.075),
])  # fmt: skip
def test_units_a_scheme_never_needs_are_left_to_pint(text: str, dimension: Dimension, nominal: float) -> None:
    assert float(read_rated(text, dimension).nominal) == nominal


NUMBERS = ("0", "1", "-1", "1e-15", "1e15", "1e-9", "10", "3435", "27.28", "0.001", "5e3", "298", "1e10")


@pytest.mark.parametrize("seed", range(4))
def test_whatever_numbers_stand_there_the_element_is_read_or_refused(seed: int) -> None:
    """Never a traceback, never a search without end: numbers no part has, tolerances that reach nothing."""
    rng = random.Random(seed)
    refused = 0
    for _ in range(40):
        n = [rng.choice(NUMBERS) for _ in range(9)]
        off = [rng.choice(("", " within 1 %", " within 99.9999 %")) for _ in range(3)]
        curve = rng.choice((
            f"r25: {n[0]} kohm{off[0]}, beta: {n[1]} K{off[1]}",
            f"steinhart_hart: [{n[0]}, {n[1]}, {n[2]}]",
            f"r25: {n[0]} ohm{off[0]}, polynomial: [{n[1]}, {n[2]}, {n[3]}, {n[4]}]",
            f"table: {{-273 degC: {n[0]} Mohm, 25 degC: {n[1]} ohm, 1000 degC: {n[2]} ohm}}",
        ))  # fmt: skip
        wiring = f"{{pull_up: {n[5]} kohm{off[2]}, supply: {n[6]} V, reference: {n[7]} V{off[1]}, bits: 32}}"
        try:
            loads(probe(f"{{type: ntc, {curve}, tolerance: {n[8]} K}}", rng.choice((wiring, UP))))
        except SchemeError:
            refused += 1
    assert refused > 10


@pytest.mark.parametrize("unit", ["degF", "degC", "degRe", "kelvin / s"])
def test_what_measures_no_difference_of_temperatures_is_refused(unit: str) -> None:
    """Their zero lies elsewhere, or they are no temperature at all."""
    with pytest.raises(GrammarError) as caught:
        read_rated(f"3435 {unit}", Dimension.WARMTH)
    assert caught.value.ident in ("wrong-unit", "unknown-unit")


def test_a_scheme_without_elements_starts_neither_pint_nor_the_ball_arithmetic() -> None:
    code = (
        "import sys; from tests.support.bench import BENCH; from interlock.scheme.read import loads; loads(BENCH); "
        "print(' '.join(m for m in sys.modules if '.' not in m))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "interlock" in loaded
    assert not {"pint", "flint"} & set(loaded)
