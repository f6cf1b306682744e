"""`interlock compare` on files and on revisions of a file in git."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.bench import BENCH

LOOSER = BENCH.replace("trips: below 3 degC for 2 s", "trips: below 2 degC for 2 s")


def git(folder: Path, *words: str) -> None:
    name = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "init.defaultBranch=main")
    subprocess.run(["git", *name, *words], cwd=folder, check=True, capture_output=True)


def compare(folder: Path, *words: str) -> tuple[int, dict[str, object]]:
    command = [sys.executable, "-m", "interlock", "compare", *words, "--json"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=120)
    assert not done.stderr, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.fixture
def history(tmp_path: Path) -> Path:
    """A scheme in a folder of a repository: as it was, and loosened since."""
    boats = tmp_path / "boats"
    boats.mkdir()
    git(tmp_path, "init")
    (boats / "bench.yaml").write_text(BENCH)
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-m", "as it was")
    (boats / "bench.yaml").write_text(LOOSER)
    git(tmp_path, "commit", "-am", "colder")
    return tmp_path


@pytest.mark.parametrize(
    ("where", "old", "new"),
    [
        ("", "HEAD~1:boats/bench.yaml", "HEAD:boats/bench.yaml"),
        ("", "HEAD~1:boats/bench.yaml", "boats/bench.yaml"),
        ("boats", "HEAD~1:bench.yaml", "bench.yaml"),
        ("boats", "HEAD~1:boats/bench.yaml", "bench.yaml"),
    ],
)
def test_two_revisions_of_a_file_are_compared_from_anywhere_in_the_repository(
    history: Path, where: str, old: str, new: str
) -> None:
    status, data = compare(history / where, old, new)
    assert status == 0
    verdicts = {p["path"]: p["verdict"] for p in data["paths"]}  # type: ignore[attr-defined]
    assert verdicts == {"bench_charger": "looser", "lamp_circuit": "same"}


def test_the_gate_stops_what_is_looser_and_lets_through_what_is_stricter(history: Path) -> None:
    assert compare(history, "HEAD~1:boats/bench.yaml", "boats/bench.yaml", "--no-looser")[0] == 1
    status, data = compare(history, "boats/bench.yaml", "HEAD~1:boats/bench.yaml", "--no-looser")
    assert (status, data["looser"]) == (0, [])


def test_the_gate_stops_a_claim_that_is_no_longer_made(tmp_path: Path) -> None:
    (tmp_path / "old.yaml").write_text(BENCH)
    lines = [x for x in BENCH.splitlines(keepends=True) if not x.startswith("  overfull_charge:")]
    (tmp_path / "new.yaml").write_text("".join(lines))
    status, data = compare(tmp_path, "old.yaml", "new.yaml", "--no-looser")
    assert (status, data["looser"]) == (1, ["overfull_charge/bench_charger is lost"])


def test_the_gate_stops_a_path_that_was_not_there(tmp_path: Path) -> None:
    """Nothing holds it back that the old rules held back: it is for people to look at, not for the gate to let by."""
    (tmp_path / "old.yaml").write_text(BENCH)
    new = BENCH.replace(
        "  lamp_circuit:  {flow: discharge}", "  lamp_circuit:  {flow: discharge}\n  pump:          {flow: discharge}"
    ).replace("\nrequirements:", "  K3: {drives: [pump], contact: normally_open, runs_when: closed}\n\nrequirements:")
    (tmp_path / "new.yaml").write_text(new)
    status, data = compare(tmp_path, "old.yaml", "new.yaml")
    assert (status, data["added"]) == (0, ["pump"])
    status, data = compare(tmp_path, "old.yaml", "new.yaml", "--no-looser")
    assert status == 1
    assert "pump is new" in data["looser"]  # type: ignore[operator]
    assert compare(tmp_path, "new.yaml", "new.yaml", "--no-looser")[0] == 0
