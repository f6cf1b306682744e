"""From plan to page to results: a planned sheet filled in on its page is read by the tool, by diagnosis too."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from interlock.plan.results import load_results
from tests.draw.browser import browser
from tests.sheet.devtools import opened
from tests.sheet.test_step_page import LIVE, RESULTS, until
from tests.support.bench import BENCH

FILL = """
for (const step of JSON.parse(document.getElementById('sheet').textContent).steps)
  for (const [name, word] of Object.entries(step.expect)) {
    const wanted = word == 'either' ? step.words[name][0] : word;
    const choice = document.querySelector(`input[name="seen-${step.step}-${name}"][value="${wanted}"]`);
    choice.checked = true;
    choice.dispatchEvent(new Event('input', {bubbles: true}));
  }
0
"""


def plan(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    (folder / "bench.yaml").write_text(BENCH, encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-m", "interlock", "plan", "bench.yaml", *words], capture_output=True, text=True, check=False,
        cwd=folder, timeout=120,
    )  # fmt: skip


@pytest.mark.skipif(browser() is None, reason="no chromium to open the page with")
def test_a_planned_sheet_filled_in_on_its_page_comes_back_as_results_of_that_sheet(tmp_path: Path) -> None:
    done = plan(tmp_path, "--sheet", "sheet.html", "--json")
    assert done.stderr == ""
    planned = json.loads(done.stdout)
    (tmp_path / "sheet.json").write_text(done.stdout, encoding="utf-8")
    assert planned["sheet_file"] == "sheet.html"
    with opened(tmp_path / "profile") as tab:
        tab.go(f"file://{tmp_path / 'sheet.html'}")
        until(tab, LIVE)
        for sentence in planned["before"]:
            assert tab.ask(f"document.body.textContent.includes({json.dumps(sentence)})")
        tab.ask(FILL)
        (tmp_path / "results.json").write_text(tab.ask(RESULTS), encoding="utf-8")
        assert tab.complaints() == []
    results = load_results(tmp_path / "results.json")
    assert results.scheme_digest == planned["scheme_digest"]
    assert [s.passed for s in results.steps] == [True] * len(planned["steps"])
    for result, step in zip(results.steps, planned["steps"], strict=True):
        assert {n: w for n, w in result.seen.items() if step["expect"][n] != "either"} == {
            n: w for n, w in step["expect"].items() if w != "either"
        }

    words = ["diagnose", "bench.yaml", "results.json", "--sheet", "sheet.json", "--json"]
    told = subprocess.run(
        [sys.executable, "-m", "interlock", *words], capture_output=True, text=True, check=False, cwd=tmp_path,
        timeout=120,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout)["candidates"][0] == []  # nothing wrong explains it all


def test_a_page_that_cannot_be_written_is_refused_before_anything_is_planned(tmp_path: Path) -> None:
    done = plan(tmp_path, "--sheet", "sheet.pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert re.search(r"--sheet sheet.pdf: .*\.html", done.stderr)
    assert [p.name for p in tmp_path.iterdir()] == ["bench.yaml"]
