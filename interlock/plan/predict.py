"""What would be seen at each step of a sheet with other things wrong: thousands of sets of faults side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from interlock.logic.faultset import FaultSet
from interlock.logic.lower import common_order
from interlock.plan.sheet import EITHER, PRESSED, Sheet, Step, names_set, sides
from interlock.plan.sights import Sight, SightKind
from interlock.plan.stand import Columns, Given, Looks, Stand
from interlock.plan.stimuli import LOOK_US, SLOW_US, Stimuli, error_of
from interlock.plan.wrong import Wrong
from interlock.scheme.grammar import GrammarError, read_value
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.units import MICRO
from interlock.scheme.words import Mode

MOST_COLUMNS = 60_000  # run at once
MOST_SETS = 8_000  # followed at once
MOST_HELD = 64  # combinations of values at which the stuck sensors of a set may be held


class SheetError(ValueError):
    """A sheet that does not fit its scheme."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How a sheet is carried out: each reading at the low (-1) or high (1) end of its error; promptly or slowly."""

    end: int
    slow: bool


MANNERS = (Manner(-1, slow=False), Manner(1, slow=True))


@dataclass(frozen=True)
class Prediction:
    """`values[s][i, n]`: what is seen of the n-th name expected at step s (from 0) with the i-th set: 1 the first of
    the two words of `words[s][n]`, 0 the second, -1 either."""

    names: tuple[tuple[str, ...], ...]
    words: tuple[tuple[tuple[str, str], ...], ...]
    values: tuple[NDArray[np.int8], ...]

    def told(self, number: int) -> list[dict[str, str]]:
        """For each step what is seen with the set of that number: a word for each name, or `either`."""
        return [
            {
                name: EITHER if value < 0 else words[1 - value]
                for name, words, value in zip(names, pairs, values[number].tolist(), strict=True)
            }
            for names, pairs, values in zip(self.names, self.words, self.values, strict=True)
        ]


def predict(
    scheme: Scheme,
    sheet: Sheet,
    sets: Sequence[Iterable[Wrong]],
    held: Sequence[Mapping[str, int]] | None = None,
) -> Prediction:
    """What would be seen at each step with each set of what is wrong, all of it there from power-up on.

    Certain means: at both ends of the stimuli's errors, by quick and by slow hands, at every moment of the look, and
    at whichever reading a stuck sensor is held (`held`: at these, for each set). Raises SheetError where the sheet does
    not fit the scheme, ValueError where two exchanges of a set share a part or have no meaning together.
    """
    given = [tuple(s) for s in sets]
    looked_at, by_step, rows = _looks(scheme, sheet)
    true, false = ([np.zeros((len(given), len(r)), bool) for r in rows] for _ in range(2))
    for stand, members in stands(scheme, given, looked_at):
        runner = _Runner(stand, sheet)
        for numbers, columns in runner.batches(given, members, held):
            each = np.tile(numbers, len(MANNERS))
            for step, looks in enumerate(runner.run(columns)):
                for found, seen in ((true, looks.true), (false, looks.false)):
                    _join(found[step], each, seen[0][:, rows[step]])
    values = tuple(np.where(f, np.where(t, -1, 0), 1).astype(np.int8) for t, f in zip(true, false, strict=True))
    words = tuple(tuple(sides(scheme, sight) for sight in step.values()) for step in by_step)
    return Prediction(tuple(map(tuple, by_step)), words, values)


def sift(
    scheme: Scheme,
    sheet: Sheet,
    sets: Sequence[Iterable[Wrong]],
    fits: Callable[[int, NDArray[np.int8]], NDArray[np.bool_]],
    progress: Callable[[int], None] = lambda _: None,
) -> list[int]:
    """The numbers of the sets that fit at every step. `fits` is given a step (from 0) and what some sets show at it, as
    in Prediction.values, and says which of them fit; those that do not are followed no further. `progress` is told
    how many sets are decided. Raises as `predict`."""
    given = [tuple(s) for s in sets]
    looked_at, _, rows = _looks(scheme, sheet)
    kept: list[int] = []
    decided = 0
    for stand, members in stands(scheme, given, looked_at):
        runner = _Runner(stand, sheet)
        for at in range(0, len(members), MOST_SETS):
            part = members[at : at + MOST_SETS]
            alive = np.ones(len(given), bool)
            for numbers, columns in runner.batches(given, part):
                batch = _Batch(runner, columns, numbers)
                batch.keep(np.ones(len(batch.numbers), bool))  # in the order of their numbers
                for begun, looks in batch.phases():
                    for n, look in enumerate(looks):
                        owners, first = np.unique(batch.numbers, return_index=True)
                        true, false = (
                            np.logical_or.reduceat(seen[0][:, rows[begun + n]], first, axis=0)
                            for seen in (look.true, look.false)
                        )
                        values = np.where(false, np.where(true, -1, 0), 1).astype(np.int8)
                        alive[owners] &= fits(begun + n, values)
                    batch.keep(alive[batch.numbers])
            kept += [n for n in part if alive[n]]
            decided += len(part)
            progress(decided)
    return sorted(kept)


def _looks(scheme: Scheme, sheet: Sheet) -> tuple[tuple[Sight, ...], list[dict[str, Sight]], list[list[int]]]:
    """All that a sheet looks at; at each step by its names on the sheet; and where among all that each of them is.
    Raises SheetError."""
    by_step = [{name: sight_named(scheme, name) for name in step.expect} for step in sheet.steps]
    looked_at = tuple(dict.fromkeys(sight for step in by_step for sight in step.values()))
    row = {sight: i for i, sight in enumerate(looked_at)}
    return looked_at, by_step, [[row[sight] for sight in step.values()] for step in by_step]


def _join(found: NDArray[np.bool_], numbers: NDArray[np.int64], seen: NDArray[np.bool_]) -> None:
    """Put rows into those of these numbers, in each of which anything is true that is so in any."""
    order = np.argsort(numbers, kind="stable")
    each, first = np.unique(numbers[order], return_index=True)
    found[each] |= np.logical_or.reduceat(seen[order], first, axis=0)


def sight_named(scheme: Scheme, name: str) -> Sight:
    """What a name on a sheet means to look at. Raises SheetError."""
    for kind, known in (
        (SightKind.PATH, scheme.paths),
        (SightKind.LINE, scheme.lines),
        (SightKind.ALARM, scheme.rules),
        (SightKind.SENSOR, scheme.sensors),
        (SightKind.DEVICE, scheme.outputs),
    ):
        if name in known:
            return Sight(kind, name)
    raise SheetError(f"the sheet looks at `{name}`, which the scheme does not have")


def stands(
    scheme: Scheme, sets: Sequence[tuple[Wrong, ...]], looked_at: tuple[Sight, ...]
) -> list[tuple[Stand, list[int]]]:
    """Stands that have all the sets between them, each with the numbers of its sets: as few as the orders of the rules
    under exchanged lines allow."""
    for wrongs in sets:
        FaultSet.of(single for w in wrongs if isinstance(w, Fault) for single in w.single())
    groups: list[tuple[list[Wrong], list[int]]] = []
    by_lines: dict[tuple[Wrong, ...], list[int]] = {}
    for number, wrongs in enumerate(sets):
        by_lines.setdefault(tuple(w for w in wrongs if _exchanges_lines(w)), []).append(number)
    for lines, numbers in by_lines.items():
        for known, members in groups:
            joint = list(dict.fromkeys([*known, *lines]))
            if _has_order(scheme, joint):
                known[:] = joint
                members.extend(numbers)
                break
        else:
            if not _has_order(scheme, lines):
                raise ValueError(f"{', '.join(w.name for w in lines)} have no meaning together: the rules form a loop")
            groups.append((list(lines), numbers))
    found = []
    for _, members in groups:
        members.sort()
        wrong = tuple(dict.fromkeys(w for number in members for w in sets[number]))
        found.append((Stand(scheme, wrong, looked_at), members))
    return found


def _exchanges_lines(wrong: Wrong) -> bool:
    return isinstance(wrong, Fault) and wrong.exchanges_lines


def _has_order(scheme: Scheme, wrong: Sequence[Wrong]) -> bool:
    try:
        common_order(scheme, [w for w in wrong if isinstance(w, Fault)])
    except LoopError:
        return False
    return True


class _Runner:
    """A sheet run on one stand."""

    def __init__(self, stand: Stand, sheet: Sheet) -> None:
        self.stand, self.sheet, self.scheme = stand, sheet, stand.scheme
        self.stimuli = Stimuli(self.scheme)
        self.lost = {name: _lost(self.stimuli, name) for name in self.scheme.sensors}
        first = sheet.steps[0].set if sheet.steps else {}
        missing = [name for name in self.scheme.sensors if name not in first]
        if missing:
            raise SheetError(f"the first step gives {', '.join(missing)} nothing")
        for name in names_set(sheet.steps):
            if name not in self.scheme.sensors and name not in stand.external:
                raise SheetError(f"the sheet sets {name}, which is no sensor and no external line of the scheme")

    def batches(
        self,
        sets: Sequence[tuple[Wrong, ...]],
        members: Sequence[int],
        held: Sequence[Mapping[str, int]] | None = None,
    ) -> Iterable[tuple[NDArray[np.int64], Columns]]:
        """Columns for these sets, and of which set each is: one for each combination of held readings."""
        every = [(n, at) for n in members for at in (self._held(sets[n]) if held is None else [held[n]])]
        for at in range(0, len(every), MOST_COLUMNS):
            part = every[at : at + MOST_COLUMNS]
            columns = self.stand.columns([sets[number] for number, _ in part], [readings for _, readings in part])
            yield np.array([number for number, _ in part], np.int64), columns

    def _held(self, wrongs: Sequence[Wrong]) -> list[Mapping[str, int]]:
        stuck = [s.parts[0] for w in wrongs if isinstance(w, Fault) for s in w.single() if s.mode is Mode.STUCK]
        return held_at(self.stimuli, stuck)

    def run(self, columns: Columns) -> list[Looks]:
        """What may be seen at each step: of all columns in the first manner, then in the second, and so on."""
        return [look for _, looks in _Batch(self, columns, np.arange(len(columns.lost))).phases() for look in looks]

    def phases(self) -> Iterator[tuple[int, int, NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]]:
        """For each phase its first step and the one after its last, what sensors read in each manner, the external
        lines, and the buttons pressed."""
        readings = np.zeros((len(MANNERS), len(self.scheme.sensors)), np.int64)
        lines = np.zeros((1, len(self.stand.external)), bool)
        steps = self.sheet.steps
        begun = 0
        for end in (*(i for i, step in enumerate(steps) if i and step.set), len(steps)):
            if begun < end:
                pressed = np.zeros_like(lines)
                for name, text in steps[begun].set.items():
                    self._set(name, text, readings, lines, pressed)
                yield begun, end, readings, lines, pressed
            begun = end

    def _set(
        self,
        name: str,
        text: str,
        readings: NDArray[np.int64],
        lines: NDArray[np.bool_],
        pressed: NDArray[np.bool_],
    ) -> None:
        if name in self.stand.external:
            at = self.stand.external.index(name)
            if text == PRESSED:
                pressed[:, at] = True
            elif text in ("on", "off"):
                lines[:, at] = text == "on"
            else:
                raise SheetError(f"{name} is set to {text!r}: expected on, off or {PRESSED}")
            return
        at = list(self.scheme.sensors).index(name)
        readings[:, at] = [self._reading(name, text, manner) for manner in MANNERS]

    def _reading(self, name: str, text: str, manner: Manner) -> int:
        if text in self.lost:
            raise SheetError(f"{name} is set to {text!r}: expected a value with its unit")
        if text in (Mode.OPEN.value, Mode.SHORTED.value):
            return self.lost[name][text == Mode.SHORTED.value]
        try:
            value = read_value(text).micro
        except GrammarError as error:
            raise SheetError(f"{name} is set to {text!r}: {error.message}; {error.hint}") from error
        low, high = error_of(self.scheme.sensors[name])
        return value + (low if manner.end < 0 else high if manner.end > 0 else 0)


class _Batch:
    """Columns carried through a sheet, each in every manner. `numbers`: which set each is of, in order."""

    def __init__(self, runner: _Runner, columns: Columns, numbers: NDArray[np.int64]) -> None:
        count = len(columns.lost)
        of = np.tile(np.arange(count), len(MANNERS))
        manner = np.repeat(np.arange(len(MANNERS)), count)
        self._runner = runner
        self.numbers, self._manner, self._columns = np.tile(numbers, len(MANNERS)), manner, columns.only(of)

    def keep(self, which: NDArray[np.bool_]) -> None:
        """Follow these columns only. They stand in the order of their numbers from then on."""
        if not which.all() or (np.diff(self.numbers) < 0).any():
            chosen = np.flatnonzero(which)
            chosen = chosen[np.argsort(self.numbers[chosen], kind="stable")]
            self._columns, self._manner = self._columns.only(chosen), self._manner[chosen]
            self.numbers = self.numbers[chosen]

    def phases(self) -> Iterator[tuple[int, list[Looks]]]:
        """Each phase: its first step, and what may be seen at each of its steps; as long as there are columns."""
        scheme = self._runner.scheme
        slow_by = np.array([manner.slow for manner in MANNERS])
        for begun, end, readings, lines, pressed in self._runner.phases():
            count = len(self.numbers)
            if not count:
                return
            slow = slow_by[self._manner]
            held = np.where(slow, -(-SLOW_US // scheme.scan_us), 1)
            windows = look_windows(scheme, self._runner.sheet.steps[begun:end])
            scans = np.maximum(np.where(slow, windows[-1][1], windows[-1][0]), held)
            inside = [(low, np.minimum(high, scans)) for low, high in windows]
            each = np.zeros(count, np.int64)
            given = Given(readings[self._manner], lines[each], pressed[each], held)
            self._columns, looks, _ = self._runner.stand.phase(self._columns, given, scans, inside)
            yield begun, [Looks(looks.packed[:, i : i + 1], looks.sights) for i in range(len(windows))]


def look_windows(scheme: Scheme, steps: Sequence[Step]) -> list[tuple[int, int]]:
    """For each look of a phase the first and last scan, from 1, that it may fall into: a stopwatch is started at any
    time within a scan, and a look takes LOOK_US."""
    windows, at = [], 0
    for i, step in enumerate(steps):
        at = step.wait_s if i == 0 else at + step.wait_s
        first = max(1, at * MICRO // scheme.scan_us)
        windows.append((first, -(-(at * MICRO + LOOK_US) // scheme.scan_us) + 1))
    return windows


def held_at(stimuli: Stimuli, stuck: Sequence[str]) -> list[Mapping[str, int]]:
    """The readings at which stuck sensors may be held: one in each region between the limits of the rules, and what an
    open or shorted lead reads; where there are too many combinations, all sensors in the same region."""
    place = {name: i for i, name in enumerate(stimuli.scheme.sensors)}
    values = [[a.read for a in stimuli.values[place[name]]] for name in stuck]
    size = 1
    for each in values:
        size *= len(each)
    joint = product(*values) if size <= MOST_HELD else zip(*values, strict=False)
    return [dict(zip(stuck, combination, strict=True)) for combination in joint]


def _lost(stimuli: Stimuli, name: str) -> tuple[int, int]:
    """What an open and a shorted lead read: invalid where the scheme does not say."""
    sensor = stimuli.scheme.sensors[name]
    invalid = stimuli.lost
    return (
        invalid if sensor.open_reads is None else sensor.open_reads,
        invalid if sensor.shorted_reads is None else sensor.shorted_reads,
    )
