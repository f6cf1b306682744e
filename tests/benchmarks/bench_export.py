"""Exported C: a million scans of each unit of both schemes held against the compiled program, and scans per second.

Run `python tests/benchmarks/bench_export.py` with gcc, clang and cppcheck installed: minutes. Each scan's outputs, sent
lines, alarms, levels and overrides are compared, the C built with both compilers and their sanitizers. The C must be at
least 1,000 times as fast as the readable engine. `--quick` runs a tenth of the scans. `--readable` holds the C of all
units, by both compilers, against the readable engine itself instead, a million scans of each whole scheme: half an
hour, and nothing else is run.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from interlock.records import replace

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

from interlock.export.c import c_files, c_names  # noqa: E402
from interlock.export.unit import UnitCode, unit_code  # noqa: E402
from interlock.logic.compiled import OneScenario, compile_scheme, inputs_of  # noqa: E402
from interlock.logic.many import ManyScenarios  # noqa: E402
from interlock.logic.program import InputKind  # noqa: E402
from interlock.logic.scan import Engine, World  # noqa: E402
from interlock.scheme.model import Scheme  # noqa: E402
from interlock.scheme.read import load  # noqa: E402
from tests.export.test_c_agrees import beside_the_engine, beside_the_program, in_steps, quicker  # noqa: E402
from tests.export.test_st_agrees import run_beside  # noqa: E402
from tests.logic.twins import Setup, worlds  # noqa: E402
from tests.support.c_code import COMPILERS, FAST, SANITIZED, Built, compile_c, random_run  # noqa: E402

GOAL = 1000
SCANS = 1_000_000
TIMED = 2000
MANY = 4096
PART = 50_000  # scans that are held in memory at once
LONG = 1000  # scans of a run that is to let long delays run out


def rate(scans: int, run: Callable[[], object]) -> float:
    """Scans per second, the median of five."""
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return scans / statistics.median(seconds)


TIMER = """#include <stdio.h>
#include <time.h>
#include "{p}.h"
static {p}_inputs given[{n}];
int main(void)
{{
    static {p}_state state; static {p}_outputs out; static int32_t row[{width}];
    int32_t i; int32_t r; unsigned sum = 0; clock_t start;
    for (i = 0; i < {n}; i++) {{
        if (fread(row, sizeof row, 1, stdin) != 1) {{ return 1; }}
{reads}
    }}
    (void){p}_power_up(&state, 0);
    start = clock();
    for (r = 0; r < {repeats}; r++) {{
        for (i = 0; i < {n}; i++) {{ {p}_step(&state, &given[i], &out); sum += (unsigned)out.{first}; }}
    }}
    printf("%.9f %u\\n", (double)(clock() - start) / CLOCKS_PER_SEC, sum);
    return 0;
}}
"""


def c_rate(code: UnitCode, folder: Path, compiler: str) -> float:
    """Scans per second of the C, timed inside one program over rows read before; the median of five."""
    names, repeats = c_names(code), 500
    fields = [*code.sensors, *code.lines]
    reads = "\n".join(
        f"        given[i].{names.inputs[n]} = row[{i}]" + (";" if n in code.sensors else " != 0;")
        for i, n in enumerate(fields)
    )
    text = TIMER.format(
        p=names.prefix, n=TIMED, width=len(fields), reads=reads, repeats=repeats, first=names.told[code.told[0]]
    )
    (folder / "timer.c").write_text(text)
    for name, source in c_files(code).items():
        (folder / name).write_text(source)
    compile_c(compiler, [folder / "timer.c", folder / f"{names.prefix}.c"], folder / "timer", FAST)
    _, inputs = random_run(code, random.Random(1), TIMED)
    rows = np.array(inputs, np.int32).tobytes()
    seconds = [
        float(subprocess.run([folder / "timer"], input=rows, capture_output=True, check=True).stdout.split()[0])
        for _ in range(5)
    ]
    return repeats * TIMED / statistics.median(seconds)


def compare_all(scans: int) -> None:
    """Every unit of both schemes, with both compilers and their sanitizers; half of the scans with short delays."""
    for name in ("alpine_hut", "survey_launch"):
        scheme = load(ROOT / "rules" / f"{name}.yaml")
        for unit in scheme.units:
            done = 0
            for compiler in COMPILERS:
                for kind in (scheme, quicker(scheme)):
                    code = unit_code(kind, unit, f"{name}.yaml")
                    with tempfile.TemporaryDirectory() as folder:
                        built = Built(code, Path(folder), compiler, SANITIZED)
                        for part in range(5):
                            rng = random.Random(f"{name} {unit} {compiler} {part}")
                            done += beside_the_program(code, built, rng, scans // 10_000, 500)
            print(f"{name} {unit}: {done:,} scans, C and the compiled program agree in all", flush=True)


def compare_readable(scans: int) -> None:
    """Each scheme as a whole: the readable engine runs it once, and the C of every unit, built by both compilers with
    their sanitizers, is given what arrives at its unit. Half of the scans with short delays, in runs of 500; half with
    the scheme's own, in runs of 10,000 in which readings stay for longer."""
    for name in ("alpine_hut", "survey_launch"):
        total, start = Counter[str](), time.perf_counter()
        for label, kind, length in (
            ("short", quicker(load(ROOT / "rules" / f"{name}.yaml")), 500),
            ("own", load(ROOT / "rules" / f"{name}.yaml"), 10_000),
        ):
            codes = [unit_code(kind, unit, f"{name}.yaml") for unit in kind.units for _ in COMPILERS]
            with tempfile.TemporaryDirectory() as folder:
                built = [
                    Built(code, Path(folder) / f"{code.unit}_{i}", COMPILERS[i % len(COMPILERS)], SANITIZED)
                    for i, code in enumerate(codes)
                ]
                for part in range(scans // 2 // PART):
                    rng = random.Random(f"readable {name} {label} {part}")
                    runs = [of_scheme(kind, codes[0], rng, length) for _ in range(PART // length)]
                    total += beside_the_engine(kind, codes, built, runs, f"{name}, {label} delays, part {part}")
        took = time.perf_counter() - start
        done = total["scans"] // len(codes)
        print(
            f"{name}: {done:,} scans of the readable engine, C by {' and '.join(COMPILERS)} of {len(kind.units)} units "
            f"agrees in all; {total['power cycles'] // len(codes):,} power cycles, "
            f"{total['changes'] // len(COMPILERS):,} scans at which something told changed; {took:.0f} s",
            flush=True,
        )


def of_scheme(scheme: Scheme, code: UnitCode, rng: random.Random, scans: int) -> list[World]:
    """A run of random worlds in whole steps; where runs are long, what is read often stays for some hundred scans."""
    found: list[World] = []
    random_ones = worlds(rng, Setup(scheme, cycles=True), scans)
    while len(found) < scans:
        now = in_steps(code, next(random_ones))
        still = replace(now, cycles=frozenset())
        found += [now if found else still]
        if scans > LONG:
            found += [still] * rng.choice((0, 0, 0, 1, 10, 100, 700, 3100))
    return found[:scans]


def speeds() -> float:
    """Print scans per second on the hut; how many times as fast as the readable engine the C is."""
    scheme = load(ROOT / "rules" / "alpine_hut.yaml")
    given = list(worlds(random.Random(1), Setup(scheme), TIMED))

    def readable() -> None:
        engine = Engine(scheme)
        for world in given:
            engine.scan(world)

    base = rate(TIMED, readable)
    print(f"{'readable engine, the whole hut':<44} {base:>14,.0f} scans/s")
    program = compile_scheme(scheme)
    inputs = [inputs_of(program, world) for world in given]

    def scalar() -> None:
        one = OneScenario(program)
        for values in inputs:
            one.scan(values)

    one = rate(TIMED, scalar)
    print(f"{'compiled, one scenario, the whole hut':<44} {one:>14,.0f} scans/s {one / base:>9,.0f} times")
    code = unit_code(scheme, "board", "alpine_hut.yaml")
    board = compile_scheme(scheme, unit="board", cycles=True)
    many = ManyScenarios(board, MANY)
    _, rows = random_run(code, random.Random(1), MANY)
    table = {n: np.array([row[i] for row in rows]) for i, n in enumerate((*code.sensors, *code.lines))}
    columns = [
        np.zeros(MANY, bool)
        if d.kind is InputKind.CYCLE
        else (table[d.name] * code.steps.of[d.name] if d.kind is InputKind.ELEMENT else table[d.name] != 0)
        if d.name in table
        else np.full(MANY, d.low)
        for d in board.inputs
    ]
    side = rate(20 * MANY, lambda: [many.scan(columns) for _ in range(20)])
    print(f"{f'compiled, {MANY} scenarios, the board':<44} {side:>14,.0f} scans/s {side / base:>9,.0f} times")
    worst = float("inf")
    for compiler in COMPILERS:
        with tempfile.TemporaryDirectory() as folder:
            fast = c_rate(code, Path(folder), compiler)
        worst = min(worst, fast / base)
        print(f"{f'exported C by {compiler} -O2, the board':<44} {fast:>14,.0f} scans/s {fast / base:>9,.0f} times")
    return worst


def main() -> int:
    """Print what was compared and the ratios; 0 where the goal is reached, else 1."""
    if "--readable" in sys.argv:
        compare_readable(SCANS // 10 if "--quick" in sys.argv else SCANS)
        return 0
    worst = speeds()
    print(f"the slower C is {worst:,.0f} times as fast as the readable engine; at least {GOAL:,} wanted", flush=True)
    compare_all(SCANS // 10 if "--quick" in sys.argv else SCANS)
    for name in ("alpine_hut", "survey_launch"):
        scheme = quicker(load(ROOT / "rules" / f"{name}.yaml"))
        code = unit_code(scheme, "board", f"{name}.yaml")
        changes = run_beside(code, random.Random(name), 2000)
        print(f"{name} board in structured text: 2,000 scans, {changes} changes, agrees with the compiled program")
    with tempfile.TemporaryDirectory() as folder:
        code = unit_code(load(ROOT / "rules" / "alpine_hut.yaml"), "board", "alpine_hut.yaml")
        for file, text in c_files(code).items():
            (Path(folder) / file).write_text(text)
        words = ["cppcheck", "--enable=warning,style,performance,portability", "--inconclusive", "--std=c99", "--quiet"]
        done = subprocess.run(
            [*words, "--error-exitcode=3", f"{folder}/{c_names(code).prefix}.c"],
            capture_output=True,
            text=True,
            check=False,
        )
        print(f"cppcheck on the hut's board: {'nothing found' if done.returncode == 0 else done.stderr}")
    return 0 if worst >= GOAL and done.returncode == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
