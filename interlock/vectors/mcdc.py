"""Modified condition/decision coverage of a decision over truth values (RTCA DO-178C; its forms as in the NASA tutorial
NASA/TM-2001-210876, Hayhurst and others 2001).

A pair of assignments shows a condition where it differs between them, the decision differs, and the condition decides
in both: turned alone, it turns the decision. By *unique cause* nothing else differs between the two; else what differs
besides is *masked*. A condition that stands in a decision more than once counts once: its occurrences turn together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from itertools import combinations, product
from operator import or_

from interlock.scheme.words import Word


class Form(Word):
    """How a pair shows a condition."""

    UNIQUE_CAUSE = "unique cause"
    MASKING = "masking"


@dataclass(frozen=True, slots=True)
class Var:
    """A condition."""

    name: str


@dataclass(frozen=True, slots=True)
class Not:
    """The reverse."""

    of: Expr


@dataclass(frozen=True, slots=True)
class All:
    """All of them; true where there are none."""

    of: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Some:
    """At least one of them; false where there are none."""

    of: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Differ:
    """Exactly one of two."""

    one: Expr
    other: Expr


Expr = Var | Not | All | Some | Differ
Assignment = Mapping[str, bool]


def value(decision: Expr, given: Assignment) -> bool:
    """What a decision comes to."""
    match decision:
        case Var(name):
            return given[name]
        case Not(of):
            return not value(of, given)
        case All(of):
            return all(value(part, given) for part in of)
        case Some(of):
            return any(value(part, given) for part in of)
        case Differ(one, other):
            return value(one, given) is not value(other, given)


def conditions(decision: Expr) -> tuple[str, ...]:
    """The conditions of a decision, each once, in the order in which they stand."""
    return tuple(dict.fromkeys(_names(decision)))


def _names(decision: Expr) -> Iterator[str]:
    match decision:
        case Var(name):
            yield name
        case Not(of):
            yield from _names(of)
        case All(of) | Some(of):
            for part in of:
                yield from _names(part)
        case Differ(one, other):
            yield from _names(one)
            yield from _names(other)


def decides(decision: Expr, condition: str, given: Assignment) -> bool:
    """Whether a condition decides: turned alone, it turns the decision."""
    turned = {**given, condition: not given[condition]}
    return value(decision, given) is not value(decision, turned)


def pair_shows(decision: Expr, condition: str, one: Assignment, other: Assignment) -> Form | None:
    """How two assignments show a condition; None where they do not."""
    if one[condition] is other[condition] or value(decision, one) is value(decision, other):
        return None
    if not (decides(decision, condition, one) and decides(decision, condition, other)):
        return None
    alone = all(one[name] is other[name] for name in conditions(decision) if name != condition)
    return Form.UNIQUE_CAUSE if alone else Form.MASKING


def shown(decision: Expr, seen: Iterable[Assignment]) -> dict[str, Form | None]:
    """For each condition of a decision how the assignments seen show it, by unique cause where they do."""
    every = [dict(found) for found in dict.fromkeys(tuple(sorted(given.items())) for given in seen)]
    best: dict[str, Form | None] = {}
    for name in conditions(decision):
        deciding = [given for given in every if decides(decision, name, given)]
        sides = [given for given in deciding if given[name]], [given for given in deciding if not given[name]]
        forms = {pair_shows(decision, name, one, other) for one in sides[0] for other in sides[1]}
        best[name] = next((form for form in Form if form in forms), None)
    return best


def smallest(decision: Expr, form: Form = Form.UNIQUE_CAUSE) -> tuple[tuple[bool, ...], ...]:
    """A smallest set of assignments that shows every condition in that form (masking: in either), found by trying all
    sets in order of their size; each assignment in the order of `conditions`. Raises ValueError where there is none.
    For decisions of a few conditions: the number of sets grows twice exponentially."""
    names = conditions(decision)
    every = list(product((True, False), repeat=len(names)))
    given = [dict(zip(names, values, strict=True)) for values in every]
    wanted = set(Form) if form is Form.MASKING else {Form.UNIQUE_CAUSE}
    pairs = {  # of each pair of assignments, the conditions it shows, as bits
        (i, j): sum(1 << n for n, name in enumerate(names) if pair_shows(decision, name, given[i], given[j]) in wanted)
        for i, j in combinations(range(len(every)), 2)
    }
    for size in range(1, len(every) + 1):
        for chosen in combinations(range(len(every)), size):
            if reduce(or_, (pairs[pair] for pair in combinations(chosen, 2)), 0) == (1 << len(names)) - 1:
                return tuple(every[i] for i in chosen)
    raise ValueError(f"no set of assignments shows every condition by {form}")
