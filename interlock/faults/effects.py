"""What each fault alone leads to: it violates, is revealed, sleeps, is harmless."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from interlock.faults.cutsets_search import CutSets
from interlock.scheme.model import Scheme
from interlock.scheme.words import Word


class Effect(Word):
    """The worst that a fault alone leads to.

    VIOLATES: a claim that protects (never_running, or a path that protects by running). REVEALED: it violates none of
    those, and someone notices: a sensor reads invalid (`signs`), an alarm sounds (`alarms`: it can't stay silent for
    ever with the fault, or it can never sound without it), or a service stops (any other claim). HARMLESS: proved to
    change no running path in any behaviour, alone or with any one other fault. DORMANT: none of these. UNDECIDED: a
    claim was not decided and it is none of the first two.
    """

    VIOLATES = "violates"
    REVEALED = "revealed"
    DORMANT = "dormant"
    HARMLESS = "harmless"
    UNDECIDED = "undecided"


class Sign(Word):
    """How someone notices a fault."""

    SENSOR = "sensor"  # reads invalid
    ALARM = "alarm"  # of a rule
    CLAIM = "claim"  # one that asks for a service is broken


@dataclass(frozen=True, slots=True)
class Reveal:
    """A sign and the name of the sensor, rule or claim that gives it."""

    sign: Sign
    name: str


@dataclass(frozen=True, slots=True)
class Partner:
    """A second fault that a sleeping one makes dangerous, and the claims that the two violate though neither does
    alone."""

    fault: str
    claims: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FaultEffect:
    """One fault of the catalogue. `violates`: the claims it violates alone, of either kind. `undecided`: the claims not
    decided under it. `partners`: where it is dormant and pairs were looked at."""

    fault: str
    effect: Effect
    violates: tuple[str, ...]
    revealed_by: tuple[Reveal, ...]
    undecided: tuple[str, ...]
    partners: tuple[Partner, ...] = ()


def effects(
    scheme: Scheme,
    cut_sets: Sequence[CutSets],
    lost: Mapping[str, tuple[str, ...]],
    alarms: Mapping[str, tuple[str, ...]],
    harmless: Iterable[str],
) -> tuple[FaultEffect, ...]:
    """The effect of each fault, in the catalogue's order. `cut_sets`: of each claim. `lost`: for each fault the sensors
    it makes invalid; `alarms`: the rules whose alarm it raises."""
    proved = frozenset(harmless)
    violates: dict[str, list[str]] = {name: [] for name in scheme.faults}
    undecided: dict[str, list[str]] = {name: [] for name in scheme.faults}
    partners: dict[str, dict[str, list[str]]] = {name: {} for name in scheme.faults}
    claims = {c.name: c for c in scheme.claims}
    for claim, found in zip(scheme.claims, cut_sets, strict=True):
        healthy = () in found.minimal
        for name in scheme.faults:
            if healthy or (name,) in found.minimal:
                violates[name].append(claim.name)
            elif found.done < 1 and not (found.done == 0 and name not in found.near):
                undecided[name].append(claim.name)
        for open_ in found.undecided:
            for name in scheme.faults if not open_.faults else open_.faults if len(open_.faults) == 1 else ():
                if claim.name not in undecided[name]:
                    undecided[name].append(claim.name)
        for cut in found.minimal:
            if len(cut) == 2:
                for one, other in (cut, cut[::-1]):
                    partners[one].setdefault(other, []).append(claim.name)
    result = []
    for name in scheme.faults:
        served = [c for c in violates[name] if not claims[c].protects]
        reveals = [Reveal(Sign.SENSOR, s) for s in lost.get(name, ())]
        reveals += [Reveal(Sign.ALARM, r) for r in alarms.get(name, ())]
        reveals += [Reveal(Sign.CLAIM, c) for c in served]
        if len(served) < len(violates[name]):
            effect = Effect.VIOLATES
        elif reveals and not undecided[name]:
            effect = Effect.REVEALED
        elif undecided[name]:
            effect = Effect.UNDECIDED
        else:
            effect = Effect.HARMLESS if name in proved else Effect.DORMANT
        second = partners[name] if effect is Effect.DORMANT else {}
        result.append(
            FaultEffect(
                name,
                effect,
                tuple(violates[name]),
                tuple(reveals),
                tuple(undecided[name]),
                tuple(Partner(n, tuple(second[n])) for n in scheme.faults if n in second),
            )
        )
    return tuple(result)
