"""Phrases: a template and what fills it, turned into text by a catalogue only when someone reads it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from interlock.explain.words import ENGLISH, Say


@dataclass(frozen=True, slots=True)
class Phrase:
    """One template with its fields filled."""

    key: Say
    fields: tuple[tuple[str, Value], ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """Several values in a row: all but the last separated by `comma`, the last one by `last`."""

    items: tuple[Value, ...]
    last: Say = Say.AND
    comma: Say = Say.COMMA


Value = str | Phrase | Listing


def say(key: Say, **fields: Value) -> Phrase:
    """A phrase of that template."""
    return Phrase(key, tuple(fields.items()))


def listing(items: Iterable[Value], last: Say = Say.AND, comma: Say = Say.COMMA) -> Value:
    """`a, b and c`; a single value stands alone."""
    found = tuple(items)
    return found[0] if len(found) == 1 else Listing(found, last, comma)


def text(value: Value, catalogue: Mapping[Say, str] = ENGLISH) -> str:
    """The words. Control characters, which a scheme's texts may hold, never reach a terminal.

    Raises KeyError where a template and its phrase disagree on a field, or a catalogue lacks the template.
    """
    match value:
        case str():
            return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(value.split()))
        case Listing(items=items, last=last, comma=comma):
            words = [text(item, catalogue) for item in items]
            head, tail = words[:-1], words[-1:]
            return catalogue[last].join([w for w in [catalogue[comma].join(head), *tail] if w])
        case Phrase(key=key, fields=fields):
            return catalogue[key].format(**{name: text(field, catalogue) for name, field in fields})


def sentence(value: Value, catalogue: Mapping[Say, str] = ENGLISH) -> str:
    """The words with the first letter of a template large; a name that stands first keeps its letters."""
    words = text(value, catalogue)
    starts_with_name = isinstance(value, Phrase) and catalogue[value.key].startswith("{")
    return words if starts_with_name else words[:1].upper() + words[1:]
