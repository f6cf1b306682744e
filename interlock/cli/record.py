"""`interlock record`: begun, added to, verified, shown."""

from __future__ import annotations

import hashlib
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from interlock import __version__
from interlock.cli.opened import opened_text
from interlock.cli.record_inputs import UnusableError, notes_of, pictures, regular, results_of
from interlock.cli.render import count_text, json_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.verdicts import verdicts
from interlock.record.chain import NoRecordError, Record, examined
from interlock.record.connections import connections
from interlock.record.differences import Difference, differences
from interlock.record.visit import VERDICTS, Visit, VisitError, read_json
from interlock.record.visit import as_json as visit_json
from interlock.record.write import Contents, RecordExistsError, Written, append, begin
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Scheme
from interlock.scheme.read import load
from interlock.scheme.source import Source

SHORTEST_SEAL = 16  # hexadecimal digits: what people may write down of a seal
CERTIFIES_NOTHING = "A record certifies nothing, and says nothing of what was changed since: test the installation."


@dataclass(frozen=True, slots=True)
class Given:
    """What the command line gives for a visit."""

    by: str
    when: str
    place: str
    results: list[Path]
    photo: list[str]
    photos: Path | None
    note: str
    notes: Path | None
    attach: list[Path]


def new(record: Path, scheme_file: Path, given: Given, *, as_json: bool) -> int:
    """Begin a record."""
    scheme, source = opened_text(scheme_file, as_json=as_json)
    try:
        if record.exists() or record.is_symlink():
            raise UnusableError(
                f"{record} exists already", "choose another name, or add a visit with `interlock record add`"
            )
        if not record.absolute().parent.is_dir():
            raise UnusableError(f"{record.absolute().parent} is no folder", "make it first, or choose another")
        contents, good = _contents(scheme, scheme_file.name, _bytes(scheme_file, source), given, frozenset())
        written = begin(record.absolute(), contents)
    except (UnusableError, RecordExistsError, OSError) as error:
        return _refused(error, as_json=as_json)
    return _told(record, written, good, as_json=as_json)


def add(record: Path, scheme_file: Path | None, given: Given, *, as_json: bool) -> int:
    """Add a visit to a record that is sound."""
    try:
        old = examined(record)
        if not old.sound:
            _print_problems(old, as_json=as_json, more={"added": False})
            sys.stderr.write("nothing was added: a later visit would seal what is wrong\n")
            return Exit.FINDING
        last = old.visits[-1]
        file = scheme_file or record / last.folder / "data" / last.scheme.file
        scheme, source = opened_text(file, as_json=as_json)
        shown = frozenset(part for v in old.visits for p in v.photographs for part in p.parts)
        name = scheme_file.name if scheme_file else last.scheme.was
        contents, good = _contents(scheme, name, _bytes(file, source), given, shown)
        written = append(record, contents)
    except (UnusableError, NoRecordError, RecordExistsError, OSError) as error:
        return _refused(error, as_json=as_json)
    return _told(record, written, good, as_json=as_json)


def _bytes(file: Path, source: Source) -> bytes:
    """The scheme's file as it is, byte for byte: what its digest is of."""
    found = file.read_bytes()
    if found.decode("utf-8-sig") != source.text:
        raise UnusableError(f"{file} was changed while it was read", "try again")
    return found


def _contents(
    scheme: Scheme, name: str, text: bytes, given: Given, shown_before: frozenset[str]
) -> tuple[Contents, bool]:
    """What goes into the visit, and whether all that the tool and the results say is good.

    Raises UnusableError, OSError.
    """
    by = " ".join(given.by.split())
    if not by:
        raise UnusableError("nobody made this visit", "say who with --by NAME")
    when = _when(given.when)
    for file in given.attach:
        regular(file)
    passed = results_of(given.results, hashlib.sha256(text).hexdigest())
    taken = pictures(given.photo, given.photos, connections(scheme))
    notes = notes_of(given.note, given.notes)
    found = verdicts(scheme, "scheme.yaml")
    contents = Contents(
        scheme=scheme,
        scheme_file=name,
        scheme_bytes=text,
        by=by,
        when=when,
        place=" ".join(given.place.split()),
        tool=f"interlock {__version__}",
        verdicts=found.data,
        counts=found.counts,
        results=tuple(given.results),
        pictures=taken,
        attachments=tuple(given.attach),
        notes=notes,
        shown_before=shown_before,
    )
    return contents, found.good and passed


def _when(text: str) -> str:
    if not text:
        return datetime.now().astimezone().isoformat(timespec="seconds")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise UnusableError(
            f"`{text}` is no time", "expected such as 2026-05-17T14:30+02:00 or 2026-05-17 (ISO 8601)"
        ) from error
    return text if len(text) <= len("2026-05-17") else moment.isoformat(timespec="seconds")


def _refused(error: Exception, *, as_json: bool) -> int:
    if isinstance(error, OSError):
        message, hint = f"{error.filename or 'the record'}: {error.strerror or error}", "nothing was recorded"
    else:
        message, hint = str(error), getattr(error, "help", "")
    if as_json:
        print_json({"done": False, "message": message, "help": hint})
    else:
        sys.stderr.write(f"{message}\n" + (f"  {hint}\n" if hint else ""))
    return Exit.BAD_INPUT


def _told(record: Path, written: Written, good: bool, *, as_json: bool) -> int:
    visit = written.visit
    if as_json:
        print_json({"record": str(record), "done": True, **visit_json(visit), "seal": written.seal, "good": good})
    else:
        tell(
            (
                f"{record}/{visit.folder}: {visit.installation}, by {visit.by}, {visit.when}",
                *(f"  {name:<6} {words}" for name, words in visit.counts.items()),
                f"  results of {count_text(len(visit.results), 'sheet')}, "
                f"{count_text(len(visit.photographs), 'photograph')}, "
                f"{count_text(len(visit.attachments), 'attachment')}",
                *_bare_lines(visit),
                f"Seal: {written.seal}",
                "Write it down elsewhere, on the printed sheet or in the log book: without it nobody can tell whether "
                "the newest visit was replaced as a whole.",
                CERTIFIES_NOTHING,
            )
        )
    return Exit.GOOD if good else Exit.FINDING


def _bare_lines(visit: Visit) -> Iterator[str]:
    bare = [c for c in visit.connections if c.part in visit.bare]
    if bare:
        yield f"Without a photograph: {len(bare)} of {count_text(len(visit.connections), 'connection')}"
        yield from (f"  {c.words()}" for c in bare)
    elif visit.connections:
        yield f"Every one of {count_text(len(visit.connections), 'connection')} has a photograph"
    if visit.unlabelled:
        names = ", ".join(visit.unlabelled)
        yield f"Without `terminal:` or `wire:`, so that no photograph can be tied to them: {names}"


def show(record: Path, *, as_json: bool) -> int:
    """What a record holds, if its digests are right."""
    try:
        found = examined(record)
    except NoRecordError as error:
        return _refused(error, as_json=as_json)
    if as_json:
        print_json({**_record_json(record, found), "visits": [visit_json(v) for v in found.visits]})
    else:
        for visit in found.visits:
            where = f", {visit.place}" if visit.place else ""
            tell((f"{visit.folder}: {visit.installation}, by {visit.by}, {visit.when}{where}, with {visit.tool}",))
            tell(f"  {name:<6} {words}" for name, words in visit.counts.items())
            tell(f"  {k.file} (was {k.was})" for k in (*visit.results, *visit.attachments))
            tell(f"  {p.kept.file}: {', '.join(p.parts) or 'the whole'}" for p in visit.photographs)
            notes = record / visit.folder / "data" / "notes.txt"
            if visit.notes and notes.is_file():
                tell(f"  note: {line}" for line in notes.read_text(encoding="utf-8", errors="replace").splitlines())
        if found.visits:
            tell(_bare_lines(found.visits[-1]))
        _print_problems(found, as_json=False)
    return Exit.GOOD if found.sound else Exit.FINDING


def verify(record: Path, seal: str, *, digests_only: bool, as_json: bool) -> int:
    """Every digest, then every claim again."""
    digits = re.sub(r"[\s:-]", "", seal).lower()
    if seal and not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_SEAL},64}}", digits):
        return _refused(
            UnusableError(f"`{seal}` is no seal", f"expected its first {SHORTEST_SEAL} to 64 hexadecimal digits"),
            as_json=as_json,
        )
    try:
        found = examined(record)
    except NoRecordError as error:
        return _refused(error, as_json=as_json)
    sealed = found.seal.startswith(digits) if seal else None
    told: list[tuple[Visit, str, list[Difference]]] = []
    if found.sound and not digests_only:
        told = [(visit, *_weighed(record / visit.folder / "data", visit)) for visit in found.visits]
    differ = any(reason or others for _, reason, others in told)
    if as_json:
        data = _record_json(record, found)
        data["as_sealed"] = sealed
        data["weighed_again"] = [
            {
                "visit": visit.folder,
                "then": visit.tool,
                "now": f"interlock {__version__}",
                "failed": reason or None,
                "differences": [{"of": d.command, "name": d.name, "then": d.then, "now": d.now} for d in others],
            }
            for visit, reason, others in told
        ]
        print_json(data)
    else:
        _print_problems(found, as_json=False)
        for visit, reason, others in told:
            tell(_weighed_lines(visit, reason, others))
        if sealed is False:
            tell((f"NOT AS SEALED: the newest visit's seal is {found.seal}, not {digits}",))
        elif found.sound:
            tell(
                (
                    f"Seal: {found.seal}" + (", as given" if sealed else ""),
                    *(() if sealed else ("Compare it with what was written down, or give it with --seal.",)),
                    CERTIFIES_NOTHING,
                )
            )
    return Exit.GOOD if found.sound and not differ and sealed is not False else Exit.FINDING


def _weighed_lines(visit: Visit, reason: str, others: list[Difference]) -> Iterator[str]:
    now = f"interlock {__version__}"
    if reason:
        yield f"{visit.folder}: the verdicts cannot be worked out again by {now}: {reason}"
    elif not others:
        yield f"{visit.folder}: every verdict as it was with {visit.tool}"
    else:
        yield f"{visit.folder}: {count_text(len(others), 'answer')} not as with {visit.tool}, worked out by {now}:"
        for d in others:
            yield f"  {d.command}, {d.name}: was {d.then or 'not there'}; is {d.now or 'not there'}"


def _weighed(data: Path, visit: Visit) -> tuple[str, list[Difference]]:
    """Why the verdicts can't be worked out again ("" where they can), and those that are others now."""
    try:
        then = {name: read_json(data / "verdicts" / f"{name}.json") for name in VERDICTS}
        scheme = load(data / visit.scheme.file)
        return "", list(differences(then, verdicts(scheme, visit.scheme.file).data))
    except SchemeError as error:
        first = error.findings[0]
        return f"its scheme is none any more: line {first.place.line}: {first.message}", []
    except (VisitError, KeyError, TypeError) as error:
        return f"what was stored cannot be read: {error}", []


def _record_json(record: Path, found: Record) -> dict[str, Any]:
    return {
        "record": str(record),
        "sound": found.sound,
        "problems": [{"file": p.file, "wrong": str(p.wrong), "message": p.words} for p in found.problems],
        "seal": found.seal,
    }


def _print_problems(found: Record, *, as_json: bool, more: dict[str, Any] | None = None) -> None:
    if as_json:
        sys.stdout.write(json_text({**_record_json(found.folder, found), **(more or {})}))
        return
    for p in found.problems:
        tell((f"{str(p.wrong).upper()}  {p.file}: {p.words}",))
    visits = count_text(len(found.visits), "visit")
    if found.sound:
        tell((f"{found.folder}: {visits}, every file as it was recorded",))
    else:
        tell((f"{found.folder}: REFUSED, {count_text(len(found.problems), 'thing')} wrong",))
