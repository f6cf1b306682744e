"""Two schemes told the same readings and lines, by brute force: every state of the product, every representative input.

A second opinion on comparisons. It runs the compiled tables, which are held to the readable engine elsewhere, and knows
nothing of the prover nor of what acts alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.compare.alike import as_told
from interlock.logic.lower import compile_scheme
from interlock.logic.many import ManyScenarios
from interlock.logic.program import InputKind, Observe, Program
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.words import Combine, Signal

MOST_STATES = 1_500
MOST_INPUTS = 200
ORDERED = (Combine.LOWEST_OF, Combine.HIGHEST_OF)  # these take one of their sensors' values as it is


class OutOfReachError(Exception):
    """Too many states or inputs, or readings for which no few values stand for all."""


def meanings(old: Scheme, new: Scheme) -> dict[str, str]:
    """same, stricter, looser or different for each path that both have. Raises OutOfReachError."""
    sides = [as_told(old), as_told(new)]
    programs = [compile_scheme(side) for side in sides]
    paths = [p for p in old.paths if p in new.paths]
    inputs = _inputs(sides, programs)
    more: dict[str, set[str]] = {p: set() for p in paths}
    starts = [[slot.initial for slot in p.slots] for p in programs]
    first = np.array([[*starts[0], *starts[1]]], dtype=np.int64)
    known = {first[0].tobytes()}
    frontier = first
    count = len(inputs)
    while len(frontier):
        states = np.repeat(frontier, count, axis=0)
        given = {key: np.tile([row[key] for row in inputs], len(frontier)) for key in inputs[0]} if inputs else {}
        after, runs = [], []
        offset = 0
        for program in programs:
            width = len(program.slots)
            following, seen = _scan(program, states[:, offset : offset + width], given)
            offset += width
            after.append(following)
            runs.append(seen)
        for path in paths:
            was, now = runs[0][path], runs[1][path]
            if np.any(now & ~was):
                more[path].add("looser")
            if np.any(was & ~now):
                more[path].add("stricter")
        rows = np.unique(np.concatenate(after, axis=1), axis=0)
        fresh = []
        for row in rows:
            key = row.tobytes()
            if key not in known:
                known.add(key)
                fresh.append(row)
        if len(known) > MOST_STATES:
            raise OutOfReachError
        frontier = np.array(fresh, dtype=np.int64)
    return {p: "different" if len(found) > 1 else next(iter(found), "same") for p, found in more.items()}


def _scan(
    program: Program, states: NDArray[np.int64], given: dict[tuple[InputKind, str], Any]
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.bool_]]]:
    many = ManyScenarios(program, len(states))
    many.state = [states[:, i].astype(bool if slot.boolean else np.int64) for i, slot in enumerate(program.slots)]
    observed = many.scan([given.get((x.kind, x.name), False if x.boolean else 0) for x in program.inputs])
    seen = {
        o.name: np.asarray(values, bool)
        for o, values in zip(program.observations, observed, strict=True)
        if o.kind is Observe.MAY_RUN
    }
    width = len(program.slots)
    rows = [np.asarray(column, np.int64) for column in many.state]
    return (np.stack(rows, axis=1) if width else np.zeros((len(states), 0), np.int64)), seen


def _inputs(sides: Sequence[Scheme], programs: Sequence[Program]) -> list[dict[tuple[InputKind, str], int]]:
    names = dict.fromkeys((x.kind, x.name) for p in programs for x in p.inputs if x.kind is not InputKind.CYCLE)
    options = []
    for kind, name in names:
        options.append(_values(sides, name) if kind is InputKind.ELEMENT else [0, 1])
    total = int(np.prod([len(o) for o in options])) if options else 1
    if total > MOST_INPUTS:
        raise OutOfReachError
    return [dict(zip(names, values, strict=True)) for values in product(*options)]


def _values(sides: Sequence[Scheme], sensor: str) -> list[int]:
    """One value for each way the rules can take a reading: each limit, between two, and out of range."""
    limits: set[int] = set()
    for side in sides:
        if sensor in side.sensors:
            valid = side.sensors[sensor].valid
            limits |= {valid.low, valid.high}
        for rule in side.rules.values():
            seen = {rule.watched} if rule.watches is Signal.SENSOR else set()
            if rule.watches is Signal.READING:
                reading = side.readings[rule.watched]
                if sensor in reading.sensors and reading.combine not in ORDERED:
                    raise OutOfReachError
                seen = set(reading.sensors)
            if sensor in seen:
                limits |= {t.test.value for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)}
    ordered = sorted(limits)
    between = [(a + b) // 2 for a, b in pairwise(ordered)]
    return [ordered[0] - 1, *ordered, *between, ordered[-1] + 1]
