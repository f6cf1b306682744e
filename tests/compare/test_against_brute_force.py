"""Verdicts on changes against a brute-force search of both schemes' product, on random schemes and one mistake each."""

from __future__ import annotations

import random
from collections import Counter

from interlock.compare.verdict import Comparison
from interlock.logic.mutants import Mistake
from interlock.scheme.read import loads
from tests.compare.chosen import chosen
from tests.conftest import Counted
from tests.support.product import OutOfReachError, meanings
from tests.support.profiles import DELAYED, INTERLOCKS, TINY
from tests.support.random_schemes import random_scheme_text

SCHEMES = 15
OF_EACH = 4  # mutants of a scheme


def test_every_verdict_on_a_change_is_that_of_brute_force(counted: Counted) -> None:
    counts: Counter[str] = Counter()
    kinds: Counter[Mistake] = Counter()
    for seed in range(SCHEMES):
        rng = random.Random(f"changes {seed}")
        scheme = loads(random_scheme_text(rng, (TINY, DELAYED, INTERLOCKS)[seed % 3]))
        for mutant in chosen(rng, scheme, OF_EACH, kinds):
            try:
                expected = meanings(scheme, mutant.scheme)
            except OutOfReachError:
                counts["out of reach"] += 1
                continue
            for verdict in Comparison(scheme, mutant.scheme).verdicts():
                assert str(verdict.meaning) == expected[verdict.path], (seed, mutant.what, verdict)
                counts[str(verdict.meaning)] += 1
    counted("changes, the comparison and brute force", counts)
    assert set(kinds) == set(Mistake)
    assert counts["same"] >= 25
    assert min(counts["stricter"], counts["looser"], counts["different"]) >= 3
