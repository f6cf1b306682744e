"""What a handbook is made from: the scheme and everything that was found about it, worked out before."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.draw.everything import DrawingKind
from interlock.draw.page import Drawing
from interlock.faults.inject import Study
from interlock.logic.cases import CaseResult
from interlock.proof.prove import Outcome, Verdict
from interlock.scheme.model import Scheme


@dataclass(frozen=True, slots=True)
class Material:
    """`verdicts`: of the claims by name; one that is missing was not judged. `study`: of single faults, None where it
    was left out. `assumed`: what verdicts rest on beyond the scheme's own ties, in words. `digest`: SHA-256 of the
    scheme's file, in hexadecimal digits. `stories`: of each violated claim, sentence by sentence."""

    scheme: Scheme
    digest: str
    verdicts: Mapping[str, Verdict]
    study: Study | None
    cases: tuple[CaseResult, ...]
    drawings: Mapping[DrawingKind, tuple[Drawing, ...]]
    assumed: tuple[str, ...] = ()
    stories: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def unjudged(self) -> int:
        """Claims without a verdict."""
        return sum(claim.name not in self.verdicts for claim in self.scheme.claims)

    @property
    def whole(self) -> bool:
        """Whether nothing was interrupted or left out."""
        return not self.unjudged and self.study is not None and not self.study.interrupted

    @property
    def good(self) -> bool:
        """Whether every claim that was judged holds and every case passes."""
        return all(v.outcome is Outcome.HOLDS for v in self.verdicts.values()) and all(c.passed for c in self.cases)
