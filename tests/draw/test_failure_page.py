"""A failure modes and effects page, printed by a real browser: A4 landscape, nothing cut off, nothing overlapping."""

from __future__ import annotations

import json
import re
import subprocess
from html import unescape
from pathlib import Path

import pytest

from interlock.draw.page import CAUTION
from interlock.draw.style import A4_LONG, A4_SHORT
from interlock.explain.failure_modes import failure_modes
from interlock.explain.failure_page import table_page
from interlock.scheme.read import load, loads
from tests.draw.browser import browser
from tests.explain.studies import made_up
from tests.faults.studies import bench
from tests.support.bench import edited

RULES = Path(__file__).parents[2] / "rules"
MM = 96 / 25.4  # CSS pixels
PRINTED = round((297 - 2 * 12) * MM)  # A4 across, without its margins

needs_browser = pytest.mark.skipif(browser() is None, reason="no chromium to print with")

# Every text's own lines against its cell, and neighbours against each other.
SCRIPT = """
const bad = [];
const width = document.documentElement.clientWidth;
for (const cell of document.querySelectorAll('td, th')) {
  const b = cell.getBoundingClientRect();
  const range = document.createRange();
  range.selectNodeContents(cell);
  for (const line of range.getClientRects())
    if (line.left < b.left - 0.6 || line.right > b.right + 0.6 || line.top < b.top - 0.6 || line.bottom > b.bottom + 0.6
        || line.right > width + 0.6) bad.push(cell.textContent);
}
for (const row of document.querySelectorAll('tr')) {
  const cells = [...row.children].map(c => c.getBoundingClientRect());
  for (let i = 1; i < cells.length; i++) if (cells[i].left < cells[i - 1].right - 0.6) bad.push(row.id);
}
if (document.documentElement.scrollWidth > width) bad.push('the page is wider than the sheet');
const out = document.createElement('pre');
out.id = 'measured';
out.textContent = JSON.stringify({bad, cells: document.querySelectorAll('td').length, width});
document.body.textContent = '';
document.body.appendChild(out);
"""


def run(folder: Path, html: str, *wanted: str) -> str:
    program = browser()
    assert program
    page = folder / "page.html"
    page.write_text(html, encoding="utf-8")
    done = subprocess.run(
        [
            program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
            f"--user-data-dir={folder}/profile", *wanted, f"file://{page}",
        ],
        capture_output=True, text=True, timeout=180, check=True,
    )  # fmt: skip
    return done.stdout


def page_of(name: str) -> str:
    if name == "bench":
        scheme, study = bench()
    else:
        if name == "hostile":
            text = edited(("a cold morning:", "a cold day:"))
            for name_ in ("K1", "bench_charger", "frozen_charge", "monitor_charge_ok"):
                text = re.sub(rf"\b{name_}\b", f"{name_}_with_{'a_' * 4}{'very' * 9}_long_name", text)
            scheme = loads(text)
        else:
            scheme = load(RULES / f"{name}.yaml")
        study = next(iter(made_up(scheme)))  # every fault violates every claim there is: the fullest cells
    return table_page(scheme, failure_modes(scheme, study), CAUTION)


@needs_browser
@pytest.mark.parametrize("name", ["bench", "alpine_hut", "hostile"])
def test_no_text_leaves_its_cell_at_the_width_of_a_sheet(name: str, tmp_path: Path) -> None:
    html = page_of(name).replace("</body>", f"<script>{SCRIPT}</script></body>").replace("margin: 1rem", "margin: 0")
    seen = run(tmp_path, html, f"--window-size={PRINTED},800", "--virtual-time-budget=20000", "--dump-dom")
    found = re.search(r'<pre id="measured">(.*?)</pre>', seen, re.S)
    assert found, seen[-500:]
    measured = json.loads(unescape(found[1]))
    assert measured["width"] == PRINTED
    assert measured["cells"] == html.count("<td")
    assert not measured["bad"], measured["bad"][:5]


@needs_browser
def test_the_measure_sees_a_text_that_leaves_its_cell(tmp_path: Path) -> None:
    html = page_of("hostile").replace("overflow-wrap: anywhere", "white-space: nowrap").replace("<wbr>", "")
    html = html.replace("</body>", f"<script>{SCRIPT}</script></body>")
    seen = run(tmp_path, html, f"--window-size={PRINTED},800", "--virtual-time-budget=20000", "--dump-dom")
    found = re.search(r'<pre id="measured">(.*?)</pre>', seen, re.S)
    assert found
    assert json.loads(unescape(found[1]))["bad"]


@needs_browser
def test_it_prints_on_a4_landscape_sheets(tmp_path: Path) -> None:
    pdf = tmp_path / "page.pdf"
    run(tmp_path, page_of("bench"), f"--print-to-pdf={pdf}", "--no-pdf-header-footer")
    boxes = re.findall(rb"/MediaBox ?\[([^\]]*)\]", pdf.read_bytes())
    assert len(boxes) > 1
    for box in boxes:
        left, top, right, bottom = (float(n) for n in box.split())
        assert abs(right - left - A4_LONG) < 1
        assert abs(bottom - top - A4_SHORT) < 1
