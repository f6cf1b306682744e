"""How findings look: on a terminal with the offending text and a caret, and as JSON."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from shutil import get_terminal_size
from textwrap import fill
from typing import Any, TextIO

from interlock.scheme.findings import Finding, Severity
from interlock.scheme.source import NOWHERE, Place, Source

WIDEST = 100  # characters of an excerpt
NARROWEST = 20  # columns that a wrapped line has at least, beside its indent
BUILT_OTHERWISE = "A proof about a scheme says nothing of a wire that was connected otherwise: test the installation."


def finding_json(finding: Finding, file: str) -> dict[str, Any]:
    """One finding as plain data. `line` and `column` count from 1; null where the file as a whole is meant."""
    placed = finding.place != NOWHERE
    return {
        "id": finding.ident,
        "severity": str(finding.severity),
        "line": finding.place.line if placed else None,
        "column": finding.place.column if placed else None,
        "message": finding.message,
        "help": finding.help,
        "file": file,
        "name": finding.name,
        "also": [{"line": p.line, "column": p.column, "message": text} for p, text in finding.also],
    }


def json_text(data: object) -> str:
    """Data for other programs, ending with a line break."""
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def print_json(data: object) -> None:
    """Data on standard output, for other programs."""
    sys.stdout.write(json_text(data))


class Progress:
    """One line on a terminal that says how far things are; nothing where standard error is none."""

    def __init__(self) -> None:
        self.shown = sys.stderr.isatty()

    def say(self, words: str) -> None:
        """Show these words instead of those before; as many as one line holds, for more could not be taken back."""
        if self.shown:
            room = get_terminal_size().columns - 1
            line = words if len(words) <= room else f"{words[: room - 1]}…"
            sys.stderr.write(f"\r\x1b[K{line}")
            sys.stderr.flush()

    def done(self) -> None:
        """Leave the line empty."""
        self.say("")


def print_findings(findings: Sequence[Finding], source: Source | None, file: str, out: TextIO | None = None) -> None:
    """Findings for people. `source` is None where the file could not be read."""
    from rich.console import Console

    console = Console(file=out or sys.stdout, highlight=False, soft_wrap=True)
    for finding in findings:
        console.print(_text(finding, source, file))


def _text(finding: Finding, source: Source | None, file: str) -> Any:
    from rich.text import Text

    text = Text()
    where = file if finding.place == NOWHERE else f"{file}:{finding.place.line}:{finding.place.column}"
    text.append(where, "bold")
    text.append(": ")
    # Bold against underlined: the two differ without colour too.
    text.append(f"{finding.severity}: ", "bold red" if finding.severity is Severity.ERROR else "underline yellow")
    text.append(finding.message)
    text.append(f"  [{finding.ident}]\n", "dim")
    if source is not None and finding.place != NOWHERE:
        text.append(excerpt(source, finding.place))
    for place, said in finding.also:
        if place != NOWHERE:
            text.append(f"  {file}:{place.line}:{place.column}: {said}\n")
            if source is not None:
                text.append(excerpt(source, place, caret="-"))
    if finding.help:
        text.append("  help: ", "bold")
        text.append(finding.help + "\n")
    return text


def excerpt(source: Source, place: Place, caret: str = "^") -> str:
    """The line and a caret under the offending part; a long line is cut around it."""
    from rich.cells import cell_len

    line = "".join(c if c.isprintable() else " " for c in source.line(place.line))
    start = place.column - 1
    length = max(1, min(place.length, len(line) - start))
    first = max(0, start - WIDEST // 2) if len(line) > WIDEST else 0
    shown = line[first : first + WIDEST]
    before, marked = shown[: start - first], shown[start - first : start - first + length]
    number = f"{place.line:>5}"
    pointer = " " * cell_len(before) + caret * max(1, cell_len(marked))
    cut, more = "…" if first else "", "…" if first + WIDEST < len(line) else ""
    return f"{number} | {cut}{shown}{more}\n{' ' * len(number)} | {' ' * len(cut)}{pointer}\n"


def tell(lines: Iterable[str], hang: int = 0) -> None:
    """Lines on standard output: on a terminal wrapped to its width, elsewhere each whole, for whoever reads them there
    line by line. `hang`: the column that what is wrapped begins in, where the terminal has the room."""
    width = get_terminal_size().columns if sys.stdout.isatty() else 0
    sys.stdout.writelines(f"{hanging(line, width, hang) if width else line}\n" for line in lines)


def hanging(line: str, width: int, hang: int = 0) -> str:
    """A line wrapped to a width between words; what follows begins in column `hang`, or two columns further in than the
    line where that is 0 or would leave less than `NARROWEST`."""
    if len(line) <= width:
        return line
    words = line.lstrip()
    indent = " " * (len(line) - len(words))
    together = re.sub(r"(?<=\d) (?=\S)", "\u00a0", words)  # a number and its unit
    return fill(
        together,
        max(width, len(indent) + NARROWEST),
        initial_indent=indent,
        subsequent_indent=" " * hang if hang and width - hang >= NARROWEST else indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    ).replace("\u00a0", " ")


def count_text(count: int, noun: str) -> str:
    """`1 finding`, `3 findings`."""
    return f"{count} {noun}" + ("" if count == 1 else "s")
