"""How a finding of `check` is made: always a warning with one of the closed set of ids."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.check.idents import Ident
from interlock.scheme.findings import Finding, Severity
from interlock.scheme.source import Place


def finding(
    ident: Ident,
    name: str,
    place: Place,
    message: str,
    help_text: str,
    also: tuple[tuple[Place, str], ...] = (),
) -> Finding:
    """A warning about the part `name`, which an `accepted:` entry may name."""
    return Finding(str(ident), message, place, help_text, also, Severity.WARNING, name)


def listed(names: Iterable[str], most: int = 4) -> str:
    """`a`, `b` and 3 more."""
    every = list(dict.fromkeys(names))
    shown = [f"`{n}`" for n in every[:most]]
    if len(every) > most:
        shown.append(f"{len(every) - most} more")
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]
