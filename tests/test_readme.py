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


def test_every_command_the_readme_names_exists() -> None:
    named = set(re.findall(r"interlock (\w+)", README)) - {"reads"}
    for command in sorted(named):
        assert interlock(f"interlock {command} --help").returncode == 0, command
