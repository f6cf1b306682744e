"""What stands on drawings, in the language in force. The English text stands in the code where it is said, with its
fields in braces, and is what it is looked up by; where a catalogue lacks it, and without one, it is said itself.

Every text is a literal in a call of `said`, `counted` or `Text`, so that `texts` finds all of them.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache, reduce
from importlib.resources import files

_IN_FORCE: ContextVar[Mapping[str, str] | None] = ContextVar("texts of drawings", default=None)


@contextmanager
def drawn_in(texts: Mapping[str, str]) -> Iterator[None]:
    """What is drawn inside it says these texts, by the English ones. A generator of drawings has to end in it."""
    before = _IN_FORCE.set(texts)
    try:
        yield
    finally:
        _IN_FORCE.reset(before)


def said(text: str, /, **fields: object) -> str:
    """A text in the language in force, its fields filled. Raises KeyError where a field of it is missing."""
    texts = _IN_FORCE.get()
    if texts is not None:
        text = texts.get(text, text)
    return text.format(**fields) if fields else text


def counted(count: int, one: str, many: str, /, **fields: object) -> str:
    """The text for one thing or that for several; both can have the field `count`."""
    return said(one if count == 1 else many, count=f"{count:,}", **fields)


@dataclass(frozen=True, slots=True)
class Text:
    """A text to be said later: what a table holds. Calling it says it."""

    text: str

    def __call__(self, **fields: object) -> str:
        """The text in the language in force."""
        return said(self.text, **fields)


# --- several in a row


def all_of(items: Iterable[str]) -> str:
    """`a and b and c`; "" for none."""
    found = list(items)
    return reduce(lambda some, one: said("{some} and {one}", some=some, one=one), found) if found else ""


def any_of(items: Iterable[str]) -> str:
    """`a or b or c`; "" for none."""
    found = list(items)
    return reduce(lambda some, one: said("{some} or {one}", some=some, one=one), found) if found else ""


def listed(items: Iterable[str]) -> str:
    """`a, b, c`."""
    return said(", ").join(items)


def in_turn(items: Iterable[str]) -> str:
    """`a; b; c`: what has commas of its own."""
    return said("; ").join(items)


def titled(name: str, says: str) -> str:
    """`name: what is said of it`; the name alone where nothing is."""
    return said("{name}: {says}", name=name, says=says) if says else name


# --- all texts


SAYING = {"said": slice(0, 1), "Text": slice(0, 1), "counted": slice(1, 3)}  # which arguments are texts
_OWN = "said.py"  # in which these are defined: what it hands on is no literal


@cache
def texts() -> tuple[str, ...]:
    """Every text that a drawing can say, in English, in the order of the modules and of their lines. Read from this
    package's own source: there is no list of them to be kept."""
    found: dict[str, None] = {}
    for path in sorted((p for p in files(__package__).iterdir() if p.name.endswith(".py")), key=lambda p: p.name):
        for text in sorted(_said_in(path.read_text(encoding="utf-8")), key=lambda text: (text.lineno, text.col_offset)):
            if isinstance(text, ast.Constant):
                found[str(text.value)] = None
            elif path.name != _OWN:
                raise AssertionError(f"{path.name}:{text.lineno}: what is said has to be a literal")
    return tuple(found)


def _said_in(source: str) -> Iterator[ast.expr]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SAYING:
            yield from node.args[SAYING[node.func.id]]
