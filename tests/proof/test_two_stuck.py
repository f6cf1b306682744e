"""Two sensors stuck at once that a rule weighs against each other: each verdict held against the brute force."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.proof import sticking
from interlock.proof.bounds import SCALE
from interlock.proof.cells import Element, Span, View
from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import BUDGET, Outcome, prove
from interlock.proof.system import FaultPlan
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.support.brute import Options, judge

MOST = Options(most_states=200_000)
# Of most such schemes the claim is endless or vacuous whatever is cut: these have all kinds.
SEEDS = (1, 17, 151)


def scheme_text(rng: random.Random) -> str:
    """Two probes on one or two quantities that let a path run only while both are within a window and apart: what lasts
    depends on where the two stick, and how far from each other."""
    two = rng.random() < 0.5
    low, high, apart = rng.choice([-0.5, 0]), rng.choice([0, 0.5]), rng.choice([0.5, 1])
    error = ["0 to 0 K", rng.choice(["0 to 0.5 K", "-0.5 to 0 K"])]

    def delay(most: int) -> str:
        return f" for {rng.randint(1, most)} s" if rng.random() < 0.6 else ""

    def stale() -> str:
        return f", stale_after: {rng.randint(1, 3)} s" if rng.random() < 0.3 else ""

    def invalid() -> str:
        return f", on_invalid: {rng.choice(['hold', 'clear'])}" if rng.random() < 0.3 else ""

    reset = ", reset: manual, reset_by: button" if rng.random() < 0.3 else ""
    claim = f"{rng.choice('ab') if two else 'a'}: {rng.choice(['below', 'above'])} 0 degC"
    return (
        "scheme: two probes\nscan: 1 s\nquantities:\n  a: {span: -1 to 1 degC}\n"
        + ("  b: {span: -1 to 1 degC}\n" if two else "")
        + f"sensors:\n  p_a: {{measures: {{a: {error[0]}}}, valid: -1.5 to 1.5 degC{stale()}}}\n"
        f"  p_b: {{measures: {{{'b' if two else 'a'}: {error[1]}}}, valid: -1.5 to 1.5 degC{stale()}}}\n"
        "readings:\n  spread: {difference_of: [p_a, p_b]}\n"
        f"  lower: {{lowest_of: [p_a, p_b], needs: {rng.randint(1, 2)}}}\n  upper: {{highest_of: [p_a, p_b]}}\n"
        "units: [board]\nlines:\n  button: external\nrules:\n"
        f"  near: {{watches: spread, trips: below {apart} K for {rng.randint(1, 4)} s, clears: above {apart + 0.5} K"
        f"{delay(2)}{invalid()}{reset}, blocks: all}}\n"
        f"  cold: {{watches: {rng.choice(['lower', 'lower', 'p_a'])}, trips: below {low} degC, "
        f"clears: above {low + 0.5} degC{invalid()}, blocks: all}}\n"
        f"  hot: {{watches: {rng.choice(['upper', 'upper', 'p_b'])}, trips: above {high} degC, "
        f"clears: below {high - 0.5} degC{invalid()}, blocks: all}}\n"
        "paths:\n  load: {flow: discharge}\n"
        "outputs:\n  K1: {drives: [load], contact: normally_open, runs_when: closed}\n"
        f"requirements:\n  harmed: {{never_running: load, while: {{{claim}}}, longer_than: 3 s}}\n"
    )


def test_two_stuck_probes_that_a_rule_compares_are_judged_as_the_brute_force_does(counted: Counted) -> None:
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        scheme = loads(scheme_text(random.Random(seed)), "two_probes.yaml")
        faults = (scheme.faults["p_a.stuck"], scheme.faults["p_b.stuck"])
        claim = scheme.claims[0]
        found = judge(scheme, claim, faults, MOST)
        verdict = prove(scheme, claim, faults)
        assert verdict.outcome is not Outcome.UNDECIDED, (seed, verdict.reason)
        assert str(verdict.outcome) == found.verdict, seed
        assert verdict.endless is (found.verdict != "vacuous" and found.n is None), seed
        assert verdict.exposure_us == found.exposure_us, seed
        assert bool(verdict.trace) is (verdict.outcome is Outcome.VIOLATED)  # replayed on the readable engine already
        seen[found.verdict] += 1
        seen["endless"] += verdict.endless
    counted("claims with two stuck sensors compared, exposures equal to the brute force's", seen)
    assert min(seen["holds"], seen["violated"] - seen["endless"], seen["endless"]) > 0, seen


WIDE = """
scheme: stuck far from every limit
scan: 1 s
quantities: {a: {span: -20 to 20 degC}, b: {span: -20 to 20 degC}}
sensors:
  p_a: {measures: {a: 0 to 0 K}, valid: -25 to 25 degC}
  p_b: {measures: {b: -1 to 1 K}, valid: -25 to 25 degC}
readings: {spread: {difference_of: [p_a, p_b]}, upper: {highest_of: [p_a, p_b]}}
units: [board]
rules:
  near: {watches: spread, trips: below 3 K for 3 s, clears: above 4 K, blocks: all}
  far: {watches: spread, trips: above 2 K for 5 s, clears: below 1 K, blocks: all}
  high: {watches: upper, trips: above 5 degC, clears: below 4 degC, blocks: all}
paths: {load: {flow: discharge}}
outputs: {K1: {drives: [load], contact: normally_open, runs_when: closed}}
requirements: {harmed: {never_running: load, while: {a: above 0 degC}, longer_than: 8 s}}
"""
POINTS = 1_500


def test_all_pairs_of_values_of_one_cell_allow_the_same(counted: Counted, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sticking, "MOST_WAYS", 1 << 20)
    rng = random.Random(11)
    scheme = loads(WIDE)
    faults = (scheme.faults["p_a.stuck"], scheme.faults["p_b.stuck"])
    claim = scheme.claims[0]
    system = Decider(Index(scheme), of_claim(claim), FaultPlan.of(faults), BUDGET).full
    assert system.pairs == ((0, 1),)
    circuit = system.circuits[-1]
    allowed: dict[tuple[int, ...], set[frozenset[tuple[int, ...]]]] = {}
    points: Counter[tuple[int, ...]] = Counter()
    for _ in range(POINTS):
        a = rng.uniform(-20, 20)
        first, second = (round(x * 1_000_000) * SCALE for x in (a, a + rng.uniform(-6, 6)))
        spans = (*system.spans, *system.apart_spans)
        cell = tuple(_where(s, at) for s, at in zip(spans, (first, second, first - second), strict=True))
        fixed = tuple(
            (name, Element((), Span(at, at))) for name, at in zip(system.sensors, (first, second), strict=True)
        )
        (group,) = [
            g for g in system.groups(circuit, View(fixed, circuit.faults)) if any(k[0] == "element" for k in g.place)
        ]
        allowed.setdefault(cell, set()).add(frozenset(group.vectors()))
        points[cell] += 1
    counted("cells of two stuck values", Counter(cells=len(allowed), shared=sum(n > 1 for n in points.values())))
    assert sum(n > 1 for n in points.values()) >= 50
    assert all(len(ways) == 1 for ways in allowed.values())
    assert len({way for ways in allowed.values() for way in ways}) > 5  # and they do not all allow the same


def _where(spans: list[Span], at: int) -> int:
    (found,) = [
        k
        for k, span in enumerate(spans)
        if (span.low is None or at >= span.low) and (span.high is None or at <= span.high)
    ]
    return found


def test_too_many_ways_to_be_stuck_are_no_pass() -> None:
    scheme = loads(WIDE)
    verdict = prove(scheme, scheme.claims[0], (scheme.faults["p_a.stuck"], scheme.faults["p_b.stuck"]))
    assert verdict.outcome is Outcome.UNDECIDED
    assert verdict.reason == "not judged: there are too many ways in which p_a and p_b can both be stuck"
