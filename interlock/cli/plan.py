"""`interlock plan`."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from interlock.cli.opened import opened_text
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.scheme.grammar import GrammarError, read_value
from interlock.scheme.units import MICRO, Kind, time_text

if TYPE_CHECKING:
    from interlock.plan.sheet import CannotFind, Sheet, Step


def plan(file: Path, threshold_off: Sequence[str], delay_off: str, *, as_json: bool) -> int:
    """Plan the sheet and tell it."""
    try:
        limits, share = _limits(threshold_off), _share(delay_off)
    except ValueError as error:
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    scheme, source = opened_text(file, as_json=as_json)
    from interlock.logic.many import TooLargeError
    from interlock.plan.hypotheses import Off
    from interlock.plan.loops import NeverRests
    from interlock.plan.planner import Planner
    from interlock.plan.sheet import digest_of

    line = Progress()
    try:
        planner = Planner(scheme, Off(limits, share), progress=line.say)
        sheet = planner.sheet(digest_of(Path(source.name).read_bytes()))
    except NeverRests:
        sys.stderr.write(
            f"{file}: the installation never comes to rest with its inputs unchanged, so no step has anywhere to begin;"
            " look for rules that make each other trip\n"
        )
        return Exit.FINDING
    except TooLargeError as error:
        sys.stderr.write(f"{file}: {error}\n")
        return Exit.BAD_INPUT
    except KeyboardInterrupt:
        sys.stderr.write("interrupted before there was a sheet: nothing is told\n")
        return Exit.INTERRUPTED
    finally:
        line.done()
    if as_json:
        print_json({"file": os.fspath(file), **sheet.as_json()})
    else:
        tell(_told(sheet))
    if planner.interrupted:
        sys.stderr.write("interrupted while a shorter sheet was looked for: the best one until then is told\n")
        return Exit.INTERRUPTED
    return Exit.GOOD if all(c.proved for c in sheet.cannot_find) else Exit.FINDING


def _limits(texts: Sequence[str]) -> dict[Kind, int]:
    """By how much limits are mistyped, for each kind of value. Raises ValueError."""
    found: dict[Kind, int] = {}
    for text in texts:
        try:
            measure = read_value(text)
        except GrammarError as error:
            raise ValueError(f"--threshold-off `{text}`: {error.message}; {error.hint}") from error
        if not measure.unit.difference or measure.micro <= 0:
            raise ValueError(f"--threshold-off `{text}`: expected a difference above zero such as `4 K` or `60 mV`")
        found[measure.unit.kind] = measure.micro
    return found


def _share(text: str) -> Fraction:
    """By what share delays are mistyped. Raises ValueError."""
    try:
        measure = read_value(text)
    except GrammarError as error:
        raise ValueError(f"--delay-off `{text}`: expected a share such as `20 %`") from error
    if measure.unit.kind is not Kind.PERCENT or measure.micro <= 0:
        raise ValueError(f"--delay-off `{text}`: expected a share above zero such as `20 %`")
    return Fraction(measure.micro, 100 * MICRO)


def _told(sheet: Sheet) -> Iterator[str]:
    waiting = time_text(sheet.seconds * MICRO)
    yield f"Test sheet of {sheet.scheme}: {count_text(len(sheet.steps), 'step')}, {waiting} of waiting"
    yield ""
    for sentence in sheet.before:
        yield f"Before: {sentence}"
    yield ""
    for number, (step, at) in enumerate(zip(sheet.steps, sheet.stopwatch(), strict=True), 1):
        yield from _step(number, step, at)
    yield ""
    yield f"Found by it: {count_text(len(sheet.finds), 'fault')}"
    for proved, words in ((True, "Not found, because nothing can show it"), (False, "Not found, without a proof")):
        these = [c for c in sheet.cannot_find if c.proved is proved]
        if these:
            yield ""
            yield f"{words}: {len(these)}"
            yield from _not_found(these)


def _step(number: int, step: Step, at: int) -> Iterator[str]:
    done = ", ".join(f"{name} {value}" for name, value in step.set.items())
    if number == 1:
        done = f"power up with {done}"
    wait = time_text(step.wait_s * MICRO)
    yield f"{number:>3}. {done or 'nothing new'}; " + (
        f"wait {wait}" if step.set else f"wait {wait} more, until {time_text(at * MICRO)} by the stopwatch"
    )
    by_word: dict[str, list[str]] = {}
    for name, word in step.expect.items():
        by_word.setdefault(word, []).append(name)
    for word, names in by_word.items():
        yield f"       {word}: {', '.join(names)}"


def _not_found(these: Sequence[CannotFind]) -> Iterator[str]:
    because: dict[str, list[str]] = {}
    for one in these:
        because.setdefault(one.because, []).append(one.fault)
    for reason, names in because.items():
        yield f"  {', '.join(names)}: {reason}"
