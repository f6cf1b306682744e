"""The ways of judging a set that few sets need, each tried first on random schemes: the brute force says the same."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator

import pytest

from interlock.faults import judge as judging
from interlock.faults.judge import Answer, Begin, Effort, Judge
from interlock.proof.index import Index
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import loads
from interlock.scheme.words import Mode, Must
from tests.conftest import Counted
from tests.support.brute import Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import DELAYED, INTERLOCKS, TINY
from tests.support.random_schemes import random_scheme_text

RARE = (
    Effort(Begin.KEPT, scans=600),
    Effort(Begin.SWING, scans=500),
    Effort(Begin.ANEW, 600, fed_first=True),
    Effort(Begin.ANEW, 600),
    Effort(Begin.ANEW, 1_200, 4_000, 4_000, by_contacts=False),
)


KINDS = (frozenset({Mode.STUCK}), frozenset({Mode.FROZEN}), frozenset({Mode.BROKEN, Mode.SHORTED}), frozenset(Mode))


def sets(first: int) -> Iterator[tuple[Scheme, Claim, list[Fault]]]:
    for seed in range(first, first + 40):
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, rng.choice([TINY, DELAYED, INTERLOCKS])), f"random {seed}")
        served = [c for c in scheme.claims if c.must is Must.NEVER_STOPPED] or scheme.claims
        for modes in KINDS:
            named = [n for n, fault in sorted(scheme.faults.items()) if modes & {s.mode for s in fault.single()}]
            if named:
                faults = [rng.choice(named), *rng.sample(sorted(scheme.faults), rng.choice([0, 0, 1]))]
                yield scheme, rng.choice(served), [scheme.faults[name] for name in dict.fromkeys(faults)]


@pytest.mark.parametrize("first", [810_000, 820_000])
def test_rare_ways_of_judging_agree_with_the_brute_force(
    first: int, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(judging, "efforts", lambda *_given, **_more: RARE)
    seen: Counter[str] = Counter()
    for scheme, claim, faults in sets(first):
        try:
            brute = judge(scheme, claim, faults, Options(most_states=4_000))
        except (OutOfReach, LoopError):
            continue
        ruling = Judge(Index(scheme), claim).rule(faults)
        if ruling.answer is Answer.UNDECIDED:
            seen["undecided"] += 1
            continue
        violated = str(brute.verdict) == "violated"
        assert (ruling.answer is Answer.VIOLATED) is violated, (claim.name, [f.name for f in faults])
        seen["violated" if violated else "not violated"] += 1
    counted("rare ways of judging fault sets, beside the brute force", seen)
    assert seen["violated"] >= 40
    assert seen["not violated"] >= 25
    assert seen["undecided"] <= 2
