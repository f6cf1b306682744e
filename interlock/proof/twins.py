"""Beside each claim its twin: that the path can run at all, and that each rule that protects it can trip.

A rule set that blocks everything is safe and useless. For every never_running claim a real run is shown, from power-up,
at whose end its path runs for certain; and for every rule that stops the path, directly or through lines and watched
rules, one in which the rule is clear, trips, and is clear again. What no run shows is either proved to be impossible or
left undecided.
"""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from interlock.proof.cone import Wants, cone_of, wants_of_rule
from interlock.proof.deadends import rehearsed
from interlock.proof.decide import Decider
from interlock.proof.goal import of_claim, path_alone
from interlock.proof.index import Index
from interlock.proof.prove import BUDGET
from interlock.proof.recovery import Plan, Rules, Told, after, plans, played
from interlock.proof.rough import CLEAR, TRIPPED, Rough, Roughly, Ways, closure
from interlock.proof.sights import Sights
from interlock.proof.story import Stretch, confirmed, stretches
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.words import Must, Word


class Shown(Word):
    """What is known of a twin."""

    SHOWN = "shown"
    NEVER = "never"
    UNDECIDED = "undecided"


class Witness(Struct, frozen=True):
    """`trace`: where it is shown, a run from power-up, replayed on the readable engine."""

    shown: Shown
    trace: tuple[Stretch, ...] = ()


class RuleTwin(Struct, frozen=True):
    """That a rule that stops the path can trip after it has been clear, and be clear again after that."""

    rule: str
    trips: Witness
    clears_again: Witness


class Twin(Struct, frozen=True):
    """A claim's twin. `tripping`: one for each rule that protects its path, in the scheme's order."""

    claim: Claim
    runs: Witness
    tripping: tuple[RuleTwin, ...]

    @property
    def complete(self) -> bool:
        """The path is shown to run, and each rule that protects it to trip."""
        return self.runs.shown is Shown.SHOWN and not self.missing

    @property
    def missing(self) -> tuple[str, ...]:
        """Protecting rules that are not shown to trip."""
        return tuple(r.rule for r in self.tripping if r.trips.shown is not Shown.SHOWN)


def twins(scheme: Scheme, *, budget: int = BUDGET) -> tuple[Twin, ...]:
    """The twins of all never_running claims, in the scheme's order. Claims on one path share their witnesses."""
    index = Index(scheme)
    known: dict[str, tuple[Witness, tuple[RuleTwin, ...]]] = {}
    found = []
    for claim in scheme.claims:
        if claim.must is Must.NEVER_RUNNING:
            if claim.path not in known:
                known[claim.path] = _of_path(index, claim, budget)
            found.append(Twin(claim, *known[claim.path]))
    return tuple(found)


def _of_path(index: Index, claim: Claim, budget: int) -> tuple[Witness, tuple[RuleTwin, ...]]:
    scheme = index.scheme
    cone = cone_of(scheme, claim.path)
    actor = _Actor(index, Sights(index, cone))
    run = actor.until_running()
    if run is not None:
        runs = Witness(Shown.SHOWN, rehearsed(scheme, actor.sights, run))
        assert runs.trace[-1].last is not None
        assert runs.trace[-1].last.running(claim.path) is True, "the readable engine runs it too"
    else:
        runs = actor.can_run(claim, budget)
    return runs, tuple(actor.rule(r, run or ()) for r in cone.protectors)


class _Actor:
    """Looks for the runs of one path's twins."""

    def __init__(self, index: Index, sights: Sights) -> None:
        self.index, self.sights = index, sights
        self.scheme, self.cone = index.scheme, sights.cone
        self.roughly = Roughly(self.scheme, self.cone)
        self.places = {rule.name: i for i, rule in enumerate(self.roughly.rules)}

    def _plans(self, wants: Wants) -> Iterator[Plan]:
        return plans(self.sights, wants, Rules({}, {}, attended=True))

    def _played(self, wants: Wants, state: Rough) -> Iterator[tuple[Rough, Ways, tuple[Told, ...]]]:
        for plan in self._plans(wants):
            yield from played(self.roughly, state, plan)

    def until_running(self) -> tuple[Told, ...] | None:
        """A run after which the path runs for certain."""
        start = self.roughly.start()
        return next((t for _, ways, t in self._played(self.cone.wants, start) if ways.surely_runs), None)

    def can_run(self, claim: Claim, budget: int) -> Witness:
        """Where no plan worked: the exact search's run to where the path may run, or that it never may."""
        goal = path_alone(of_claim(claim))
        decider = Decider(self.index, goal, FaultPlan.of(()), budget)
        answer = decider.answer(0)
        if answer.upper == 0:
            return Witness(Shown.NEVER)
        if answer.run is None or answer.run.bad_run == 0:
            return Witness(Shown.UNDECIDED)
        story = stretches(decider.full, answer.run, 1)
        return Witness(Shown.SHOWN, confirmed(self.scheme, goal, frozenset(), story, 1))

    def rule(self, name: str, running: tuple[Told, ...]) -> RuleTwin:
        """A rule's twin. It is looked for from where the path runs, and from power-up."""
        for before in dict.fromkeys((len(running), 0)):
            story = running[:before]
            state = self.roughly.start()
            for told in story:
                state = after(self.roughly, state, told)
            found = self._cycle(name, state, story)
            if found is not None:
                return found
        return RuleTwin(name, Witness(self._can_trip(name)), Witness(Shown.UNDECIDED))

    def _cycle(self, name: str, state: Rough, story: tuple[Told, ...]) -> RuleTwin | None:
        clear = self._until(name, False, state, story)
        tripped = self._until(name, True, *clear) if clear else None
        if tripped is None:
            return None
        trips = Witness(Shown.SHOWN, rehearsed(self.scheme, self.sights, tripped[1]))
        again = self._until(name, False, *tripped)
        if again is None:
            return RuleTwin(name, trips, Witness(Shown.UNDECIDED))
        return RuleTwin(name, trips, Witness(Shown.SHOWN, rehearsed(self.scheme, self.sights, again[1])))

    def _until(
        self, name: str, active: bool, state: Rough, story: tuple[Told, ...]
    ) -> tuple[Rough, tuple[Told, ...]] | None:
        """On from a state until a rule is tripped, or clear."""
        place, wanted = self.places[name], TRIPPED if active else CLEAR
        if state.rules[place][wanted] is not None and story:
            return state, story
        alone = wants_of_rule(self.scheme, name, active)
        for wants in ({**self.cone.wants, **alone}, alone):
            for there, _, came in self._played(wants, state):
                if there.rules[place][wanted] is not None:
                    return there, (*story, *came)
        return None

    def _can_trip(self, name: str) -> Shown:
        free = self.sights.free({}, {})
        assert free is not None, "some world is possible"
        reach, _ = closure(self.roughly, self.roughly.start(), free)
        machine = reach.rules[self.places[name]]
        # tripped for ever since power-up, or never: it is not clear and then tripped
        return Shown.NEVER if machine[TRIPPED] is None or machine[CLEAR] is None else Shown.UNDECIDED
