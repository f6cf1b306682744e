"""How a written scheme is laid out: comments, aligned rows in braces, blocks, and texts that need quotes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from textwrap import wrap

from interlock.scheme.units import TIMES, time_text

WIDTH = 110
# Texts that YAML takes as they stand, in a block and in braces: they start with a letter and hold no sign that YAML
# reads.
_PLAIN = re.compile(r"[^\W\d_](?:[^\n:#]|:(?! |\Z)|(?<! )#)*\Z")
_PLAIN_IN_BRACES = re.compile(r"[^\W\d_][^\n{}\[\],:#]*\Z")

# A value: a text, or a mapping of its own.
Field = tuple[str, "str | Sequence[tuple[str, str]]"]


def scalar(text: str, *, braces: bool = False) -> str:
    """A text for people, in quotes where YAML would read it otherwise."""
    plain = _PLAIN_IN_BRACES if braces else _PLAIN
    return text if plain.match(text) and text == text.strip() else json.dumps(text, ensure_ascii=False)


def names(items: Sequence[str]) -> str:
    """A name, or a list of names."""
    return items[0] if len(items) == 1 else listed(items)


def listed(items: Sequence[str]) -> str:
    """A list of names."""
    return "[" + ", ".join(items) + "]"


def time(us: int) -> str:
    """A time in whole minutes, or else in seconds."""
    minute = TIMES["min"]
    return time_text(us) if us % minute == 0 or us < minute else f"{us / TIMES['s']:g} s"


def comment(text: str, indent: int = 0, width: int = WIDTH) -> list[str]:
    """A comment, wrapped."""
    first = " " * indent + "# "
    return wrap(text, width, initial_indent=first, subsequent_indent=first, break_on_hyphens=False)


def block(name: str, fields: Iterable[tuple[str, str]], indent: int = 2) -> list[str]:
    """An entry with each field on a line of its own; YAML joins a text that takes several lines."""
    start = " " * indent
    found = [f"{start}{name}:"]
    for key, value in fields:
        found += wrap(
            f"{key}: {value}",
            WIDTH,
            initial_indent=start + "  ",
            subsequent_indent=start + "    ",
            break_on_hyphens=False,
            break_long_words=False,
        )
    return found


def rows(entries: Sequence[tuple[str, Sequence[Field] | str]], indent: int = 2, longest: int = 0) -> list[str]:
    """Entries in braces, one below the other, their braces aligned; a text stands for itself."""
    longest = max([longest, *(len(name) for name, _ in entries)])
    found: list[str] = []
    for name, fields in entries:
        start = " " * indent + f"{name}:".ljust(longest + 2)
        found += [start + fields] if isinstance(fields, str) else braces(start, fields)
    return found


def braces(start: str, fields: Sequence[Field]) -> list[str]:
    """`start{key: value, …}`, broken between fields where it gets too wide, each line under the brace it belongs to. A
    mapping within goes to a line of its own where it fits there and not beside the rest."""
    page = _Page(start)
    for i, (key, value) in enumerate(fields):
        end = "}" if i == len(fields) - 1 else ","
        if isinstance(value, str):
            page.put(f"{key}: {value}{end}", page.outer)
            continue
        pieces = [f"{inner}: {text}" for inner, text in value]
        page.put(f"{key}: {{" + ", ".join(pieces) + f"}}{end}", page.outer, *_cut(key, pieces, end))
    return page.lines


def entry(start: str, field: Field) -> list[str]:
    """`start` key: value, a mapping in braces, broken where it gets too wide."""
    key, value = field
    return [f"{start}{key}: {value}"] if isinstance(value, str) else braces(f"{start}{key}: ", value)


def _cut(key: str, pieces: list[str], end: str) -> list[str]:
    """The same mapping in pieces, for where it is too wide for a line."""
    found = [f"{key}: {{{pieces[0]}", *pieces[1:]]
    return [piece + ("}" + end if i == len(found) - 1 else ",") for i, piece in enumerate(found)]


class _Page:
    """Lines being filled."""

    def __init__(self, start: str) -> None:
        self.lines = [start + "{"]
        self.outer = len(start) + 1
        self.fresh = True

    def put(self, whole: str, column: int, *pieces: str) -> None:
        """Put a text on the line, else on the next one; in pieces where it is too wide for a line of its own."""
        if not pieces or column + len(whole) <= WIDTH:
            self._put(whole, column)
            return
        if not self.fresh:
            self.lines.append(" " * column)
            self.fresh = True
        first, *rest = pieces
        self._put(first, column)
        inner = len(self.lines[-1]) - len(first) + first.index("{") + 1
        for piece in rest:
            self._put(piece, inner)

    def _put(self, text: str, column: int) -> None:
        gap = "" if self.fresh else " "
        if not self.fresh and len(self.lines[-1]) + 1 + len(text) > WIDTH:
            self.lines.append(" " * column + text)
        else:
            self.lines[-1] += gap + text
        self.fresh = False
