"""What `interlock inject` shows on a terminal: wrapped between words with a hanging indent, whole lines elsewhere."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios

import pytest

from interlock.cli.render import hanging
from tests.support.bench import BENCH

WIDTH = 72
CAUTION = "An aid to engineering judgement; it certifies nothing. Local codes, the maker's manual and licensed practice"


@pytest.fixture(scope="module")
def command(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    file = tmp_path_factory.mktemp("scheme") / "bench.yaml"
    file.write_text(BENCH, encoding="utf-8")
    return [sys.executable, "-m", "interlock", "inject", str(file), "--jobs", "1"]


@pytest.fixture(scope="module")
def piped(command: list[str]) -> list[str]:
    env = {**os.environ, "COLUMNS": "100"}
    return subprocess.run(command, env=env, capture_output=True, text=True, check=False).stdout.splitlines()


@pytest.fixture(scope="module")
def shown(command: list[str], tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The same on a terminal of 72 columns."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, WIDTH, 0, 0))
    env = {k: v for k, v in os.environ.items() if k != "COLUMNS"}
    with (tmp_path_factory.mktemp("log") / "stderr").open("wb") as log:
        process = subprocess.Popen(command, env=env, stdin=theirs, stdout=theirs, stderr=log)
    os.close(theirs)
    seen = b""
    while part := _read(ours):
        seen += part
    assert process.wait() == 1
    os.close(ours)
    return seen.decode().replace("\r\n", "\n").splitlines()


def _read(file: int) -> bytes:
    try:
        return os.read(file, 4096)
    except OSError:  # as a terminal's end is told of when its last user has gone
        return b""


def test_piped_each_sentence_is_one_line_whatever_the_width(piped: list[str]) -> None:
    assert max(map(len, piped)) > 150
    (weld,) = [line for line in piped if line.startswith("    If the contact of K2 welds")]
    assert weld.endswith("while hottest_cell is above 60 degC.")


def test_on_a_terminal_no_line_is_wider_and_what_follows_hangs(shown: list[str], piped: list[str]) -> None:
    assert max(map(len, shown)) <= WIDTH
    at = next(i for i, line in enumerate(shown) if line.startswith("    If the contact of K2 welds"))
    assert shown[at + 1].startswith("      ")
    assert not shown[at + 1].startswith("       ")
    assert " ".join(" ".join(shown).split()) == " ".join(" ".join(piped).split()), "the same words"


def test_the_report_ends_with_the_usual_cautions(piped: list[str]) -> None:
    assert piped[-1].startswith(CAUTION)
    assert piped[-1].endswith("test the installation.")


@pytest.mark.parametrize("width", [1, 20, 40, 200])
def test_a_name_is_never_broken(width: int) -> None:
    line = "  frozen_charge/bench_charger under K1~K2.swapped: left-out faults are told at the end"
    parts = hanging(line, width).split("\n")
    assert " ".join(part.strip() for part in parts) == line.strip()
    assert all(part.startswith("    ") for part in parts[1:])
    assert (len(parts) == 1) is (width >= len(line))


def test_a_table_is_wrapped_under_its_last_column_and_a_number_stays_with_its_unit() -> None:
    head = "holds      charging_served/roof_pv  "
    line = f"{head}5 min 30.1 s of 6 min; margin 1 K on coldest_cell, 10 mV on highest_cell"
    for width in range(len(head) + 20, len(line)):
        parts = hanging(line, width, len(head)).split("\n")
        assert parts[0].startswith(head)
        assert all(part.startswith(" " * len(head)) and part[len(head)] != " " for part in parts[1:])
        assert max(map(len, parts)) <= width
        assert not any(part.endswith(("5", "30.1", "6", " 1", "10")) for part in parts)
    narrow = hanging(line, len(head) + 10, len(head)).split("\n")
    assert all(part.startswith("  ") and part[2] != " " for part in narrow[1:])
