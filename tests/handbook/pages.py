"""Handbooks as the command writes them, each made once in a process, and opened in a real browser."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from interlock.cli.app import app
from tests.sheet.devtools import Browser, opened
from tests.support.bench import edited

ROOT = Path(__file__).parents[2]
PHONE = 360
NASTY = "<b>&\"'</b> \N{GREEK CAPITAL LETTER OMEGA} ]]> {} </script><script>throw 1</script> " + "long words " * 12
AXE = os.environ.get("INTERLOCK_AXE", "")


def hostile() -> str:
    """The bench with texts that would break a page that trusts them."""
    quoted = NASTY.replace("'", "''")
    return edited(
        ("Tool-crib battery bench", f"'{quoted}'"),
        ("why: an overheated pack needs eyes on it before it runs again", f"why: '{quoted}'"),
        ("lamp_circuit:  {flow: discharge}", f"lamp_circuit: {{flow: discharge, why: '{quoted}'}}"),
        ("stops_within: 100 ms}", f"stops_within: 100 ms, terminal: '{quoted}', wire: '{quoted}'}}"),
    )


def written(*arguments: str, status: int = 0) -> str:
    """What the command prints. Fails on another status."""
    result = CliRunner().invoke(app, ["handbook", *arguments])
    assert result.exit_code == status, (result.exit_code, result.output, result.exception)
    return result.stdout


@cache
def handbook(name: str) -> str:
    """The page of a demo scheme with its study, or of the hostile bench without."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "handbook.html"
        if name == "hostile":
            scheme = Path(folder) / "hostile.yaml"
            scheme.write_text(hostile(), encoding="utf-8")
            written(str(scheme), "--out", str(out), "--no-faults", "--portable")
        else:
            study = ROOT / "diagrams" / "studies" / f"{name}.json"
            written(str(ROOT / "rules" / f"{name}.yaml"), "--out", str(out), "--study", str(study), "--portable")
        return out.read_text(encoding="utf-8")


@contextmanager
def visited(page: str, width: int = 1000) -> Iterator[Browser]:
    """A page in a browser's tab of that width."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        file = Path(folder) / "page.html"
        file.write_text(page, encoding="utf-8")
        with opened(Path(folder) / "profile") as tab:
            tab.call("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=False)
            tab.go(f"file://{file}")
            yield tab


def open_everything(tab: Browser) -> None:
    """What can be opened on the page is opened, so that it is looked at too."""
    tab.ask("document.querySelectorAll('details').forEach(d => { d.open = true })")
    tab.ask("document.querySelectorAll('[aria-expanded=false]').forEach(b => b.click())")


def violations(tab: Browser) -> list[str]:
    """What the accessibility checker axe-core has against the page: rule by rule, with the first elements."""
    tab.ask(Path(AXE).read_text(encoding="utf-8") + "; typeof axe")
    found: list[dict[str, Any]] = json.loads(
        tab.ask("axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations))")
    )
    return [f"{one['id']}: {[n['html'][:160] for n in one['nodes'][:3]]}" for one in found]


def overflow(tab: Browser) -> list[str]:
    """What is wider than the window, where the page would have to be moved sideways to read it."""
    wide = tab.ask("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    if not wide:
        return []
    found: list[str] = tab.ask(
        "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1)"
        ".slice(0, 5).map(e => e.outerHTML.slice(0, 120))"
    )
    return found or [f"{wide} px"]
