"""The rule machine: each sentence of its meaning as a claim."""

from __future__ import annotations

import pytest

from interlock.logic.machine import TABLE
from interlock.scheme.words import State
from tests.support.runs import CELLS, Run, scheme

COLD = "cold: {watches: probe, trips: below 3 degC for 200 ms, clears: above 5 degC for 300 ms, blocks: charger"


def cold_rule(more: str = "") -> Run:
    return Run(scheme(CELLS, "lines: {button: external}", f"rules: {{{COLD}{more}}}}}"))


def test_at_power_up_a_rule_is_tripped_and_moves_at_scan_0() -> None:
    assert cold_rule().states("cold", 1, probe=20) == ["dropping_off"]
    assert cold_rule().states("cold", 1, probe=4) == ["tripped"]


def test_a_clear_delay_of_n_scans_is_over_at_the_nth_scan_after_its_start() -> None:
    assert cold_rule().states("cold", 4, probe=20) == ["dropping_off", "dropping_off", "dropping_off", "clear"]


def test_a_trip_delay_of_n_scans_is_over_at_the_nth_scan_after_its_start() -> None:
    run = cold_rule(", power_up: clear")
    assert run.states("cold", 3, probe=0) == ["picking_up", "picking_up", "tripped"]


def test_a_trip_condition_that_goes_starts_the_delay_again() -> None:
    run = cold_rule(", power_up: clear")
    run.scan(2, probe=0)
    assert run.states("cold", 1, probe=4) == ["clear"]
    assert run.states("cold", 2, probe=0) == ["picking_up", "picking_up"]


def test_a_clear_condition_that_goes_trips_again_even_between_the_limits() -> None:
    run = cold_rule()
    run.scan(2, probe=20)
    assert run.states("cold", 1, probe=4) == ["tripped"]
    assert run.states("cold", 4, probe=20)[-1] == "clear"


def test_comparisons_are_strict_unless_the_word_says_otherwise() -> None:
    assert cold_rule(", power_up: clear").states("cold", 3, probe=3)[-1] == "clear"
    run = Run(
        scheme(
            CELLS, "rules: {cold: {watches: probe, trips: at_or_below 3 degC, clears: above 5 degC, blocks: charger}}"
        )
    )
    assert run.states("cold", 1, probe=3) == ["tripped"]
    assert run.states("cold", 1, probe=5) == ["tripped"]
    assert run.states("cold", 1, probe=5.000001) == ["clear"]


def test_without_delays_a_rule_goes_straight_on() -> None:
    run = Run(
        scheme(CELLS, "rules: {cold: {watches: probe, trips: below 3 degC, clears: above 5 degC, blocks: charger}}")
    )
    assert run.states("cold", 1, probe=20) == ["clear"]
    assert run.states("cold", 1, probe=0) == ["tripped"]


def test_a_manual_reset_waits_for_a_rising_edge() -> None:
    run = cold_rule(", reset: manual, reset_by: button")
    assert run.states("cold", 5, probe=20)[2:] == ["dropping_off", "awaiting_reset", "awaiting_reset"]
    run.scan(lines={"button": True})
    assert run.state("cold") == "clear"


def test_a_held_reset_button_never_resets_twice() -> None:
    run = cold_rule(", reset: manual, reset_by: button")
    run.scan(4, probe=20)
    run.scan(lines={"button": True})
    assert run.state("cold") == "clear"
    run.scan(3, probe=0)
    assert run.state("cold") == "tripped"
    run.scan(50, probe=20)
    assert run.state("cold") == "awaiting_reset"
    run.scan(lines={"button": False})
    run.scan(lines={"button": True})
    assert run.state("cold") == "clear"


def test_a_button_held_at_power_up_resets_nothing_until_it_was_seen_off() -> None:
    run = cold_rule(", reset: manual, reset_by: button")
    run.scan(20, probe=20, lines={"button": True})
    assert run.state("cold") == "awaiting_reset"


def test_an_edge_while_the_delay_still_runs_is_lost() -> None:
    run = cold_rule(", reset: manual, reset_by: button")
    run.scan(3, probe=20)
    run.scan(5, lines={"button": True})
    assert run.state("cold") == "awaiting_reset"


def test_a_rule_awaiting_reset_trips_again_when_the_clear_condition_goes() -> None:
    run = cold_rule(", reset: manual, reset_by: button")
    run.scan(4, probe=20)
    run.scan(probe=4, lines={"button": True})
    assert run.state("cold") == "tripped"


@pytest.mark.parametrize(("word", "state"), [("trip", "tripped"), ("clear", "clear")])
def test_an_invalid_reading_counts_as_the_word_says(word: str, state: str) -> None:
    run = cold_rule(f", on_invalid: {word}")
    run.scan(10, probe=60)
    run.scan(10, probe=-60)
    assert run.state("cold") == state


def test_hold_stands_still_and_loses_a_reset_edge() -> None:
    run = cold_rule(", on_invalid: hold, reset: manual, reset_by: button")
    run.scan(2, probe=20)
    run.scan(7, probe=99)
    assert run.state("cold") == "dropping_off"
    run.scan(2, probe=20)
    assert run.state("cold") == "awaiting_reset"
    run.scan(probe=99, lines={"button": True})
    run.scan(5, probe=20)
    assert run.state("cold") == "awaiting_reset"


def test_a_power_cycle_takes_the_power_up_state_instead_of_moving() -> None:
    run = cold_rule()
    run.scan(10, probe=20)
    run.scan(cycles=["controller"])
    assert run.state("cold") == "tripped"
    assert run.states("cold", 4)[-1] == "clear"


def test_a_rule_left_as_it_was_keeps_its_state_and_starts_its_timer_again() -> None:
    run = cold_rule(", power_up: as_left")
    assert run.states("cold", 3, probe=20) == ["dropping_off"] * 3
    run.scan(cycles=["controller"])
    assert run.states("cold", 3) == ["dropping_off", "dropping_off", "clear"]
    run.scan(cycles=["controller"])
    assert run.state("cold") == "clear"


def test_a_power_cycle_forgets_that_the_button_was_off_and_does_not_see_it() -> None:
    run = cold_rule(", power_up: as_left, reset: manual, reset_by: button")
    run.scan(10, probe=20)
    run.scan(cycles=["controller"])
    run.scan(lines={"button": True})
    assert run.state("cold") == "awaiting_reset"


def test_a_rule_that_only_starts_something_is_clear_at_power_up_and_when_the_reading_is_lost() -> None:
    run = Run(scheme(CELLS, "rules: {heat: {watches: probe, trips: below 3 degC, clears: above 5 degC, starts: lamp}}"))
    assert run.states("heat", 1, probe=4) == ["clear"]
    assert run.states("heat", 1, probe=-60) == ["clear"]
    assert run.states("heat", 1, probe=0) == ["tripped"]
    assert run.states("heat", 1, probe=-60) == ["clear"]


def test_every_state_has_transitions_and_is_reached() -> None:
    assert {row.source for row in TABLE} == set(State)
    assert {row.target for row in TABLE if row.target} == set(State)
