"""Exported C built by real compilers and run from files: what each scan tells, as numpy arrays."""

from __future__ import annotations

import random
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from interlock.export.c import c_files, c_names
from interlock.export.unit import UnitCode
from interlock.logic.program import InputKind

# The strictest that both compilers take alike; a warning is an error.
_STRICT = (
    "-std=c99 -Wall -Wextra -Wpedantic -Wconversion -Wsign-conversion -Wshadow -Wcast-qual -Wcast-align "
    "-Wstrict-prototypes -Wmissing-prototypes -Wundef -Wfloat-equal -Wdouble-promotion -Wformat=2 -Wvla "
    "-Wunused -Werror"
)
STRICT = _STRICT.split()
ONLY_GCC = ["-Wduplicated-cond", "-Wduplicated-branches", "-Wlogical-op", "-Wnull-dereference", "-Wjump-misses-init"]
SANITIZED = ["-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-fno-omit-frame-pointer"]
FAST = ["-O2"]
COMPILERS = ("gcc", "clang")

NONE, FIRST, CYCLED = 0, 1, 2  # what comes before a scan


def have(*programs: str) -> bool:
    """Whether these programs are installed."""
    return all(shutil.which(program) for program in programs)


def compile_c(compiler: str, sources: Sequence[Path], target: Path, flags: Sequence[str]) -> None:
    """Build a program, strictly. Raises AssertionError with what the compiler said."""
    strict = [*STRICT, *(ONLY_GCC if compiler == "gcc" else [])]
    done = subprocess.run(
        [compiler, *strict, *flags, "-o", str(target), *map(str, sources)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, ""), f"{compiler}: {done.stderr}"


def driver(code: UnitCode) -> str:
    """A main program: records of 64-bit integers in (what comes before, then each input), one byte for each thing told
    and four for each rule's level and override out."""
    names = c_names(code)
    p, fields = names.prefix, [*code.sensors, *code.lines]
    kind = f"int{code.bits}_t"
    states = [names.slots[i] for i, s in enumerate(code.program.slots) if not s.boolean]
    reads = [f"        in.{names.inputs[n]} = ({kind})record[{i + 1}];" for i, n in enumerate(code.sensors)]
    reads += [
        f"        in.{names.inputs[n]} = record[{len(code.sensors) + i + 1}] != 0;" for i, n in enumerate(code.lines)
    ]
    told = [f"        (void)fputc(out.{names.told[key]} ? 1 : 0, stdout);" for key in code.told]
    levels = [f"        {{ int32_t v = (int32_t)state.{n}; (void)fwrite(&v, sizeof v, 1, stdout); }}" for n in states]
    lines = [
        "#include <stdio.h>",
        f'#include "{p}.h"',
        "int main(void)",
        "{",
        f"    static {p}_state state; static {p}_inputs in; static {p}_outputs out; static {p}_kept kept;",
        f"    static int64_t record[{len(fields) + 1}];",
        "    while (fread(record, sizeof record, 1, stdin) == 1) {",
        f"        if (record[0] == {FIRST}) {{ (void){p}_power_up(&state, 0); }}",
        # what is in memory after a power cut is anything: only `kept` may be looked at
        f"        if (record[0] == {CYCLED}) {{ unsigned char *b = (unsigned char *)&state; size_t i;",
        "            for (i = 0; i < sizeof state; i++) { b[i] = 1; }",
        f"            if (!{p}_power_up(&state, &kept)) {{ return 9; }} }}",
        *reads,
        f"        {p}_step(&state, &in, &out); {p}_keep(&state, &kept);",
        *told,
        *levels,
        "    }",
        "    return 0;",
        "}",
    ]
    return "\n".join(lines) + "\n"


class Built:
    """An export built with one compiler, ready to be run."""

    def __init__(self, code: UnitCode, folder: Path, compiler: str, flags: Sequence[str] = FAST) -> None:
        self.code = code
        folder.mkdir(parents=True, exist_ok=True)
        names = c_names(code)
        for name, text in c_files(code).items():
            (folder / name).write_text(text, encoding="ascii")
        (folder / "driver.c").write_text(driver(code), encoding="ascii")
        self.program = folder / f"driver_{compiler}"
        compile_c(compiler, [folder / f"{names.prefix}.c", folder / "driver.c"], self.program, flags)
        self.slots = [i for i, s in enumerate(code.program.slots) if not s.boolean]
        self.record = np.dtype([("told", np.uint8, (len(code.told),)), ("slots", np.int32, (len(self.slots),))])

    def run(self, before: ArrayLike, inputs: ArrayLike) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
        """What each scan tells, shape (scans, told), and its levels and overrides, shape (scans, slots)."""
        starts = np.asarray(before, np.int64)
        rows = np.column_stack([starts, np.asarray(inputs, np.int64).reshape(len(starts), -1)])
        done = subprocess.run([self.program], input=rows.tobytes(), capture_output=True, check=False)
        assert done.returncode == 0, done.stderr.decode()
        got = np.frombuffer(done.stdout, self.record)
        assert len(got) == len(starts)
        return got["told"], got["slots"]


def critical(code: UnitCode) -> list[list[int]]:
    """For each sensor, readings at which something changes: at, just below and just above each constant of the program
    that lies in its range, and beyond each end."""
    constants = sorted({node.value for node in code.program.nodes if not node.boolean and node.low == node.high})
    found = []
    for declared in code.program.inputs:
        if declared.kind is InputKind.ELEMENT:
            near = {c + d for c in (*constants, declared.low, declared.high) for d in (-1, 0, 1)}
            found.append(sorted(v for v in near if declared.low - 1 <= v <= declared.high + 1))
    return found


def random_run(code: UnitCode, rng: random.Random, scans: int) -> tuple[list[int], list[list[int]]]:
    """Random scans for one unit: values near its limits that stay a while, lines, power cycles, first power-ups."""
    values, before, inputs = critical(code), [], []
    now = [rng.choice(v) for v in values] + [rng.randrange(2) for _ in code.lines]
    keep = 0.7
    for scan in range(scans):
        if scan % 64 == 0:
            keep = rng.choice([0.3, 0.7, 0.95, 0.995])
        for i in range(len(now)):
            if rng.random() > keep:
                now[i] = rng.choice(values[i]) if i < len(values) else rng.randrange(2)
        chance = rng.random()
        before.append(FIRST if not scan or chance < 0.001 else CYCLED if chance < 0.01 else NONE)
        inputs.append(list(now))
    return before, inputs
