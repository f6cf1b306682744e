"""A process split off into several that share a list of work: the same results as in one.

A process is split where the system can do that (fork), so that its parts know already all it knows. A library's pool of
processes would take as long to load as a whole scheme's claims take to judge; this needs no more of one than that each
part takes the next piece of work from a common queue, here a pipe, and sends back what it finds.
"""

from __future__ import annotations

import os
import pickle
import signal
import threading
from collections.abc import Callable, Generator, Sequence
from select import select
from struct import Struct
from typing import Any, TypeVar

from interlock.garbage import IN_A_PART, collected_seldom

MOST_TICKETS = 2048  # of four bytes each: less than any system's pipe holds, so that they are written at once
AT_ONCE = 1 << 16  # bytes read from a pipe
NUMBER = Struct("=I")  # a ticket; and how long an answer is

R = TypeVar("R")
Work = Callable[[int], Any]
Answer = tuple[int, Any]


def cores() -> int:
    """The cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def can_split() -> bool:
    """Whether this process can be split safely: one with several threads cannot."""
    return hasattr(os, "fork") and threading.active_count() == 1


class _Part:
    """A process split off this one, and what it has sent so far."""

    def __init__(self, work: Work, order: Sequence[int], share: int, tickets: int, others: Sequence[_Part]) -> None:
        self.answers, sends = os.pipe()
        whole = os.getpid()
        self.pid = os.fork()
        if not self.pid:
            for part in (*others, self):  # so that writing fails once the process that reads is gone
                os.close(part.answers)
            _worked(work, order, share, tickets, sends, whole)
        os.close(sends)
        self._sent = bytearray()

    def read(self) -> list[Answer] | None:
        """What it has answered since; None: it has ended."""
        got = os.read(self.answers, AT_ONCE)
        if not got:
            return None
        self._sent += got
        found: list[Answer] = []
        while len(self._sent) >= NUMBER.size:
            end = NUMBER.size + NUMBER.unpack_from(self._sent)[0]
            if len(self._sent) < end:
                break
            found.append(pickle.loads(memoryview(self._sent)[NUMBER.size : end]))
            self._sent = self._sent[end:]
        return found

    def end(self) -> None:
        """Nobody waits for what it has not answered."""
        os.close(self.answers)
        os.kill(self.pid, signal.SIGTERM)  # it is not yet waited for, so the number is still its own
        os.waitpid(self.pid, 0)


def _worked(work: Work, order: Sequence[int], share: int, tickets: int, sends: int, whole: int) -> None:
    """A part's whole life: it never returns, and leaves nothing behind that belongs to the process it was split off."""
    try:
        collected_seldom(IN_A_PART)
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # interrupts are for the process that a person started
        while os.getppid() == whole and (ticket := os.read(tickets, NUMBER.size)):
            first = NUMBER.unpack(ticket)[0] * share
            for number in order[first : first + share]:
                try:
                    found: Any = work(number)
                except Exception as error:
                    found = error
                said = pickle.dumps((number, found), pickle.HIGHEST_PROTOCOL)
                left = memoryview(NUMBER.pack(len(said)) + said)
                while left:
                    left = left[os.write(sends, left) :]
    finally:
        os._exit(0)


def split(work: Callable[[int], R], order: Sequence[int], jobs: int) -> Generator[tuple[int, R], None, None]:
    """What `work` makes of each number of `order`, begun in that order by so many parts of this process, as it comes.
    Raises what `work` raises."""
    share = -(-len(order) // MOST_TICKETS)
    tickets, written = os.pipe()
    os.write(written, b"".join(NUMBER.pack(n) for n in range(-(-len(order) // share))))
    os.close(written)
    parts: list[_Part] = []
    for _ in range(jobs):
        parts.append(_Part(work, order, share, tickets, parts))
    busy = {part.answers: part for part in parts}
    owed = dict.fromkeys(order)
    try:
        while busy:
            for ready in select(list(busy), [], [])[0]:
                answers = busy[ready].read()
                if answers is None:
                    del busy[ready]
                for number, found in answers or ():
                    del owed[number]
                    if isinstance(found, Exception):
                        raise found
                    yield number, found
        for number in owed:  # a process that was ended from outside owes what it had begun: that is done here
            yield number, work(number)
    finally:
        os.close(tickets)
        for part in parts:
            part.end()


def in_order(found: Generator[tuple[int, R], None, None]) -> Generator[R, None, None]:
    """What `split` found for 0, 1, 2 and so on, each as soon as all before it are there."""
    known: dict[int, R] = {}
    wanted = 0
    try:
        for number, result in found:
            known[number] = result
            while wanted in known:
                yield known.pop(wanted)
                wanted += 1
    finally:
        found.close()
