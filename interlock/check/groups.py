"""Rules that act on a group: what of it their unit can stop, and what of it must run."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.wiring import ahead, fails_running, limits_a_quantity, stoppable
from interlock.scheme.findings import Finding
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import Must


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    scheme = facts.scheme
    demanded = _demanded(scheme)
    switched = [p.name for p in scheme.paths.values() if not p.unswitched]
    out_of_reach = {u: frozenset(p for p in switched if not stoppable(scheme, u, p)) for u in scheme.units}
    for rule in scheme.rules.values():
        far = out_of_reach[rule.unit]
        missed: dict[str, list[str]] = {}
        caught: dict[str, list[str]] = {}
        for target in rule.blocks:
            if target.group and target.path in far:
                missed.setdefault(target.group, []).append(target.path)
            elif target.group and target.path in demanded:
                caught.setdefault(target.group, []).append(target.path)
        for group, paths in missed.items():
            yield from _partly_stopped(scheme, rule, group, paths)
        for group, paths in caught.items():
            yield _must_run(scheme, rule, group, paths, demanded)


def _partly_stopped(scheme: Scheme, rule: Rule, group: str, far: list[str]) -> Iterator[Finding]:
    """A path out of reach is stopped all the same where the rule stops one it is behind."""
    blocked = {t.path for t in rule.blocks}
    missed = [
        path
        for path in far
        if not any(p in blocked and stoppable(scheme, rule.unit, p) for p in ahead(scheme, path)[1:])
    ]
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
    outputs let them run when released, as only a device is wired that must run, unless a requirement forbids that."""
    stopped = {c.path for c in scheme.claims if c.must is Must.NEVER_RUNNING and limits_a_quantity(c)}
    found = {p.name: "" for p in scheme.paths.values() if p.name not in stopped and fails_running(scheme, p)}
    for claim in scheme.claims:
        if claim.must is Must.NEVER_STOPPED and not limits_a_quantity(claim):
            found[claim.path] = claim.requirement
    return found


def _must_run(scheme: Scheme, rule: Rule, group: str, caught: list[str], demanded: dict[str, str]) -> Finding:
    wanted = [demanded[p] for p in caught if demanded[p]]
    why = f"{listed(wanted)} wants running" if wanted else "is wired to run when released"
    keep = [
        t.path
        for t in rule.blocks
        if t.group == group and t.path not in demanded and stoppable(scheme, rule.unit, t.path)
    ]
    return finding(
        Ident.BLOCKS_WHAT_MUST_RUN,
        rule.name,
        rule.place,
        f"`{rule.name}` blocks `{group}` and with it {listed(caught)}, which {why}",
        "name what it must stop"
        + (f": blocks: [{', '.join(keep[:6])}{', …' if len(keep) > 6 else ''}], or a group of these" if keep else ""),
        tuple((scheme.paths[p].place, f"`{p}` must run") for p in caught[:3]),
    )
