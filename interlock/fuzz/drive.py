"""Hypothesis at the wheel: it draws the choices of which behaviours are made.

It runs outside any test runner here: no database of examples, no files, no reports of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings
from hypothesis import strategies as st

from interlock.fuzz.behaviour import Draw

T = TypeVar("T")

_BIT = st.booleans()


class _Choices:
    """Choices drawn by hypothesis; the first option is its simplest.

    Drawn bit by bit: among drawn integers hypothesis mixes numbers that it finds in the source of whatever modules are
    loaded (and keeps in a folder of its own), and the same seed would not give the same behaviours everywhere.
    """

    def __init__(self, draw: Callable[[st.SearchStrategy[bool]], bool]) -> None:
        self._draw = draw

    def pick(self, options: Sequence[T]) -> T:
        """One of the options."""
        count = len(options)
        if count == 1:
            return options[0]
        exact = count & (count - 1) == 0
        bits = (count - 1).bit_length() + (0 if exact else 2)  # two more even out what is no power of two
        number = 0
        for _ in range(bits):
            number = 2 * number + self._draw(_BIT)
        return options[number * count >> bits]


class Enough(BaseException):
    """Ends a run at once. No Exception: hypothesis would take it for a failure to look into."""


# After its first ten examples hypothesis turns to mutants of each, five to one, made by copying one choice over
# another. Behaviours gain nothing by that (what is there took several times as long to find), so ten make one run.
BATCH = 10


def drive(make: Callable[[Draw], T], examples: int, source: str, done: Callable[[T], None]) -> None:
    """Make up to `examples` (at most BATCH) with the seed `source`; each is handed to `done`, which raises Enough to
    end. The first is the plainest: each first option."""

    @st.composite
    def made(draw: Callable[[st.SearchStrategy[bool]], bool]) -> T:
        return make(_Choices(draw))

    @seed(source)
    @settings(
        max_examples=min(BATCH, examples),
        database=None,
        deadline=None,
        derandomize=False,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
        report_multiple_bugs=False,
        print_blob=False,
    )
    @given(made())
    def examine(one: T) -> None:
        done(one)

    run: Any = examine
    run()
