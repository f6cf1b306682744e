"""Firmware built from rules with a mistake of each kind that vectors are weighed against: `interlock conform` fails and
names the rule that the mistake is in."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from interlock.cli.status import Exit
from interlock.conform.blame import suspects
from interlock.conform.drive import Difference
from interlock.export.c import c_files
from interlock.export.host import host_file
from interlock.export.unit import unit_code
from interlock.logic.mutants import Mistake, Mutant, mutants
from interlock.logic.program import Observe
from interlock.scheme.read import loads
from interlock.vectors.alone import Stretch, alone, expected
from interlock.vectors.generate import generate
from interlock.vectors.goals import GoalKind
from interlock.vectors.record import Start, json_lines
from tests.conform.test_conform import interlock, needs_gcc
from tests.support.quick import QUICK_BENCH

# The bench with a second probe, of which the colder one counts, and a heater that a rule starts.
RICH = (
    QUICK_BENCH[: QUICK_BENCH.index("\ncases:")]
    .replace(
        "  low_tap:  {measures",
        "  wall:  {measures: {coldest_cell: -0.5 to 2 K, hottest_cell: -4 to 0.5 K}, valid: -35 to 90 degC}\n"
        "  low_tap:  {measures",
    )
    .replace("units: [", "readings:\n  coldest: {lowest_of: [probe, wall]}\n\nunits: [")
    .replace("cold_stop:   {watches: probe,", "cold_stop:   {watches: coldest,")
    .replace(
        "rules:\n",
        "rules:\n  heat:  {watches: coldest, trips: below 8 degC for 300 ms, clears: above 12 degC for 400 ms, "
        "starts: heater}\n",
        1,
    )
    .replace("paths:                             #", "paths:\n  heater: {flow: none, why: fed from elsewhere}\n  #")
    .replace("outputs:                           #", "outputs:\n  K9: {drives: [heater], contact: normally_open, "
             "runs_when: closed}\n  #")
)  # fmt: skip


def first_of(mistake: Mistake) -> Mutant:
    """The first mutant of that kind; of a lost reading taken otherwise, held for tripped."""
    scheme = loads(RICH)
    code = unit_code(scheme, "board", "rich.yaml")
    every = mutants(alone(scheme, "board"), "board", steps=code.steps.of)
    return next(m for m in every if m.mistake is mistake and m.rule not in ("full_stop", "empty_stop"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kinds")
    (folder / "rich.yaml").write_text(RICH)
    vectors = generate(unit_code(loads(RICH), "board", "rich.yaml"))
    assert not [goal for goal in vectors.missed if goal.kind is not GoalKind.BESIDE]
    (folder / "board.jsonl").write_text("".join(json_lines(vectors.runs)))
    return folder


@needs_gcc
@pytest.mark.parametrize("mistake", list(Mistake))
def test_a_mistake_of_each_kind_is_found_and_its_rule_named(folder: Path, mistake: Mistake) -> None:
    mutant = first_of(mistake)
    source = folder / mistake.name
    source.mkdir()
    code = unit_code(mutant.scheme, "board", "rich.yaml")
    for name, text in {**c_files(code), **host_file(code)}.items():
        (source / name).write_text(text)
    files = [str(source / "board.c"), str(source / "board_host.c")]
    subprocess.run(["gcc", "-std=c99", "-O1", "-o", str(source / "host"), *files], check=True)
    run = ["--run", str(source / "host"), "--vectors", "board.jsonl", "--json"]
    done = interlock(folder, "conform", "rich.yaml", "--unit", "board", *run)
    assert done.returncode == Exit.FINDING, (mutant.what, done.stdout, done.stderr)
    trouble = json.loads(done.stdout)["trouble"]
    assert trouble["kind"] == "differs"
    if mutant.rule:
        assert mutant.rule in trouble["rules"], (mutant.what, trouble)
    else:  # a mistake in a derived reading: a rule that looks at it
        assert trouble["rules"][0] in ("heat", "cold_stop"), (mutant.what, trouble)


def test_a_rule_that_nothing_has_told_of_since_it_cleared_is_suspected_before_those_that_rightly_act() -> None:
    """The heater's own stop clears while no heat is wanted: that it did not is seen when heat is wanted at last."""
    warm = "rules:\n  too_warm: {watches: probe, trips: above 30 degC, clears: below 24 degC, blocks: heater}\n"
    code = unit_code(loads(RICH.replace("rules:\n", warm, 1)), "board", "rich.yaml")

    def all_read(value: int | None) -> dict[str, int | None]:
        return dict.fromkeys(code.sensors, value)

    lines = dict.fromkeys(code.lines, False)
    given = [Stretch(all_read(16_000_000), lines, 20, Start.FIRST), Stretch(all_read(7_000_000), lines, 6)]
    run = expected(code.scheme, "board", code.told, given)
    at = next(i for i, vector in enumerate(run.vectors) if vector.outputs["K9"])
    right = {
        (kind, name): told[name]
        for kind, told in (
            (Observe.ENERGISED, run.vectors[at].outputs),
            (Observe.LINE, run.vectors[at].sent),
            (Observe.ALARM, run.vectors[at].alarms),
        )
        for name in told
    }
    answer = tuple(right[key] and key != (Observe.ENERGISED, "K9") for key in code.told)
    found = suspects(code, run, Difference(0, at, ((Observe.ENERGISED, "K9", False),), answer, ""))
    named = [suspect.rule for suspect in found]
    assert named[:2] == ["heat", "too_warm"]
    assert {"full_stop", "empty_stop"} & set(named)  # in force, and might stop the heater too
