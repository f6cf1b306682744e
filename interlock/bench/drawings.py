"""The scheme's drawings inside the page: each box and arrow says what it stands for, so that it can be lit."""

from __future__ import annotations

import re
from xml.sax.saxutils import escape, unescape

from interlock.draw.graph import arrow_title
from interlock.draw.logic import draw_logic
from interlock.draw.overview import draw_overview
from interlock.draw.page import Drawing
from interlock.scheme.model import Scheme

_HEAD = re.compile(r"<\?xml[^>]*\?>\s*")
_BOX = re.compile(r'<g id="box-([^"]*)">')
_PARTS = {"TAIL": r"(?P<tail>(?:\w:)?\w+)", "HEAD": r"(?P<head>(?:\w:)?\w+)", "WORDS": "(?P<words>[^<]*)"}
_LINK = re.compile(r"<a href=[^>]*>|</a>")
_SIZE = re.compile(r'(<svg [^>]*?) width="([\d.]+)pt" height="[\d.]+pt"')


def lit_drawings(scheme: Scheme, *, portable: bool = False) -> dict[str, str]:
    """The overview under "", and the logic of each path under its name, as markup. Raises NoRendererError."""
    drawings = {"": draw_overview(scheme, portable=portable)}
    drawings |= {path: draw_logic(scheme, path, portable=portable) for path in scheme.paths}
    return {name: inline(drawing) for name, drawing in drawings.items()}


def inline(drawing: Drawing) -> str:
    """A drawing as markup: no links to files, ids that stand once on a page, `data-box` at boxes, `data-tail` and
    `data-head` at arrows."""
    prefix = f"bench-{drawing.name}-"
    text = _LINK.sub("", _HEAD.sub("", str(drawing.svg)))
    text = _BOX.sub(lambda m: f'<g data-box="{m[1]}">', text)
    for arrow in (_arrows("\0WORDS"), _arrows("")):
        text = arrow.sub(_with_ends, text)
    text = re.sub(r'\sid="([^"]*)"', lambda m: f' id="{prefix}{m[1]}"', text)
    text = text.replace("url(#hatch)", f"url(#{prefix}hatch)")
    text = text.replace('aria-labelledby="title desc"', f'aria-labelledby="{prefix}title {prefix}desc"', 1)
    return _SIZE.sub(lambda m: f'{m[1]} style="min-width:{float(m[2]):.0f}px"', text, count=1)


def _arrows(words: str) -> re.Pattern[str]:
    """How an arrow begins whose title has words, or has none, in the language in force."""
    title = re.escape(escape(arrow_title("\0TAIL", "\0HEAD", words)))
    for name, pattern in _PARTS.items():
        title = title.replace(re.escape(f"\0{name}"), pattern)
    return re.compile(rf"<g><title>{title}</title>(?=\n<path)")


def _with_ends(found: re.Match[str]) -> str:
    """The same with its ends as data, its title by their names alone."""
    tail, head = found["tail"], found["head"]
    words = unescape(found.groupdict().get("words") or "")
    title = escape(arrow_title(tail.rpartition(":")[2], head.rpartition(":")[2], words))
    return f'<g data-tail="{tail}" data-head="{head}"><title>{title}</title>'
