"""The way through the project: each part imports only what stands to its left."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "interlock"

# Each part and what it may import. Only cli/ faces people; parts that face people or programs never import each other.
MAY_IMPORT: dict[str, set[str]] = {
    "elements": set(),
    "scheme": {"elements"},
    "logic": {"scheme"},
    "check": {"elements", "scheme", "logic"},
    "proof": {"scheme", "logic"},
    "fuzz": {"scheme", "logic"},
    "faults": {"scheme", "logic", "proof"},
    "plan": {"elements", "scheme", "logic", "proof"},
    "compare": {"scheme", "logic", "proof"},
    "diagnose": {"scheme", "logic", "faults", "plan"},
    "explain": {"elements", "scheme", "logic", "proof", "faults", "plan", "compare", "diagnose"},
    "export": {"scheme", "logic", "explain"},
    "vectors": {"scheme", "logic", "export", "compare"},
    "conform": {"scheme", "logic", "export", "vectors"},
    "start": {"scheme"},
    "record": {"scheme"},
    "draw": {"scheme", "logic", "faults"},
    "sheet": {"elements", "scheme", "logic", "plan", "explain"},
    # The compiled tables run in a page, and questions about them.
    "bench": {"scheme", "logic", "plan", "explain", "draw"},
    "exercises": {"scheme", "logic", "plan", "explain", "bench"},
    # The page that joins what the others draw and say: it stands to the right of them.
    "handbook": {"scheme", "logic", "proof", "faults", "explain", "draw", "sheet", "bench", "exercises"},
    # The same on slides.
    "slides": {"scheme", "logic", "proof", "faults", "explain", "draw", "sheet", "exercises", "handbook"},
    "cli": {
        "bench",
        "elements",
        "scheme",
        "logic",
        "check",
        "proof",
        "fuzz",
        "faults",
        "plan",
        "compare",
        "diagnose",
        "explain",
        "start",
        "draw",
        "record",
        "sheet",
        "export",
        "vectors",
        "conform",
        "exercises",
        "handbook",
        "slides",
    },
}


def parts() -> list[str]:
    return sorted(p.name for p in PACKAGE.iterdir() if p.is_dir() and (p / "__init__.py").exists())


def imported_parts(part: str) -> set[str]:
    found: set[str] = set()
    for path in (PACKAGE / part).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.ImportFrom):
                direct = [f"interlock.{alias.name}" for alias in node.names]
                names = direct if node.module == "interlock" else [node.module or ""]
            elif isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            found.update(n.split(".")[1] for n in names if n.startswith("interlock.") and n.count("."))
    return found - {part, "__version__", "examples", "garbage", "records", "split"}


def test_every_part_has_its_place() -> None:
    assert set(parts()) == set(MAY_IMPORT)


@pytest.mark.parametrize("part", sorted(MAY_IMPORT))
def test_a_part_imports_only_what_stands_to_its_left(part: str) -> None:
    assert imported_parts(part) <= MAY_IMPORT[part]


def test_no_module_grows_beyond_600_lines() -> None:
    lines = {str(p.relative_to(PACKAGE)): len(p.read_text().splitlines()) for p in PACKAGE.rglob("*.py")}
    assert not {name: count for name, count in lines.items() if count > 600}


HEAVY = (
    "dask",
    "distributed",
    "flint",
    "hypothesis",
    "joblib",
    "highspy",
    "numpy",
    "pint",
    "transitions",
    "yaml",
    "graphviz",
    "z3",
    "pytest",
    "rich",
)


def test_the_command_line_starts_without_the_heavy_packages() -> None:
    code = "import sys, interlock.cli.app; print(' '.join(m for m in sys.modules if '.' not in m))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not set(loaded) & set(HEAVY)
