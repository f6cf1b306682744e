"""What is found against a claim proved to hold is reported as a fault of the prover; and what is not, is not."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.fuzz.against import Answer, Prove, Proved, found_against_proof
from interlock.fuzz.campaign import Report
from interlock.fuzz.faults import meaningful
from interlock.fuzz.region import TruthError
from interlock.proof.prove import prove
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import loads
from tests.fuzz.campaigns import attacked
from tests.support.bench import BENCH, edited
from tests.support.brute import Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.random_schemes import SMALL, TINY, random_fault_set, random_scheme_text

SLOW = edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s"))


def saying(word: Proved, exposure_us: int | None = None) -> Prove:
    return lambda _scheme, _claim, _faults: Answer(word, exposure_us)


@pytest.fixture(scope="module")
def violated() -> tuple[Scheme, Report]:
    """20.2 s at worst where 10 s are allowed."""
    scheme = loads(SLOW)
    return scheme, attacked(scheme, "frozen_charge", examples=20)


@pytest.fixture(scope="module")
def held() -> tuple[Scheme, Report]:
    """2.2 s at worst, and seen."""
    scheme = loads(BENCH)
    return scheme, attacked(scheme, "frozen_charge", examples=20)


@pytest.mark.parametrize(
    ("answer", "wrong"),
    [
        (saying(Proved.HOLDS, 10_000_000), True),
        (saying(Proved.VACUOUS), True),
        (saying(Proved.UNDECIDED), False),
        (saying(Proved.VIOLATED), False),  # without a bound
        (saying(Proved.VIOLATED, 20_200_000), False),
        (saying(Proved.VIOLATED, 20_100_000), True),
    ],
)
def test_a_violation_contradicts_what_leaves_no_room_for_it(
    violated: tuple[Scheme, Report], answer: Prove, wrong: bool
) -> None:
    contradictions = found_against_proof(*violated, answer)
    assert bool(contradictions) is wrong
    for c in contradictions:
        assert c.claim.name == "frozen_charge/bench_charger"
        assert c.seen_us == 20_200_000
        assert "20.2 s of exposure have been seen" in c.says
        assert "the prover is at fault" in c.says


@pytest.mark.parametrize(
    ("answer", "wrong"),
    [
        (saying(Proved.HOLDS, 2_200_000), False),
        (saying(Proved.HOLDS, 2_100_000), True),
        (saying(Proved.VACUOUS), True),
        (saying(Proved.UNDECIDED), False),
        (saying(Proved.VIOLATED), False),
    ],
)
def test_an_exposure_beyond_the_proofs_contradicts_it_though_it_is_allowed(
    held: tuple[Scheme, Report], answer: Prove, wrong: bool
) -> None:
    contradictions = found_against_proof(*held, answer)
    assert [c.claim.name for c in contradictions] == (["frozen_charge/bench_charger"] if wrong else [])


def test_an_endless_violation_contradicts_any_bound() -> None:
    scheme = loads(edited(("for 60 s, blocks: sources}", 'for 60 s, alarm: "cold"}')))
    report = attacked(scheme, "frozen_charge", examples=20)
    assert found_against_proof(scheme, report, saying(Proved.VIOLATED, 1 << 60))
    assert not found_against_proof(scheme, report, saying(Proved.VIOLATED))


def test_the_proof_is_asked_under_the_faults_that_it_was_seen_under() -> None:
    asked: list[tuple[str, ...]] = []

    def prover(_scheme: Scheme, _claim: Claim, faults: tuple[Fault, ...]) -> Answer:
        asked.append(tuple(f.name for f in faults))
        return Answer(Proved.UNDECIDED)

    scheme = loads(BENCH)
    report = attacked(scheme, "frozen_charge", examples=20, given=(scheme.faults["K1.welded"],))
    found_against_proof(scheme, report, prover)
    assert asked == [("K1.welded",)]


def proof(scheme: Scheme, claim: Claim, faults: tuple[Fault, ...]) -> Answer:
    verdict = prove(scheme, claim, faults, margins=False, trace=False)
    return Answer(Proved(str(verdict.outcome)), verdict.exposure_us)


def test_nothing_is_seen_against_the_proofs_of_the_bench() -> None:
    for text in (BENCH, SLOW):
        scheme = loads(text)
        assert not found_against_proof(scheme, attacked(scheme, examples=20), proof)


def test_the_fuzzer_never_goes_beyond_the_brute_force_and_mostly_reaches_it() -> None:
    """Random schemes, healthy and under one or two faults: exposures against those of all behaviours."""
    rng = random.Random("fuzz against brute force")
    counts: Counter[str] = Counter()
    while counts["claims"] < 80:
        scheme = loads(random_scheme_text(rng, rng.choice([SMALL, TINY])))
        faults = random_fault_set(rng, scheme, rng.choice([0, 0, 1, 2]))
        if not scheme.claims or not meaningful(scheme, faults):
            continue
        claim = rng.choice(scheme.claims)
        try:
            exact = judge(scheme, claim, faults, Options(most_states=20_000))
            report = attacked(scheme, claim.name, examples=30, given=faults)
        except (OutOfReach, TruthError):
            counts["not judged"] += 1
            continue
        result = next(r for r in report.results if r.claim.name == claim.name)
        counts["claims"] += 1
        counts["examples"] += result.examples
        where = (claim.name, [f.name for f in faults])
        if exact.verdict == "vacuous":
            assert result.longest_us is None, where
            counts["vacuous"] += 1
            continue
        assert not result.found or exact.verdict == "violated", where
        if exact.exposure_us is not None:
            assert (result.longest_us or 0) <= exact.exposure_us, where
        if result.found:  # its own faults: those it did not need were left out
            worst = judge(scheme, claim, result.found.script.plan.faults, Options(most_states=20_000))
            assert worst.verdict == "violated", where
            if worst.exposure_us is not None:
                assert result.found.exposure_us <= worst.exposure_us, where
                assert not result.found.endless, where
        reached = result.found is not None if exact.verdict == "violated" else result.longest_us == exact.exposure_us
        counts[f"{exact.verdict}, {'reached' if reached else 'missed'}"] += 1
    print(dict(counts))
    reached_all = sum(n for name, n in counts.items() if name.endswith("reached"))
    assert reached_all > 0.85 * (counts["claims"] - counts["vacuous"])
    assert counts["violated, reached"] > 0.9 * (counts["violated, reached"] + counts["violated, missed"])
