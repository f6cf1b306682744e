"""Campaigns: the same for the same seed, cut short with what was found kept, and nothing left behind."""

from __future__ import annotations

import pytest

from interlock.fuzz.behaviour import Draw
from interlock.fuzz.campaign import Campaign, Options, Report
from interlock.fuzz.drive import BATCH, Enough, drive
from interlock.fuzz.faults import FaultSetError
from interlock.fuzz.found import found
from interlock.records import replace
from interlock.scheme.read import load, loads
from tests.fuzz.campaigns import FLAWED, attacked
from tests.support.bench import BENCH, edited

SLOW = edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s"))


def plain(report: Report) -> list[object]:
    """All of a report but the time it took."""
    return [(r.claim.name, r.examples, r.longest_us, r.longest_under, r.found_at, r.found) for r in report.results] + [
        report.examples,
        report.cut_short,
    ]


@pytest.mark.parametrize("more", [0, 2])
def test_the_same_seed_does_the_same(more: int) -> None:
    scheme = load(FLAWED / "launch_contactor_before_field.yaml")
    once, again = (attacked(scheme, "field_first", examples=30, seed=5, more=more) for _ in range(2))
    assert plain(once) == plain(again)
    assert once.violated


def test_another_seed_does_something_else() -> None:
    scheme = load(FLAWED / "launch_contactor_before_field.yaml")
    places = {attacked(scheme, "field_first", examples=60, seed=seed).results[0].found_at for seed in range(5)}
    assert len(places) > 1


def test_more_examples_begin_with_the_same_ones() -> None:
    """A longer run finds at the same place what a shorter one found."""
    scheme = load(FLAWED / "hut_supplies_overlap.yaml")
    short = attacked(scheme, "one_supply", examples=40)
    long = attacked(scheme, "one_supply", examples=80)
    (one,), (other,) = short.results, long.results
    assert one.found is not None
    assert (one.found_at, one.found) == (other.found_at, other.found)


def test_a_claim_is_not_attacked_further_once_it_is_violated() -> None:
    report = attacked(loads(SLOW), examples=30)
    by_name = {r.claim.name: r for r in report.results}
    frozen = by_name.pop("frozen_charge/bench_charger")
    assert frozen.found is not None
    assert frozen.examples < 5
    assert {r.examples for r in by_name.values()} == {30}


def test_what_is_aimed_at_one_claim_is_judged_against_all_with_the_same_resets() -> None:
    """A path that no rule stops any more is found before its own turn comes."""
    scheme = loads(edited(("for 60 s, blocks: sources}", 'for 60 s, alarm: "cold"}')))
    turned = replace(scheme, claims=tuple(reversed(scheme.claims)))
    report = attacked(turned, examples=60)
    (result,) = report.violated
    assert result.claim.name == "frozen_charge/bench_charger"
    assert result.found_at > 0


def test_an_interruption_keeps_what_was_found() -> None:
    """Also one that comes while a finding is being shortened: then it is kept as it was found."""
    scheme = loads(SLOW)
    tried: list[int] = []
    shortened = found

    def impatient(*args: object, most: int = 30_000, **_: object) -> object:
        tried.append(most)
        if most > 1:
            raise KeyboardInterrupt
        return shortened(*args, most=most)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("interlock.fuzz.campaign.found", impatient)
        report = attacked(scheme, examples=30)
    assert tried == [30_000, 1]
    assert report.cut_short == "interrupted"
    assert [r.claim.name for r in report.violated] == ["frozen_charge/bench_charger"]
    assert report.examples < 30


def test_an_interruption_says_how_far_it_came() -> None:
    seen: list[int] = []

    def progress(report: Report) -> None:
        seen.append(report.examples)
        if report.examples == 17:
            raise KeyboardInterrupt

    scheme = loads(BENCH)
    report = Campaign(scheme, scheme.claims, Options(30), progress).run()
    assert seen == list(range(1, 18))
    assert (report.examples, report.cut_short) == (17, "interrupted")


def test_the_time_given_ends_it() -> None:
    scheme = loads(BENCH)
    report = Campaign(scheme, scheme.claims, Options(1_000_000, seconds=0.5)).run()
    assert report.cut_short == "out of time"
    assert report.seconds < 3


def test_faults_without_a_meaning_together_are_refused_at_once() -> None:
    text = BENCH.replace("cases:", "faults:\n  probe.loose: {like: drifted, error: -15 to 0 K}\ncases:")
    scheme = loads(text)
    with pytest.raises(FaultSetError):
        Campaign(scheme, scheme.claims, Options(given=(scheme.faults["probe.drifted"], scheme.faults["probe.loose"])))


def test_the_first_example_is_the_plainest_and_the_others_differ() -> None:
    drawn: list[tuple[int, ...]] = []
    drive(lambda d: tuple(d.pick(range(6)) for _ in range(8)), BATCH, "a seed", drawn.append)
    assert drawn[0] == (0,) * 8
    assert len(set(drawn)) == len(drawn) == BATCH


def test_every_option_is_drawn() -> None:
    """Bits make up options that are no power of two, too; the first comes about twice as often, for being plainest."""
    for count in (2, 3, 6, 11):
        drawn: list[int] = []

        def twenty(draw: Draw, last: int = count) -> list[int]:
            return [draw.pick(range(last)) for _ in range(20)]

        for batch in range(60):
            drive(twenty, BATCH, f"{batch}", drawn.extend)
        share = [drawn.count(option) * count / len(drawn) for option in range(count)]
        print(count, [round(s, 2) for s in share])
        assert min(share) > 0.6
        assert max(share[1:]) < 1.4


def test_enough_ends_a_run_at_once() -> None:
    seen: list[int] = []

    def done(one: int) -> None:
        seen.append(one)
        raise Enough

    with pytest.raises(Enough):
        drive(lambda d: d.pick((1, 2)), BATCH, "a seed", done)
    assert len(seen) == 1


def test_an_error_on_the_way_of_an_interrupt_counts_as_one_and_any_other_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    scheme = loads(BENCH)

    def stumbles(*_: object) -> None:
        try:
            raise KeyboardInterrupt
        finally:
            raise AssertionError

    def breaks(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr("interlock.fuzz.campaign.drive", stumbles)
    assert Campaign(scheme, scheme.claims, Options(30)).run().cut_short == "interrupted"
    monkeypatch.setattr("interlock.fuzz.campaign.drive", breaks)
    with pytest.raises(AssertionError):
        Campaign(scheme, scheme.claims, Options(30)).run()
