"""Which of several measurements tells the most about the candidates that are left."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from math import log2

# What a candidate predicts of a measurement: one outcome, or None where it may come out either way.
Predicted = Sequence[Hashable | None]
NOTHING = 1e-9  # bits: less is no gain


@dataclass(frozen=True, slots=True)
class Split:
    """What a measurement does to the candidates. `gain`: the bits of doubt it is expected to take away. `leaves`: for
    each outcome the candidates (by their place) that would still explain everything."""

    gain: float
    leaves: Mapping[Hashable, tuple[int, ...]]

    @property
    def most(self) -> int:
        """How many candidates are left at worst."""
        return max(map(len, self.leaves.values()), default=0)


def split(predicted: Predicted, weights: Sequence[float], outcomes: Sequence[Hashable]) -> Split:
    """What a measurement with these possible outcomes does to candidates of these weights (above 0, of any sum).

    A candidate that leaves the outcome open is taken to show each of them equally often, and stays whichever comes: its
    share of doubt is never taken away. The gain is the mutual information of candidate and outcome (Shannon).
    """
    total = sum(weights)
    shares: dict[Hashable, list[tuple[int, float]]] = {outcome: [] for outcome in outcomes}
    for place, (outcome, weight) in enumerate(zip(predicted, weights, strict=True)):
        if outcome is None:
            for each in outcomes:
                shares[each].append((place, weight / total / len(outcomes)))
        else:
            shares[outcome].append((place, weight / total))
    before = _entropy([weight / total for weight in weights])
    after = 0.0
    for members in shares.values():
        chance = sum(share for _, share in members)
        if chance > 0:
            after += chance * _entropy([share / chance for _, share in members])
    leaves = {outcome: tuple(place for place, _ in members) for outcome, members in shares.items() if members}
    return Split(before - after, leaves)


def _entropy(shares: Sequence[float]) -> float:
    """In bits."""
    return -sum(share * log2(share) for share in shares if share > 0)


def best(splits: Sequence[Split], costs: Sequence[float]) -> int | None:
    """The place of the measurement that gains most; of nearly equal gains the one that costs least, then the first.
    None where none gains anything, be they as many as they may."""
    gaining = [place for place, each in enumerate(splits) if each.gain > NOTHING]
    if not gaining:
        return None
    top = max(splits[place].gain for place in gaining)
    return min((p for p in gaining if splits[p].gain > top - NOTHING), key=lambda p: (costs[p], p))


def told_apart(predicted: Sequence[Predicted], count: int) -> list[tuple[int, ...]]:
    """The candidates in classes that no measurement for certain tells apart, each in order, by their first members.

    Candidates that leave an outcome open are in one class with others only where these leave it open too.
    """
    classes: dict[tuple[Hashable | None, ...], list[int]] = {}
    for place in range(count):
        classes.setdefault(tuple(each[place] for each in predicted), []).append(place)
    return [tuple(members) for members in classes.values()]
