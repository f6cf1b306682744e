"""The bench's page in a real browser: worlds given to the page's machine, what it tells given back scan by scan."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from interlock.handbook.live import bench_page
from interlock.handbook.words import english
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import load
from tests.sheet.devtools import Browser, opened

RULES = Path(__file__).parents[2] / "rules"

# A run from power-up. Gives, for each scan, what is told otherwise than at the scan before, as [place, value] pairs;
# and at the scans asked for the words for every rule and path and what each unit reads for each line.
PLAY = """
(() => {
  const b = globalThis.interlockBench;
  const given = %s;
  const run = new b.Installation(b.bench.facts);
  const why = new b.Why(run);
  const changes = [], words = [];
  let before = null;
  given.parts.forEach((part, at) => {
    run.world = { readings: part.readings, lines: part.lines, faults: new Map(part.faults) };
    if (at === 0) run.powerUp();
    part.cycles.forEach((unit) => run.cycles.add(unit));
    for (let i = 0; i < part.scans; i += 1) {
      run.scan();
      const told = Array.from(run.machine.told);
      changes.push(before ? told.flatMap((v, k) => (v === before[k] ? [] : [[k, v]])) : told.map((v, k) => [k, v]));
      before = told;
    }
    if (given.words) words.push({
      rules: run.facts.rules.map((r) => why.rule(r.name)),
      paths: run.facts.paths.map((p) => why.path(p.name)),
      reads: run.facts.units.map((u) => run.facts.reads[u].map((l) => run.read(u, l))),
      told: run.facts.outputs.map((o) => run.device(o.name).told),
    });
  });
  return JSON.stringify({ changes, words, told: run.facts.table.told.map((t) => t.slice(0, 2)) });
})()
"""


@dataclass(frozen=True)
class Given:
    """What the world gives for some scans. `faults`: with how far their sensors read wrong; `cycles` at the first."""

    readings: Mapping[str, int]
    lines: Mapping[str, bool]
    scans: int
    faults: Mapping[Fault, int] = field(default_factory=dict)
    cycles: frozenset[str] = frozenset()

    def plain(self) -> dict[str, Any]:
        """As the page takes it."""
        return {
            "readings": dict(self.readings),
            "lines": dict(self.lines),
            "scans": self.scans,
            "faults": [[fault.name, shift] for fault, shift in self.faults.items()],
            "cycles": sorted(self.cycles),
        }


@dataclass(frozen=True)
class Played:
    """What the page told: for each scan what is told otherwise than at the scan before (the first: all of it), by its
    place in `names`; and the words asked for."""

    names: list[tuple[str, str]]
    changes: list[dict[int, int]]
    words: list[dict[str, Any]]


def play(tab: Browser, parts: Sequence[Given], *, words: bool = False) -> Played:
    """Run these parts one after another from power-up, in the page."""
    given = json.dumps({"parts": [part.plain() for part in parts], "words": words})
    found = json.loads(tab.ask(PLAY % given))
    changes = [dict(pairs) for pairs in found["changes"]]
    return Played([tuple(name) for name in found["told"]], changes, found["words"])


@cache
def demo(name: str) -> Scheme:
    """A demo scheme."""
    return load(RULES / f"{name}.yaml")


@contextmanager
def page_of(scheme: Scheme, folder: Path) -> Iterator[Browser]:
    """The bench's page, open; at the end nothing was complained of and nothing fetched."""
    file = folder / "bench.html"
    file.write_text(bench_page(scheme, english(), portable=True), encoding="utf-8")
    with opened(folder / "profile") as tab:
        tab.go(f"file://{file}")
        yield tab
        assert tab.complaints() == []
        assert {url for url in tab.requests() if not url.startswith("data:")} == {f"file://{file}"}
