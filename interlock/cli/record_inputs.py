"""What people hand in for a visit: photographs, results, notes, each looked at before anything is written."""

from __future__ import annotations

import stat
from collections.abc import Sequence
from pathlib import Path

from interlock.plan.results import load_results
from interlock.record.connections import (
    PICTURES,
    WHOLE,
    Connection,
    LabelError,
    labels_of_name,
    tied,
)
from interlock.record.write import Picture
from interlock.scheme.findings import SchemeError


class UnusableError(ValueError):
    """Input that can't be taken: what, and what to do."""

    def __init__(self, message: str, help_text: str) -> None:
        super().__init__(message)
        self.help = help_text


def regular(file: Path) -> None:
    """Raises UnusableError where there is no file of that name, or an empty one."""
    try:
        found = file.stat()
    except OSError as error:
        raise UnusableError(
            f"{file} cannot be opened: {error.strerror or error}", "check the name and the permissions"
        ) from error
    if not stat.S_ISREG(found.st_mode):
        raise UnusableError(f"{file} is no file", "name a file, not a folder")
    if not found.st_size:
        raise UnusableError(f"{file} is empty", "was it copied whole?")


def pictures(given: Sequence[str], folder: Path | None, known: Sequence[Connection]) -> tuple[Picture, ...]:
    """The photographs of a visit: those given one by one, then a folder's by their names.

    Raises UnusableError with the first that can't be tied to what it shows.
    """
    try:
        found = [_given(text, known) for text in given]
        if folder is not None:
            if not folder.is_dir():
                raise UnusableError(f"{folder} is no folder", "name the folder that holds the photographs")
            files = sorted(f for f in folder.iterdir() if not f.name.startswith("."))
            if not files:
                raise UnusableError(
                    f"{folder} holds no photographs", "each is called by what it shows, such as `X3.1 inside.jpg`"
                )
            found += [_picture(f, labels_of_name(f.name, known), known) for f in files]
    except LabelError as error:
        raise UnusableError(str(error), error.help) from error
    return tuple(found)


def _given(text: str, known: Sequence[Connection]) -> Picture:
    """`LABEL+LABEL=FILE`, or a file alone for the whole."""
    labels, equals, name = text.partition("=")
    if not equals:
        return _picture(Path(text), (), known)
    return _picture(Path(name), tuple(label.strip() for label in labels.split("+") if label.strip()), known)


def _picture(file: Path, labels: tuple[str, ...], known: Sequence[Connection]) -> Picture:
    parts = dict.fromkeys(part for label in labels for part in tied(label, known))
    regular(file)
    if file.suffix.lower() not in PICTURES:
        raise UnusableError(
            f"{file} is no photograph by its name", f"expected one of {' '.join(PICTURES)}; others: --attach"
        )
    return Picture(file, labels or (WHOLE,), tuple(parts))


def results_of(files: Sequence[Path], scheme_digest: str) -> bool:
    """Whether no step of any results file failed.

    Raises UnusableError where a file holds no results, or those of another scheme.
    """
    passed = True
    for file in files:
        regular(file)
        try:
            results = load_results(file)
        except SchemeError as error:
            first = error.findings[0]
            where = f"{file}:{first.place.line}:{first.place.column}"
            raise UnusableError(f"{where}: no results of a test sheet: {first.message}", first.help) from error
        if results.scheme_digest != scheme_digest:
            raise UnusableError(
                f"{file} holds results of another scheme",
                f"they were taken with {results.scheme_digest[:16]}…, and this is {scheme_digest[:16]}…: record them"
                " with the scheme they belong to",
            )
        passed = passed and not any(step.passed is False for step in results.steps)
    return passed


def notes_of(text: str, file: Path | None) -> str:
    """The notes: the text, then the file's. Raises UnusableError."""
    found = [text] if text.strip() else []
    if file is not None:
        regular(file)
        try:
            found.append(file.read_bytes().decode("utf-8-sig"))
        except (OSError, UnicodeDecodeError) as error:
            raise UnusableError(
                f"{file} is no text: {error}", "save it as UTF-8, or take it in with --attach"
            ) from error
    return "\n".join(found)
