"""What a compiled scheme promises beside its equality with the readable engine."""

from __future__ import annotations

import hashlib
import os
import random
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from interlock.logic.compiled import OneScenario, View, compile_scheme, inputs_of
from interlock.logic.many import ManyScenarios
from interlock.logic.program import InputKind, Observe, Program, SlotKind
from interlock.logic.scan import Engine, World
from interlock.scheme.model import Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import load, loads
from interlock.scheme.words import State
from tests.logic.twins import Comparison, Setup, worlds
from tests.support.profiles import BROAD
from tests.support.random_schemes import random_scheme_text

RULES = Path(__file__).parents[2] / "rules"
HUT, LAUNCH = RULES / "alpine_hut.yaml", RULES / "survey_launch.yaml"

BENCH = """
scheme: Two units on a bench
scan: 100 ms
quantities: {level: {span: 0 to 100 %}}
sensors: {gauge: {measures: {level: -1 to 1 %}, valid: 0 to 100 %, stale_after: 300 ms}}
units: [board, monitor]
lines:
  permit: {low_when: [low_level], undriven_reads: off}
  hold_off: {high_when: [held], undriven_reads: off}
  key: external
  button: external
rules:
  late: {watches: gauge, trips: above 90 %, clears: below 80 %, power_up: clear, overridden_by: hold_off, blocks: pump}
  low_level: {unit: monitor, watches: gauge, trips: below 20 %, clears: above 30 %, power_up: clear}
  held: {unit: monitor, watches: key, trips: on, clears: off, power_up: clear}
  no_permit: {watches: permit, trips: off, clears: on, blocks: pump, power_up: clear}
  lockout: {watches: gauge, trips: above 95 %, clears: below 85 %, power_up: clear, reset: manual, reset_by: button,
            on_invalid: hold, alarm: "look"}
paths: {pump: {flow: discharge}}
outputs: {K1: {drives: [pump], contact: normally_open, runs_when: closed}}
requirements: {dry: {never_running: pump, while: {level: below 10 %}, longer_than: 1 s}}
"""


def bench() -> Scheme:
    return loads(BENCH)


def world(level: int = 50, *faults: str, key: bool = False, button: bool = False) -> World:
    scheme = bench()
    present = frozenset(fault for name in faults if (fault := scheme.fault(name)))
    assert len(present) == len(faults)
    return World({"gauge": level * 1_000_000}, {"key": key, "button": button}, present)


def told(program: Program, *given: World) -> list[dict[tuple[Observe, str], int]]:
    """All that one scenario tells, scan by scan."""
    scenario = OneScenario(program)
    names = [(o.kind, o.name) for o in program.observations]
    return [dict(zip(names, scenario.scan(inputs_of(program, w)), strict=True)) for w in given]


def both_tell(given: list[World], *faults: str) -> list[dict[tuple[Observe, str], int]]:
    """The compiled bench's words, the readable engine being of the same mind."""
    scheme = bench()
    setup = Setup(scheme, tuple(fault for name in faults if (fault := scheme.fault(name))))
    comparison = Comparison(setup, [given], "bench")
    comparison.one_by_one()
    comparison.side_by_side()
    return told(comparison.program, *given)


def test_an_override_sees_a_sent_line_in_the_same_scan() -> None:
    """`late` stands before `held` in the order of rules, and its override is the line that `held` sends."""
    scheme = bench()
    assert scheme.order.index("late") < scheme.order.index("held")
    seen = both_tell([world(95), world(95), world(95, key=True), world(95)])
    assert [s[Observe.IN_FORCE, "late"] for s in seen] == [True, True, False, True]
    assert [s[Observe.LINE, "hold_off"] for s in seen] == [False, False, True, False]


def test_a_dead_unit_sends_nothing_even_while_frozen() -> None:
    healthy, dead, both = (
        world(),
        world(50, "monitor.dead"),
        world(50, "monitor.dead", "monitor.frozen"),
    )
    seen = both_tell([healthy, both, dead, both, healthy], "monitor.dead", "monitor.frozen")
    assert [s[Observe.LINE, "permit"] for s in seen] == [True, False, False, False, True]
    assert [s[Observe.MAY_RUN, "pump"] for s in seen] == [True, False, False, False, True]


def test_a_frozen_unit_keeps_sending_what_it_sent() -> None:
    frozen = world(5, "monitor.frozen")
    seen = both_tell([world(), frozen, frozen, world(5), world(50, "monitor.frozen")], "monitor.frozen")
    assert [s[Observe.LINE, "permit"] for s in seen] == [True, True, True, False, False]


def test_a_stuck_reading_goes_stale_when_its_time_is_up() -> None:
    stuck = world(5, "gauge.stuck")
    seen = both_tell([world(), world(50, "gauge.stuck"), stuck, stuck, stuck, stuck, world()], "gauge.stuck")
    assert [s[Observe.VALID, "gauge"] for s in seen] == [True, True, True, True, False, False, True]
    assert [s[Observe.NUMERATOR, "gauge"] for s in seen[1:4]] == [50_000_000] * 3


def test_a_held_reset_button_never_resets_twice() -> None:
    trip, clear = world(99), world(50)
    held, let_go = world(50, button=True), world(50)
    seen = both_tell([let_go, trip, clear, held, world(99, button=True), held, held, let_go, held])
    levels = compile_scheme(bench()).levels["lockout"]
    states = [levels.state(s[Observe.LEVEL, "lockout"])[0] for s in seen]
    waiting = State.AWAITING_RESET
    assert states == [
        *(State.CLEAR, State.TRIPPED, waiting, State.CLEAR, State.TRIPPED, waiting),
        *(waiting, waiting, State.CLEAR),
    ]


@pytest.mark.parametrize("path", [HUT, LAUNCH], ids=["hut", "launch"])
@pytest.mark.parametrize("seed", range(3))
def test_the_demo_schemes_agree_under_all_faults_of_service_coming_and_going(path: Path, seed: int) -> None:
    scheme = load(path)
    rng = random.Random(seed)
    setup = Setup(
        scheme,
        tuple(rng.sample([f for f in scheme.faults.values() if not f.mode.installation], 25)),
        attended=seed == 1,
        cycles=True,
    )
    comparison = Comparison(setup, [list(worlds(rng, setup, 150)) for _ in range(2)], path.name)
    comparison.one_by_one()
    comparison.side_by_side()
    comparison.interpreted()


def test_a_fault_arising_in_service_is_an_input_and_a_mistake_of_installation_is_folded_in() -> None:
    scheme = bench()
    names = ("K1.welded", "K1.ignored", "board.power_cycled", "gauge.open")
    faults = [fault for name in names if (fault := scheme.fault(name))]
    assert len(faults) == 4
    kinds = [(i.kind, i.name) for i in compile_scheme(scheme, faults).inputs]
    assert (InputKind.FAULT, "gauge.open") in kinds
    assert (InputKind.CYCLE, "board") in kinds
    assert (InputKind.FAULT, "K1.ignored") not in kinds
    assert (InputKind.CYCLE, "monitor") not in kinds
    switched = [(i.kind, i.name) for i in compile_scheme(scheme, faults, switched=True, cycles=True).inputs]
    assert (InputKind.FAULT, "K1.ignored") in switched
    assert (InputKind.CYCLE, "monitor") in switched


def test_a_common_cause_is_one_input() -> None:
    scheme = loads(BENCH + "faults: {flood: {together: [gauge.open, K1.welded]}}\n")
    flood = scheme.fault("flood")
    assert flood is not None
    program = compile_scheme(scheme, [flood])
    given = [i for i in program.inputs if i.kind is InputKind.FAULT]
    assert [(i.name, i.singles) for i in given] == [("flood", ("gauge.open", "K1.welded"))]
    dry, wet = world(), World({"gauge": 50_000_000}, {}, frozenset(flood.single()))
    assert [told(program, w)[0][Observe.VALID, "gauge"] for w in (dry, wet)] == [True, False]
    assert [told(program, w)[0][Observe.CLOSED, "K1"] for w in (dry, wet)] == [True, True]


def test_exchanges_that_have_no_meaning_are_refused() -> None:
    echo = '  echo: {unit: monitor, watches: hold_off, trips: on, clears: off, alarm: "held off"}\n'
    scheme = loads(BENCH.replace("paths:", echo + "paths:"))
    exchanged = scheme.fault("hold_off~key.swapped")
    assert exchanged is not None
    with pytest.raises(LoopError, match="held → held"):  # `held` would wait for the line that it sends itself
        compile_scheme(scheme, [exchanged])
    sensors = loads(random_scheme_text(random.Random(3), BROAD))
    swaps = [f for f in sensors.faults.values() if f.mode.value == "swapped"]
    one, other = next((a, b) for a in swaps for b in swaps if a != b and set(a.parts) & set(b.parts))
    with pytest.raises(ValueError, match="shares a part"):
        compile_scheme(sensors, [one, other])


@pytest.mark.parametrize("seed", range(12))
def test_a_unit_alone_decides_as_it_does_in_the_whole(seed: int) -> None:
    """Fed with its sensors and with the lines as they are in the whole scheme, scan by scan."""
    rng = random.Random(seed)
    scheme = loads(random_scheme_text(rng, BROAD))
    setup = Setup(scheme, cycles=True)
    whole = OneScenario(compile_scheme(scheme, cycles=True))
    view = View(whole.program)
    alone = {unit: OneScenario(compile_scheme(scheme, cycles=True, unit=unit)) for unit in scheme.units}
    compared = 0
    for w in worlds(rng, setup, 80):
        seen = whole.scan(inputs_of(whole.program, w))
        lines = {name: bool(on) for name, on in view.table(seen, Observe.LINE).items()}
        for unit, scenario in alone.items():
            given = inputs_of(scenario.program, World(w.readings, lines, frozenset(), w.cycles))
            for o, value in zip(scenario.program.observations, scenario.scan(given), strict=True):
                if o.kind not in (Observe.NUMERATOR, Observe.DENOMINATOR):
                    assert value == view.get(seen, o.kind, o.name), (unit, o)
                    compared += 1
    units = [p.program for p in alone.values()]
    sent = [o.name for p in units for o in p.observations if o.kind is Observe.LINE]
    assert sorted(sent) == sorted(n for n, line in scheme.lines.items() if line.form.sent)
    assert {o.name for p in units for o in p.observations if o.kind is Observe.ENERGISED} == set(scheme.outputs)
    for unit, scenario in alone.items():
        given_lines = [i.name for i in scenario.program.inputs if i.kind is InputKind.LINE]
        assert not [name for name in given_lines if scheme.lines[name].unit == unit]
    assert compared > 1000


def test_a_program_for_some_observations_tells_the_same_with_less() -> None:
    scheme = load(HUT)
    rng = random.Random(1)
    setup = Setup(scheme, cycles=True)
    whole = compile_scheme(scheme, cycles=True)
    wanted = [(Observe.MAY_RUN, "cell_heater"), (Observe.LEVEL, "heat_wanted")]
    part = whole.restricted(wanted)
    assert len(part.nodes) < len(whole.nodes) / 4
    assert len(part.slots) < len(whole.slots) / 4
    assert {i.name for i in part.inputs} < {i.name for i in whole.inputs}
    given = list(worlds(rng, setup, 400))
    all_told, some_told = told(whole, *given), told(part, *given)
    assert [{key: seen[key] for key in wanted} for seen in all_told] == some_told
    assert len({tuple(seen.values()) for seen in some_told}) > 5
    with pytest.raises(KeyError, match="may_run of kettle"):
        whole.restricted([(Observe.MAY_RUN, "kettle")])


def test_nodes_stand_after_their_arguments_once_each_and_all_are_needed() -> None:
    for path in (HUT, LAUNCH):
        program = compile_scheme(load(path), cycles=True)
        assert all(a < number for number, node in enumerate(program.nodes) for a in node.args)
        assert len(set(program.nodes)) == len(program.nodes)
        again = program.pruned()
        assert (again.nodes, again.slots, again.inputs) == (program.nodes, program.slots, program.inputs)


def test_what_only_faults_need_is_not_kept_in_a_healthy_scheme() -> None:
    for path in (HUT, LAUNCH):
        kinds = {slot.kind for slot in compile_scheme(load(path)).slots}
        assert kinds <= {
            *(SlotKind.LEVEL, SlotKind.OVERRIDE, SlotKind.SEEN_OFF, SlotKind.ON, SlotKind.CLOSED),
            *(SlotKind.SINCE_RUN, SlotKind.SINCE_STOP),
        }


def test_the_same_scheme_compiles_to_the_same_table_in_every_process() -> None:
    text = (
        "import hashlib;from interlock.scheme.read import load;from interlock.logic.compiled import compile_scheme\n"
        f"s = load({str(HUT)!r})\n"
        "p = compile_scheme(s, frozenset(f for f in s.faults.values() if not f.mode.installation))\n"
        "print(hashlib.sha256(repr((p.nodes, p.inputs, p.slots, p.observations)).encode()).hexdigest())"
    )
    sums = set()
    for seed in ("0", "1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed}
        done = subprocess.run([sys.executable, "-c", text], env=env, capture_output=True, text=True, check=True)
        sums.add(done.stdout)
    assert len(sums) == 1
    assert len(sums.pop().strip()) == len(hashlib.sha256().hexdigest())


def test_scenarios_side_by_side_start_where_they_are_put() -> None:
    program = compile_scheme(bench())
    one, many = OneScenario(program), ManyScenarios(program, 3)
    given = [inputs_of(program, w) for w in (world(99), world(50), world(50, button=True))]
    for inputs in given:
        one.scan(inputs)
    other = OneScenario(program)
    many.state = [
        np.array([a, b, a], bool if slot.boolean else np.int64)
        for slot, a, b in zip(program.slots, one.state, other.state, strict=True)
    ]
    got = [array.tolist() for array in many.scan(given[0])]
    assert [list(values) for values in zip(*got, strict=True)] == [
        list(first := one.scan(given[0])),
        list(other.scan(given[0])),
        list(first),
    ]


def test_a_view_names_states_and_readings_as_the_engine_does() -> None:
    scheme = load(HUT)
    rng = random.Random(4)
    engine, scenario = Engine(scheme), OneScenario(compile_scheme(scheme))
    view = View(scenario.program)
    invalid = 0
    for w in worlds(rng, Setup(scheme), 60):
        seen, values = engine.scan(w), scenario.scan(inputs_of(scenario.program, w))
        assert {rule: view.state(values, rule) for rule in scheme.rules} == seen.states
        assert {name: view.reading(values, name) for name in seen.readings} == seen.readings
        assert view.table(values, Observe.MAY_STOP) == seen.may_stop
        invalid += None in seen.readings.values()
    assert 0 < invalid < 60
