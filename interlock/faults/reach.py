"""What a claim can look at in a scheme, and so which claims a change to the scheme can touch."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.scheme.model import Claim, Quantity, Rule, Scheme

KINDS = ("quantities", "sensors", "readings", "lines", "rules", "paths", "outputs")


def reach(scheme: Scheme, claim: Claim) -> frozenset[str]:
    """The names of all parts that a claim's verdict can depend on, whatever faults there are but exchanges: those send
    a question to another place. Larger than need be, never smaller."""
    found: set[str] = set()
    waiting = [claim.path, *(c.name for c in claim.all_conditions())]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += [n for n in _next(scheme, name) if n]
    return frozenset(found)


def changed(before: Scheme, after: Scheme) -> frozenset[str]:
    """The parts that are not the same in both schemes, or in one of them only."""
    found: set[str] = set()
    for kind in KINDS:
        old, new = getattr(before, kind), getattr(after, kind)
        found.update(name for name in {**old, **new} if old.get(name) != new.get(name))
    return frozenset(found)


def touched(before: Scheme, after: Scheme) -> tuple[bool, ...]:
    """For each claim, in order, whether a part it can look at is changed. The two schemes have the same claims."""
    parts = changed(before, after)
    return tuple(
        not parts.isdisjoint(reach(before, old)) or not parts.isdisjoint(reach(after, new))
        for old, new in zip(before.claims, after.claims, strict=True)
    )


def _next(scheme: Scheme, name: str) -> Iterator[str]:
    """The parts that one part's meaning can depend on at any scan."""
    if name in scheme.paths:
        path = scheme.paths[name]
        yield from (path.behind, *path.outputs, *_starters(scheme, name))
        yield from (c.name for way in (path.flow.charge, path.flow.discharge) for c in way or ())
    elif name in scheme.outputs:
        output = scheme.outputs[name]
        yield from (
            rule.name
            for rule in scheme.rules.values()
            if rule.unit == output.unit and not {t.path for t in rule.blocks}.isdisjoint(output.drives)
        )
        yield from (rule for driven in output.drives for rule in _starters(scheme, driven))
    elif name in scheme.rules:
        yield from _of_rule(scheme.rules[name])
    elif name in scheme.lines:
        yield from (*scheme.lines[name].rules, scheme.lines[name].output)
    elif name in scheme.readings:
        yield from scheme.readings[name].sensors
    elif name in scheme.sensors:
        yield from (error.quantity for error in scheme.sensors[name].measures)
    elif name in scheme.quantities:
        yield from _of_quantity(scheme, scheme.quantities[name])


def _starters(scheme: Scheme, path: str) -> Iterator[str]:
    return (rule.name for rule in scheme.rules.values() if path in rule.starts)


def _of_rule(rule: Rule) -> Iterator[str]:
    yield rule.watched
    yield from rule.lines_read()
    yield from (c.name for c in rule.only_while)


def _of_quantity(scheme: Scheme, quantity: Quantity) -> Iterator[str]:
    """Quantities tied to it, and the sensors that see it: what their intervals forbid is assumed of the truth."""
    yield from (tie.other for tie in (quantity.at_least, quantity.at_most) if tie)
    for other in scheme.quantities.values():
        if any(tie and tie.other == quantity.name for tie in (other.at_least, other.at_most)):
            yield other.name
    for sensor in scheme.sensors.values():
        if any(error.quantity == quantity.name for error in sensor.measures):
            yield sensor.name
