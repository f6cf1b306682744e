"""Every answer worked out again, by the readable engine from power-up on, without the tables that gave it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path

import pytest

from interlock.exercises.find_setting import groups
from interlock.exercises.predict import ASKED
from interlock.exercises.questions import questions
from interlock.exercises.records import Act, Kind, Question
from interlock.exercises.scene import Scene
from interlock.exercises.which_fault import OFFERED
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import load, loads
from tests.support.bench import BENCH

RULES = Path(__file__).parents[2] / "rules"
NAMES = ("alpine_hut", "survey_launch", "bench")
MANY: Mapping[Kind, int] = {Kind.PREDICT: 10, Kind.WHICH_FAULT: 6, Kind.FIND_SETTING: 5}
SEEDS = (1, 2)
LONG_S = 7200  # longer than any chain of delays of these schemes

Counted = Callable[[str, Mapping[str, int]], None]


@cache
def scheme_of(name: str) -> Scheme:
    return loads(BENCH) if name == "bench" else load(RULES / f"{name}.yaml")


@cache
def scene_of(name: str) -> Scene:
    return Scene(scheme_of(name))


@cache
def asked(name: str, seed: int) -> tuple[Question, ...]:
    return questions(scene_of(name), seed, MANY)


def scans(scheme: Scheme, seconds: float) -> int:
    return int(seconds * 1_000_000) // scheme.scan_us


@cache
def rested(name: str) -> tuple[Engine, World]:
    """The engine from power-up to rest, every reset given; what it reads is what the questions say."""
    scheme, world = scheme_of(name), scene_of(name).world
    engine = Engine(scheme)
    buttons = {r.reset_by for r in scheme.rules.values() if r.manual and r.reset_by}
    for _ in range(3):
        run_for(engine, world, scans(scheme, LONG_S))
        engine.scan(replace(world, lines={**world.lines, **dict.fromkeys(buttons, True)}))
    run_for(engine, world, scans(scheme, LONG_S))
    return engine, world


class Trial:
    """One life from rest, told scan by scan by the readable engine."""

    def __init__(self, name: str, faults: frozenset[Fault] = frozenset()) -> None:
        engine, world = rested(name)
        self.engine, self.world = engine.twin(), replace(world, faults=faults)

    def do(self, act: Act) -> None:
        """Give what the act gives; a button is pressed for one scan."""
        lines = {**self.world.lines, **dict(act.lines)}
        self.world = replace(self.world, readings={**self.world.readings, **dict(act.readings)}, lines=lines)
        if act.press:
            self.engine.scan(replace(self.world, lines={**lines, act.press: True}))

    def wait(self, count: int) -> Seen:
        seen = run_for(self.engine, self.world, count)
        assert seen is not None
        return seen

    def looks(self, acts: Sequence[Act]) -> Iterator[Seen]:
        """What is seen at the end of each act's wait."""
        for act in acts:
            self.do(act)
            yield self.wait(act.scans - bool(act.press))


EVERY = [(name, seed) for name in NAMES for seed in SEEDS]


@pytest.mark.parametrize(("name", "seed"), EVERY)
def test_what_is_predicted_comes_about(name: str, seed: int, counted: Counted) -> None:
    judged = 0
    for question in asked(name, seed):
        if question.kind is Kind.PREDICT:
            trial = Trial(name)
            *_, last = trial.looks(question.acts)
            assert 2 <= len(question.asked) <= ASKED
            assert [last.running(path) for path in question.asked] == list(question.answer), question
            later = trial.wait(scene_of(name).steady)  # nobody has to count to the tenth of a second
            assert [later.running(path) for path in question.asked] == list(question.answer), question
            judged += len(question.asked)
    assert judged > 10
    counted("answers worked out again", {"paths predicted": judged})


def test_a_button_is_pressed_for_one_scan_and_seen() -> None:
    """A hot pack that has cooled down waits for a press; without one its charging stays stopped."""
    both = ("floor_probe", "wall_probe")
    hot, cool = (tuple((name, value * 10**6) for name in both) for value in (60, 20))
    for press, charges in (("reset_button", True), ("", False)):
        acts = (Act(100, hot), Act(4000, cool), Act(600, press=press))
        *_, last = Trial("alpine_hut").looks(acts)
        assert last.running("roof_pv") is charges
        assert scene_of("alpine_hut").play(acts)[-1].running["roof_pv"] is charges


def test_what_is_about_to_change_is_not_asked() -> None:
    """A cold pack stops charging after 2 s and its contactors: at 2 s the look is too close to call, not at 10 s."""
    scene = scene_of("alpine_hut")
    for scans_waited, certain in ((20, False), (100, True)):
        look = scene.play((Act(scans_waited, (("floor_probe", -5 * 10**6),)),))[-1]
        assert (look.running["turbine_charging"] is not None) is certain


@pytest.mark.parametrize(("name", "seed"), EVERY)
def test_exactly_one_of_the_faults_offered_explains_what_is_seen(name: str, seed: int, counted: Counted) -> None:
    scheme = scheme_of(name)
    count = 0
    for question in asked(name, seed):
        if question.kind is not Kind.WHICH_FAULT:
            continue
        assert len(set(question.asked)) == OFFERED
        assert sum(question.answer) == 1
        sound = list(Trial(name).looks(question.acts))
        explains = []
        for fault_name in question.asked:
            fault = scheme.faults[fault_name]
            would = list(Trial(name, frozenset({fault})).looks(question.acts))
            explains.append(not any(contradicts(*looks) for looks in zip(question.seen, would, sound, strict=True)))
        assert explains == list(question.answer), question
        shown = [
            (path, number)
            for number, (look, healthy) in enumerate(zip(question.seen, sound, strict=True))
            for path, runs in look.running.items()
            if runs is not None and healthy.running(path) is not None and runs is not healthy.running(path)
        ]
        assert shown, "a sound installation shows the same"
        count += 1
    assert count >= 3
    counted("answers worked out again", {"faults told from others": count})


def contradicts(look: object, would: Seen, sound: Seen) -> bool:
    """Whether a fault would show, for certain, something else of a path than what is told as seen."""
    running: Mapping[str, bool | None] = look.running  # type: ignore[attr-defined]
    return any(
        None not in (runs, would.running(path), sound.running(path)) and runs is not would.running(path)
        for path, runs in running.items()
    )


@pytest.mark.parametrize(("name", "seed"), EVERY)
def test_the_settings_found_stop_the_path_and_no_others_do(name: str, seed: int, counted: Counted) -> None:
    scheme = scheme_of(name)
    tried = 0
    for question in asked(name, seed):
        if question.kind is not Kind.FIND_SETTING:
            continue
        (path,) = question.asked
        assert question.sensors in groups(scheme)
        valid = question.valid
        assert valid is not None
        inside = {v for span in question.spans for v in (span.first, span.last, (span.low + span.high) // 2)}
        beside = {v for span in question.spans for v in (span.first - 1, span.last + 1)}
        values = inside | {v for v in beside if valid.inside(v)} | set(grid(valid.low, valid.high))
        for value in sorted(values):
            trial = Trial(name)
            for _ in trial.looks(question.acts):
                pass
            trial.do(Act(1, tuple((sensor, value) for sensor in question.sensors)))
            after = trial.wait(question.within)
            for_good = trial.wait(scans(scheme, LONG_S))
            stops = any(span.inside(value) for span in question.spans)
            assert (for_good.running(path) is False) is stops, (question, value)
            if stops:
                assert after.running(path) is False, (question, value)
            tried += 1
    assert tried
    counted("answers worked out again", {"settings tried": tried})


def grid(low: int, high: int) -> range:
    """Readings spread over what is valid, so that a span that was missed shows."""
    return range(low, high + 1, max(1, (high - low) // 12))


def test_the_time_given_for_a_setting_is_not_longer_than_needed() -> None:
    for question in asked("alpine_hut", 1):
        if question.kind is Kind.FIND_SETTING:
            (path,) = question.asked
            late = 0
            for value in {v for s in question.spans for v in (s.first, (s.low + s.high) // 2, s.last)}:
                trial = Trial("alpine_hut")
                for _ in trial.looks(question.acts):
                    pass
                trial.do(Act(1, tuple((sensor, value) for sensor in question.sensors)))
                late += question.within < 2 or trial.wait(question.within - 1).running(path) is not False
            assert late, question


@pytest.mark.parametrize("name", NAMES)
def test_a_seed_gives_the_same_questions_and_another_seed_others(name: str) -> None:
    assert questions(Scene(scheme_of(name)), 1, MANY) == asked(name, 1)
    assert asked(name, 1) != asked(name, 2)


@pytest.mark.parametrize(("name", "seed"), EVERY)
def test_no_question_comes_twice_and_something_happens_in_most(name: str, seed: int) -> None:
    found = asked(name, seed)
    assert len(set(map(repr, found))) == len(found)
    engine, world = rested(name)
    at_rest = engine.twin().scan(world)
    predicted = [q for q in found if q.kind is Kind.PREDICT]
    still = [q for q in predicted if all(at_rest.running(p) is r for p, r in zip(q.asked, q.answer, strict=True))]
    assert 3 * len(still) <= len(predicted) + 2


def test_a_scheme_that_never_comes_to_rest_is_asked_nothing() -> None:
    """A pump that is stopped by its own command and let run again: its questions would have no beginning."""
    restless = BENCH.replace(
        "paths:  ",
        "  seesaw: {watches: lamp_circuit, trips: running, clears: stopped, blocks: lamp_circuit}\n\npaths:  ",
    )
    assert restless != BENCH
    scene = Scene(loads(restless))
    assert not scene.rests
    assert questions(scene, 1) == ()
