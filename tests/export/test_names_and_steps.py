"""Identifiers are valid, unique and no words of the language; steps represent every limit and keep every comparison."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from interlock.export.c import c_files, c_names
from interlock.export.comments import WIDTH, plain
from interlock.export.names import C_WORDS, ST_WORDS, Names, identifier
from interlock.export.st import st_files
from interlock.export.steps import in_steps, widened
from interlock.export.unit import NothingToDoError, TooWideError, unit_code
from interlock.logic.readings import compare
from interlock.records import replace
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.read import load, loads
from tests.support.bench import edited
from tests.support.c_code import COMPILERS, FAST, SANITIZED, compile_c, have
from tests.support.st_run import Block

ROOT = Path(__file__).parents[2]
HUT = load(ROOT / "rules" / "alpine_hut.yaml")
VALID = re.compile(r"[A-Za-z][A-Za-z0-9]*(_[A-Za-z0-9]+)*\Z")


@pytest.mark.parametrize(
    "text", ["cold-stop", "größter_wert", "Ж", "温度", "a__b", "_x", "9 lives", "int", "", "K1", "ünïcode", "a-", "ß"]
)
def test_any_name_becomes_an_identifier_of_both_languages(text: str) -> None:
    assert VALID.match(identifier(text)), identifier(text)
    for words, folded in ((C_WORDS, False), (ST_WORDS, True)):
        names = Names(words, folded=folded)
        taken = [names.take(text) for _ in range(3)]
        assert len({n.lower() if folded else n for n in taken}) == 3
        assert all(VALID.match(n) and n not in words for n in taken)


def test_names_that_differ_in_case_alone_are_one_in_structured_text() -> None:
    names = Names(ST_WORDS, folded=True)
    assert names.take("Probe") == "Probe"
    assert names.take("probe") == "probe_2"
    assert Names(C_WORDS).take("Probe") == "Probe"


def test_a_long_name_keeps_its_length_when_it_must_be_told_apart() -> None:
    names = Names((), folded=False)
    first, second = names.take("x" * 80, longest=20), names.take("x" * 80, longest=20)
    assert (first, second) == ("x" * 20, "x" * 18 + "_2")


@pytest.mark.skipif(not have(*COMPILERS), reason="gcc and clang are not both installed")
def test_a_scheme_full_of_awkward_names_compiles(tmp_path: Path) -> None:
    """Words of both languages, other scripts, names that become alike, and text that would end a comment."""
    text = edited()
    renamed = {
        "probe": "int", "low_tap": "größe", "high_tap": "grosse", "K1": "out", "K2": "OUT", "cold_stop": "while",
        "hot_stop": "Ж", "reset_button": "switch", "monitor_charge_ok": "a-b", "monitor_discharge_ok": "a_b",
        "bench_charger": "state", "lamp_circuit": "END_VAR", "board": "unit-1",
    }  # fmt: skip
    for old, new in renamed.items():
        text = re.sub(rf"(?<![\w-]){old}(?![\w-])", new, text)
    text = text.replace(
        "why: an overheated pack needs eyes on it before it runs again", 'why: "*/ int x; /* ??/ \\\\ *) (* ° “x”"'
    )
    scheme = loads(text)
    for unit in scheme.units:
        code = unit_code(scheme, unit, "awkward */ name.yaml")
        for name, source in c_files(code).items():
            (tmp_path / name).write_text(source, encoding="ascii")
        for compiler in COMPILERS:
            compile_c(compiler, [tmp_path / f"{c_names(code).prefix}.c"], tmp_path / "x.o", [*FAST, "-c"])
        (block,) = st_files(code).values()
        assert Block(block).kinds


def test_external_names_are_told_apart_by_their_first_31_characters() -> None:
    scheme = loads(edited(("Tool-crib battery bench", "A title that goes on and on for ever and a day")))
    for unit in scheme.units:
        code = unit_code(scheme, unit, "x.yaml")
        text = c_files(code)[f"{c_names(code).prefix}.h"]
        external = re.findall(r"^(?:void|bool) (\w+)\(", text, re.M)
        assert len(external) == 3 == len({name[:31] for name in external})


def test_no_text_ends_or_begins_a_comment() -> None:
    assert not re.search(r"\*/|/\*|\*\)|\(\*|\?\?|\\|[^ -~]", plain("a*/b/*c*)d(*e??/f\\g\nhéΩ**//***)))((("))


def test_steps_are_thousandths_where_that_suffices() -> None:
    steps = in_steps(HUT)
    assert set(steps.of.values()) == {1000}
    assert steps.of["coldest_reading"] == steps.of["floor_probe"]
    assert steps.rounds
    assert not in_steps(HUT, exact=True).rounds


@pytest.mark.parametrize(
    ("old", "new", "sensor", "step"),
    [
        ("below 2.80 V for 3 s", "below 2.8005 V for 3 s", "low_tap", 100),
        ("below 2.80 V for 3 s", "below 2.800001 V for 3 s", "low_tap", 1),
        ("valid: -35 to 90 degC", "valid: -35.0001 to 90 degC", "probe", 100),
    ],
)
def test_a_finer_limit_asks_for_finer_steps(old: str, new: str, sensor: str, step: int) -> None:
    assert in_steps(loads(edited((old, new)))).of[sensor] == step


WIDE = (
    ("lowest_cell:  {span: 1.5 to 4.2 V}", "lowest_cell:  {span: 1.5 to 900000 V}"),
    ("low_tap:  {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}",
     "low_tap:  {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 900000000 V}"),
)  # fmt: skip


def test_a_wide_range_asks_for_coarser_steps_or_more_bits() -> None:
    coarse = loads(edited(*WIDE))
    assert in_steps(coarse).of["low_tap"] == 100_000  # 9e8 V in steps of 0.1 V is beyond 32 bits, 2.8 V wants 0.1 V
    assert unit_code(coarse, "cell_monitor", "x.yaml").bits == 64
    assert unit_code(coarse, "board", "x.yaml").bits == 32
    assert unit_code(HUT, "board", "x.yaml", exact=True).bits == 32


def test_what_64_bits_do_not_hold_is_refused() -> None:
    code = unit_code(HUT, "board", "x.yaml")
    wide = code.program.nodes[-1].__class__
    nodes = (*code.program.nodes, wide(code.program.nodes[-1].op, (), 0, False, 0, 2**70))
    too_wide = replace(code, program=replace(code.program, nodes=nodes))
    with pytest.raises(TooWideError, match="64 bits"):
        _ = too_wide.bits


def _limits(scheme: Scheme) -> list[Limit]:
    return [t.test for rule in scheme.rules.values() for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)]


def test_comparisons_in_steps_are_the_schemes_own() -> None:
    steps = in_steps(HUT)
    for whole, divided in zip(_limits(HUT), _limits(steps.scheme), strict=True):
        step = whole.value // divided.value
        assert step == 1000
        for k in range(divided.value - 3, divided.value + 4):
            assert compare(k, divided) is compare(k * step, whole)


def test_rounding_is_one_step_more_of_error_each_way() -> None:
    wide = widened(HUT, in_steps(HUT))
    for name, sensor in wide.sensors.items():
        for one, was in zip(sensor.measures, HUT.sensors[name].measures, strict=True):
            assert (one.interval.low, one.interval.high) == (was.interval.low - 1000, was.interval.high + 1000)
    assert widened(HUT, in_steps(HUT, exact=True)) == HUT


def test_a_unit_without_work_is_refused() -> None:
    scheme = loads(edited(("units: [board, cell_monitor]", "units: [board, cell_monitor, spare]")))
    with pytest.raises(NothingToDoError, match="spare has no rules"):
        unit_code(scheme, "spare", "x.yaml")


def test_each_rule_stands_beside_its_code_with_its_place_and_reason() -> None:
    code = unit_code(HUT, "board", "alpine_hut.yaml")
    source = c_files(code)["alpine_hut_board.c"]
    folded = " ".join(source.replace("*", " ").split())
    for rule in HUT.rules.values():
        if rule.unit == "board":
            assert f"rule {rule.name} (alpine_hut.yaml:{rule.place.line})" in folded
            assert plain(rule.why).rstrip(". ") in folded
    assert max(map(len, source.splitlines())) <= WIDTH + 12


def test_the_step_has_no_loop_no_call_and_no_floating_point() -> None:
    source = c_files(unit_code(HUT, "board", "alpine_hut.yaml"))["alpine_hut_board.c"]
    code = re.sub(r"/\*.*?\*/", "", source, flags=re.S)
    assert not re.search(r"\b(for|while|do|goto|float|double|malloc|free)\b", code)
    assert set(re.findall(r"(\w+)\(", code)) <= {
        "alpine_hut_board_power_up", "alpine_hut_board_keep", "alpine_hut_board_step", "if",
    }  # fmt: skip


@pytest.mark.skipif(not have("gcc"), reason="gcc is not installed")
def test_the_stack_is_bounded_and_small(tmp_path: Path) -> None:
    for name, text in c_files(unit_code(HUT, "board", "alpine_hut.yaml")).items():
        (tmp_path / name).write_text(text)
    compile_c("gcc", [tmp_path / "alpine_hut_board.c"], tmp_path / "x.o", ["-Os", "-c", "-fstack-usage"])
    usage = {line.split()[0].split(":")[-1]: line.split()[1:] for line in (tmp_path / "x.su").read_text().splitlines()}
    assert usage["alpine_hut_board_step"][1] == "static"
    assert int(usage["alpine_hut_board_step"][0]) < 1024


@pytest.mark.skipif(not have("cppcheck"), reason="cppcheck is not installed")
def test_a_static_analyser_finds_nothing(tmp_path: Path) -> None:
    from interlock.export.host import host_file

    # the hut's board takes it a quarter of a minute: tests/benchmarks/bench_export.py
    for scheme, file in ((HUT, "alpine_hut"), (load(ROOT / "rules" / "survey_launch.yaml"), "survey_launch")):
        for unit in scheme.units[1:] if scheme is HUT else scheme.units:
            folder = tmp_path / file / unit
            folder.mkdir(parents=True)
            code = unit_code(scheme, unit, f"{file}.yaml")
            for name, text in {**c_files(code), **host_file(code)}.items():
                (folder / name).write_text(text)
            done = subprocess.run(
                ["cppcheck", "--enable=all", "--inconclusive", "--std=c99", "--suppress=missingIncludeSystem",
                 "--error-exitcode=3", "--quiet", *map(str, sorted(folder.glob("*.c")))],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            assert (done.returncode, done.stderr) == (0, ""), done.stderr


def test_sanitizers_stop_a_program_that_overflows(tmp_path: Path) -> None:
    """The check can fail: undefined behaviour ends the program that the tests build."""
    if not have(*COMPILERS):
        pytest.skip("gcc and clang are not both installed")
    (tmp_path / "bad.c").write_text("int main(int n, char **v)\n{\n    (void)v;\n    return 2147483647 + n;\n}\n")
    for compiler in COMPILERS:
        compile_c(compiler, [tmp_path / "bad.c"], tmp_path / "bad", SANITIZED)
        assert subprocess.run([tmp_path / "bad"], capture_output=True, check=False).returncode != 0
