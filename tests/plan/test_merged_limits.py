"""Limits that are taken as one: nothing that is given may be read only between them."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.plan.hypotheses import Off, slips
from interlock.plan.merged_limits import merged
from interlock.plan.stimuli import Stimuli, error_of
from interlock.plan.wrong import Slip, Wrong
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.read import load

RULES = Path(__file__).parents[2] / "rules"


def limits(scheme: Scheme) -> dict[tuple[str, str], int]:
    return {
        (rule.name, which): trigger.test.value
        for rule in scheme.rules.values()
        for which, trigger in (("trips", rule.trips), ("clears", rule.clears))
        if isinstance(trigger.test, Limit)
    }


def test_limits_of_the_monitor_that_are_50_mv_apart_are_one_for_a_bench_right_to_55_mv() -> None:
    scheme = load(RULES / "survey_launch.yaml")
    ways = list(merged(Stimuli(scheme), scheme, scheme.faults["full_stop.omitted"]))
    assert ways
    for other, wrong in ways:
        found = limits(other)
        assert wrong is scheme.faults["full_stop.omitted"]
        assert found["cell_full", "trips"] == found["cell_overfull", "trips"] == 3_600_000
        assert found["cell_full", "clears"] == found["cell_overfull", "clears"] == 3_450_000
        assert found["cell_hot", "trips"] == 54_000_000  # nothing is near


@pytest.mark.parametrize("name", ["survey_launch", "alpine_hut"])
def test_whatever_is_given_may_be_read_outside_all_gaps(name: str) -> None:
    """Each gap that is closed, and each row of them, is narrower than the error of what is given there."""
    scheme = load(RULES / f"{name}.yaml")
    stimuli = Stimuli(scheme)
    wrongs: list[Wrong] = [scheme.faults["board.frozen"], *slips(stimuli, Off())]
    own = limits(scheme)
    closed = 0
    for wrong in wrongs:
        for other, typed in merged(stimuli, scheme, wrong):
            after = limits(other)
            moved = {
                (stimuli.kind_of(scheme.rules[r]), own[r, w], after[r, w]) for r, w in own if own[r, w] != after[r, w]
            }
            if isinstance(wrong, Slip) and isinstance(typed, Slip) and wrong.value != typed.value:
                moved.add((stimuli.kind_of(scheme.rules[wrong.rule]), wrong.value, typed.value))
            for (name_, _), value in after.items():
                rule = scheme.rules[name_]
                errors = [error_of(s) for s in stimuli.watched_sensors(rule)]
                width = min(high - low for low, high in errors)
                gaps = [value - low for kind, low, high in moved if high == value and kind == stimuli.kind_of(rule)]
                closed += len(gaps)
                assert all(gap < width for gap in gaps), (rule.name, wrong.name)
            for rule in other.rules.values():  # a rule keeps its two limits apart
                pair = [t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)]
                assert len(set(pair)) == len(pair)
    assert closed
