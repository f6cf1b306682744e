"""The pages of the findings: what each means, why it matters, an example that has it and one that is mended."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_BLOCK = re.compile(r"^```yaml\n(.*?)^```$", re.S | re.M)


@dataclass(frozen=True, slots=True)
class Examples:
    """The two schemes on a page."""

    found: str
    mended: str


@cache
def idents() -> tuple[str, ...]:
    """The ids that have a page, in alphabetical order."""
    return tuple(sorted(f.name.removesuffix(".md") for f in files(__name__).iterdir() if f.name.endswith(".md")))


def page(ident: str) -> str:
    """The page of a finding, as Markdown. Raises KeyError where there is no such finding."""
    if ident not in idents():
        raise KeyError(ident)
    return (files(__name__) / f"{ident}.md").read_text(encoding="utf-8")


def examples(ident: str) -> Examples:
    """The two schemes on a finding's page. Raises KeyError where there is no such finding."""
    found, mended = _BLOCK.findall(page(ident))
    return Examples(found, mended)
