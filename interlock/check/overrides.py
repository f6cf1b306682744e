"""Overrides: for how long, how soon again, and what is left while they last."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.coverage import danger_of
from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.scheme.findings import Finding
from interlock.scheme.model import Claim, Limit, Rule
from interlock.scheme.units import time_text
from interlock.scheme.words import LineForm, Signal


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    overridden = [r for r in facts.scheme.rules.values() if r.overridden_by]
    for rule in overridden:
        if rule.override_at_most is None:
            yield _without_limit(facts, rule)
        else:
            yield from _without_rest(facts, rule)
    if overridden:
        yield from _last_protections(facts)


def _without_limit(facts: Facts, rule: Rule) -> Finding:
    return finding(
        Ident.OVERRIDE_WITHOUT_LIMIT,
        rule.name,
        rule.place,
        f"`{rule.overridden_by}` overrides `{rule.name}` for as long as it is on",
        "add `override_at_most: TIME`: what was once bridged in need stays bridged",
        ((facts.scheme.lines[rule.overridden_by].place, "the line that overrides"),),
    )


# --- rest


def _without_rest(facts: Facts, rule: Rule) -> Iterator[Finding]:
    """A limited override begins again at once when its line goes off and on, unless another rule remembers it."""
    assert rule.override_at_most is not None
    if rule.override_at_most.us == 0:
        return
    resting = _resting(facts, rule.overridden_by)
    bare = [t.path for t in rule.blocks if resting.isdisjoint(facts.protections.stops.blocking(t.path, always=True))]
    if not bare and rule.blocks:
        return
    shown = listed(bare) if bare else f"`{rule.name}`"
    yield finding(
        Ident.OVERRIDE_WITHOUT_REST,
        rule.name,
        rule.place,
        f"`{rule.name}` can be overridden for {time_text(rule.override_at_most.us)} again and again: "
        f"`{rule.overridden_by}` off for one scan is enough, and nothing keeps {shown} stopped in between",
        f"let a rule watch `{rule.overridden_by}` and clear only when it has been off for a while (clears: off for "
        "TIME), and block the same paths once that rule has been active for the time of one override",
        ((facts.scheme.lines[rule.overridden_by].place, "the line that overrides"),),
    )


def _resting(facts: Facts, line: str) -> frozenset[str]:
    """The rules that the override line sets in motion and that need it off for some time to let go."""
    found: set[str] = set()
    for rule in facts.scheme.rules.values():
        if not rule.blocks or rule.overridden_by == line:
            continue
        for chain in facts.chains.of(rule.name):
            rests = any(
                facts.scheme.rules[h.rule].clears.delay.us if h.active else facts.scheme.rules[h.rule].trips.delay.us
                for h in chain.hops
            )
            if chain.origin == (Signal.LINE, line, True) and rests:
                found.add(rule.name)
    return frozenset(found)


# --- what is left


def _last_protections(facts: Facts) -> Iterator[Finding]:
    """Overridable rules without which nothing protects a path from a danger."""
    held: dict[tuple[str, object], list[tuple[Claim, frozenset[str]]]] = {}
    for claim, guard in facts.guards:
        rules = frozenset(p.rule for p in guard.protections)
        if rules:
            for key in _dangers(facts, claim):
                held.setdefault((claim.path, key), []).append((claim, rules))
    bare: dict[str, list[Claim]] = {}
    for claims in held.values():
        acting = frozenset[str]().union(*(rules for _, rules in claims))
        if all(facts.scheme.rules[r].overridden_by for r in acting):
            lines = {facts.scheme.rules[r].overridden_by for r in acting}
            for r in sorted(acting) if len(lines) == 1 else ():
                bare.setdefault(r, []).append(claims[0][0])
    for name in (r for r in facts.scheme.rules if r in bare):
        rule, first = facts.scheme.rules[name], bare[name][0]
        yield finding(
            Ident.OVERRIDE_OF_LAST_PROTECTION,
            name,
            rule.place,
            f"while `{rule.overridden_by}` overrides `{name}` nothing is left to stop "
            f"{listed(c.path for c in bare[name])} for {listed(c.requirement for c in bare[name])}",
            "add a rule with a threshold further out that nothing overrides",
            ((first.place, f"`{first.requirement}`"),),
        )


def _dangers(facts: Facts, claim: Claim) -> Iterator[object]:
    """What a claim's limits are about: a danger of the pack, or one side of a quantity."""
    for c in claim.conditions:
        if isinstance(c.test, Limit):
            yield danger_of(facts, c) or (c.name, c.test.compare.downward)
        elif c.signal is Signal.LINE and facts.scheme.lines[c.name].form is not LineForm.CONFIRMS:
            continue
