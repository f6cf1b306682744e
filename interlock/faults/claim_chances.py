"""How probable it is that a claim's protection is lost, from its cut sets and the rates a scheme gives.

What is worked out is the chance that the faults of some cut set are there. Harm needs the bad condition too, such as a
frozen pack, about whose chance a scheme says nothing. Cut sets with a fault that has no rate, larger sets than were
looked at and undecided ones can only add to it: the figure is then a lower bound, and says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.faults.chance import Bounded, Importance, chance, importances, over_mission, rare_event, rated, rates_of
from interlock.faults.cutsets_search import CutSets
from interlock.records import replace
from interlock.scheme.model import Claim, Scheme


@dataclass(frozen=True, slots=True)
class ClaimChances:
    """The figures of one claim over a mission of `hours` without any test or repair.

    `sets`: its minimal cut sets known; `counted`: those of which every fault has a rate. `missing`: the faults of the
    others that could have a rate and have none; `mistakes`: those that are mistakes of installation, which arise at no
    hour. `order`: sets of more faults were not looked at; None where no larger one can matter. `undecided`: sets not
    decided or not judged. `anyway`: the claim is violated without any fault, so that no chance has a meaning.
    `chance`, `rare_event` (its bound from above, by Boole's inequality) and `importances` are of the sets counted;
    None and () where there is none.
    """

    claim: str
    hours: float
    sets: int
    counted: int
    missing: tuple[str, ...]
    mistakes: tuple[str, ...]
    order: int | None
    undecided: int
    anyway: bool
    chance: Bounded | None = None
    rare_event: float | None = None
    importances: tuple[Importance, ...] = ()

    @property
    def lower_bound(self) -> bool:
        """Whether something that is not counted can add to the chance."""
        return self.counted < self.sets or self.order is not None or self.undecided > 0

    @property
    def per_hour(self) -> Bounded | None:
        """The mean over the mission: how often per hour the first of these sets comes together."""
        return self.chance and Bounded(self.chance.lower / self.hours, self.chance.upper / self.hours)


def claim_chances(scheme: Scheme, claim: Claim, found: CutSets, hours: float) -> ClaimChances:
    """The figures of one claim. Raises ValueError for a mission of no or endless length."""
    if not 0 < hours < float("inf"):
        raise ValueError(f"a mission of {hours!r} h is none; expected a number above 0")
    rates = rates_of(scheme)
    anyway = () in found.minimal
    counted, unrated = rated(() if anyway else found.minimal, rates)
    mistakes = tuple(n for n in unrated if scheme.faults[n].installation)
    figures = ClaimChances(
        claim=claim.name,
        hours=hours,
        sets=len(found.minimal),
        counted=len(counted),
        missing=tuple(n for n in unrated if n not in mistakes),
        mistakes=mistakes,
        order=None if all_known(found, scheme.faults) else max(found.done, 0),
        undecided=len(found.undecided) + found.waiting,
        anyway=anyway,
    )
    if not counted:
        return figures
    arisen = {name: over_mission(rate, hours) for name, rate in rates.items()}
    return replace(
        figures,
        chance=chance(counted, arisen),
        rare_event=rare_event(counted, arisen),
        importances=importances(counted, arisen),
    )


def all_known(found: CutSets, catalogue: Iterable[str]) -> bool:
    """Whether no set larger than was looked at can be a minimal cut set.

    Every cut set has a fault on which the healthy verdict rests. Where each of those violates the claim by itself, a
    larger set contains a smaller cut set; where it is violated without any, all do.
    """
    if found.undecided or found.waiting or found.done < 0:
        return False
    alone = {cut[0] for cut in found.minimal if len(cut) == 1}
    return () in found.minimal or found.done >= len([*catalogue]) or (found.done >= 1 and alone.issuperset(found.near))
