"""How large, how slow and how odd random schemes are."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.records import replace

Span = tuple[int, int]  # least and most, both included


@dataclass(frozen=True)
class Profile:
    """How large, how slow and how odd. Spans are drawn evenly; `odd` is the chance of each rarer construct."""

    name: str
    kinds: Span = (1, 2)  # kinds of quantity
    quantities: Span = (1, 2)  # of each kind
    sensors: Span = (1, 2)
    readings: Span = (0, 1)
    units: Span = (1, 2)
    external: Span = (0, 2)
    sent: Span = (0, 1)
    confirming: Span = (0, 1)
    rules: Span = (2, 4)
    paths: Span = (1, 2)
    extra_outputs: Span = (0, 1)  # beyond one a path
    groups: Span = (0, 1)
    requirements: Span = (1, 3)
    delay: Span = (0, 3)  # scans
    overrides: Span = (1, 4)  # scans
    contact_delay: Span = (0, 2)  # scans of stops_within, starts_within
    allowed: Span = (0, 10)  # scans of longer_than
    scans_ms: tuple[int, ...] = (100,)
    values: int = 6  # how often a rule watches a value, against 3 for a line, 1 or more for a path or another rule
    path_conditions: float = 0.25
    narrow: bool = False  # spans of two dozen grid steps, so that all truths can be enumerated
    odd: float = 0.3


TINY = Profile(
    "tiny",
    kinds=(1, 1),
    rules=(2, 5),
    allowed=(0, 12),
    narrow=True,
)
DELAYED = replace(TINY, name="delayed", delay=(1, 4))
SMALL = Profile(
    "small",
    rules=(3, 6),
    paths=(1, 3),
    sensors=(1, 3),
    sent=(0, 2),
    delay=(0, 4),
    groups=(0, 2),
    narrow=True,
)
INTERLOCKS = Profile(
    "interlocks",
    kinds=(1, 1),
    quantities=(1, 1),
    sensors=(1, 1),
    readings=(0, 0),
    external=(1, 2),
    sent=(1, 2),
    confirming=(1, 3),
    rules=(3, 6),
    paths=(2, 3),
    groups=(0, 0),
    delay=(0, 4),
    allowed=(0, 12),
    values=1,
    path_conditions=0.6,
    narrow=True,
)
BROAD = Profile(
    "broad",
    kinds=(1, 3),
    quantities=(1, 3),
    sensors=(2, 5),
    readings=(0, 3),
    units=(1, 3),
    external=(1, 4),
    sent=(0, 4),
    confirming=(0, 3),
    rules=(4, 14),
    paths=(2, 7),
    extra_outputs=(0, 4),
    groups=(0, 3),
    requirements=(2, 6),
    delay=(0, 4),
    scans_ms=(100, 100, 50, 250),
)
LONG = Profile(
    "long",
    rules=(3, 8),
    paths=(1, 4),
    external=(0, 3),
    sent=(0, 2),
    delay=(0, 6000),
    overrides=(1, 9000),
    contact_delay=(0, 100),
    allowed=(0, 20000),
)
