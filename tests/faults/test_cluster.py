"""The same study on a cluster of dask's distributed: real schedulers and workers on loopback, used, killed, refused.

That the package is there is part of what is tested: without it these tests fail, they are not skipped.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

import interlock.faults.inject as injecting
from interlock.faults.cluster import Cluster, ClusterError, VersionError, judged, whole_address
from interlock.faults.court import Batch, Court
from interlock.faults.inject import Study, inject
from interlock.faults.journal import Journal
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Here, packed
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.bench import BENCH
from tests.support.dask_cluster import Processes, processes
from tests.support.heeding import HEEDING


@pytest.fixture(scope="module")
def bench() -> Scheme:
    return loads(BENCH, "bench.yaml")


@pytest.fixture(scope="module")
def pairs(bench: Scheme) -> Study:
    return inject(bench, 2, Here(Court(bench, BUDGET)))


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Processes]:
    """Two workers, one of which judges two batches at a time."""
    with processes(tmp_path_factory.mktemp("cluster")) as cluster:
        cluster.worker()
        cluster.worker(threads=2)
        yield cluster


def command(*words: str, folder: Path, text: str = BENCH) -> subprocess.Popen[str]:
    (folder / "bench.yaml").write_text(text, encoding="utf-8")
    env = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache")}
    line = [sys.executable, "-c", HEEDING, "inject", "bench.yaml", "--json", *words]
    return subprocess.Popen(line, env=env, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_a_cluster_gives_the_same_bytes_as_one_process_and_all_its_workers_judge(
    two: Processes, tmp_path: Path
) -> None:
    alone = command("--size", "2", "--jobs", "1", folder=tmp_path)
    expected = alone.communicate()[0]
    before = two.seen()
    there = command("--size", "2", "--cluster", two.address, folder=tmp_path)
    assert there.communicate() == (expected, "")
    assert there.returncode == alone.returncode == 1
    done = {worker: count - before[worker] for worker, count in two.seen().items()}
    assert len(done) == 2
    assert min(done.values()) >= 1, done
    assert not list((tmp_path / "cache").rglob("*.journal")), "a finished study leaves nothing behind"


def test_what_a_dying_worker_was_judging_goes_to_another(bench: Scheme, pairs: Study, tmp_path: Path) -> None:
    with processes(tmp_path) as cluster:
        cluster.worker()
        doomed = cluster.worker()

        def progress(sets: int, _wanted: int) -> None:
            if sets > 60 and doomed.poll() is None:
                cluster.kill(doomed)

        with Cluster(Court(bench, BUDGET), cluster.address) as there:
            assert inject(bench, 2, there, progress=progress) == pairs
        assert doomed.poll() is not None, "it was killed while the study ran"


@pytest.mark.parametrize(
    ("killed", "failures", "words"),
    [
        ("workers", "3", "its last worker has gone, and no other one has come"),
        ("scheduler", "3", "its scheduler has gone"),
        ("one worker", "0", "a batch was given up, for a worker died while judging it"),
    ],
)
def test_a_cluster_that_gives_up_says_why_and_what_was_judged_is_kept(
    bench: Scheme,
    pairs: Study,
    tmp_path: Path,
    killed: str,
    failures: str,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(injecting, "BATCH", 2)  # many batches, so that each worker has one in hand
    court, names, said = Court(bench, BUDGET), list(bench.faults), ""
    for attempt in range(12):  # the worker may have had nothing in hand when it was killed: then once more
        folder = tmp_path / str(attempt)
        folder.mkdir()
        with processes(folder, {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": failures}) as cluster:
            cluster.worker()
            cluster.worker()
            doomed = {"workers": cluster.workers, "scheduler": [cluster.scheduler], "one worker": cluster.workers[:1]}

            def progress(sets: int, _wanted: int, cluster: Processes = cluster, ends: Any = doomed[killed]) -> None:
                if sets > 60:
                    for process in ends:
                        cluster.kill(process)

            with (
                Journal(folder / "journal", "this", names, resume=False) as journal,
                Cluster(court, cluster.address, absence=1.0) as there,
            ):
                try:
                    inject(bench, 2, there, journal=journal, progress=progress)
                except ClusterError as error:
                    said = str(error)
        if said:
            break
    assert words in said
    with Journal(folder / "journal", "this", names, resume=True) as journal:
        assert 60 < journal.kept < pairs.judged
        assert inject(bench, 2, Here(court), journal=journal) == pairs


def _begun(folder: Path) -> bool:
    try:
        return any(f.read_bytes().count(b"\n") > 1 for f in (folder / "cache").rglob("*.journal"))
    except FileNotFoundError:  # a study that is complete takes its journal away
        return False


def test_a_client_that_no_longer_looks_for_its_scheduler_says_so(
    bench: Scheme, two: Processes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After some seconds without an answer the library gives up, and then knows of no workers, not even of none."""
    with Cluster(Court(bench, BUDGET), two.address) as there:
        monkeypatch.setattr(there._client, "scheduler_info", lambda: {"type": "Scheduler"})
        with pytest.raises(ClusterError, match="its scheduler has gone"):
            inject(bench, 2, there)


def test_interrupted_on_a_cluster_a_study_is_taken_up_to_the_same_bytes(two: Processes, tmp_path: Path) -> None:
    study = partial(command, "--size", "3", folder=tmp_path, text=BENCH)
    expected = study("--jobs", "1").communicate()[0]
    for _ in range(8):  # the workers may have judged all before the interrupt comes: then once more
        there = study("--cluster", two.address)
        while there.poll() is None and not _begun(tmp_path):
            time.sleep(0.005)
        there.send_signal(signal.SIGINT)
        out, err = there.communicate()
        if there.returncode != 1:
            break
    assert there.returncode == 130, err
    assert '"complete": false' in out
    assert "What was judged is kept: `--resume` goes on." in err
    resumed = study("--cluster", two.address, "--resume")
    out, err = resumed.communicate()
    assert out == expected
    assert "taken up again" in err


@pytest.mark.parametrize(
    ("package", "words"),
    [
        ("__version__ = '0.0.9'", "runs interlock 0.0.9, this is 0.1.0"),
        ("raise ImportError", r"has no interlock \(ImportError\(\)\), this is 0.1.0"),
    ],
)
def test_a_worker_with_another_version_is_refused_by_both_their_names(
    bench: Scheme, tmp_path: Path, package: str, words: str
) -> None:
    (tmp_path / "other" / "interlock").mkdir(parents=True)
    (tmp_path / "other" / "interlock" / "__init__.py").write_text(package)
    with processes(tmp_path) as cluster:
        cluster.worker()
        cluster.worker(env={"PYTHONPATH": str(tmp_path / "other")})
        with pytest.raises(ClusterError, match=words), Cluster(Court(bench, BUDGET), cluster.address):
            pass


def test_a_worker_that_comes_later_refuses_the_work_of_another_version(bench: Scheme) -> None:
    work = packed(Court(bench, BUDGET))
    with pytest.raises(VersionError, match=r"0\.1\.0"):
        judged(Batch(0, ()), version="0.0.9", study=work.key, scheme=work.scheme, budget=work.budget)
    given = judged(Batch(0, ()), version="0.1.0", study=work.key, scheme=work.scheme, budget=work.budget)
    assert given.claim == 0


@pytest.mark.parametrize(
    "address", ["", "here", "127.0.0.1", "127.0.0.1:99999", "127.0.0.1:port", "ftp://127.0.0.1:80", "[::1:80", "a:1/b"]
)
def test_what_is_no_address_is_refused_with_what_one_looks_like(address: str) -> None:
    with pytest.raises(ClusterError, match="expected HOST:PORT or tcp://HOST:PORT"):
        whole_address(address)


@pytest.mark.parametrize("address", ["127.0.0.1:8786", "tcp://10.0.0.5:8786", "tls://host.example:1", "[::1]:8786"])
def test_an_address_is_taken_with_or_without_its_protocol(address: str) -> None:
    assert whole_address(address).endswith(address)
    assert "://" in whole_address(address)


@pytest.mark.parametrize("backlog", [None, 8])
def test_where_nobody_answers_as_a_scheduler_that_is_said(bench: Scheme, backlog: int | None) -> None:
    """Nobody listens there, or one does and never says a word."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        if backlog is not None:
            other.listen(backlog)
        with pytest.raises(ClusterError, match="no dask scheduler has answered there within 1 s"):
            Cluster(Court(bench, BUDGET), "{}:{}".format(*other.getsockname()), patience=1.0)


def test_a_scheduler_without_workers_is_told_how_to_get_some(bench: Scheme, tmp_path: Path) -> None:
    with (
        processes(tmp_path) as cluster,
        pytest.raises(ClusterError, match=f"no worker has come within 1 s; `dask worker {cluster.address}`"),
        Cluster(Court(bench, BUDGET), cluster.address, patience=1.0),
    ):
        pass


def test_without_the_package_its_extra_is_named(bench: Scheme, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"pip install 'interlock\[cluster\]'"):
        Cluster(Court(bench, BUDGET), "127.0.0.1:8786")
