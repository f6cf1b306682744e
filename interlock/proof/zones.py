"""Sets of timer values as difference bounds over whole scans, and how one scan moves them.

A zone is a closed matrix, flat: row 0 is zero, rows 1… are the running timers in the order of their components, the
last row (where there is one) counts bad scans. Everything here is exact for whole numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from operator import itemgetter, le

FAR = 1 << 60
Zone = tuple[int, ...]


def tighten(d: list[int], n: int, i: int, j: int, bound: int) -> bool:
    """Add x_i - x_j <= bound to a closed matrix of n rows; False where nothing is left."""
    if bound >= d[i * n + j]:
        return True
    if bound + d[j * n + i] < 0:
        return False
    row = d[j * n : (j + 1) * n]
    for k in range(0, n * n, n):
        via = d[k + i] + bound
        if via < FAR and via < d[k + j]:  # else nothing in this row shrinks: it is closed already
            for m, onward in enumerate(row, k):
                if via + onward < d[m]:  # noqa: PLR1730 (the innermost loop of the search: a call costs)
                    d[m] = via + onward
    return True


def elapsed(d: list[int], n: int, most: Sequence[int]) -> None:
    """Let any number of scans go by; timer i, at most most[i - 1] now, stays so (FAR: any). In place, closed again."""
    # all timers grow alike, so their differences stay as they are, and how large one can get hangs on those alone
    limits = [(j, top) for j, top in enumerate(most, 1) if top < FAR]
    for i in range(1, n):
        at, best = i * n, FAR
        for j, top in limits:
            if d[at + j] + top < best:  # noqa: PLR1730 (as above)
                best = d[at + j] + top
        d[at] = best


def freed(d: list[int], n: int, i: int, most: int | None) -> None:
    """Let x_i be any larger value as well, up to `most` (FAR: any); None: any smaller one, down to 0."""
    if most is None:
        for j in range(n):
            if j != i:
                d[j * n + i] = d[j * n]
    else:
        for j in range(n):
            if j != i:
                d[i * n + j] = FAR if most == FAR else most + d[j]


def within(a: Zone, b: Zone) -> bool:
    """Whether a lies in b (same rows)."""
    return all(map(le, a, b))


Rows = Callable[[Zone], Zone]  # what takes some rows of a zone


@lru_cache(maxsize=4096)
def over(n: int, kept: tuple[int, ...]) -> Rows:
    """What takes from a zone of n rows some of them (row 0 among them)."""
    return itemgetter(*(i * n + j for i in kept for j in kept)) if len(kept) > 1 else lambda _: (0,)


def rows(d: Zone, n: int, kept: Sequence[int]) -> Zone:
    """The zone over some of its rows (row 0 among them)."""
    return over(n, tuple(kept))(d)
