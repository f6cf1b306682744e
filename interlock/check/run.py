"""All checks of a scheme beyond its syntax."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from interlock.check import (
    assumptions,
    contacts,
    coverage,
    devices,
    elements,
    grading,
    groups,
    losses,
    overrides,
    standstill,
    thresholds,
)
from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding
from interlock.scheme.findings import Finding
from interlock.scheme.model import Acceptance, Scheme

Check = Callable[[Facts], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    coverage.check,
    thresholds.check,
    elements.check,
    assumptions.check,
    standstill.check,
    losses.check,
    contacts.check,
    overrides.check,
    groups.check,
    grading.check,
    devices.check,
)


def check(scheme: Scheme) -> tuple[Finding, ...]:
    """All findings of a scheme, in the file's order; those the scheme accepts are left out."""
    facts = Facts(scheme)
    found = [f for one in CHECKS for f in one(facts)]
    accepted = {(a.finding, a.name): a for a in scheme.accepted}
    left = [f for f in found if (f.ident, f.name) not in accepted]
    met = {(f.ident, f.name) for f in found}
    left += [_unused(a, found) for key, a in accepted.items() if key not in met]
    return tuple(sorted(left, key=lambda f: (f.place, f.ident, f.name, f.message)))


def _unused(acceptance: Acceptance, found: list[Finding]) -> Finding:
    known = {str(i) for i in Ident}
    if acceptance.finding not in known:
        why, what = f"there is no finding `{acceptance.finding}`", "known: " + ", ".join(sorted(known))
    else:
        others = sorted({f.name for f in found if f.ident == acceptance.finding})
        why = f"`{acceptance.name}` has no such finding"
        what = f"it is there for {', '.join(others)}" if others else "remove the entry: nothing is left to accept"
    return finding(
        Ident.ACCEPTANCE_UNUSED,
        acceptance.name,
        acceptance.place,
        f"`{acceptance.finding}` of `{acceptance.name}` is accepted and not there: {why}",
        what,
    )
