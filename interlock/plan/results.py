"""What was seen at each step of a test sheet: the results file, read and written.

The file is JSON: `format`, `scheme`, `scheme_digest`, `sheet_digest` (SHA-256 of the sheet's canonical JSON), `by`,
`when` (an ISO 8601 date or time), and `steps`, each with `step` (from 1), `seen` (name → what was seen, in the words of
the sheet; null where nobody looked), `measured` (name → what a meter showed, as written), `passed` (true, false or
null), `initials` and `note`.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from interlock.plan.sheet import SIDES
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.grammar import nearest
from interlock.scheme.read import open_source
from interlock.scheme.source import NOWHERE, Place, Source
from interlock.scheme.tree import MappingNode, Node, Scalar, SequenceNode, parse_tree, shortened

FORMAT = "interlock results 1"
WORDS = tuple(dict.fromkeys([*(word for pair in SIDES.values() for word in pair), "high", "low"]))
_TOP = ("format", "scheme", "scheme_digest", "sheet_digest", "by", "when", "steps")
_STEP = ("step", "seen", "measured", "passed", "initials", "note")


@dataclass(frozen=True, slots=True)
class StepResult:
    """What came of one step; `step` counts from 1. `seen`: None where nobody looked."""

    step: int
    seen: Mapping[str, str | None] = field(default_factory=dict)
    measured: Mapping[str, str] = field(default_factory=dict)
    passed: bool | None = None
    initials: str = ""
    note: str = ""

    def as_json(self) -> dict[str, Any]:
        """The step as plain data."""
        return {
            "step": self.step,
            "seen": dict(self.seen),
            "measured": dict(self.measured),
            "passed": self.passed,
            "initials": self.initials,
            "note": self.note,
        }


@dataclass(frozen=True)
class Results:
    """A results file. `when`: an ISO 8601 date or time; digests in hexadecimal digits."""

    scheme: str
    scheme_digest: str
    sheet_digest: str
    steps: tuple[StepResult, ...]
    by: str = ""
    when: str = ""

    def as_json(self) -> dict[str, Any]:
        """The results as plain data."""
        return {
            "format": FORMAT,
            "scheme": self.scheme,
            "scheme_digest": self.scheme_digest,
            "sheet_digest": self.sheet_digest,
            "by": self.by,
            "when": self.when,
            "steps": [step.as_json() for step in self.steps],
        }


def write_results(path: str | os.PathLike[str], results: Results) -> None:
    """Write a results file whole or not at all."""
    target = Path(path)
    beside = target.with_name(target.name + ".part")
    beside.write_text(json.dumps(results.as_json(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    os.replace(beside, target)


def load_results(path: str | os.PathLike[str]) -> Results:
    """Read a results file. Raises SchemeError with all that is wrong with it, each with its place."""
    return read_results(open_source(path))


def read_results(source: Source) -> Results:
    """Results from a text. Raises SchemeError with all that is wrong with it, each with its place."""
    try:
        json.loads(source.text)
    except json.JSONDecodeError as error:
        place = Place(error.lineno, error.colno)
        help_text = "the tool and the page on the phone write such files: has it been cut short or edited?"
        raise SchemeError([Finding("no-results", f"this is no JSON: {error.msg}", place, help_text)]) from error
    except RecursionError as error:
        raise SchemeError([Finding("no-results", "the nesting is deeper than any results file's")]) from error
    reader = _Reader()
    results = reader.results(parse_tree(Source(source.name, _PAIR.sub(_joined, source.text))))
    if reader.findings:
        raise SchemeError(reader.findings)
    return results


_PAIR = re.compile(r"\\u[dD][89abAB][0-9a-fA-F]{2}\\u[dD][c-fC-F][0-9a-fA-F]{2}")


def _joined(match: re.Match[str]) -> str:
    """A character that JSON writes as two escapes, of which YAML knows none."""
    return str(json.loads(f'"{match.group()}"'))


class _Reader:
    """Nodes into results; what is wrong is kept with its place."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []

    def wrong(self, message: str, place: Place, help_text: str) -> None:
        """Something that is not as it has to be."""
        self.findings.append(Finding("no-results", message, place, help_text))

    def results(self, root: MappingNode) -> Results:
        """The whole file."""
        given = self._text(root, "format", needed=True)
        if given != FORMAT:
            self.wrong(f"the format is `{shortened(given)}`", _place(root.get("format")), f"expected `{FORMAT}`")
        self._only(root, _TOP)
        when = self._text(root, "when")
        if when and not _is_date(when):
            help_text = "expected an ISO 8601 date or time such as 2026-05-01 or 2026-05-01T14:30:00"
            self.wrong(f"`{shortened(when)}` is no date", _place(root.get("when")), help_text)
        texts = [self._text(root, key, needed=True) for key in ("scheme", "scheme_digest", "sheet_digest")]
        steps = root.get("steps")
        if not isinstance(steps, SequenceNode):
            self.wrong("there is no list of `steps`", _place(steps), 'expected "steps": [{"step": 1, "seen": {}}]')
            return Results(texts[0], texts[1], texts[2], (), self._text(root, "by"), when)
        found: list[StepResult] = []
        for node in steps.items:
            step = self._step(node)
            if step is not None:
                if any(step.step == other.step for other in found):
                    self.wrong(f"step {step.step} is there twice", _place(node), "keep one result for each step")
                found.append(step)
        return Results(texts[0], texts[1], texts[2], tuple(found), self._text(root, "by"), when)

    def _step(self, node: Node) -> StepResult | None:
        if not isinstance(node, MappingNode):
            self.wrong("a step is a mapping", _place(node), 'expected {"step": 1, "seen": {"NAME": "running"}}')
            return None
        self._only(node, _STEP)
        number = self._text(node, "step", needed=True)
        if not number.isascii() or not number.isdigit() or int(number) < 1:
            self.wrong(f"`{shortened(number)}` is no number of a step", _place(node.get("step")), "steps count from 1")
            return None
        passed = node.get("passed")
        word = passed.text if isinstance(passed, Scalar) and passed.plain else None
        if passed is not None and word not in ("true", "false", "null"):
            self.wrong("`passed` is true, false or null", _place(passed), "null: not judged")
        return StepResult(
            int(number),
            self._seen(node.get("seen")),
            {name: value or "" for name, value in self._mapping(node.get("measured"), "measured")},
            {"true": True, "false": False}.get(word or ""),
            self._text(node, "initials"),
            self._text(node, "note"),
        )

    def _seen(self, node: Node | None) -> dict[str, str | None]:
        seen: dict[str, str | None] = {}
        for name, value in self._mapping(node, "seen"):
            if value is not None and value not in WORDS:
                known = nearest(value, WORDS)
                help_text = f"{known + ' ' if known else ''}expected one of {', '.join(WORDS)}, or null"
                self.wrong(
                    f"`{shortened(value)}` is nothing that can be seen of {name}", self._at(node, name), help_text
                )
            seen[name] = value
        return seen

    def _at(self, node: Node | None, key: str) -> Place:
        return _place(node.get(key) if isinstance(node, MappingNode) else node)

    def _mapping(self, node: Node | None, what: str) -> list[tuple[str, str | None]]:
        if node is None:
            return []
        if not isinstance(node, MappingNode):
            self.wrong(f"`{what}` is a mapping from names to texts", _place(node), f'expected "{what}": {{}}')
            return []
        found: list[tuple[str, str | None]] = []
        for entry in node.entries:
            if isinstance(entry.value, Scalar):
                found.append((entry.key.text, None if _is_null(entry.value) else entry.value.text))
            else:
                self.wrong(f"{entry.key.text} has no text", _place(entry.value), "expected a text or null")
        return found

    def _text(self, node: MappingNode, key: str, *, needed: bool = False) -> str:
        value = node.get(key)
        if isinstance(value, Scalar) and not _is_null(value):
            return value.text
        if value is not None and not isinstance(value, Scalar):
            self.wrong(f"`{key}` is a text", _place(value), f'expected "{key}": "…"')
        elif needed:
            self.wrong(f"`{key}` is missing", node.place, f'expected "{key}": "…"')
        return ""

    def _only(self, node: MappingNode, known: tuple[str, ...]) -> None:
        for entry in node.entries:
            if entry.key.text not in known:
                help_text = nearest(entry.key.text, known) or f"known here: {', '.join(known)}"
                self.wrong(f"`{shortened(entry.key.text)}` has no meaning here", entry.key.place, help_text)


def _place(node: Node | None) -> Place:
    return NOWHERE if node is None else node.place


def _is_null(node: Scalar) -> bool:
    return node.plain and node.text in ("null", "~", "")


def _is_date(text: str) -> bool:
    for form in (date.fromisoformat, datetime.fromisoformat):
        try:
            form(text)
        except ValueError:
            continue
        return True
    return False
