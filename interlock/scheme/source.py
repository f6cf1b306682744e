"""The text of a scheme file and places in it."""

from __future__ import annotations

import os
import re
import stat
from functools import lru_cache
from pathlib import Path

from msgspec import Struct

MOST_BYTES = 8 * 1024 * 1024  # a scheme of 2,000 rules takes about half a megabyte

# YAML's line breaks, so that our line numbers are the parser's.
LINE_BREAK = re.compile(r"\r\n|[\n\r\x85\u2028\u2029]")


class Place(Struct, frozen=True, order=True):
    """Where something stands: line and column from 1, and how many characters it takes."""

    line: int
    column: int
    length: int = 1

    def part(self, start: int, length: int) -> Place:
        """A part of a text that stands on one line, `start` characters on."""
        return Place(self.line, self.column + start, max(1, length))


NOWHERE = Place(0, 0, 0)


class Source(Struct, frozen=True):
    """A file's name as the user gave it, and its text."""

    name: str
    text: str

    def line(self, number: int) -> str:
        """Line `number` (from 1) without its break; "" outside the text."""
        lines = _lines(self.text)
        return lines[number - 1] if 0 < number <= len(lines) else ""


@lru_cache(maxsize=4)
def _lines(text: str) -> tuple[str, ...]:
    return tuple(LINE_BREAK.split(text))


class UnreadableError(Exception):
    """The file can't be read as text: what, and what to do. `place` where there is one in the file."""

    def __init__(self, ident: str, message: str, help_text: str, place: Place = NOWHERE) -> None:
        super().__init__(message)
        self.ident, self.message, self.help, self.place = ident, message, help_text, place


def read_source(path: str | os.PathLike[str]) -> Source:
    """Read a scheme file as UTF-8 text (a byte order mark is dropped). Raises UnreadableError."""
    name = os.fspath(path)
    try:
        if stat.S_ISDIR(os.stat(name).st_mode):
            raise UnreadableError("not-a-file", f"{name} is a directory", "name a scheme file in it")
        with Path(name).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise UnreadableError(
            "cannot-open", f"{name} cannot be opened: {error.strerror or error}", "check the name and the permissions"
        ) from error
    except ValueError as error:  # a NUL in the name
        raise UnreadableError("cannot-open", f"{name!r} cannot be opened: {error}", "check the name") from error
    return decoded(name, data)


def decoded(name: str, data: bytes) -> Source:
    """The bytes of a scheme file as UTF-8 text (a byte order mark is dropped). Raises UnreadableError."""
    if len(data) > MOST_BYTES:
        raise UnreadableError(
            "too-large",
            f"{name} is larger than {MOST_BYTES // 1024 // 1024} MiB",
            "a scheme is a page or a few of text: is this the right file?",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        lines = LINE_BREAK.split(before)
        raise UnreadableError(
            "not-utf-8",
            f"the byte 0x{data[error.start]:02x} is not UTF-8 text",
            "save the file as UTF-8",
            Place(len(lines), len(lines[-1]) + 1),
        ) from error
    return Source(name, text)
