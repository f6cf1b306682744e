"""Which sleeping faults are to be looked for, and how often: worked out by hand for a charger with two contactors."""

from __future__ import annotations

import pytest

from interlock.faults.inspections import inspections
from interlock.faults.proof_tests import Due
from tests.faults.near import near
from tests.faults.studies import bench, in_series


def test_a_contactor_in_series_is_tested_before_the_other_welds() -> None:
    """K3 welds 2e-6 per hour, unseen; K1.welded (1e-6) and board.frozen (5e-7) then let the charger run on an overfull
    pack. On average K3 has been welded for half the interval: 2e-6 T/2 (1e-6 + 5e-7) = 1e-7, so T = 66,667 h."""
    scheme, study = in_series()
    found = inspections(scheme, study.effects, 1e-7)
    (third,) = [i for i in found.plan.intervals if i.name == "K3.welded"]
    assert third.hours == near(1e-7 * 2 / (2e-6 * 1.5e-6))
    assert third.due is Due.AT_LEAST_EVERY
    assert third.unrated == ("monitor_charge_ok.shorted",)
    assert not found.plan.complete


def test_a_mistake_of_installation_is_looked_for_once_and_is_no_second_fault() -> None:
    scheme, study = in_series()
    found = inspections(scheme, study.effects, 1e-7)
    assert found.commissioning == ("K3.ignored", "full_stop.omitted")
    assert found.seconds["K3.welded"] == ("monitor_charge_ok.shorted", "K1.welded", "board.frozen")
    assert found.seconds["monitor_charge_ok.shorted"] == ("K3.welded",)


def test_without_second_faults_nothing_is_to_be_tested() -> None:
    scheme, study = bench(2)
    found = inspections(scheme, study.effects, 1e-7)
    assert {i.due for i in found.plan.intervals} == {Due.NO_SECOND}


def test_a_bound_of_nothing_is_refused() -> None:
    scheme, study = bench()
    with pytest.raises(ValueError, match="bound"):
        inspections(scheme, study.effects, 0)
