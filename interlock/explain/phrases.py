"""Phrases: a template and what fills it, turned into text by a catalogue only when someone reads it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from string import Formatter

from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say


@dataclass(frozen=True, slots=True)
class Phrase:
    """One template with its fields filled."""

    key: Template
    fields: tuple[tuple[str, Value], ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """Several values in a row: all but the last separated by `comma`, the last one by `last`."""

    items: tuple[Value, ...]
    last: Template = Say.AND
    comma: Template = Say.COMMA


Value = str | Phrase | Listing


def say(key: Template, **fields: Value) -> Phrase:
    """A phrase of that template."""
    return Phrase(key, tuple(fields.items()))


def listing(items: Iterable[Value], last: Template = Say.AND, comma: Template = Say.COMMA) -> Value:
    """`a, b and c`; a single value stands alone."""
    found = tuple(items)
    return found[0] if len(found) == 1 else Listing(found, last, comma)


def text(value: Value, catalogue: Mapping[Template, str] = ENGLISH) -> str:
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


def sentence(value: Value, catalogue: Mapping[Template, str] = ENGLISH) -> str:
    """The words with the first letter of a template large; a name that stands first keeps its letters."""
    words = text(value, catalogue)
    return words if _starts_with_name(value, catalogue) else words[:1].upper() + words[1:]


def _starts_with_name(value: Value, catalogue: Mapping[Template, str]) -> bool:
    """Whether the words begin with what fills a template: a name, unless that is a template's words again."""
    if isinstance(value, Listing):
        return _starts_with_name(value.items[0], catalogue)
    if isinstance(value, Phrase):
        first = next(iter(Formatter().parse(catalogue[value.key])), ("", None))
        if not first[0] and first[1] is not None:
            filled = dict(value.fields)[first[1]]
            return isinstance(filled, str) or _starts_with_name(filled, catalogue)
    return False
