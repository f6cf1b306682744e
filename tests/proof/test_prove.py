"""Verdicts: the figures worked out by hand, what is vacuous, stories that replay, budgets that never pass anything."""

from __future__ import annotations

import pytest

from interlock.logic.scan import Engine
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.margins import Margin
from interlock.proof.prove import Outcome, Verdict, prove, prove_all
from interlock.proof.story import UnrealError, confirmed, is_bad
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import loads
from interlock.scheme.units import MICRO
from tests.support.bench import BENCH, edited


def bench(*replacements: tuple[str, str]) -> Scheme:
    return loads(edited(*replacements), "bench.yaml")


def claim(scheme: Scheme, name: str) -> Claim:
    return next(c for c in scheme.claims if c.name == name)


def fault(scheme: Scheme, name: str) -> Fault:
    found = scheme.fault(name)
    assert found is not None, name
    return found


def judged(scheme: Scheme, name: str, *faults: str) -> Verdict:
    return prove(scheme, claim(scheme, name), [fault(scheme, f) for f in faults])


# Worked out by hand from the meanings: exposure in ms, margins in millionths of the condition's unit.
@pytest.mark.parametrize(
    ("name", "exposure_ms", "margins"),
    [
        ("frozen_charge/bench_charger", 2_200, (MICRO,)),
        ("overfull_charge/bench_charger", 1_200, (90_000,)),
        ("empty_discharge/lamp_circuit", 3_200, (290_000,)),
        ("hot_discharge/lamp_circuit", 2_200, (MICRO,)),
        # the probe may read 0.5 K low and must read above 5 degC; 4.5 K under hot_stop's 45 degC less 0.5 K;
        # 3.40 V less the tap's 10 mV
        ("charging_served/bench_charger", 300_100, (MICRO // 2, 4_500_000, 40_000)),
    ],
)
def test_the_bench_has_the_exposures_and_margins_worked_out_by_hand(
    name: str, exposure_ms: int, margins: tuple[int, ...]
) -> None:
    verdict = judged(bench(), name)
    assert verdict.outcome is Outcome.HOLDS
    assert verdict.exposure_us == exposure_ms * 1000
    assert tuple(m.value for m in verdict.margins) == margins
    assert all(m.known for m in verdict.margins)


def test_a_margin_runs_to_the_end_of_the_span_where_another_condition_keeps_the_claim() -> None:
    scheme = bench(
        ("while: {coldest_cell: below 0 degC}", "while: {coldest_cell: below 0 degC, highest_cell: above 3.65 V}")
    )
    verdict = judged(scheme, "frozen_charge/bench_charger")
    assert verdict.outcome is Outcome.HOLDS
    cold, full = verdict.margins
    # either limit alone may go as far as it likes: the other rule still stops the charger
    assert (cold.value, cold.known) == (None, True)
    assert (full.value, full.known) == (None, True)


def test_a_path_that_can_never_run_makes_a_claim_vacuous() -> None:
    scheme = bench(("reset: manual, reset_by: reset_button, ", "reset: manual, "))
    # nobody can reset hot_stop, which is tripped at power-up: nothing ever runs
    verdict = judged(scheme, "frozen_charge/bench_charger")
    assert verdict.outcome is Outcome.VACUOUS
    assert verdict.reason == "bench_charger can never run"
    assert verdict.exposure_us is None


def test_a_claim_whose_condition_cannot_occur_is_vacuous_and_says_so() -> None:
    scheme = bench(
        ("while: {coldest_cell: below 0 degC}", "while: {coldest_cell: below 0 degC, hottest_cell: above 40 degC}")
    )
    verdict = judged(scheme, "frozen_charge/bench_charger")
    assert verdict.outcome is Outcome.VACUOUS
    assert verdict.reason == "its conditions never hold"


def test_a_claim_that_allows_one_scan_less_than_it_takes_is_violated_with_a_story_of_that_length() -> None:
    for allowed, outcome in (("2.2 s", Outcome.HOLDS), ("2.1 s", Outcome.VIOLATED)):
        scheme = bench(
            (
                "{coldest_cell: below 0 degC}, longer_than: 10 s",
                f"{{coldest_cell: below 0 degC}}, longer_than: {allowed}",
            )
        )
        verdict = judged(scheme, "frozen_charge/bench_charger")
        assert verdict.outcome is outcome
        assert verdict.scans == 21
    assert sum(s.scans for s in verdict.trace if s.bad) == 21


def test_a_story_replays_on_the_readable_engine_scan_by_scan() -> None:
    scheme = bench()
    for name in ("probe.stuck", "probe.drifted", "K1.welded", "K1~K2.swapped", "board.frozen", "cold_stop.omitted"):
        verdict = judged(scheme, "frozen_charge/bench_charger", name)
        assert verdict.outcome is Outcome.VIOLATED
        assert verdict.endless
        goal, plan = of_claim(verdict.claim), FaultPlan.of([fault(scheme, name)])
        row = 0
        engine = Engine(scheme, plan.installed)
        for stretch in verdict.trace:
            for _ in range(stretch.scans):
                row = row + 1 if is_bad(goal, stretch.truth, engine.scan(stretch.world)) else 0
        assert row == 100, name  # 10 s allowed, one scan of it before the truth is seen


def test_a_story_that_is_not_real_is_refused() -> None:
    scheme = bench()
    verdict = judged(scheme, "frozen_charge/bench_charger", "K1.welded")
    goal = of_claim(verdict.claim)
    with pytest.raises(UnrealError):
        confirmed(scheme, goal, frozenset(), verdict.trace[:1], 100)


def test_exactly_the_known_single_faults_violate_the_bench() -> None:
    scheme = bench()
    known = {
        "frozen_charge/bench_charger": {
            "probe.stuck", "probe.drifted", "K1.welded", "K1.wrong_contact", "K1.ignored", "K1~K2.swapped",
            "bench_charger.bypassed", "board.frozen", "cold_stop.omitted",
        },
        "hot_discharge/lamp_circuit": {
            "probe.stuck", "probe.drifted", "K2.welded", "K2.wrong_contact", "K2.ignored", "lamp_circuit.bypassed",
            "board.frozen", "hot_stop.omitted",
        },
    }  # fmt: skip
    index = Index(scheme)
    for name, expected in known.items():
        found = set()
        for f in scheme.faults.values():
            verdict = prove(scheme, claim(scheme, name), [f], index=index, margins=False)
            assert verdict.outcome in (Outcome.HOLDS, Outcome.VIOLATED), (name, f.name, verdict)
            if verdict.outcome is Outcome.VIOLATED:
                found.add(f.name)
        assert found == expected


def test_a_budget_too_small_leaves_a_claim_undecided_and_says_what_is_known() -> None:
    slow = BENCH.replace("for 1 s,", "for 100 h,").replace("for 2 s,", "for 90 h,")
    scheme = loads(slow.replace("longer_than: 10 s", "longer_than: 100 h"), "slow.yaml")  # it holds: nothing is found
    verdict = prove(scheme, claim(scheme, "frozen_charge/bench_charger"), budget=3)
    assert verdict.outcome is Outcome.UNDECIDED
    assert verdict.exposure_us is None
    assert "budget" in verdict.reason
    assert "at least" in verdict.covered


def test_delays_a_hundred_times_as_long_take_the_same_search() -> None:
    short = bench()
    text = BENCH
    for old, new in (("for 2 s", "for 200 s"), ("for 60 s", "for 6000 s"), ("for 5 min", "for 500 min"),
                     ("for 1 s", "for 100 s"), ("for 3 s", "for 300 s"), ("for 30 s", "for 3000 s"),
                     ("longer_than: 10 s", "longer_than: 1000 s"), ("longer_than: 5 s", "longer_than: 500 s"),
                     ("longer_than: 6 min", "longer_than: 600 min")):  # fmt: skip
        text = text.replace(old, new)
    long = loads(text, "long.yaml")
    for a, b in zip(prove_all(short), prove_all(long), strict=True):
        assert a.outcome is b.outcome is Outcome.HOLDS
        assert a.zones == b.zones
        assert a.scans is not None
        assert b.scans is not None
        assert b.scans - 1 == 100 * (a.scans - 1)


def test_a_margin_is_named_with_its_condition() -> None:
    verdict = judged(bench(), "frozen_charge/bench_charger")
    assert verdict.margins == (Margin(verdict.claim.conditions[0], MICRO),)
