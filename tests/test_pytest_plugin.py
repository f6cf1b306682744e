"""A scheme among a project's tests is tests itself: run as that project's developer runs them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.compare.test_command import git
from tests.support.bench import BENCH

CASES = 1
CLAIMS = 5
PATHS = 2


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-p", "interlock.cli.pytest_plugin", *words]
    env = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")}
    env["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    return subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, check=False, timeout=120)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A repository with a scheme committed among its tests."""
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "bench.yaml").write_text(BENCH)
    (tmp_path / "tests" / "other.yaml").write_text("harbour: {scheme: none}\n")
    (tmp_path / "pytest.ini").write_text("[pytest]\ntestpaths = tests\n")
    git(tmp_path, "init")
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-m", "a scheme")
    return tmp_path


def change(project: Path, old: str, new: str) -> None:
    file = project / "tests" / "bench.yaml"
    assert file.read_text().count(old) == 1
    file.write_text(file.read_text().replace(old, new))


def test_claims_cases_and_paths_are_tests_and_other_yaml_is_not(project: Path) -> None:
    done = run(project, "-v")
    assert done.returncode == 0, done.stdout
    assert f"{1 + CASES + CLAIMS + PATHS} passed" in done.stdout
    assert "other.yaml" not in done.stdout
    for name in ("can be read", "case a cold morning", "claim frozen_charge/bench_charger"):
        assert f"bench.yaml::{name} PASSED" in done.stdout
    assert "bench.yaml::bench_charger is not looser than HEAD PASSED" in done.stdout


def test_a_loosened_rule_fails_with_a_history_and_what_claim_it_costs(project: Path) -> None:
    change(project, "trips: below 3 degC for 2 s", "trips: below 1 degC for 2 s")
    done = run(project)
    assert done.returncode == 1
    assert "2 failed" in done.stdout
    assert "bench_charger may now run where it was stopped, with probe at 2 degC" in done.stdout
    assert "the new scheme lets bench_charger run and the old one does not" in done.stdout
    assert "violated: without end, 10 s allowed" in done.stdout
    assert "pytest_plugin.py" not in done.stdout


def test_a_project_names_the_revision_that_nothing_may_be_looser_than(project: Path) -> None:
    """Committed, the loosened rule is the baseline itself; the revision before it is not, nor is the index."""
    change(project, "trips: below 3 degC for 2 s", "trips: below 2.5 degC for 2 s")
    git(project, "commit", "-am", "colder")
    change(project, "revision: 1", "revision: 2")
    git(project, "add", ".")
    assert run(project, "-k", "looser").returncode == 0
    done = run(project, "-k", "looser", "-o", "interlock_baseline=HEAD~1")
    assert done.returncode == 1
    assert "bench_charger may now run where it was stopped" in done.stdout
    change(project, "trips: below 2.5 degC for 2 s", "trips: below 2 degC for 2 s")
    git(project, "add", ".")
    assert run(project, "-k", "looser").returncode == 1  # staged is not committed


def test_a_path_that_was_not_committed_fails_as_new(project: Path) -> None:
    change(
        project, "  lamp_circuit:  {flow: discharge}", "  lamp_circuit:  {flow: discharge}\n  pump: {flow: discharge}"
    )
    change(
        project, "\nrequirements:", "  K3: {drives: [pump], contact: normally_open, runs_when: closed}\n\nrequirements:"
    )
    done = run(project, "-k", "looser")
    assert done.returncode == 1
    assert "1 failed" in done.stdout
    assert "pump is new: nothing in HEAD to compare it with" in done.stdout


def test_a_case_that_fails_says_what_was_expected_where(project: Path) -> None:
    change(project, "expect: {bench_charger: running, lamp_circuit: running}", "expect: {bench_charger: stopped}")
    done = run(project, "-k", "case")
    assert "1 failed" in done.stdout
    assert "bench_charger: expected stopped, got running" in done.stdout
    assert "bench.yaml:" in done.stdout


def test_a_file_that_is_no_scheme_yet_fails_with_a_caret(project: Path) -> None:
    change(project, "trips: below 3 degC for 2 s", "trips: below 3 volts for 2 s")
    done = run(project)
    assert "1 failed" in done.stdout
    assert "^" in done.stdout
    assert "Traceback" not in done.stdout


def test_what_is_not_committed_is_compared_with_nothing(project: Path) -> None:
    (project / "tests" / "bench.yaml").rename(project / "tests" / "new.yaml")
    done = run(project, "-v")
    assert f"{1 + CASES + CLAIMS} passed" in done.stdout


@pytest.mark.parametrize(
    ("setting", "passed"), [("interlock_baseline =", 1 + CASES + CLAIMS), ("interlock_schemes = no", 0)]
)
def test_a_project_can_say_no(project: Path, setting: str, passed: int) -> None:
    with (project / "pytest.ini").open("a") as file:
        file.write(f"{setting}\n")
    done = run(project)
    assert (f"{passed} passed" if passed else "no tests ran") in done.stdout


def test_the_package_brings_the_plugin_along() -> None:
    from importlib.metadata import entry_points

    (found,) = entry_points(group="pytest11", name="interlock")
    assert found.value == "interlock.cli.pytest_plugin"


def test_a_project_without_schemes_pays_for_no_import(tmp_path: Path) -> None:
    (tmp_path / "test_it.py").write_text(
        "import sys\ndef test_it():\n    heavy = {'numpy', 'transitions', 'interlock.proof', 'yaml'}\n"
        "    assert not heavy & set(sys.modules)\n"
    )
    done = run(tmp_path)
    assert "1 passed" in done.stdout, done.stdout
