"""The bench as a fragment of a page, and as a page by itself."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from html import escape
from importlib.resources import files

from interlock.bench.facts import facts
from interlock.bench.markup import markup
from interlock.bench.style import PAGE, STYLE
from interlock.scheme.model import Scheme

SCRIPTS = ("machine.js", "why.js", "causes.js", "chart.js", "lit.js", "link.js")
LAST = "bench.js"


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page: its markup, the script that brings it to life, and its look. Nothing of it is fetched."""

    html: str
    script: str
    style: str


def section(scheme: Scheme, *, portable: bool = False) -> Section:
    """The bench of a scheme. Raises TooWideError, and NoRendererError where a drawing can't be laid out."""
    known = facts(scheme)
    data = f'<script type="application/json" id="bench-facts">{as_json(known)}</script>\n'
    return Section(markup(scheme, known, portable=portable) + data, script(), STYLE)


def script() -> str:
    """All scripts as one, sharing nothing with the page but `interlockBench`."""
    shared = "globalThis.interlockBench = { Machine, Installation, Why, Causes };\n"
    return "(() => {\n" + "\n".join([*map(_file, SCRIPTS), shared, _file(LAST)]) + "})();\n"


def _file(name: str) -> str:
    return (files("interlock") / "bench" / name).read_text(encoding="utf-8")


def as_json(data: object) -> str:
    """Data for a script element: no text in it can end the element."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")


def policy(code: str) -> str:
    """What a page may load: its own script and its own style, and nothing else from anywhere."""
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; base-uri 'none'; "
        "form-action 'none'"
    )


def bench_page(scheme: Scheme) -> str:
    """The bench as one self-contained page. Raises TooWideError."""
    made = section(scheme)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy(made.script)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Bench: {escape(scheme.title)}</title>\n<style>{PAGE}{made.style}</style>\n</head>\n<body>\n"
        f"<main>\n<h1>{escape(scheme.title)}</h1>\n{made.html}</main>\n<script>{made.script}</script>\n</body>\n</html>\n"
    )
