"""What a sensor's error intervals assume about the truth beyond what the ties say."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from interlock.check.idents import Ident
from interlock.check.make import finding
from interlock.check.truths import Truths
from interlock.scheme.findings import Finding
from interlock.scheme.model import Scheme, Sensor
from interlock.scheme.truth import Implied, implied_assumptions
from interlock.scheme.units import value_text

if TYPE_CHECKING:
    from interlock.check.facts import Facts


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    return assumed(facts.scheme, facts.truths)


def assumed(scheme: Scheme, truths: Truths) -> Iterator[Finding]:
    """What each sensor's error assumes. A reading that fits all intervals at once exists only where the quantities are
    near enough to each other; that must follow from the spans and ties."""
    for sensor in scheme.sensors.values():
        tighter = implied_assumptions(truths.closed, (sensor,))
        if tighter:
            yield _assumption(scheme, sensor, tighter)


def _assumption(scheme: Scheme, sensor: Sensor, tighter: tuple[Implied, ...]) -> Finding:
    p, q, most, known = tighter[0].upper, tighter[0].lower, tighter[0].most, tighter[0].declared
    said = " and ".join(f"{t.upper} - {t.lower} at most {_apart(sensor, t.most)}" for t in tighter)
    return finding(
        Ident.IMPLIED_ASSUMPTION,
        sensor.name,
        sensor.place,
        f"the error intervals of `{sensor.name}` assume {said}; spans and ties allow {_apart(sensor, known)} for "
        f"{p} - {q}",
        f"if that is so, declare it: `{p}: {{at_most: {_tie(sensor, q, most)}}}`; if not, widen the interval of `{p}` "
        f"downward or that of `{q}` upward",
        ((scheme.quantities[p].place, f"`{p}`"), (scheme.quantities[q].place, f"`{q}`")),
    )


def _apart(sensor: Sensor, micro: int) -> str:
    return value_text(micro, sensor.kind, difference=True)


def _tie(sensor: Sensor, other: str, micro: int) -> str:
    if micro == 0:
        return other
    return f"{other} {'+' if micro > 0 else '-'} {_apart(sensor, abs(micro))}"
