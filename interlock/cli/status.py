"""Exit statuses of every command."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """Exit statuses."""

    GOOD = 0
    FINDING = 1
    BAD_INPUT = 2
    FAULT_OF_THE_TOOL = 70  # EX_SOFTWARE of BSD's sysexits.h
    INTERRUPTED = 130
