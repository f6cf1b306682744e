"""The bench as a fragment of a page, and as a page by itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from interlock.bench.facts import facts
from interlock.bench.markup import markup
from interlock.bench.situations import links
from interlock.bench.style import STYLE
from interlock.bench.words import Words
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH
from interlock.scheme.model import Scheme

SCRIPTS = ("machine.js", "why.js", "causes.js", "chart.js", "lit.js", "link.js", "shown.js")
LAST = "bench.js"


IDENT = "bench"  # of the section; its data stands in the element `bench-data`


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page: what stands under its title, the script that brings it to life with its data as JSON, and its
    look; where in it a rule is seen to stop a path. Nothing of it is fetched. The section itself has the id and the
    class `bench`."""

    title: str
    html: str
    script: str
    style: str
    data: str
    links: Mapping[tuple[str, str], str]


def section(
    scheme: Scheme, words: Words, phrases: Mapping[Template, str] = ENGLISH, *, portable: bool = False
) -> Section:
    """The bench of a scheme. Raises TooWideError, and NoRendererError where a drawing can't be laid out."""
    known = facts(scheme, words, phrases)
    body = markup(scheme, known, words, portable=portable)
    data = json.dumps(known, ensure_ascii=False, separators=(",", ":"))
    return Section(words["title"], body, script(), STYLE, data, links(scheme, known))


def script() -> str:
    """All scripts as one, sharing nothing with the page but `interlockBench`."""
    shared = "globalThis.interlockBench = { Machine, Installation, Why, Causes, decimal, duration };\n"
    return "(() => {\n" + "\n".join([*map(_file, SCRIPTS), shared, _file(LAST)]) + "})();\n"


def _file(name: str) -> str:
    return (files("interlock") / "bench" / name).read_text(encoding="utf-8")
