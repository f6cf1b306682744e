"""`interlock plan`."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from interlock.cli.files import refused, write_whole
from interlock.cli.opened import opened_text
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.scheme.grammar import GrammarError, read_value
from interlock.scheme.units import MICRO, Kind, lasted_text

if TYPE_CHECKING:
    from interlock.plan.sheet import CannotFind, Sheet, Step
    from interlock.scheme.model import Scheme

CARRY = (
    "Print it, or send this one file to a phone and open it there: it works offline, keeps what is entered and gives",
    "back a results file. Read its cautions first: local codes, the maker's manual and licensed practice rule.",
)


def plan(file: Path, threshold_off: Sequence[str], delay_off: str, page: Path | None, *, as_json: bool) -> int:
    """Plan the sheet and tell it, or write it as a page to print or to take along on a phone."""
    if page is not None and (why := refused(page, ".html")):
        sys.stderr.write(f"--sheet {page}: {why}\n")
        return Exit.BAD_INPUT
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
    if page is not None and not _written(page, scheme, sheet):
        return Exit.BAD_INPUT
    if as_json:
        paged = {} if page is None else {"sheet_file": os.fspath(page)}
        print_json({"file": os.fspath(file), **sheet.as_json(), **paged})
    elif page is None:
        tell(_told(sheet))
    else:
        tell([f"{next(_told(sheet))}, in {page}", *CARRY])
    if planner.interrupted:
        sys.stderr.write("interrupted while a shorter sheet was looked for: the best one until then is told\n")
        return Exit.INTERRUPTED
    return Exit.GOOD if all(c.proved for c in sheet.cannot_find) else Exit.FINDING


def _written(page: Path, scheme: Scheme, sheet: Sheet) -> bool:
    """Whether the page could be written; why not is said."""
    from interlock.sheet.step_page import step_page

    try:
        write_whole(page, step_page(scheme, sheet).encode())
    except OSError as error:
        sys.stderr.write(f"--sheet {page}: {error.strerror}\n")
        return False
    return True


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
    waiting = lasted_text(sheet.seconds * MICRO)
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
    wait = lasted_text(step.wait_s * MICRO)
    yield f"{number:>3}. {done or 'nothing new'}; " + (
        f"wait {wait}" if step.set else f"wait {wait} more, until {lasted_text(at * MICRO)} by the stopwatch"
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
