"""The explanation as data: sections of items, each with its sentences and the plain facts behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from interlock.explain.closed import Section
from interlock.explain.phrases import Phrase, Value

# What JSON can hold.
Plain: TypeAlias = "bool | int | float | str | list[Plain] | dict[str, Plain] | None"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing explained: `sentences` make a paragraph, `points` stand on a line each. `data` are its plain facts."""

    name: str
    heading: Value
    sentences: tuple[Phrase, ...] = ()
    points: tuple[Phrase, ...] = ()
    data: Mapping[str, Plain] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Chapter:
    """A section of the explanation and its items, never empty."""

    section: Section
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A whole scheme, explained."""

    title: str
    revision: str
    chapters: tuple[Chapter, ...]
