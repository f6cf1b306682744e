"""The exported C decides as the scheme does: against the readable engine scan by scan, and against the compiled program
over many more scans; built by gcc and clang without a warning, run under their sanitizers."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from interlock.export.unit import UnitCode, unit_code
from interlock.logic.compiled import compile_scheme
from interlock.logic.many import ManyScenarios
from interlock.logic.program import InputKind, Observe, SlotKind
from interlock.logic.scan import Engine, World
from interlock.records import replace
from interlock.scheme.model import Delay, Scheme
from interlock.scheme.read import load, loads
from tests.conftest import Counted
from tests.logic.twins import Setup, worlds
from tests.support.bench import BENCH
from tests.support.c_code import COMPILERS, CYCLED, FIRST, NONE, SANITIZED, Built, have, random_run
from tests.support.profiles import BROAD, SMALL
from tests.support.random_schemes import random_scheme_text

ROOT = Path(__file__).parents[2]
OWN = {name: load(ROOT / "rules" / f"{name}.yaml") for name in ("alpine_hut", "survey_launch")} | {
    "bench": loads(BENCH)
}
RANDOM_SCHEMES, RUNS = 10, 2
pytestmark = pytest.mark.skipif(not have(*COMPILERS), reason="gcc and clang are not both installed")


def quicker(scheme: Scheme) -> Scheme:
    """The scheme with delays of no more than a few scans, so that short runs go everywhere."""

    def quick(delay: Delay) -> Delay:
        scans = min(delay.scans, 1 + delay.scans % 7)
        return Delay(scans * scheme.scan_us, scans)

    rules = {
        name: replace(
            rule,
            trips=replace(rule.trips, delay=quick(rule.trips.delay)),
            clears=replace(rule.clears, delay=quick(rule.clears.delay)),
            override_at_most=quick(rule.override_at_most) if rule.override_at_most else None,
        )
        for name, rule in scheme.rules.items()
    }
    return replace(scheme, rules=rules)


def in_steps(code: UnitCode, world: World) -> World:
    """The world with each reading a whole number of steps, as a controller counts it."""
    step = code.steps.of
    return replace(world, readings={n: v // step[n] * step[n] for n, v in world.readings.items()})


def level_of(code: UnitCode, engine: Engine, number: int) -> int:
    """What the readable engine says to a slot that is no truth: a rule's level, or how long it is overridden."""
    slot = code.program.slots[number]
    if slot.kind is SlotKind.LEVEL:
        machine = engine.machines[slot.name]
        return code.program.levels[slot.name].level(machine.state, machine.timer)
    count = engine.override[slot.name]
    return 0 if count is None else min(count + 1, slot.high)


def beside_the_engine(
    scheme: Scheme, codes: Sequence[UnitCode], built: Sequence[Built], runs: Sequence[Sequence[World]], where: str
) -> Counter[str]:
    """Run the readable engine on the worlds and each unit's export on what arrives at that unit."""
    counts: Counter[str] = Counter()
    before: list[list[int]] = [[] for _ in codes]
    inputs: list[list[list[int]]] = [[] for _ in codes]
    expected: list[list[list[int]]] = [[] for _ in codes]
    levels: list[list[list[int]]] = [[] for _ in codes]
    for run in runs:
        engine = Engine(scheme)
        for scan, world in enumerate(run):
            seen = engine.scan(world)
            for i, code in enumerate(codes):
                cycled = code.unit in world.cycles
                # a power cycle at the first scan of all: nothing was kept yet, and nothing can be
                before[i].append(FIRST if not scan else CYCLED if cycled else NONE)
                readings = [world.readings[n] // code.steps.of[n] for n in code.sensors]
                inputs[i].append([*readings, *(int(seen.lines[n]) for n in code.lines)])
                expected[i].append(
                    [
                        engine.energised[n] if k is Observe.ENERGISED else seen.lines[n] if k is Observe.LINE
                        else n in seen.alarms
                        for k, n in code.told
                    ]
                )  # fmt: skip
                levels[i].append([level_of(code, engine, slot) for slot in built[i].slots])
                counts["power cycles"] += cycled and scan > 0
    for i, (code, program) in enumerate(zip(codes, built, strict=True)):
        told, slots = program.run(before[i], inputs[i])
        wrong = np.argwhere(told != np.array(expected[i], np.uint8).reshape(told.shape))
        if len(wrong):
            scan, column = wrong[0]
            raise AssertionError(
                f"{where}, unit {code.unit}, scan {scan}: {code.told[column][1]} is {told[scan, column]} in C"
            )
        assert np.array_equal(slots, np.array(levels[i], np.int32).reshape(slots.shape)), (where, code.unit)
        counts["scans"] += len(told)
        counts["changes"] += int((told[1:] != told[:-1]).sum())
    return counts


@pytest.mark.parametrize(
    ("name", "compiler"), [("alpine_hut", "gcc"), ("survey_launch", "clang"), ("bench", "gcc"), ("bench", "clang")]
)
def test_each_unit_decides_as_the_readable_engine(name: str, compiler: str, tmp_path: Path, counted: Counted) -> None:
    scheme = quicker(OWN[name])
    codes = [unit_code(scheme, unit, f"{name}.yaml") for unit in scheme.units]
    built = [Built(code, tmp_path / code.unit, compiler, SANITIZED) for code in codes]
    rng = random.Random(f"export {name} {compiler}")
    setup = Setup(scheme, cycles=True)
    runs = []
    for _ in range(3):
        run = [in_steps(codes[0], world) for world in worlds(rng, setup, 200)]
        runs.append([replace(run[0], cycles=frozenset()), *run[1:]])
    counts = beside_the_engine(scheme, codes, built, runs, name)
    assert counts["changes"] > 5
    counted("exported C beside the readable engine", counts)


@pytest.mark.parametrize("number", range(RANDOM_SCHEMES))
def test_random_schemes_decide_as_the_readable_engine(number: int, tmp_path: Path, counted: Counted) -> None:
    rng = random.Random(f"export {number}")
    scheme = loads(random_scheme_text(rng, (SMALL, BROAD)[number % 2]))
    exact = number % 4 < 2
    units = [u for u in scheme.units if any(r.unit == u for r in scheme.rules.values())]
    codes = [unit_code(scheme, unit, "random.yaml", exact=exact) for unit in units]
    built = [Built(c, tmp_path / c.unit, COMPILERS[number // 2 % 2], SANITIZED) for c in codes]
    setup = Setup(scheme, cycles=True)
    runs = []
    for _ in range(RUNS):
        run = [in_steps(codes[0], world) for world in worlds(rng, setup, 200)]
        runs.append([replace(run[0], cycles=frozenset()), *run[1:]])
    counts = beside_the_engine(scheme, codes, built, runs, f"scheme {number}")
    counted("exported C beside the readable engine", counts)


def beside_the_program(code: UnitCode, built: Built, rng: random.Random, runs: int, scans: int) -> int:
    """Run the compiled program, uncounted in steps and many runs side by side, and the export on the same inputs."""
    program = compile_scheme(code.scheme, unit=code.unit, cycles=True)
    at = {(o.kind, o.name): i for i, o in enumerate(program.observations)}
    given = [random_run(code, rng, scans) for _ in range(runs)]
    before = np.array([b for b, _ in given])
    before[:, 1:][before[:, 1:] == FIRST] = NONE  # the program starts once
    inputs = np.array([i for _, i in given], np.int64)
    columns = {name: i for i, name in enumerate((*code.sensors, *code.lines))}
    many = ManyScenarios(program, runs)
    told = np.zeros((runs, scans, len(code.told)), np.uint8)
    kinds = {SlotKind.LEVEL: Observe.LEVEL, SlotKind.OVERRIDE: Observe.OVERRIDE}
    kept = [code.program.slots[i] for i in built.slots]
    slots = np.zeros((runs, scans, len(kept)), np.int32)
    for scan in range(scans):
        row = []
        for declared in program.inputs:
            if declared.kind is InputKind.CYCLE:
                row.append(before[:, scan] == CYCLED)
            elif declared.kind is InputKind.LINE:
                row.append(inputs[:, scan, columns[declared.name]] != 0 if declared.name in columns else False)
            elif declared.name in columns:
                value = inputs[:, scan, columns[declared.name]] * code.steps.of[declared.name]
                row.append(np.clip(value, declared.low, declared.high))
            else:
                row.append(declared.low)
        seen = many.scan(row)
        for column, key in enumerate(code.told):
            told[:, scan, column] = seen[at[key]]
        for column, slot in enumerate(kept):
            slots[:, scan, column] = seen[at[kinds[slot.kind], slot.name]]
    got, levels = built.run(before.ravel(), inputs.reshape(runs * scans, -1))
    assert np.array_equal(got, told.reshape(runs * scans, -1))
    assert np.array_equal(levels, slots.reshape(runs * scans, -1))
    return runs * scans


@pytest.mark.parametrize(("name", "compiler"), [("alpine_hut", "clang"), ("survey_launch", "gcc")])
def test_many_scans_decide_as_the_compiled_program(name: str, compiler: str, tmp_path: Path, counted: Counted) -> None:
    for unit in OWN[name].units:
        code = unit_code(OWN[name], unit, f"{name}.yaml")
        scans = beside_the_program(
            code, Built(code, tmp_path / unit, compiler), random.Random(f"program {name}"), 50, 500
        )
        counted("exported C beside the compiled program", {"scans": scans})
