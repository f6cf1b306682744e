"""Verdicts on changes against z3, given both schemes side by side: nothing there knows what acts alike.

z3 looks at all histories of so many scans: what it finds the comparison must have found, and what the comparison shows
within so many scans z3 must find.
"""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.compare.verdict import Comparison
from interlock.logic.mutants import Mistake
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.read import loads
from tests.compare.chosen import chosen
from tests.compare.test_alike import SMALL, SMALL_EDITS, edited
from tests.conftest import Counted
from tests.support.juxtaposed import differs, juxtaposed
from tests.support.profiles import DELAYED, TINY
from tests.support.random_schemes import random_scheme_text
from tests.support.z3_horn import Half
from tests.support.z3_model import NotEncoded, Unrolled
from tests.support.z3_parts import Plan

SCHEMES = 5
OF_EACH = 3
SCANS = 9


def found_within(both: Scheme, claim: Claim, scans: int) -> bool:
    unrolled = Unrolled(both, claim, Plan.of(()))
    while unrolled.depth < scans:
        unrolled.extend()
    return any(unrolled.can(unrolled.start, at) for at in unrolled.seen[Half.BAD])


def test_every_verdict_on_a_change_is_that_of_z3(counted: Counted) -> None:
    counts: Counter[str] = Counter()
    kinds: Counter[Mistake] = Counter()
    for seed in range(SCHEMES):
        rng = random.Random(f"changes for z3 {seed}")
        scheme = loads(random_scheme_text(rng, (TINY, DELAYED)[seed % 2]))
        for mutant in chosen(rng, scheme, OF_EACH, kinds):
            both = juxtaposed(scheme, mutant.scheme)
            for verdict in Comparison(scheme, mutant.scheme).verdicts():
                lengths = {d.looser: sum(m.scans for m in d.trace) for d in verdict.differences}
                for looser in (True, False):
                    try:
                        found = found_within(both, differs(verdict.path, looser=looser), SCANS)
                    except NotEncoded:
                        counts["not encoded"] += 1
                        continue
                    says = looser in lengths
                    assert says or not found, (seed, mutant.what, verdict)
                    assert found or not says or lengths[looser] > SCANS, (seed, mutant.what, verdict)
                    counts["both find a difference" if found else "one longer" if says else "both find none"] += 1
    counted("ways in which a change could differ, the comparison and z3", counts)
    assert counts["both find a difference"] >= 2
    assert counts["both find none"] >= 30
    assert set(kinds) >= set(Mistake) - {Mistake.LOWEST_FOR_HIGHEST, Mistake.REMOVED}


# The small bench's edits of rules: what both schemes are told stays the same.
OF_RULES = [e for e in SMALL_EDITS if not e[0].startswith(("one:", "needs", "lowest_of", "[one, two]"))]


@pytest.mark.parametrize(("old", "new", "changed"), OF_RULES, ids=lambda x: str(x)[:24])
def test_a_change_whose_meaning_is_known_is_found_by_z3_and_by_the_comparison(
    old: str, new: str, changed: dict[str, str], counted: Counted
) -> None:
    """Nearly all random mutants are hidden by other rules within so few scans; here each one shows."""
    before, after = loads(SMALL), edited(SMALL, old, new)
    path = next(iter(changed))
    both, verdict = juxtaposed(before, after), Comparison(before, after).verdict(path)
    ways = {d.looser for d in verdict.differences}
    assert {w for w in (True, False) if found_within(both, differs(path, looser=w), SCANS)} == ways
    assert str(verdict.meaning) == changed[path]
    counted("ways in which a change could differ, the comparison and z3", {"both find a difference": len(ways)})
