"""What the brute force makes of readings, against counting through every value: a second opinion needs one itself."""

from __future__ import annotations

import random
import statistics
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction

import pytest
import z3

from interlock.scheme.model import Limit, Reading, Rule, Scheme
from interlock.scheme.read import loads
from interlock.scheme.units import Kind
from interlock.scheme.words import Combine, Compare, OnInvalid
from tests.support.brute_parts import CLEARS, HOLDS, NEITHER, TRIPS, Plan
from tests.support.brute_readings import Element, Fixed, Inputs, Live, combined, rule_sees
from tests.support.brute_solver import _combine
from tests.support.brute_truth import cell_of, grid_step, value_in
from tests.support.spin_cells import _COMBINED
from tests.support.z3_parts import COMBINED

# By their definitions; mean and median are the standard library's, exact for fractions.
MEANING: dict[Combine, Callable[[Sequence[Fraction]], Fraction]] = {
    Combine.LOWEST_OF: min,
    Combine.HIGHEST_OF: max,
    Combine.DIFFERENCE_OF: lambda values: max(values) - min(values),
    Combine.AVERAGE_OF: statistics.mean,
    Combine.MEDIAN_OF: statistics.median,
}
assert set(MEANING) == set(Combine)


def met(value: Fraction, limit: Limit) -> bool:
    if value == limit.value:
        return limit.compare in (Compare.AT_OR_BELOW, Compare.AT_OR_ABOVE)
    return (value < limit.value) is (limit.compare in (Compare.BELOW, Compare.AT_OR_BELOW))


def valid_of(scheme: Scheme, values: Mapping[str, Fraction | None]) -> list[Fraction]:
    spans = {name: sensor.valid for name, sensor in scheme.sensors.items()}
    return [v for name, v in values.items() if v is not None and spans[name].low <= v <= spans[name].high]


def sees(inputs: Inputs, rule: Rule, elements: Mapping[str, Fraction | None]) -> int:
    """What a rule sees, straight from the reference's words."""
    scheme = inputs.scheme
    reading = scheme.readings[rule.watched]
    valid = valid_of(scheme, elements)
    if len(valid) < reading.needs:
        return {OnInvalid.TRIP: TRIPS, OnInvalid.CLEAR: CLEARS, OnInvalid.HOLD: HOLDS}[rule.on_invalid]
    value = MEANING[reading.combine](valid)
    assert isinstance(rule.trips.test, Limit)
    assert isinstance(rule.clears.test, Limit)
    return TRIPS if met(value, rule.trips.test) else CLEARS if met(value, rule.clears.test) else NEITHER


def watching(rng: random.Random, combine: Combine) -> Scheme:
    """A scheme with one rule on one derived reading of two to four sensors; half kelvins throughout."""

    def halves(low: int, high: int) -> float:
        return rng.randint(2 * low, 2 * high) / 2

    names = [f"s{i}" for i in range(rng.randint(2, 4))]
    sensors = [
        f"  {n}: {{measures: {{cell: -1 to 1 K}}, valid: {halves(-14, -6)} to {halves(6, 14)} degC}}" for n in names
    ]
    difference = combine is Combine.DIFFERENCE_OF
    limit, unit = halves(1, 12) if difference else halves(-4, 4), "K" if difference else "degC"
    sides = [
        f"{rng.choice(['below', 'at_or_below'])} {limit} {unit}",
        f"{rng.choice(['above', 'at_or_above'])} {limit + rng.choice([0.5, 1, 2])} {unit}",
    ]
    rng.shuffle(sides)
    return loads(
        f"""
scheme: One reading
revision: 1
scan: 1 s
quantities:
  cell: {{span: -10 to 10 degC}}
sensors:
{chr(10).join(sensors)}
readings:
  both: {{{combine}: [{", ".join(names)}], needs: {rng.randint(1, len(names))}}}
rules:
  stop: {{watches: both, trips: {sides[0]}, clears: {sides[1]}, on_invalid: {rng.choice(list(OnInvalid))},
         blocks: heater}}
paths:
  heater: {{flow: none}}
outputs:
  K1: {{drives: [heater], contact: normally_open, runs_when: closed}}
requirements:
  stopped: {{never_running: heater, while: {{cell: above 9 degC}}, longer_than: 10 s}}
"""
    )


@pytest.mark.parametrize("combine", Combine)
def test_between_two_critical_values_of_one_live_sensor_nothing_changes(combine: Combine) -> None:
    """Fixed sensors hold whole steps of the grid. A median or average of up to four changes the rule's mind at whole
    steps only then, so that counting through whole and half steps leaves out nothing. Each kind of critical value is
    needed somewhere: a difference's on either side of the fixed values."""
    rng = random.Random(f"critical values {combine}")
    turns: Counter[str] = Counter()
    for _ in range(60):
        scheme = watching(rng, combine)
        inputs = Inputs(scheme, scheme.rules, Plan(()))
        (rule,) = inputs.rules
        sensors = scheme.readings[rule.watched].sensors
        half = grid_step(scheme, scheme.readings[rule.watched].kind) / 2
        live, *rest = rng.sample(sensors, len(sensors))
        fixed: dict[str, Fraction | None] = {
            s: None if rng.random() < 0.1 else Fraction(rng.randint(-24, 24) * 500_000) for s in rest
        }
        config: dict[str, Element] = {s: Fixed(v) for s, v in fixed.items()}
        config[live] = Live(scheme.sensors[live].measures)
        cuts = sorted({*inputs.critical(live), *inputs.more_critical(live, config)})
        others, span = valid_of(scheme, fixed), scheme.sensors[live].valid
        before = -1
        for i in range(int(-15_000_000 / half), int(15_000_000 / half) + 1):
            value = half * i
            seen = sees(inputs, rule, {**fixed, live: value})
            for stands in (value, value_in(cuts, cell_of(cuts, value))):
                elements = {**fixed, live: stands}
                assert rule_sees(rule, inputs.value(rule, elements)) == seen, (rule, elements, cuts)
            if seen != before and before >= 0 and others and span.low < value < span.high:
                side = "below" if value < min(others) else "above" if value > max(others) else "among"
                turns[f"{side} {min(len(others), 2)}"] += 1
            before = seen
    print(combine, dict(sorted(turns.items())))
    if combine is Combine.DIFFERENCE_OF:
        assert min(turns["below 2"], turns["above 2"]) >= 5
    assert turns["below 2"] + turns["among 2"] + turns["above 2"] >= 10


@pytest.mark.parametrize("combine", Combine)
def test_every_second_opinion_combines_readings_by_their_definition(combine: Combine) -> None:
    """The brute force, its solver, the encoding for z3 and the cells for spin: one to four sensors in any order."""
    rng = random.Random(f"combined {combine}")
    reading = Reading("both", Kind.TEMPERATURE, combine, (), 1)
    for number in (1, 2, 3, 4) * 5:
        values = [Fraction(rng.randint(-12, 12), rng.choice([1, 2, 3])) for _ in range(number)]
        expected = MEANING[combine](values)
        assert combined(reading, values) == expected
        terms = [z3.RealVal(str(v)) for v in values]
        for term in (_combine(combine, terms), COMBINED[combine](terms)):
            assert z3.simplify(term == z3.RealVal(str(expected))).eq(z3.BoolVal(True)), (values, term)
        if combine in _COMBINED:
            inorder = {f"v{i}": v for i, v in enumerate(sorted(values))}
            form, scale = _COMBINED[combine](list(inorder))
            assert sum(factor * inorder[name] for name, factor in form.items()) == expected * scale
