"""What protects a claim, and the single losses that would take that away: records."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.check.chains import Chain
from interlock.check.reach import Bound
from interlock.scheme.model import Condition
from interlock.scheme.words import Word


class Loss(Word):
    """The losses of one part that can leave a path running."""

    WIRE = "broken wire"
    OVERRIDE_WIRE = "broken override wire"
    MODE_WIRE = "broken wire of a mode"
    UNIT = "dead unit"
    OPEN = "open"
    SHORTED = "shorted"


@dataclass(frozen=True, slots=True)
class Defeat:
    """The loss of one part that leaves a protection without effect."""

    loss: Loss
    part: str


@dataclass(frozen=True, slots=True)
class Protection:
    """`rule` acts once `condition` holds; `chain` is None where the rule's own `only_while` ends its start.

    `beyond`: how far the worst healthy reading may stand on the wrong side of the threshold (0: always on the right
    one) while the condition holds; `enough` is false where it may. `worst` is that reading.
    """

    rule: str
    condition: Condition
    chain: Chain | None
    enough: bool
    worst: Bound = 0
    beyond: Bound = 0
    defeats: frozenset[Defeat] = frozenset()


@dataclass(frozen=True, slots=True)
class Guard:
    """All that protects one claim. `loosely`: something its path depends on has to do with a condition, in a way that
    only a proof can judge. `limited`: a rule ends each run of the path within the time allowed. `harmless`: losses that
    stop the path by themselves."""

    protections: tuple[Protection, ...]
    loosely: bool
    limited: bool = False
    harmless: frozenset[Defeat] = frozenset()

    @property
    def enough(self) -> tuple[Protection, ...]:
        """Those whose sensors' errors are allowed for."""
        return tuple(p for p in self.protections if p.enough)

    def lost_to(self) -> frozenset[Defeat]:
        """The single losses that leave none of them."""
        sets = [p.defeats for p in self.enough]
        return frozenset.intersection(*sets) - self.harmless if sets else frozenset()
