"""Batches judged here or on all cores: the same answers in either case.

A ruling depends on nothing but the scheme, the claim, the set and what it is first tried on, all of which a batch
brings along. Only the order in which answers come differs.
"""

from __future__ import annotations

import hashlib
import pickle
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple, Protocol, TypeVar

from interlock.faults.court import Answers, Batch, Court
from interlock.garbage import collected_seldom
from interlock.scheme.model import Scheme
from interlock.split import can_split, split

FEW = 4  # batches that are sooner done here than handed out


class BenchError(Exception):
    """Why sets can't be judged somewhere, and what to do: in words for people."""


class Bench(Protocol):
    """Where batches are judged."""

    def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
        """The answers to these batches, in any order."""


class Here:
    """Judges in this process."""

    def __init__(self, court: Court) -> None:
        self.court = court

    def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
        """The answers to these batches, in their order."""
        return map(self.court.answers, batches)


class Cores:
    """Judges in `jobs` processes of this computer: parts of this one where it can be split, else a library's pool; few
    batches here."""

    def __init__(self, court: Court, jobs: int) -> None:
        self.court, self.jobs = court, jobs

    def answers(self, batches: Sequence[Batch]) -> Iterator[Answers]:
        """The answers to these batches, as they come."""
        if len(batches) <= FEW:
            yield from map(self.court.answers, batches)
            return
        if can_split():
            found = split(lambda number: self.court.answers(batches[number]), range(len(batches)), self.jobs)
            yield from (answers for _, answers in found)
            return
        from joblib import Parallel, delayed

        work = packed(self.court)
        pool = Parallel(n_jobs=self.jobs, backend="loky", return_as="generator_unordered", batch_size=1)
        yield from pool(delayed(_on_a_core)(work, batch) for batch in batches)


class Packed(NamedTuple):
    """A court to be set up elsewhere. `key` tells it from any other."""

    key: str
    scheme: bytes
    budget: int


def packed(court: Court) -> Packed:
    """What another process needs to judge as this court does."""
    scheme = pickle.dumps(court.scheme, protocol=pickle.HIGHEST_PROTOCOL)
    return Packed(f"{hashlib.sha256(scheme).hexdigest()} {court.budget}", scheme, court.budget)


_local = threading.local()  # `kept` of this thread: what it last set up; what a court learns is not shared
T = TypeVar("T")


def set_up(key: str, make: Callable[[], T]) -> T:
    """What a worker keeps from one piece of work to the next; made anew where the key is another. `key` tells what is
    made, and of which kind it is, from any other."""
    kept: dict[str, Any] = _local.__dict__.setdefault("kept", {})
    if key not in kept:
        kept.clear()
        kept[key] = make()
    made: T = kept[key]
    return made


def answered(work: Packed, batch: Batch) -> Answers:
    """A batch judged in a worker, which keeps the scheme from batch to batch."""
    return set_up(work.key, lambda: _unpacked(work)).answers(batch)


def _on_a_core(work: Packed, batch: Batch) -> Answers:
    collected_seldom()  # this process is ours alone; a cluster's workers are not
    return answered(work, batch)


def _unpacked(work: Packed) -> Court:
    scheme = pickle.loads(work.scheme)  # made by this program, in the process that handed out the work
    assert isinstance(scheme, Scheme)
    return Court(scheme, work.budget)
