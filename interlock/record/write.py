"""A visit put together beside the record and then put in its place in one step: whole, or not at all."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.record.bag import close_bag, info_text
from interlock.record.chain import UNFINISHED, earlier_text, files_until, numbers, seal
from interlock.record.connections import connections, unlabelled, without_photograph
from interlock.record.readme import EARLIER, README, TEXT
from interlock.record.visit import VERDICTS, Kept, Photograph, Visit, as_json, as_text, folder_name
from interlock.scheme.model import Scheme

_LONGEST_NAME = 80  # characters of a file's own name that are kept


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph to be taken in: its file, the labels it was tied by, the parts of the scheme it shows."""

    file: Path
    labels: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """All that goes into a visit. `verdicts` are plain data by name, `shown_before` the parts photographed earlier."""

    scheme: Scheme
    scheme_file: str
    scheme_bytes: bytes
    by: str
    when: str
    place: str
    tool: str
    verdicts: Mapping[str, Any]
    counts: Mapping[str, str]
    results: tuple[Path, ...] = ()
    pictures: tuple[Picture, ...] = ()
    attachments: tuple[Path, ...] = ()
    notes: str = ""
    shown_before: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Written:
    """The visit that was recorded, and its seal."""

    visit: Visit
    seal: str


class RecordExistsError(ValueError):
    """What is to be made is there already."""


def begin(folder: Path, contents: Contents) -> Written:
    """Make a record with its first visit. Raises RecordExistsError, OSError."""
    if os.path.lexists(folder):
        raise RecordExistsError(f"{folder} exists already")
    with _beside(folder.parent) as half:
        visit = _visit(half / folder_name(1), contents, 1, {})
        (half / README).write_text(TEXT, encoding="utf-8", newline="\n")
        _put(half, folder)
    return Written(visit, seal(folder, 1))


def append(folder: Path, contents: Contents) -> Written:
    """Add a visit to a record, which must be sound. Raises RecordExistsError, NoRecordError, OSError."""
    number = numbers(folder)[-1] + 1
    earlier = files_until(folder, number)
    with _beside(folder) as half:
        visit = _visit(half, contents, number, earlier)
        _put(half, folder / folder_name(number))
    return Written(visit, seal(folder, number))


@contextmanager
def _beside(parent: Path) -> Iterator[Path]:
    """An unfinished folder, gone again unless it was put in its place."""
    half = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=parent))
    try:
        yield half
    finally:
        shutil.rmtree(half, ignore_errors=True)


def _put(half: Path, place: Path) -> None:
    mask = os.umask(0)
    os.umask(mask)
    half.chmod(0o777 & ~mask)
    _to_disk(half)
    if os.path.lexists(place):  # someone was faster
        raise RecordExistsError(f"{place} exists already")
    os.rename(half, place)
    _sync(place.parent)


def _to_disk(folder: Path) -> None:
    for path in (*folder.rglob("*"), folder):
        _sync(path)


def _sync(path: Path) -> None:
    try:
        handle = os.open(path, os.O_RDONLY)
    except PermissionError:  # a system that opens no folders: nothing to be done for their names
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _visit(bag: Path, contents: Contents, number: int, earlier: Mapping[str, str]) -> Visit:
    data = bag / "data"
    data.mkdir(parents=True)
    known = connections(contents.scheme)
    (data / "scheme.yaml").write_bytes(contents.scheme_bytes)
    for name in VERDICTS:
        _text(data / "verdicts" / f"{name}.json", _json(contents.verdicts[name]))
    photographs = tuple(
        Photograph(_copy(data, "photographs", i, p.file, "+".join(p.labels)), p.labels, p.parts)
        for i, p in enumerate(contents.pictures, 1)
    )
    shown = {p.kept.file: p.parts for p in photographs} | {"": tuple(contents.shown_before)}
    visit = Visit(
        number=number,
        installation=contents.scheme.title,
        revision=contents.scheme.revision,
        by=contents.by,
        when=contents.when,
        place=contents.place,
        tool=contents.tool,
        scheme=Kept("scheme.yaml", contents.scheme_file),
        counts=contents.counts,
        results=tuple(_copy(data, "results", i, f) for i, f in enumerate(contents.results, 1)),
        photographs=photographs,
        attachments=tuple(_copy(data, "attachments", i, f) for i, f in enumerate(contents.attachments, 1)),
        notes=bool(contents.notes),
        connections=known,
        bare=tuple(c.part for c in without_photograph(known, shown)),
        unlabelled=unlabelled(contents.scheme),
    )
    if contents.notes:
        _text(data / "notes.txt", contents.notes.rstrip("\n") + "\n")
    if earlier:
        _text(bag / EARLIER, earlier_text(earlier))
    _text(data / README, TEXT)
    _text(data / "visit.json", _json(as_json(visit)))
    _text(data / "visit.txt", as_text(visit))
    close_bag(bag, _info(visit))
    return visit


def _info(visit: Visit) -> dict[str, str]:
    return info_text(
        (
            ("Contact-Name", visit.by),
            ("External-Description", f"{visit.installation}, visit {visit.number}: protection logic, proofs, tests"),
            ("External-Identifier", f"{visit.installation} {visit.folder}"),
            ("Bag-Group-Identifier", visit.installation),
            ("Bag-Count", f"{visit.number} of ?"),
            ("Bagging-Date", visit.when[:10]),
            ("Bag-Software-Agent", visit.tool),
        )
    )


def _json(data: Any) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _text(file: Path, text: str) -> None:
    file.parent.mkdir(exist_ok=True)
    file.write_text(text, encoding="utf-8", newline="\n")


def _copy(data: Path, kind: str, number: int, file: Path, called: str = "") -> Kept:
    """A file taken in under a name that every system can hold and no other file has, whatever its case."""
    folder = data / kind
    folder.mkdir(exist_ok=True)
    stem = re.sub(r"[^A-Za-z0-9.+_-]+", "_", called or file.stem)[:_LONGEST_NAME].strip("._")
    suffix = re.sub(r"[^a-z0-9.]", "", file.suffix.lower())
    name = f"{number:03d}_{stem or kind}{suffix}"
    shutil.copyfile(file, folder / name)
    return Kept(f"{kind}/{name}", file.name)
