"""Which single changes take the most single points of failure off the list, each judged again.

All changes are first looked at where they can help: is each old single point still one, and is a fault of a new part.
The best are then judged as a whole, and only what stands that is told: every claim and case must hold as before, and
all single faults are judged that the change can touch.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Callable, Iterable, Iterator, Sequence, Set
from dataclasses import dataclass

from interlock.faults.changes import COST, Change, ChangeKind
from interlock.faults.court import Batch, Court
from interlock.faults.cutsets_search import Ask, CutSets
from interlock.faults.judge import Answer
from interlock.faults.parallel import set_up
from interlock.faults.reach import changed, touched
from interlock.logic.cases import run_cases
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, prove
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Mode
from interlock.split import can_split, split

MOST = 10  # suggestions told

Progress = Callable[[str, int, int], None]  # what is done, how many are, of how many


@dataclass(frozen=True, slots=True)
class Known:
    """What a study found of the scheme as it is, for each claim in order: the single faults that violate it where it
    protects, and those not decided. `passing`: the cases that pass."""

    scheme: Scheme
    violating: tuple[frozenset[str], ...]
    undecided: tuple[frozenset[str], ...]
    passing: frozenset[str]
    budget: int

    @property
    def points(self) -> dict[str, tuple[str, ...]]:
        """The single points of failure in the catalogue's order, each with the claims it violates."""
        pairs = list(zip(self.scheme.claims, self.violating, strict=True))
        found = {name: tuple(c.name for c, faults in pairs if name in faults) for name in self.scheme.faults}
        return {name: claims for name, claims in found.items() if claims}


def known_of(scheme: Scheme, cut_sets: Sequence[CutSets], budget: int) -> Known:
    """What a study's cut sets of one fault say; `cut_sets`: one for each claim."""
    violating, undecided = [], []
    for claim, found in zip(scheme.claims, cut_sets, strict=True):
        counts = claim.protects
        violating.append(frozenset(cut[0] for cut in found.minimal if counts and len(cut) == 1))
        undecided.append(frozenset(u.faults[0] for u in found.undecided if counts and len(u.faults) == 1))
    passing = frozenset(result.name for result in run_cases(scheme) if result.passed)
    return Known(scheme, tuple(violating), tuple(undecided), passing, budget)


def not_holding(scheme: Scheme, cut_sets: Sequence[CutSets]) -> tuple[str, ...]:
    """The claims that were not shown to hold without any fault: with one of them no change can be weighed."""
    return tuple(
        claim.name
        for claim, found in zip(scheme.claims, cut_sets, strict=True)
        if () in found.minimal or any(not u.faults for u in found.undecided) or found.done < 1
    )


@dataclass(frozen=True, slots=True)
class Weight:
    """What a change does to the list. `stands`: the text is a scheme and nothing was lost, as far as was looked."""

    stands: bool
    removes: tuple[str, ...] = ()
    adds: tuple[str, ...] = ()

    @property
    def net(self) -> int:
        """How many single points are fewer."""
        return len(self.removes) - len(self.adds)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A change that helps. `whole`: it was judged as a whole, so the claims hold and the two lists are complete."""

    change: Change
    weight: Weight
    whole: bool


@dataclass(frozen=True, slots=True)
class Suggestions:
    """The best, best first; `tried` of `possible` changes were looked at."""

    best: tuple[Suggestion, ...]
    tried: int
    possible: int
    interrupted: bool


def suggest(
    known: Known, possible: Sequence[Change], *, jobs: int = 1, most: int = MOST, progress: Progress | None = None
) -> Suggestions:
    """The best changes. An interruption (KeyboardInterrupt) ends it; what was found until then is returned."""
    first: dict[int, Weight] = {}
    whole: dict[int, Weight] = {}
    interrupted = False
    try:
        for number, weight in _weighed(known, possible, range(len(possible)), jobs, whole=False):
            first[number] = weight
            if progress:
                progress("changes tried", len(first), len(possible))
        while missing := [n for n in _best(possible, first | whole, most) if n not in whole]:
            for number, weight in _weighed(known, possible, missing, jobs, whole=True):
                whole[number] = weight
                if progress:
                    progress("changes proved", len(whole), len(whole) + sum(n not in whole for n in missing))
    except KeyboardInterrupt:
        interrupted = True
    weights = first | whole
    best = tuple(Suggestion(possible[n], weights[n], n in whole) for n in _best(possible, weights, most))
    return Suggestions(best, len(first), len(possible), interrupted)


def _best(possible: Sequence[Change], weights: dict[int, Weight], most: int) -> list[int]:
    """The changes that help, best first: by what they remove on balance, then the cheapest."""
    helping = [n for n, weight in weights.items() if weight.stands and weight.net > 0]
    helping.sort(key=lambda n: (-weights[n].net, COST[possible[n].kind], -len(weights[n].removes), n))
    return helping[:most]


# --- one change


def weigh(known: Known, change: Change, *, whole: bool) -> Weight:
    """What a change does. `whole`: to all that it can touch, claims and cases included; else only whether old single
    points and the faults of new parts violate the claims it touches."""
    if change.kind is ChangeKind.EXCLUSION and not whole:
        return Weight(True, (change.part,))
    try:
        after = loads(change.text)
    except SchemeError:
        return Weight(False)
    if [c.name for c in after.claims] != [c.name for c in known.scheme.claims]:
        return Weight(False)
    reached = touched(known.scheme, after)
    if whole and not (_claims_hold(known, after, reached) and _cases_pass(known, after)):
        return Weight(False)
    court = Court(after, known.budget)
    same = not changed(known.scheme, after)  # all but the catalogue, from which a fault went
    violating: set[str] = set()
    undecided: set[str] = set()
    # what the change does not reach goes first: a fault that violates one claim need not be judged for another
    for number in sorted(range(len(after.claims)), key=lambda n: reached[n]):
        if not after.claims[number].protects:
            continue
        found = _judged(known, court, number, violating, hit=reached[number], whole=whole and not same)
        if found is None:
            return Weight(False)
        violating |= found[0]
        undecided |= found[1]
    before, open_ = known.points, frozenset().union(*known.undecided)
    if undecided - before.keys() - open_:
        return Weight(False)  # a fault of which nobody can say any more that it does no harm
    removes = tuple(name for name in before if name not in violating | undecided)
    adds = tuple(name for name in after.faults if name in violating and name not in before)
    return Weight(True, removes, adds)


def _judged(
    known: Known, court: Court, number: int, settled: Set[str], *, hit: bool, whole: bool
) -> tuple[frozenset[str], frozenset[str]] | None:
    """The single faults that violate one claim of the changed scheme, and those not decided, but for those `settled`
    already; None where it does not hold without any. Where the change does not reach the claim, all stays as it was
    but exchanges, old and new: those look elsewhere."""
    faults = court.scheme.faults
    if hit:
        new = {name for name in faults if name not in known.scheme.faults}
        wanted = set(faults) if whole else known.violating[number] | new
    else:
        wanted = {name for name, fault in faults.items() if _exchanges(fault)} if whole else set()
    kept = frozenset() if hit else known.violating[number] & faults.keys() - wanted
    kept_open = frozenset() if hit else known.undecided[number] & faults.keys() - wanted
    if not wanted:
        return kept, kept_open
    healthy = court.answers(Batch(number, (Ask((), None, deeper=True),))).told[0]
    if healthy.ruling.answer is not Answer.HOLDS:
        return None
    near = set(healthy.near).intersection(*(other.near for other in healthy.others)) & wanted - settled
    asks = tuple(Ask((name,), healthy.ruling.shown, deeper=False) for name in healthy.near if name in near)
    told = court.answers(Batch(number, asks)).told
    answers = {answer: {t.faults[0] for t in told if t.ruling.answer is answer} for answer in Answer}
    return kept | answers[Answer.VIOLATED], kept_open | answers[Answer.UNDECIDED]


def _exchanges(fault: Fault) -> bool:
    return any(single.mode is Mode.SWAPPED for single in fault.single())


def _claims_hold(known: Known, after: Scheme, reached: Sequence[bool]) -> bool:
    """Whether every claim that the change can touch is proved to hold; one that says nothing must have done so before
    as well."""
    index = Index(after)
    for old, claim, hit in zip(known.scheme.claims, after.claims, reached, strict=True):
        if not hit:
            continue
        outcome = prove(after, claim, margins=False, trace=False, index=index).outcome
        if outcome is Outcome.VACUOUS:
            if prove(known.scheme, old, margins=False, trace=False).outcome is not Outcome.VACUOUS:
                return False
        elif outcome is not Outcome.HOLDS:
            return False
    return True


def _cases_pass(known: Known, after: Scheme) -> bool:
    return all(result.passed for result in run_cases(after) if result.name in known.passing)


# --- many changes, here or on all cores


def _weighed(
    known: Known, possible: Sequence[Change], numbers: Iterable[int], jobs: int, *, whole: bool
) -> Iterator[tuple[int, Weight]]:
    """The weights of these changes, in any order."""
    wanted = list(numbers)
    if jobs == 1 or len(wanted) < 2:
        for number in wanted:
            yield number, weigh(known, possible[number], whole=whole)
        return
    if can_split():
        yield from split(lambda number: weigh(known, possible[number], whole=whole), wanted, jobs)
        return
    from joblib import Parallel, delayed

    packed = pickle.dumps(known, protocol=pickle.HIGHEST_PROTOCOL)
    key = hashlib.sha256(packed).hexdigest()
    pool = Parallel(n_jobs=jobs, backend="loky", return_as="generator_unordered", batch_size=1)
    yield from pool(delayed(_weighed_there)(key, packed, n, possible[n], whole) for n in wanted)


def _weighed_there(key: str, packed: bytes, number: int, change: Change, whole: bool) -> tuple[int, Weight]:
    """A change weighed in a worker, which keeps what is known from change to change."""
    return number, weigh(set_up(f"known {key}", lambda: _unpacked(packed)), change, whole=whole)


def _unpacked(packed: bytes) -> Known:
    known = pickle.loads(packed)  # made by this program, in the process that started the worker
    assert isinstance(known, Known)
    return known
