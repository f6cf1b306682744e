"""`interlock conform`."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.cli.export import unit_of
from interlock.cli.opened import opened
from interlock.cli.render import Progress, count_text, print_json, tell
from interlock.cli.status import Exit
from interlock.cli.vectors import CSV, made_for
from interlock.cli.written import write_all
from interlock.conform.blame import Suspect, names, suspects
from interlock.conform.drive import Broken, Difference, Result, drive
from interlock.conform.junit import Case, junit_xml
from interlock.conform.link import Link, NoStartError, Pipe, Serial
from interlock.explain.phrases import sentence
from interlock.explain.rules import rules
from interlock.export.unit import UnitCode
from interlock.logic.program import Observe
from interlock.scheme.units import decimal_text, time_text
from interlock.vectors.generate import given_of
from interlock.vectors.record import BadVectorsError, Run, Start, read_json_lines
from interlock.vectors.table import read_csv
from interlock.vectors.walk import Walker

MOST_SUSPECTS = 3


@dataclass(frozen=True, slots=True)
class Options:
    """What is driven and how."""

    unit: str
    command: str
    port: str
    baud: int
    vectors: Path | None
    most: int
    timeout: float
    junit: Path | None


def conform(file: Path, options: Options, *, as_json: bool) -> int:
    """Drive a firmware and tell the first difference."""
    if bool(options.command) is bool(options.port):
        sys.stderr.write('name what is to be driven: --run "COMMAND" for a program, or --serial PORT for a board\n')
        return Exit.BAD_INPUT
    scheme = opened(file, as_json=as_json)
    code = unit_of(scheme, file, options.unit)
    try:
        runs = _read(code, options.vectors) if options.vectors else made_for(code, options.most).runs
    except (OSError, UnicodeDecodeError, BadVectorsError) as error:
        sys.stderr.write(f"{options.vectors}: {error}\n")
        return Exit.BAD_INPUT
    progress, start = Progress(), time.perf_counter()
    try:
        results = drive(code, runs, _connector(options), options.timeout, progress.say)
    except NoStartError as error:
        progress.done()
        sys.stderr.write(f"{error}\n")
        return Exit.BAD_INPUT
    seconds = time.perf_counter() - start
    progress.done()
    told = _Told(code, runs, results)
    if options.junit:
        try:
            write_all(
                options.junit.parent, {options.junit.name: junit_xml(f"conform {code.unit}", told.cases(seconds))}
            )
        except OSError as error:
            sys.stderr.write(f"{options.junit}: {error.strerror or error}\n")
            return Exit.BAD_INPUT
    if as_json:
        print_json(told.json())
    else:
        tell(told.lines())
    return Exit.GOOD if told.good else Exit.FINDING


def _connector(options: Options) -> Callable[[], Link]:
    if options.command:
        return lambda: Pipe(options.command)
    return lambda: Serial(options.port, options.baud)


def _read(code: UnitCode, file: Path) -> tuple[Run, ...]:
    with file.open(encoding="utf-8", newline="") as lines:
        runs = read_csv(lines) if file.suffix == CSV else read_json_lines(iter(lines))
    wanted = (set(code.sensors), set(code.lines), set(code.outputs), set(code.sent), set(code.alarms))
    for run in runs:
        for vector in run.vectors:
            own = (vector.readings, vector.lines, vector.outputs, vector.sent, vector.alarms)
            if any(not need <= set(table) for need, table in zip(wanted, own, strict=True)):
                raise BadVectorsError(f"these are not vectors of {code.unit}: names differ; make them again")
            if any(v is not None and v % code.steps.of[n] for n, v in vector.readings.items() if n in code.steps.of):
                raise BadVectorsError("a reading is no whole number of the unit's steps; make the vectors again")
    if not runs:
        raise BadVectorsError("there is no vector in it")
    return runs


class _Told:
    """Results in words, as JSON and as test cases."""

    def __init__(self, code: UnitCode, runs: Sequence[Run], results: Sequence[Result]) -> None:
        self.code, self.runs, self.results = code, runs, results
        self.trouble = results[-1].trouble if results else None
        untold = {key for result in results for key in result.untold}
        self.untold = [key for key in code.told if key in untold]
        self.good = self.trouble is None and not [k for k in self.untold if k[0] is not Observe.ALARM]
        self.suspects: list[Suspect] = []
        if isinstance(self.trouble, Difference):
            self.suspects = suspects(code, runs[self.trouble.run - 1], self.trouble)[:MOST_SUSPECTS]

    @property
    def scans(self) -> int:
        """Scans answered."""
        return sum(result.scans for result in self.results)

    def lines(self) -> list[str]:
        """For people."""
        lines: list[str] = []
        if self.trouble is not None:
            word = "DIFFERS" if isinstance(self.trouble, Difference) else "NO ANSWER"
            first, *rest = self._trouble()
            lines += [f"{word:<10} {first}", *(f"  {line}" for line in rest)]
        elif self.good:
            lines.append(
                f"conforms   {self.code.unit}: {count_text(self.scans, 'scan')}, each answered as the rules say"
            )
        for kind, name in self.untold:
            what = {Observe.ENERGISED: "output", Observe.LINE: "line", Observe.ALARM: "alarm of"}[kind]
            lines.append(f"not told   {what} {name}: nothing was shown about it")
        lines.append("It was tried with these vectors only: agreement with them is no proof, and certifies nothing.")
        return lines

    def _trouble(self) -> list[str]:
        trouble = self.trouble
        assert trouble is not None
        at = time_text(trouble.scan * self.code.scheme.scan_us)
        where = f"run {trouble.run}, scan {trouble.scan:,} ({at} after power-up)"
        aim = [f"it was being tried: {trouble.aim}"] if trouble.aim else []
        if isinstance(trouble, Broken):
            return [f"{where}: {trouble.says}", *aim]
        items = {item.name: item for item in rules(self.code.scheme)}
        lines = [f"{where}: {'; '.join(names(trouble))}"]
        states = self._states(trouble)
        for number, suspect in enumerate(self.suspects):
            rule = self.code.scheme.rules[suspect.rule]
            how = "as though" if not number else "or as though"
            did = "acted" if suspect.acts else "did not act"
            if suspect.by_effect:
                did = "were in force" if suspect.acts else "were not in force"
            where = f"{self.code.file}:{rule.place.line}"
            if suspect.turns:
                word = "begins" if suspect.acts else "ceases"
                lines.append(f"{rule.name} rightly {word} to act at this scan, but not on that ({where})")
                continue
            if suspect.stands:
                lines.append(f"{rule.name} is rightly in force at this scan, but may do more than it should ({where})")
                continue
            part = "" if suspect.whole else ", which explains a part of it"
            lines.append(f"{how} {rule.name} {did} ({where}; by the rules {states[rule.name]}){part}")
            if not number:
                lines += [f"  {sentence(s)}" for s in items[rule.name].sentences[:1]]
        if not self.suspects:
            lines.append("no single rule explains it")
        return [*lines, f"the unit was given: {self._given(trouble)}", *aim]

    def _states(self, trouble: Difference) -> dict[str, str]:
        """Each rule's state at the scan, by the rules."""
        walker, run = Walker(self.code), self.runs[trouble.run - 1]
        slots = walker.start
        for vector in run.vectors[: trouble.scan + 1]:
            slots, _ = walker.told(slots, given_of(self.code, vector), vector.start is Start.POWER_CYCLE)
        states = {}
        for name in walker.rules:
            state, timer = walker.levels[name].state(slots[walker.slot[name]])
            delay = time_text(timer * self.code.scheme.scan_us) if timer else ""
            states[name] = f"{str(state).replace('_', ' ')}{f', its delay {delay} old' if delay else ''}"
        return states

    def _given(self, trouble: Difference) -> str:
        vector = self.runs[trouble.run - 1].vectors[trouble.scan]
        words = []
        for name in self.code.sensors:
            value = vector.readings[name]
            kind = self.code.scheme.sensors[name].kind
            words.append(f"{name} lost" if value is None else f"{name} {decimal_text(value)} {kind}")
        words += [f"{name} {'on' if vector.lines[name] else 'off'}" for name in self.code.lines]
        return ", ".join(words)

    def cases(self, seconds: float) -> list[Case]:
        """For build servers."""
        cases = []
        for result in self.results:
            name = f"run {result.run}, {count_text(len(self.runs[result.run - 1].vectors), 'scan')}"
            share = seconds * result.scans / max(1, self.scans)
            if result.trouble is None:
                cases.append(Case(name, share))
            elif isinstance(result.trouble, Difference):
                cases.append(Case(name, share, failure="\n".join(self._trouble())))
            else:
                cases.append(Case(name, share, error="\n".join(self._trouble())))
        silent = [name for kind, name in self.untold if kind is not Observe.ALARM]
        if silent and self.trouble is None:
            cases.append(Case("all outputs and lines are told", 0.0, failure=f"not told: {', '.join(silent)}"))
        return cases

    def json(self) -> dict[str, Any]:
        """For other programs."""
        trouble = self.trouble
        data: dict[str, Any] = {
            "scheme": self.code.scheme.title,
            "unit": self.code.unit,
            "conforms": self.good,
            "scans": self.scans,
            "not_told": [name for _, name in self.untold],
            "trouble": None,
        }
        if trouble is not None:
            data["trouble"] = {
                "kind": "differs" if isinstance(trouble, Difference) else "no answer",
                "run": trouble.run,
                "scan": trouble.scan,
                "aim": trouble.aim or None,
                "says": self._trouble(),
                "rules": [s.rule for s in self.suspects],
            }
        return data
