"""A process split into several leaves none behind, however it ends."""

from __future__ import annotations

import signal
import subprocess
import sys
import time

CODE = """
import os, sys, time
from interlock.split import split

def work(number):
    time.sleep(0.05)
    return os.getpid(), "x" * 10_000

for number, (pid, _) in split(work, range(2000), 3):
    print(pid, flush=True)
"""


def runs(pid: int) -> bool:
    """Whether the process is there and is not one that has ended and waits for nobody."""
    state = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False).stdout
    return bool(state.strip()) and not state.startswith("Z")


def test_the_parts_of_a_process_that_was_killed_end_by_themselves() -> None:
    with subprocess.Popen([sys.executable, "-c", CODE], stdout=subprocess.PIPE, text=True) as whole:
        assert whole.stdout is not None
        parts: set[int] = set()
        while len(parts) < 3:
            parts.add(int(whole.stdout.readline()))
        assert all(map(runs, parts))
        whole.send_signal(signal.SIGKILL)
        whole.wait()
        until = time.monotonic() + 10
        while any(map(runs, parts)) and time.monotonic() < until:
            time.sleep(0.1)
        assert not any(map(runs, parts))
