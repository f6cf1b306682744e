"""A question and its answer as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.scheme.words import Word


class Kind(Word):
    """What is asked."""

    PREDICT = "predict"  # which of these paths run afterwards?
    WHICH_FAULT = "which_fault"  # which of these faults explains what is seen?
    FIND_SETTING = "find_setting"  # at which readings does this path stop?


@dataclass(frozen=True, slots=True)
class Act:
    """What is done at once, and for how many scans it is then waited. Readings in millionths."""

    scans: int
    readings: tuple[tuple[str, int], ...] = ()
    lines: tuple[tuple[str, bool], ...] = ()
    press: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """What is seen at the end of a wait: of each path whether it runs, None where it can't be told for certain; the
    rules whose alarms sound."""

    running: Mapping[str, bool | None]
    alarms: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """Readings between `low` and `high`, in millionths; an end that belongs to them is closed."""

    low: int
    high: int
    low_closed: bool
    high_closed: bool

    @property
    def first(self) -> int:
        """The lowest of them, in whole millionths."""
        return self.low if self.low_closed else self.low + 1

    @property
    def last(self) -> int:
        """The highest of them, in whole millionths."""
        return self.high if self.high_closed else self.high - 1

    def inside(self, value: int) -> bool:
        """Whether a reading is one of them."""
        above = value >= self.low if self.low_closed else value > self.low
        return above and (value <= self.high if self.high_closed else value < self.high)


@dataclass(frozen=True, slots=True)
class Otherwise:
    """What tells a fault that was offered from the one that is there: after this act (from 1) this path would run, or
    be stopped."""

    fault: str
    act: int
    path: str
    runs: bool


@dataclass(frozen=True, slots=True)
class Question:
    """One question, the installation being at rest before the first act.

    `asked`: the paths of a prediction, the faults offered, or the path to be stopped; `answer`: of each whether it
    runs, or is there. Which fault: `seen` after each act and what a sound installation would show. Find the setting:
    `sensors` are given one and the same reading, the path stops for good at those in `spans` within `within` scans.
    `reasons`: why, sentence by sentence.
    """

    kind: Kind
    acts: tuple[Act, ...]
    asked: tuple[str, ...]
    answer: tuple[bool, ...]
    reasons: tuple[str, ...]
    seen: tuple[Look, ...] = ()
    sound: tuple[Look, ...] = ()
    sensors: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    within: int = 0
    valid: Span | None = None
    otherwise: tuple[Otherwise, ...] = ()
