"""The prover held against brute force on random schemes: verdicts, exposures and margins equal, every story replays."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.proof.prove import Outcome, prove
from interlock.scheme.read import loads
from tests.support.brute import Options, judge
from tests.support.brute_margins import margins
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import INTERLOCKS, SMALL, TINY, Profile
from tests.support.random_schemes import random_fault_set, random_scheme_text

MOST = Options(most_states=6_000)
BUDGET = 800  # zones; where they get too many the plain search decides


@pytest.mark.parametrize(
    ("profile", "faults", "seeds", "with_margins"),
    [
        (TINY, 0, range(40), True),
        (TINY, 1, range(1000, 1030), True),
        (TINY, 2, range(2000, 2030), False),
        (INTERLOCKS, 0, range(3000, 3012), False),
        (INTERLOCKS, 1, range(4000, 4012), False),
        (INTERLOCKS, 2, range(5000, 5012), False),
        (SMALL, 1, range(6000, 6008), False),
    ],
    ids=["healthy", "single faults", "pairs", "interlocks", "interlocks, one fault", "interlocks, pairs", "larger"],
)
def test_the_prover_and_brute_force_agree(profile: Profile, faults: int, seeds: range, with_margins: bool) -> None:
    seen: Counter[str] = Counter()
    for seed in seeds:
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, profile), "random.yaml")
        present = random_fault_set(rng, scheme, faults)
        for claim in scheme.claims:
            where = f"seed {seed}, {claim.name}, {[f.name for f in present]}"
            try:
                brute = judge(scheme, claim, present, MOST)
            except OutOfReach:
                seen["out of brute force's reach"] += 1
                continue
            verdict = prove(scheme, claim, present, budget=BUDGET)
            if verdict.outcome is Outcome.UNDECIDED:
                seen["undecided"] += 1
                continue
            assert str(verdict.outcome) == brute.verdict, where
            if verdict.outcome is Outcome.VIOLATED and verdict.reason:  # for certain, but not how long
                seen["violated, length open"] += 1
                assert verdict.trace, where
                continue
            assert verdict.exposure_us == brute.exposure_us, where
            if verdict.outcome is Outcome.VIOLATED and brute.n != 0:
                assert verdict.trace, where  # replayed on the readable engine already
            seen[brute.verdict] += 1
            if with_margins and verdict.outcome is Outcome.HOLDS:
                try:
                    expected = margins(scheme, claim, present, MOST)
                except OutOfReach:
                    continue
                known = [(m.value, e) for m, e in zip(verdict.margins, expected, strict=False) if m.known]
                assert all(mine == theirs for mine, theirs in known), (where, known)
                seen["margins"] += len(known)
    print(dict(seen))
    decided = seen["holds"] + seen["violated"] + seen["vacuous"]
    assert decided >= len(seeds)
    assert seen["undecided"] * 50 <= decided, "nearly all must be decided"
