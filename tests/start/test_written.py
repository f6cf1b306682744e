"""Whatever the answers, the written scheme reads, has no finding, and its cases pass."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings

from interlock.check.run import check
from interlock.logic.cases import run_case
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import LineForm, Must
from interlock.start.answers import RESERVED, SUFFIXES, Answers
from interlock.start.questions import answers_from
from interlock.start.write import scheme_text
from tests.start.options import Options, options

EVERY_DEVICE = {
    "shunt": "yes",
    "probes": "2",
    "sources": "roof=solar:contactor, field=solar:remote:contactor, hydro, wind, generator, shore, alternator, "
    "second=alternator:contactor",
    "loads": "inverter:contactor, dc_branch, radio=dc_branch:essential, heater, converter, "
    "big=inverter:remote:contactor",
    "one_at_a_time": "yes",
}
SETS: dict[str, Options] = {
    "nothing asked": {},
    "every device": EVERY_DEVICE,
    "no monitor, no button": {
        "monitor": "no",
        "reset_button": "no",
        "sources": "shore, generator:contactor, solar:remote:contactor",
        "loads": "converter",
        "one_at_a_time": "yes",
        "scan": "1 s",
    },
    "only heat": {"shunt": "yes", "sources": "generator", "loads": "heater", "chemistry": "LTO"},
    "only the last": {"shunt": "yes", "sources": "wind", "loads": "radio=converter:essential", "chemistry": "NMC"},
    "as coarse as can be": {"probe_error": "2 K", "probe_offset": "3 K", "loads": "heater, inverter"},
}


def written(given: Options) -> tuple[Answers, str, Scheme]:
    """The answers, the text and the scheme."""
    answers = answers_from(given)
    text = scheme_text(answers)
    return answers, text, loads(text, "new.yaml")


def judge(given: Options) -> None:
    """Everything a written scheme must be."""
    answers, text, scheme = written(given)
    assert scheme.title == answers.title
    assert scheme.scan_us == answers.scan_ms * 1_000
    assert check(scheme) == ()
    for case in scheme.cases:
        result = run_case(scheme, case)
        failures = [(step.number, f.name, f.expected, f.got) for step in result.steps for f in step.failures]
        assert result.passed, (case.name, failures)
        assert not failures
    for device in (*answers.sources, *answers.loads):
        assert len(scheme.paths[device.name].outputs) == device.remote + device.contactor
    assert text == scheme_text(answers_from(given))
    assert text.endswith("\n")
    assert all(line == line.rstrip() for line in text.splitlines())


@pytest.mark.parametrize("name", SETS)
def test_a_written_scheme_reads_without_a_finding_and_its_cases_pass(name: str) -> None:
    judge(SETS[name])


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(options())
def test_any_answers_that_go_together_make_a_scheme_without_findings(given: Options) -> None:
    judge(given)


@pytest.mark.parametrize("name", SETS)
def test_every_rule_and_threshold_says_why(name: str) -> None:
    _, _, scheme = written(SETS[name])
    for rule in scheme.rules.values():
        assert len(rule.why) > 20, rule.name


@pytest.mark.parametrize("name", SETS)
def test_a_dead_board_and_a_broken_wire_stop_everything_but_a_dump_load(name: str) -> None:
    _, _, scheme = written(SETS[name])
    for output in scheme.outputs.values():
        dump = output.drives[0].endswith("_dump_load")
        assert str(output.contact) == ("normally_closed" if dump else "normally_open")
        assert str(output.energised_when) == ("stops" if dump else "runs")
        assert output.runs_when.when_made


@pytest.mark.parametrize("name", SETS)
def test_every_path_that_charges_or_draws_has_a_requirement_for_each_danger(name: str) -> None:
    _, _, scheme = written(SETS[name])
    for path in scheme.paths.values():
        if path.name.endswith("_dump_load"):
            continue
        found = {
            c.name
            for claim in scheme.claims
            if claim.path == path.name and claim.must is Must.NEVER_RUNNING
            for c in claim.conditions
        }
        wanted = {"coldest_cell", "hottest_cell", "highest_cell" if path.flow.charge is not None else "lowest_cell"}
        assert wanted <= found


@pytest.mark.parametrize("name", SETS)
def test_every_device_is_promised_to_run_when_nothing_is_wrong(name: str) -> None:
    answers, _, scheme = written(SETS[name])
    served = {claim.path for claim in scheme.claims if claim.must is Must.NEVER_STOPPED}
    assert {d.name for d in (*answers.sources, *answers.loads)} <= served


@pytest.mark.parametrize("name", SETS)
def test_nearly_every_rule_trips_again_in_some_case(name: str) -> None:
    _, _, scheme = written(SETS[name])
    tripped: set[str] = set()
    for case in scheme.cases:
        cleared: set[str] = set()
        for step in run_case(scheme, case).steps:
            active = {view.rule for view in step.rules if view.state is not None and view.state.active}
            tripped |= active & cleared
            cleared |= set(scheme.rules) - active
    assert set(scheme.rules) - tripped <= {"probes_apart", "frost_stop", "heater_too_warm"}


@pytest.mark.parametrize("name", SETS)
def test_no_device_may_take_a_name_that_the_scheme_uses_itself(name: str) -> None:
    answers, _, scheme = written(SETS[name])
    devices = {d.name for d in (*answers.sources, *answers.loads)}
    derived = {f"{device}_{suffix}" for device in devices for suffix in SUFFIXES}
    used = {
        *scheme.units, *scheme.quantities, *scheme.sensors, *scheme.readings, *scheme.lines, *scheme.rules,
        *scheme.groups, *scheme.paths, *scheme.outputs, *(c.requirement for c in scheme.claims),
    } - {"sources", "loads", "all"}  # fmt: skip
    own = used - devices - derived
    numbered = {n for n in own if re.fullmatch(r"(probe_|K|R)\d+", n)}
    assert own - numbered <= RESERVED


def test_every_reserved_name_and_suffix_is_used_by_some_scheme() -> None:
    used: Counter[str] = Counter()
    for given_options in SETS.values():
        _, text, _ = written(given_options)
        used.update(n for n in RESERVED if f"{n}:" in text or f"{n}]" in text or f"{n}," in text)
        used.update(s for s in SUFFIXES if f"_{s}:" in text)
    assert set(RESERVED) | set(SUFFIXES) == set(used)


def test_cautions_stand_at_the_top() -> None:
    _, text, _ = written({})
    head = text.partition("scheme:")[0]
    for words in ("still holds its energy", "thousands of amperes", "arcs", "Local code", "certifies nothing"):
        assert words in head
    assert "no source" in head


def test_a_pack_above_60_volts_is_said_to_kill_by_touch() -> None:
    # LFP, 3.65 V a cell at the most: 16 cells stay at 58.4 V, 17 come to 62.05 V.
    assert "can kill" not in written({"series": "16"})[1].partition("scheme:")[0]
    assert "can kill" in written({"series": "17"})[1].partition("scheme:")[0]


def test_a_device_without_a_remote_input_gets_a_contactor_and_a_word_about_it() -> None:
    _, text, scheme = written({"sources": "alternator:contactor, solar:contactor", "loads": "inverter:contactor"})
    assert [str(scheme.outputs[o].contact) for o in ("K1", "K2", "K3", "K4")] == ["normally_open"] * 4
    flat = " ".join(text.replace("#", " ").split())
    assert "a contactor in the field lead, never in the output" in flat
    assert "on the array's side" in flat
    assert "a contactor that closes only after its capacitors were filled" in flat


def test_a_turbine_keeps_a_load_whatever_stops_its_charging() -> None:
    _, _, scheme = written({"sources": "hydro"})
    assert not any(
        t.path == "hydro_turbine_dump_load" and rule.name != "hydro_turbine_on_pack"
        for rule in scheme.rules.values()
        for t in rule.blocks
    )
    assert {c.requirement for c in scheme.claims if c.path == "hydro_turbine_dump_load"} == {
        "hydro_turbine_loaded",
        "hydro_turbine_spares_pack",
    }


def test_permits_of_a_cut_wire_read_off() -> None:
    _, _, scheme = written({})
    sent = [line for line in scheme.lines.values() if line.form is LineForm.LOW_WHEN]
    assert [line.name for line in sent] == ["charge_permit", "discharge_permit"]
    assert not any(line.undriven_reads for line in sent)
