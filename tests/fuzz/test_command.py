"""`interlock fuzz` as a user runs it."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.fuzz.campaigns import FLAWED, RULES
from tests.support.bench import BENCH, edited
from tests.support.heeding import HEEDING

SLOW = edited(("trips: below 3 degC for 2 s", "trips: below 3 degC for 20 s"))


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "bench.yaml"
    path.write_text(BENCH, encoding="utf-8")
    return path


@pytest.fixture
def slow(tmp_path: Path) -> Path:
    path = tmp_path / "slow.yaml"
    path.write_text(SLOW, encoding="utf-8")
    return path


def run(*words: object, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "interlock", "fuzz", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={**os.environ, **environment},
        check=False,
    )


@pytest.mark.usefixtures("bench")
def test_a_good_scheme_gives_status_0_and_leaves_nothing_behind(tmp_path: Path) -> None:
    """No database of examples, no cache, nothing on standard error."""
    done = run("bench.yaml", "--examples", 12, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "not violated  frozen_charge/bench_charger: 2.2 s seen, 10 s allowed (12 examples)"
    assert lines[-1] == "5 claims, 60 examples: none violated, which proves nothing"
    assert os.listdir(tmp_path) == ["bench.yaml"]


@pytest.mark.usefixtures("slow")
def test_a_violation_gives_status_1_with_its_story_its_case_and_how_to_see_it_again(tmp_path: Path) -> None:
    done = run("slow.yaml", "--claim", "frozen", "--examples", 12, "--seed", 3, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (1, "")
    text = done.stdout
    assert "VIOLATED  frozen_charge/bench_charger: 20.2 s seen, 10 s allowed (example 1)\n" in text
    assert "bench_charger must never be running for longer than 10 s while coldest_cell is below 0 degC" in text
    assert "  at power-up:   coldest_cell is " in text
    assert '    "frozen_charge/bench_charger, found by fuzz":\n' in text
    assert "expect: {bench_charger: stopped}" in text
    again = text.splitlines()[-1]
    assert again == "the same again: interlock fuzz slow.yaml --examples 12 --seed 3 --claim frozen"
    assert run(*again.split()[5:], cwd=tmp_path).stdout == text


def test_the_case_shown_can_be_put_into_the_scheme_as_it_is(slow: Path, tmp_path: Path) -> None:
    """Indented by two beyond the section, as it is printed under its headline."""
    data = json.loads(run("slow.yaml", "--claim", "frozen", "--json", cwd=tmp_path).stdout)
    slow.write_text(SLOW + data["claims"][0]["case"], encoding="utf-8")
    (tmp_path / "mended.yaml").write_text(BENCH + data["claims"][0]["case"], encoding="utf-8")
    for name, status in (("slow.yaml", 1), ("mended.yaml", 0)):
        cases = [sys.executable, "-m", "interlock", "cases", name]
        done = subprocess.run(cases, capture_output=True, text=True, cwd=tmp_path, check=False)
        assert done.returncode == status, done.stdout + done.stderr


@pytest.mark.usefixtures("slow")
def test_json_tells_it_all(tmp_path: Path) -> None:
    done = run("slow.yaml", "--examples", 12, "--json", "--against-proof", cwd=tmp_path)
    assert done.returncode == 1
    data: dict[str, Any] = json.loads(done.stdout)
    assert {k: data[k] for k in ("scheme", "seed", "violated", "cut_short", "against_proof")} == {
        "scheme": "slow.yaml",
        "seed": 0,
        "violated": True,
        "cut_short": None,
        "against_proof": [],
    }
    first, *others = data["claims"]
    assert first["claim"] == "frozen_charge/bench_charger"
    assert (first["violated"], first["exposure_s"], first["allowed_s"], first["endless"]) == (True, 20.2, 10.0, False)
    assert first["faults"] == []
    assert first["story"][0]["at_s"] == 0
    assert first["steps"][-1]["truth"]["coldest_cell"].startswith("-")
    assert first["case"].lstrip().startswith('"frozen_charge/bench_charger')
    assert [c["exposure_s"] for c in others] == [1.2, 3.2, 2.2, 300.1]
    assert data["examples"] == sum(c["examples"] for c in data["claims"]) == 4 * 12 + 1


def test_the_same_seed_gives_the_same_in_any_process() -> None:
    """Whatever order Python's sets have."""
    words = (FLAWED / "launch_contactor_before_field.yaml", "--claim", "field", "--faults", 2, "--seed", 1, "--json")
    once, again = (run(*words, cwd=RULES, PYTHONHASHSEED=seed) for seed in ("1", "2"))
    assert once.returncode == 1
    assert once.stdout == again.stdout


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("bench.yaml", "--claim", "warm"), "no claim has `warm` in its name"),
        (("bench.yaml", "--with", "K1.welde"), "there is no fault `K1.welde`: did you mean `K1.welded`?"),
        (("bench.yaml", "--with", "x"), "there is no fault `x`"),
        (("bench.yaml", "--time", "5"), "--time 5: "),
        (("bench.yaml", "--time", "soon"), "--time soon: "),
        (("bench.yaml", "--examples", "0"), "--examples"),
        (("bench.yaml", "--faults", "-1"), "--faults"),
        (("absent.yaml",), "absent.yaml cannot be opened"),
    ],
)
def test_bad_input_gives_status_2_and_says_what_is_wrong(words: tuple[str, ...], says: str, tmp_path: Path) -> None:
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_faults_that_have_no_meaning_together_are_bad_input(bench: Path, tmp_path: Path) -> None:
    bench.write_text(
        BENCH.replace("cases:", "faults:\n  probe.loose: {like: drifted, error: -15 to 0 K}\ncases:"), encoding="utf-8"
    )
    done = run("bench.yaml", "--with", "probe.loose", "--with", "probe.drifted", cwd=tmp_path)
    assert done.returncode == 2
    assert "probe.loose, probe.drifted can't be looked at: one sensor is drifted in two ways" in done.stderr


@pytest.mark.usefixtures("bench")
def test_the_time_given_ends_it_and_is_told(tmp_path: Path) -> None:
    done = run("bench.yaml", "--examples", 1_000_000, "--time", "500 ms", cwd=tmp_path)
    assert done.returncode == 0
    assert "(out of time): none violated" in done.stdout


@pytest.mark.parametrize(("text", "status"), [(BENCH, 130), (SLOW, 1)])
def test_an_interruption_keeps_what_was_found_and_says_how_far_it_came(text: str, status: int, tmp_path: Path) -> None:
    """Ctrl-C once the line of progress has appeared: what was found, how many examples were done, and no traceback."""
    (tmp_path / "scheme.yaml").write_text(text, encoding="utf-8")
    master, slave = pty.openpty()
    words = [sys.executable, "-c", HEEDING, "fuzz", "scheme.yaml", "--examples", "1000000"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=slave, text=True, cwd=tmp_path)
    os.close(slave)
    shown = b""
    while b"10 examples" not in shown:
        shown += os.read(master, 1000)
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=60)
    shown += os.read(master, 100_000)
    os.close(master)
    assert "Traceback" not in out + shown.decode()
    assert process.returncode == status, out + shown.decode()
    assert "examples (interrupted): " in out
    assert ("VIOLATED  frozen_charge/bench_charger" in out) is (status == 1)


@pytest.mark.usefixtures("bench")
def test_progress_is_shown_on_a_terminal_only(tmp_path: Path) -> None:
    """On a terminal a line counts the examples; it is wiped before the result."""
    master, slave = pty.openpty()
    words = [sys.executable, "-m", "interlock", "fuzz", "bench.yaml", "--examples", "10"]
    done = subprocess.run(words, stdout=subprocess.PIPE, stderr=slave, cwd=tmp_path, check=False)
    os.close(slave)
    shown = os.read(master, 100_000).decode()
    os.close(master)
    assert done.returncode == 0
    assert "45 examples" in shown
    assert shown.endswith("\r")
    assert b"\r" not in done.stdout


def test_a_contradiction_of_the_proof_is_a_fault_of_the_tool(
    slow: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from interlock.cli import fuzz as command
    from interlock.fuzz.against import Answer, Proved

    monkeypatch.setattr(command, "_prove", lambda *_: Answer(Proved.HOLDS, 10_000_000))
    status = command.fuzz(
        slow,
        examples=2,
        seed=0,
        only="frozen",
        given=[],
        more=0,
        limit="",
        against_proof=True,
        as_json=False,
    )
    assert status == 70
    out = capsys.readouterr().out
    assert "AGAINST THE PROOF  frozen_charge/bench_charger: the proof says that it holds, 10 s at worst, but " in out
