"""Many claims judged on all cores of this computer: the same verdicts, in the same order.

A process is split where the system can do that (fork), so that its parts know the scheme already; elsewhere, and for a
few claims, all are judged here.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Generator, Sequence
from contextlib import suppress

from interlock.proof.index import Index
from interlock.proof.prove import BUDGET, Verdict, prove
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.words import Must

FEW = 8  # claims that are sooner judged here than handed out


def proved(
    scheme: Scheme, claims: Sequence[Claim], faults: Sequence[Fault] = (), *, budget: int = BUDGET, jobs: int = 0
) -> Generator[Verdict, None, None]:
    """The verdicts on some claims, one by one, in their order. `jobs`: processes at most (0: one for each core that
    this process may use). Raises what `prove` raises."""
    jobs = min(jobs or cores(), len(claims))
    done = 0
    if jobs > 1 and len(claims) > FEW and _can_split():
        with suppress(_EndedError):
            for verdict in _split(scheme, claims, faults, budget, jobs):
                done += 1
                yield verdict
    index = Index(scheme)
    for claim in claims[done:]:
        yield prove(scheme, claim, faults, budget=budget, index=index)


class _EndedError(Exception):
    """A process was ended from outside; what it had not said is judged here."""


def cores() -> int:
    """The cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _can_split() -> bool:
    """Whether this process can be split safely: one with several threads cannot."""
    return "fork" in multiprocessing.get_all_start_methods() and threading.active_count() == 1


# what a process is split with: set before, read by its parts
_shared: tuple[Scheme, Sequence[Claim], Sequence[Fault], int, Index] | None = None


def _split(
    scheme: Scheme, claims: Sequence[Claim], faults: Sequence[Fault], budget: int, jobs: int
) -> Generator[Verdict, None, None]:
    from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor

    global _shared  # noqa: PLW0603 (how a split process is handed what cannot be sent cheaply)
    _shared = (scheme, claims, faults, budget, Index(scheme))
    context = multiprocessing.get_context("fork")
    pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_leave_interrupts_to_parent)
    # what must keep running takes longest to judge: begun first, no process is left alone with one at the end
    begun = sorted(range(len(claims)), key=lambda number: claims[number].must is not Must.NEVER_STOPPED)
    try:
        told = {number: pool.submit(_judged, number) for number in begun}
        for number in range(len(claims)):
            try:
                verdict = told[number].result()
            except BrokenProcessPool as error:
                raise _EndedError from error
            yield verdict
    finally:
        _shared = None
        workers = list(pool._processes.values()) if pool._processes else []
        unfinished = any(not f.done() for f in told.values())
        pool.shutdown(wait=not unfinished, cancel_futures=True)
        if unfinished:  # interrupted: nobody waits for what is half done
            for worker in workers:
                worker.terminate()
            for worker in workers:
                worker.join()


def _leave_interrupts_to_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _judged(number: int) -> Verdict:
    assert _shared is not None
    scheme, claims, faults, budget, index = _shared
    return prove(scheme, claims[number], faults, budget=budget, index=index)


__all__ = ["cores", "proved"]
