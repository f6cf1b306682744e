"""Suggested changes on the bench: the obvious ones come out, and each stands up to a full study of its own."""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest

from interlock.explain.suggestions import backings, told_change
from interlock.faults.changes import COST, STALE_TIMES, Change, ChangeKind, changes
from interlock.faults.court import Court
from interlock.faults.inject import Study, inject
from interlock.faults.judge import BUDGET, Answer, Judge
from interlock.faults.parallel import Here
from interlock.faults.reach import changed, reach, touched
from interlock.faults.suggest import Known, Suggestions, Weight, known_of, not_holding, suggest, weigh
from interlock.logic.cases import run_cases
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, prove_all
from interlock.scheme.edit import SchemeText
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Must
from tests.faults.studies import SERIES
from tests.support.bench import BENCH, edited

FAULTS_OF_A_CONTACT = ("welded", "wrong_contact", "ignored")


@cache
def studied(text: str) -> tuple[Scheme, Study]:
    scheme = loads(text, "bench.yaml")
    return scheme, inject(scheme, 1, Here(Court(scheme, BUDGET)))


@cache
def known(text: str = BENCH) -> Known:
    scheme, study = studied(text)
    return known_of(scheme, study.cut_sets, BUDGET)


@cache
def possible(text: str = BENCH) -> tuple[Change, ...]:
    points = known(text).points
    return tuple(changes(loads(text), SchemeText(text), points, backings(loads(text), points)))


@cache
def found() -> Suggestions:
    return suggest(known(), possible(), most=100)


def points(text: str) -> set[str]:
    """The single points of failure by a full study: faults that alone violate a never_running claim."""
    scheme, study = studied(text)
    pairs = zip(scheme.claims, study.cut_sets, strict=True)
    against_harm = [cut_sets for claim, cut_sets in pairs if claim.must is Must.NEVER_RUNNING]
    assert not any(cut_sets.undecided for cut_sets in against_harm)
    return {cut[0] for cut_sets in against_harm for cut in cut_sets.minimal}


def change(text: str, kind: ChangeKind, part: str, via: tuple[str, ...] = ()) -> Change:
    return next(c for c in possible(text) if (c.kind, c.part) == (kind, part) and (not via or c.via == via))


def suggested(kind: ChangeKind, part: str) -> Weight:
    (one,) = (s for s in found().best if (s.change.kind, s.change.part) == (kind, part))
    assert one.whole
    return one.weight


# --- what comes out


@pytest.mark.parametrize(("output", "exchange"), [("K1", "K1b~K2.swapped"), ("K2", "K1~K2b.swapped")])
def test_a_second_stop_in_series_takes_a_contacts_faults_away_and_brings_an_exchange(
    output: str, exchange: str
) -> None:
    weight = suggested(ChangeKind.SECOND_OUTPUT, output)
    assert weight.removes == tuple(f"{output}.{mode}" for mode in FAULTS_OF_A_CONTACT)
    assert weight.adds == (exchange,)


@pytest.mark.parametrize(("sensor", "time"), [("probe", "5 s"), ("low_tap", "1 s"), ("high_tap", "3 s")])
def test_a_time_for_a_reading_that_stands_still_takes_stuck_away(sensor: str, time: str) -> None:
    # By hand: the time, the rule's delay and the output's own must stay within what is allowed: 10 s and 2 s for the
    # probe (10 s would do only without any delay), 5 s and 3 s, 5 s and 1 s for the taps.
    assert suggested(ChangeKind.STALE_AFTER, sensor) == Weight(True, (f"{sensor}.stuck",), ())
    assert change(BENCH, ChangeKind.STALE_AFTER, sensor).value == time


def test_the_next_longer_of_the_usual_times_would_not_do() -> None:
    for sensor in ("probe", "low_tap", "high_tap"):
        text = change(BENCH, ChangeKind.STALE_AFTER, sensor).text
        stale = loads(text).sensors[sensor].stale_after
        assert stale is not None
        longer = STALE_TIMES[STALE_TIMES.index(stale.us) + 1]
        late = loads(text.replace(f"stale_after: {stale.us // 10**6} s", f"stale_after: {longer // 10**6} s"))
        stuck = late.faults[f"{sensor}.stuck"]
        answers = {Judge(Index(late), c).rule([stuck]).answer for c in late.claims if c.must is Must.NEVER_RUNNING}
        assert Answer.VIOLATED in answers, sensor


def test_a_second_probe_takes_stuck_and_drifted_away() -> None:
    assert suggested(ChangeKind.SECOND_SENSOR, "probe") == Weight(True, ("probe.stuck", "probe.drifted"), ())


def test_a_rule_of_the_monitor_on_the_board_too_needs_no_line() -> None:
    assert suggested(ChangeKind.SECOND_RULE, "cell_full").removes == (
        "monitor_charge_ok.shorted",
        "monitor_charge_ok.inverted",
        "cell_full.omitted",
        "full_stop.omitted",
        "monitor_charge_ok~reset_button.swapped",
    )


def test_a_stop_of_the_other_unit_comes_first() -> None:
    first = found().best[0]
    assert (first.change.kind, first.change.part) == (ChangeKind.SECOND_CHANNEL, "K1")
    assert first.change.added == ("K1b", "cold_stop_2")
    assert first.weight.net == 8


def test_each_suggestion_stands_up_to_a_full_study_of_its_own() -> None:
    before = points(BENCH)
    real = [s for s in found().best if s.change.kind is not ChangeKind.EXCLUSION]
    assert len(real) == 11
    for one in [*real, *(s for s in found().best if s.change.part == "K1.welded")]:
        after = loads(one.change.text)
        assert {v.outcome for v in prove_all(after, margins=False, trace=False)} == {Outcome.HOLDS}, one.change
        assert all(case.passed for case in run_cases(after))
        now = points(one.change.text)
        assert set(one.weight.removes) == before - now, one.change
        assert set(one.weight.adds) == now - before, one.change


def test_what_a_change_does_not_reach_stays_as_it_was() -> None:
    scheme, study = studied(BENCH)
    skipped = 0
    for one in possible():
        if one.kind is ChangeKind.EXCLUSION:
            assert not any(touched(scheme, loads(one.text)))
            continue
        after, again = studied(one.text)
        for hit, old, new in zip(touched(scheme, after), study.cut_sets, again.cut_sets, strict=True):
            if not hit:
                skipped += 1
                kept = {cut for cut in new.minimal if cut[0] in scheme.faults}
                assert kept == set(old.minimal), one
    assert skipped >= 14


def test_a_claim_reaches_its_rules_wherever_they_are() -> None:
    scheme = loads(BENCH)
    assert reach(scheme, scheme.claims[1]) >= {
        "bench_charger", "K1", "full_stop", "cold_stop", "hot_stop", "monitor_charge_ok", "cell_full", "high_tap",
        "reset_button", "highest_cell", "lowest_cell", "low_tap",
    }  # fmt: skip
    assert reach(scheme, scheme.claims[1]).isdisjoint({"K2", "lamp_circuit", "empty_stop", "cell_empty"})


# --- the edited schemes


@pytest.mark.parametrize(
    ("kind", "part", "via", "parts"),
    [
        (ChangeKind.STALE_AFTER, "probe", (), {"probe"}),
        (ChangeKind.SECOND_RULE, "cold_stop", ("monitor_charge_ok",), {"cold_stop_2", "monitor_charge_ok"}),
        (ChangeKind.SECOND_RULE, "cell_full", ("K1",), {"cell_full_2"}),
        (ChangeKind.SECOND_OUTPUT, "K1", (), {"K1b", "bench_charger"}),
        (
            ChangeKind.SECOND_SENSOR,
            "probe",
            (),
            {"probe_2", "probe_lowest", "probe_highest", "cold_stop", "hot_stop"},
        ),
        (ChangeKind.SECOND_CHANNEL, "K2", (), {"K2b", "lamp_circuit", "cell_empty", "hot_stop_2"}),
        (ChangeKind.EXCLUSION, "K1.welded", (), set()),
    ],
)
def test_only_what_the_change_is_about_is_changed(
    kind: ChangeKind, part: str, via: tuple[str, ...], parts: set[str]
) -> None:
    one = change(BENCH, kind, part, via)
    before, after = loads(BENCH), loads(one.text)
    assert changed(before, after) == parts
    assert (after.claims, after.units, after.groups, after.scan_us) == (
        before.claims,
        before.units,
        before.groups,
        before.scan_us,
    )
    said = [line[line.index("#") :] for line in BENCH.splitlines() if "#" in line]
    assert said == [line[line.index("#") :] for line in one.text.splitlines() if "#" in line]
    if kind is not ChangeKind.SECOND_SENSOR:
        assert after.cases == before.cases


def test_what_is_added_has_the_settings_of_the_first() -> None:
    outputs = loads(change(BENCH, ChangeKind.SECOND_OUTPUT, "K1").text).outputs
    first, second = outputs["K1"], outputs["K1b"]
    for setting in ("unit", "drives", "contact", "runs_when", "energised_when", "stops_within", "starts_within"):
        assert getattr(first, setting) == getattr(second, setting)
    after = loads(change(BENCH, ChangeKind.SECOND_SENSOR, "probe").text)
    for setting in ("measures", "valid", "drifts"):
        assert getattr(after.sensors["probe"], setting) == getattr(after.sensors["probe_2"], setting)
    assert after.rules["cold_stop"].watched == "probe_lowest"
    assert after.rules["hot_stop"].watched == "probe_highest"
    rules = loads(change(BENCH, ChangeKind.SECOND_CHANNEL, "K2").text).rules
    for setting in ("watched", "trips", "clears", "reset", "reset_by", "on_invalid", "power_up"):
        assert getattr(rules["hot_stop"], setting) == getattr(rules["hot_stop_2"], setting)
    assert rules["hot_stop_2"].unit == "cell_monitor"


def test_labels_of_one_part_are_not_copied() -> None:
    text = edited(("stops_within: 100 ms}", "stops_within: 100 ms, terminal: X1, wire: W1, why: it is there}"))
    second = loads(change(text, ChangeKind.SECOND_OUTPUT, "K1").text).outputs["K1b"]
    assert (second.terminal, second.wire, second.why) == ("", "", "")


def test_an_exclusion_joins_the_rate_of_the_same_fault() -> None:
    text = BENCH + "\nfaults:\n  K1.welded: {rate: 1e-6 per h, source: an example}\n"
    after = loads(change(text, ChangeKind.EXCLUSION, "K1.welded").text)
    assert "K1.welded" not in after.faults
    assert after.rates["K1.welded"].per_hour == 1e-6
    (left_out,) = after.excluded
    assert left_out.reason.startswith("to be backed by: a contactor with mirror contacts")


def test_a_unit_that_stops_the_path_already_gets_no_second_channel() -> None:
    text = edited(*SERIES)
    channels = {c.part for c in possible(text) if c.kind is ChangeKind.SECOND_CHANNEL}
    assert channels == {"K2"}
    doubled = change(text, ChangeKind.SECOND_RULE, "cold_stop", ("K3",))
    assert "K1.welded" in weigh(known(text), doubled, whole=True).removes


# --- what is not proposed

SLOW_LINE = edited(
    ("clears: above 5 degC for 60 s", "clears: above 5 degC for 5 min"),
    ("{never_stopped: bench_charger, longer_than: 6 min", "{never_stopped: bench_charger, longer_than: 300.5 s"),
    ("for: 6 min}", "for: 7 min}"),
)  # fmt: skip


def test_a_change_that_breaks_a_claim_without_any_fault_is_not_proposed() -> None:
    # cold_stop holds charging back for 5 min; by way of the monitor's line it would be 1 s more than is allowed.
    by_line = ("monitor_charge_ok",)
    slow = change(SLOW_LINE, ChangeKind.SECOND_RULE, "cold_stop", by_line)
    first = weigh(known(SLOW_LINE), slow, whole=False)
    assert first.removes == ("cold_stop.omitted",), "where it can help it looks good"
    assert not weigh(known(SLOW_LINE), slow, whole=True).stands
    assert weigh(known(), change(BENCH, ChangeKind.SECOND_RULE, "cold_stop", by_line), whole=True).stands
    served = [v for v in prove_all(loads(slow.text), margins=False) if v.claim.must is Must.NEVER_STOPPED]
    assert [v.outcome for v in served] == [Outcome.VIOLATED]
    best = suggest(known(SLOW_LINE), [slow, change(SLOW_LINE, ChangeKind.SECOND_OUTPUT, "K1")]).best
    assert [s.change.kind for s in best] == [ChangeKind.SECOND_OUTPUT]


def test_a_change_that_breaks_a_case_is_not_proposed() -> None:
    # by way of the monitor's line the lamp comes back 1 s later after the reset than the case expects
    by_line = change(BENCH, ChangeKind.SECOND_RULE, "hot_stop", ("monitor_discharge_ok",))
    assert {v.outcome for v in prove_all(loads(by_line.text), margins=False, trace=False)} == {Outcome.HOLDS}
    assert not all(case.passed for case in run_cases(loads(by_line.text)))
    assert weigh(known(), by_line, whole=False).stands
    assert not weigh(known(), by_line, whole=True).stands
    assert not any(s.change == by_line for s in found().best)


def test_a_change_that_lets_nothing_run_any_more_is_not_proposed() -> None:
    # two contacts in series of which one is open whenever the other is closed: nothing can ever be violated
    text = BENCH[: BENCH.index("  charging_served:")].replace(", stops_within: 100 ms", "")
    good = change(text, ChangeKind.SECOND_OUTPUT, "K1")
    second = "  K1b: {drives: [bench_charger], "
    bad = Change(ChangeKind.SECOND_OUTPUT, "K1", good.text.replace(second, f"{second}energised_when: stops, "))
    assert bad.text != good.text
    assert weigh(known(text), good, whole=True).stands
    assert weigh(known(text), bad, whole=False).net > 0
    assert not weigh(known(text), bad, whole=True).stands


def test_a_change_that_is_no_scheme_is_not_proposed() -> None:
    assert not weigh(
        known(), Change(ChangeKind.SECOND_OUTPUT, "K1", BENCH.replace("revision", "division")), whole=False
    ).stands
    assert not weigh(
        known(), Change(ChangeKind.SECOND_OUTPUT, "K1", BENCH.replace("hot_discharge", "x")), whole=False
    ).stands


def test_nothing_is_weighed_where_a_claim_does_not_hold_anyway() -> None:
    hasty = edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 2 min"))
    scheme, study = studied(hasty)
    assert not_holding(scheme, study.cut_sets) == ("frozen_charge/bench_charger",)
    scheme, study = studied(BENCH)
    assert not_holding(scheme, study.cut_sets) == ()


# --- order, interruptions, words


def test_the_most_points_come_first_then_the_cheapest_kind() -> None:
    keys = [(-s.weight.net, COST[s.change.kind]) for s in found().best]
    assert keys == sorted(keys)
    kinds = [s.change.kind for s in found().best if s.weight.net == 1]
    assert kinds.count(ChangeKind.EXCLUSION) == len(points(BENCH)) == 29
    assert set(kinds[-29:]) == {ChangeKind.EXCLUSION}
    assert kinds[:3] == [ChangeKind.STALE_AFTER] * 3
    assert Counter(c.kind for c in possible())[ChangeKind.SECOND_SENSOR] == 3
    assert not any(s.change.part == "low_tap" and s.change.kind is ChangeKind.SECOND_SENSOR for s in found().best), (
        "a second low_tap can be exchanged with high_tap: nothing is won"
    )


def test_only_so_many_are_told_and_all_are_tried() -> None:
    few = suggest(known(), possible()[:10], most=3)
    assert (len(few.best), few.tried, few.possible, few.interrupted) == (3, 10, 10, False)
    assert all(s.whole for s in few.best)


@pytest.mark.parametrize(("after", "whole"), [(4, 0), (12, 2)])
def test_an_interruption_leaves_what_was_found(after: int, whole: int) -> None:
    said = []

    def stop(what: str, done: int, of: int) -> None:
        said.append((what, done, of))
        if len(said) == after:
            raise KeyboardInterrupt

    some = suggest(known(), possible()[:10], progress=stop)
    assert some.interrupted
    assert some.tried == min(after, 10)
    assert sum(s.whole for s in some.best) == whole
    assert some.best


def test_on_all_cores_the_same_is_found() -> None:
    some = [c for c in possible() if c.kind is ChangeKind.STALE_AFTER]
    assert suggest(known(), some, jobs=2) == suggest(known(), some, jobs=1)


def test_each_kind_says_what_to_do() -> None:
    told = {c.kind: told_change(loads(BENCH), c) for c in possible()}
    assert set(told) == set(ChangeKind)
    channel = told_change(loads(BENCH), change(BENCH, ChangeKind.SECOND_CHANNEL, "K1"))
    assert channel.startswith("Put an output of cell_monitor, K1b, in series with K1, and let cell_monitor stop")
    assert channel.endswith("So far cell_monitor has no output: it needs one that can do this.")
    assert "a contactor with mirror contacts" in told_change(
        loads(BENCH), change(BENCH, ChangeKind.EXCLUSION, "K1.welded")
    )


def test_a_common_cause_is_not_left_out_for_one_parts_quality() -> None:
    text = BENCH + "\nfaults:\n  wet: {together: [K1.welded, K2.welded]}\n"
    scheme = loads(text)
    assert "wet" in scheme.faults
    assert set(backings(scheme, scheme.faults)) == set(scheme.faults) - {"wet"}
