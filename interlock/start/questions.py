"""The questions a first scheme is asked for: as data, so that a terminal can ask them and a script can answer them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from interlock.scheme.grammar import GrammarError, nearest, read_time, read_value
from interlock.scheme.units import Kind
from interlock.start.answers import Answers, AnswersError, Problem, check_answers
from interlock.start.chemistry import PRESETS, Chemistry
from interlock.start.devices import FACTS, Device, LoadKind, SourceKind


class AnswerError(Exception):
    """One answer that can't be read: what is wrong, what to do."""

    def __init__(self, message: str, help_text: str = "") -> None:
        super().__init__(message)
        self.message, self.help = message, help_text


@dataclass(frozen=True, slots=True)
class Question:
    """One question: its key (an option's name too), its text, what to know about it, the answer if none is given.

    `parse` reads an answer and raises AnswerError. `only_with`: asked only where an earlier answer is of that kind
    (a question's key and a test on its value).
    """

    key: str
    text: str
    help: str
    default: str
    parse: Callable[[str], object]
    only_with: Callable[[Mapping[str, object]], bool] = lambda _: True


# --- how answers are read


def _title(text: str) -> str:
    found = " ".join(text.split())
    if not found or len(found) > 80 or not found.isprintable():
        raise AnswerError("a title is one line of 1 to 80 printable characters", "such as `Alpine hut`")
    return found


def _chemistry(text: str) -> Chemistry:
    table = {str(c).lower(): c for c in Chemistry}
    found = table.get(text.strip().lower())
    if found is None:
        known = ", ".join(str(c) for c in Chemistry)
        raise AnswerError(
            f"`{text.strip()}` has no usual limits here",
            f"known: {known}; for another take the nearest and change its limits in the file",
        )
    return found


def _count(low: int, high: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        found = text.strip()
        if not re.fullmatch(r"[0-9]{1,4}", found) or not low <= int(found) <= high:
            raise AnswerError(f"`{found}` is no whole number from {low} to {high}")
        return int(found)

    return parse


def _scan(text: str) -> int:
    try:
        us = read_time(text)
    except GrammarError as error:
        raise AnswerError(str(error), error.hint) from error
    if us % 1_000 or not 10_000 <= us <= 1_000_000:
        raise AnswerError(f"a scan of `{text.strip()}` is not from 10 ms to 1 s in whole milliseconds")
    return us // 1_000


def _kelvins(low: int, high: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        try:
            value = read_value(text)
        except GrammarError as error:
            raise AnswerError(str(error), error.hint) from error
        if value.unit.kind is not Kind.TEMPERATURE or not value.unit.difference:
            raise AnswerError(f"`{text.strip()}` is no temperature difference", "such as `1 K`")
        if not low * 100_000 <= value.micro <= high * 100_000 or value.micro % 100_000:
            raise AnswerError(
                f"`{text.strip()}` is not from {low / 10:g} K to {high / 10:g} K in tenths", "such as `1 K` or `0.5 K`"
            )
        return value.micro

    return parse


def _yes_no(text: str) -> bool:
    table = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
    found = table.get(text.strip().lower())
    if found is None:
        raise AnswerError(f"`{text.strip()}` is neither yes nor no")
    return found


_WORDS = ("remote", "contactor", "essential")


def _devices(kinds: type[SourceKind] | type[LoadKind]) -> Callable[[str], tuple[Device, ...]]:
    table = {str(kind): kind for kind in kinds}

    def parse(text: str) -> tuple[Device, ...]:
        items = [item for item in re.split(r"[,\s]+", text.strip()) if item]
        found = [_device(item, table) for item in items]
        return tuple(_named(found))

    return parse


def _device(item: str, table: Mapping[str, SourceKind | LoadKind]) -> tuple[str, Device]:
    """(the name given or "", the device under its usual name)."""
    head, *words = item.split(":")
    name, equals, word = head.rpartition("=")
    kind = table.get(word)
    if kind is None:
        near = nearest(word, table)
        known = "known: " + ", ".join(table)
        raise AnswerError(f"`{word}` is no kind there is here", f"{near} {known}" if near else known)
    if equals and not name:
        raise AnswerError(f"`{item}` has no name before `=`", "write NAME=KIND, or KIND alone")
    for extra in words:
        if extra not in _WORDS:
            near = nearest(extra, _WORDS)
            known = "known: " + ", ".join(_WORDS)
            raise AnswerError(f"`{extra}` says nothing about `{head}`", f"{near} {known}" if near else known)
    facts = FACTS[kind]
    told = {w for w in words if w != "essential"}
    remote = "remote" in told if told else facts.usually_remote
    contactor = "contactor" in told if told else not facts.usually_remote
    return name, Device(name or facts.name, kind, remote, contactor, "essential" in words)


def _named(found: list[tuple[str, Device]]) -> list[Device]:
    """Devices of a kind without names of their own are numbered where there are several."""
    several = {d.name for _, d in found if sum(1 for n, other in found if not n and other.name == d.name) > 1}
    counts: dict[str, int] = {}
    devices = []
    for name, device in found:
        if name or device.name not in several:
            devices.append(device)
            continue
        counts[device.name] = counts.get(device.name, 0) + 1
        numbered = f"{device.name}_{counts[device.name]}"
        devices.append(Device(numbered, device.kind, device.remote, device.contactor, device.essential))
    return devices


def _both_supplies(answers: Mapping[str, object]) -> bool:
    sources = answers.get("sources")
    kinds = [d.kind for d in sources if isinstance(d, Device)] if isinstance(sources, tuple) else []
    return kinds.count(SourceKind.SHORE) == kinds.count(SourceKind.GENERATOR) == 1


# --- the questions


def _kinds_text(kinds: type[SourceKind] | type[LoadKind]) -> str:
    return "; ".join(f"{kind}: {FACTS[kind].says}" for kind in kinds)


_FORM = (
    "Separate them by commas. Each may have a name and words: `roof=solar:remote` has a remote input that stops it, "
    "`:contactor` is stopped by a contactor, both words mean one after the other; without a word it is what is usual"
)

_QUESTIONS = (
    Question("title", "What is the installation called?", "One line, for people.", "Battery system", _title),
    Question(
        "chemistry",
        "Which cells?",
        "; ".join(f"{c}: {PRESETS[c].says}" for c in Chemistry)
        + ". Their usual limits are common practice, no source: the cell's own datasheet rules.",
        "LFP",
        _chemistry,
    ),
    Question("series", "How many cells in series?", "16 LFP cells make 51.2 V.", "16", _count(1, 400)),
    Question(
        "scan",
        "How often does the controller read, decide and write?",
        "The time of one scan, 10 ms to 1 s.",
        "100 ms",
        _scan,
    ),
    Question(
        "probes",
        "How many temperature probes does the controller read?",
        "Put them where the pack is coldest and where it is warmest.",
        "1",
        _count(1, 8),
    ),
    Question(
        "probe_error",
        "How far may a probe read from the temperature of its own place?",
        "From its datasheet and the input's, as a difference in K.",
        "1 K",
        _kelvins(1, 50),
    ),
    Question(
        "probe_offset",
        "How far may the coldest and the hottest cell be from the place of the probe?",
        "Measure it once under load; 2 K where the pack is compact.",
        "2 K",
        _kelvins(0, 100),
    ),
    Question(
        "monitor",
        "Does a cell monitor give one signal that stops charging and one that stops loads?",
        "yes, or no: then the controller reads the lowest and the highest cell itself.",
        "yes",
        _yes_no,
    ),
    Question(
        "reset_button",
        "Shall an overheated pack wait until a person presses a button beside it?",
        "no: it comes back by itself once it has cooled down.",
        "yes",
        _yes_no,
    ),
    Question(
        "shunt",
        "Does a shunt count the charge level?",
        "Then loads go in two tiers when charge runs low, and a generator is called.",
        "no",
        _yes_no,
    ),
    Question("sources", "Which charge sources?", f"{_kinds_text(SourceKind)}. {_FORM}.", "solar", _devices(SourceKind)),
    Question(
        "loads",
        "Which loads?",
        f"{_kinds_text(LoadKind)}. {_FORM}; `:essential` goes last when charge runs low.",
        "inverter, dc_branch",
        _devices(LoadKind),
    ),
    Question(
        "one_at_a_time",
        "Must shore charger and generator never run together?",
        "yes where they share a feeder or are not in phase.",
        "no",
        _yes_no,
        only_with=_both_supplies,
    ),
)


def questions() -> tuple[Question, ...]:
    """All questions, in the order in which they are asked."""
    return _QUESTIONS


def answers_from(options: Mapping[str, str]) -> Answers:
    """Answers by the questions' keys; what is not given takes its default. Raises AnswersError with all problems."""
    known = {q.key: q for q in _QUESTIONS}
    problems = [
        Problem(key, f"there is no question `{key}`", nearest(key, known) or "known: " + ", ".join(known))
        for key in options
        if key not in known
    ]
    values: dict[str, object] = {}
    failed: set[str] = set()
    for question in _QUESTIONS:
        try:
            values[question.key] = question.parse(options.get(question.key, question.default))
        except AnswerError as error:
            problems.append(Problem(question.key, error.message, error.help))
            failed.add(question.key)
            values[question.key] = () if question.key in ("sources", "loads") else question.parse(question.default)
    answers = _answers(values)
    problems += [p for p in check_answers(answers) if failed.isdisjoint({p.question, *_RESTS_ON.get(p.question, ())})]
    if problems:
        order = [*known, *options]
        raise AnswersError(sorted(problems, key=lambda p: order.index(p.question)))
    return answers


# What a problem with one answer can come from besides: not told where that could not be read either.
_RESTS_ON = {
    "one_at_a_time": ("sources",),
    "probe_error": ("chemistry", "probe_offset", "loads"),
    "scan": ("sources",),
}


def _answers(values: Mapping[str, object]) -> Answers:
    fields = {
        "title": values["title"],
        "chemistry": values["chemistry"],
        "series": values["series"],
        "scan_ms": values["scan"],
        "probes": values["probes"],
        "probe_error": values["probe_error"],
        "probe_offset": values["probe_offset"],
        "monitor": values["monitor"],
        "button": values["reset_button"],
        "shunt": values["shunt"],
        "sources": values["sources"],
        "loads": values["loads"],
        "one_at_a_time": values["one_at_a_time"],
    }
    return Answers(**fields)  # type: ignore[arg-type]  # each parser gives its field's type; tests hold that
