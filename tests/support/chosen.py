"""Which random claims are asked, kept in a file. Most are vacuous or endless whatever the delays are, and only the
brute force tells which: chosen once, the others need not be answered again each time.

INTERLOCK_REWRITE=1 (with one process) chooses anew.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

REWRITES = bool(os.environ.get("INTERLOCK_REWRITE"))


@dataclass(frozen=True, slots=True)
class Pick:
    """One question: the seed of its scheme, the claim, the faults it is asked under."""

    seed: int
    claim: str
    faults: tuple[str, ...] = ()


def picked(file: Path, chunk: str) -> list[Pick]:
    """The questions of a chunk, in their order."""
    return _chunks(file)[chunk]


def keep(file: Path, chunk: str, picks: Sequence[Pick]) -> None:
    """Put these in the place of the chunk's."""
    known = (_chunks(file) if file.exists() else {}) | {chunk: list(picks)}
    lines = []
    for name, mine in sorted(known.items()):
        lines.append(f"{name}\n")
        lines += ("\t".join((f"  {pick.seed}", pick.claim, *pick.faults)) + "\n" for pick in mine)
    file.write_text("".join(lines), encoding="utf-8")
    _chunks.cache_clear()


@cache
def _chunks(file: Path) -> dict[str, list[Pick]]:
    found: dict[str, list[Pick]] = {}
    for line in file.read_text(encoding="utf-8").splitlines():
        if line.startswith(" "):
            seed, claim, *faults = line.split("\t")
            found[next(reversed(found))].append(Pick(int(seed), claim, tuple(faults)))
        else:
            found[line] = []
    return found
