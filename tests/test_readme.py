"""README's examples are true: its commands run, its excerpts stand in the files they come from."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.bench import BENCH

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHELL = re.findall(r"^```sh\n(.*?)^```", README, re.S | re.M)
CONSOLE = re.findall(r"^```console\n\$ (.*?)\n(.*?)^```", README, re.S | re.M)


def interlock(command: str) -> subprocess.CompletedProcess[str]:
    words = shlex.split(command)
    assert words[0] == "interlock"
    return subprocess.run(
        [sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )


def test_the_first_block_runs_the_main_job() -> None:
    for command in re.findall(r"interlock [^&\n]+", SHELL[0]):
        done = interlock(command)
        assert done.returncode == 0, (command, done.stdout, done.stderr)


def test_the_second_block_is_what_ci_runs() -> None:
    command = SHELL[1].strip().splitlines()[-1]
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(("command", "output"), CONSOLE, ids=[c for c, _ in CONSOLE])
def test_an_example_prints_what_the_readme_shows(command: str, output: str) -> None:
    done = interlock(command)
    assert done.stdout == output


def test_excerpts_of_the_bench_stand_in_the_bench() -> None:
    excerpts = re.findall(r"^```yaml\n(.*?)^```", README, re.S | re.M)
    assert excerpts
    for excerpt in excerpts:
        assert excerpt in BENCH


TABLES = re.findall(r"^\| `(interlock [^`]+)` \|", README, re.M)


@pytest.mark.parametrize("command", TABLES)
def test_a_command_of_the_tables_runs_on_a_persons_own_file(command: str, tmp_path: Path) -> None:
    """On the bench as `boat.yaml`: 0 or 1 by what it finds, never bad input, never a fault of the tool."""
    boat = tmp_path / "boat.yaml"
    if " new " not in command:
        boat.write_text(BENCH, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        stdin=subprocess.DEVNULL,
    )
    finds = 1 if any(word in command for word in ("check", "probe.stuck")) else 0
    assert done.returncode == finds, done.stderr
    assert done.stdout.strip()
    assert boat.exists()


def test_each_of_the_three_people_has_three_commands() -> None:
    assert len(TABLES) == 9
