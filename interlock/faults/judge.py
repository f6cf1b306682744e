"""A claim under a fault set: violated or not, and nothing else, with what the answer rests on.

No exposure, no margin, no trace. A set is first tried on the abstraction that already showed the claim to hold with
fewer faults; the decision goes on from there where that does not do.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from interlock.faults.proofs import ZONES, Proved, Prover, proofs
from interlock.faults.support import Support, support
from interlock.proof.cells import UnsupportedError
from interlock.proof.components import Abstraction
from interlock.proof.decide import Alike, Decider
from interlock.proof.goal import Goal, Moves, conditions_alone, of_claim, path_alone
from interlock.proof.index import Index
from interlock.proof.replay import Run
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Fault
from interlock.scheme.order import LoopError
from interlock.scheme.words import Word

TRIES = 300  # zones that narrower systems may take in one effort, in which real runs are looked for
MANY = 200  # zones that cost more than the scans which an early effort looks at
PROOFS = 4  # found with fewer faults, with each of which a search may begin
BUDGET = 1_200  # zones: some seconds at worst; many sets are judged, so less is spent on each than on one asked for


class Begin(Word):
    """Where an effort begins."""

    KNOWN = "known"  # with what was followed when there were fewer faults
    ANEW = "anew"
    REST = "rest"  # no search for a bound: real runs from rest and power-up
    NEAR = "near"  # real runs from rest that change little
    KEPT = "kept"  # real runs in which a fault keeps what was, while the world was another
    SWING = "swing"  # real runs from rest, or the swing in its place, that change the world at any scan of a swing


class Effort(NamedTuple):
    """Where to begin, and how much to look at: zones, states of the plain search, scans looked at for a real run.

    `at_once`: with the faults there from power-up: that can show a violation and nothing else. `exactly`: the longest
    bad run is asked for, and not only whether it is longer than allowed; that costs more in most cases and leads the
    search another way in some. `by_contacts`: with how rules settle by what they see of contacts. `fed_first`: what
    others watch is followed before what acts on outputs. `proof`: with which of the proofs found with fewer faults a
    search begins that begins with what is known.
    """

    begin: Begin
    zones: int = 0
    states: int = 0
    scans: int = 0
    at_once: bool = False
    exactly: bool = False
    by_contacts: bool = True
    fed_first: bool = False
    proof: int = 0


def efforts(budget: int, before: Shown | None, *, stops: bool, several: bool) -> tuple[Effort, ...]:
    """What is tried in turn. Nearly all sets are decided by the first three, in milliseconds. Which way is quick for
    the others is not known beforehand, so each is given little before any is given much. `stops`: to be stopped is what
    is bad; one fault then more likely than not does it. `several`: there are several faults: no smaller set does harm,
    and most of these do none."""
    if before is None:  # no fault yet: what is followed then is what all other sets begin with
        return (
            Effort(Begin.ANEW, min(700, budget)),
            Effort(Begin.ANEW, min(900, budget), 0, 3_000),
            Effort(Begin.ANEW, budget, 7 * budget, 30 * budget),
        )
    # where fewer faults took much, as much is spent at once on what was followed then
    known = Effort(Begin.KNOWN, min(max(40, 2 * before.zones), 3 * budget))
    further = Effort(Begin.KNOWN, min(max(250, 5 * before.zones), budget))
    more = known._replace(zones=min(max(80, 4 * before.zones), 3 * budget))
    anew = Effort(Begin.ANEW, min(150, budget), exactly=True)
    swing = Effort(Begin.SWING, scans=2_500)
    last = Effort(Begin.KNOWN, 5 * budget, proof=1), Effort(Begin.REST, scans=200_000)
    if several:
        return (
            more,
            Effort(Begin.NEAR, scans=20, at_once=True),
            Effort(Begin.NEAR, scans=20),
            *(more._replace(proof=number) for number in range(1, PROOFS)),
            Effort(Begin.ANEW, min(60, budget)),
            swing,
            Effort(Begin.REST, scans=300),
            further,
            anew,
            Effort(Begin.ANEW, budget // 2),
            Effort(Begin.REST, scans=2_000),
            Effort(Begin.SWING, scans=20_000),
            Effort(Begin.KNOWN, 2 * budget),
            *(last if stops else reversed(last)),
        )
    if stops:
        first: tuple[Effort, ...] = (
            Effort(Begin.REST, scans=60, at_once=True),
            Effort(Begin.KEPT, scans=600),
            Effort(Begin.REST, scans=60),
            known,
            Effort(Begin.ANEW, min(90, budget)),
            swing,
            further,
            Effort(Begin.REST, scans=300),
        )
    else:
        first = (
            known._replace(zones=min(max(20, 2 * before.zones), 3 * budget)),
            Effort(Begin.NEAR, scans=20, at_once=True),
            Effort(Begin.NEAR, scans=20),
            *((more, swing) if more.zones <= MANY else (swing, more)),  # the cheaper one first
            Effort(Begin.ANEW, min(200, budget)),
            Effort(Begin.REST, scans=2_000),
            Effort(Begin.SWING, scans=30_000),
            further,
        )
    return (
        *first,
        further._replace(fed_first=True),
        *(further._replace(zones=min(max(600, further.zones), budget), proof=number) for number in range(1, PROOFS)),
        Effort(Begin.KNOWN, 2 * budget),
        anew,
        Effort(Begin.REST, scans=3_000),
        Effort(Begin.SWING, scans=60_000),
        Effort(Begin.ANEW, min(600, budget), by_contacts=False),
        Effort(Begin.ANEW, 3 * budget, by_contacts=False),
        Effort(Begin.ANEW, budget, 7 * budget, 30 * budget, exactly=True),
    )


class Answer(Word):
    """What a claim comes to under a fault set. A vacuous claim is not violated, so it holds here."""

    HOLDS = "holds"
    VIOLATED = "violated"
    UNDECIDED = "undecided"
    MEANINGLESS = "meaningless"  # the set's faults can't be there together


@dataclass(frozen=True, slots=True)
class Shown:
    """On what a claim was shown to hold: which of its judge's goals, the abstraction, and the zones that took."""

    goal: int
    abstraction: Abstraction
    zones: int


@dataclass(frozen=True, slots=True)
class Ruling:
    """`shown`: of a claim that holds. `reason`: of an undecided or meaningless one."""

    answer: Answer
    shown: Shown | None = None
    reason: str = ""


class Judge:
    """Rules on one claim, under any fault set."""

    def __init__(self, index: Index, claim: Claim, budget: int = BUDGET) -> None:
        self.index, self.claim, self.budget = index, claim, budget
        goal = of_claim(claim)
        allowed = claim.longer_than.us // index.scheme.scan_us - claim.adds_a_scan
        # where not even one scan is allowed the claim only escapes by being vacuous
        self.goals = (goal,) if allowed >= 0 else (conditions_alone(goal), path_alone(goal))
        self.most = max(allowed, 0)
        self._alike = [Alike() for _ in self.goals]

    def rule(self, faults: Iterable[Fault], before: Shown | None = None, also: Iterable[Shown] = ()) -> Ruling:
        """The ruling under a fault set. `before`: on what it was shown to hold with fewer faults; `also`: on what
        else."""
        plan = FaultPlan.of(faults)
        reasons: list[str] = []
        try:
            for number, goal in enumerate(self.goals):
                mine = [p for p in (before, *also) if p is not None and p.goal == number]
                ruling = self._rule(number, goal, plan, mine)
                if ruling.answer is Answer.HOLDS:
                    return ruling
                if ruling.answer is Answer.UNDECIDED:
                    reasons.append(ruling.reason)
        except (LoopError, ValueError) as error:
            return Ruling(Answer.MEANINGLESS, reason=str(error))
        return Ruling(Answer.UNDECIDED, reason=reasons[0]) if reasons else Ruling(Answer.VIOLATED)

    def _rule(self, number: int, goal: Goal, plan: FaultPlan, known: Sequence[Shown]) -> Ruling:
        """Quick ways first: nearly all sets are decided by one search on what is known, or by a run soon found."""
        last: dict[bool, Decider] = {}
        stopped = ""
        try:
            stops, before = goal.moves is Moves.STOP, known[0] if known else None
            for effort in efforts(self.budget, before, stops=stops, several=plan.several()):
                there = plan.from_power_up() if effort.at_once else plan
                if effort.at_once and there == plan:
                    continue
                if effort.proof >= max(1, len(known)) or (effort.begin is Begin.KEPT and not plan.keeps()):
                    continue
                decider = Decider(self.index, goal, there, effort.zones, effort.states, tries=TRIES)
                decider.alike = self._alike[number]
                decider.by_contacts, decider.fed_first = effort.by_contacts, effort.fed_first
                if effort.at_once in last:
                    decider.go_on_from(last[effort.at_once])
                last[effort.at_once] = decider
                if effort.begin not in (Begin.KNOWN, Begin.ANEW):
                    if self._found(decider, effort) is not None:
                        return Ruling(Answer.VIOLATED)
                    continue
                if effort.begin is Begin.KNOWN and known:
                    decider.take_up(known[effort.proof].abstraction)
                answer = decider.answer(None if effort.exactly else self.most)
                if effort.scans:
                    answer = decider.violated(answer, self.most, effort.scans)
                if answer.upper <= self.most and not effort.at_once:
                    return Ruling(Answer.HOLDS, Shown(number, answer.abstraction, answer.zones))
                if answer.lower > self.most:
                    return Ruling(Answer.VIOLATED)
                stopped = answer.stopped
        except UnsupportedError as error:
            return Ruling(Answer.UNDECIDED, reason=f"not judged: {error}")
        return Ruling(Answer.UNDECIDED, reason=stopped)

    def _found(self, decider: Decider, effort: Effort) -> Run | None:
        """A real run that violates the claim, if the effort finds one."""
        match effort.begin:
            case Begin.SWING:
                return decider.swung(self.most, effort.scans)
            case Begin.KEPT:
                return decider.kept(self.most, effort.scans)
            case _:
                return decider.sought(self.most, effort.scans, narrowly=effort.begin is Begin.NEAR)

    def proofs(self, faults: Iterable[Fault], shown: Shown, also: Iterable[Shown] = ()) -> tuple[Shown, ...]:
        """Several proofs that the claim holds, where it was shown to: `shown` cut down in several ways where there is
        no fault yet, else `shown` and those of `also`, found with fewer faults, that stand under these as well."""
        goal, plan = self.goals[shown.goal], FaultPlan.of(faults)
        known = Proved(shown.abstraction, shown.zones)
        if plan == FaultPlan.of(()):
            found = proofs(self.index, goal, plan, self.most, known)
        else:
            found = [known]
            for other in also:
                if other.goal == shown.goal:
                    still = self._still(goal, plan, other)
                    found += [still] if still and still.abstraction.key() != known.abstraction.key() else []
        return tuple(Shown(shown.goal, p.abstraction, p.zones) for p in found)

    def _still(self, goal: Goal, plan: FaultPlan, other: Shown) -> Proved | None:
        decider = Decider(self.index, goal, plan, self.budget)
        decider.take_up(other.abstraction)
        return Prover(self.index, goal, plan, self.most, max(ZONES, 2 * other.zones)).proved(decider.abstraction)

    def support(self, faults: Iterable[Fault], shown: Shown) -> Support:
        """What a ruling that it holds rests on."""
        return support(self.index, self.goals[shown.goal], FaultPlan.of(faults), shown.abstraction)
