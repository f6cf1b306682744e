"""Diagnosis from the results of a test sheet: the sets of faults whose predictions contain everything seen."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from interlock.diagnose.candidates import pairs
from interlock.diagnose.dependence import Dependence
from interlock.plan.predict import Prediction, predict, sift, sight_named
from interlock.plan.results import Results
from interlock.plan.sheet import Sheet, sides
from interlock.plan.wrong import Wrong
from interlock.records import replace
from interlock.scheme.model import Scheme

Bools = NDArray[np.bool_]
LOOKED_AT = 12  # first steps by which pairs are left out beforehand


class ResultsError(ValueError):
    """Results that do not fit their sheet: what, and what to do."""

    def __init__(self, message: str, help_text: str) -> None:
        super().__init__(message)
        self.help = help_text


@dataclass(frozen=True)
class Seen:
    """What was seen at each step of a sheet. `looks` is the sheet with what people looked at as its expectations, the
    steps that are yet to be done as they stand; `values[s][n]`: 1 for the first of the two words of that name, 0 for
    the second, -1 where nobody looked. `failed`: steps (from 0) of which only this is known, that something was not as
    expected."""

    scheme: Scheme
    looks: Sheet
    values: tuple[NDArray[np.int8], ...]
    failed: tuple[int, ...]

    @property
    def done(self) -> tuple[int, ...]:
        """The steps (from 0) of which something is known."""
        looked = {step for step, values in enumerate(self.values) if (values >= 0).any()}
        return tuple(sorted(looked | set(self.failed)))

    def begun(self, steps: int) -> Seen:
        """What was seen at so many first steps."""
        sheet = replace(self.looks, steps=self.looks.steps[:steps])
        return Seen(self.scheme, sheet, self.values[:steps], tuple(step for step in self.failed if step < steps))

    def fits(self, step: int, values: NDArray[np.int8]) -> Bools:
        """Which sets contain all that was seen at a step (from 0). `values`: what they show at it, of shape (sets,
        names), as in Prediction.values."""
        seen = self.values[step]
        found = ~((seen >= 0) & (values >= 0) & (values != seen)).any(axis=1)
        if step in self.failed:
            found &= ((values < 0) | (values != self._expected[step])).any(axis=1)
        return np.asarray(found)

    def explained(self, prediction: Prediction) -> Bools:
        """Which sets of a prediction for `looks` contain all that was seen."""
        found = np.ones(len(prediction.values[0]) if prediction.values else 0, bool)
        for step, values in enumerate(prediction.values):
            found &= self.fits(step, values)
        return found

    def contradicted(self, prediction: Prediction) -> list[Bools]:
        """For each step an array of shape (sets, names): what a set certainly shows otherwise than it was seen."""
        return [
            (seen >= 0) & (values >= 0) & (values != seen)
            for seen, values in zip(self.values, prediction.values, strict=True)
        ]

    @cached_property
    def _expected(self) -> Mapping[int, NDArray[np.int8]]:
        """What was expected at the steps that failed."""
        found = {}
        for number in self.failed:
            texts = self.looks.steps[number].expect
            pairs = [(texts[name], sides(self.scheme, sight_named(self.scheme, name))) for name in texts]
            found[number] = np.array([-1 if t not in words else int(t == words[0]) for t, words in pairs], np.int8)
        return found


def seen_of(scheme: Scheme, sheet: Sheet, results: Results) -> Seen:
    """Results laid beside their sheet. Raises ResultsError, SheetError.

    A step that is marked as passed showed all that it expects, unless something of it says that nobody looked. One that
    is marked as failed with nothing written down of what differed still says that something did.
    """
    if results.sheet_digest != sheet.digest:
        raise ResultsError(
            "these results were taken with another sheet",
            f"they name the sheet {results.sheet_digest[:16]}…, and this is {sheet.digest[:16]}…: give the one they"
            " were taken with by --sheet FILE, as `interlock plan --json` wrote it",
        )
    by_number = {result.step: result for result in results.steps}
    beyond = [number for number in by_number if number > len(sheet.steps)]
    if beyond:
        raise ResultsError(
            f"there are results of step {beyond[0]}, and the sheet has {len(sheet.steps)} steps", "check the numbers"
        )
    steps, values, failed = [], [], []
    for number, step in enumerate(sheet.steps, 1):
        result = by_number.get(number)
        looked: dict[str, str | None] = dict.fromkeys(step.expect)
        if result is not None:
            if result.passed:
                looked |= step.expect
            looked |= result.seen
            told = [name for name, word in looked.items() if word is not None]
            as_expected = all(looked[name] == step.expect.get(name, looked[name]) for name in told)
            if result.passed is False and as_expected:
                if len(told) == len(step.expect):
                    raise ResultsError(
                        f"step {number} is marked as failed, and all that was seen is as expected",
                        "write down what was seen otherwise, or mark it as passed",
                    )
                failed.append(number - 1)
        row = []
        for name, word in looked.items():
            pair = sides(scheme, sight_named(scheme, name))
            if word is not None and word not in pair:
                raise ResultsError(
                    f"step {number}: `{word}` is nothing that can be seen of {name}", f"expected {' or '.join(pair)}"
                )
            row.append(-1 if word is None else int(word == pair[0]))
        steps.append(replace(step, expect={name: step.expect.get(name, "") for name in looked}))
        values.append(np.array(row, np.int8))
    return Seen(scheme, replace(sheet, steps=tuple(steps)), tuple(values), tuple(failed))


def quietly(done: int, of: int) -> None:
    """Progress that nobody is told of."""
    del done, of


def explaining(
    scheme: Scheme,
    seen: Seen,
    sets: Sequence[tuple[Wrong, ...]],
    progress: Callable[[int, int], None] = quietly,
) -> tuple[tuple[Wrong, ...], ...]:
    """Those of the sets that contain everything seen, in their order. Each is followed through the sheet until it is
    contradicted."""
    numbers = sift(scheme, seen.looks, sets, seen.fits, lambda done: progress(done, len(sets)))
    return tuple(sets[n] for n in numbers)


def likely_pairs(scheme: Scheme, seen: Seen, wrongs: Sequence[Wrong]) -> list[tuple[Wrong, ...]]:
    """The pairs that may explain what was seen, those among them left out of which this is certain: that they do not.

    What one fault of two shows otherwise than it was seen, the other has to change, and it can only where what is seen
    depends on it.
    """
    seen = seen.begun(LOOKED_AT)
    alone = predict(scheme, seen.looks, [(wrong,) for wrong in wrongs])
    dependence = Dependence(scheme, wrongs)
    names: dict[str, int] = {}
    for step in alone.names:
        for name in step:
            names.setdefault(name, 1 << len(names))
    differing = [0] * len(wrongs)
    for step, contradicted in zip(alone.names, seen.contradicted(alone), strict=True):
        for column, name in enumerate(step):
            for row in np.flatnonzero(contradicted[:, column]).tolist():
                differing[row] |= names[name]
    place = {wrong: i for i, wrong in enumerate(wrongs)}
    reach = [_mask(dependence.of(wrong), names) for wrong in wrongs]

    def may(one: Wrong, other: Wrong) -> bool:
        if not dependence.together(one, other):
            return True
        a, b = place[one], place[other]
        return not (differing[a] & ~reach[b] or differing[b] & ~reach[a])

    return list(pairs(scheme, wrongs, may))


def _mask(names: Mapping[str, bool], known: Mapping[str, int]) -> int:
    found = 0
    for name, depends in names.items():
        if depends and name in known:
            found |= known[name]
    return found
