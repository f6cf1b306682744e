"""The grading of settings and rules: figures worked out by hand, and the boundary between in order and not."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.check.facts import Facts
from interlock.check.run import check
from interlock.check.steps import next_step, steps
from interlock.scheme.model import Interval
from interlock.scheme.read import load, loads
from interlock.scheme.words import OwnLimit
from tests.check.found import edited, found, mended

RULES = Path(__file__).parents[2] / "rules"
CHARGER = mended("source-above-trip")
LOAD = mended("cut-off-after-trip")
TWO_STEPS = mended("steps-overlap")
BACK = mended("reconnect-out-of-reach")


def test_a_charge_voltage_is_shared_among_the_cells_and_the_highest_stands_above_their_mean() -> None:
    """By hand: (55.2 - 0.2) / 16 = 3.4375 V at the least, (55.2 + 0.2) / 16 + 0.04 = 3.5025 V at the most."""
    device = loads(CHARGER).devices["roof_pv"]
    absorption = device.limit(OwnLimit.ABSORPTION)
    assert absorption is not None
    assert absorption.nominal == 3_450_000
    assert absorption.truth == Interval(3_437_500, 3_502_500)


def test_what_does_not_divide_evenly_is_rounded_outward() -> None:
    """By hand: 55 V over 3 cells, exact: 18.333… V."""
    text = CHARGER.replace("span: 1.5 to 4.2 V", "span: 0 to 40 V").replace("cells: 16", "cells: 3")
    text = text.replace("    error: -0.2 to 0.2 V\n", "").replace("    imbalance: 0 to 40 mV\n", "")
    limit = loads(text.replace("55.2 V", "55 V")).devices["roof_pv"].limit(OwnLimit.ABSORPTION)
    assert limit is not None
    assert limit.truth == Interval(18_333_333, 18_333_334)
    assert limit.nominal == 18_333_333


@pytest.mark.parametrize(
    ("volts", "finds"),
    [
        # The tap reads up to 10 mV high, so the monitor may trip from 3.54 V on. By hand: (V + 0.2) / 16 + 0.04 < 3.54
        # holds for V below 55.8 V.
        ("55.8 V", [("source-above-trip", "roof_pv")]),
        ("55.799 V", []),
        ("57.6 V", [("source-above-trip", "roof_pv")]),
    ],
)
def test_a_charger_is_found_from_the_voltage_on_at_which_the_monitor_may_trip(
    volts: str, finds: list[tuple[str, str]]
) -> None:
    assert (
        found(edited(CHARGER, ("absorption: {highest_cell: 55.2 V}", f"absorption: {{highest_cell: {volts}}}")))
        == finds
    )


def test_the_voltage_that_the_help_names_is_the_highest_tenth_that_will_do() -> None:
    text = edited(CHARGER, ("absorption: {highest_cell: 55.2 V}", "absorption: {highest_cell: 57.6 V}"))
    (finding,) = check(loads(text))
    assert "at most 55.7 V" in finding.help


@pytest.mark.parametrize(
    ("cut_off", "finds"),
    [
        # The monitor may trip from 2.81 V down. By hand: (V - 0.2) / 16 - 0.1 > 2.81 holds above 46.76 V.
        ("below 46.76 V for 2 s", [("cut-off-after-trip", "inverter")]),
        ("below 46.761 V for 2 s", []),
        ("below 48 V for 5 s", []),
        ("below 48 V for 5100 ms", [("cut-off-after-trip", "inverter")]),  # a dip past both: the monitor waits 5 s
    ],
)
def test_a_load_is_found_where_the_monitor_may_act_first_by_value_or_by_time(
    cut_off: str, finds: list[tuple[str, str]]
) -> None:
    assert found(edited(LOAD, ("below 48 V for 2 s", cut_off))) == finds


def test_the_help_for_a_load_names_the_lowest_tenth_that_will_do() -> None:
    (finding,) = check(loads(edited(LOAD, ("below 48 V for 2 s", "below 46 V for 2 s"))))
    assert "at least 46.8 V" in finding.help


@pytest.mark.parametrize(
    ("trips", "finds"),
    [
        ("below 2.90 V for 2 s", []),
        ("below 2.801 V for 2 s", []),  # one instrument: its error moves both
        ("below 2.79 V for 2 s", [("steps-overlap", "comfort_shed")]),
        ("below 2.90 V for 6 s", [("steps-overlap", "comfort_shed")]),
    ],
)
def test_what_sheds_acts_before_what_stops_all(trips: str, finds: list[tuple[str, str]]) -> None:
    assert found(edited(TWO_STEPS, ("below 2.90 V for 2 s", trips))) == finds


def test_with_an_instrument_of_its_own_both_errors_count() -> None:
    """By hand: the second tap's trip is reached at 2.80 V of truth or as late as 2.79 V - 0.01 V; bands of ±10 mV."""
    text = edited(
        TWO_STEPS,
        ("rules:\n", "  other_tap: {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}\nrules:\n"),
        ("comfort_shed: {watches: tap, trips: below 2.90 V", "comfort_shed: {watches: other_tap, trips: below 2.82 V"),
    )
    assert found(text) == [("steps-overlap", "comfort_shed")]
    assert found(text.replace("below 2.82 V", "below 2.821 V")) == []


def test_an_alarm_comes_before_the_stop_or_beyond_the_last_one() -> None:
    for limit, finds in (
        ("2.95", []),
        ("2.80", [("steps-overlap", "warn")] * 2),  # before neither of the two
        ("2.60", []),  # it says that the stops have failed
    ):
        rule = f'  warn: {{watches: tap, trips: below {limit} V for 1 s, clears: above 3.1 V, alarm: "low"}}\n'
        assert found(edited(TWO_STEPS, ("paths:\n", f"{rule}paths:\n"))) == finds, limit


def test_delays_of_slow_quantities_are_not_held_against_each_other() -> None:
    """The hut warns of a warm pack by a rule that waits five minutes before one that waits seconds."""
    scheme = load(RULES / "alpine_hut.yaml")
    trips = {s.rule.name: s for s in steps(Facts(scheme)) if s.quantity == "charge_level"}
    assert trips["comfort_shed"].rule.trips.delay.us > trips["last_shed"].rule.trips.delay.us
    assert check(scheme) == ()


def test_the_next_step_of_a_source_is_the_one_that_may_act_the_earliest_on_its_own_path() -> None:
    launch = load(RULES / "survey_launch.yaml")
    every = steps(Facts(launch))
    alternator = launch.devices["alternator"]
    absorption = alternator.limit(OwnLimit.ABSORPTION)
    assert absorption is not None
    step = next_step(every, alternator, absorption)
    assert step is not None
    assert (step.rule.name, step.truth.low) == ("cell_full", 3_540_000)
    assert step.delays["alternator"] == 1_000_000  # through the charge permit, which full_stop follows at once


DAMAGE = mended("damage-before-stop")


@pytest.mark.parametrize(
    ("damage", "names"),
    [("3.65 V", []), ("3.60 V", ["overfull"]), ("3.559 V", ["full_stop", "overfull"]), ("3.56 V", ["overfull"])],
)
def test_every_stop_and_every_requirement_lies_before_damage(damage: str, names: list[str]) -> None:
    seen = found(edited(DAMAGE, ("damaged_above: 3.75 V", f"damaged_above: {damage}")))
    assert sorted(name for _, name in seen) == names
    assert {ident for ident, _ in seen} <= {"damage-before-stop"}


def test_a_device_that_charges_into_damage_is_found() -> None:
    text = edited(CHARGER, ("span: 1.5 to 4.2 V}", "span: 1.5 to 4.2 V, damaged_above: 3.66 V}"))
    assert found(text) == []
    over = text.replace("absorption: {highest_cell: 55.2 V}", "absorption: {highest_cell: 57.9 V}")
    assert ("damage-before-stop", "roof_pv") in found(over)


def test_the_flawed_charger_is_found_in_the_hut() -> None:
    (finding,) = check(load(RULES / "flawed" / "hut_charger_above_trip.yaml"))
    assert (finding.ident, finding.name) == ("source-above-trip", "generator_charger")


def test_a_step_that_is_conditional_is_not_graded_against_others() -> None:
    text = edited(
        TWO_STEPS, ("below 2.90 V for 2 s", "below 2.80 V for 2 s"), ("rules:\n", "lines: {eco: external}\nrules:\n")
    )
    assert found(text) == [("steps-overlap", "comfort_shed")]
    some = text.replace("blocks: comfort}", "blocks: comfort, only_while: {eco: on}}")
    assert ("steps-overlap", "comfort_shed") not in found(some)


@pytest.mark.parametrize(
    ("volts", "finds"),
    [
        # By hand: full_stop has tripped for certain at 3.55 + 0.01 = 3.56 V of the highest cell, and the lowest is
        # never above it. At its kindest the inverter comes back with the lowest cell at (V - 0.2) / 16 - 0.1.
        ("58.7 V", []),  # 3.55625 V
        ("58.77 V", [("reconnect-out-of-reach", "inverter")]),  # 3.560625 V
    ],
)
def test_a_voltage_to_come_back_at_has_to_be_one_that_sources_charge_to(
    volts: str, finds: list[tuple[str, str]]
) -> None:
    assert found(edited(BACK, ("above 51.2 V for 1 min", f"above {volts} for 1 min"))) == finds


def test_a_source_comes_back_only_where_loads_drain_to() -> None:
    """By hand: empty_stop has tripped for certain at 2.79 V of the lowest cell; the highest is never below it. A source
    that comes back below 44.2 V of 16 cells (2.7625 V) waits for ever, one that does below 50 V does not."""
    source = """
  roof_pv:
    cells: 16
    high_cut_off: {highest_cell: above 56 V}
    high_reconnect: {highest_cell: below VOLTS}
"""
    for volts, finds in (("50 V", []), ("44.2 V", [("reconnect-out-of-reach", "roof_pv")])):
        text = edited(BACK, ("devices:\n", "devices:" + source.replace("VOLTS", volts)))
        assert [f for f in found(text) if f[0] == "reconnect-out-of-reach"] == finds


def test_nothing_is_said_where_a_source_is_stopped_by_nothing() -> None:
    """One source more, that no rule and no setting of its own stops: it may charge to anything."""
    text = edited(
        BACK,
        ("above 51.2 V for 1 min", "above 60 V for 1 min"),
        ("  roof_pv: {flow: charge}\n", "  roof_pv: {flow: charge}\n  wind: {flow: charge}\n"),
        ("outputs:\n", "outputs:\n  R2: {drives: wind, contact: normally_open, runs_when: closed}\n"),
    )
    assert ("reconnect-out-of-reach", "inverter") not in found(text)
