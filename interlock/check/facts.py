"""What all checks share about one scheme, worked out once."""

from __future__ import annotations

from functools import cached_property

from interlock.check.chains import Chains
from interlock.check.guards import Guard
from interlock.check.protections import Protections
from interlock.check.truths import Truths
from interlock.check.wiring import must_run
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.words import Must


class Facts:
    """A scheme with its truths, chains and protections, each found when it is first asked for."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme

    @cached_property
    def truths(self) -> Truths:
        """How far quantities can be apart."""
        return Truths(self.scheme)

    @cached_property
    def chains(self) -> Chains:
        """All chains of cause and effect."""
        return Chains(self.scheme)

    @cached_property
    def protections(self) -> Protections:
        """What protects each claim."""
        return Protections(self.scheme, self.truths, self.chains)

    @cached_property
    def must_run(self) -> frozenset[str]:
        """Paths that must run in whatever state the pack is."""
        return must_run(self.scheme)

    @cached_property
    def forbidding(self) -> tuple[Claim, ...]:
        """The claims of the kind never_running that can ever apply, those on paths that must run left out."""
        return tuple(
            c
            for c in self.scheme.claims
            if c.must is Must.NEVER_RUNNING and c.path not in self.must_run and self.truths.possible(c.all_conditions())
        )

    @cached_property
    def guards(self) -> tuple[tuple[Claim, Guard], ...]:
        """Each of these claims with what protects it."""
        return tuple((claim, self.protections.of(claim)) for claim in self.forbidding)
