"""The trade's terms that the page really uses."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.handbook.html import Html, Part, pairs, words_of
from interlock.handbook.words import Catalogue, Term


def used(words: Catalogue, parts: Iterable[str]) -> tuple[Term, ...]:
    """The terms of the catalogue that stand in this markup, by name."""
    text = " ".join(words_of(part) for part in parts).replace("_", " ")
    found = [term for term in words.terms if term.used_in(text)]
    return tuple(sorted(found, key=lambda term: term.name.lower()))


def glossary(words: Catalogue, parts: Iterable[Html]) -> Part:
    """What they mean."""
    body = pairs((term.name, term.means) for term in used(words, parts))
    return Part("glossary", words("terms.title"), body)
