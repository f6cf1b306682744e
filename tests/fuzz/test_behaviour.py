"""Behaviours are such as the world admits, and looking ahead leaves the engine alone."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from typing import TypeVar

import pytest

from interlock.fuzz.aim import Aim
from interlock.fuzz.behaviour import Behaviour, twin
from interlock.fuzz.faults import FaultSetError, Plan, meaningful
from interlock.fuzz.judge import Judge
from interlock.fuzz.moves import behave
from interlock.fuzz.region import TruthError
from interlock.fuzz.script import Breach, ImpossibleError, Script, admitted, replay
from interlock.logic.scan import Engine
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.fuzz.test_stretch import memory, segments
from tests.support.bench import BENCH, edited
from tests.support.random_schemes import BROAD, SMALL, random_scheme_text
from tests.support.random_worlds import random_fault_set, split_faults

T = TypeVar("T")


class RandomDraw:
    """Choices without hypothesis."""

    def __init__(self, seed: str) -> None:
        self._rng = random.Random(seed)

    def pick(self, options: Sequence[T]) -> T:
        return options[self._rng.randrange(len(options))]


class Plainest:
    """Each first option."""

    def pick(self, options: Sequence[T]) -> T:
        return options[0]


def aims(rng: random.Random, count: int) -> list[tuple[Scheme, Aim]]:
    """Claims of random schemes under up to two faults."""
    found: list[tuple[Scheme, Aim]] = []
    while len(found) < count:
        scheme = loads(random_scheme_text(rng, rng.choice([SMALL, BROAD])))
        faults = random_fault_set(rng, scheme, rng.choice([0, 1, 2]))
        cycled = scheme.fault(f"{rng.choice(scheme.units)}.power_cycled")
        faults = (*faults, cycled) if cycled and rng.random() < 0.3 else faults
        if scheme.claims and meaningful(scheme, faults):
            try:
                found.append((scheme, Aim(scheme, rng.choice(scheme.claims), Plan.of(scheme, faults))))
            except TruthError:
                continue
    return found


def test_every_behaviour_is_one_that_the_world_admits() -> None:
    """Truth within spans and ties, readings within the errors in force, faults that stay: on random schemes."""
    rng = random.Random("behaviours")
    counts: Counter[str] = Counter()
    for number, (scheme, aim) in enumerate(aims(rng, 80)):
        draw = RandomDraw(f"behaviours {number}")
        for _ in range(4):
            attempt = behave(aim, draw)
            admitted(scheme, attempt.script)
            counts["steps"] += len(attempt.script.steps)
            counts["arisen"] += sum(bool(step.arisen) for step in attempt.script.steps)
            counts["cycles"] += sum(bool(step.cycles) for step in attempt.script.steps)
            counts["violated"] += attempt.violated
    print(dict(counts))
    assert min(counts.values()) > 20


def test_a_replay_of_the_steps_comes_to_the_same() -> None:
    """What was recorded is what was run: the exposure of the replay is that of the behaviour."""
    rng = random.Random("replays")
    for number, (scheme, aim) in enumerate(aims(rng, 40)):
        attempt = behave(aim, RandomDraw(f"replays {number}"))
        judge = Judge(scheme, aim.claim)
        breach, _ = replay(scheme, attempt.script, aim.resets, judge, 1 << 30)
        assert (breach is not None) is attempt.violated
        assert attempt.violated or judge.exposure_us == attempt.judges[0].exposure_us
        last = len(attempt.script.steps) - 1
        assert breach in (None, Breach(last, attempt.script.steps[last].scans))  # it ends where it is violated


def test_a_behaviour_ends_at_the_scan_that_violates_its_claim() -> None:
    """With 20 s of delay nothing changes from the cold on until the 200th scan, but the 100th is one too many."""
    scheme = loads(edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s")))
    attempt = behave(Aim(scheme, scheme.claims[0], Plan.of(scheme, ())), Plainest())
    assert attempt.violated
    assert attempt.script.steps[-1].scans == 100


def test_looking_ahead_leaves_the_engine_as_it_was() -> None:
    """A twin runs on, the engine does not; and the twin does what the engine then does."""
    rng = random.Random("twins")
    for _ in range(30):
        scheme = loads(random_scheme_text(rng, SMALL))
        faults = random_fault_set(rng, scheme, rng.choice([0, 1, 2]))
        engine = Engine(scheme, split_faults(faults)[0], attended=rng.random() < 0.5)
        for world, scans in segments(rng, scheme, faults, 20):
            before = memory(engine)
            ahead = twin(engine)
            there = [ahead.scan(world) for _ in range(scans)]
            assert memory(engine) == before
            assert [engine.scan(world) for _ in range(scans)] == there
            assert memory(engine) == memory(ahead)


def test_the_plainest_behaviour_is_the_opening_and_the_strike() -> None:
    """All as the path wants it until it is still, a press of the button, then the claim's conditions."""
    scheme = loads(BENCH)
    claim = next(c for c in scheme.claims if c.name == "frozen_charge/bench_charger")
    attempt = behave(Aim(scheme, claim, Plan.of(scheme, ())), Plainest())
    assert [step.lines["reset_button"] for step in attempt.script.steps] == [False, True, False, False]
    assert [step.truth["coldest_cell"] < 0 for step in attempt.script.steps] == [False, False, False, True]
    assert attempt.judges[0].exposure_us == 2_200_000


def test_the_aim_tells_how_long_until_something_happens() -> None:
    """On the bench, cold all at once: the charger runs on for 21 scans, and an output answers at the 20th after."""
    scheme = loads(BENCH)
    claim = next(c for c in scheme.claims if c.name == "frozen_charge/bench_charger")
    b = Behaviour(Aim(scheme, claim, Plan.of(scheme, ())), Plainest())
    for item in b.aim.guide.items:
        b.wish(item, False)
    b.realise()
    b.settle()
    b.met = True
    values, lines = b.composed()
    assert b.lag(values, lines) == 20
    b.realise()
    assert b.until_lost() == 21
    assert b.until_event() == 20
    assert b.hold(5) == 5
    assert b.until_lost() == 21 - 5


@pytest.fixture
def script() -> tuple[Scheme, Script]:
    scheme = loads(BENCH)
    aim = Aim(
        scheme, scheme.claims[0], Plan.of(scheme, [scheme.faults["probe.drifted"], scheme.faults["board.frozen"]])
    )
    b = Behaviour(aim, Plainest())
    b.hold(3)
    b.arisen = ("probe.drifted",)
    b.hold(3)
    return scheme, b.attempt().script


def edits(script: Script) -> dict[str, Script]:
    """Each a way in which a behaviour can be impossible."""
    first, second = script.steps

    def with_first(**changes: object) -> Script:
        return replace(script, steps=(replace(first, **changes), second))

    return {
        "outside its span": with_first(truth={**first.truth, "lowest_cell": 4_300_000}),
        "beyond a tie": with_first(truth={**first.truth, "hottest_cell": first.truth["coldest_cell"] + 6_000_001}),
        "below a tie": with_first(truth={**first.truth, "hottest_cell": first.truth["coldest_cell"] - 1}),
        "further off than its error": with_first(
            readings={**first.readings, "low_tap": first.truth["lowest_cell"] + 10_001}
        ),
        "drifted before it drifts": with_first(
            readings={**first.readings, "probe": first.truth["coldest_cell"] + 5_000_000}
        ),
        "a fault that goes again": replace(script, steps=(second, first)),
        "a fault of another set": with_first(arisen=("K1.welded",)),
        "a cycle without its fault": with_first(cycles=("board",)),
    }


WRONG = (
    "outside its span",
    "beyond a tie",
    "below a tie",
    "further off than its error",
    "drifted before it drifts",
    "a fault that goes again",
    "a fault of another set",
    "a cycle without its fault",
)


@pytest.mark.parametrize("wrong", WRONG)
def test_what_the_world_does_not_admit_is_refused(wrong: str, script: tuple[Scheme, Script]) -> None:
    scheme, good = script
    admitted(scheme, good)
    bad = edits(good)
    assert set(bad) == set(WRONG)
    with pytest.raises(ImpossibleError):
        admitted(scheme, bad[wrong])


def test_a_drift_wins_over_a_misplacement_and_both_over_health() -> None:
    scheme = loads(edited(("drifts: -6 to 6 K", "drifts: -6 to 6 K\n    misplaced: -9 to 3 K")))
    probe = scheme.sensors["probe"]
    plan = Plan.of(scheme, [scheme.faults["probe.drifted"], scheme.faults["probe.misplaced"]])
    assert plan.errors(scheme, ())["probe"] == probe.misplaced
    assert plan.errors(scheme, ["probe.drifted"])["probe"] == probe.drifts
    assert Plan.of(scheme, ()).errors(scheme, ())["probe"] == probe.measures


def test_fault_sets_without_a_meaning_are_refused() -> None:
    """Two swaps of one part, a sensor that drifts in two ways, an exchange that closes a loop of rules."""
    text = BENCH.replace("cases:", "faults:\n  probe.loose: {like: drifted, error: -15 to 0 K}\ncases:")
    scheme = loads(text)
    for names in (("probe.drifted", "probe.loose"), ("K1~K2.swapped", "K1~K2.swapped", "probe.drifted", "probe.loose")):
        with pytest.raises(FaultSetError):
            Plan.of(scheme, [scheme.faults[n] for n in names])
    assert meaningful(scheme, [scheme.faults["K1~K2.swapped"], scheme.faults["probe.loose"]])
