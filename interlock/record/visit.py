"""One visit as data: what `visit.json` holds, and the same as a page of text."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.record.connections import Connection

FORMAT = "interlock record 1"
VISIT_JSON = "data/visit.json"
VERDICTS = ("prove", "check", "cases")
MOST_BYTES = 256 * 1024 * 1024  # of a JSON file of a record; traces of a thousand claims stay below


@dataclass(frozen=True, slots=True)
class Kept:
    """A file taken into the record: its name there (from `data/` on), and the name it came with."""

    file: str
    was: str


@dataclass(frozen=True, slots=True)
class Photograph:
    """A picture and the parts of the scheme it shows; () for one of the whole installation."""

    kept: Kept
    labels: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Visit:
    """What one visit recorded. `counts` sums the verdicts up in words, `bare` are the connections that no photograph
    of this or an earlier visit shows, `unlabelled` the parts that none can be tied to."""

    number: int
    installation: str
    revision: str
    by: str
    when: str
    place: str
    tool: str
    scheme: Kept
    counts: Mapping[str, str]
    results: tuple[Kept, ...]
    photographs: tuple[Photograph, ...]
    attachments: tuple[Kept, ...]
    notes: bool
    connections: tuple[Connection, ...]
    bare: tuple[str, ...]
    unlabelled: tuple[str, ...]

    @property
    def folder(self) -> str:
        """The name of its folder in the record."""
        return folder_name(self.number)


class VisitError(ValueError):
    """A `visit.json` that can't be read."""


def folder_name(number: int) -> str:
    """`visit-001`."""
    return f"visit-{number:03d}"


def folder_number(name: str) -> int | None:
    """The number of a visit's folder; None for any other name."""
    match = re.fullmatch(r"visit-(\d{3,6})", name, re.ASCII)
    number = int(match[1]) if match else 0
    return number if number and folder_name(number) == name else None


def as_json(visit: Visit) -> dict[str, Any]:
    """A visit as plain data; `photographs` of a connection are files of this visit."""
    return {
        "format": FORMAT,
        "visit": visit.number,
        "installation": visit.installation,
        "revision": visit.revision,
        "by": visit.by,
        "when": visit.when,
        "place": visit.place,
        "tool": visit.tool,
        "scheme": _kept(visit.scheme),
        "verdicts": {name: f"verdicts/{name}.json" for name in VERDICTS},
        "counts": dict(visit.counts),
        "results": [_kept(k) for k in visit.results],
        "photographs": [{**_kept(p.kept), "labels": list(p.labels), "parts": list(p.parts)} for p in visit.photographs],
        "attachments": [_kept(k) for k in visit.attachments],
        "notes": "notes.txt" if visit.notes else None,
        "connections": [
            {
                "part": c.part,
                "kind": c.kind,
                "terminal": c.terminal,
                "wire": c.wire,
                "photographs": [p.kept.file for p in visit.photographs if c.part in p.parts],
            }
            for c in visit.connections
        ],
        "without_photograph": list(visit.bare),
        "without_label": list(visit.unlabelled),
    }


def _kept(kept: Kept) -> dict[str, str]:
    return {"file": kept.file, "was": kept.was}


def read_json(file: Path) -> Any:
    """A JSON file of a record. Raises VisitError."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise VisitError(f"it is larger than {MOST_BYTES // 1024 // 1024} MiB")
        return json.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise VisitError(f"it cannot be read: {error.strerror or error}") from error
    except (ValueError, RecursionError) as error:
        if isinstance(error, VisitError):
            raise
        raise VisitError(f"it is not JSON: {error}") from error


def read_visit(folder: Path) -> Visit:
    """The visit recorded in a folder. Raises VisitError."""
    data = read_json(folder / VISIT_JSON)
    try:
        return _visit(data)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        if isinstance(error, VisitError):
            raise
        raise VisitError(f"it is no visit of a record: {type(error).__name__} at {error}") from error


def _visit(data: Mapping[str, Any]) -> Visit:
    if data["format"] != FORMAT:
        raise VisitError(f"its format is {data['format']!r}, and this version reads {FORMAT!r}")
    return Visit(
        number=int(data["visit"]),
        installation=_text(data["installation"]),
        revision=_text(data["revision"]),
        by=_text(data["by"]),
        when=_text(data["when"]),
        place=_text(data["place"]),
        tool=_text(data["tool"]),
        scheme=_file(data["scheme"]),
        counts={_text(name): _text(words) for name, words in data["counts"].items()},
        results=_each(data["results"]),
        photographs=tuple(
            Photograph(_file(p), tuple(map(_text, p["labels"])), tuple(map(_text, p["parts"])))
            for p in data["photographs"]
        ),
        attachments=_each(data["attachments"]),
        notes=data["notes"] is not None,
        connections=tuple(
            Connection(*(_text(c[key]) for key in ("part", "kind", "terminal", "wire"))) for c in data["connections"]
        ),
        bare=tuple(map(_text, data["without_photograph"])),
        unlabelled=tuple(map(_text, data["without_label"])),
    )


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise VisitError(f"{value!r} stands where a text belongs")
    return value


def _file(data: Mapping[str, Any]) -> Kept:
    return Kept(_text(data["file"]), _text(data["was"]))


def _each(items: Iterable[Mapping[str, Any]]) -> tuple[Kept, ...]:
    return tuple(_file(item) for item in items)


def as_text(visit: Visit) -> str:
    """The visit as a page for people."""
    lines = [
        f"{visit.installation}, visit {visit.number}",
        "",
        f"Recorded by   {visit.by}",
        f"When          {visit.when}",
        *([f"Where         {visit.place}"] if visit.place else []),
        f"With          {visit.tool}",
        f"Scheme        {visit.scheme.file} (was {visit.scheme.was})"
        + (f", revision {visit.revision}" if visit.revision else ""),
        "",
        "Verdicts on the scheme, worked out on that day (verdicts/):",
        *(f"  {name:<7} {words}" for name, words in visit.counts.items()),
        "",
        "Results of test sheets:",
        *(f"  {k.file} (was {k.was})" for k in visit.results),
        *([] if visit.results else ["  none"]),
        "",
        "Connections, and the photographs of this visit that show them:",
    ]
    for connection in visit.connections:
        files = [p.kept.file for p in visit.photographs if connection.part in p.parts]
        none = "none, on this or an earlier visit" if connection.part in visit.bare else "none, but on an earlier visit"
        lines.append(f"  {connection.words()}")
        lines += [f"      {file}" for file in files or [none]]
    lines += [] if visit.connections else ["  the scheme labels no connection"]
    whole = [p.kept.file for p in visit.photographs if not p.parts]
    if whole:
        lines += ["", "Photographs of the whole:", *(f"  {file}" for file in whole)]
    if visit.unlabelled:
        lines += ["", "Without `terminal:` or `wire:` in the scheme, so that no photograph can be tied to them:"]
        lines += [f"  {part}" for part in visit.unlabelled]
    if visit.attachments:
        lines += ["", "Attached:", *(f"  {k.file} (was {k.was})" for k in visit.attachments)]
    lines += ["", "Notes: notes.txt" if visit.notes else "Notes: none", ""]
    lines += ["This record certifies nothing. Read README.txt for how to check it, and its caution.", ""]
    return "\n".join(lines)
