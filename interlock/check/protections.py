"""What protects a claim: the rules that stop its path once one of its conditions holds, and what defeats each of them.

A claim of the kind never_running is answered here without looking at time. A rule protects it when a chain leads from
what the claim's condition says to the rule, and the rule blocks the path, or starts it no longer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.check.answers import Answers
from interlock.check.chains import Chain, Chains
from interlock.check.defeats import NONE, Defeats
from interlock.check.guards import Defeat, Guard, Loss, Protection
from interlock.check.origins import Origins
from interlock.check.stops import Alike, Stops, applies
from interlock.check.truths import Truths
from interlock.check.wiring import ahead
from interlock.records import replace
from interlock.scheme.model import Claim, Condition, Rule, Scheme
from interlock.scheme.words import Signal


class Protections:
    """The protections of a scheme's claims, found once for all claims that share conditions and stopping rules."""

    def __init__(self, scheme: Scheme, truths: Truths, chains: Chains) -> None:
        self.scheme, self.chains = scheme, chains
        self.origins = Origins(scheme, truths)
        self.stops = Stops(scheme, chains)
        self.defeats = Defeats(scheme)
        self.answers = Answers(scheme, truths, self.defeats)
        self._known: dict[object, Guard] = {}

    def of(self, claim: Claim) -> Guard:
        """What protects a never_running claim."""
        alike, starters = self.stops.alike(claim.path), self.stops.starters(claim.path)
        limited = self._limits_its_time(claim, alike)
        related = limited or self._related(claim)
        key = (alike, starters, claim.conditions, claim.any_of, claim.longer_than, limited, related)
        if key not in self._known:
            found = tuple(p for c in claim.conditions for p in self._against(c, alike, starters, claim))
            if not any(p.enough for p in found):
                related = related or self._through_conditions(claim, alike) or self._through_modes(claim, alike)
            guard = Guard(found, loosely=related, limited=limited)
            harmless = frozenset(d for d in guard.lost_to() if self._stops_by_itself(d, alike, starters, claim))
            self._known[key] = replace(guard, harmless=harmless)
        return self._known[key]

    # --- what acts against one condition

    def _against(
        self, condition: Condition, alike: Alike, starters: Iterable[tuple[str, ...]], claim: Claim
    ) -> Iterator[Protection]:
        for stop, chain in self.stops.from_origins(alike, self.origins.of(condition)):
            found = self.answers.of(condition, chain, stop.rule) if applies(stop.when, claim) else None
            if found and found.enough:
                more = self.defeats.of_effect(stop.rule, claim) | self.defeats.of_modes(stop.when, claim)
                found = replace(found, defeats=found.defeats | more)
            if found:
                yield found
        for together in starters:
            yield from self._no_longer_wanted(condition, together)

    def _no_longer_wanted(self, condition: Condition, starters: tuple[str, ...]) -> Iterator[Protection]:
        """All starting rules end once the condition holds: one protection, told by the last one's way."""
        ways = [self._ends(self.scheme.rules[name], condition) for name in starters]
        if not all(ways):
            return
        if not all(way[0].enough for way in ways):
            yield from (way[0] for way in ways if not way[0].enough)
            return
        enough = [[p.defeats for p in way if p.enough] for way in ways]
        defeats = NONE.union(*(frozenset.intersection(*way) for way in enough))
        yield replace(ways[-1][0], defeats=defeats)

    def _ends(self, rule: Rule, condition: Condition) -> list[Protection]:
        """The ways in which the condition ends one rule's start, those that allow for sensors' errors first."""
        found = [p for chain in self.chains.of(rule.name, False) if (p := self.answers.of(condition, chain, rule.name))]
        for c in rule.only_while:
            if (c.signal, c.name) == (condition.signal, condition.name) and c.test is not condition.test:
                own = self.defeats.of_line(c.name, not c.test) if c.signal is Signal.LINE else NONE
                found.append(Protection(rule.name, condition, None, True, defeats=own))
        return sorted(found, key=lambda p: not p.enough)

    # --- losses that stop the path by themselves

    def _stops_by_itself(self, defeat: Defeat, alike: Alike, starters: Iterable[tuple[str, ...]], claim: Claim) -> bool:
        """Whether a lost sensor makes some rule stop the path, whatever that rule is for (the cold stop on the probe of
        the hot stop), or ends what starts it."""
        if defeat.loss not in (Loss.OPEN, Loss.SHORTED):
            return False
        lost, seen_as = self.defeats.reads(defeat), self.origins.reading(defeat.part)
        for stop, chain in self.stops.from_origins(alike, seen_as):
            rule = self.scheme.rules[stop.rule]
            bare = not rule.only_while and not rule.overridden_by and applies(stop.when, claim)
            if bare and self.defeats.moves_when_lost(chain, lost):
                return True

        def ends(rule: str) -> bool:
            chains = (c for c in self.chains.of(rule, False) if (c.signal, c.name) in seen_as)
            return any(self.defeats.moves_when_lost(c, lost) for c in chains)

        return any(all(ends(rule) for rule in together) for together in starters)

    # --- what only a proof can judge

    def _related(self, claim: Claim) -> bool:
        """Whether what the path depends on has to do with a condition on a line or a path."""
        return any(
            self._has_to_do_with(claim.path, c) for c in claim.conditions if c.signal in (Signal.PATH, Signal.LINE)
        )

    def _has_to_do_with(self, path: str, condition: Condition) -> bool:
        depends = self.chains.depends_on(path)
        if condition.signal is Signal.LINE:
            senders = self.scheme.lines[condition.name].rules
            return condition.name in depends or not depends.isdisjoint(senders)
        return (
            condition.name in ahead(self.scheme, path)[1:]
            or condition.name in depends
            or not depends.isdisjoint(self.chains.depends_on(condition.name))
        )

    def _limits_its_time(self, claim: Claim, alike: Alike) -> bool:
        """Whether a rule stops the path because it runs, whatever else is so, within the time the claim allows."""
        running = Condition(Signal.PATH, claim.path, True)
        return any(
            self.answers.same_signal(running, chain) and self._delay_us(chain) <= claim.longer_than.us
            for _, chain in self.stops.from_origins(alike, self.origins.of(running))
        )

    def _delay_us(self, chain: Chain) -> int:
        rules = self.scheme.rules
        return sum((rules[h.rule].trips if h.active else rules[h.rule].clears).delay.us for h in chain.hops)

    def _through_conditions(self, claim: Claim, alike: Alike) -> bool:
        """Whether a rule that stops the path acts only while another is active that the condition sets in motion."""
        return any(
            self.answers.of(c, chain, stop.rule)
            for stop in self.stops.all(alike)
            if self.scheme.rules[stop.rule].only_while
            for chain in self.chains.through_conditions(stop.rule)
            for c in claim.conditions
        )

    def _through_modes(self, claim: Claim, alike: Alike) -> bool:
        """Whether some rule stops the path in each of the modes that the claim speaks of."""
        return bool(claim.any_of) and all(
            any(True for c in mode for _ in self._against(c, alike, (), claim)) for mode in claim.any_of
        )
