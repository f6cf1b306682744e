"""The proof tests of what sleeps, joined to a study: for people and as data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from interlock.explain.phrases import text
from interlock.faults.effects import Effect, FaultEffect
from interlock.faults.inject import Study
from interlock.scheme.model import Scheme

if TYPE_CHECKING:  # the search brings numpy: loaded where something sleeps
    from interlock.plan.proof_test import ProofTests


@dataclass(frozen=True, slots=True)
class SleepersTests:
    """`found`: None where none were looked for: the study or the looking was interrupted, nothing sleeps, or the
    scheme's numbers are too large for it."""

    scheme: Scheme
    found: ProofTests | None

    def lines(self, effect: FaultEffect) -> Iterator[str]:
        """The test of a dormant fault, or why there is none."""
        from interlock.explain.proof_tests import told

        if self.found is not None:
            yield " ".join(text(sentence) for sentence in told(self.found, self.scheme.faults[effect.fault]))

    def begin(self) -> Iterator[str]:
        """Where all tests begin."""
        from interlock.explain.proof_tests import begins

        if self.found is not None and self.found.tests and self.found.rest:
            yield text(begins(self.found))

    def data(self, effect: FaultEffect) -> dict[str, Any]:
        """A fault's test as data: null where it has none or does not sleep."""
        from interlock.explain.proof_tests import plain_test

        return {"proof_test": plain_test(self.found, effect.fault) if self.found is not None else None}

    def common(self) -> dict[str, Any] | None:
        """What is common to all tests; null where none were looked for."""
        from interlock.explain.proof_tests import plain_rest

        return plain_rest(self.found) if self.found is not None else None


def load() -> None:
    """Have the search at hand: its libraries take a tenth of a second."""
    import interlock.plan.proof_test  # noqa: F401


def tests_of(scheme: Scheme, study: Study, jobs: int) -> SleepersTests:
    """The tests of a study's dormant faults, looked for in so many processes."""
    dormant = [scheme.faults[e.fault] for e in study.effects if e.effect is Effect.DORMANT]
    if study.interrupted or not dormant:
        return SleepersTests(scheme, None)
    from interlock.logic.many import TooLargeError
    from interlock.plan.proof_test import proof_tests

    try:
        return SleepersTests(scheme, proof_tests(scheme, dormant, jobs=jobs))
    except (TooLargeError, KeyboardInterrupt):  # the study stands without them
        return SleepersTests(scheme, None)
