"""How often the search for unreachable cycles of objects runs."""

from __future__ import annotations

import gc

ALLOCATIONS, ROUNDS, LONG_ROUNDS = 20_000, 50, 100
IN_A_PART = 1_000_000  # of a process that ends with its work


def collected_seldom(allocations: int = ALLOCATIONS) -> None:
    """Make this process look for cycles seldom: the explorer makes many small objects and hardly a cycle, and looking
    takes a fifth of its time. For programs of our own; a library leaves its host's setting alone."""
    gc.set_threshold(allocations, ROUNDS, LONG_ROUNDS)
