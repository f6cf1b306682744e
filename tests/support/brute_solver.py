"""What can be seen together at one scan, listed by z3: for readings that weigh several live sensors, and as a check of
the enumeration by representative values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import product
from typing import TYPE_CHECKING, Any

import z3

from interlock.scheme.model import Limit, Rule
from interlock.scheme.words import Combine, Compare, OnInvalid, Signal
from tests.support.brute_parts import CLEARS, HOLDS, NEITHER, TRIPS
from tests.support.brute_readings import Element, Fixed, Live

if TYPE_CHECKING:
    from tests.support.brute_truth import Config, Observations, Pattern


def _real(value: Fraction | int) -> Any:
    return z3.RealVal(str(Fraction(value)))


def _meets(value: Any, compare: Compare, limit: Fraction | int) -> Any:
    bound = _real(limit)
    return {
        Compare.BELOW: value < bound,
        Compare.ABOVE: value > bound,
        Compare.AT_OR_BELOW: value <= bound,
        Compare.AT_OR_ABOVE: value >= bound,
    }[compare]


def solved(
    observations: Observations,
    quantities: set[str],
    atoms: Sequence[int],
    live: Sequence[str],
    rules: Sequence[Rule],
    kept: Sequence[str],
    config: Mapping[str, Element],
) -> set[tuple[Any, ...]]:
    """All combinations of: which atoms hold, what each rule sees, the cells to remember."""
    solver, truth, value = _constraints(observations, quantities, live, config)
    marks = [_atom(observations, truth, i) for i in atoms]
    marks += [_sees(observations, rule, value) for rule in rules]
    marks += [_cell(observations.cells(e), value[e]) for e in kept]
    names = [z3.Int(f"mark {i}") for i in range(len(marks))]
    solver.add(*(name == mark for name, mark in zip(names, marks, strict=True)))
    found: set[tuple[Any, ...]] = set()
    while solver.check() == z3.sat:
        model = solver.model()
        row = tuple(model.eval(name, model_completion=True).as_long() for name in names)
        found.add((*(bool(b) for b in row[: len(atoms)]), *row[len(atoms) :]))
        if not names:
            break
        solver.add(z3.Or(*(name != number for name, number in zip(names, row, strict=True))))
    return found


def example(
    observations: Observations, config: Config, pattern: Pattern
) -> tuple[dict[str, Fraction], dict[str, Fraction]]:
    """Truths and live elements' readings, in millionths, that show a pattern."""
    elements = dict(config)
    live = [e for e, x in elements.items() if isinstance(x, Live)]
    solver, truth, value = _constraints(observations, set(observations.scheme.quantities), live, elements)
    bits, seen, cells = pattern
    for i, bit in enumerate(bits):
        solver.add(_atom(observations, truth, i) == int(bit))
    for rule, what in zip(observations.inputs.rules, seen, strict=True):
        solver.add(_sees(observations, rule, value) == what)
    keeping = [e for e, x in elements.items() if isinstance(x, Live) and x.keeps]
    for e, cell in zip(keeping, cells, strict=True):
        solver.add(_cell(observations.cells(e), value[e]) == cell)
        if e in observations.fine:  # later scans reckon with this very value
            solver.add(value[e] == _real(observations.inside(e, cell)))
    assert solver.check() == z3.sat, "the solver finds no example of a pattern"
    model = solver.model()

    def number(term: Any) -> Fraction:
        return Fraction(model.eval(term, model_completion=True).as_fraction())

    return {q: number(term) for q, term in truth.items()}, {e: number(value[e]) for e in live}


def _constraints(
    observations: Observations, quantities: set[str], live: Sequence[str], config: Mapping[str, Element]
) -> tuple[Any, dict[str, Any], dict[str, Any]]:
    """A solver with what holds of truths and live elements; the terms of truths and of elements (None: no reading)."""
    scheme = observations.scheme
    solver = z3.Solver()
    truth = {q: z3.Real(f"truth {q}") for q in sorted(quantities)}
    for name, q in truth.items():
        quantity = scheme.quantities[name]
        solver.add(q >= _real(quantity.span.low), q <= _real(quantity.span.high))
        if quantity.at_least:
            solver.add(q >= truth[quantity.at_least.other] + _real(quantity.at_least.difference))
        if quantity.at_most:
            solver.add(q <= truth[quantity.at_most.other] + _real(quantity.at_most.difference))
    for sensor in scheme.sensors.values():  # every sensor must have a reading, as it is when healthy
        if sensor.measures[0].quantity in truth:
            reading = z3.Real(f"healthy {sensor.name}")
            for error in sensor.measures:
                solver.add(reading >= truth[error.quantity] + _real(error.interval.low))
                solver.add(reading <= truth[error.quantity] + _real(error.interval.high))
    value: dict[str, Any] = {}
    for name, element in config.items():
        if isinstance(element, Fixed):
            value[name] = None if element.value is None else _real(element.value)
            for error in element.fits if element.fits and element.fits[0].quantity in truth else ():
                solver.add(value[name] >= truth[error.quantity] + _real(error.interval.low))
                solver.add(value[name] <= truth[error.quantity] + _real(error.interval.high))
        elif name in live:
            assert isinstance(element, Live)
            value[name] = z3.Real(f"element {name}")
            for error in element.errors:
                solver.add(value[name] >= truth[error.quantity] + _real(error.interval.low))
                solver.add(value[name] <= truth[error.quantity] + _real(error.interval.high))
    return solver, truth, value


def _atom(observations: Observations, truth: Mapping[str, Any], index: int) -> Any:
    atom = observations.atoms[index]
    return z3.If(_meets(truth[atom.quantity], atom.compare, atom.limit), 1, 0)


def _cell(cuts: Sequence[Fraction], value: Any) -> Any:
    return z3.Sum(*(z3.If(value > _real(c), 1, 0) for c in cuts), *(z3.If(value >= _real(c), 1, 0) for c in cuts))


def _sees(observations: Observations, rule: Rule, value: Mapping[str, Any]) -> Any:
    """What a rule sees, as a term: by which of its sensors are valid."""
    inputs = observations.inputs
    sensors = inputs.sensors(rule)
    invalid = {OnInvalid.TRIP: TRIPS, OnInvalid.CLEAR: CLEARS, OnInvalid.HOLD: HOLDS}[rule.on_invalid]
    elements = [value[inputs.element_of[s]] for s in sensors]
    valid = []
    for sensor, element in zip(sensors, elements, strict=True):
        span = inputs.scheme.sensors[sensor].valid
        valid.append(
            z3.BoolVal(False) if element is None else z3.And(element >= _real(span.low), element <= _real(span.high))
        )
    term: Any = z3.IntVal(invalid)
    needs = 1 if rule.watches is Signal.SENSOR else inputs.scheme.readings[rule.watched].needs
    assert isinstance(rule.trips.test, Limit)
    assert isinstance(rule.clears.test, Limit)
    for chosen in product([False, True], repeat=len(sensors)):
        used = [e for e, yes in zip(elements, chosen, strict=True) if yes and e is not None]
        if len(used) < max(needs, 1) or len(used) != sum(chosen):
            continue
        reading = (
            used[0] if rule.watches is Signal.SENSOR else _combine(inputs.scheme.readings[rule.watched].combine, used)
        )
        seen = z3.If(
            _meets(reading, rule.trips.test.compare, rule.trips.test.value),
            TRIPS,
            z3.If(_meets(reading, rule.clears.test.compare, rule.clears.test.value), CLEARS, NEITHER),
        )
        exactly = z3.And(*(v if yes else z3.Not(v) for v, yes in zip(valid, chosen, strict=True)))
        term = z3.If(exactly, seen, term)
    return term


def _combine(combine: Combine, values: Sequence[Any]) -> Any:
    inorder = list(values)
    for end in range(len(inorder) - 1, 0, -1):  # bubble sort by comparators
        for i in range(end):
            a, b = inorder[i], inorder[i + 1]
            inorder[i], inorder[i + 1] = z3.If(a <= b, a, b), z3.If(a <= b, b, a)
    half = len(inorder) // 2
    match combine:
        case Combine.LOWEST_OF:
            return inorder[0]
        case Combine.HIGHEST_OF:
            return inorder[-1]
        case Combine.DIFFERENCE_OF:
            return inorder[-1] - inorder[0]
        case Combine.AVERAGE_OF:
            return sum(values[1:], values[0]) / len(values)
        case Combine.MEDIAN_OF:
            return inorder[half] if len(inorder) % 2 else (inorder[half - 1] + inorder[half]) / 2
