"""The project's own schemes: the good ones are free of findings, each flawed copy has those it says and no other."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.check.run import check
from interlock.scheme.read import loads

RULES = Path(__file__).parents[2] / "rules"
GOOD = sorted(RULES.glob("*.yaml"))
FLAWED = sorted((RULES / "flawed").glob("*.yaml"))


def names_of(path: Path) -> set[str]:
    return {f.ident for f in check(loads(path.read_text(encoding="utf-8"), path.name))}


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.stem)
def test_a_well_made_scheme_has_no_findings(path: Path) -> None:
    assert names_of(path) == set()


@pytest.mark.parametrize("path", FLAWED, ids=lambda p: p.stem)
def test_a_flawed_scheme_has_the_findings_it_says_and_no_other(path: Path) -> None:
    says = set(re.findall(r"^# finds: check (\S+)", path.read_text(encoding="utf-8"), re.M))
    assert names_of(path) == says


def test_the_schemes_are_there() -> None:
    assert len(GOOD) >= 2
    assert sum("# finds: check" in p.read_text(encoding="utf-8") for p in FLAWED) >= 6
