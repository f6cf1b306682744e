"""The scheme's drawings inside the page: each box and arrow says what it stands for, so that it can be lit."""

from __future__ import annotations

import re

from interlock.draw.logic import draw_logic
from interlock.draw.overview import draw_overview
from interlock.draw.page import Drawing
from interlock.scheme.model import Scheme

_HEAD = re.compile(r"<\?xml[^>]*\?>\s*")
_BOX = re.compile(r'<g id="box-([^"]*)">')
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
    text = _LINK.sub("", _HEAD.sub("", drawing.svg.live()))
    text = _BOX.sub(lambda m: f'<g data-box="{m[1]}">', text)
    text = re.sub(r'\sid="([^"]*)"', lambda m: f' id="{prefix}{m[1]}"', text)
    text = text.replace("url(#hatch)", f"url(#{prefix}hatch)")
    text = text.replace('aria-labelledby="title desc"', f'aria-labelledby="{prefix}title {prefix}desc"', 1)
    return _SIZE.sub(lambda m: f'{m[1]} style="min-width:{float(m[2]):.0f}px"', text, count=1)
