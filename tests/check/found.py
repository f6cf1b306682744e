"""Findings of small schemes, for tests."""

from __future__ import annotations

from interlock.check.pages import examples
from interlock.check.run import check
from interlock.scheme.findings import Finding
from interlock.scheme.read import loads


def findings(text: str) -> tuple[Finding, ...]:
    """What `check` finds in a scheme."""
    return check(loads(text, "scheme.yaml"))


def found(text: str) -> list[tuple[str, str]]:
    """The findings' ids with the parts they are about, in the file's order."""
    return [(f.ident, f.name) for f in findings(text)]


def mended(ident: str) -> str:
    """The mended scheme of a finding's page."""
    return examples(ident).mended


def edited(text: str, *replacements: tuple[str, str]) -> str:
    """A scheme with each text replaced once. Fails where a text is not there: an edit must not miss silently."""
    for old, new in replacements:
        assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
        text = text.replace(old, new)
    return text
