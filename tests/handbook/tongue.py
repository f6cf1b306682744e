"""A made-up language: English with a mark on every letter, as wide as English, so that what a catalogue has can be told
from what it has not, and drawings lie as they lie in English."""

from __future__ import annotations

import re
import unicodedata
from string import Formatter

from interlock.draw.said import texts
from interlock.handbook.words import Catalogue, Term, english

# Each letter with a mark that its plain form can be found back from (Unicode's canonical decompositions).
_MARKED = dict(zip("abcdefghijklmnoprstuvwxyz", "áḃćḋéḟǵḣíĵḱĺḿńóṕŕśťúṽẃẋýź", strict=True))
MARKED = str.maketrans(_MARKED | {plain.upper(): marked.upper() for plain, marked in _MARKED.items()})


def marked(text: str) -> str:
    """A text with its letters marked, its fields as they are. There is no marked q: it stays."""
    return "".join(
        said.translate(MARKED) + ("" if name is None else f"{{{name}}}") for said, name, _, _ in Formatter().parse(text)
    )


def longer(text: str) -> str:
    """A text with words a third longer or more, as those of other languages are."""
    return "".join(
        re.sub(r"[A-Za-z]+", lambda word: word[0] + "senenenesse"[: -(-len(word[0]) // 3)], said)
        + ("" if name is None else f"{{{name}}}")
        for said, name, _, _ in Formatter().parse(text)
    )


def plain(text: str) -> str:
    """A marked text as it was."""
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))


def tongue() -> Catalogue:
    """The catalogue of the made-up language."""
    own = english()
    return Catalogue(
        "qaa",
        {key: marked(said) for key, said in own.texts.items()},
        tuple(Term(marked(t.name), tuple(marked(f) for f in t.found), marked(t.means)) for t in own.terms),
        {text: marked(text) for text in texts() if marked(text) != text},
    )
