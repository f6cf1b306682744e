"""What `interlock inject` writes beside its findings: the table, the trees with chances, the inspection intervals."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from math import inf
from pathlib import Path
from shutil import get_terminal_size
from typing import Any

from interlock.cli.inject_words import chances_json, inspections_json, tell_chances, tell_inspections, tree_of
from interlock.cli.render import count_text, json_text
from interlock.draw.page import CAUTION
from interlock.explain.failure_modes import failure_modes
from interlock.explain.failure_page import table_page
from interlock.explain.failure_table import WIDEST, table_csv, table_json, table_text
from interlock.faults.claim_chances import claim_chances
from interlock.faults.inject import Study
from interlock.faults.inspections import inspections
from interlock.scheme.model import Scheme

TERMINAL = "-"
TABLES = (".csv", ".html", ".json")


@dataclass(frozen=True, slots=True)
class Wanted:
    """`table`: "" for none, `-` for the terminal, else a file by its suffix. `trees`: the folder of the drawn trees.
    `mission`: hours over which chances are worked out. `bound`: meetings of a second fault with a sleeping one per
    hour, None where no intervals are wanted. `suggest`: whether changes are looked for (`inject_suggest`)."""

    table: str = ""
    trees: Path | None = None
    mission: float = 8760.0
    bound: float | None = None
    suggest: bool = False


@dataclass(slots=True)
class Given:
    """What came of it: `lines` for people, `data` for `--json`."""

    lines: list[str] = field(default_factory=list)
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Suggested(Given):
    """The changes that help. `interrupted`: not all was tried and proved."""

    interrupted: bool = False


def refusal(wanted: Wanted, size: int) -> str:
    """Why this cannot be had, in words for people; "" where it can. Asked before anything is judged."""
    if wanted.table not in ("", TERMINAL):
        table = Path(wanted.table)
        if table.suffix.lower() not in TABLES:
            return f"--table {table}: expected a file that ends in one of {', '.join(TABLES)}, or `-` for the terminal"
        if not table.absolute().parent.is_dir():
            return f"--table {table}: there is no folder {table.parent}"
    if wanted.trees is not None and wanted.trees.exists() and not wanted.trees.is_dir():
        return f"--trees {wanted.trees}: that is a file; name a folder"
    if not 0 < wanted.mission < inf:
        return f"--mission {wanted.mission:g}: expected hours above 0"
    if wanted.bound is not None and not 0 < wanted.bound < inf:
        return f"--interval-bound {wanted.bound:g}: expected a number above 0, such as 1e-7 per hour"
    if wanted.bound is not None and size < 2:
        return (
            "--interval-bound needs --size 2: which second faults a sleeping one makes dangerous is seen in pairs only"
        )
    return ""


def outputs(scheme: Scheme, study: Study, wanted: Wanted) -> Given:
    """Work all of it out, then write the files, so that nothing is left half-written. Raises OSError."""
    given = Given()
    files: dict[Path, bytes] = {}
    if wanted.table:
        _table(scheme, study, wanted.table, given, files)
    if wanted.trees is not None:
        _trees(scheme, study, wanted.trees, wanted.mission, given, files)
    if wanted.bound is not None:
        found = inspections(scheme, study.effects, wanted.bound)
        given.lines += tell_inspections(found)
        given.data["inspections"] = inspections_json(found)
    if wanted.trees is not None:
        wanted.trees.mkdir(parents=True, exist_ok=True)
    for path, content in files.items():
        path.write_bytes(content)
    return given


def _table(scheme: Scheme, study: Study, to: str, given: Given, files: dict[Path, bytes]) -> None:
    rows = failure_modes(scheme, study)
    if to == TERMINAL:
        given.lines += table_text(scheme, rows, get_terminal_size((WIDEST, 24)).columns).splitlines()
        given.data["table"] = table_json(rows)
        return
    match Path(to).suffix.lower():
        case ".csv":
            content = table_csv(rows)
        case ".html":
            content = table_page(scheme, rows, CAUTION)
        case _:
            content = json_text({"scheme": scheme.title, "revision": scheme.revision, "table": table_json(rows)})
    files[Path(to)] = content.encode()
    given.lines.append(f"table: {to}")
    given.data["table_file"] = to


def _trees(scheme: Scheme, study: Study, folder: Path, mission: float, given: Given, files: dict[Path, bytes]) -> None:
    from interlock.draw.faulttree import fault_tree

    chances = [
        claim_chances(scheme, claim, found, mission) for claim, found in zip(scheme.claims, study.cut_sets, strict=True)
    ]
    drawn: dict[str, list[str]] = {}
    for claim, found, known in zip(scheme.claims, study.cut_sets, chances, strict=True):
        sheets = fault_tree(scheme, tree_of(scheme, claim, found, known))
        paths = [folder / f"{sheet.name}.svg" for sheet in sheets]
        files.update((path, str(sheet.svg).encode()) for path, sheet in zip(paths, sheets, strict=True))
        drawn[claim.name] = [str(path) for path in paths]
    given.lines += _drawn(folder, drawn.values())
    given.lines += tell_chances(chances)
    given.data["trees"] = drawn
    given.data["chances"] = {known.claim: chances_json(known) for known in chances}


def _drawn(folder: Path, drawn: Iterable[list[str]]) -> Iterator[str]:
    sheets = [name for names in drawn for name in names]
    yield f"fault trees: {count_text(len(sheets), 'sheet')} in {folder}"
