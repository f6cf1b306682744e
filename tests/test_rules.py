"""The project's own schemes: their cases pass and show every rule move; a flawed copy differs by its mistake alone."""

from __future__ import annotations

import difflib
from itertools import pairwise
from pathlib import Path

import pytest

from interlock.draw.history import case_history
from interlock.logic.cases import run_cases
from interlock.scheme.read import load
from interlock.scheme.words import Mode, Signal

RULES = Path(__file__).parents[1] / "rules"
GOOD = sorted(RULES.glob("*.yaml"))
FLAWED = sorted((RULES / "flawed").glob("*.yaml"))
ORIGINALS = {"hut": "alpine_hut.yaml", "launch": "survey_launch.yaml"}
MOST_LINES = 16  # a mistake is a few lines, never another scheme


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.stem)
def test_the_cases_pass_and_there_are_eight_or_more(path: Path) -> None:
    results = run_cases(load(path))
    assert len(results) >= 8
    assert [r.name for r in results if not r.passed] == []


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.stem)
def test_every_rule_is_seen_to_trip_and_to_clear_in_some_case(path: Path) -> None:
    scheme = load(path)
    tripped: set[str] = set()
    cleared: set[str] = set()
    for case in scheme.cases:
        segments = case_history(scheme, case)
        for before, after in pairwise(segments):
            for rule in scheme.rules:
                was, now = before.states[rule].active, after.states[rule].active
                tripped |= {rule} if now and not was else set()
                cleared |= {rule} if was and not now else set()
    assert set(scheme.rules) - tripped == set()
    assert set(scheme.rules) - cleared == set()


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.stem)
def test_the_cases_show_a_held_reset_a_lost_probe_and_a_power_cut(path: Path) -> None:
    scheme = load(path)
    steps = [step for case in scheme.cases for step in case.steps]
    modes = {one.mode for step in steps for fault in step.faults for one in fault.single()}
    assert modes & {Mode.OPEN, Mode.SHORTED}
    assert Mode.POWER_CYCLED in modes
    buttons = {rule.reset_by for rule in scheme.rules.values() if rule.reset_by}
    assert any(s.signal is Signal.LINE and s.name in buttons and s.value for step in steps for s in step.sets)


def test_about_ten_copies_are_flawed_in_both_schemes() -> None:
    assert len(FLAWED) >= 10
    assert {path.name.partition("_")[0] for path in FLAWED} == set(ORIGINALS)


@pytest.mark.parametrize("path", FLAWED, ids=lambda p: p.stem)
def test_a_flawed_copy_differs_from_its_scheme_by_its_mistake_alone(path: Path) -> None:
    original = RULES / ORIGINALS[path.name.partition("_")[0]]
    one, other = (p.read_text(encoding="utf-8").splitlines() for p in (original, path))
    lines = difflib.unified_diff(one, other, n=0, lineterm="")
    changed = [line for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")]
    said = [line for line in changed if not line[1:].lstrip().startswith("#")]
    assert 1 <= len(said) <= MOST_LINES, said
    head = path.read_text(encoding="utf-8")
    assert head.startswith("# A flawed copy of " + original.name)
    assert "# finds: " in head


@pytest.mark.parametrize("name", ORIGINALS.values())
def test_a_change_of_a_scheme_is_made_in_its_flawed_copies_too(name: str) -> None:
    """No two mistakes touch the same line, so a line that no copy has was changed in the scheme alone."""
    original = (RULES / name).read_text(encoding="utf-8").splitlines()
    copies = [p.read_text(encoding="utf-8").splitlines() for p in FLAWED if ORIGINALS[p.name.partition("_")[0]] == name]
    kept = {line for copy in copies for line in copy}
    assert [line for line in original if line.strip() and not line.startswith("#") and line not in kept] == []
