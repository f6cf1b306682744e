"""The page's machine, in a real browser, tells what the readable engine tells, scan by scan, with faults planted."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from interlock.bench.tables import SAFE, TooWideError, installation, program_table, shifts
from interlock.draw.words import STATE_WORDS
from interlock.export.unit import unit_code
from interlock.logic.cases import CaseRun
from interlock.logic.compiled import compile_scheme, inputs_of
from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.levels import Levels
from interlock.logic.program import Observe, Program
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import stretches
from interlock.logic.why import path_reasons, rule_view
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import loads
from interlock.scheme.units import decimal_text, time_text
from interlock.scheme.words import LineForm, Mode, State
from interlock.vectors.generate import generate
from interlock.vectors.record import Start, Vector
from tests.bench.driver import Given, Played, demo, page_of, play
from tests.draw.browser import browser
from tests.sheet.devtools import Browser
from tests.support.bench import BENCH
from tests.support.profiles import BROAD
from tests.support.quick import QUICK_BENCH
from tests.support.random_schemes import random_scheme_text
from tests.support.random_worlds import critical_values

needs_browser = pytest.mark.skipif(browser() is None, reason="no chromium to open the page with")
DEMOS = ("alpine_hut", "survey_launch")

Counted = Callable[[str, Mapping[str, int]], None]
Told = tuple[str, str]  # kind and name


@pytest.fixture(scope="module")
def tabs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Browser]]:
    with (
        page_of(demo(DEMOS[0]), tmp_path_factory.mktemp("hut")) as hut,
        page_of(demo(DEMOS[1]), tmp_path_factory.mktemp("launch")) as launch,
    ):
        yield dict(zip(DEMOS, (hut, launch), strict=True))


# --- what the readable engine says


def singles(faults: Mapping[Fault, int]) -> frozenset[Fault]:
    """Each fault of one mode that is present, power cycles aside: those come scan by scan."""
    return frozenset(s for fault in faults for s in fault.single() if s.mode is not Mode.POWER_CYCLED)


def world_of(given: Given) -> World:
    readings = dict(given.readings)
    for fault, shift in given.faults.items():
        for single in fault.single():
            if single.error:
                readings[single.parts[0]] += shift
    return World(readings, given.lines, singles(given.faults), given.cycles)


def engine_of(scheme: Scheme, given: Given) -> Engine:
    return Engine(scheme, before_power_up=[s for s in singles(given.faults) if s.mode.installation])


def says(engine: Engine, seen: Seen) -> dict[Told, Any]:
    """All that a scan came to, under the names of the table; rules as (state, timer), readings as values."""
    found: dict[Told, Any] = {}
    for name, value in seen.readings.items():
        found["valid", name] = value is not None
        found["value", name] = value
    for name in engine.scheme.rules:
        found["level", name] = seen.states.get(name)
        found["in_force", name] = name in seen.in_force
        if engine.scheme.rules[name].alarm:
            found["alarm", name] = name in seen.alarms
    found |= {("line", n): v for n, v in seen.lines.items()}
    found |= {("on", n): v for n, v in seen.on.items()}
    found |= {("energised", n): v for n, v in engine.energised.items()}
    found |= {("closed", n): v for n, v in seen.closed.items()}
    found |= {("may_run", n): v for n, v in seen.may_run.items()}
    found |= {("may_stop", n): v for n, v in seen.may_stop.items()}
    return found


@dataclass(frozen=True)
class Said:
    """One scan: `all` that it came to, or, after it, that nothing but these rules' timers has `moved`."""

    all: dict[Told, Any] | None
    moved: dict[str, tuple[State, int]] = field(default_factory=dict)


def by_hand(scheme: Scheme, parts: list[Given]) -> Iterator[Said]:
    """The readable engine's words, scan by scan; where a world stays the same, in the engine's own long steps, in which
    nothing moves but timers."""
    engine = engine_of(scheme, parts[0])
    for given in parts:
        world = world_of(given)
        yield Said(says(engine, engine.scan(world)))
        steady = replace(world, cycles=frozenset())
        for seen, scans in stretches(engine, steady, given.scans - 1):
            yield Said(says(engine, seen))
            running = {n: (s, t) for n, (s, t) in seen.states.items() if engine.machines[n].timer != t}
            for more in range(1, scans):
                assert all(engine.machines[n].timer == t + scans - 1 for n, (_, t) in running.items())
                yield Said(None, {n: (s, t + more) for n, (s, t) in running.items()})


def compare(scheme: Scheme, parts: list[Given], played: Played, where: str) -> int:
    """Hold all that the page told against the readable engine. The number of scans."""
    at = {name: i for i, name in enumerate(played.names)}
    levels = {name: Levels.of(rule) for name, rule in scheme.rules.items()}
    unnamed = {i for (kind, _), i in at.items() if kind == "override"}  # no word of the readable engine's
    compared = {(kind, name) for kind, name in at if kind not in ("numerator", "denominator", "override")}
    got: dict[int, int] = {}
    count = 0
    for count, (changes, said) in enumerate(zip(played.changes, by_hand(scheme, parts), strict=True), 1):
        got |= changes
        if said.all is None:
            moved = {at["level", name]: levels[name].level(*state) for name, state in said.moved.items()}
            found = {place: value for place, value in changes.items() if place not in unnamed}
            assert found == moved, f"{where}, scan {count - 1}: the page changes {found}, the timers {moved}"
            continue
        assert {name for name in said.all if name[0] != "value"} == compared
        for (kind, name), expected in said.all.items():
            if kind == "value":
                value = got[at["numerator", name]], got[at["denominator", name]]
                same = expected is None or expected * value[1] == value[0]
            elif kind == "level":
                same = expected is None or levels[name].level(*expected) == got[at[kind, name]]
            else:
                same = bool(got[at[kind, name]]) is expected
            assert same, f"{where}, scan {count - 1}: {kind} of {name}: the page has it otherwise than {expected}"
    return count


# --- worlds


def moves(rng: random.Random, scheme: Scheme, scans: int, longest: int, *, faults: bool = True) -> list[Given]:
    """A random life: readings at and around limits, lines, buttons, faults that come and go, power cycles."""
    critical, plantable = critical_values(scheme), installation(scheme)[1] if faults else ()
    readings = {name: rng.choice(critical[name]) for name in scheme.sensors}
    external = [n for n, x in scheme.lines.items() if x.form is LineForm.EXTERNAL]
    lines = dict.fromkeys(external, False)
    planted: dict[Fault, int] = {}
    found: list[Given] = []
    left = scans
    while left:
        for name in rng.sample(list(readings), rng.randint(0, 2)):
            readings[name] = rng.choice(critical[name])
        for name in rng.sample(external, min(len(external), rng.randint(0, 2))):
            lines[name] = not lines[name]
        if planted and rng.random() < 0.3:
            planted.pop(rng.choice(list(planted)))
        if faults and rng.random() < 0.35 and len(planted) < 3:
            fault = rng.choice(plantable)
            if together(scheme, [*planted, fault]):
                planted[fault] = rng.choice(shifts(fault) or (0,))
        cycles = frozenset(u for u in scheme.units if rng.random() < 0.05)
        length = min(left, rng.choice([1, 1, 2, 3, rng.randint(2, longest)]))
        found.append(Given(dict(readings), dict(lines), length, dict(planted), cycles))
        left -= length
    return found


def together(scheme: Scheme, faults: list[Fault]) -> bool:
    """Whether faults have a meaning together: no two exchanges share a part, and none closes a loop."""
    try:
        scan_order(scheme, FaultSet.of(s for fault in faults for s in fault.single()))
    except (LoopError, ValueError):
        return False
    return True


@needs_browser
@pytest.mark.parametrize("name", DEMOS)
def test_the_page_agrees_with_the_readable_engine_on_long_lives_with_faults(
    name: str, tabs: dict[str, Browser], counted: Counted
) -> None:
    scheme, rng = demo(name), random.Random(f"long {name}")
    seen, planted = 0, set()
    for number in range(10):
        parts = moves(rng, scheme, 4800, 900)
        planted |= {fault.name for given in parts for fault in given.faults}
        seen += compare(scheme, parts, play(tabs[name], parts), f"{name}, life {number}")
    counted("the page's machine and the readable engine agree", {"scans": seen, "faults planted": len(planted)})
    assert seen == 48_000


@needs_browser
@pytest.mark.parametrize("name", DEMOS)
def test_every_fault_of_the_catalogue_is_planted_and_the_page_agrees(
    name: str, tabs: dict[str, Browser], counted: Counted
) -> None:
    """Each in a life of its own, there at power-up or planted soon after."""
    scheme, rng = demo(name), random.Random(f"each {name}")
    faults = list(scheme.faults.values())
    assert {f.name for f in installation(scheme)[1]} == set(scheme.faults)
    seen = 0
    for number, fault in enumerate(faults):
        first = 0 if fault.installation else number % 3
        shift = rng.choice(shifts(fault) or (0,))
        calm = moves(rng, scheme, 10, 4, faults=False)
        parts = [replace(given, faults={fault: shift} if i >= first else {}) for i, given in enumerate(calm)]
        seen += compare(scheme, parts, play(tabs[name], parts), f"{name} with {fault.name}")
    counted("the page's machine and the readable engine agree", {"scans": seen, "faults planted": len(faults)})


@needs_browser
@pytest.mark.parametrize("name", DEMOS)
def test_the_page_plays_every_case_as_the_readable_engine_does(
    name: str, tabs: dict[str, Browser], counted: Counted
) -> None:
    scheme = demo(name)
    seen = 0
    for case in scheme.cases:
        run = CaseRun(scheme, case)
        parts = [
            Given(w.readings, w.lines, scans, dict.fromkeys(w.faults, 0), w.cycles)
            for step in case.steps
            for w, scans in run.worlds(step)
            if scans
        ]
        seen += compare(scheme, parts, play(tabs[name], parts), f"{name}: {case.name}")
    counted("the page's machine and the readable engine agree", {"scans": seen, "cases": len(scheme.cases)})


UNIT = """
(() => {
  const machine = new globalThis.interlockBench.Machine(%s);
  return JSON.stringify(%s.map((inputs) => Array.from(machine.scan(inputs))));
})()
"""


@needs_browser
@pytest.mark.parametrize(
    ("name", "unit"),
    [("alpine_hut", "cell_monitor"), ("survey_launch", "cell_monitor"), ("quick", "board"), ("quick", "cell_monitor")],
)
def test_the_page_answers_every_vector_of_a_unit(
    name: str, unit: str, tabs: dict[str, Browser], counted: Counted
) -> None:
    """A unit alone is a table like any other. The boards of the demo schemes have vectors that take minutes to plan."""
    scheme = loads(QUICK_BENCH) if name == "quick" else demo(name)
    program = compile_scheme(scheme, unit=unit, cycles=True)
    runs = generate(unit_code(scheme, unit, "scheme.yaml")).runs
    at = {(o.kind, o.name): i for i, o in enumerate(program.observations)}
    for run in runs:
        given = [vector_inputs(scheme, program, unit, vector) for vector in run.vectors]
        code = UNIT % (json.dumps(program_table(program)), json.dumps(given))
        answers = json.loads(tabs[DEMOS[0]].ask(code))
        for number, (vector, got) in enumerate(zip(run.vectors, answers, strict=True)):
            for kind, wanted in (
                (Observe.ENERGISED, vector.outputs), (Observe.LINE, vector.sent), (Observe.ALARM, vector.alarms),
            ):  # fmt: skip
                told = {n: bool(got[at[kind, n]]) for n in wanted}
                assert told == wanted, f"{name}, {unit}, scan {number}: {kind}"
    counted("the page answers vectors", {"scans": sum(len(run.vectors) for run in runs)})


def vector_inputs(scheme: Scheme, program: Program, unit: str, vector: Vector) -> list[int]:
    """A vector's scan as the unit's program takes it; a lost reading is one outside what is valid."""
    lost = {n: s.valid.low - 1 for n, s in scheme.sensors.items()}
    readings = {n: lost[n] if (value := vector.readings.get(n)) is None else value for n in scheme.sensors}
    cycles = frozenset({unit} if vector.start is Start.POWER_CYCLE else ())
    return [int(value) for value in inputs_of(program, World(readings, vector.lines, cycles=cycles))]


# --- the words


@needs_browser
@pytest.mark.parametrize("name", DEMOS)
def test_the_page_gives_the_reasons_that_the_readable_engine_gives(
    name: str, tabs: dict[str, Browser], counted: Counted
) -> None:
    scheme, rng = demo(name), random.Random(f"words {name}")
    sentences = 0
    for _ in range(4):
        parts = moves(rng, scheme, 600, 60)
        played = play(tabs[name], parts, words=True)
        engine = engine_of(scheme, parts[0])
        for given, words in zip(parts, played.words, strict=True):
            world = world_of(given)
            seen = engine.scan(world)
            for _ in range(given.scans - 1):
                seen = engine.scan(replace(world, cycles=frozenset()))
            views = [rule_view(engine, seen, rule) for rule in scheme.rules]
            expected = [
                v.sentence().replace(f" is {v.state}", f" is {STATE_WORDS[v.state]()}", 1) if v.state else v.sentence()
                for v in views
            ]
            assert words["rules"] == expected
            assert words["paths"] == [list(path_reasons(engine, seen, path)) for path in scheme.paths]
            assert words["reads"] == [[engine.line_read(u, line) for line in scheme.reads(u)] for u in scheme.units]
            assert words["told"] == [engine._device_told_to_run(o) for o in scheme.outputs.values()]
            sentences += len(expected) + sum(map(len, words["paths"]))
    counted("the page's reasons are the readable engine's", {"sentences": sentences})


@needs_browser
def test_values_and_times_read_in_the_page_as_everywhere(tabs: dict[str, Browser]) -> None:
    rng = random.Random(5)
    fractions = [Fraction(rng.randint(-(10**8), 10**8), rng.choice([1, 2, 3, 4])) for _ in range(300)]
    fractions += [Fraction(n, 2) for n in range(-9, 10)]  # halves of a millionth are rounded to the even one
    given = json.dumps([[f.numerator, f.denominator] for f in fractions])
    assert tabs[DEMOS[0]].ask(f"{given}.map(([n, d]) => interlockBench.decimal(n, d))") == [
        decimal_text(f) for f in fractions
    ]
    times = [*range(0, 3_000_000, 100_000), *(rng.randrange(0, 10**11, 10**5) for _ in range(300)), 3_600_000_000]
    assert tabs[DEMOS[0]].ask(f"{times}.map(interlockBench.duration)") == [time_text(us) for us in times]


def test_values_that_a_browser_would_round_are_refused_in_words() -> None:
    scheme = loads(BENCH)
    sensor = next(iter(scheme.sensors.values()))
    huge = replace(sensor, valid=replace(sensor.valid, high=SAFE + 5))
    program_table(compile_scheme(scheme))
    with pytest.raises(TooWideError, match="counts exactly up to 9007199254 base units"):
        program_table(compile_scheme(replace(scheme, sensors={**scheme.sensors, sensor.name: huge})))


@needs_browser
@pytest.mark.parametrize("seed", [6, 8, 9])
def test_the_page_agrees_on_random_schemes_with_their_words(seed: int, tmp_path: Path, counted: Counted) -> None:
    """What the demo schemes do not have: averages and medians, modes, overrides without limit, common causes."""
    scheme, rng = loads(random_scheme_text(random.Random(seed), BROAD)), random.Random(seed)
    with page_of(scheme, tmp_path) as tab:
        unplantable = tab.ask("interlockBench.bench.facts.unplantable")
        assert unplantable == [n for n in scheme.faults if n not in {f.name for f in installation(scheme)[1]}]
        parts = moves(rng, scheme, 400, 20)
        seen = compare(scheme, parts, play(tab, parts, words=True), f"random scheme {seed}")
        tab.ask("document.querySelectorAll('[data-why]').forEach(button => button.click())")
        tab.click("#bench-next")
    counted("the page's machine and the readable engine agree", {"scans": seen})
