"""What there is to find is found, within the number of examples stated here; and where there is nothing, nothing is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.scheme.read import load, loads
from tests.fuzz.campaigns import FLAWED, RULES, attacked
from tests.support.bench import BENCH, edited

# For each claim that a file says `prove` refutes: the number of examples within which it is found here. Seeds differ
# widely, so each stands for several times what was seen with eight seeds on the median.
WITHIN = {
    "hut_heater_dead_end pack_thawed/cell_heater": 5,
    "hut_override_renewable override_ends/rescue_radio": 300,
    "hut_probe_dead_range hot_discharge/rescue_radio": 5,
    "hut_probe_error_forgotten frozen_charge/roof_pv": 5,
    "hut_supplies_overlap one_supply/generator_charger": 300,
    "hut_turbine_unloaded turbine_loaded/dump_load": 5,
    "launch_contact_reversed empty_discharge/branch_converter": 80,
    "launch_contact_reversed branch_served/branch_converter": 5,
    "launch_contactor_before_field field_first/alternator": 40,
    "launch_path_forgotten frozen_charge/inverter_charger": 5,
}


def mistakes() -> list[tuple[Path, str]]:
    """(file, claim) as the flawed files say themselves."""
    found = []
    for path in sorted(FLAWED.glob("*.yaml")):
        found += [(path, c) for c in re.findall(r"^# finds: prove (\S+)$", path.read_text(encoding="utf-8"), re.M)]
    return found


def test_every_dynamic_mistake_has_its_number() -> None:
    assert {f"{path.stem} {claim}" for path, claim in mistakes()} == set(WITHIN)


@pytest.mark.parametrize(("path", "claim"), mistakes(), ids=lambda x: x.stem if isinstance(x, Path) else x)
def test_a_dynamic_mistake_is_found_within_its_number_of_examples(path: Path, claim: str) -> None:
    within = WITHIN[f"{path.stem} {claim}"]
    report = attacked(load(path), claim, examples=within)
    result = next(r for r in report.results if r.claim.name == claim)
    print(
        f"{path.stem} {claim}: found at {result.found_at} of {within}, {report.examples / report.seconds:.0f} a second"
    )
    assert result.found is not None
    assert result.found.exposure_us > result.claim.longer_than.us


@pytest.mark.parametrize(("name", "claims"), [("alpine_hut", 44), ("survey_launch", 25)])
def test_nothing_is_found_in_the_good_schemes(name: str, claims: int) -> None:
    report = attacked(load(RULES / f"{name}.yaml"), examples=4)
    print(f"{name}: {report.examples} examples, {report.examples / report.seconds:.0f} a second")
    assert report.examples == 4 * claims
    assert [r.claim.name for r in report.violated] == []
    seen = [r for r in report.results if r.longest_us is not None]
    assert len(seen) > 0.9 * claims  # and it is not that nothing was tried


def test_the_bench_is_driven_to_the_very_exposures_worked_out_by_hand() -> None:
    """By hand, as the reference says: 2.2 s, 1.2 s, 3.2 s, 2.2 s and 300.1 s; never beyond."""
    report = attacked(loads(BENCH), examples=40)
    assert {r.claim.name: r.longest_us for r in report.results} == {
        "frozen_charge/bench_charger": 2_200_000,
        "overfull_charge/bench_charger": 1_200_000,
        "empty_discharge/lamp_circuit": 3_200_000,
        "hot_discharge/lamp_circuit": 2_200_000,
        "charging_served/bench_charger": 300_100_000,
    }
    assert not report.violated


@pytest.mark.parametrize(
    ("old", "new", "claim"),
    [
        # too slow, by hand: 20 s + 0.2 s, 4.9 s + 0.2 s
        ("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s", "frozen_charge/bench_charger"),
        ("trips: above 3.55 V for 1 s", "trips: above 3.55 V for 4.9 s", "overfull_charge/bench_charger"),
        # beyond the limit with the probe's error: 2 K high at -1 degC; 10 mV low above 3.65 V
        ("trips: below 3 degC for 2 s", "trips: below -1 degC for 2 s", "frozen_charge/bench_charger"),
        ("trips: below 3 degC for 2 s", "trips: below 1.999999 degC for 2 s", "frozen_charge/bench_charger"),
        ("trips: above 3.55 V for 1 s", "trips: above 3.65 V for 1 s", "overfull_charge/bench_charger"),
        # a path that nobody stops, a reset that waits too long
        ("for 60 s, blocks: sources}", 'for 60 s, alarm: "cold"}', "frozen_charge/bench_charger"),
        ("clears: below 45 degC for 5 min", "clears: below 45 degC for 6 min", "charging_served/bench_charger"),
        # a threshold inside the condition, by one thousandth of a degree
        ("clears: above 5 degC for 60 s", "clears: above 5.501 degC for 60 s", "charging_served/bench_charger"),
    ],
)  # fmt: skip
def test_a_bench_with_one_figure_changed_is_refuted(old: str, new: str, claim: str) -> None:
    report = attacked(loads(edited((old, new))), examples=40)
    print(f"{new}: found at {[(r.claim.name, r.found_at) for r in report.violated]}")
    assert [r.claim.name for r in report.violated] == [claim]


def test_an_output_that_takes_its_time_is_refuted_where_the_time_is_short() -> None:
    """8 s to stop: 2 + 8 + 0.1 s of 10 s, 1 + 8 + 0.1 s of 5 s."""
    text = edited(("runs_when: closed, stops_within: 100 ms}\n  K2", "runs_when: closed, stops_within: 8 s}\n  K2"))
    report = attacked(loads(text), examples=40)
    assert [r.claim.name for r in report.violated] == ["frozen_charge/bench_charger", "overfull_charge/bench_charger"]


def test_a_lost_reading_that_permits_is_refuted() -> None:
    """A probe whose input ends at 3.5 degC, and rules that take a lost reading for clear."""
    text = edited(
        ("valid: -35 to 90 degC", "valid: 3.5 to 90 degC"),
        ("trips: below 3 degC for 2 s", "trips: below 4 degC for 2 s"),
        ("for 60 s, blocks: sources}", "for 60 s, blocks: sources, on_invalid: clear}"),
        ("reset: manual,", "reset: manual, on_invalid: clear,"),
    )
    report = attacked(loads(text), examples=40)
    assert [r.claim.name for r in report.violated] == ["frozen_charge/bench_charger"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("trips: below 3 degC for 2 s", "trips: below 3 degC for 9.8 s"),  # 10 s of 10 s
        ("trips: below 3 degC for 2 s", "trips: below 2.000001 degC for 2 s"),  # 2 K high at 0 degC is not below 0
        ("clears: below 45 degC for 5 min", "clears: below 45 degC for 359.9 s"),  # 6 min of 6 min
        ("clears: above 5 degC for 60 s", "clears: above 5.5 degC for 60 s"),  # 0.5 K low above 6 degC is above 5.5
    ],
)
def test_a_bench_just_within_its_limits_is_not(old: str, new: str) -> None:
    report = attacked(loads(edited((old, new))), examples=40)
    assert not report.violated


def test_a_fault_is_found_among_all_and_the_one_that_matters_is_named() -> None:
    """A welded K1, an ignored input and their like; the harmless ones are left out of what is told."""
    report = attacked(loads(BENCH), "frozen_charge", examples=60, more=2)
    (result,) = report.violated
    assert result.found is not None
    names = result.found.script.plan.names
    print(f"found at {result.found_at} with {names}")
    assert len(names) == 1


@pytest.mark.parametrize(
    ("fault", "claim"),
    [
        ("K1.welded", "frozen_charge/bench_charger"),
        ("K1.ignored", "frozen_charge/bench_charger"),
        ("bench_charger.bypassed", "frozen_charge/bench_charger"),
        ("probe.stuck", "frozen_charge/bench_charger"),
        ("probe.drifted", "frozen_charge/bench_charger"),
        ("cold_stop.omitted", "frozen_charge/bench_charger"),
        ("board.frozen", "frozen_charge/bench_charger"),
        ("board.power_cycled", "charging_served/bench_charger"),
        ("board.dead", "charging_served/bench_charger"),
        ("probe.open", "charging_served/bench_charger"),
        ("reset_button.broken", "charging_served/bench_charger"),
        ("K1~K2.swapped", "frozen_charge/bench_charger"),
        ("monitor_charge_ok~monitor_discharge_ok.swapped", "overfull_charge/bench_charger"),
        ("monitor_charge_ok.shorted", "overfull_charge/bench_charger"),
        ("monitor_charge_ok.inverted", "overfull_charge/bench_charger"),
        ("K1.wire_broken", "charging_served/bench_charger"),
        ("K1.wrong_contact", "frozen_charge/bench_charger"),
        ("high_tap.stuck", "overfull_charge/bench_charger"),
    ],
)
def test_a_single_fault_that_violates_a_claim_is_found(fault: str, claim: str) -> None:
    """Each by hand a cut set of the bench by itself; the onset is up to the fuzzer."""
    scheme = loads(BENCH)
    chosen = scheme.faults[fault]
    report = attacked(scheme, claim, examples=60, given=(chosen,))
    (result,) = report.violated
    print(f"{fault}: found at {result.found_at}")
    assert result.found is not None
    assert result.found.script.plan.names == (fault,)


@pytest.mark.parametrize("fault", ["probe.open", "probe.shorted", "monitor_charge_ok.broken", "board.dead"])
def test_a_fault_that_stops_is_no_way_to_a_frozen_charge(fault: str) -> None:
    scheme = loads(BENCH)
    report = attacked(scheme, "frozen_charge", examples=40, given=(scheme.faults[fault],))
    assert not report.violated


def test_a_wire_whose_break_permits_is_found_once_it_breaks() -> None:
    """Healthy the mistake shows in nothing; with the wire broken the monitor's last word is not heard. In the good
    scheme the same broken wire isolates the pack."""
    claim = "hot_isolation/pack_contactor"
    for name, violated in (("flawed/launch_permit_wire_permits", True), ("survey_launch", False)):
        scheme = load(RULES / f"{name}.yaml")
        report = attacked(scheme, claim, examples=40, given=(scheme.faults["pack_permit.broken"],))
        print(f"{name}: found at {[r.found_at for r in report.violated]}")
        assert bool(report.violated) is violated
    assert not attacked(load(FLAWED / "launch_permit_wire_permits.yaml"), claim, examples=40).violated
