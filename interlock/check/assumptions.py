"""What a sensor's error intervals assume about the truth beyond what the ties say."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding
from interlock.scheme.findings import Finding
from interlock.scheme.model import Scheme, Sensor
from interlock.scheme.truth import reading_bounds
from interlock.scheme.units import value_text


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family. A reading that fits all intervals at once exists only where the quantities are near
    enough to each other; that must follow from the spans and ties."""
    for sensor in facts.scheme.sensors.values():
        tighter = [
            (p, q, most, known)
            for (p, q), most in reading_bounds(sensor.measures).items()
            if (known := facts.truths.most_apart(p, q)) > most
        ]
        if tighter:
            yield _assumption(facts.scheme, sensor, tighter)


def _assumption(scheme: Scheme, sensor: Sensor, tighter: list[tuple[str, str, int, int]]) -> Finding:
    p, q, most, known = tighter[0]
    said = " and ".join(f"{one} - {other} at most {_apart(sensor, limit)}" for one, other, limit, _ in tighter)
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
