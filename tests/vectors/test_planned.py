"""The vectors of the survey launch: all that can be shown is, the rest is proved to be out of reach, and every mistake
that is not proved to change nothing is caught."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from interlock.export.unit import UnitCode, unit_code
from interlock.records import replace
from interlock.scheme.read import load, loads
from interlock.vectors.bound import bound
from interlock.vectors.generate import Vectors, generate, with_runs
from interlock.vectors.goals import Goal, GoalKind
from interlock.vectors.mcdc import Form
from interlock.vectors.reasons import Why, reasons
from interlock.vectors.score import Fate, scored
from interlock.vectors.together import Together
from tests.support.bench import BENCH, edited

RULES = Path(__file__).parents[2] / "rules"


def unit(name: str, which: str) -> UnitCode:
    return unit_code(load(RULES / f"{name}.yaml"), which, f"{name}.yaml")


@cache
def launch() -> tuple[UnitCode, Vectors]:
    code = unit("survey_launch", "board")
    return code, generate(code)


def test_all_that_the_launch_can_show_is_shown_and_the_rest_is_proved() -> None:
    _, vectors = launch()
    assert vectors.scans < 20_000
    assert {vectors.why[goal].why for goal in vectors.missed} == {Why.PROVED}
    # the two that open the contactor never act without the two that stop everything at once
    assert {goal.kind for goal in vectors.missed} == {GoalKind.DECISION, GoalKind.BESIDE}
    assert all("pack_open" in str(goal) or "helm_open" in str(goal) for goal in vectors.missed)
    hidden = {(goal.rule, goal.what.split(" ")[0]) for goal in vectors.missed if goal.kind is GoalKind.DECISION}
    assert {key for key, form in vectors.forms.items() if form is None} == {
        (path, f"{rule} acts") for path, rule in hidden
    }
    assert Form.MASKING in vectors.forms.values()


def test_every_mistake_in_the_launch_s_rules_is_caught_or_changes_nothing() -> None:
    code, vectors = launch()
    fates = [one.fate for one in scored(code, vectors.runs)]
    assert {fate: fates.count(fate) for fate in set(fates)} == {Fate.KILLED: 153, Fate.EQUIVALENT: 11}


@pytest.mark.parametrize(("name", "mutants"), [("survey_launch", 73), ("alpine_hut", 28)])
def test_every_mistake_in_a_monitor_s_rules_is_caught(name: str, mutants: int) -> None:
    code = unit(name, "cell_monitor")
    vectors = generate(code)
    assert [one.fate for one in scored(code, vectors.runs)] == [Fate.KILLED] * mutants


def test_what_runs_show_is_counted_again_from_their_scans_alone() -> None:
    code, vectors = launch()
    again = with_runs(code, vectors, vectors.runs)
    assert (again.reached, again.missed, again.forms) == (vectors.reached, vectors.missed, vectors.forms)
    half = with_runs(code, vectors, [replace(vectors.runs[0], vectors=vectors.runs[0].vectors[:5000])])
    assert 50 < len(half.reached) < len(vectors.reached)


# --- how few scans could do


def test_no_vectors_for_the_hut_s_board_take_fewer_than_half_an_hour() -> None:
    """By hand: the pack has to be above 55 % for 10 min (comfort_shed clears), below 30 % for 15 min (generator_call
    trips; comfort_shed trips meanwhile), above 60 % for 5 min (generator_call clears): 30 min of 100 ms scans."""
    found = bound(unit("alpine_hut", "board"))
    assert (found.scans, found.watched) == (18_000, "shunt")
    assert set(found.rules) == {"comfort_shed", "generator_call", "last_shed"}


def test_the_bound_is_that_of_the_longest_delays_of_one_reading() -> None:
    """The bench's monitor by hand: 3 s to trip and 60 s to clear; its board: 2 s and 5 min beside 2 s and 60 s, the
    clear delays one after the other where the first is over before the probe may be hot, so 2 s more."""
    assert bound(unit_code(loads(BENCH), "cell_monitor", "bench.yaml")).scans == 630
    board = bound(unit_code(loads(BENCH), "board", "bench.yaml")).scans
    assert 3020 <= board <= 3040
    slower = edited(("below 45 degC for 5 min", "below 45 degC for 10 min"))
    assert bound(unit_code(loads(slower), "board", "bench.yaml")).scans == board + 3000


def test_vectors_never_take_fewer_scans_than_the_bound() -> None:
    code, vectors = launch()
    assert vectors.bound == bound(code)
    assert vectors.bound.scans <= vectors.scans


# --- why not


def test_what_takes_more_scans_says_how_many() -> None:
    code = unit_code(loads(BENCH), "board", "bench.yaml")
    short, whole = generate(code, most=400), generate(code)
    assert not whole.missed
    over = {goal: reason for goal, reason in short.why.items() if reason.why is Why.OVER}
    assert over
    assert all(400 < reason.scans < 20_000 for reason in over.values())


def test_a_rule_that_never_acts_without_another_is_found_out() -> None:
    together = Together(unit("survey_launch", "board"))
    assert together.never_without("pack_open", "pack_stop")
    assert together.never_without("helm_open", "helm_stop")
    assert not together.never_without("pack_stop", "pack_open")  # it acts 2 s earlier
    assert not together.never_without("cold_stop", "warm_stop")
    assert not together.never_without("pack_open", "helm_stop")  # another line
    assert together.blocked_with("pack_open", "alternator") == "pack_stop"
    assert together.blocked_with("pack_open", "pack_contactor") == ""


def test_a_transition_that_nothing_told_depends_on_is_proved_so() -> None:
    twice = edited(
        (
            "  cell_full:   {unit: cell_monitor,",
            "  cell_fuller: {unit: cell_monitor, watches: high_tap, trips: above 3.60 V for 2 s, "
            "clears: below 3.50 V for 20 s}\n"
            "  cell_full:   {unit: cell_monitor,",
        ),
        ("low_when: [cell_full]", "low_when: [cell_full, cell_fuller]"),
    )
    code = unit_code(loads(twice), "cell_monitor", "bench.yaml")
    hidden = Goal(GoalKind.TRANSITION, "cell_fuller", "picking_up to tripped")
    open_one = Goal(GoalKind.TRANSITION, "cell_full", "picking_up to tripped")
    found = reasons(code, [hidden, open_one], {})
    assert found[hidden].why is Why.PROVED
    assert "cell_fuller tripping a scan later" in found[hidden].says
    assert found[open_one].why is Why.NOT_FOUND  # it was not looked for: there is no proof that it can't be shown


def test_a_delay_that_is_over_before_what_it_watches_can_turn_back_is_proved_so() -> None:
    code = unit("alpine_hut", "board")
    goal = Goal(GoalKind.TRANSITION, "valley_first", "dropping_off to tripped")
    (reason,) = reasons(code, [goal], {}).values()
    assert reason.why is Why.PROVED
    assert "20 scans is over before valley_dead" in reason.says
    turned = Goal(GoalKind.TRANSITION, "helm_open", "picking_up to clear")
    (reason,) = reasons(unit("survey_launch", "board"), [turned], {}).values()
    assert reason.why is Why.NOT_FOUND  # helm_stop clears within a second, before the two of helm_open are over
