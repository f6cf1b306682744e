"""A firmware driven with vectors: each scan's inputs as a line, its answer held against what the rules say."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from interlock.conform.link import Link, LinkError, NoStartError, shown
from interlock.export.host import FIRST, LOST, POWER, REMARK, SCAN, UNTOLD
from interlock.export.unit import UnitCode
from interlock.logic.program import Observe
from interlock.vectors.record import Run, Start, Vector

MOST_REMARKS = 1000  # lines that begin with # before one answer


@dataclass(frozen=True, slots=True)
class Difference:
    """The first scan of a run at which the firmware answers otherwise."""

    run: int
    scan: int
    wrong: tuple[tuple[Observe, str, bool], ...]  # what it told otherwise, and what it told
    answer: tuple[bool | None, ...]
    aim: str


@dataclass(frozen=True, slots=True)
class Broken:
    """No answer, or none that can be read."""

    run: int
    scan: int
    says: str
    aim: str


@dataclass
class Result:
    """What came of one run."""

    run: int
    scans: int
    trouble: Difference | Broken | None = None
    untold: set[tuple[Observe, str]] = field(default_factory=set)


class AnswerError(ValueError):
    """An answer that is no answer; the message says why."""


def request(code: UnitCode, vector: Vector) -> str:
    """The line that asks for a scan."""
    letter = {None: SCAN, Start.FIRST: FIRST, Start.POWER_CYCLE: POWER}[vector.start]
    fields = [letter]
    for name in code.sensors:
        value = vector.readings[name]
        fields.append(LOST if value is None else str(value // code.steps.of[name]))
    fields += [str(int(vector.lines[name])) for name in code.lines]
    return " ".join(fields)


def answer(code: UnitCode, line: str) -> tuple[bool | None, ...]:
    """An answer's fields; None for what is not told. Raises AnswerError."""
    words = line.split()
    if len(words) != len(code.told):
        raise AnswerError(f"{len(words)} fields instead of {len(code.told)}: {shown(line)}")
    values = {"1": True, "0": False, UNTOLD: None}
    for number, word in enumerate(words, 1):
        if word not in values:
            raise AnswerError(f"field {number} is {shown(word)}, neither 0, 1 nor {UNTOLD}: {shown(line)}")
    return tuple(values[word] for word in words)


def expected(code: UnitCode, vector: Vector) -> tuple[bool, ...]:
    """What the rules say, in the order of an answer."""
    tables = {Observe.ENERGISED: vector.outputs, Observe.LINE: vector.sent, Observe.ALARM: vector.alarms}
    return tuple(tables[kind][name] for kind, name in code.told)


def drive(
    code: UnitCode,
    runs: Sequence[Run],
    connect: Callable[[], Link],
    timeout: float,
    progress: Callable[[str], None] = lambda _: None,
) -> list[Result]:
    """Drive a firmware through runs, each over a link of its own, until the first trouble. Raises NoStartError."""
    results: list[Result] = []
    for number, run in enumerate(runs, 1):
        results.append(_one(code, number, run, connect, timeout, progress))
        if results[-1].trouble:
            break
    return results


def _one(
    code: UnitCode, number: int, run: Run, connect: Callable[[], Link], timeout: float, progress: Callable[[str], None]
) -> Result:
    result, aim, link = Result(number, 0), "", None
    try:
        link = connect()
        for scan, vector in enumerate(run.vectors):
            aim = vector.aims[0] if vector.aims else aim
            if scan % 500 == 0:
                progress(f"run {number}, scan {scan:,} of {len(run.vectors):,}")
            told = _asked(code, link, request(code, vector), timeout)
            result.scans = scan + 1
            result.untold |= {key for key, value in zip(code.told, told, strict=True) if value is None}
            wanted = expected(code, vector)
            if wrong := tuple(
                (*key, value)
                for key, value, want in zip(code.told, told, wanted, strict=True)
                if value is not None and value is not want
            ):
                result.trouble = Difference(number, scan, wrong, told, aim)
                break
    except NoStartError:
        raise
    except (LinkError, AnswerError) as error:
        result.trouble = Broken(number, result.scans, str(error), aim)
    finally:
        if link is not None:
            link.close()
    return result


def _asked(code: UnitCode, link: Link, line: str, timeout: float) -> tuple[bool | None, ...]:
    got = link.ask(line, timeout)
    for _ in range(MOST_REMARKS):
        if not got.startswith(REMARK):
            return answer(code, got)
        got = link.next_line(timeout)
    raise AnswerError(f"{MOST_REMARKS} lines that begin with {REMARK} and no answer")
