"""What was found held against what was proved: where the two contradict each other, the prover is at fault.

The fuzzer's violations are replayed on the readable engine under truths that are checked one by one; a proof covers all
behaviours, and so those too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from interlock.fuzz.campaign import Report, Result
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.units import lasted_text
from interlock.scheme.words import Word


class Proved(Word):
    """What a proof says of a claim."""

    HOLDS = "holds"
    VIOLATED = "violated"
    UNDECIDED = "undecided"
    VACUOUS = "vacuous"


@dataclass(frozen=True, slots=True)
class Answer:
    """A proof's word, and the worst exposure over all behaviours in microseconds; None where it names no bound."""

    word: Proved
    exposure_us: int | None = None


Prove = Callable[[Scheme, Claim, tuple[Fault, ...]], Answer]


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A claim of which the fuzzer has seen what the proof says can't be."""

    claim: Claim
    faults: tuple[Fault, ...]
    proved: Answer
    seen_us: int

    @property
    def says(self) -> str:
        """In words."""
        under = f" under {', '.join(f.name for f in self.faults)}" if self.faults else ""
        seen = f"{lasted_text(self.seen_us)} of exposure have been seen on the readable engine{under}"
        match self.proved.word:
            case Proved.VACUOUS:
                said = "the proof says that it is vacuous"
            case Proved.HOLDS | Proved.VIOLATED | Proved.UNDECIDED:
                worst = lasted_text(self.proved.exposure_us or 0)
                said = f"the proof says that it is {worst} at worst"
                said = f"the proof says that it holds, {worst} at worst" if self.proved.word is Proved.HOLDS else said
        return f"{self.claim.name}: {said}, but {seen}: the prover is at fault, please report it"


def found_against_proof(scheme: Scheme, report: Report, prove: Prove) -> tuple[Contradiction, ...]:
    """Prove each claim under the faults that its longest exposure was seen under, and say where that can't be.

    An undecided claim contradicts nothing.
    """
    contradictions = (_against(scheme, result, prove) for result in report.results)
    return tuple(c for c in contradictions if c)


def _against(scheme: Scheme, result: Result, prove: Prove) -> Contradiction | None:
    if result.found:
        faults, seen = result.found.script.plan.faults, result.found.exposure_us
    elif result.longest_us is not None:
        faults, seen = result.longest_under, result.longest_us
    else:
        return None
    answer = prove(scheme, result.claim, faults)
    match answer.word:
        case Proved.UNDECIDED:
            wrong = False
        case Proved.VACUOUS:
            wrong = True
        case Proved.HOLDS:
            wrong = result.found is not None or (answer.exposure_us is not None and seen > answer.exposure_us)
        case Proved.VIOLATED:
            endless = result.found is not None and result.found.endless
            wrong = answer.exposure_us is not None and (seen > answer.exposure_us or endless)
    return Contradiction(result.claim, faults, answer, seen) if wrong else None
