"""Twins: each claim's path is seen running, each rule that protects it is seen tripping; what can't be is said."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest

from interlock.logic.scan import Engine, Seen
from interlock.logic.stretch import stretches
from interlock.proof.prove import Outcome, prove
from interlock.proof.story import Stretch
from interlock.proof.twins import Shown, Twin, twins
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Must, State
from tests.support.bench import BENCH, edited
from tests.support.profiles import TINY
from tests.support.random_schemes import random_scheme_text

RULES = Path(__file__).parents[2] / "rules"


def of(text: str) -> tuple[Scheme, tuple[Twin, ...]]:
    scheme = loads(text, "edited.yaml")
    return scheme, twins(scheme)


def replayed(scheme: Scheme, trace: Sequence[Stretch]) -> list[Seen]:
    """A trace on an engine of its own: what was seen whenever something changed, and at each part's end."""
    engine = Engine(scheme)
    return [seen for part in trace for seen, _ in stretches(engine, part.world, part.scans)]


def states(seen: Sequence[Seen], rule: str) -> list[State]:
    """The states a rule goes through, each once in a row."""
    found: list[State] = []
    for one in seen:
        state = one.states[rule][0]
        if not found or found[-1] is not state:
            found.append(state)
    return found


@pytest.mark.parametrize(
    "name", ["interlock/reference/bench.yaml", "rules/alpine_hut.yaml", "rules/survey_launch.yaml"]
)
def test_every_claim_of_our_schemes_has_its_twin(name: str) -> None:
    scheme, found = of((RULES.parent / name).read_text(encoding="utf-8"))
    assert [t.claim for t in found] == [c for c in scheme.claims if c.must is Must.NEVER_RUNNING]
    assert [t.claim.name for t in found if not t.complete] == []
    again = {r.clears_again.shown for t in found for r in t.tripping}
    assert again == {Shown.SHOWN}


def test_a_rule_that_protects_through_a_line_or_another_rule_has_its_witness_too() -> None:
    _, found = of((RULES / "survey_launch.yaml").read_text(encoding="utf-8"))
    isolation = next(t for t in found if t.claim.name == "stop_isolates/pack_contactor")
    assert {r.rule for r in isolation.tripping} >= {"helm_open", "helm_stop", "pack_open", "cell_hot", "cell_drained"}


def test_the_witnesses_of_the_bench_replay() -> None:
    scheme, found = of(BENCH)
    for twin in found:
        assert replayed(scheme, twin.runs.trace)[-1].running(twin.claim.path) is True
        for rule in twin.tripping:
            seen = states(replayed(scheme, rule.trips.trace), rule.rule)
            assert seen[-1] is State.TRIPPED
            assert State.CLEAR in seen
            seen = states(replayed(scheme, rule.clears_again.trace), rule.rule)
            tripped_last = len(seen) - 1 - seen[::-1].index(State.TRIPPED)
            assert State.CLEAR in seen[:tripped_last]
            assert seen[-1] is State.CLEAR


ALWAYS = """
  empty_go: {watches: monitor_discharge_ok, trips: on, clears: off, blocks: lamp_circuit}
"""
SCORCH = """
  scorched: {watches: probe, trips: above 80 degC, clears: below 78 degC, blocks: lamp_circuit, power_up: %s}
"""


def lamp_twins(rule: str) -> tuple[Twin, ...]:
    _, found = of(edited(("hottest_cell: -4 to 0.5 K", "hottest_cell: -4 to 0 K"), ("\npaths: ", rule + "\npaths: ")))
    return tuple(t for t in found if t.claim.path == "lamp_circuit")


def test_a_path_that_one_of_two_rules_always_stops_has_no_twin() -> None:
    found = lamp_twins(ALWAYS)
    assert [t.runs.shown for t in found] == [Shown.NEVER, Shown.NEVER]
    assert not any(t.complete for t in found)


@pytest.mark.parametrize("power_up", ["clear", "tripped"])
def test_a_rule_that_no_reading_can_trip_is_missing(power_up: str) -> None:
    for twin in lamp_twins(SCORCH % power_up):
        assert twin.runs.shown is Shown.SHOWN
        assert twin.missing == ("scorched",)
        assert not twin.complete


def test_a_lockout_that_nobody_can_reset_trips_but_is_not_seen_to_clear_again() -> None:
    _, found = of(edited(("reset: manual, reset_by: reset_button,", "reset: manual, power_up: clear,")))
    hot = next(r for r in found[0].tripping if r.rule == "hot_stop")
    assert (hot.trips.shown, hot.clears_again.shown) == (Shown.SHOWN, Shown.UNDECIDED)


def test_on_random_schemes_twins_and_the_prover_agree_on_what_can_run() -> None:
    seen: Counter[str] = Counter()
    for seed in range(700, 730):
        scheme = loads(random_scheme_text(random.Random(seed), TINY), "random.yaml")
        for twin in twins(scheme, budget=800):
            verdict = prove(scheme, twin.claim, budget=800, margins=False, trace=False)
            seen[str(twin.runs.shown)] += 1
            if twin.runs.shown is Shown.NEVER:
                assert verdict.outcome is Outcome.VACUOUS, f"seed {seed}: {twin.claim.name}"
            elif twin.runs.shown is Shown.SHOWN:
                last = replayed(scheme, twin.runs.trace)[-1]
                assert last.may_run[twin.claim.path], f"seed {seed}: {twin.claim.name}"
                assert verdict.reason != f"{twin.claim.path} can never run", f"seed {seed}: {twin.claim.name}"
            for rule in twin.tripping:
                if rule.trips.shown is Shown.SHOWN:
                    went = states(replayed(scheme, rule.trips.trace), rule.rule)
                    assert went[-1] is State.TRIPPED, f"seed {seed}: {rule.rule}"
                seen[f"a rule {rule.trips.shown}"] += 1
    print(dict(seen))
    assert seen["shown"] >= 10
    assert seen["undecided"] == 0
