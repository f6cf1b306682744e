"""Rules that act on a group: what of it their unit can stop, and what of it must run."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.wiring import ahead, fails_running, stoppable
from interlock.scheme.findings import Finding
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import Must, Signal


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    demanded = _demanded(facts.scheme)
    for rule in facts.scheme.rules.values():
        for group in dict.fromkeys(t.group for t in rule.blocks if t.group):
            yield from _partly_stopped(facts.scheme, rule, group)
            yield from _must_run(facts.scheme, rule, group, demanded)


def _partly_stopped(scheme: Scheme, rule: Rule, group: str) -> Iterator[Finding]:
    blocked = {t.path for t in rule.blocks}
    missed = []
    for target in rule.blocks:
        if target.group != group or scheme.paths[target.path].unswitched:
            continue
        if not any(p in blocked and stoppable(scheme, rule.unit, p) for p in ahead(scheme, target.path)):
            missed.append(target.path)
    if missed:
        outputs = [o for p in missed for o in scheme.paths[p].outputs]
        yield finding(
            Ident.GROUP_PARTLY_STOPPED,
            rule.name,
            rule.place,
            f"`{rule.name}` blocks `{group}`, and its unit `{rule.unit}` can't stop {listed(missed)} of it",
            f"let `{rule.unit}` send a line (low_when: [{rule.name}]) to "
            f"{listed(scheme.outputs[o].unit for o in outputs)} and let a rule there block it; or name only the "
            f"paths that `{rule.unit}` can stop",
            tuple((scheme.outputs[o].place, f"`{o}` is an output of `{scheme.outputs[o].unit}`") for o in outputs[:3]),
        )


def _demanded(scheme: Scheme) -> dict[str, str]:
    """Paths that a requirement wants running whatever the state of the pack, with that requirement; and those whose
    outputs let them run when released, as only a device is wired that must run."""
    found = {}
    for path in scheme.paths.values():
        if fails_running(scheme, path):
            found[path.name] = ""
    for claim in scheme.claims:
        if claim.must is Must.NEVER_STOPPED and not any(c.signal is Signal.QUANTITY for c in claim.conditions):
            found[claim.path] = claim.requirement
    return found


def _must_run(scheme: Scheme, rule: Rule, group: str, demanded: dict[str, str]) -> Iterator[Finding]:
    caught = [t.path for t in rule.blocks if t.group == group and t.path in demanded]
    caught = [p for p in caught if stoppable(scheme, rule.unit, p)]
    if not caught:
        return
    wanted = [demanded[p] for p in caught if demanded[p]]
    why = f"{listed(wanted)} wants running" if wanted else "is wired to run when released"
    keep = [
        t.path
        for t in rule.blocks
        if t.group == group and t.path not in demanded and stoppable(scheme, rule.unit, t.path)
    ]
    yield finding(
        Ident.BLOCKS_WHAT_MUST_RUN,
        rule.name,
        rule.place,
        f"`{rule.name}` blocks `{group}` and with it {listed(caught)}, which {why}",
        "name what it must stop"
        + (f": blocks: [{', '.join(keep[:6])}{', …' if len(keep) > 6 else ''}], or a group of these" if keep else ""),
        tuple((scheme.paths[p].place, f"`{p}` must run") for p in caught[:3]),
    )
