"""What is decided, kept as it comes: a file to which each batch of answers is appended as one line.

A line is whole or it is not there: it ends with a checksum of its own, and a line that was cut off (the process was
killed while it wrote) is dropped together with all that follows. The first line says which study it belongs to.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from interlock.faults.court import Answers
from interlock.faults.cutsets_search import Ask, Rests, Told
from interlock.faults.judge import Answer, Ruling, Shown
from interlock.proof.components import Abstraction, Settled

FORMAT = "interlock inject 2"


class Journal:
    """The file of one study. `names`: the catalogue, in order. `study`: what tells this study from any other.

    Raises OSError where the file can't be read or written.
    """

    def __init__(self, path: Path, study: str, names: Sequence[str], *, resume: bool) -> None:
        self.path, self._names = path, tuple(names)
        self._number = {name: i for i, name in enumerate(names)}
        self._head = {"format": FORMAT, "study": study}
        self._known: dict[tuple[int, tuple[str, ...]], Told] = {}
        whole = self._read() if resume else 0
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
        os.ftruncate(self._file, whole)
        if not whole:
            self._append(self._head)

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        os.close(self._file)

    @property
    def kept(self) -> int:
        """How many answers it has."""
        return len(self._known)

    def answered(self, claim: int, asks: Iterable[Ask]) -> Iterator[Told]:
        """Those of these questions that were answered before."""
        for ask in asks:
            told = self._known.get((claim, ask.faults))
            if told is not None:
                yield told

    def note(self, answers: Answers) -> None:
        """Keep the answers to a batch."""
        shown: dict[str, int] = {}
        rows = []

        def place(what: Shown) -> int:
            return shown.setdefault(json.dumps(_shown_plain(what)), len(shown))

        for told in answers.told:
            ruling = told.ruling
            first = None if ruling.shown is None else place(ruling.shown)
            others = [[place(rests.shown), self._set(rests.near)] for rests in told.others]
            near = self._set(told.near)
            rows.append([self._set(told.faults), str(ruling.answer), first, ruling.reason, near, others])
        self._append({"claim": answers.claim, "shown": [json.loads(s) for s in shown], "told": rows})

    def done(self) -> None:
        """The study is complete: the file is not needed any more."""
        self.path.unlink(missing_ok=True)

    # --- lines

    def _append(self, data: Mapping[str, Any]) -> None:
        text = json.dumps(data, separators=(",", ":"), ensure_ascii=False)
        os.write(self._file, f"{text}\t{_checksum(text)}\n".encode())

    def _read(self) -> int:
        """Take in the file's whole lines; how many bytes they are, 0 where it belongs to another study."""
        try:
            content = self.path.read_bytes()
        except FileNotFoundError:
            return 0
        whole = 0
        for number, line in enumerate(content.splitlines(keepends=True)):
            data = _data(line)
            if data is None or (number == 0 and data != self._head):
                break
            if number:
                self._take(data)
            whole += len(line)
        return whole

    def _take(self, data: Mapping[str, Any]) -> None:
        shown = [_shown(plain) for plain in data["shown"]]
        for faults, answer, place, reason, near, others in data["told"]:
            ruling = Ruling(Answer(answer), None if place is None else shown[place], reason)
            rests = tuple(Rests(shown[at], self._names_of(theirs)) for at, theirs in others)
            told = Told(self._names_of(faults), ruling, self._names_of(near), rests)
            self._known[data["claim"], told.faults] = told

    def _set(self, names: Iterable[str]) -> list[int]:
        return [self._number[name] for name in names]

    def _names_of(self, numbers: Iterable[int]) -> tuple[str, ...]:
        return tuple(self._names[i] for i in numbers)


def _checksum(text: str) -> str:
    return f"{zlib.crc32(text.encode()):08x}"


def _data(line: bytes) -> dict[str, Any] | None:
    """What a line says; None where it is not whole."""
    try:
        text, checksum = line.decode().rsplit("\t", 1)
    except ValueError:
        return None
    if checksum != f"{_checksum(text)}\n":
        return None
    data = json.loads(text)
    assert isinstance(data, dict)
    return data


def _shown_plain(shown: Shown) -> dict[str, Any]:
    known = shown.abstraction
    return {
        "goal": shown.goal,
        "zones": shown.zones,
        "everything": known.everything,
        "exact": {rule: sorted(uses) for rule, uses in known.exact.items()},
        "groups": known.groups,
        "settled": [[s.rules, s.uses, s.scans, s.falls, s.least] for s in known.settled],
        "shadows": dict(known.shadows),
        "fixed": dict(known.fixed),
        "loose": sorted(known.loose),
    }


def _shown(plain: Mapping[str, Any]) -> Shown:
    settled = (Settled(tuple(r), tuple(u), scans, falls, least) for r, u, scans, falls, least in plain["settled"])
    abstraction = Abstraction(
        exact={rule: frozenset(uses) for rule, uses in plain["exact"].items()},
        everything=plain["everything"],
        groups=tuple(tuple(g) for g in plain["groups"]),
        fixed=plain["fixed"],
        settled=tuple(settled),
        shadows=plain["shadows"],
        loose=frozenset(plain["loose"]),
    )
    return Shown(plain["goal"], abstraction, plain["zones"])
