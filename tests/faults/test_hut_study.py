"""README's account of the hut with every part broken is what the study finds."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from interlock.faults.court import Court
from interlock.faults.effects import Effect
from interlock.faults.inject import Study, inject
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Cores
from interlock.scheme.model import Scheme
from interlock.scheme.read import load
from interlock.scheme.words import Must

ROOT = Path(__file__).parents[2]
SECTION = re.search(r"## The hut with every part broken\n(.*?)\n## ", (ROOT / "README.md").read_text("utf-8"), re.S)


@pytest.fixture(scope="module")
def hut() -> Scheme:
    return load(ROOT / "rules" / "alpine_hut.yaml")


@pytest.fixture(scope="module")
def study(hut: Scheme) -> Study:
    return inject(hut, 1, Cores(Court(hut, BUDGET), os.cpu_count() or 1))


def single_points(hut: Scheme, study: Study, *, installation: bool) -> set[str]:
    found = {e.fault for e in study.effects if e.effect is Effect.VIOLATES}
    return {name for name in found if hut.faults[name].installation is installation}


def test_the_table_names_exactly_what_can_arise_in_service(hut: Scheme, study: Study) -> None:
    assert SECTION
    first_cells = re.findall(r"^\| ([^|]*`[^|]*) \|", SECTION[1], re.M)
    named = [name for cell in first_cells for name in re.findall(r"`([^`]+)`", cell)]
    assert sorted(named) == sorted(single_points(hut, study, installation=False))


def test_the_number_of_mistakes_is_what_the_study_counts(hut: Scheme, study: Study) -> None:
    assert SECTION
    count = re.search(r"installation are listed apart: (\d+) of them", SECTION[1])
    assert count
    assert int(count[1]) == len(single_points(hut, study, installation=True))


def test_only_a_hung_board_lets_one_fault_in_service_charge_a_frozen_pack(hut: Scheme, study: Study) -> None:
    frozen = {c.name for c in hut.claims if c.requirement == "frozen_charge" and c.must is Must.NEVER_RUNNING}
    assert frozen
    alone = {e.fault for e in study.effects if frozen & set(e.violates) and not hut.faults[e.fault].installation}
    assert alone == {"board.frozen"}


def test_every_set_is_decided(study: Study) -> None:
    assert not [(u.faults, u.reason) for found in study.cut_sets for u in found.undecided]
