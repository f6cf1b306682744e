"""`interlock exercises`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from interlock.bench.section import IDENT
from interlock.bench.tables import TooWideError
from interlock.cli.catalogue import catalogue
from interlock.cli.files import refused, write_whole
from interlock.cli.opened import opened
from interlock.cli.render import count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.exercises.questions import questions
from interlock.exercises.records import Kind, Look, Question
from interlock.exercises.scene import Scene
from interlock.exercises.tell import Tell
from interlock.handbook.live import EXERCISES, exercise_set
from interlock.handbook.words import Catalogue

_WORDS = {
    Kind.PREDICT: "of what will happen",
    Kind.WHICH_FAULT: "of which fault it is",
    Kind.FIND_SETTING: "of what stops a path",
}
assert set(_WORDS) == set(Kind), set(Kind) - set(_WORDS)


def exercises(
    file: Path, out: Path | None, seed: int, counts: Mapping[str, int], *, language: str, as_json: bool
) -> int:
    """Work the questions out, then write the page, whole or not at all."""
    if out is None and not as_json:
        sys.stderr.write("say where to: --out FILE.html, or --json\n")
        return Exit.BAD_INPUT
    if out is not None and (why := refused(out, ".html")):
        sys.stderr.write(f"--out {out}: {why}\n")
        return Exit.BAD_INPUT
    words = catalogue(language)
    scheme = opened(file, as_json=as_json)
    try:
        scene = Scene(scheme, words.under(IDENT))
        asked = questions(scene, seed, {kind: counts[str(kind)] for kind in Kind})
        page = exercise_set(scene, asked, seed, words)
    except TooWideError as error:
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    if out is not None:
        try:
            write_whole(out, page.encode())
        except OSError as error:
            sys.stderr.write(f"--out {out}: {error.strerror or error}\n")
            return Exit.BAD_INPUT
    if as_json:
        print_json(_json(file, out, seed, scene, asked, words))
    else:
        found = Counter(question.kind for question in asked)
        tell(
            [
                f"{out}: {count_text(len(asked), 'question')}, set {seed}, with a sheet of answers",
                *(f"  {found[kind]} {_WORDS[kind]}" for kind in Kind if found[kind]),
                *(
                    f"  the scheme has no more than {found[kind]} {_WORDS[kind]}"
                    for kind in Kind
                    if found[kind] < counts[str(kind)]
                ),
            ]
        )
    return Exit.GOOD


def _json(
    file: Path, out: Path | None, seed: int, scene: Scene, asked: tuple[Question, ...], words: Catalogue
) -> dict[str, Any]:
    said = Tell(scene, words.under(EXERCISES), words.phrases)
    return {
        "scheme": str(file),
        "file": None if out is None else str(out),
        "seed": seed,
        "at_rest": {"readings": _base(scene.world.readings), "lines": dict(scene.world.lines)},
        "questions": [_question(said, question) for question in asked],
    }


def _question(said: Tell, question: Question) -> dict[str, Any]:
    scan_us = said.scheme.scan_us
    return {
        "kind": str(question.kind),
        "acts": [
            {
                "readings": _base(dict(act.readings)),
                "lines": dict(act.lines),
                "press": act.press or None,
                "wait_s": act.scans * scan_us / 1_000_000,
            }
            for act in question.acts
        ],
        "asks": said.asks(question),
        "asked": list(question.asked),
        "answer": list(question.answer),
        "says": said.answers(question),
        "reasons": said.reasons(question),
        "seen": [_look(look) for look in question.seen],
        "sound": [_look(look) for look in question.sound],
        "sensors": list(question.sensors),
        "spans": [
            {"low": s.low / 10**6, "high": s.high / 10**6, "low_closed": s.low_closed, "high_closed": s.high_closed}
            for s in question.spans
        ],
        "within_s": question.within * scan_us / 1_000_000 if question.spans else None,
    }


def _base(readings: Mapping[str, int]) -> dict[str, float]:
    return {name: value / 10**6 for name, value in readings.items()}


def _look(look: Look) -> dict[str, Any]:
    return {"running": dict(look.running), "alarms": list(look.alarms)}
