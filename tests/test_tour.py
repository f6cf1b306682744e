"""The tour tells only what it has just computed: its text is held against its own data and the scheme's."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from interlock.examples import example
from interlock.scheme.read import load

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, object], Path]:
    folder = tmp_path_factory.mktemp("tour")
    outputs = []
    for option in ([], ["--json"]):
        command = [sys.executable, "-m", "interlock", "tour", "--to", str(folder / "drawings"), *option]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        outputs.append(done.stdout)
    return outputs[0], json.loads(outputs[1]), folder / "drawings"


def test_the_tours_figures_are_the_schemes(told: tuple[str, dict[str, object], Path]) -> None:
    text, data, _ = told
    hut = load(ROOT / "rules" / "alpine_hut.yaml")
    flat = " ".join(text.split())
    assert f"{len(hut.rules)} rules" in flat
    assert f"{len(hut.claims)} of {len(hut.claims)} claims hold" in flat
    assert f"{len(hut.cases)} of {len(hut.cases)} cases passed" in flat
    assert data["claims_held"] == data["claims"] == len(hut.claims)


def test_the_tour_names_the_tightest_claims_and_tells_how_the_flawed_one_falls(
    told: tuple[str, dict[str, object], Path],
) -> None:
    text, data, _ = told
    flat = " ".join(text.split())
    tight = data["tightest"]
    assert isinstance(tight, list)
    assert len(tight) == 3
    shares = [t["exposure_s"] / t["allowed_s"] for t in tight]
    assert shares == sorted(shares, reverse=True)
    assert all(t["claim"] in flat for t in tight)
    story = data["story"]
    assert isinstance(story, list)
    assert len(story) >= 3
    assert all(sentence in flat for sentence in story)
    assert data["verdict"] == "violated"


def test_the_tours_drawings_are_where_it_says(told: tuple[str, dict[str, object], Path]) -> None:
    _, data, folder = told
    files = list(folder.glob("*.svg"))
    assert len(files) == data["drawings"]
    assert (folder / "refuted.svg") in files
    listed = re.findall(r'href="([^"]+)"', (folder / "index.html").read_text(encoding="utf-8"))
    assert {f.name for f in files} == set(listed)


def test_the_examples_are_the_rules_of_the_repository() -> None:
    text, name = example("alpine_hut.yaml")
    assert name == "rules/alpine_hut.yaml"
    assert text == (ROOT / name).read_text(encoding="utf-8")
