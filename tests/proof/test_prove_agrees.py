"""The prover held against brute force on random schemes: verdicts, exposures and margins equal, every story replays."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path

import pytest

from interlock.proof.prove import Outcome, Verdict, prove
from interlock.scheme.words import Must
from tests.conftest import Counted
from tests.support.brute import Options
from tests.support.brute_margins import margins
from tests.support.brute_parts import OutOfReach
from tests.support.chosen import REWRITES, keep, picked
from tests.support.profiles import DELAYED, INTERLOCKS, SMALL, TINY, Profile
from tests.support.questions import Question, chosen, stream

# Most claims are of small state spaces, since a large one costs as much as ten of them; two chunks look at large ones.
FEW, MANY = Options(most_states=1_000), Options(most_states=6_000)
BUDGET = 800  # zones; where they get too many the plain search decides
CLAIMS, TIMED = 150, 52  # a chunk at least; of them with a longest run of two scans or more: one more or less shows


@dataclass(frozen=True)
class Chunk:
    """Claims of schemes of one kind under one number of faults."""

    profile: Profile
    faults: int
    first: int  # seed
    margins: bool = False
    most: Options = FEW

    def __str__(self) -> str:
        return f"{self.profile.name}, {UNDER[self.faults]}, from {self.first}"


UNDER = ("healthy", "under one fault", "under two faults")
CHUNKS = (
    *(Chunk(TINY, 0, first, margins=first == 100_000) for first in range(100_000, 140_000, 10_000)),
    *(Chunk(DELAYED, 0, first) for first in range(140_000, 180_000, 10_000)),
    Chunk(INTERLOCKS, 0, 180_000),
    Chunk(SMALL, 0, 190_000, most=MANY),
    *(Chunk(TINY, 1, first, margins=first == 200_000) for first in range(200_000, 230_000, 10_000)),
    *(Chunk(DELAYED, 1, first) for first in range(230_000, 250_000, 10_000)),
    Chunk(INTERLOCKS, 1, 250_000),
    Chunk(SMALL, 1, 260_000, most=MANY),
    Chunk(TINY, 2, 300_000),
    Chunk(DELAYED, 2, 310_000),
    Chunk(INTERLOCKS, 2, 320_000),
)


def test_three_thousand_claims_are_compared_a_third_of_them_to_the_scan() -> None:
    assert len(CHUNKS) * CLAIMS >= 3_000
    assert len(CHUNKS) * TIMED >= 1_000
    for faults, claims in enumerate((1_500, 1_000, 400)):
        assert sum(chunk.faults == faults for chunk in CHUNKS) * CLAIMS >= claims


CHOSEN = Path(__file__).with_name("chosen_claims.txt")


def asked(chunk: Chunk) -> Iterator[Question]:
    """The questions of a chunk; without end where they are to be chosen anew."""
    if REWRITES:
        return stream(chunk.profile, chunk.faults, chunk.first, chunk.most)
    return (chosen(chunk.profile, pick, chunk.most) for pick in picked(CHOSEN, str(chunk)))


@pytest.mark.parametrize("chunk", CHUNKS, ids=str)
def test_the_prover_and_brute_force_agree(chunk: Chunk, counted: Counted) -> None:
    seen: Counter[str] = Counter()
    kept: list[Question] = []
    for question in asked(chunk):
        found, claim = question.found, question.claim
        assert found is not None
        kept.append(question)
        # the readable engine, which confirms a trace, can't withhold a reset that the claim takes to be never given
        told = claim.must is Must.NEVER_RUNNING or claim.attended
        verdict = prove(question.scheme, claim, question.faults, budget=BUDGET, margins=chunk.margins, trace=told)
        if verdict.outcome is Outcome.UNDECIDED:
            seen["undecided"] += 1
            continue
        assert str(verdict.outcome) == found.verdict, str(question)
        if verdict.outcome is Outcome.VIOLATED and told:
            assert verdict.trace or found.n == 0, str(question)  # replayed on the readable engine already
            if verdict.trace and not verdict.endless:
                bad = [stretch.scans for stretch in takewhile(lambda s: s.bad, reversed(verdict.trace))]
                beyond = (sum(bad) + claim.adds_a_scan) * question.scheme.scan_us
                assert beyond > claim.longer_than.us, f"{question}: its trace violates nothing"
            seen["traces"] += 1
        if verdict.outcome is Outcome.VIOLATED and verdict.reason:  # for certain, but not how long
            seen["violated, length open"] += 1
            continue
        assert verdict.endless is (found.verdict != "vacuous" and found.n is None), str(question)
        assert verdict.exposure_us == found.exposure_us, str(question)
        seen["claims"] += 1
        seen[UNDER[chunk.faults]] += 1
        seen[found.verdict] += 1
        seen["n of two or more"] += question.timed
        seen["n endless"] += verdict.endless
        if verdict.outcome is Outcome.HOLDS and chunk.margins:
            seen["margins"] += _margins_agree(question, verdict, chunk.most)
        if seen["claims"] >= CLAIMS and seen["n of two or more"] >= TIMED:
            break
    if REWRITES:
        keep(CHOSEN, str(chunk), [question.pick for question in kept])
    counted("the prover and the brute force, exposures equal", seen)
    assert seen["claims"] >= CLAIMS
    assert seen["n of two or more"] >= TIMED
    assert (seen["undecided"] + seen["violated, length open"]) * 50 <= seen["claims"], "nearly all must be decided"


def _margins_agree(question: Question, verdict: Verdict, most: Options) -> int:
    """How many margins were compared."""
    try:
        expected = margins(question.scheme, question.claim, question.faults, most)
    except OutOfReach:
        return 0
    known = [(mine.value, theirs) for mine, theirs in zip(verdict.margins, expected, strict=False) if mine.known]
    assert all(mine == theirs for mine, theirs in known), (str(question), known)
    return len(known)
