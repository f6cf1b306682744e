"""Dangers that no requirement speaks of, requirements that no rule sees to, and those that never apply."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.chains import condition_text, conditions_text
from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.wiring import ahead
from interlock.scheme.findings import Finding
from interlock.scheme.model import Claim, Condition, Limit, Path, Quantity
from interlock.scheme.units import Kind
from interlock.scheme.words import Direction, Must, Signal, Word


class Danger(Word):
    """What harms a pack: charged while cold, full or hot; discharged while empty or hot."""

    COLD = "cold"
    FULL = "full"
    EMPTY = "empty"
    HOT = "hot"


_IDENT = {
    Danger.COLD: Ident.NO_COLD_REQUIREMENT,
    Danger.FULL: Ident.NO_FULL_REQUIREMENT,
    Danger.EMPTY: Ident.NO_EMPTY_REQUIREMENT,
    Danger.HOT: Ident.NO_HOT_REQUIREMENT,
}
assert set(_IDENT) == set(Danger), set(Danger) - set(_IDENT)

DANGERS: dict[Direction, tuple[Danger, ...]] = {
    Direction.CHARGE: (Danger.COLD, Danger.FULL, Danger.HOT),
    Direction.DISCHARGE: (Danger.EMPTY, Danger.HOT),
}
assert set(DANGERS) == set(Direction), set(Direction) - set(DANGERS)

_STORED = frozenset({Kind.VOLTAGE, Kind.PERCENT, Kind.CAPACITY, Kind.ENERGY})
FREEZING = (
    0  # degC; where no quantity ever gets below it, cold is no danger (lithium plating: common practice, no source)
)


def danger(kind: Kind, *, downward: bool) -> Danger | None:
    """The danger that lies on one side of a limit on a quantity of that kind."""
    if kind is Kind.TEMPERATURE:
        return Danger.COLD if downward else Danger.HOT
    if kind in _STORED:
        return Danger.EMPTY if downward else Danger.FULL
    return None


def danger_of(facts: Facts, condition: Condition) -> Danger | None:
    """The danger that a claim's condition on a quantity speaks of."""
    if condition.signal is not Signal.QUANTITY or not isinstance(condition.test, Limit):
        return None
    return danger(facts.scheme.quantities[condition.name].kind, downward=condition.test.compare.downward)


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    yield from _uncovered(facts)
    yield from _unprotected(facts)
    yield from _never_applying(facts)


def _uncovered(facts: Facts) -> Iterator[Finding]:
    telling = {d: _telling(facts, d) for d in Danger}
    covered: dict[str, list[Claim]] = {}
    for claim in facts.scheme.claims:
        if claim.must is Must.NEVER_RUNNING:
            covered.setdefault(claim.path, []).append(claim)
    for path in facts.scheme.paths.values():
        if path.unswitched or path.name in facts.must_run:
            continue
        claims = [c for p in ahead(facts.scheme, path.name) for c in covered.get(p, ())]
        for wanted, directions in _wanted(path).items():
            quantity = telling[wanted]
            missing = [d for d in directions if not any(_speaks_of(facts, c, wanted, path, d) for c in claims)]
            if quantity and missing:
                yield _uncovered_finding(path, wanted, missing, quantity)


def _telling(facts: Facts, wanted: Danger) -> Quantity | None:
    """The quantity that would tell of a danger: of those that could, one that is lowest (or highest)."""
    downward = wanted in (Danger.COLD, Danger.EMPTY)
    able = [q for q in facts.scheme.quantities.values() if danger(q.kind, downward=downward) is wanted]
    if wanted is Danger.COLD:
        able = [q for q in able if facts.truths.range(q.name).low < FREEZING]
    below = {q.name: q.at_least.other for q in able if q.at_least}
    outermost = [q for q in able if (q.name not in below if downward else q.name not in below.values())]
    return next(iter([*outermost, *able]), None)


def _wanted(path: Path) -> dict[Danger, list[Direction]]:
    modes = {Direction.CHARGE: path.flow.charge, Direction.DISCHARGE: path.flow.discharge}
    found: dict[Danger, list[Direction]] = {}
    for direction, dangers in DANGERS.items():
        for wanted in dangers if modes[direction] is not None else ():
            found.setdefault(wanted, []).append(direction)
    return found


def _speaks_of(facts: Facts, claim: Claim, wanted: Danger, path: Path, direction: Direction) -> bool:
    mode = path.flow.charge if direction is Direction.CHARGE else path.flow.discharge
    in_this_mode = not claim.any_of or claim.path != path.name or mode in claim.any_of
    return in_this_mode and any(danger_of(facts, c) is wanted for c in claim.conditions)


def _uncovered_finding(path: Path, wanted: Danger, missing: list[Direction], quantity: Quantity) -> Finding:
    does = " and ".join("charges" if d is Direction.CHARGE else "discharges" for d in missing)
    side = "below" if wanted in (Danger.COLD, Danger.EMPTY) else "above"
    return finding(
        _IDENT[wanted],
        path.name,
        path.place,
        f"`{path.name}` {does} the pack and no requirement says what holds for it when the pack is {wanted}",
        f"add a requirement: `{path.name}` never running while `{quantity.name}` is {side} the limit of its datasheet",
        ((quantity.place, "the quantity that tells"),),
    )


def _unprotected(facts: Facts) -> Iterator[Finding]:
    for claim, guard in facts.guards:
        if guard.protections or guard.loosely:
            continue
        blocking = facts.protections.stops.blocking(claim.path)
        if not claim.conditions and (blocking or facts.scheme.paths[claim.path].started_by):
            continue  # a limit on running time: only a proof can judge it
        rest = f"; what does block it ({listed(blocking)}) looks at other things" if blocking else ""
        said = conditions_text(facts.scheme, claim.conditions)
        yield finding(
            Ident.REQUIREMENT_UNPROTECTED,
            claim.name,
            claim.place,
            f"`{claim.name}` has no protection: no rule stops `{claim.path}`" + (f" for {said}" if said else ""),
            f"let a rule that watches {_what(facts, claim)} block `{claim.path}`{rest}",
            ((facts.scheme.paths[claim.path].place, "the path"),),
        )


def _what(facts: Facts, claim: Claim) -> str:
    quantities = [c.name for c in claim.conditions if c.signal is Signal.QUANTITY]
    if not quantities:
        return listed([c.name for c in claim.conditions] or [claim.path])
    sensors = [s.name for s in facts.scheme.sensors.values() if any(e.quantity in quantities for e in s.measures)]
    return " or ".join(f"`{s}`" for s in sensors[:3]) or f"a sensor of `{quantities[0]}`"


def _never_applying(facts: Facts) -> Iterator[Finding]:
    """Requirements none of whose claims can ever apply (a mode of one path may well exclude the others)."""
    claims: dict[str, list[Claim]] = {}
    for claim in facts.scheme.claims:
        claims.setdefault(claim.requirement, []).append(claim)
    for name, every in claims.items():
        if any(_can_apply(facts, claim) for claim in every):
            continue
        conditions = tuple(every[0].all_conditions())
        said = " and ".join(f"`{condition_text(facts.scheme, c)}`" for c in conditions)
        yield finding(
            Ident.REQUIREMENT_NEVER_APPLIES,
            name,
            every[0].place,
            f"`{name}` demands nothing: {said} can never be true" + (" together" if len(conditions) > 1 else ""),
            "check the limits against the spans and ties of the quantities, and the states asked of lines",
            tuple(
                (facts.scheme.quantities[c.name].place, f"the span and ties of `{c.name}`")
                for c in conditions
                if c.signal is Signal.QUANTITY
            ),
        )


def _can_apply(facts: Facts, claim: Claim) -> bool:
    alternatives = [(*claim.conditions, *mode) for mode in claim.any_of] or [claim.conditions]
    return any(facts.truths.possible(a) and not _contradiction(a) for a in alternatives)


def _contradiction(conditions: tuple[Condition, ...]) -> bool:
    asked: dict[str, bool] = {}
    return any(isinstance(c.test, bool) and asked.setdefault(c.name, c.test) is not c.test for c in conditions)
