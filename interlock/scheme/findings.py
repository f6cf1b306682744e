"""Findings as data: what was found, where, and what to do. How they look is a renderer's matter."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from interlock.scheme.source import NOWHERE, Place
from interlock.scheme.words import Word


class Severity(Word):
    """`error`: the scheme can't be read; `warning`: it can, and this is wrong or doubtful."""

    ERROR = "error"
    WARNING = "warning"


class Finding(Struct, frozen=True):
    """One finding: a stable kebab-case id, a headline that stands alone, where, what to do, and other places involved.

    `name` is the part it is about ("" where there is none): what an `accepted:` entry of the scheme names.
    """

    ident: str
    message: str
    place: Place = NOWHERE
    help: str = ""
    also: tuple[tuple[Place, str], ...] = ()
    severity: Severity = Severity.ERROR
    name: str = ""


class SchemeError(Exception):
    """A file is no scheme: all that is wrong with it, in the file's order."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(sorted(findings, key=lambda f: (f.place, f.ident, f.message)))
        super().__init__("; ".join(f.message for f in self.findings))
