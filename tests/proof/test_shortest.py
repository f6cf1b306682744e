"""A counterexample said to be the shortest is: as many scans as the brute force needs at least, and no more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, prove
from interlock.proof.shortest import shortest
from interlock.proof.system import FaultPlan
from interlock.records import replace
from tests.conftest import Counted
from tests.support.brute import Options, Search
from tests.support.profiles import DELAYED
from tests.support.questions import Question, stream

MOST = Options(most_states=1_500)
PROFILE = replace(DELAYED, readings=(1, 2))


def fewest_scans(question: Question, wanted: int) -> int | None:
    """The fewest scans from power-up to the last of `wanted` bad ones in a row; None where there is no such run."""
    search = Search(question.scheme, question.claim, question.faults, MOST)
    search.explore()
    source, target = search.ends() if search.edges else (np.zeros(0, int), np.zeros(0, int))
    able = np.ones(len(search.reached), dtype=bool)  # where a row of so many bad scans can begin
    for _ in range(wanted):
        before = np.zeros(len(search.reached), dtype=bool)
        before[source[able[target]]] = True
        able = before
    return min((depth(search, state) + wanted for state in search.reached[able].tolist()), default=None)


def depth(search: Search, state: int) -> int:
    scans = 0
    while state in search.parent:
        state, scans = search.parent[state], scans + 1
    return scans


@dataclass(frozen=True)
class Told:
    """A violated claim: how many scans its story takes, how many a search takes that knows of no run (None: it gave
    up), and the fewest."""

    question: str
    story: int
    sure: bool
    searched: int | None
    fewest: int


def told(faults: int, first: int, count: int) -> Iterator[Told]:
    """Violated claims of random schemes."""
    for question in islice(stream(PROFILE, faults, first, MOST), count):
        claim, scheme = question.claim, question.scheme
        verdict = prove(scheme, claim, question.faults, margins=False)
        wanted = max(1, claim.longer_than.us // scheme.scan_us - claim.adds_a_scan + 1)
        if verdict.outcome is Outcome.VIOLATED and verdict.trace and sum(s.scans for s in verdict.trace) >= wanted:
            fewest = fewest_scans(question, wanted)
            assert fewest is not None, question
            full = Decider(Index(scheme), of_claim(claim), FaultPlan.of(question.faults), 2_000).full
            found = shortest(full, wanted, 1_000_000)
            searched = sum(p.scans for p in found.run.played) if found.run else None
            yield Told(str(question), sum(s.scans for s in verdict.trace), verdict.shortest, searched, fewest)


def test_the_stories_of_random_claims_are_as_short_as_the_brute_force_finds(counted: Counted) -> None:
    found = [*told(0, 910_000, 40), *told(1, 920_000, 24), *told(2, 930_000, 16)]
    said = Counter("said to be the shortest" if one.sure else "not said so" for one in found)
    said["with scans before the bad ones"] = sum(one.fewest > 2 for one in found)
    counted("stories beside the shortest that the brute force finds", said)
    assert [one for one in found if one.story < one.fewest] == []
    assert [one for one in found if one.sure and one.story > one.fewest] == []
    assert [one for one in found if one.searched not in (None, one.fewest)] == []
    assert said["said to be the shortest"] >= 0.8 * len(found) > 0
    assert sum(one.story == one.fewest for one in found) >= 0.95 * len(found)
    assert sum(one.searched is not None for one in found) >= 0.8 * len(found)
