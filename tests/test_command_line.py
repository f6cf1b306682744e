"""A command is the same whether it is made ready alone or with all others, and ends well where nothing can be
written."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from interlock.cli.app import app, asked_for
from interlock.cli.sections import SECTIONS

BENCH_FILE = Path(__file__).parents[1] / "interlock" / "reference" / "bench.yaml"
NAMES = ("prove", "check", "stimulus", "handbook", "vectors")


@pytest.mark.parametrize("name", NAMES)
def test_a_command_made_ready_alone_reads_as_it_does_among_all(name: str) -> None:
    alone = asked_for([name, "--help"])
    assert alone is not app
    assert len(alone.registered_commands) == 1
    said = CliRunner().invoke(alone, [name, "--help"], prog_name="interlock")
    whole = CliRunner().invoke(app, [name, "--help"], prog_name="interlock")
    assert said.output == whole.output
    assert f"interlock {name}" in said.output


@pytest.mark.parametrize("arguments", [["--version"], ["prov", "x.yaml"], ["record", "new"]])
def test_what_is_no_command_of_its_own_is_left_to_the_whole_program(arguments: list[str]) -> None:
    assert asked_for(arguments) is app


@pytest.mark.parametrize("arguments", [[], ["-h"], ["--help"]])
def test_the_list_of_commands_reads_as_the_whole_programs(arguments: list[str]) -> None:
    said = CliRunner().invoke(asked_for(arguments), arguments, prog_name="interlock")
    whole = CliRunner().invoke(app, arguments, prog_name="interlock")
    assert said.output == whole.output
    assert "..." not in said.output.replace("[ARGS]...", "")


def test_every_command_stands_under_one_heading() -> None:
    placed = [name for names in SECTIONS.values() for name in names]
    registered = [c.name or c.callback.__name__ for c in app.registered_commands if c.callback]
    assert sorted(placed) == sorted([*registered, "record"])
    said = CliRunner().invoke(app, ["--help"], prog_name="interlock").output
    for heading in SECTIONS:
        assert f"\n{heading}:\n" in said
    assert "\nCommands:\n" not in said


@pytest.mark.parametrize("command", ["check", "prove", "inject"])
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_no_fault_of_the_tool(command: str) -> None:
    ran = subprocess.run(
        f"{sys.executable} -m interlock {command} {BENCH_FILE} >/dev/full",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stderr) == (2, "the output cannot be written: No space left on device\n")


@pytest.mark.skipif(sys.platform == "win32", reason="written for a POSIX shell")
def test_without_an_output_the_status_says_it() -> None:
    for closed, status in ((">&-", 1), (">&- 2>&-", 1), ("", 1)):
        command = f"{sys.executable} -m interlock inject {BENCH_FILE} {closed}"
        ran = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
        assert (ran.returncode, ran.stderr) == (status, "")
    good = f"{sys.executable} -m interlock cases {BENCH_FILE} >&-"
    assert subprocess.run(good, shell=True, check=False).returncode == 0
