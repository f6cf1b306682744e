"""Diagnosis from a sheet's results: the true fault is always among the candidates, and few others are."""

from __future__ import annotations

from statistics import median

import pytest

from interlock.diagnose.candidates import PAIR_SHARE, pairs, ranked, singles
from interlock.diagnose.following import How, classes, next_step, next_stimulus
from interlock.diagnose.sheets import ResultsError, explaining, likely_pairs, seen_of
from interlock.plan.predict import predict
from interlock.plan.results import StepResult
from interlock.records import replace
from interlock.scheme.model import Rate
from interlock.scheme.read import loads
from tests.diagnose.sheets import obvious_sheet, results_of
from tests.support.bench import BENCH

SCHEME = loads(BENCH)
FAULTS = list(SCHEME.faults.values())
SETS = singles(FAULTS)
SHEET = obvious_sheet(SCHEME, BENCH)
ALL = predict(SCHEME, SHEET, SETS)


def test_every_single_fault_comes_back_among_at_most_three_candidates_on_the_median() -> None:
    counts = []
    for number, wrongs in enumerate(SETS):
        found = seen_of(SCHEME, SHEET, results_of(SHEET, ALL, number)).explained(ALL)
        assert found[number], wrongs
        if wrongs:
            counts.append(int(found.sum()))
    assert median(counts) <= 3
    assert min(counts) == 1


def test_what_the_command_weighs_is_what_weighing_one_by_one_gives() -> None:
    for number in (0, 17):
        seen = seen_of(SCHEME, SHEET, results_of(SHEET, ALL, number))
        found = explaining(SCHEME, seen, SETS)
        fits = seen.explained(ALL)
        assert found == tuple(wrongs for wrongs, fit in zip(SETS, fits.tolist(), strict=True) if fit)


def test_pairs_left_out_before_they_are_run_would_have_explained_nothing() -> None:
    some = [f for f in FAULTS if f.name.split(".")[0] in ("K1", "probe", "cold_stop", "board")]
    every = list(pairs(SCHEME, some))
    prediction = predict(SCHEME, SHEET, every)
    chosen = 0
    for number in range(0, len(every), 11):
        seen = seen_of(SCHEME, SHEET, results_of(SHEET, prediction, number))
        explained = {pair for pair, fit in zip(every, seen.explained(prediction).tolist(), strict=True) if fit}
        kept = set(likely_pairs(SCHEME, seen, some))
        assert every[number] in explained
        assert explained <= kept
        chosen += len(kept)
    assert chosen < len(every) * len(range(0, len(every), 11)) / 2  # else leaving out would not be worth its while


def test_results_of_some_steps_leave_more_and_the_next_step_splits_them() -> None:
    number = next(i for i, wrongs in enumerate(SETS) if wrongs and wrongs[0].name == "K1.welded")
    seen = seen_of(SCHEME, SHEET, results_of(SHEET, ALL, number, steps=[1]))
    assert seen.done == (0,)
    fits = seen.explained(ALL)
    left = [wrongs for wrongs, fit in zip(SETS, fits.tolist(), strict=True) if fit]
    candidates = ranked(SCHEME, left)
    prediction = predict(SCHEME, seen.looks, [c.wrongs for c in candidates])
    found = next_step(seen, prediction, [c.weight for c in candidates])
    assert found is not None
    assert found.how is How.STEP
    assert found.through == tuple(range(2, found.step + 1))
    for outcome in found.outcomes:
        # whoever is left by an outcome does predict it, or leaves it open
        for place in outcome.leaves:
            told = prediction.told(place)[found.step - 1]
            assert all(told[name] in (word, "either") for name, word in outcome.seen.items())
    assert max(len(o.leaves) for o in found.outcomes) < len(candidates)


def test_going_on_as_told_ends_with_what_no_further_step_tells_apart() -> None:
    truth = next(i for i, wrongs in enumerate(SETS) if wrongs and wrongs[0].name == "cold_stop.omitted")
    done: list[int] = [1]
    while True:
        seen = seen_of(SCHEME, SHEET, results_of(SHEET, ALL, truth, steps=done))
        left = [wrongs for wrongs, fit in zip(SETS, seen.explained(ALL).tolist(), strict=True) if fit]
        candidates = ranked(SCHEME, left)
        prediction = predict(SCHEME, seen.looks, [c.wrongs for c in candidates])
        found = next_step(seen, prediction, [c.weight for c in candidates])
        if found is None:
            break
        assert found.step not in done
        done.append(found.step)
    # A probe that sticks may show what it likes, so no look rules it out for certain.
    assert {c.names for c in candidates} == {("cold_stop.omitted",), ("probe.stuck",)}
    assert len(done) < len(SHEET.steps) / 2


def test_a_step_marked_as_passed_showed_what_it_expects_and_one_marked_as_failed_did_not() -> None:
    results = results_of(SHEET, ALL, 0, steps=[])
    passed = replace(results, steps=tuple(StepResult(i, {}, {}, True) for i in range(1, len(SHEET.steps) + 1)))
    seen = seen_of(SCHEME, SHEET, passed)
    assert seen.explained(ALL).tolist() == seen_of(SCHEME, SHEET, results_of(SHEET, ALL, 0)).explained(ALL).tolist()
    failed = seen_of(SCHEME, SHEET, replace(results, steps=(StepResult(4, {}, {}, False),)))
    assert failed.failed == (3,)
    fits = failed.explained(ALL)
    assert not fits[0]
    expected = list(SHEET.steps[3].expect.items())
    for number, fit in enumerate(fits.tolist()):
        told = ALL.told(number)[3]
        assert fit == any(told[name] != word for name, word in expected)


def test_results_that_do_not_fit_the_sheet_are_refused() -> None:
    good = results_of(SHEET, ALL, 0, steps=[1])
    for wrong, words in (
        (replace(good, sheet_digest="0" * 64), "another sheet"),
        (replace(good, steps=(StepResult(99),)), "results of step 99"),
        (replace(good, steps=(StepResult(1, {"bench_charger": "on"}),)), "nothing that can be seen of bench_charger"),
        (replace(good, steps=(StepResult(1, SHEET.steps[0].expect, {}, False),)), "all that was seen is as expected"),
    ):
        with pytest.raises(ResultsError, match=words):
            seen_of(SCHEME, SHEET, wrong)


def test_fewer_faults_come_first_then_the_likelier_by_their_rates() -> None:
    a, b, c = (SCHEME.faults[n] for n in ("K1.welded", "probe.open", "K2.welded"))
    scheme = replace(SCHEME, rates={"K1.welded": Rate(1e-7, "x"), "probe.open": Rate(3e-6, "x")})
    found = ranked(scheme, [(a, b), (c,), (a,), (b,), ()])
    assert [x.names for x in found] == [
        (),
        ("probe.open",),
        ("K1.welded",),
        ("K2.welded",),
        ("K1.welded", "probe.open"),
    ]
    assert found[1].weight / found[2].weight == pytest.approx(30)
    assert found[4].weight == PAIR_SHARE
    plain = ranked(SCHEME, [(c,), (a,), (b,)])
    assert [x.weight for x in plain] == [1.0, 1.0, 1.0]


def test_pairs_that_have_no_meaning_together_are_no_candidates() -> None:
    names = {tuple(w.name for w in pair) for pair in pairs(SCHEME, FAULTS)}
    assert ("K1.welded", "K2.welded") in names
    assert len(names) == len(FAULTS) * (len(FAULTS) - 1) // 2 - sum(
        1
        for i, one in enumerate(FAULTS)
        for other in FAULTS[i + 1 :]
        if one.mode is other.mode and "~" in one.name and set(one.parts) & set(other.parts)
    )


def test_what_the_sheet_can_not_tell_apart_a_stimulus_may() -> None:
    """After the first look alone, a change of one thing tells a welded contact from a broken wire."""
    sets = [(SCHEME.faults["K2.welded"],), (SCHEME.faults["bench_charger.bypassed"],)]
    found = next_stimulus(SCHEME, ranked(SCHEME, sets), lambda _: None)
    assert found is not None
    assert found.how is How.STIMULUS
    assert {o.leaves for o in found.outcomes} == {(0,), (1,)}


def test_classes_are_what_every_look_shows_alike() -> None:
    some = [(SCHEME.faults[n],) for n in ("K1.ignored", "bench_charger.bypassed", "K2.welded")]
    found = classes(predict(SCHEME, SHEET, some), 3)
    assert found == [(0, 1), (2,)]
