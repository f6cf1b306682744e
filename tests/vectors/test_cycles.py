"""Power cycles that no run has the time for: the fewest scans with them, by hand and against all there is to try."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import pytest

from interlock.export.unit import unit_code
from interlock.records import replace
from interlock.scheme.model import Delay, Rule, Trigger
from interlock.scheme.read import load, loads
from interlock.scheme.words import PowerUp, Signal
from interlock.vectors.bound import shared, sights_of
from interlock.vectors.cycles import _Search, fewest_with
from interlock.vectors.goals import Goal, GoalKind
from interlock.vectors.inputs import Inputs
from interlock.vectors.reasons import Why, reasons
from tests.support.bench import edited

HUT = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"


def cycle(rule: str, state: str) -> Goal:
    return Goal(GoalKind.POWER_CYCLE, rule, state)


@pytest.mark.parametrize(
    ("rule", "state", "minutes"),
    [
        # above 55 % for 10 min (comfort_shed clears), below 30 % for 15 min (it trips, and generator_call), above 60 %
        # for 10 min (generator_call clears, comfort_shed once more, and then power is lost)
        ("comfort_shed", "clear", 35),
        # below 30 % for 15 min, above 60 % for 10 min, below 30 % for 15 min, and then power is lost
        ("generator_call", "tripped", 40),
        # what all delays take anyhow: these are so at the end, or can be brought about in the meantime
        ("comfort_shed", "tripped", 30),
        ("generator_call", "clear", 30),
        ("last_shed", "tripped", 30),
        ("last_shed", "clear", 30),
        # the call with which all begins is over after 15 min, in which comfort_shed clears and trips; power is lost.
        # Below 30 % for 15 min and above 60 % for 5 min follow (generator_call), and a call of 10 min beside them (the
        # override runs out, rescue_spent trips). That one is over 15 min after the button is let go: too late for more
        ("rescue_called", "clear", 35),
        ("rescue_spent", "clear", 35),
        ("rescue_spent", "tripped", 30),
    ],
)
def test_the_fewest_scans_with_a_power_cycle_of_the_hut_by_hand(rule: str, state: str, minutes: int) -> None:
    code = unit_code(load(HUT), "board", "hut.yaml")
    assert fewest_with(code, cycle(rule, state), 60 * 600) == minutes * 600


def test_a_power_cycle_that_takes_more_scans_than_a_run_may_have_is_proved_to() -> None:
    code = unit_code(load(HUT), "board", "hut.yaml")
    goals = [cycle("comfort_shed", "clear"), cycle("last_shed", "clear")]
    found = reasons(code, goals, {}, most=19_999)
    assert [found[goal].why for goal in goals] == [Why.TOO_LONG, Why.NOT_FOUND]
    assert (found[goals[0]].scans, "21,000" in found[goals[0]].says) == (21_000, True)


def by_trying(
    rules: list[Rule], sights: Sequence[tuple[tuple[bool, bool], ...]], rule: int, side: int, most: int
) -> int:
    """The fewest scans by all sequences of what can be seen, scan by scan: a delay is over where its condition has held
    for so many scans after the first. A rule that watches another one sees it as it is at the same scan."""
    names = [rule.name for rule in rules]
    start = tuple((0 if r.power_up is PowerUp.CLEAR else 1, 0) for r in rules)
    lasts = [(r.trips.delay.scans, r.clears.delay.scans) for r in rules]
    cycled_too = (-1, -1)
    wanted = {(i, s) for i in range(len(rules)) for s in (0, 1) if lasts[i][s]} | {cycled_too}
    nothing: frozenset[tuple[int, int]] = frozenset()
    layer = {(start, nothing)}
    for scans in range(most):
        free = set(layer)
        for at, shown in layer:
            cycled = tuple(
                (s, 0) if r.power_up is PowerUp.AS_LEFT else b for r, (s, _), b in zip(rules, at, start, strict=True)
            )
            free.add((cycled, shown | ({cycled_too} if at[rule][0] == side else nothing)))
            free.add((start, shown))
        if any(shown == wanted for _, shown in free):
            return scans
        layer = set()
        for at, shown in free:
            for sight in sights:
                after, ran_out = list[tuple[int, int]](), set[tuple[int, int]]()
                for i, (s, ran) in enumerate(at):
                    test = (rules[i].clears if s else rules[i].trips).test
                    behind = names.index(rules[i].watched) if rules[i].watches is Signal.RULE else -1
                    if not (sight[i][s] if behind < 0 else test is bool(after[behind][0])):
                        after.append((s, 0))
                    elif ran == lasts[i][s]:
                        after.append((1 - s, 0))
                        ran_out |= {(i, s)} & wanted
                    else:
                        after.append((s, ran + 1))
                layer.add((tuple(after), shown | ran_out))
    return most


@pytest.mark.parametrize("seed", range(6))
def test_no_sequence_of_inputs_of_two_lanes_takes_fewer_scans_than_the_bound(seed: int) -> None:
    """A rule on an input of its own, one on a line and one that watches that: every sequence is tried."""
    rng = random.Random(seed)

    def rule(name: str, watches: Signal, watched: str) -> Rule:
        first, second = (Trigger(on, Delay(0, rng.choice((0, 2, 3, 4)))) for on in (True, False))
        up = rng.choice(list(PowerUp))
        return Rule(name, "board", watches, watched, first, second, power_up=up)

    rules = [
        rule("one", Signal.LINE, "a"),
        rule("other", Signal.LINE, "b"),
        rule("behind", Signal.RULE, "other"),
    ]
    sights = [((a, not a), (b, not b)) for a in (True, False) for b in (True, False)]
    search = _Search(rules, sights)
    for number in range(3):
        for side in (0, 1):
            real = by_trying(rules, sights, number, side, 60)
            least = search.fewest(number, side, 60)
            # a scan more for each turn, of which there are no more than two a rule, and those to the power cycle
            assert least <= real <= least + 12, (number, side)
            assert real < 60


@pytest.mark.parametrize("seed", range(12))
def test_no_sequence_of_inputs_takes_fewer_scans_than_the_bound(seed: int) -> None:
    """Two rules on one probe with random delays: every sequence is tried."""
    rng = random.Random(seed)
    code = unit_code(loads(edited()), "board", "bench.yaml")
    inputs = Inputs(code)
    lane = next(lane for lane in inputs.lanes if len(shared(inputs, lane)) == 2)
    unit = rng.choice((1, 2, 3))
    rules = []
    for rule in shared(inputs, lane):
        trips, clears = (Delay(0, unit * rng.randint(1, 4)) for _ in range(2))
        rules.append(
            replace(
                rule,
                trips=replace(rule.trips, delay=trips),
                clears=replace(rule.clears, delay=clears),
                power_up=rng.choice(list(PowerUp)),
            )
        )
    search = _Search(rules, sights_of(inputs, lane, rules))
    for number in (0, 1):
        for side in (0, 1):
            least = search.fewest(number, side, 200)
            real = by_trying(rules, search.sights, number, side, 200)
            # by trying every turn takes a scan more than its delay: at most two for each of the two rules, and as many
            # for those on the way to the power cycle
            assert least <= real <= least + 8, (number, side)
            assert least > 0
