"""A real cluster of dask's distributed on this computer's loopback: a scheduler and workers, each a process."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

STARTING = 60.0  # seconds that a process may take


class Processes:
    """A scheduler at `address` and its `workers`, in the order in which they were started."""

    def __init__(self, folder: Path, env: Mapping[str, str]) -> None:
        self._folder, self._env = folder, {**os.environ, **env}
        self.workers: list[subprocess.Popen[bytes]] = []
        file = folder / "scheduler.json"
        self.scheduler = self._start(
            "dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)
        )
        _wait(file.exists)
        while not (text := file.read_text()):
            time.sleep(0.05)
        self.address = str(json.loads(text)["address"])

    def worker(self, threads: int = 1, env: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
        """One more worker, started and known to the scheduler."""
        before = len(self.seen())
        words = (self.address, "--nthreads", str(threads), "--no-nanny", "--no-dashboard")
        self.workers.append(
            self._start("dask_worker", *words, "--local-directory", str(self._folder), env=dict(env or {}))
        )
        _wait(lambda: len(self.seen()) > before)
        return self.workers[-1]

    def seen(self) -> dict[str, Any]:
        """What each worker known to the scheduler says of itself, by its address."""
        from distributed import Client

        with Client(self.address, set_as_default=False) as client:
            known: dict[str, Any] = client.run(lambda dask_worker: dask_worker.state.executed_count)
            return known

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """End it at once, with no word to anyone."""
        process.send_signal(signal.SIGKILL)
        process.wait()

    def _start(self, module: str, *words: str, env: Mapping[str, str] | None = None) -> subprocess.Popen[bytes]:
        with (self._folder / "log").open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.{module}", *words],
                env={**self._env, **(env or {})},
                cwd=self._folder,
                stdout=log,
                stderr=log,
            )


@contextmanager
def processes(folder: Path, env: Mapping[str, str] | None = None) -> Iterator[Processes]:
    """A scheduler, ended with all its workers in the end."""
    started = Processes(folder, env or {})
    try:
        yield started
    finally:
        for process in (*started.workers, started.scheduler):
            process.kill()
            process.wait()


def _wait(until: Any) -> None:
    end = time.monotonic() + STARTING
    while not until():
        assert time.monotonic() < end, "it has not started"
        time.sleep(0.05)
