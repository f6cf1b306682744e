"""Stimuli: well inside each region of what a sensor reads, in doubt nowhere, rest where rules let go."""

from __future__ import annotations

from itertools import pairwise, product

import pytest

from interlock.logic.readings import at_input, combined, compare
from interlock.plan.stimuli import Position, Stimuli, roundest
from interlock.scheme.model import Limit, Rule, Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import Combine, Mode, Signal
from tests.support.bench import BENCH

HUT, LAUNCH = "rules/alpine_hut.yaml", "rules/survey_launch.yaml"


def bench_or(name: str) -> Scheme:
    return load(name) if name else loads(BENCH)


def limits_on(scheme: Scheme, rule: Rule, sensor: str) -> set[int]:
    """The limits a rule sets to a sensor's value, by itself or combined with others."""
    if rule.watches is Signal.READING:
        reading = scheme.readings[rule.watched]
        if sensor not in reading.sensors or reading.combine is Combine.DIFFERENCE_OF:
            return set()
    elif rule.watched != sensor:
        return set()
    return {t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)}


@pytest.mark.parametrize("name", ["", HUT, LAUNCH])
def test_each_sensor_has_a_value_in_each_region_of_its_rules_that_is_wider_than_the_error(name: str) -> None:
    scheme = bench_or(name)
    stimuli = Stimuli(scheme)
    for sensor, values in zip(scheme.sensors.values(), stimuli.values, strict=True):
        limits = set().union(*(limits_on(scheme, rule, sensor.name) for rule in scheme.rules.values()))
        edges = sorted(limits | {sensor.valid.low, sensor.valid.high})
        set_ = [a for a in values if a.how is None]
        error = set_[0].high - set_[0].low
        for low, high in pairwise(edges):
            inside = [a for a in set_ if low < a.value + a.low and a.value + a.high < high]
            assert bool(inside) is (high - low > error), f"{sensor.name} between {low} and {high}"
        assert all(a.low < 0 < a.high for a in set_)
        lost = [at_input(a.value, sensor.valid) for a in values if a.how is Mode.OPEN]
        assert lost == [sensor.open_reads]


@pytest.mark.parametrize("name", ["", HUT, LAUNCH])
def test_at_rest_and_after_any_change_no_rule_is_in_doubt_anywhere_in_the_errors(name: str) -> None:
    scheme = bench_or(name)
    stimuli = Stimuli(scheme)
    own = range(len(stimuli.values))
    after = [p for c in stimuli.changes if (p := c.to(stimuli.rest))]
    sure = [p for p in (stimuli.rest, *after) if stimuli.sure(p, own)]
    assert stimuli.rest in sure
    assert len(sure) > len(after) // 2
    for position in sure:
        assert len(set(verdicts(scheme, stimuli, position))) == 1
    for position in after:
        if not stimuli.sure(position, own):
            assert len(set(verdicts(scheme, stimuli, position))) > 1


def verdicts(scheme: Scheme, stimuli: Stimuli, position: Position) -> list[tuple[bool | None, ...]]:
    """What every rule's trip and clear condition come to, at each corner of the errors."""
    given = stimuli.applied(position)
    found = []
    for corner in product(*[sorted({a.low, a.high}) for a in given]):
        inputs = {
            name: at_input(a.value + off, scheme.sensors[name].valid)
            for name, a, off in zip(scheme.sensors, given, corner, strict=True)
        }
        row: list[bool | None] = []
        for rule in scheme.rules.values():
            if rule.watches in (Signal.SENSOR, Signal.READING):
                value = (
                    inputs[rule.watched]
                    if rule.watches is Signal.SENSOR
                    else combined(scheme.readings[rule.watched], inputs)
                )
                tests = [t.test for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)]
                row += [None if value is None else compare(value, test) for test in tests]
        found.append(tuple(row))
    return found


def test_the_bench_rests_where_every_rule_lets_go() -> None:
    stimuli = Stimuli(loads(BENCH))
    assert [a.value for a in stimuli.applied(stimuli.rest)] == [20_000_000, 3_200_000, 3_300_000]
    assert stimuli.rest.lines == (False,)


@pytest.mark.parametrize(
    ("low", "high", "best"),
    [(15, 35, 20), (-8_200_000, -300_000, -5_000_000), (4_600_000, 5_400_000, 5_000_000), (7, 7, 7), (-3, 3, 0)],
)
def test_a_value_is_the_roundest_in_its_range(low: int, high: int, best: int) -> None:
    assert roundest(low, high) == best
