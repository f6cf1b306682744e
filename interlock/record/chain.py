"""The visits of a record, and whether each still is what the later ones saw."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.record.bag import Problem, Wrong, problems, tag_manifest
from interlock.record.readme import EARLIER, README
from interlock.record.visit import Visit, VisitError, folder_name, folder_number, read_visit

UNFINISHED = ".unfinished-"  # what a visit is called until it is complete


class NoRecordError(ValueError):
    """A folder that holds no record."""


@dataclass(frozen=True, slots=True)
class Record:
    """What a record's folder holds: the visits that can be read, in order, all that is wrong, and the newest's seal."""

    folder: Path
    visits: tuple[Visit, ...]
    problems: tuple[Problem, ...]
    seal: str

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems


def numbers(folder: Path) -> list[int]:
    """The numbers of the visits there, in order. Raises NoRecordError."""
    try:
        names = os.listdir(folder)
    except NotADirectoryError as error:
        raise NoRecordError(f"{folder} is a file, and a record is a folder") from error
    except OSError as error:
        raise NoRecordError(f"{folder} cannot be opened: {error.strerror or error}") from error
    found = sorted(n for n in map(folder_number, names) if n is not None)
    if not found:
        raise NoRecordError(f"{folder} holds no visit, so it is no record")
    return found


def examined(folder: Path) -> Record:
    """A record with every digest compared. Raises NoRecordError."""
    there = numbers(folder)
    found = _strangers(folder)
    for number in range(1, there[-1]):
        if number not in there:
            found.append(Problem(folder_name(number), Wrong.MISSING, f"{folder_name(there[-1])} came after it"))
    visits = []
    for number in there:
        name = folder_name(number)
        of_bag = problems(folder / name, name)
        found += of_bag
        try:
            visit = read_visit(folder / name)
        except VisitError as error:
            if not any(p.file == f"{name}/data/visit.json" for p in of_bag):
                found.append(Problem(f"{name}/data/visit.json", Wrong.UNREADABLE, str(error)))
            continue
        if visit.number != number:
            found.append(Problem(name, Wrong.CHANGED, f"what it holds calls itself {visit.folder}"))
        visits.append(visit)
    already = {p.file for p in found}
    found += [p for p in _seen_by_later(folder, there) if p.file not in already]
    return Record(
        folder, tuple(visits), tuple(sorted(found, key=lambda p: (p.file, str(p.wrong)))), seal(folder, there[-1])
    )


def seal(folder: Path, number: int) -> str:
    """The SHA-256 of a visit's tag manifest, which speaks for all its files; "" where it can't be read."""
    try:
        return hashlib.sha256((folder / folder_name(number) / tag_manifest("sha512")).read_bytes()).hexdigest()
    except OSError:
        return ""


def _strangers(folder: Path) -> list[Problem]:
    """What stands in the record's folder beside its visits and its README, and a README that is not the first's."""
    found = []
    for name in sorted(os.listdir(folder)):
        if name.startswith(UNFINISHED):
            words = "a visit whose recording was broken off: nothing of it is in the record; remove it"
            found.append(Problem(name, Wrong.ADDED, words))
        elif name != README and folder_number(name) is None:
            found.append(Problem(name, Wrong.ADDED, "a record holds its visits and README.txt only"))
    top, first = folder / README, folder / folder_name(1) / "data" / README
    try:
        if not top.exists():
            found.append(Problem(README, Wrong.MISSING, "it tells strangers how to check the record"))
        elif first.exists() and top.read_bytes() != first.read_bytes():
            found.append(Problem(README, Wrong.CHANGED, f"it is not the same as {folder_name(1)}/data/{README}"))
    except OSError as error:
        found.append(Problem(README, Wrong.UNREADABLE, f"it cannot be read: {error.strerror or error}"))
    return found


def files_until(folder: Path, before: int) -> dict[str, str]:
    """Every file of the visits before that number with its SHA-512, by name from the record's folder on, and the
    README's. Raises OSError."""
    found = {README: _sha512(folder / README)}
    for number in range(1, before):
        for path in sorted((folder / folder_name(number)).rglob("*")):
            if path.is_file() and not path.is_symlink():
                found[path.relative_to(folder).as_posix()] = _sha512(path)
    return found


def _sha512(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha512").hexdigest()


def earlier_text(files: Mapping[str, str]) -> str:
    """The digests in the form that `sha512sum --check` reads."""
    return "".join(f"{digest}  {name}\n" for name, digest in files.items())


def _seen_by_later(folder: Path, there: list[int]) -> list[Problem]:
    """Files of visits that a later visit saw otherwise: also where their own manifests were written anew."""
    found: dict[str, Problem] = {}
    now: dict[str, str] = {}
    for number in there[1:]:
        name = f"{folder_name(number)}/{EARLIER}"
        try:
            lines = (folder / name).read_text(encoding="utf-8").splitlines()
        except (OSError, ValueError):
            if (folder / name).exists():
                found.setdefault(name, Problem(name, Wrong.UNREADABLE, "it is no list of digests"))
            else:
                found.setdefault(name, Problem(name, Wrong.MISSING, "it says what the visits before were like"))
            continue
        then = {listed: digest for digest, _, listed in (line.partition("  ") for line in lines)}
        try:
            now |= {n: d for n, d in files_until(folder, number).items() if n not in now}
        except OSError as error:
            found.setdefault(name, Problem(name, Wrong.UNREADABLE, f"the visits before cannot be read: {error}"))
            continue
        before = {n for n in now if n == README or (folder_number(n.split("/")[0]) or number) < number}
        for file in sorted(before | set(then)):
            if then.get(file) == now.get(file) or file in found:
                continue
            how = "was there" if file not in now else "was not there" if file not in then else "was another"
            found[file] = Problem(file, Wrong.OLDER_ALTERED, f"when {folder_name(number)} was recorded it {how}")
    return list(found.values())
