"""Batches judged on a cluster of dask's `distributed`: the same answers as here, whichever worker gives them.

What a worker was judging when it died goes to another one; a batch that takes several with it is given up. Workers must
run the same version of this program, for another one might rule otherwise.
"""

from __future__ import annotations

import asyncio
import logging
import time
import warnings
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pkgutil import resolve_name
from types import TracebackType
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from interlock import __version__
from interlock.faults.court import Answers, Batch, Court
from interlock.faults.parallel import BenchError, Packed, answered, packed

if TYPE_CHECKING:
    from distributed import Client, Future

PROTOCOLS = ("tcp", "tls", "ws", "wss")  # of the addresses at which a scheduler listens
PATIENCE = 8.0  # seconds to wait for the scheduler, and for a first worker
ABSENCE = 30.0  # seconds to wait for another worker when all have gone: time for one to be started again
GLANCE = 0.02  # seconds between two looks at what has come


class ClusterError(BenchError):
    """Why a cluster can't be used, or has given up, and what to do: in words for people."""


class VersionError(Exception):
    """A worker runs another version, its only argument."""


def whole_address(address: str) -> str:
    """The address with its protocol. Raises ClusterError where it can't be one."""
    whole = address if "://" in address else f"tcp://{address}"
    try:
        parts = urlsplit(whole)
        fine = parts.scheme in PROTOCOLS and parts.hostname and parts.port and not parts.path + parts.query
    except ValueError:
        fine = False
    if not fine:
        raise ClusterError(
            f"--cluster {address}: expected HOST:PORT or tcp://HOST:PORT, the address a dask scheduler prints when it "
            "starts"
        )
    return whole


class Cluster:
    """Judges on the workers of the dask scheduler at `address`. Raises ClusterError. To be used with `with`: leaving it
    takes back what is not judged yet."""

    def __init__(self, court: Court, address: str, *, patience: float = PATIENCE, absence: float = ABSENCE) -> None:
        self.address, self.patience, self.absence = whole_address(address), patience, absence
        self._client = self._joined()
        self._work = packed(court)

    def __enter__(self) -> Cluster:
        try:
            self._meet_workers()
        except BaseException:
            self._leave()
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._leave()

    def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
        """The answers to these batches, as they come. Raises ClusterError."""
        from distributed import as_completed

        # a task of its own, so that it goes once to each worker and is made again where the only one that had it dies
        scheme = self._client.submit(bytes, self._work.scheme, pure=False)
        asked = self._client.map(
            judged,
            batches,
            version=__version__,
            study=self._work.key,
            scheme=scheme,
            budget=self._work.budget,
            pure=False,
        )
        coming = as_completed(asked, loop=self._client.loop, with_results=True, raise_errors=False)
        seen = time.monotonic()
        while not coming.is_empty():
            came = coming.next_batch(block=False)
            for future, result in came:
                yield self._told(future, result)
            known = self._client.scheduler_info()
            if not came and "workers" not in known:  # the client has given up to find it again
                raise self._error("its scheduler has gone")
            if came or known["workers"]:
                seen = time.monotonic()
            elif time.monotonic() > seen + self.absence:
                raise self._error("its last worker has gone, and no other one has come")
            if not came:
                time.sleep(GLANCE)

    def _told(self, future: Future[Answers], result: object) -> Answers:
        if isinstance(result, Answers):
            return result
        if future.status != "error":
            raise self._error("its scheduler has gone")
        from distributed import KilledWorker

        match future.exception():
            case KilledWorker() as killed:
                died = "a worker" if not killed.allowed_failures else f"{killed.allowed_failures + 1} workers in a row"
                raise self._error(f"a batch was given up, for {died} died while judging it")
            case VersionError() as other:
                raise self._error(_versions("a worker", str(other)))
            case error:
                raise self._error(f"a worker could not judge a batch: {type(error).__name__}: {error}")

    def _error(self, what: str) -> ClusterError:
        return ClusterError(f"the cluster at {self.address} failed: {what}")

    # --- joining and leaving

    def _joined(self) -> Client:
        try:
            from distributed import Client
        except ImportError as error:
            raise ClusterError(
                "--cluster needs the package `distributed`, which is not installed: pip install 'interlock[cluster]'"
            ) from error
        for name in ("distributed", "tornado", "asyncio"):  # what they would log is said here in words
            logging.getLogger(name).setLevel(logging.CRITICAL)
        try:
            asyncio.run(self._greeted())
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # of other versions of what a cluster is made of: that it works is seen
                return Client(self.address, timeout=self.patience, set_as_default=False)
        except Exception as error:  # whatever listens there may answer anything
            raise ClusterError(
                f"--cluster {self.address}: no dask scheduler has answered there within {self.patience:g} s; "
                "`dask scheduler` starts one and prints its address"
            ) from error

    async def _greeted(self) -> None:
        """See that a scheduler answers: a Client waits for ever for one that listens and says nothing."""
        from distributed import Security
        from distributed.comm.core import connect

        async with asyncio.timeout(self.patience):
            comm = await connect(self.address, timeout=self.patience, **Security().get_connection_args("client"))
        comm.abort()

    def _meet_workers(self) -> None:
        """Wait for a first worker, and see that all run this version."""
        try:
            self._client.wait_for_workers(1, timeout=self.patience)
            known = self._client.run(resolve_name, "interlock:__version__", on_error="return")
        except OSError as error:
            raise ClusterError(
                f"--cluster {self.address}: no worker has come within {self.patience:g} s; "
                f"`dask worker {self.address}` starts one"
            ) from error
        for worker, version in sorted(known.items()):
            if version != __version__:
                raise ClusterError(f"--cluster {self.address}: {_versions(f'the worker at {worker}', version)}")

    def _leave(self) -> None:
        with suppress(Exception):  # of a cluster that has gone there is nothing to leave
            self._client.close(timeout=self.patience)


def _versions(worker: str, version: object) -> str:
    """`version`: an exception where there was none to be had."""
    runs = f"runs interlock {version}" if isinstance(version, str) else f"has no interlock ({version!r})"
    return f"{worker} {runs}, this is {__version__}; all must have the same, so that all rule alike"


def judged(batch: Batch, *, version: str, study: str, scheme: bytes, budget: int) -> Answers:
    """A batch judged in a worker of the cluster. Raises VersionError where it runs another version: it may have come
    after the others were looked at."""
    if version != __version__:
        raise VersionError(__version__)
    return answered(Packed(study, scheme, budget), batch)
