"""The class of a fault follows from what the claims it violates protect, and from nothing else."""

from __future__ import annotations

import pytest

from interlock.explain.injection import harm
from interlock.faults.court import Court
from interlock.faults.effects import Effect, FaultEffect, Reveal, Sign
from interlock.faults.inject import inject
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Here
from interlock.faults.severity import Severity, severity
from interlock.faults.suggest import known_of
from interlock.scheme.read import loads
from tests.faults.studies import bench
from tests.support.bench import edited

HARM, SERVED = "frozen_charge/bench_charger", "charging_served/bench_charger"


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        ("K1.welded", Severity.HARM),  # the charger runs on
        ("K1.wrong_contact", Severity.HARM),  # it also stops the charger: the worse of the two counts
        ("probe.open", Severity.SERVICE),  # cold_stop trips on it and the charger stays off
        ("K2.wire_broken", Severity.LATENT),  # the lamp stays dark, and no requirement says that it must be lit
        ("low_tap.shorted", Severity.NONE),  # the lamp is stopped, and the reading is invalid, which shows
    ],
)
def test_the_class_of_faults_of_the_bench(fault: str, expected: Severity) -> None:
    scheme, study = bench()
    effect = next(e for e in study.effects if e.fault == fault)
    assert severity(scheme, effect) is expected


@pytest.mark.parametrize(
    ("effect", "violates", "undecided", "expected"),
    [
        (Effect.VIOLATES, (HARM,), (SERVED,), Severity.HARM),
        (Effect.UNDECIDED, (SERVED,), (HARM,), Severity.UNDECIDED),
        (Effect.UNDECIDED, (SERVED,), (), Severity.SERVICE),
        (Effect.UNDECIDED, (), (SERVED,), Severity.UNDECIDED),
        (Effect.HARMLESS, (), (), Severity.NONE),
        (Effect.REVEALED, (), (), Severity.NONE),
        (Effect.DORMANT, (), (), Severity.LATENT),
    ],
)
def test_what_is_not_known_is_never_called_less_than_it_may_be(
    effect: Effect, violates: tuple[str, ...], undecided: tuple[str, ...], expected: Severity
) -> None:
    assert severity(bench()[0], FaultEffect("x", effect, violates, (), undecided)) is expected


PROTECTS = [
    (
        "{never_stopped: bench_charger, longer_than: 6 min",
        "{never_stopped: bench_charger, protects: yes, longer_than: 6 min",
    )
]


def test_what_protects_by_running_counts_as_harm_when_it_stops() -> None:
    scheme, study = bench()
    plain = next(e for e in study.effects if e.fault == "probe.open")
    assert (plain.effect, Reveal(Sign.CLAIM, SERVED) in plain.revealed_by) == (Effect.REVEALED, True)
    scheme = loads(edited(*PROTECTS))
    study = inject(scheme, 1, Here(Court(scheme, BUDGET)))
    found = next(e for e in study.effects if e.fault == "probe.open")
    assert (found.effect, severity(scheme, found)) == (Effect.VIOLATES, Severity.HARM)
    assert found.violates == plain.violates  # no verdict changes
    assert [r.sign for r in found.revealed_by] == [Sign.SENSOR]  # nobody is there to see it stop
    assert "bench_charger may be stopped for longer than 6 min" in harm(scheme, found, ())
    assert "probe.open" in known_of(scheme, study.cut_sets, BUDGET).points


def test_a_claim_violated_without_any_fault_says_nothing_about_one() -> None:
    found = FaultEffect("x", Effect.VIOLATES, (HARM,), (), ())
    assert severity(bench()[0], found, [HARM]) is Severity.NONE
