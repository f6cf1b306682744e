"""`interlock conform` on firmware built from the export: as it is, with a mistake of each kind, and misbehaving.

The mistakes are switched by a macro in one source: `#if SEEDED == n` around the changed line.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.cli.status import Exit
from interlock.conform.drive import AnswerError, answer
from interlock.conform.link import NoStartError, Pipe, SilentError
from interlock.export.c import c_files
from interlock.export.host import host_file
from interlock.export.unit import UnitCode, unit_code
from interlock.scheme.read import loads
from tests.support.c_code import have
from tests.support.quick import QUICK_BENCH

needs_gcc = pytest.mark.skipif(not have("gcc"), reason="gcc is not installed")


def interlock(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "interlock", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the quick bench, its board's export with mistakes that a macro switches on, and its vectors."""
    folder = tmp_path_factory.mktemp("bench")
    (folder / "bench.yaml").write_text(QUICK_BENCH)
    code = unit_code(loads(QUICK_BENCH), "board", "bench.yaml")
    for name, text in {**c_files(code), **host_file(code)}.items():
        (folder / name).write_text(_seeded(text) if name == "board.c" else text)
    done = interlock(folder, "vectors", "bench.yaml", "--unit", "board", "--quick", "--to", "board.jsonl")
    assert done.returncode == Exit.GOOD, done.stdout + done.stderr
    return folder


# A mistake of the programmer: what it is, the rule it is in, the line of the export and what it becomes.
MISTAKES: tuple[tuple[str, str, str, str], ...] = (
    ("trip limit one step up", "cold_stop", "probe_value <= 2999", "probe_value <= 3000"),
    ("trip limit one step down", "cold_stop", "probe_value <= 2999", "probe_value <= 2998"),
    ("clear limit one step off", "cold_stop", "(5001 <= probe_value)", "(5000 <= probe_value)"),
    ("comparison turned", "hot_stop", "55001 <= probe_value", "55001 >= probe_value"),
    ("a timer that is not started again", "cold_stop", ": 12) : 0)", ": 12) : cold_stop_was)"),
    ("a held button resets", "hot_stop", "in->reset_button && reset_button_was_off", "in->reset_button"),
    ("no reset wanted", "hot_stop", "(in->reset_button && reset_button_was_off)", "(powered_up || true)"),
    ("a lost reading clears", "cold_stop", "(probe_value <= 2999) || ", "(probe_value <= 2999) && "),
    ("a line read the wrong way round", "full_stop", "in->monitor_charge_ok", "!in->monitor_charge_ok"),
    ("powered up clear", "hot_stop", "state->hot_stop = 16", "state->hot_stop = 0"),
)
# A mistake in the rules that someone wrote down: what it is, the rule, the scheme's text and what it became.
RULES: tuple[tuple[str, str, str, str], ...] = (
    ("trip delay a scan short", "cold_stop", "below 3 degC for 300 ms", "below 3 degC for 200 ms"),
    ("trip delay a scan long", "cold_stop", "below 3 degC for 300 ms", "below 3 degC for 400 ms"),
    ("clear delay a scan short", "cold_stop", "above 5 degC for 700 ms", "above 5 degC for 600 ms"),
    ("clear delay a scan long", "cold_stop", "above 5 degC for 700 ms", "above 5 degC for 800 ms"),
    ("clear delay before a reset a scan short", "hot_stop", "below 45 degC for 900 ms", "below 45 degC for 800 ms"),
    ("clear delay before a reset a scan long", "hot_stop", "below 45 degC for 900 ms", "below 45 degC for 1 s"),
    ("clear limit before a reset", "hot_stop", "below 45 degC", "below 45.001 degC"),
    ("comparison not strict", "hot_stop", "above 55 degC", "at_or_above 55 degC"),
    ("hold for trip", "cold_stop", "700 ms, blocks: sources", "700 ms, blocks: sources, on_invalid: hold"),
    ("reset automatic", "hot_stop", "reset: manual, reset_by: reset_button, why", "why"),
    ("block dropped", "hot_stop", "blocks: all,", "blocks: sources,"),
    ("block added", "cold_stop", "700 ms, blocks: sources", "700 ms, blocks: all"),
    ("rule without effect", "empty_stop", "300 ms, blocks: loads", '300 ms, alarm: "empty"'),
)
BLOCK_ADDED = 101 + [what for what, *_ in RULES].index("block added")
KINDS = [*((number, rule) for number, (_, rule, _, _) in enumerate(MISTAKES, 1)),
         *((number, rule) for number, (_, rule, _, _) in enumerate(RULES, 101))]  # fmt: skip


def _seeded(text: str) -> str:
    """The source with each mistake behind its macro; fails where a line is not there any more."""
    out, found = [], set()
    for line in text.splitlines():
        for number, (_, _, old, new) in enumerate(MISTAKES, 1):
            if old in line:
                out += [f"#if SEEDED == {number}", line.replace(old, new), "#else"]
                found.add(number)
        out.append(line)
        out += ["#endif"] * sum(old in line for _, _, old, _ in MISTAKES)
    missing = [MISTAKES[n - 1][0] for n in range(1, len(MISTAKES) + 1) if n not in found]
    assert not missing, missing
    return "\n".join(out) + "\n"


def build(folder: Path, seeded: int) -> Path:
    """The host program with one mistake; from 101 on the export of a scheme that holds the mistake."""
    program, source = folder / f"host_{seeded}", folder
    if seeded > 100:
        _, _, old, new = RULES[seeded - 101]
        assert QUICK_BENCH.count(old) == 1, old
        source = folder / str(seeded)
        source.mkdir(exist_ok=True)
        code = unit_code(loads(QUICK_BENCH.replace(old, new)), "board", "bench.yaml")
        for name, text in {**c_files(code), **host_file(code)}.items():
            told = [line for line in text.splitlines() if "fputs(out.empty_stop_alarm" not in line]  # not asked for
            (source / name).write_text("\n".join(told) + "\n")
    words = ["gcc", "-std=c99", "-O1", f"-DSEEDED={seeded}", "-o", str(program)]
    subprocess.run([*words, str(source / "board.c"), str(source / "board_host.c")], check=True)
    return program


@needs_gcc
def test_the_export_conforms_to_its_own_rules(bench: Path) -> None:
    program = build(bench, 0)
    done = interlock(
        bench, "conform", "bench.yaml", "--run", str(program), "--vectors", "board.jsonl", "--junit", "junit.xml"
    )
    assert done.returncode == Exit.GOOD, done.stdout + done.stderr
    assert re.match(r"conforms   board: \d+ scans, each answered as the rules say\n", done.stdout)
    (suite,) = ElementTree.parse(bench / "junit.xml").getroot()
    assert {k: suite.get(k) for k in ("failures", "errors")} == {"failures": "0", "errors": "0"}


@needs_gcc
@pytest.mark.parametrize(("number", "rule"), KINDS, ids=[what for what, *_ in (*MISTAKES, *RULES)])
def test_a_seeded_mistake_is_found_and_its_rule_named(bench: Path, number: int, rule: str) -> None:
    program = build(bench, number)
    words = ["conform", "bench.yaml", "--run", str(program), "--vectors", "board.jsonl"]
    done = interlock(bench, *words, "--junit", f"junit_{number}.xml", "--json")
    assert done.returncode == Exit.FINDING, done.stdout
    trouble = json.loads(done.stdout)["trouble"]
    assert trouble["kind"] == "differs"
    # a stop too many looks like another rule come early or gone late just then: all that may be are named
    named = trouble["rules"][: 3 if number == BLOCK_ADDED else 1]
    assert rule in named, trouble
    assert re.match(r"run \d+, scan [\d,]+ \(.* after power-up\): output K\d is ", trouble["says"][0])
    (suite,) = ElementTree.parse(bench / f"junit_{number}.xml").getroot()
    assert suite.get("failures") == "1"
    failure = suite.find("testcase/failure")
    assert failure is not None
    assert rule in (failure.text or "")


# --- firmware that gives no answer


HELLO = "import sys, time, os\nfor n, line in enumerate(sys.stdin):\n"


@pytest.mark.parametrize(
    ("program", "says"),
    [
        (HELLO + "    time.sleep(60)", "no answer within 0.5 s"),
        (HELLO + "    sys.exit(3)", "it ended with exit status 3"),
        (HELLO + "    print('0 0', flush=True)\n    if n == 5: os.kill(os.getpid(), 11)", "it was ended by signal 11"),
        (HELLO + "    sys.stderr.write('stack overflow\\n'); sys.exit(1)", "its last words: 'stack overflow'"),
        (HELLO + "    print('ready', flush=True)", "1 fields instead of 2: 'ready'"),
        (HELLO + "    print('0 7', flush=True)", "field 2 is '7', neither 0, 1 nor -"),
        (HELLO + "    sys.stdout.buffer.write(b'\\x00\\xff\\n'); sys.stdout.flush()", "an answer is no plain text"),
        (HELLO + "    sys.stdout.write('x' * 100000); sys.stdout.flush()", "bytes came without an end of line"),
        (HELLO + "    [print('# still booting') for _ in range(2000)]; sys.stdout.flush()", "that begin with #"),
        ("import time\ntime.sleep(60)", "no answer within 0.5 s"),
        ("pass", "it ended with exit status 0"),
    ],
    ids=["hangs", "ends", "crashes", "last words", "words", "field", "bytes", "no end", "remarks", "deaf", "leaves"],
)  # fmt: skip
def test_a_firmware_that_gives_no_answer_is_told_so(bench: Path, tmp_path: Path, program: str, says: str) -> None:
    script = tmp_path / "firmware.py"
    script.write_text(program)
    words = ["conform", "bench.yaml", "--vectors", "board.jsonl", "--timeout", "0.5", "--run"]
    done = interlock(bench, *words, f"{sys.executable} -S {script}", "--junit", str(tmp_path / "j.xml"))
    assert done.returncode == Exit.FINDING, done.stdout + done.stderr
    assert done.stdout.startswith("NO ANSWER  run 1, scan ")
    assert says in done.stdout
    assert ElementTree.parse(tmp_path / "j.xml").getroot().get("errors") == "1"


@needs_gcc
def test_what_is_not_told_is_no_agreement(bench: Path, tmp_path: Path) -> None:
    program = build(bench, 0)
    script = tmp_path / "filter.py"
    script.write_text(
        "import subprocess, sys\n"
        f"p = subprocess.Popen(['{program}'], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)\n"
        "for line in sys.stdin:\n    p.stdin.write(line)\n    p.stdin.flush()\n"
        "    print('# a remark', flush=True)\n    print('-', p.stdout.readline().split()[1], flush=True)\n"
    )
    done = interlock(bench, "conform", "bench.yaml", "--vectors", "board.jsonl", "--run", f"{sys.executable} {script}")
    assert done.returncode == Exit.FINDING
    assert "not told   output K1" in done.stdout
    assert "DIFFERS" not in done.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--run", "./no-such-program"], "can't be run"),
        (["--run", "'unclosed"], "the command can't be read"),
        ([], "name what is to be driven"),
        (["--run", "true", "--serial", "/dev/null"], "name what is to be driven"),
        (["--run", "true", "--unit", "bord"], "did you mean `board`"),
        (["--serial", "/dev/no-such-port"], "/dev/no-such-port can't be opened"),
        (["--run", "true", "--vectors", "absent.jsonl"], "absent.jsonl"),
        (["--run", "true", "--unit", "cell_monitor"], "not vectors of cell_monitor"),
    ],
)
def test_bad_input_ends_before_anything_is_driven(bench: Path, words: list[str], says: str) -> None:
    vectors = [] if "--vectors" in words else ["--vectors", "board.jsonl"]
    done = interlock(bench, "conform", "bench.yaml", *vectors, *words)
    assert done.returncode == Exit.BAD_INPUT, done.stdout
    assert says in done.stderr


def test_an_answer_is_read() -> None:
    code: UnitCode = unit_code(loads(QUICK_BENCH), "board", "bench.yaml")
    assert answer(code, " 1  -\r") == (True, None)
    for bad in ("", "1", "1 0 1", "yes no"):
        with pytest.raises(AnswerError):
            answer(code, bad)


def test_a_program_that_hangs_is_ended_with_all_it_started(tmp_path: Path) -> None:
    script = tmp_path / "parent.py"
    script.write_text(
        "import subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        "print(child.pid, flush=True)\ntime.sleep(60)\n"
    )
    link = Pipe(f"{sys.executable} {script}")
    child = int(link.next_line(20))
    with pytest.raises(SilentError):
        link.ask("S", 0.1)
    link.close()
    state, end = Path(f"/proc/{child}/stat"), time.monotonic() + 10
    while alive := state.exists() and state.read_text().split(") ")[1][0] != "Z":
        assert time.monotonic() < end, "what the program started lives on"
        time.sleep(0.05)
    assert not alive
    with pytest.raises(NoStartError):
        Pipe("")


@needs_gcc
def test_a_board_on_a_serial_line_is_driven_as_a_pipe_is(bench: Path) -> None:
    """A pseudo terminal stands for the serial line, the exported host for the board."""
    import os
    import threading
    import tty

    host, port = os.openpty()
    tty.setraw(port)
    tty.setraw(host)
    program = build(bench, 0)
    with subprocess.Popen([program], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as board:
        assert board.stdin
        assert board.stdout
        to_board, from_board = board.stdin, board.stdout

        def there() -> None:
            while data := os.read(host, 4096):
                to_board.write(data)
                to_board.flush()

        def back() -> None:
            while data := os.read(from_board.fileno(), 4096):
                os.write(host, data)

        for pump in (there, back):
            threading.Thread(target=pump, daemon=True).start()
        done = interlock(bench, "conform", "bench.yaml", "--serial", os.ttyname(port), "--vectors", "board.jsonl")
        board.kill()
    assert done.returncode == Exit.GOOD, done.stdout + done.stderr
