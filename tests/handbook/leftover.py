"""What is left in a text when all that is a scheme's own, and all symbols of units, are taken out of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import yaml

from interlock.scheme.model import Scheme
from interlock.scheme.units import TIMES, UNITS

# Fields of a scheme file whose values are its author's own words or labels.
FREE = {
    "accepted", "alarm", "by", "case", "does", "name", "not_switched", "reason", "revision", "source", "terminal",
    "title", "unswitched", "verified_at", "what", "why", "wire",
}  # fmt: skip
TOLERANCE = re.compile(r"[\d.]+ \w+ within [\d.]+ %")  # of a part, told as it is written there
WORD = re.compile(r"[A-Za-z]{2,}")


def own_words(scheme: Scheme, file: Path) -> list[str]:
    """The scheme's names and its author's words and labels, the longest first."""
    found = {scheme.title, scheme.revision, *scheme.units}
    for table in (
        scheme.quantities,
        scheme.sensors,
        scheme.readings,
        scheme.lines,
        scheme.rules,
        scheme.groups,
        scheme.paths,
        scheme.outputs,
        scheme.faults,
        scheme.excluded_faults,
    ):
        found.update(table)
    for claim in scheme.claims:
        found |= {claim.name, claim.requirement}
    found.update(case.name for case in scheme.cases)
    found.update(_free(yaml.safe_load(file.read_text(encoding="utf-8"))))
    texts = {" ".join(text.split()).rstrip(".") for text in found}
    texts |= {text[:1].upper() + text[1:] for text in texts}
    return sorted((text for text in texts if len(text) > 1), key=len, reverse=True)


def _free(tree: Any, key: str = "") -> Iterator[str]:
    if isinstance(tree, dict):
        for name, value in tree.items():
            yield from _free(value, str(name))
    elif isinstance(tree, list):
        for value in tree:
            yield from _free(value, key)
    elif key in FREE or (isinstance(tree, str) and TOLERANCE.fullmatch(tree)):
        yield str(tree)


def left_in(text: str, own: Iterable[str]) -> set[str]:
    """Words of two plain letters or more that are neither the scheme's own nor units. A word cut short with an
    ellipsis counts as the one that begins like it."""
    rest = " ".join(text.split())
    if not WORD.search(rest):
        return set()
    own = list(own)
    for known in own:
        if known in rest:
            rest = re.sub(rf"(?<![A-Za-z0-9_]){re.escape(known)}(?![A-Za-z0-9_])", " ", rest)
    return {word for word in WORD.findall(_cut(rest, own)) if word not in UNITS and word not in TIMES}


def _cut(text: str, own: list[str]) -> str:
    """The text without beginnings of own words that an ellipsis ends."""
    parts = text.split("…")
    for i, part in enumerate(parts[:-1]):
        ends = [k for k in range(len(part)) if (k == 0 or part[k - 1] == " ") and part[k:].strip()]
        at = next((k for k in ends if any(known.startswith(part[k:].rstrip()) for known in own)), None)
        if at is not None:
            parts[i] = part[:at]
    return "…".join(parts)
