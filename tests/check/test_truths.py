"""How far quantities and readings can be apart, held against a general-purpose solver over the reals."""

from __future__ import annotations

import random
from collections.abc import Iterable
from fractions import Fraction

import z3

from interlock.check.facts import Facts
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Condition, Limit, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Compare, Signal

NAMES = ("a", "b", "c", "d")
KELVIN = 1_000_000


def random_scheme(rng: random.Random) -> Scheme | None:
    """A few tied quantities and a sensor of some of them; None where no truth is possible."""
    lines = []
    for i, name in enumerate(NAMES):
        low = rng.randint(-20, 10)
        ties = "".join(
            f", {key}: {rng.choice(NAMES[:i])} {rng.choice('+-')} {rng.randint(0, 6)} K"
            for key in ("at_least", "at_most")
            if i and rng.random() < 0.5
        )
        lines.append(f"  {name}: {{span: {low} to {low + rng.randint(5, 40)} degC{ties}}}")
    measured = rng.sample(NAMES, rng.randint(1, 3))
    errors = {n: (low := rng.randint(-6, 2), low + rng.randint(0, 8)) for n in measured}
    measures = ", ".join(f"{n}: {low} to {high} K" for n, (low, high) in errors.items())
    text = f"""
scheme: Truths
scan: 100 ms
quantities:
{chr(10).join(lines)}
sensors: {{s: {{measures: {{{measures}}}, valid: -90 to 90 degC}}}}
rules: {{r: {{watches: s, trips: above 1 degC, clears: below 0 degC, blocks: fan}}}}
paths: {{fan: {{flow: none}}}}
outputs: {{K1: {{drives: fan, contact: normally_open, runs_when: closed}}}}
"""
    try:
        return loads(text)
    except SchemeError:
        return None


def truth(scheme: Scheme) -> tuple[dict[str, z3.ArithRef], list[z3.BoolRef]]:
    """Variables in kelvins, and all that spans and ties say."""
    values = {name: z3.Real(name) for name in scheme.quantities}
    said = []
    for q in scheme.quantities.values():
        value = values[q.name]
        said += [value >= q.span.low // KELVIN, value <= q.span.high // KELVIN]
        if q.at_least:
            said.append(value >= values[q.at_least.other] + q.at_least.difference // KELVIN)
        if q.at_most:
            said.append(value <= values[q.at_most.other] + q.at_most.difference // KELVIN)
    return values, said


def readable(scheme: Scheme, values: dict[str, z3.ArithRef], reading: z3.ArithRef) -> list[z3.BoolRef]:
    return [
        z3.And(
            reading - values[e.quantity] >= e.interval.low // KELVIN,
            reading - values[e.quantity] <= e.interval.high // KELVIN,
        )
        for e in scheme.sensors["s"].measures
    ]


def greatest(said: Iterable[z3.BoolRef], value: z3.ArithRef) -> Fraction:
    optimum = z3.Optimize()
    optimum.add(*said)
    handle = optimum.maximize(value)
    assert optimum.check() == z3.sat
    return Fraction(str(optimum.upper(handle)))


def meets(value: z3.ArithRef, limit: Limit) -> z3.BoolRef:
    at = limit.value // KELVIN
    return {
        Compare.BELOW: value < at,
        Compare.ABOVE: value > at,
        Compare.AT_OR_BELOW: value <= at,
        Compare.AT_OR_ABOVE: value >= at,
    }[limit.compare]


def test_bounds_between_quantities_are_the_tightest_there_are() -> None:
    rng, compared = random.Random(1), 0
    while compared < 60:
        scheme = random_scheme(rng)
        if scheme is None:
            continue
        values, said = truth(scheme)
        one, other = rng.sample(NAMES, 2)
        assert Facts(scheme).truths.most_apart(one, other) == greatest(said, values[one] - values[other]) * KELVIN
        compared += 1
    print(f"{compared} bounds compared with z3 {z3.get_version_string()}")


def test_conditions_are_possible_exactly_where_some_truth_meets_them() -> None:
    rng, verdicts = random.Random(2), {True: 0, False: 0}
    while min(verdicts.values()) < 40:
        scheme = random_scheme(rng)
        if scheme is None:
            continue
        values, said = truth(scheme)
        conditions = [
            Condition(Signal.QUANTITY, name, Limit(rng.choice(list(Compare)), rng.randint(-20, 50) * KELVIN))
            for name in rng.sample(NAMES, rng.randint(1, 4))
        ]
        solver = z3.Solver()
        solver.add(*said, *(meets(values[c.name], c.test) for c in conditions if isinstance(c.test, Limit)))
        possible = solver.check() == z3.sat
        assert Facts(scheme).truths.possible(conditions) is possible
        verdicts[possible] += 1
    print(f"compared with z3: {verdicts}")


def test_the_worst_reading_is_no_better_than_what_the_sensor_may_read() -> None:
    """The ties alone bound it; a sensor that itself forbids truths may be better still, and is reported for that."""
    rng, compared, equal = random.Random(3), 0, 0
    while compared < 120:
        scheme = random_scheme(rng)
        if scheme is None:
            continue
        truths = Facts(scheme).truths
        values, said = truth(scheme)
        reading = z3.Real("reading")
        downward = rng.random() < 0.5
        limit = Limit(Compare.AT_OR_BELOW if downward else Compare.AT_OR_ABOVE, rng.randint(-15, 25) * KELVIN)
        condition = Condition(Signal.QUANTITY, rng.choice(NAMES), limit)
        world = [*said, *readable(scheme, values, reading), meets(values[condition.name], limit)]
        solver = z3.Solver()
        solver.add(*world)
        if solver.check() != z3.sat:
            continue
        extreme = greatest(world, reading) if downward else -greatest(world, -reading)
        worst = truths.worst_reading(scheme.sensors["s"], condition)
        assert worst >= extreme * KELVIN if downward else worst <= extreme * KELVIN
        implied = any(
            truths.most_apart(p.quantity, q.quantity) > q.interval.high - p.interval.low
            for p in scheme.sensors["s"].measures
            for q in scheme.sensors["s"].measures
            if p is not q
        )
        if not implied:
            assert worst == extreme * KELVIN
            equal += 1
        compared += 1
    assert equal >= 20
    print(f"{compared} worst readings compared with z3, {equal} of sensors that forbid nothing: equal")
