"""Short campaigns for the tests."""

from __future__ import annotations

from pathlib import Path

from interlock.fuzz.campaign import Campaign, Options, Report
from interlock.fuzz.found import Found
from interlock.scheme.model import Fault, Scheme

RULES = Path(__file__).parents[2] / "rules"
FLAWED = RULES / "flawed"


def attacked(
    scheme: Scheme,
    claim: str = "",
    *,
    examples: int,
    seed: int = 0,
    given: tuple[Fault, ...] = (),
    more: int = 0,
) -> Report:
    """The claims with that text in their names attacked."""
    claims = [c for c in scheme.claims if claim in c.name]
    assert claims, claim
    return Campaign(scheme, claims, Options(examples, seed, given, more)).run()


def violation(scheme: Scheme, claim: str, *, examples: int = 60, given: tuple[Fault, ...] = ()) -> Found:
    """A violation of that very claim, which must be found."""
    report = attacked(scheme, claim, examples=examples, given=given)
    found = next(r.found for r in report.results if r.claim.name == claim)
    assert found is not None
    return found
