"""The chance of a claim's faults: exact for what is counted, and never without what is not."""

from __future__ import annotations

from math import exp

import pytest

from interlock.faults.claim_chances import ClaimChances, all_known, claim_chances
from interlock.faults.cutsets_search import CutSets, Undecided
from tests.faults.near import near
from tests.faults.studies import bench, in_series

YEAR = 8760.0


def of(name: str, hours: float = YEAR, *, series: bool = False) -> ClaimChances:
    scheme, study = in_series() if series else bench()
    number = next(i for i, claim in enumerate(scheme.claims) if claim.name == name)
    return claim_chances(scheme, scheme.claims[number], study.cut_sets[number], hours)


def test_single_faults_come_together_as_one_exponential_law() -> None:
    """Independent faults of constant rates: the first of them arises at the sum of the rates."""
    found = of("frozen_charge/bench_charger")
    assert found.chance is not None
    assert found.chance.exact == near(1 - exp(-(2e-6 + 1e-6 + 5e-7) * YEAR))  # probe.stuck, K1.welded, board.frozen
    assert found.rare_event == near(sum(1 - exp(-rate * YEAR) for rate in (2e-6, 1e-6, 5e-7)))
    assert found.per_hour is not None
    assert found.per_hour.exact == near(found.chance.lower / YEAR)
    assert [i.event for i in found.importances] == ["probe.stuck", "K1.welded", "board.frozen"]


def test_a_pair_in_series_multiplies() -> None:
    found = of("overfull_charge/bench_charger", series=True)
    third, others = 1 - exp(-2e-6 * YEAR), 1 - exp(-1.5e-6 * YEAR)  # K3.welded with K1.welded or board.frozen
    assert found.chance is not None
    assert found.chance.exact == near(third * others)
    first = found.importances[0]
    assert first.event == "K3.welded"
    assert first.birnbaum.exact == near(others)


def test_what_is_not_counted_is_named() -> None:
    found = of("frozen_charge/bench_charger")
    assert found.missing == ("probe.drifted",)
    assert set(found.mistakes) == {
        "K1.wrong_contact",
        "K1.ignored",
        "K1~K2.swapped",
        "bench_charger.bypassed",
        "cold_stop.omitted",
    }
    assert (found.sets, found.counted) == (9, 3)
    assert found.lower_bound


def test_a_claim_whose_every_weak_fault_violates_it_alone_has_no_larger_sets() -> None:
    singles = CutSets((("a",), ("b",)), (), 3, ("a", "b"), 1)
    assert all_known(singles, "abc")
    assert not all_known(CutSets((("a",),), (), 3, ("a", "b"), 1), "abc")
    assert not all_known(CutSets((("a",), ("b",)), (), 3, ("a", "b"), 0), "abc")  # singles were not all looked at
    assert not all_known(CutSets((("a",), ("b",)), (Undecided(("c",), ""),), 3, ("a", "b"), 1), "abc")
    assert all_known(CutSets((("a", "b"),), (), 3, ("a", "b"), 2), "ab")  # two is all there are
    assert all_known(CutSets(((),), (), 1, (), 0), "abc")


@pytest.mark.parametrize(("fault", "lower_bound"), [("K2.welded", False), ("probe.drifted", True)])
def test_a_chance_is_whole_only_where_every_set_is_known_and_counted(fault: str, lower_bound: bool) -> None:
    scheme, _ = bench()
    family = (("probe.stuck",), (fault,))
    found = claim_chances(scheme, scheme.claims[0], CutSets(family, (), 3, ("probe.stuck", fault), 1), YEAR)
    assert found.order is None
    assert found.lower_bound is lower_bound


def test_a_claim_violated_without_faults_has_no_chance() -> None:
    scheme, _ = bench()
    found = claim_chances(scheme, scheme.claims[0], CutSets(((),), (), 1, (), 0), YEAR)
    assert found.anyway
    assert found.chance is None


@pytest.mark.parametrize("hours", [0.0, -1.0, float("inf"), float("nan")])
def test_a_mission_of_no_length_is_refused(hours: float) -> None:
    with pytest.raises(ValueError, match="mission"):
        of("frozen_charge/bench_charger", hours)
