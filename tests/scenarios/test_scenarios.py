"""Whole commands as a user runs them: each .txt file here holds files, a command, its output and exit status.

    # what the scenario shows
    $ interlock check scheme.yaml
    exit 2
    === scheme.yaml
    …
    === stdout
    …
    === stderr
    …

`=== NAME edited` makes the file from the reference's bench by lines `- old` and `+ new`. INTERLOCK_REWRITE=1 writes
what was seen into the files; read the difference before you commit it.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.support.bench import edited

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


@dataclass
class Scenario:
    says: str
    command: str
    status: int
    files: dict[str, str] = field(default_factory=dict)


def parse(text: str) -> Scenario:
    head, *blocks = re.split(r"^=== (.*)\n", text, flags=re.M)
    lines = head.strip().splitlines()
    command = next(line[2:] for line in lines if line.startswith("$ "))
    status = next(int(line[5:]) for line in lines if line.startswith("exit "))
    says = " ".join(line[2:] for line in lines if line.startswith("# "))
    return Scenario(says, command, status, dict(zip(blocks[::2], blocks[1::2], strict=True)))


def write_files(scenario: Scenario, folder: Path) -> None:
    for name, text in scenario.files.items():
        if name in ("stdout", "stderr"):
            continue
        if name.endswith(" edited"):
            olds = re.findall(r"^- (.*)\n", text, re.M)
            news = re.findall(r"^\+ (.*)\n", text, re.M)
            (folder / name.removesuffix(" edited")).write_text(edited(*zip(olds, news, strict=True)), encoding="utf-8")
        else:
            (folder / name).write_text(text, encoding="utf-8")


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    words = shlex.split(command)
    assert words[0] == "interlock"
    words = [word.replace("RULES", str(ROOT / "rules")) for word in words[1:]]
    env = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"}
    return subprocess.run(
        [sys.executable, "-m", "interlock", *words], cwd=folder, env=env, capture_output=True, text=True, timeout=120,
        check=False,
    )  # fmt: skip


@pytest.mark.parametrize("path", sorted(HERE.glob("*.txt")), ids=lambda p: p.stem)
def test_a_command_does_what_its_scenario_says(path: Path, tmp_path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    scenario = parse(text)
    assert scenario.says, "a scenario says what it shows"
    write_files(scenario, tmp_path)
    done = run(scenario.command, tmp_path)
    seen = {
        name: out.replace(str(ROOT / "rules"), "RULES")
        for name, out in (("stdout", done.stdout), ("stderr", done.stderr))
    }
    if os.environ.get("INTERLOCK_REWRITE"):
        kept = re.sub(r"^=== (stdout|stderr)\n.*?(?=^=== |\Z)", "", text, flags=re.M | re.S)
        kept = re.sub(r"^exit \d+$", f"exit {done.returncode}", kept, flags=re.M)
        path.write_text(kept + "".join(f"=== {n}\n{out}" for n, out in seen.items() if out), encoding="utf-8")
        return
    assert "Traceback" not in done.stderr
    assert done.returncode == scenario.status, done.stderr
    for name, out in seen.items():
        assert out == scenario.files.get(name, ""), name


def test_there_are_scenarios_for_each_exit_status() -> None:
    statuses = {parse(path.read_text(encoding="utf-8")).status for path in HERE.glob("*.txt")}
    assert statuses >= {0, 1, 2}
