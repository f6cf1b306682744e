"""A finished study of faults, as `interlock inject --json` wrote it, read back for whoever tells of it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from interlock.faults.cutsets_search import CutSets, Undecided
from interlock.faults.effects import Effect, FaultEffect, Partner, Reveal, Sign
from interlock.faults.inject import Study
from interlock.scheme.model import Scheme


class StudyFileError(Exception):
    """A file that is no study of this scheme; the message says why, for people."""


def file_digest(file: Path) -> str:
    """SHA-256 of a file, in hexadecimal digits. Raises OSError."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def read_study(path: Path, scheme: Scheme, digest: str) -> Study:
    """The study in a file. `digest`: that of the scheme's file. Raises StudyFileError."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise StudyFileError(f"{path} can't be read: {error.strerror or error}") from error
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise StudyFileError(f"{path} is no JSON: expected what `interlock inject --json` prints") from error
    if not isinstance(data, dict) or "cut_sets" not in data or "faults" not in data:
        raise StudyFileError(f"{path} is no study of faults: expected what `interlock inject --json` prints")
    if data.get("scheme_digest") != digest:
        raise StudyFileError(
            f"{path} is a study of another scheme, or of this one before it was changed: run `interlock inject --json`"
            " again"
        )
    try:
        return _study(data, scheme)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise StudyFileError(
            f"{path} is damaged, or was written by another version ({error}): run `interlock inject --json` again"
        ) from error


def _study(data: dict[str, Any], scheme: Scheme) -> Study:
    effects = tuple(_effect(scheme, plain) for plain in data["faults"])
    if [e.fault for e in effects] != list(scheme.faults):
        raise ValueError("its faults are not the scheme's")
    cut_sets = tuple(_cut_sets(data, scheme, claim.name) for claim in scheme.claims)
    sets, judged = int(data["sets"]), int(data["judged"])
    return Study(int(data["size"]), effects, cut_sets, sets, judged, interrupted=data["complete"] is not True)


def _effect(scheme: Scheme, plain: dict[str, Any]) -> FaultEffect:
    return FaultEffect(
        plain["fault"],
        Effect(plain["effect"]),
        tuple(plain["violates"]),
        tuple(Reveal(_sign(scheme, name), name) for name in plain["revealed_by"]),
        tuple(plain["undecided"]),
        tuple(Partner(p["fault"], tuple(p["claims"])) for p in plain["dangerous_with"]),
    )


def _sign(scheme: Scheme, name: str) -> Sign:
    """A name stands for one thing in a scheme, and a claim's has a stroke in it."""
    if name in scheme.sensors:
        return Sign.SENSOR
    if name in scheme.rules:
        return Sign.ALARM
    if any(claim.name == name for claim in scheme.claims):
        return Sign.CLAIM
    raise ValueError(f"`{name}` is no sensor, rule or claim of the scheme")


def _cut_sets(data: dict[str, Any], scheme: Scheme, claim: str) -> CutSets:
    minimal = tuple(tuple(cut) for cut in data["cut_sets"][claim])
    unknown = [name for cut in minimal for name in cut if name not in scheme.faults]
    if unknown:
        raise ValueError(f"`{unknown[0]}` is no fault of the scheme")
    undecided = tuple(Undecided(tuple(u["faults"]), u["reason"]) for u in data["undecided"] if u["claim"] == claim)
    near = tuple(name for name in data["rests_on"][claim] if name in scheme.faults)
    first = claim == scheme.claims[0].name  # the count of what waits is of all claims together
    return CutSets(minimal, undecided, 0, near, int(data["size"]), int(data["not_judged"]) if first else 0)
