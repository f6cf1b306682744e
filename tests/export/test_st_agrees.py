"""The exported structured text, read by a parser that is not ours, decides as the compiled program of the unit does."""

from __future__ import annotations

import random

import pytest

from interlock.export.st import st_files
from interlock.export.unit import UnitCode, unit_code
from interlock.logic.compiled import OneScenario
from interlock.logic.program import InputKind
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.export.test_c_agrees import OWN, quicker
from tests.support.c_code import CYCLED, FIRST, random_run
from tests.support.profiles import SMALL
from tests.support.random_schemes import random_scheme_text
from tests.support.st_run import Block


def run_beside(code: UnitCode, rng: random.Random, scans: int) -> int:
    """Scans in which something that is told changed."""
    (text,) = st_files(code).values()
    block = Block(text)
    inputs = [n for n, section in block.sections.items() if section == "InputDeclarations"]
    outputs = [n for n, section in block.sections.items() if section == "OutputDeclarations"]
    assert len(inputs) == len(code.sensors) + len(code.lines)
    assert len(outputs) == len(code.told)
    twin = OneScenario(code.program)
    at = {(o.kind, o.name): i for i, o in enumerate(code.program.observations)}
    before, given = random_run(code, rng, scans)
    names, changes, last = [*code.sensors, *code.lines], 0, None
    for scan, (start, row) in enumerate(zip(before, given, strict=True)):
        if start == FIRST:
            block.values, twin = dict(block.first), OneScenario(code.program)
        elif start == CYCLED:
            block.power_cycle()
        values = dict(zip(names, row, strict=True))
        flags = [*row[: len(code.sensors)], *map(bool, row[len(code.sensors) :])]
        seen = block.scan(dict(zip(inputs, flags, strict=True)))
        told = [bool(seen[name]) for name in outputs]
        observed = twin.scan(
            [start == CYCLED if d.kind is InputKind.CYCLE else values[d.name] for d in code.program.inputs]
        )
        assert told == [bool(observed[at[key]]) for key in code.told], f"{code.unit}, scan {scan}"
        changes += told != last
        last = told
    return changes


# The parser takes its time: both boards are run by tests/benchmarks/bench_export.py.
@pytest.mark.parametrize(
    ("name", "unit"), [("bench", "board"), ("bench", "cell_monitor"), ("survey_launch", "cell_monitor")]
)
def test_each_unit_in_structured_text_decides_as_compiled(name: str, unit: str, counted: Counted) -> None:
    changes = run_beside(unit_code(quicker(OWN[name]), unit, f"{name}.yaml"), random.Random(f"st {name} {unit}"), 600)
    assert changes > 5
    counted("structured text beside the compiled program", {"scans": 600, "changes": changes})


@pytest.mark.parametrize("number", range(2))
def test_random_schemes_in_structured_text_decide_as_compiled(number: int, counted: Counted) -> None:
    rng = random.Random(f"st {number}")
    scheme = loads(random_scheme_text(rng, SMALL))
    for unit in dict.fromkeys(rule.unit for rule in scheme.rules.values()):
        changes = run_beside(unit_code(scheme, unit, "random.yaml", exact=bool(number % 2)), rng, 300)
        counted("structured text beside the compiled program", {"scans": 300, "changes": changes})
