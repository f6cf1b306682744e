"""Inspection intervals of a study: which sleeping faults are to be looked for, and how often."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.faults.chance import rates_of
from interlock.faults.effects import Effect, FaultEffect
from interlock.faults.proof_tests import Arising, Plan, Sleeper, inspection_plan
from interlock.scheme.model import Scheme


@dataclass(frozen=True, slots=True)
class Inspections:
    """`plan`: the dormant faults that arise in service, with an interval each. `seconds`: for each of those, the second
    faults arising in service that it makes dangerous. `commissioning`: the dormant mistakes of installation, which
    arise at no hour: looked for once, and after each work on the wiring."""

    plan: Plan
    seconds: dict[str, tuple[str, ...]]
    commissioning: tuple[str, ...]


def inspections(scheme: Scheme, effects: Iterable[FaultEffect], bound: float) -> Inspections:
    """The intervals that keep the meetings of a second fault with a sleeping one within `bound` per hour.

    Known from sets of two faults; what is found is taken to be mended at once. A second fault that is a mistake of
    installation arises at no hour either: where it is there, it is the one that was there first. Raises ValueError as
    `inspection_plan` does.
    """
    rates = rates_of(scheme)
    sleepers: list[Sleeper] = []
    commissioning: list[str] = []
    for effect in effects:
        if effect.effect is not Effect.DORMANT:
            continue
        if scheme.faults[effect.fault].installation:
            commissioning.append(effect.fault)
            continue
        seconds = [p.fault for p in effect.partners if not scheme.faults[p.fault].installation]
        sleepers.append(
            Sleeper(Arising(effect.fault, rates.get(effect.fault)), tuple(Arising(n, rates.get(n)) for n in seconds))
        )
    return Inspections(
        inspection_plan(sleepers, bound),
        {s.fault.name: tuple(second.name for second in s.seconds) for s in sleepers},
        tuple(commissioning),
    )
