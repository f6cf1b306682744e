"""Drawings opened in a real browser: every text's own box, measured there."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from html import unescape
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome")

_SCRIPT = """
const found = [];
for (const svg of document.querySelectorAll('svg')) {
  const page = svg.getBoundingClientRect();
  const texts = [...svg.querySelectorAll('text')].map(t => {
    const b = t.getBoundingClientRect();
    const group = t.closest('g');
    const rect = group ? group.querySelector(':scope > rect') : null;
    const r = rect ? rect.getBoundingClientRect() : null;
    return {text: t.textContent, box: [b.left - page.left, b.top - page.top, b.right - page.left, b.bottom - page.top],
            frame: r ? [r.left - page.left, r.top - page.top, r.right - page.left, r.bottom - page.top] : null,
            size: parseFloat(t.getAttribute('font-size'))};
  });
  found.push({name: svg.parentElement.id, page: [0, 0, page.width, page.height], texts});
}
document.body.textContent = '';
const out = document.createElement('pre');
out.id = 'measured';
out.textContent = JSON.stringify(found);
document.body.appendChild(out);
"""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Text:
    """One text: its words, its own box, the first rectangle of its group, its font size."""

    words: str
    box: Box
    frame: Box | None
    size: float


@dataclass(frozen=True)
class Page:
    """One drawing as the browser shows it."""

    name: str
    page: Box
    texts: tuple[Text, ...]


def browser() -> str | None:
    """The browser's program, or None."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def measured(drawings: dict[str, str]) -> list[Page]:
    """All drawings in one page, their texts' boxes measured by the browser."""
    program = browser()
    assert program
    bodies = "\n".join(f'<div id="{name}">{re.sub("<[?]xml.*?[?]>", "", svg)}</div>' for name, svg in drawings.items())
    html = f'<!doctype html><meta charset="utf-8"><body>{bodies}<script>{_SCRIPT}</script></body>'
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.html"
        page.write_text(html, encoding="utf-8")
        done = subprocess.run(
            [
                program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                f"--user-data-dir={folder}/profile", "--virtual-time-budget=20000", "--dump-dom", f"file://{page}",
            ],
            capture_output=True, text=True, timeout=180, check=True,
        )  # fmt: skip
    found = re.search(r'<pre id="measured">(.*?)</pre>', done.stdout, re.S)
    assert found, done.stdout[-2000:] + done.stderr[-2000:]
    pages = []
    for item in json.loads(unescape(found[1])):
        texts = tuple(
            Text(t["text"], tuple(t["box"]), tuple(t["frame"]) if t["frame"] else None, t["size"])
            for t in item["texts"]
        )
        pages.append(Page(item["name"], tuple(item["page"]), texts))
    return pages
