"""Verdicts on claims: exact, over all behaviours, under any fault set.

`prove` judges one claim, `prove_all` a scheme's. Never a pass by default: a search that did not finish is undecided.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from msgspec import Struct

from interlock.proof.cells import UnsupportedError
from interlock.proof.decide import ENDLESS, Answer, Decider
from interlock.proof.goal import Goal, conditions_alone, of_claim, path_alone
from interlock.proof.index import Index
from interlock.proof.margins import Margin, margin
from interlock.proof.replay import Run, lengthened
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.words import Must, Signal, Word

if TYPE_CHECKING:
    from interlock.proof.story import Stretch

BUDGET = 6_000  # zones: some tens of seconds at worst


class Outcome(Word):
    """What a claim comes to."""

    HOLDS = "holds"
    VIOLATED = "violated"
    UNDECIDED = "undecided"
    VACUOUS = "vacuous"


class Verdict(Struct, frozen=True):
    """A claim judged.

    `scans`: the longest run of bad scans, None where it need not end or is not known. `endless`: it need not end. Of
    one that holds it is what is possible at most where `covered` says so, else exact.
    `exposure_us`: None where vacuous, endless or undecided. `margins`: one for each limit on a quantity in the claim's
    conditions, where it holds. `trace`: for a violated claim, a run to it, replayed on the readable engine, cut down;
    `shortest`: it is sure that none takes fewer scans from power-up. `reason`: of a vacuous or undecided claim.
    `covered`: what is known where the longest run is not. `follows`: the rules the verdict rests on.
    """

    claim: Claim
    outcome: Outcome
    scans: int | None = None
    endless: bool = False
    exposure_us: int | None = None
    margins: tuple[Margin, ...] = ()
    trace: tuple[Stretch, ...] = ()
    shortest: bool = False
    reason: str = ""
    covered: str = ""
    follows: tuple[str, ...] = ()
    zones: int = 0


def prove(
    scheme: Scheme,
    claim: Claim,
    faults: Iterable[Fault] = (),
    *,
    budget: int = BUDGET,
    margins: bool = True,
    trace: bool = True,
    index: Index | None = None,
) -> Verdict:
    """Judge one claim under a fault set. `margins`, `trace`: whether to work them out. Raises LoopError where the set's
    exchanged lines close a loop, ValueError where two swaps of the set share a part."""
    index = index or Index(scheme)
    plan, goal = FaultPlan.of(faults), of_claim(claim)
    decider = Decider(index, goal, plan, budget)
    try:
        answer = decider.answer()
    except UnsupportedError as error:
        return Verdict(claim, Outcome.UNDECIDED, reason=f"not judged: {error}", covered="nothing")
    most = claim.longer_than.us // scheme.scan_us - claim.adds_a_scan
    answer = decider.violated(answer, most)
    follows = tuple(r for r in scheme.rules if answer.abstraction.everything or r in answer.abstraction.exact)
    if answer.lower == 0:
        nothing = _vacuous(index, goal, plan, budget) if answer.upper == 0 else ""
        if nothing:
            return Verdict(claim, Outcome.VACUOUS, scans=0, reason=nothing, follows=follows, zones=answer.zones)
    if answer.lower == answer.upper or answer.upper <= most:
        endless = answer.upper == ENDLESS
        scans = None if endless else answer.upper
        exposure = None if scans is None else (scans + claim.adds_a_scan) * scheme.scan_us
        if scans is not None and scans <= most:
            decider.held.add(answer.abstraction.key())
            found = tuple(_margins(decider, claim, most)) if margins else ()
            seen = (
                ""
                if answer.lower == scans
                else f"a run of {answer.lower} scans was found; at most {scans} are possible"
            )
            return Verdict(
                claim, Outcome.HOLDS, scans, False, exposure, found, covered=seen, follows=follows, zones=answer.zones
            )
        told, sure = _story(decider, answer.run, most + 1) if trace else ((), False)
        return Verdict(
            claim,
            Outcome.VIOLATED,
            scans,
            endless,
            exposure,
            trace=told,
            shortest=sure,
            follows=follows,
            zones=answer.zones,
        )
    return _not_exact(decider, claim, answer, most, follows, trace=trace)


def _not_exact(
    decider: Decider, claim: Claim, answer: Answer, most: int, follows: tuple[str, ...], *, trace: bool
) -> Verdict:
    at_least = "endless" if answer.lower == ENDLESS else f"{answer.lower} scans"
    at_most = "not bounded" if answer.upper == ENDLESS else f"at most {answer.upper} scans"
    covered = f"the longest bad run is at least {at_least} and {at_most}"
    if answer.lower > most:
        # violated for certain; only how long it can last is open
        told, sure = _story(decider, answer.run, most + 1) if trace else ((), False)
        return Verdict(
            claim,
            Outcome.VIOLATED,
            trace=told,
            shortest=sure,
            reason=answer.stopped,
            covered=covered,
            follows=follows,
            zones=answer.zones,
        )
    return Verdict(
        claim, Outcome.UNDECIDED, reason=answer.stopped, covered=covered, follows=follows, zones=answer.zones
    )


def _vacuous(index: Index, goal: Goal, plan: FaultPlan, budget: int) -> str:
    """Why nothing can ever be bad, "" where the claim says something (or that is not known)."""
    if goal.conditions or goal.any_of:
        met = Decider(index, conditions_alone(goal), plan, budget).answer(0)
        if met.upper == 0:
            return "its conditions never hold"
    able = Decider(index, path_alone(goal), plan, budget).answer(0)
    if able.upper == 0:
        return f"{goal.path} can never {goal.moves}"
    return ""


def _margins(decider: Decider, claim: Claim, most: int) -> Iterable[Margin]:
    for condition in claim.conditions:
        if condition.signal is Signal.QUANTITY:
            yield margin(decider, condition, most)


def worlds(decider: Decider, run: Run | None, wanted: int) -> tuple[tuple[Stretch, ...], int, bool]:
    """A real run as worlds, as short as it could be made, and the bad scans it ends with: `wanted` if it has so many.
    Whether no run to so many bad scans in a row is shorter. (), 0 and False where there is no run."""
    if run is None or run.bad_run == 0:
        return (), 0, False
    from interlock.proof.shorten import shortened
    from interlock.proof.shortest import shortest
    from interlock.proof.story import stretches

    full = decider.full
    run = lengthened(run, max(1, wanted))
    wanted = min(max(1, wanted), run.bad_run)
    run = shortened(full, run, wanted)
    found = shortest(full, wanted, sum(p.scans for p in run.played) - wanted)
    if found.run is not None:
        run = shortened(full, found.run, wanted)
    return stretches(full, run, wanted), wanted, found.sure


def _story(decider: Decider, run: Run | None, wanted: int) -> tuple[tuple[Stretch, ...], bool]:
    """The same, confirmed by the readable engine; and whether it is sure that none is shorter."""
    from interlock.proof.story import confirmed

    told, bad, sure = worlds(decider, run, wanted)
    if not told:
        return (), False
    return confirmed(decider.index.scheme, decider.goal, decider.full.plan.installed, told, bad), sure and bad == wanted


def prove_all(
    scheme: Scheme,
    faults: Iterable[Fault] = (),
    *,
    budget: int = BUDGET,
    margins: bool = True,
    trace: bool = True,
) -> tuple[Verdict, ...]:
    """Judge all claims of a scheme, in its order."""
    index, fault_set = Index(scheme), tuple(faults)
    return tuple(
        prove(scheme, claim, fault_set, budget=budget, margins=margins, trace=trace, index=index)
        for claim in scheme.claims
    )


__all__ = ["BUDGET", "Margin", "Must", "Outcome", "Verdict", "prove", "prove_all", "worlds"]
