"""Many claims judged on all cores of this computer: the same verdicts, in the same order.

Where this process can't be split, and for a few claims, all are judged here.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence

from interlock import split
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
    index = Index(scheme)

    def judge(number: int) -> Verdict:
        return prove(scheme, claims[number], faults, budget=budget, index=index)

    jobs = min(jobs or split.cores(), len(claims))
    if jobs == 1 or len(claims) <= FEW or not split.can_split():
        yield from map(judge, range(len(claims)))
        return
    # what must keep running takes longest to judge: begun first, no process is left alone with one at the end
    order = sorted(range(len(claims)), key=lambda number: claims[number].must is not Must.NEVER_STOPPED)
    yield from split.in_order(split.split(judge, order, jobs))


__all__ = ["proved"]
