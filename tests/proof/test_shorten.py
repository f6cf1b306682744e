"""Counterexamples are cut down: nothing in a story can be left out, and no world held a scan less."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, prove
from interlock.proof.replay import Run, lengthened
from interlock.proof.shorten import shortened
from interlock.proof.story import Stretch, UnrealError, confirmed
from interlock.proof.system import FaultPlan
from interlock.records import replace
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import load, loads
from tests.support.bench import BENCH

RULES = Path(__file__).parents[2] / "rules"
FLAWED = (
    ("hut_probe_error_forgotten.yaml", "frozen_charge/roof_pv"),
    ("hut_turbine_unloaded.yaml", "turbine_loaded/dump_load"),
    ("launch_contactor_before_field.yaml", "field_first/alternator"),
    ("launch_path_forgotten.yaml", "frozen_charge/inverter_charger"),
)
MISTAKES = ("cold_stop.omitted", "K1.wrong_contact", "K1~K2.swapped")


def claim_of(scheme: Scheme, name: str) -> Claim:
    return next(c for c in scheme.claims if c.name == name)


def shorter_stories(story: tuple[Stretch, ...]) -> Iterator[tuple[Stretch, ...]]:
    for i, stretch in enumerate(story):
        yield (*story[:i], *story[i + 1 :])
        if stretch.scans > 1:
            yield (*story[:i], replace(stretch, scans=stretch.scans - 1), *story[i + 1 :])


def assert_nothing_can_be_left_out(scheme: Scheme, claim: Claim, faults: tuple[Fault, ...] = ()) -> None:
    verdict = prove(scheme, claim, faults)
    assert verdict.outcome is Outcome.VIOLATED
    wanted = claim.longer_than.us // scheme.scan_us - claim.adds_a_scan + 1
    installed = frozenset(faults)
    assert confirmed(scheme, of_claim(claim), installed, verdict.trace, wanted)
    for story in shorter_stories(verdict.trace):
        with pytest.raises(UnrealError):
            confirmed(scheme, of_claim(claim), installed, story, wanted)


@pytest.mark.parametrize(("file", "name"), FLAWED)
def test_nothing_can_be_left_out_of_the_story_of_a_design_mistake(file: str, name: str) -> None:
    scheme = load(RULES / "flawed" / file)
    assert_nothing_can_be_left_out(scheme, claim_of(scheme, name))


@pytest.mark.parametrize("fault", MISTAKES)
def test_nothing_can_be_left_out_of_the_story_of_a_mistake_of_installation(fault: str) -> None:
    scheme = loads(BENCH)
    assert_nothing_can_be_left_out(scheme, claim_of(scheme, "frozen_charge/bench_charger"), (scheme.faults[fault],))


def padded() -> tuple[Decider, Run, int]:
    """The bench's worst run into its claim, with the world before it held twice as long and come back to."""
    scheme = loads(BENCH)
    claim = claim_of(scheme, "frozen_charge/bench_charger")
    decider = Decider(Index(scheme), of_claim(claim), FaultPlan.of([scheme.faults["cold_stop.omitted"]]), 2_000)
    run = decider.answer().run
    assert run is not None
    lead = [p for p in run.played if not p.bad]
    assert lead
    return decider, Run([*lead, *lead, *run.played], run.bad_run), 50


def test_a_run_with_a_detour_is_cut_to_what_it_needs() -> None:
    decider, run, wanted = padded()
    before = sum(p.scans for p in run.played if not p.bad)
    short = shortened(decider.full, run, wanted)
    assert short.bad_run == wanted
    assert sum(p.scans for p in short.played if not p.bad) <= before // 3


def test_an_endless_run_is_gone_round_as_often_as_it_takes_and_not_beyond_what_anyone_reads() -> None:
    decider, run, _ = padded()
    endless = Run(run.played, 1, True, len(run.played) - 1)
    scans = run.played[-1].scans
    longer = lengthened(endless, 1 + 3 * scans)
    assert longer.bad_run == 1 + 3 * scans
    assert longer.played[-3:] == [run.played[-1]] * 3
    assert lengthened(endless, 1_000 * scans) is endless
    assert lengthened(replace(endless, endless=False), 1_000) == replace(endless, endless=False)
    assert decider.full is not None
