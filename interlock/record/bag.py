"""One folder as a bag of RFC 8493 (BagIt 1.0): payload under `data/`, manifests of digests, and tags about the whole.

What is wrong with a bag is said file by file: a validator that only says "invalid" sends people searching.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.scheme.words import Word

ALGORITHMS = ("sha256", "sha512")
PAYLOAD = "data"
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"  # RFC 8493, 2.1.1
MOST_TAG_BYTES = 64 * 1024 * 1024  # a manifest of some hundred thousand files; a larger one is not ours
_BLOCK = 1024 * 1024
_LINE = re.compile(r"([0-9a-fA-F]+)[ \t]+\*?(.+)")


class Wrong(Word):
    """The ways in which a record can be wrong."""

    CHANGED = "changed"
    MISSING = "missing"
    ADDED = "added"
    OLDER_ALTERED = "older visit altered"
    UNREADABLE = "unreadable"
    NOT_A_BAG = "not a bag"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: the file by its name within the record, how, and in words."""

    file: str
    wrong: Wrong
    words: str


Report = Callable[[str, Wrong, str], None]  # takes a file's name within the bag, how it is wrong, and the words


@dataclass(frozen=True, slots=True)
class Digests:
    """A file's digests by algorithm, in hexadecimal, and its size in bytes."""

    by: Mapping[str, str]
    size: int


def digests(file: Path) -> Digests:
    """Read a file once for all digests. Raises OSError."""
    hashes = {name: hashlib.new(name) for name in ALGORITHMS}
    size = 0
    with file.open("rb") as opened:
        while block := opened.read(_BLOCK):
            size += len(block)
            for running in hashes.values():
                running.update(block)
    return Digests({name: running.hexdigest() for name, running in hashes.items()}, size)


def manifest(algorithm: str) -> str:
    """The name of the payload's manifest."""
    return f"manifest-{algorithm}.txt"


def tag_manifest(algorithm: str) -> str:
    """The name of the manifest of the tag files, the payload's manifests among them."""
    return f"tagmanifest-{algorithm}.txt"


def close_bag(folder: Path, info: Mapping[str, str]) -> None:
    """Make a bag of a folder that holds `data/`: writes all else. Values of `info` are single lines. Raises OSError."""
    payload = {name: digests(folder / name) for name in sorted(_files(folder / PAYLOAD, folder))}
    octets = sum(found.size for found in payload.values())
    tags = {**info, "Payload-Oxum": f"{octets}.{len(payload)}"}
    _write(folder / "bagit.txt", DECLARATION)
    _write(folder / "bag-info.txt", "".join(f"{name}: {value}\n" for name, value in tags.items()))
    for algorithm in ALGORITHMS:
        _write(folder / manifest(algorithm), _manifest_text(payload, algorithm))
    listed = ("bag-info.txt", "bagit.txt", *(manifest(a) for a in ALGORITHMS))
    tag_files = {name: digests(folder / name) for name in listed}
    for algorithm in ALGORITHMS:
        _write(folder / tag_manifest(algorithm), _manifest_text(tag_files, algorithm))


def _manifest_text(found: Mapping[str, Digests], algorithm: str) -> str:
    """The form that `sha256sum --check` reads as well: two spaces, and names from the bag's own folder."""
    return "".join(f"{digest.by[algorithm]}  {_encoded(name)}\n" for name, digest in found.items())


def _write(file: Path, text: str) -> None:
    with file.open("w", encoding="utf-8", newline="\n") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())


def _encoded(name: str) -> str:
    """RFC 8493, 2.1.3: line breaks and percent signs of a name are written as percent and hexadecimal digits."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _decoded(name: str) -> str:
    return re.sub(r"%(0[ADad]|25)", lambda found: chr(int(found[1], 16)), name)


def problems(folder: Path, called: str) -> list[Problem]:
    """All that is wrong with a bag, each file named from the record's folder on; `called` is the bag's name there."""
    found: list[Problem] = []

    def wrong(name: str, how: Wrong, words: str) -> None:
        found.append(Problem(f"{called}/{name}", how, words))

    present = _present(folder, wrong)
    if not _declared(folder, wrong):
        return found
    listed = {name: _listed(folder, name, wrong) for name in _manifests()}
    if any(lines is None for lines in listed.values()):
        return found
    payload = {a: listed[manifest(a)] or {} for a in ALGORITHMS}
    tags = {a: listed[tag_manifest(a)] or {} for a in ALGORITHMS}
    unlisted = {tag_manifest(a) for a in ALGORITHMS}  # no manifest lists a tag manifest: the next visit does
    everything = {name for lines in (*payload.values(), *tags.values()) for name in lines}
    for name in sorted(everything):
        of = payload if _is_payload(name) else tags
        for algorithm, lines in of.items():
            if name not in lines:
                kept = manifest(algorithm) if of is payload else tag_manifest(algorithm)
                wrong(name, Wrong.ADDED, f"{kept} does not list it, though another manifest does")
    for name in sorted(everything - present):
        wrong(name, Wrong.MISSING, "a manifest lists it and it is not there")
    for name in sorted(present - everything - unlisted):
        wrong(name, Wrong.ADDED, "no manifest lists it: it was not there when the visit was recorded")
    for name in sorted(everything & present):
        _compare(folder, name, payload if _is_payload(name) else tags, wrong)
    return found


def _manifests() -> Iterator[str]:
    for algorithm in ALGORITHMS:
        yield manifest(algorithm)
        yield tag_manifest(algorithm)


def _is_payload(name: str) -> bool:
    return name.startswith(PAYLOAD + "/")


def _compare(folder: Path, name: str, of: Mapping[str, Mapping[str, str]], wrong: Report) -> None:
    try:
        now = digests(folder / name)
    except OSError as error:
        wrong(name, Wrong.UNREADABLE, f"it cannot be read: {error.strerror or error}")
        return
    differing = [a for a, lines in of.items() if name in lines and lines[name].lower() != now.by[a]]
    if differing:
        kept = [manifest(a) if _is_payload(name) else tag_manifest(a) for a in differing]
        wrong(name, Wrong.CHANGED, f"its digest is not the one in {' and '.join(kept)}")


def _declared(folder: Path, wrong: Report) -> bool:
    try:
        text = (folder / "bagit.txt").read_bytes()
    except OSError as error:
        wrong("bagit.txt", Wrong.NOT_A_BAG, f"it cannot be read: {error.strerror or error}")
        return False
    if text != DECLARATION.encode():
        wrong("bagit.txt", Wrong.CHANGED, "it is not the declaration of a bag by RFC 8493 (BagIt 1.0)")
        return False
    return True


def _listed(folder: Path, name: str, wrong: Report) -> dict[str, str] | None:
    """What a manifest lists: digests by name. None where it cannot be read."""
    try:
        if (folder / name).stat().st_size > MOST_TAG_BYTES:
            wrong(name, Wrong.UNREADABLE, "it is larger than any manifest of a record")
            return None
        text = (folder / name).read_bytes().decode("utf-8")
    except FileNotFoundError:
        wrong(name, Wrong.MISSING, "without it nothing says what the digests are to be")
        return None
    except OSError as error:
        wrong(name, Wrong.UNREADABLE, f"it cannot be read: {error.strerror or error}")
        return None
    except UnicodeDecodeError as error:
        wrong(name, Wrong.CHANGED, f"its byte {error.start + 1} is not UTF-8 text")
        return None
    lines: dict[str, str] = {}
    for number, line in enumerate(text.removesuffix("\n").split("\n"), 1):
        match = _LINE.fullmatch(line)
        if match is None:
            wrong(name, Wrong.CHANGED, f"its line {number} is not a digest and a name")
            return None
        listed = _decoded(match[2])
        parts = listed.split("/")
        if listed.startswith(("/", "~")) or "\\" in listed or not {"", ".", ".."}.isdisjoint(parts):
            wrong(name, Wrong.CHANGED, f"its line {number} names a file outside the bag: {listed!r}")
            return None
        if listed in lines:
            wrong(name, Wrong.CHANGED, f"its line {number} lists {listed} a second time")
            return None
        lines[listed] = match[1]
    return lines


def _present(folder: Path, wrong: Report) -> set[str]:
    """Every regular file of the bag by its name from there. What is none is reported: no digest can speak for it."""
    found: set[str] = set()
    for name, kind in _entries(folder, folder):
        if kind == "file":
            found.add(name)
        else:
            wrong(name, Wrong.ADDED, f"it is {kind}, which no digest covers")
    return found


def _files(within: Path, root: Path) -> list[str]:
    return [name for name, kind in _entries(within, root) if kind == "file"]


def _entries(within: Path, root: Path) -> Iterator[tuple[str, str]]:
    """What stands in a folder, by name from `root`: files, and all that should not be there by what it is."""
    try:
        with os.scandir(within) as scanned:
            entries = sorted(scanned, key=lambda entry: entry.name)
    except OSError:
        yield within.relative_to(root).as_posix(), "a folder that cannot be read"
        return
    for entry in entries:
        name = Path(entry.path).relative_to(root).as_posix()
        mode = entry.stat(follow_symlinks=False).st_mode
        if stat.S_ISREG(mode):
            yield name, "file"
        elif stat.S_ISDIR(mode):
            inside = list(_entries(Path(entry.path), root))
            yield from inside or [(name, "an empty folder")]
        else:
            yield name, "a link" if stat.S_ISLNK(mode) else "neither a file nor a folder"


def info_text(values: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Tags with values of one line each: a line break would begin another tag."""
    return {name: " ".join(value.split()) for name, value in values if value.strip()}
