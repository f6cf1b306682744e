"""A violation is shortened, followed to its end, told, and turned into a case that fails until it is mended."""

from __future__ import annotations

import pytest

from interlock.fuzz.as_case import as_case
from interlock.fuzz.faults import Plan
from interlock.fuzz.found import found
from interlock.fuzz.script import ImpossibleError, Script, Step
from interlock.fuzz.story import claim_text, facts, story
from interlock.logic.cases import run_case
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from tests.fuzz.campaigns import FLAWED, violation
from tests.support.bench import BENCH, edited

SLOW = edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s"))
WARM = {"coldest_cell": 20_000_000, "hottest_cell": 20_000_000, "lowest_cell": 3_300_000, "highest_cell": 3_310_000}
READ = {"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000}


def clumsy(scheme: Scheme, faults: tuple[str, ...] = ()) -> Script:
    """A long-winded way to a frozen charge on the slow bench: 19 steps where three will do."""

    def step(scans: int, *, cold: bool = False, button: bool = False, low: int = 3_300_000) -> Step:
        truth = {
            **WARM,
            "lowest_cell": low,
            **({"coldest_cell": -1_000_000, "hottest_cell": 1_000_000} if cold else {}),
        }
        readings = {**READ, "low_tap": low, **({"probe": -500_000} if cold else {})}
        return Step(truth, readings, {"reset_button": button}, scans=scans)

    wander = [step(100 + i, low=3_200_000 + 10_000 * i) for i in range(10)]
    steps = (step(3500), step(1, button=True), *wander, step(40), step(7, button=True), step(50), step(900, cold=True))
    return Script(Plan.of(scheme, [scheme.faults[f] for f in faults]), steps)


def test_a_long_winded_behaviour_becomes_a_short_one() -> None:
    """Warm until hot_stop can be reset, the button, cold: and not a scan more than it takes."""
    scheme = loads(SLOW)
    short = found(scheme, scheme.claims[0], clumsy(scheme)).script
    # 3001 scans warm, then the button and the cold in one: 100 scans running make 101, 10.1 s
    assert [(s.scans, s.lines["reset_button"], s.truth["coldest_cell"] < 0) for s in short.steps] == [
        (3001, False, False),
        (100, True, True),
    ]
    assert {s.truth["lowest_cell"] for s in short.steps} == {3_300_000}


def test_faults_that_the_violation_does_not_need_are_left_out() -> None:
    scheme = loads(SLOW)
    short = found(scheme, scheme.claims[0], clumsy(scheme, ("K2.welded", "K2.wrong_contact", "K1.welded"))).script
    assert short.plan.names == ()


def test_the_violation_is_followed_to_its_end() -> None:
    """20 s of delay, 100 ms to stop, 100 ms for truth: 20.2 s, however early it was cut off when found."""
    scheme = loads(SLOW)
    seen = found(scheme, scheme.claims[0], clumsy(scheme))
    assert (seen.exposure_us, seen.endless) == (20_200_000, False)


def test_a_violation_without_an_end_says_so() -> None:
    scheme = loads(edited(("for 60 s, blocks: sources}", 'for 60 s, alarm: "cold"}')))
    assert violation(scheme, "frozen_charge/bench_charger").endless


def test_a_behaviour_that_the_world_does_not_admit_is_never_shown() -> None:
    """A probe that reads 20 degC at -1 degC is no finding, but a fault of the fuzzer."""
    scheme = loads(SLOW)
    script = clumsy(scheme)
    lying = replace(script.steps[-1], readings=READ)
    with pytest.raises(ImpossibleError):
        found(scheme, scheme.claims[0], replace(script, steps=(*script.steps[:-1], lying)))


def test_a_story_tells_what_the_world_does_and_what_comes_of_it() -> None:
    scheme = loads(SLOW)
    seen = found(scheme, scheme.claims[0], clumsy(scheme))
    assert claim_text(scheme, seen.claim) == (
        "bench_charger must never be running for longer than 10 s while coldest_cell is below 0 degC"
    )
    told = [(line.at_us, line.says) for line in story(scheme, seen)]
    assert told[:4] == [
        (
            0,
            (
                "coldest_cell is 20 degC, hottest_cell is 20 degC, lowest_cell is 3.3 V, highest_cell is 3.31 V",
                "probe reads 20 degC, low_tap reads 3.3 V, high_tap reads 3.31 V",
                "all rules behind it are active",
                "bench_charger is stopped",
            ),
        ),
        (30_000_000, ("cell_full clears",)),
        (31_000_000, ("full_stop clears",)),
        (60_000_000, ("cold_stop clears",)),
    ]
    assert told[4:] == [
        (
            300_100_000,
            (
                "coldest_cell is -1 degC, hottest_cell is 1 degC",
                "probe may read -0.5 degC",
                "reset_button is on",
                "hot_stop clears",
                "bench_charger runs",
            ),
        ),
        (
            310_100_000,
            (
                "bench_charger may have been running in all this since 300.1 s and truth may have turned up to 100 ms "
                "before: 10.1 s where 10 s is allowed",
            ),
        ),
    ]


def test_a_reading_that_stays_while_truth_moves_is_told_as_such() -> None:
    """The probe's own error hides the cold: 1.5 degC is what it read before and what it may still read at -0.5 degC."""
    scheme = loads(edited(("trips: below 3 degC for 2 s", "trips: below -1 degC for 2 s")))
    script = clumsy(scheme)
    mild = {**WARM, "coldest_cell": 1_500_000, "hottest_cell": 1_500_000}
    frozen = {**WARM, "coldest_cell": -500_000, "hottest_cell": 1_500_000}
    read = {**READ, "probe": 1_500_000}
    steps = (
        *script.steps[:2],
        Step(mild, read, {"reset_button": False}, scans=10),
        Step(frozen, read, {"reset_button": False}, scans=200),
    )
    seen = replace(found(scheme, scheme.claims[0], replace(script, steps=steps)), script=replace(script, steps=steps))
    words = [says for line in story(scheme, seen) for says in line.says]
    assert "probe reads 1.5 degC" in words
    assert "probe may still read 1.5 degC" in words
    assert not any("cold_stop trips" in says for says in words)


def in_file(text: str, case: str) -> Scheme:
    """The scheme with a case at its end."""
    return loads(text.rstrip("\n") + "\n" + case)


def test_a_case_fails_until_the_mistake_is_mended() -> None:
    """Read back from its text it is the case that was run; in the mended scheme it passes."""
    seen = violation(loads(SLOW), "frozen_charge/bench_charger")
    case = as_case(loads(SLOW), seen)
    assert case is not None
    slow, mended = in_file(SLOW, case.text), in_file(BENCH, case.text)
    assert slow.cases[-1] == case.case
    assert not run_case(slow, slow.cases[-1]).passed
    assert run_case(mended, mended.cases[-1]).passed


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("hut_heater_dead_end", "pack_thawed/cell_heater"),
        ("hut_turbine_unloaded", "turbine_loaded/dump_load"),
        ("hut_probe_dead_range", "hot_discharge/rescue_radio"),
        ("launch_path_forgotten", "frozen_charge/inverter_charger"),
        ("launch_contact_reversed", "branch_served/branch_converter"),
    ],
)
def test_a_case_of_a_flawed_scheme_is_read_back_and_fails(file: str, name: str) -> None:
    text = (FLAWED / f"{file}.yaml").read_text(encoding="utf-8")
    scheme = load(FLAWED / f"{file}.yaml")
    case = as_case(scheme, violation(scheme, name))
    assert case is not None
    again = in_file(text, case.text)
    assert again.cases[-1] == case.case
    result = run_case(again, again.cases[-1])
    assert not any(step.failures for step in result.steps[:-1])
    assert [f.name for f in result.steps[-1].failures] == [name.split("/")[1]]


@pytest.mark.parametrize("fault", ["K1.welded", "K1~K2.swapped", "probe.stuck", "board.frozen", "board.power_cycled"])
def test_a_case_names_its_faults_at_their_onset(fault: str) -> None:
    scheme = loads(BENCH)
    name = "charging_served/bench_charger" if fault == "board.power_cycled" else "frozen_charge/bench_charger"
    seen = violation(scheme, name, given=(scheme.faults[fault],))
    case = as_case(scheme, seen)
    assert case is not None
    again = in_file(BENCH, case.text)
    assert again.cases[-1] == case.case
    assert not run_case(again, again.cases[-1]).passed
    assert fault in {f.name for step in again.cases[-1].steps for f in step.faults}


def test_an_assumed_reset_becomes_a_press_of_the_button() -> None:
    """At the scan at which the person is assumed to give it, cut out of the step it falls in."""
    text = edited(("clears: on for 1 s, blocks: sources", "clears: on for 6 min, blocks: sources"))
    scheme = loads(text.replace("clears: on for 1 s, blocks: loads", "clears: on for 9 min, blocks: loads"))
    seen = violation(scheme, "charging_served/bench_charger")
    case = as_case(scheme, seen)
    assert case is not None
    presses = [step.presses for step in case.case.steps]
    assert presses == [(), ("reset_button",)]
    assert case.case.steps[0].scans == 3001


def test_resets_by_no_button_make_no_case() -> None:
    """A reset line that a rule sends can't be pressed."""
    text = edited(
        (
            "monitor_discharge_ok: {low_when: [cell_empty]}",
            "monitor_discharge_ok: {low_when: [cell_empty]}\n  ready: {high_when: [cell_full]}",
        ),
        ("reset_by: reset_button", "reset_by: ready"),
        ("clears: on for 1 s, blocks: sources", "clears: on for 6 min, blocks: sources"),
        ("highest_cell: below 3.35 V}", "highest_cell: below 4 V}"),
    )
    scheme = loads(text)
    seen = violation(scheme, "charging_served/bench_charger")
    assert any("hot_stop clears" in line.says for line in story(scheme, seen))  # a reset was assumed
    assert as_case(scheme, seen) is None


def test_facts_are_plain_data_as_a_scheme_writes_them() -> None:
    scheme = loads(SLOW)
    step = clumsy(scheme).steps[-1]
    assert facts(scheme, step, 1_500_000) == {
        "at_s": 1.5,
        "for_s": 90.0,
        "truth": {
            "coldest_cell": "-1 degC",
            "hottest_cell": "1 degC",
            "lowest_cell": "3.3 V",
            "highest_cell": "3.31 V",
        },
        "readings": {"probe": "-0.5 degC", "low_tap": "3.3 V", "high_tap": "3.31 V"},
        "lines": {"reset_button": "off"},
        "faults": [],
        "power_cycled": [],
    }
