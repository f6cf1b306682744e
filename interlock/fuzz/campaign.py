"""All claims of a scheme attacked in turn, until the examples, the time or the user's patience ends."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from interlock.fuzz.aim import Aim
from interlock.fuzz.behaviour import Attempt, Draw
from interlock.fuzz.drive import BATCH, Enough, drive
from interlock.fuzz.faults import Plan, meaningful
from interlock.fuzz.found import Found, found
from interlock.fuzz.guide import guide_of
from interlock.fuzz.judge import resets_of
from interlock.fuzz.moves import behave
from interlock.scheme.model import Claim, Fault, Scheme

MOST_AIMS = 200  # fault sets of one claim kept ready at a time


@dataclass(frozen=True, slots=True)
class Options:
    """`examples`: behaviours aimed at each claim. `given`: faults present in each of them. `more`: up to so many others
    drawn beside those. `seconds`: when to stop; None: never."""

    examples: int = 100
    seed: int = 0
    given: tuple[Fault, ...] = ()
    more: int = 0
    seconds: float | None = None


@dataclass(slots=True)
class Result:
    """What became of one claim: behaviours aimed at it, the longest exposure any showed and under which faults (None:
    its conditions never held, or its path never could), and a violation with the number of the example, of all, that
    showed it."""

    claim: Claim
    examples: int = 0
    longest_us: int | None = None
    longest_under: tuple[Fault, ...] = ()
    found: Found | None = None
    found_at: int = 0


@dataclass(slots=True)
class Report:
    """All results in the order of the claims; `cut_short`: why not all examples were done, "" where they were."""

    results: tuple[Result, ...]
    examples: int = 0
    seconds: float = 0.0
    cut_short: str = ""

    @property
    def violated(self) -> tuple[Result, ...]:
        """Those with a violation."""
        return tuple(result for result in self.results if result.found)


Progress = Callable[[Report], None]


class _OutOfTime(BaseException):
    """The time given is over."""


@dataclass
class Campaign:
    """One run of the fuzzer against some claims (at least one). `report` is up to date at any time.

    Raises FaultSetError where the given faults have no meaning together, TruthError where no truth can occur at all.
    """

    scheme: Scheme
    claims: Sequence[Claim]
    options: Options
    progress: Progress = lambda _: None
    report: Report = field(init=False)

    def __post_init__(self) -> None:
        self.report = Report(tuple(Result(claim) for claim in self.claims))
        self._aims: dict[tuple[str, tuple[str, ...], int], Aim] = {}
        self._candidates: dict[str, tuple[Fault, ...]] = {}
        self._began = time.monotonic()
        self._aim(self.claims[0], self.options.given, 0)  # what can't be looked at says so at once

    def run(self) -> Report:
        """Attack all claims. An interruption by the user ends it and is noted."""
        try:
            for number in range(-(-self.options.examples // BATCH)):
                for result in self.report.results:
                    if result.found is None:
                        self._batch(result, number)
                if all(result.found for result in self.report.results):
                    break
        except _OutOfTime:
            self.report.cut_short = "out of time"
        except KeyboardInterrupt:
            self.report.cut_short = "interrupted"
        except Exception as error:
            # hypothesis interrupted between two examples stumbles over what it had not finished
            if not _interrupted(error):
                raise
            self.report.cut_short = "interrupted"
        self.report.seconds = time.monotonic() - self._began
        return self.report

    def _batch(self, result: Result, number: int) -> None:
        claim = result.claim
        others = [
            r.claim
            for r in self.report.results
            if r is not result and r.found is None and resets_of(r.claim) is resets_of(claim)
        ]
        by_name = {r.claim.name: r for r in self.report.results}

        def done(attempt: Attempt) -> None:
            result.examples += 1
            self.report.examples += 1
            self.report.seconds = time.monotonic() - self._began
            for judge in attempt.judges:
                seen = by_name[judge.claim.name]
                if judge.exposure_us is not None and judge.exposure_us > (seen.longest_us or -1):
                    seen.longest_us, seen.longest_under = judge.exposure_us, attempt.script.plan.faults
                if judge.violated and seen.found is None:
                    self._violated(seen, attempt)
            self.progress(self.report)
            if self.options.seconds is not None and self.report.seconds > self.options.seconds:
                raise _OutOfTime
            if result.found:
                raise Enough

        left = min(BATCH, self.options.examples - number * BATCH)
        source = f"{self.options.seed} {claim.name} {number}"
        with suppress(Enough):
            drive(lambda draw: behave(self._drawn(claim, draw), draw, others), left, source, done)

    def _violated(self, result: Result, attempt: Attempt) -> None:
        """Keep a violation, shortened; as it was found where the user does not wait for that."""
        result.found_at = self.report.examples
        try:
            result.found = found(self.scheme, result.claim, attempt.script)
        except KeyboardInterrupt:
            result.found = found(self.scheme, result.claim, attempt.script, most=1)
            raise

    # --- what is aimed at

    def _drawn(self, claim: Claim, draw: Draw) -> Aim:
        """The claim under the faults given and some drawn beside them."""
        chosen = self.options.given
        candidates = self._of_interest(claim) if self.options.more else ()
        for _ in range(draw.pick(range(1, self.options.more + 1)) if candidates else 0):
            more = (*chosen, draw.pick(candidates))
            if len(set(more)) == len(more) and meaningful(self.scheme, more):
                chosen = more
        return self._aim(claim, chosen, draw.pick(range(len(claim.any_of))) if claim.any_of else 0)

    def _aim(self, claim: Claim, faults: tuple[Fault, ...], alternative: int) -> Aim:
        plan = Plan.of(self.scheme, faults)
        key = (claim.name, plan.names, alternative)
        if key not in self._aims:
            if len(self._aims) >= MOST_AIMS:
                self._aims.pop(next(iter(self._aims)))
            self._aims[key] = Aim(self.scheme, claim, plan, alternative)
        return self._aims[key]

    def _of_interest(self, claim: Claim) -> tuple[Fault, ...]:
        """The faults of the catalogue that can matter to a claim, as far as the guide can tell."""
        if claim.name not in self._candidates:
            parts = guide_of(self.scheme, claim, Plan.of(self.scheme, self.options.given)).parts
            self._candidates[claim.name] = tuple(
                fault
                for fault in self.scheme.faults.values()
                if any(part in parts for single in fault.single() for part in single.parts)
            )
        return self._candidates[claim.name]


def _interrupted(error: BaseException | None) -> bool:
    """Whether an error came while an interrupt was on its way."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__ or error.__context__
    return error is not None
