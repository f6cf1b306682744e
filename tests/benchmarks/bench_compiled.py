"""Scans per second on the hut: the compiled forms against the readable engine.

Run `python tests/benchmarks/bench_compiled.py`. Medians of five; the readable engine's worlds are the compiled forms'
inputs too. The side-by-side form must be at least 200 times as fast.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from interlock.logic.compiled import OneScenario, compile_scheme, inputs_of, scan_function  # noqa: E402
from interlock.logic.many import ManyScenarios  # noqa: E402
from interlock.logic.scan import Engine  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from tests.logic.twins import Setup, worlds  # noqa: E402

REPEATS = 5
WORLDS = 2000
COUNTS = (256, 1024, 4096, 8192)
STEPS = 40
GOAL = 200


def rate(scans: int, run: Callable[[], None]) -> float:
    """Scans per second, the median of a few repeats."""
    seconds = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return scans / statistics.median(seconds)


def main() -> int:
    """Print the ratios; 0 where the goal is reached, else 1."""
    scheme = load(ROOT / "rules" / "alpine_hut.yaml")
    start = time.perf_counter()
    program = compile_scheme(scheme)
    lowered = time.perf_counter()
    scan_function(program)
    emitted = time.perf_counter()
    print(
        f"{scheme.title}: {len(program.nodes)} nodes, {len(program.slots)} slots; compiled in"
        f" {1000 * (lowered - start):.1f} ms, emitted as Python in {1000 * (emitted - lowered):.1f} ms"
    )
    given = list(worlds(random.Random(1), Setup(scheme), WORLDS))
    inputs = [inputs_of(program, world) for world in given]
    engine, one = Engine(scheme), OneScenario(program)

    def readable() -> None:
        for world in given:
            engine.scan(world)

    def scalar() -> None:
        for values in inputs:
            one.scan(values)

    base = rate(WORLDS, readable)
    print(f"readable engine            {base:>12,.0f} scans/s")
    single = rate(WORLDS, scalar)
    print(f"one scenario               {single:>12,.0f} scans/s  {single / base:>7,.0f} times")
    best = 0.0
    for count in COUNTS:
        many = ManyScenarios(program, count)
        rows = [[inputs[(7 * i + step) % WORLDS] for i in range(count)] for step in range(STEPS)]
        columns = [
            [
                np.array(values, bool if declared.boolean else np.int64)
                for declared, values in zip(program.inputs, zip(*row, strict=True), strict=True)
            ]
            for row in rows
        ]

        def side_by_side(many: ManyScenarios = many, columns: list[list[np.ndarray]] = columns) -> None:
            for arrays in columns:
                many.scan(arrays)

        together = rate(count * STEPS, side_by_side)
        best = max(best, together / base)
        print(f"{count:>5} scenarios at a time  {together:>12,.0f} scans/s  {together / base:>7,.0f} times")
    print(f"side by side at best {best:,.0f} times the readable engine; at least {GOAL} wanted")
    return 0 if best >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
