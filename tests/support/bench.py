"""The bench: the reference's small scheme, and edits of it."""

from __future__ import annotations

from importlib.resources import files

BENCH = (files("interlock") / "reference" / "bench.yaml").read_text(encoding="utf-8")


def edited(*replacements: tuple[str, str]) -> str:
    """The bench with each text replaced once. Fails where a text is not there: an edit must not miss silently."""
    text = BENCH
    for old, new in replacements:
        assert old in text, f"the bench has no {old!r}"
        text = text.replace(old, new, 1)
    return text
