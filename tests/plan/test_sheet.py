"""Test sheets carried out on the readable engine: a healthy installation shows what is expected, and each fault that
the sheet is said to find shows something else."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from statistics import median

import pytest

from interlock.diagnose.candidates import singles
from interlock.diagnose.sheets import seen_of
from interlock.plan.hypotheses import Hypothesis
from interlock.plan.loops import NeverRests
from interlock.plan.obvious import obvious
from interlock.plan.planner import Planner
from interlock.plan.predict import predict
from interlock.plan.sheet import Sheet, names_set
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import LineForm
from tests.diagnose.sheets import results_of
from tests.plan.carried_out import differences
from tests.support.random_schemes import SMALL, TINY, random_scheme_text

RULES = Path(__file__).parents[2] / "rules"
NEVER_REST = {3, 41}  # installations that never come to rest, whatever anyone waits


@cache
def planned(name: str) -> tuple[Scheme, Planner, Sheet]:
    scheme = load(RULES / f"{name}.yaml")
    planner = Planner(scheme)
    return scheme, planner, planner.sheet()


def not_told(scheme: Scheme, planner: Planner, sheet: Sheet, errors: random.Random | None = None) -> list[str]:
    """The hypotheses of faults that are said to be found, and are not."""
    found = [h for h in planner.hypotheses if h.name in set(sheet.finds)]
    return [h.name for h in found if next(differences(scheme, sheet, h, errors), None) is None]


def judged(scheme: Scheme, planner: Planner, sheet: Sheet) -> None:
    """A healthy installation passes, every fault found fails, and every fault is either found or accounted for."""
    assert not list(differences(scheme, sheet, Hypothesis("", ())))
    assert not not_told(scheme, planner, sheet)
    named = {*scheme.faults, *(slip.name for slip in planner.slips)}
    assert set(sheet.finds) | {c.fault for c in sheet.cannot_find} == named
    assert not set(sheet.finds) & {c.fault for c in sheet.cannot_find}


@pytest.mark.parametrize("name", ["survey_launch", "alpine_hut"])
def test_a_demo_sheet_keeps_its_promises_in_less_than_half_of_the_obvious_one(name: str) -> None:
    """Each fault found shows on the readable engine, and none is lost that the obvious sheet finds."""
    scheme, planner, sheet = planned(name)
    judged(scheme, planner, sheet)
    plain = obvious(planner.candidates)
    told = {h.name: True for h in planner.hypotheses[1:]}
    for n, h in enumerate(planner.hypotheses[1:], 1):
        told[h.name] &= bool(plain.found[n])
    lost = {name for name, is_told in told.items() if is_told} - set(sheet.finds)
    print(f"obvious: {plain.seconds / 60:.1f} min, {plain.steps} steps, {sum(told.values())} faults found")
    print(f"planned: {sheet.minutes} min, {len(sheet.steps)} steps, {len(sheet.finds)} found; lost: {sorted(lost)}")
    assert 2 * sheet.seconds <= plain.seconds
    assert 2 * len(sheet.steps) <= plain.steps
    assert not lost


def test_limits_beside_others_and_rules_that_wait_or_never_rest_are_found_too() -> None:
    """Each of these takes a loop of a kind of its own."""
    hut, launch = set(planned("alpine_hut")[2].finds), set(planned("survey_launch")[2].finds)
    beside = {"comfort_shed.trip_limit_low", "generator_call.clear_limit_low", "hot_last_stop.trip_limit_low"}
    waits = {"hot_lockout.clear_limit_low", "hot_lockout.clear_limit_high", "hot_lockout.clear_delay_short"}
    let_go = {"rescue_spent.omitted", "rescue_spent.trip_delay_long"}
    assert hut >= beside | waits | let_go
    assert launch >= {"cell_hot.clear_limit_low", "cell_overfull.clear_limit_low"}
    assert launch >= {"thruster_limit.omitted", "thruster_limit.trip_delay_long", "thruster_limit.clear_delay_short"}


@pytest.mark.parametrize("name", ["survey_launch", "alpine_hut"])
def test_what_a_demo_sheet_shows_leaves_few_candidates_and_the_true_one_among_them(name: str) -> None:
    """Each single fault of the catalogue by itself: what would be written down brings it back."""
    scheme, _, sheet = planned(name)
    sets = singles(list(scheme.faults.values()))
    told = predict(scheme, sheet, sets)
    counts: list[int] = []
    for number, wrongs in enumerate(sets):
        explained = seen_of(scheme, sheet, results_of(sheet, told, number)).explained(told)
        assert explained[number], wrongs
        counts += [int(explained.sum())] if wrongs else []
    print(f"{len(counts)} faults, {median(counts)} candidates on the median, {max(counts)} at most")
    assert median(counts) <= 3


@pytest.mark.parametrize("name", ["survey_launch", "alpine_hut"])
def test_a_demo_sheet_keeps_its_promises_whatever_the_errors_of_sensors_and_bench(name: str) -> None:
    """Also where a value leaves a rule in doubt: nothing that goes by it is looked at."""
    scheme, planner, sheet = planned(name)
    for seed in range(16):
        assert not list(differences(scheme, sheet, Hypothesis("", ()), random.Random(seed)))
    assert not not_told(scheme, planner, sheet, random.Random(5))


def random_scheme(seed: int) -> Scheme:
    text = random_scheme_text(random.Random(seed), TINY if seed % 10 else SMALL)
    return loads(text, f"random {seed}")


@pytest.mark.parametrize("seed", range(50))
def test_each_fault_found_shows_on_random_schemes(seed: int) -> None:
    scheme = random_scheme(seed)
    try:
        planner = Planner(scheme, zones=200)
    except NeverRests:
        assert seed in NEVER_REST
        return
    sheet = planner.sheet()
    assert sheet.finds
    judged(scheme, planner, sheet)
    for again in range(3):
        assert not list(differences(scheme, sheet, Hypothesis("", ()), random.Random(again)))
    assert not not_told(scheme, planner, sheet, random.Random(seed))


def test_a_sheet_without_one_of_its_steps_loses_a_fault() -> None:
    """Others are doubted at more than one step, though for certain only at one."""
    lost = 0
    for seed in (11, 12, 14):
        scheme = random_scheme(seed)
        planner = Planner(scheme, zones=1)
        sheet = planner.sheet()
        assert len(sheet.steps) > 3
        for at in range(len(sheet.steps)):
            blind = replace(sheet.steps[at], expect={})
            without = replace(sheet, steps=(*sheet.steps[:at], blind, *sheet.steps[at + 1 :]))
            lost += bool(not_told(scheme, planner, without))
    assert lost


def test_nothing_on_a_sheet_is_done_to_the_pack() -> None:
    """Sensors, external lines and buttons are given something; quantities, paths and outputs never."""
    for seed in (1, 2, 4, 5, 6, 7):
        scheme = random_scheme(seed)
        sheet = Planner(scheme).sheet()
        external = {n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL}
        assert set(names_set(sheet.steps)) <= {*scheme.sensors, *external}
        assert set(scheme.sensors) <= set(sheet.steps[0].set)
        assert any("isolated" in sentence and "drain" in sentence for sentence in sheet.before)
