"""Many claims judged on all cores of this computer: the same verdicts, in the same order.

A process is split where the system can do that (fork), so that its parts know the scheme already; elsewhere, and for a
few claims, all are judged here. A library's pool of processes would take as long to load as a fifth of an ordinary
scheme's claims to judge; this needs no more of one than that each part takes the next claim from a common queue, here a
pipe, and sends back what it finds.
"""

from __future__ import annotations

import os
import pickle
import signal
import threading
from collections.abc import Callable, Generator, Sequence
from select import select
from struct import Struct

from interlock.proof.index import Index
from interlock.proof.prove import BUDGET, Verdict, prove
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.words import Must

FEW = 8  # claims that are sooner judged here than handed out
MOST_TICKETS = 2048  # of four bytes each: less than any system's pipe holds, so that they are written at once
AT_ONCE = 1 << 16  # bytes read from a pipe
NUMBER = Struct("=I")  # a ticket; and how long an answer is

Judge = Callable[[int], Verdict]
Answer = tuple[int, Verdict | Exception]


def proved(
    scheme: Scheme, claims: Sequence[Claim], faults: Sequence[Fault] = (), *, budget: int = BUDGET, jobs: int = 0
) -> Generator[Verdict, None, None]:
    """The verdicts on some claims, one by one, in their order. `jobs`: processes at most (0: one for each core that
    this process may use). Raises what `prove` raises."""
    index = Index(scheme)

    def judge(number: int) -> Verdict:
        return prove(scheme, claims[number], faults, budget=budget, index=index)

    jobs = min(jobs or cores(), len(claims))
    if jobs > 1 and len(claims) > FEW and _can_split():
        # what must keep running takes longest to judge: begun first, no process is left alone with one at the end
        order = sorted(range(len(claims)), key=lambda number: claims[number].must is not Must.NEVER_STOPPED)
        yield from _split(judge, order, jobs)
    else:
        yield from map(judge, range(len(claims)))


def cores() -> int:
    """The cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _can_split() -> bool:
    """Whether this process can be split safely: one with several threads cannot."""
    return hasattr(os, "fork") and threading.active_count() == 1


class _Part:
    """A process split off this one, and what it has sent so far."""

    def __init__(self, judge: Judge, order: Sequence[int], share: int, tickets: int) -> None:
        self.answers, sends = os.pipe()
        self.pid = os.fork()
        if not self.pid:
            _work(judge, order, share, tickets, sends)
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


def _work(judge: Judge, order: Sequence[int], share: int, tickets: int, sends: int) -> None:
    """A part's whole life: it never returns, and leaves nothing behind that belongs to the process it was split off."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # interrupts are for the process that a person started
        while ticket := os.read(tickets, NUMBER.size):
            first = NUMBER.unpack(ticket)[0] * share
            for number in order[first : first + share]:
                try:
                    found: Verdict | Exception = judge(number)
                except Exception as error:
                    found = error
                said = pickle.dumps((number, found), pickle.HIGHEST_PROTOCOL)
                left = memoryview(NUMBER.pack(len(said)) + said)
                while left:
                    left = left[os.write(sends, left) :]
    finally:
        os._exit(0)


def _split(judge: Judge, order: Sequence[int], jobs: int) -> Generator[Verdict, None, None]:
    share = -(-len(order) // MOST_TICKETS)
    tickets, written = os.pipe()
    os.write(written, b"".join(NUMBER.pack(n) for n in range(-(-len(order) // share))))
    os.close(written)
    parts = [_Part(judge, order, share, tickets) for _ in range(jobs)]
    busy = {part.answers: part for part in parts}
    known: dict[int, Verdict | Exception] = {}
    try:
        for number in range(len(order)):
            while number not in known and busy:
                for ready in select(list(busy), [], [])[0]:
                    answers = busy[ready].read()
                    if answers is None:
                        del busy[ready]
                    else:
                        known.update(answers)
            # a process that was ended from outside owes what it had begun: that is judged here
            found = known.pop(number) if number in known else judge(number)
            if isinstance(found, Exception):
                raise found
            yield found
    finally:
        os.close(tickets)
        for part in parts:
            part.end()


__all__ = ["cores", "proved"]
