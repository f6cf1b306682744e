"""The judging of many sets of faults for many claims, in batches that any process can answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from interlock.faults.cutsets_search import Ask, FaultNames, Rests, Told
from interlock.faults.judge import Judge, Shown
from interlock.proof.index import Index
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme


@dataclass(frozen=True, slots=True)
class Batch:
    """Sets to be judged for one claim, by its place in the scheme."""

    claim: int
    asks: tuple[Ask, ...]


@dataclass(frozen=True, slots=True)
class Answers:
    """What came of a batch."""

    claim: int
    told: tuple[Told, ...]


class Court:
    """Answers batches for one scheme; what it learns on the way is kept for the next."""

    def __init__(self, scheme: Scheme, budget: int) -> None:
        self.scheme, self.budget = scheme, budget
        self.index = Index(scheme)
        self._judges: dict[int, Judge] = {}

    def answers(self, batch: Batch) -> Answers:
        """Judge the sets of a batch."""
        if batch.claim not in self._judges:
            self._judges[batch.claim] = Judge(self.index, self.scheme.claims[batch.claim], self.budget)
        judge = self._judges[batch.claim]
        return Answers(batch.claim, tuple(self._told(judge, ask) for ask in batch.asks))

    def _told(self, judge: Judge, ask: Ask) -> Told:
        faults = [self.scheme.faults[name] for name in ask.faults]
        ruling = judge.rule(faults, ask.before, ask.also)
        if ruling.shown is None or not ask.deeper:
            return Told(ask.faults, ruling)
        first, *others = (
            Rests(shown, self._near(judge, faults, shown)) for shown in judge.proofs(faults, ruling.shown, ask.also)
        )
        return Told(ask.faults, replace(ruling, shown=first.shown), first.near, tuple(others))

    def _near(self, judge: Judge, faults: Sequence[Fault], shown: Shown) -> FaultNames:
        support = judge.support(faults, shown)
        return tuple(name for name, fault in self.scheme.faults.items() if support.hurts(fault))


def batches(claim: int, asks: Sequence[Ask], size: int) -> list[Batch]:
    """What a claim wants judged in batches of at most `size` sets, in order."""
    rest = iter(asks)
    return [Batch(claim, part) for part in iter(lambda: tuple(islice(rest, size)), ())]
