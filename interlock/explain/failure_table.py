"""A failure modes and effects table as text for a terminal, as CSV and as plain data."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from textwrap import wrap

from interlock.explain.claims import not_protected
from interlock.explain.document import Item, Plain
from interlock.explain.failure_modes import CLASSES, COLUMNS, Column, FailureMode, requirements_named
from interlock.explain.phrases import say, sentence, text
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.scheme.model import Scheme

WIDEST = 100
GAP = 1
# Parts of the width for all columns but the remark, which has a line of its own under its row.
SHARES = {
    Column.ITEM: 15,
    Column.MODE: 12,
    Column.LOCAL: 23,
    Column.END: 25,
    Column.DETECTION: 15,
    Column.SEVERITY: 10,
}
assert {*SHARES, Column.REMARK} == set(Column), set(Column) - set(SHARES)
NARROWEST = 60


def cell(row: FailureMode, column: Column, catalogue: Mapping[Template, str] = ENGLISH) -> str:
    """The words of one cell."""
    value = row.cells[column]
    if isinstance(value, tuple):
        return " ".join(sentence(v, catalogue) for v in value)
    return text(value, catalogue)


def counts(rows: Iterable[FailureMode], catalogue: Mapping[Template, str] = ENGLISH) -> list[tuple[str, int, str]]:
    """Of each severity class its word, how many faults have it, and what it means; then those left out."""
    found = list(rows)
    told = [
        (text(say(word), catalogue), sum(row.severity is one for row in found), text(say(means), catalogue))
        for one, (word, means) in CLASSES.items()
    ]
    left_out = sum(row.severity is None for row in found)
    return told + ([(text(say(Say.SEVERITY_LEFT_OUT), catalogue), left_out, "")] if left_out else [])


# --- on a terminal


def table_text(
    scheme: Scheme, rows: Sequence[FailureMode], width: int = WIDEST, catalogue: Mapping[Template, str] = ENGLISH
) -> str:
    """The table, 60 to 100 columns wide, each row's remark under it, and what its words refer to; ends with a line
    break."""
    width = min(max(width, NARROWEST), WIDEST)
    room = width - GAP * (len(SHARES) - 1)
    widths = {column: room * share // sum(SHARES.values()) for column, share in SHARES.items()}
    heads = {column: text(say(COLUMNS[column]), catalogue) for column in Column}
    lines = [text(say(Say.TABLE_TITLE), catalogue)]
    lines += wrap(text(say(Say.TABLE_ALONE), catalogue), width)
    lines += ["", *_side_by_side([wrapped(heads[c], widths[c]) for c in SHARES], [*widths.values()]), "-" * width]
    for row in rows:
        lines += _side_by_side([wrapped(cell(row, c, catalogue), w) for c, w in widths.items()], [*widths.values()])
        remark = cell(row, Column.REMARK, catalogue)
        if remark:
            lines += _wrapped(f"{heads[Column.REMARK]}: {remark}", width, "    ")
        lines.append("")
    lines += wrap(text(say(Say.TABLE_CLASSES), catalogue), width)
    for word, count, means in counts(rows, catalogue):
        lines += wrap(f"{count:>4} {word}" + (f": {means}" if means else ""), width, subsequent_indent=" " * 5)
    for title, items in notes(scheme, rows):
        lines += ["", *wrap(text(say(title), catalogue), width)]
        for item in items:
            lines += _wrapped(item_words(item, catalogue), width, "  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def notes(scheme: Scheme, rows: Sequence[FailureMode]) -> list[tuple[Say, Sequence[Item]]]:
    """What stands under a table: the requirements it names, and those that nothing keeps."""
    found: list[tuple[Say, Sequence[Item]]] = [
        (Say.TABLE_REQUIREMENTS, requirements_named(scheme, rows)),
        (Say.TITLE_NOT_PROTECTED, not_protected(scheme)),
    ]
    return [(title, items) for title, items in found if items]


def item_words(item: Item, catalogue: Mapping[Template, str] = ENGLISH) -> str:
    """A name and its sentences."""
    return f"{text(item.heading, catalogue)}: {' '.join(sentence(s, catalogue) for s in item.sentences)}"


def _side_by_side(cells: Sequence[Sequence[str]], widths: Sequence[int]) -> list[str]:
    height = max(len(lines) for lines in cells)
    return [
        (" " * GAP).join(
            (lines[i] if i < len(lines) else "").ljust(width) for lines, width in zip(cells, widths, strict=True)
        )
        for i in range(height)
    ]


def wrapped(words: str, width: int) -> list[str]:
    """Lines of at most `width` columns; a name that is longer is broken after one of `_ . ~ /` where it has any."""
    return _wrapped(words, width, "")


def _wrapped(words: str, width: int, indent: str) -> list[str]:
    pieces = [piece for word in words.split() for piece in _pieces(word, width - len(indent))]
    lines: list[str] = []
    for piece in pieces:
        if lines and len(lines[-1]) + 1 + len(piece) <= width:
            lines[-1] += f" {piece}"
        else:
            lines.append(indent + piece)
    return lines


def _pieces(word: str, width: int) -> list[str]:
    """A word in pieces that fit."""
    found = []
    while len(word) > width:
        cut = max((word.rfind(sign, 0, width) for sign in "_.~/"), default=-1) + 1 or width
        found.append(word[:cut])
        word = word[cut:]
    return [*found, word]


# --- for programs


def table_csv(rows: Iterable[FailureMode], catalogue: Mapping[Template, str] = ENGLISH) -> str:
    """The table by RFC 4180: a head, then a record a row, the fault's name first, the columns after it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["Fault", *(text(say(key), catalogue) for key in COLUMNS.values())])
    writer.writerows([row.fault, *(cell(row, column, catalogue) for column in COLUMNS)] for row in rows)
    return out.getvalue()


def table_json(rows: Iterable[FailureMode], catalogue: Mapping[Template, str] = ENGLISH) -> list[Plain]:
    """The rows as plain data: the columns' words by their names, `fault`, `severity` as a word of its own (null for a
    fault left out), `violates` and the `excluded` reason."""
    return [
        {
            "fault": row.fault,
            **{str(column): cell(row, column, catalogue) for column in Column},
            "severity": None if row.severity is None else str(row.severity),
            "violates": [*row.violates],
            "excluded": row.excluded or None,
        }
        for row in rows
    ]
