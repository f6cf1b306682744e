"""A unit watched: the logic taken from the scheme is what the unit tells, long waits are what single scans are, and a
trial is the run from the beginning."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pytest

from interlock.export.unit import UnitCode, unit_code
from interlock.logic.program import Observe
from interlock.logic.scan import Engine, World
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import State
from interlock.vectors.alone import alone
from interlock.vectors.generate import Vectors, generate
from interlock.vectors.mcdc import shown, value
from interlock.vectors.planner import Planner
from interlock.vectors.stage import Put
from interlock.vectors.timeline import Plan, Track, taken, tracked, tried
from interlock.vectors.watch import At, Watcher
from tests.support.bench import BENCH, edited
from tests.support.quick import QUICK_BENCH

RULES = Path(__file__).parents[2] / "rules"

# A rule that can be overridden for half a second, tells of itself by an alarm, and has another rule as a condition.
OVERRIDDEN = QUICK_BENCH.replace("  reset_button: external", "  reset_button: external\n  rescue: external").replace(
    "trips: below 3 degC for 300 ms, clears: above 5 degC for 700 ms, blocks: sources",
    "trips: below 3 degC for 300 ms, clears: above 5 degC for 700 ms, blocks: sources, "
    "overridden_by: rescue, override_at_most: 500 ms, alarm: cold, only_while: {hot_stop: clear}",
)
SCHEMES = {"bench": QUICK_BENCH, "overridden": OVERRIDDEN}


def scheme_of(name: str) -> Scheme:
    return loads(SCHEMES[name]) if name in SCHEMES else load(RULES / f"{name}.yaml")


@cache
def made(name: str, unit: str) -> tuple[UnitCode, Vectors]:
    code = unit_code(scheme_of(name), unit, f"{name}.yaml")
    return code, generate(code)


UNITS = [("bench", "board"), ("overridden", "board"), ("alpine_hut", "cell_monitor")]


@pytest.mark.parametrize(
    ("name", "unit"), [*UNITS, ("survey_launch", "cell_monitor"), ("survey_launch", "board"), ("alpine_hut", "board")]
)
def test_the_logic_read_from_the_scheme_is_what_the_unit_tells(name: str, unit: str) -> None:
    """At random inputs, in each of many states: decisions over conditions against outputs, sent lines and alarms."""
    code = unit_code(scheme_of(name), unit, f"{name}.yaml")
    watcher, rng = Watcher(code), random.Random(name + unit)
    inputs, logic, at = watcher.inputs, watcher.goals.logic, watcher.first()
    given = inputs.rest
    seen = set()
    for _ in range(500):
        if rng.random() < 0.4:
            place = rng.randrange(len(given))
            lane = inputs.lane_of[place]
            values = [0, 1] if lane.line else inputs.regions[lane]
            given = tuple(rng.choice(values) if i == place else v for i, v in enumerate(given))
        before = at
        cycle = rng.random() < 0.01
        told = dict(zip(code.told, watcher.told(before.slots, given, cycle)[1], strict=True))
        at = watcher.step(before, given, cycle).after
        if rng.random() < 0.5:  # somewhere else: counters move on
            slots = [
                rng.randint(s.low, s.high) if not s.boolean and rng.random() < 0.1 else v
                for s, v in zip(code.program.slots, at.slots, strict=False)
            ]
            at = At((*slots, *at.slots[len(slots) :]), given)
        held = watcher.holds(before.slots, watcher.told(before.slots, given, cycle)[0], given)
        truth = {str(leaf): holds for leaf, holds in zip(logic.leaves, held, strict=True)}
        seen.add(held)
        for decision in logic.decisions:
            if decision.name in code.scheme.paths:
                chain, path = list[str](), decision.name
                while path:
                    chain += code.scheme.drives(unit, path)
                    path = code.scheme.paths[path].behind
                outputs = [code.scheme.outputs[o] for o in chain]
                on = all(bool(told[Observe.ENERGISED, o.name]) is (str(o.energised_when) == "runs") for o in outputs)
                assert value(decision.logic, truth) is on, decision.name
            elif decision.name in code.sent:
                assert value(decision.logic, truth) is bool(told[Observe.LINE, decision.name]), decision.name
            else:
                rule = decision.name.removeprefix("alarm of ")
                assert value(decision.logic, truth) is bool(told[Observe.ALARM, rule]), decision.name
    assert len(seen) >= 2


@pytest.mark.parametrize(("name", "unit"), UNITS)
def test_long_waits_show_what_single_scans_do(name: str, unit: str) -> None:
    code, _ = made(name, unit)
    planner = Planner(code, 20_000)
    track = planner.plan()
    watcher, at, goals = planner.watcher, planner.watcher.first(), 0
    last = track.scans[-1]
    entries = {entry.scan: entry for entry in track.entries}
    for scan in range(last + 1):
        step = watcher.step(at, track.given(scan), scan in track.plan.cycles)
        at = step.after
        goals |= step.shown
        if scan in entries:
            entry = entries[scan]
            assert (entry.after, entry.shown, entry.hidden, entry.moved) == (at, step.shown, step.hidden, step.moved)
        else:
            assert not step.moved, scan
        assert track.before(scan + 1) == at, scan
    assert goals == track.shown


@pytest.mark.parametrize(
    ("name", "unit"), [("overridden", "board"), ("survey_launch", "board"), ("alpine_hut", "board")]
)
def test_a_wait_is_skipped_up_to_where_something_happens_and_no_further(name: str, unit: str) -> None:
    code = unit_code(scheme_of(name), unit, f"{name}.yaml")
    watcher, rng = Watcher(code), random.Random(name)
    inputs, checked, overrides = watcher.inputs, 0, 0
    for _ in range(400):
        slots = tuple(
            rng.choice((s.low, rng.randint(s.low, s.high), max(s.low, s.high - rng.randint(0, 9))))
            for s in code.program.slots
        )
        given = tuple(
            rng.choice([0, 1] if (lane := inputs.lane_of[i]).line else inputs.regions[lane])
            for i in range(len(inputs.rest))
        )
        start = At((*slots, *watcher.start[len(slots) :]), given)
        settled = watcher.step(start, given).after
        step = watcher.step(settled, given)
        if not step.quiet or step.still:
            continue
        after, skipped = watcher.skip(settled, step.after, 12)
        at = step.after
        for _ in range(skipped):
            one = watcher.step(at, given)
            assert (one.moved, one.shown, one.hidden) == ((), step.shown, step.hidden)
            at = one.after
        assert at == after
        checked += skipped > 0
        counts = watcher.count.values()
        overrides += any(after.slots[i] == code.program.slots[i].high - 1 and skipped for i in counts)
    assert checked > 10
    assert overrides or not watcher.count


def test_an_override_runs_out_at_the_scan_it_should() -> None:
    """Counted in single scans by the readable engine: five scans from the rising edge on, that one included."""
    code, vectors = made("overridden", "board")
    assert any(g.what == "runs out" for g in vectors.reached)
    watcher = Watcher(code)
    goal = next(g for g in vectors.reached if g.what == "runs out")
    at, found = watcher.first(), []
    track = Planner(code, 20_000).plan()
    for scan in range(track.scans[-1]):
        step = watcher.step(at, track.given(scan), scan in track.plan.cycles)
        at = step.after
        if step.shown & watcher.bits[goal]:
            found.append(scan)
    place = watcher.inputs.place["rescue"]
    for scan in found:
        pressed = [track.given(s)[place] for s in range(scan - 6, scan + 1)]
        assert pressed == [0, 1, 1, 1, 1, 1, 1]
    assert found


@pytest.mark.parametrize(("name", "unit"), [("overridden", "board"), ("survey_launch", "board")])
def test_a_trial_is_the_run_from_the_beginning(name: str, unit: str) -> None:
    code = unit_code(scheme_of(name), unit, f"{name}.yaml")
    planner, rng = Planner(code, 20_000), random.Random(name)
    joined = 0
    for _ in range(60):
        lane = rng.choice(planner.inputs.lanes)
        start = rng.choice(planner.moments())
        frames = []
        if lane.line:
            put: Put | None = planner.turned(lane, start, rng.choice((1, 20, 400)))
        else:
            target = rng.choice(planner.inputs.regions[lane])
            frames = list(planner.inputs.sweep(lane, planner.track.given(start), target))
            put = planner.put(lane, start, frames, rng.choice((1, 20, 400)))
        if put is None:
            continue
        trial = tried(planner.track, put.plan, put.start, put.end)
        joined += trial.end is not None
        whole, pieced = tracked(planner.watcher, put.plan, planner.rest), taken(planner.track, trial)
        assert essence(pieced) == essence(whole)
        assert pieced.needed == whole.needed == trial.needed
        assert trial.gained == whole.shown & ~planner.track.shown
        assert trial.lost == planner.track.shown & ~whole.shown
        if rng.random() < 0.3:
            planner.track = pieced
    assert joined > 5  # some were stepped only a part of the way


def essence(track: Track) -> list[tuple[int, int, int]]:
    """What is shown and hidden when; scans at which nothing but that of the scan before is, are left out."""
    found: list[tuple[int, int, int]] = []
    for entry in track.entries:
        if not found or found[-1][1:] != (entry.shown, entry.hidden):
            found.append((entry.scan, entry.shown, entry.hidden))
    return found


def test_what_is_done_to_an_input_stays_until_something_else_is() -> None:
    code = unit_code(loads(BENCH), "board", "bench.yaml")
    watcher = Watcher(code)
    rest = watcher.inputs.rest
    track = tracked(watcher, Plan({0: {0: 20_000}, 7: {0: 1_000}}), rest)
    assert [track.given(scan)[0] for scan in (0, 6, 7, 500)] == [20_000, 20_000, 1_000, 1_000]


# --- coverage as told, worked out again from what the readable engine saw


@pytest.mark.parametrize(("name", "unit"), UNITS)
def test_conditions_are_shown_as_the_readable_engine_saw_them(name: str, unit: str) -> None:
    code, vectors = made(name, unit)
    logic = Watcher(code).goals.logic
    by_itself = alone(code.scheme, unit)
    held: list[dict[str, bool]] = []
    for run in vectors.runs:
        engine, overridden = Engine(by_itself), dict[str, bool]()
        for vector in run.vectors:
            lost = {n: s.valid.low - 1 for n, s in code.scheme.sensors.items()}
            readings = {n: lost[n] if (v := vector.readings.get(n)) is None else v for n in code.scheme.sensors}
            cycles = frozenset({unit} if str(vector.start) == "power_cycle" else ())
            seen = engine.scan(World(readings, vector.lines, cycles=cycles))
            for rule, count in engine.override.items():
                limit = by_itself.rules[rule].override_at_most
                overridden[rule] = count is not None and 0 < count <= (limit.scans if limit else count)
            now = {}
            for leaf in logic.leaves:
                match str(leaf.about):
                    case "acts":
                        now[str(leaf)] = seen.states[leaf.name][0] not in (State.CLEAR, State.PICKING_UP)
                    case "is overridden":
                        now[str(leaf)] = overridden[leaf.name]
                    case "is on":
                        now[str(leaf)] = vector.lines[leaf.name]
                    case about:
                        raise AssertionError(about)
            held.append(now)
    for decision in logic.decisions:
        mine = [{str(leaf): now[str(leaf)] for leaf in decision.leaves} for now in held]
        for condition, form in shown(decision.logic, mine).items():
            assert vectors.forms[decision.name, condition] == form


def test_edits_of_the_bench_are_where_they_are_meant_to_be() -> None:
    assert edited(("revision: 1", "revision: 2")) != BENCH
    assert "override_at_most: 500 ms" in OVERRIDDEN


# --- what shows a scan later


CALLED = QUICK_BENCH.replace(
    "  reset_button: external", "  reset_button: external\n  call: external\n  asked: external"
)
CALLED = CALLED.replace(
    "rules:\n",
    "rules:\n  called: {watches: call, trips: on, clears: off for 1 s, power_up: clear, alarm: called}\n"
    "  spent: {watches: called, trips: active for 500 ms, clears: clear, power_up: clear, only_while: {asked: on}, "
    "blocks: loads}\n",
    1,
)


def test_a_turn_that_is_told_of_at_the_next_scan_is_shown_then() -> None:
    """The second rule clears with the first while nobody asks for it; asked at once after that, the unit tells."""
    code = unit_code(loads(CALLED), "board", "called.yaml")
    watcher = Watcher(code)
    goal = next(g for g in watcher.bits if str(g) == "spent: transition tripped to clear")
    call, asked, reset = (watcher.inputs.place[n] for n in ("call", "asked", "reset_button"))

    def first_shown(*given: tuple[int, int, int]) -> int:
        """The scan that shows it, by line `call`, line `asked`, and for how many scans, from rest on."""
        at, scan = watcher.first(), 0
        for on, wanted, scans in ((0, 0, 49), (0, 0, 1), *given):
            values = list(watcher.inputs.rest)
            values[call], values[asked], values[reset] = on, wanted, int(scan == 49)
            for _ in range(scans):
                step = watcher.step(at, tuple(values))
                at = step.after
                if step.shown & watcher.bits[goal]:
                    return scan
                scan += 1
        return -1

    trips = (1, 0, 20)
    assert first_shown(trips, (0, 1, 30)) == 50 + 20 + 10  # asked for while it clears: at that scan
    assert first_shown(trips, (0, 0, 11), (0, 1, 5)) == 50 + 20 + 11  # at the next one: a scan too late would be told
    assert first_shown(trips, (0, 0, 11), (1, 1, 5)) == 50 + 20 + 11  # and while it begins to trip again
    assert first_shown(trips, (0, 0, 12), (0, 1, 5)) == -1  # later on a scan too late is not told of any more
    assert first_shown(trips, (0, 0, 30)) == -1
