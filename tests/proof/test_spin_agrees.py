"""spin says of every claim what the prover says: the verdict, and the longest run of bad scans exactly."""

from __future__ import annotations

import pytest

from interlock.records import replace
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.support.bench import BENCH
from tests.support.questions import CLAIMS_A_CHUNK, Question, Tally, answer, chunk_of, exercised
from tests.support.spin_cells import Linked, NotEncoded, Part, Truth, Watch, eliminated, row, shadow
from tests.support.spin_inputs import Present, parts_of
from tests.support.spin_model import Job, Opinion, SpinError, fits, judge, judge_all, model_text, scaled

# First seeds. Those of 31,000 and 41,000 are left out for the time their verifiers take: they were among the hardest.
CHUNKS = (30_000, *range(32_000, 41_000, 1_000))
LEAST = 31  # claims a chunk that spin and the prover both decide, and as many that spin and the brute force do
TIMED = 5  # claims a chunk with a longest run of two scans or more


def test_three_hundred_claims_are_compared() -> None:
    assert len(CHUNKS) * LEAST >= 300
    assert len(CHUNKS) * TIMED >= 50


@pytest.mark.parametrize("chunk", CHUNKS)
def test_spin_and_the_prover_agree_on_random_schemes(chunk: int, counted: Counted) -> None:
    tally = Tally()
    encoded = [question for asked in chunk_of(chunk) for question in asked if _encoded(question, tally)]
    opinions = judge_all([Job(q.scheme, q.claim, q.faults) for q in encoded])  # one model: it is compiled once
    for question, opinion in zip(encoded, opinions, strict=True):
        tally.compare(question, "spin", answer(question, opinion))
    compared = len(encoded)
    print(f"\nspin, chunk {chunk}: {compared} claims compared; {tally}")
    counted("spin, with the prover and the brute force", {"claims": compared, **tally.asked})
    assert not tally.differences, "\n\n".join(tally.differences)
    assert compared >= 0.95 * CLAIMS_A_CHUNK, "too much is not encoded"
    assert tally.asked["agrees with the prover"] >= LEAST, "the prover leaves too many undecided"
    assert tally.asked["agrees with the brute force"] >= LEAST, "the brute force declines too often"
    assert tally.asked["n of two or more"] >= TIMED, "too few where a scan more or less shows"


def _encoded(question: Question, tally: Tally) -> bool:
    try:
        model_text([Job(question.scheme, question.claim, question.faults)])
    except NotEncoded as reason:
        tally.asked["not encoded"] += 1
        tally.asked[f"not encoded: {reason}"] += 1
        return False
    return True


def test_the_questions_hold_every_construct_and_fault_mode() -> None:
    chunks = [chunk_of(chunk, answered=False) for chunk in CHUNKS]
    counts = exercised([question for chunk in chunks for asked in chunk for question in asked])
    print("\nspin: " + ", ".join(f"{word}: {number}" for word, number in counts.items()))
    assert not [word for word, number in counts.items() if not number]


SLOW_PROBE = """
scheme: One probe, one charger
revision: 1
scan: 100 ms
quantities:
  coldest_cell: {span: -30 to 80 degC}
sensors:
  probe: {measures: {coldest_cell: -0.5 to 2 K}, valid: -35 to 90 degC}
rules:
  cold_stop: {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: charger}
paths:
  charger: {flow: charge}
outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed, stops_within: 100 ms}
requirements:
  frozen_charge: {never_running: charger, while: {coldest_cell: below 0 degC}, longer_than: 2.2 s}
  always_served: {never_stopped: charger, while: {coldest_cell: above 6 degC}, longer_than: 1 h}
"""


def test_spin_gives_the_figures_worked_by_hand() -> None:
    """Running: the scan that starts the pick-up, 19 more until it trips, one of the contact. Stopped: the scan that
    starts the drop-off and 599 more, since the rule is clear at the 600th after it."""
    scheme = loads(SLOW_PROBE)
    frozen, served = scheme.claims
    assert judge(scheme, frozen).n == 21
    assert fits(scheme, frozen, 21)
    assert not fits(scheme, frozen, 22)
    assert judge(scheme, served).n == 600


def test_a_probe_that_reads_too_warm_lets_the_charger_run_without_end() -> None:
    scheme = loads(SLOW_PROBE.replace("-0.5 to 2 K", "-0.5 to 3.5 K"))
    assert judge(scheme, scheme.claims[0]) == Opinion(None, condition_met=True, path_could=True, states=0)


def test_a_stuck_probe_is_held_in_each_way_it_can_stick() -> None:
    """Stuck where it was warm, the rule never trips again; with `stale_after` it does, after both times."""
    scheme = loads(SLOW_PROBE)
    stuck = (scheme.faults["probe.stuck"],)
    assert judge(scheme, scheme.claims[0], stuck).n is None
    stale = loads(SLOW_PROBE.replace("valid: -35 to 90 degC", "valid: -35 to 90 degC, stale_after: 500 ms"))
    # Stuck at scan k at a warm reading, with a warm truth. Cold from k + 1 on; invalid, so picking up, from k + 5;
    # tripped at k + 25, when the contact may still be closed.
    assert judge(stale, stale.claims[0], (stale.faults["probe.stuck"],)).n == 25


def test_nobody_resets_where_the_claim_says_unattended_or_the_wire_is_broken() -> None:
    button = ("rules:", "lines:\n  button: external\nrules:")
    manual = ("blocks: charger}", "blocks: charger, reset: manual, reset_by: button}")
    scheme = loads(SLOW_PROBE.replace(*button).replace(*manual))
    served = scheme.claims[1]
    assert judge(scheme, served).n == 601  # one scan more than without a reset
    assert judge(scheme, served, (scheme.faults["button.inverted"],)).n == 601
    assert judge(scheme, served, (scheme.faults["button.broken"],)).n is None
    assert judge(scheme, replace(served, attended=False)).n is None


def test_the_bench_with_shorter_delays_holds_as_it_does_with_its_own() -> None:
    scheme = scaled(loads(BENCH), 100)
    for claim, n in zip(scheme.claims, (2, 2, 2, 2, 31), strict=True):
        assert judge(scheme, claim).n == n


def test_a_tool_that_is_missing_is_an_error_and_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    scheme = loads(SLOW_PROBE)
    monkeypatch.setenv("PATH", "")
    with pytest.raises(SpinError, match="installed"):
        judge(scheme, scheme.claims[0])


def test_a_run_that_is_cut_off_is_an_error_and_no_verdict() -> None:
    scheme = loads(BENCH)
    with pytest.raises(SpinError, match="time"):
        judge_all([Job(scheme, scheme.claims[0])], seconds=1)


def test_what_is_left_by_elimination_keeps_strict_and_closed_bounds_apart() -> None:
    # x - y <= -1, y < 4: x < 3; with y <= 4: x <= 3
    for strict in (True, False):
        rows = [row({"x": 1, "y": -1}, 1), row({"y": 1}, -4, strict=strict)]
        assert eliminated(rows, "y") == [row({"x": 1}, -3, strict=strict)]
    assert shadow([row({"x": 1}, -3, strict=True), row({"x": -1}, 3)], frozenset()) is None
    assert shadow([row({"x": 1}, -3), row({"x": -1}, 3)], frozenset()) == []


def test_the_cells_of_a_part_are_those_that_some_truth_and_reading_fall_in() -> None:
    """By hand: truth -30 to 80, error -0.5 to 2. Below 0 the probe reads under 2, so never in the gap from 3 to 5."""
    scheme = loads(SLOW_PROBE)
    rule, claim = scheme.rules["cold_stop"], scheme.claims[0]
    limits = [rule.trips.test, rule.clears.test, claim.conditions[0].test]
    assert not any(isinstance(limit, bool) for limit in limits)
    watch = Watch("cold_stop", "probe", *limits[:2])  # type: ignore[arg-type]
    (part,) = parts_of(scheme, Present(()), [watch, Truth("coldest_cell", limits[2])])  # type: ignore[arg-type]
    assert isinstance(part, Part)
    seen = {seen for seen, _, _ in part.observations({"probe": Linked(scheme.sensors["probe"].measures)})}
    # (0 neither, 1 trips, 2 clears, 3 invalid; truth below 0)
    assert seen == {(0, 0), (1, 0), (1, 1), (2, 0)}
