"""Chains of cause and effect: from what is measured or signalled, through rules and lines, to a rule that acts.

    high_tap above 3.55 V → cell_full active → line charge_permit off → full_stop active

A chain says that its origin, once it holds for long enough, makes its last rule active (or clear). It ends where the
scan before is looked at (a path, a confirming line), so there are no loops.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from interlock.scheme.model import Condition, Limit, Scheme, Test, Trigger
from interlock.scheme.units import value_text
from interlock.scheme.words import TWO_WORDS, Combine, LineForm, Signal

# Chains kept of one rule that start at one origin. More of them only ever repeat the same protection.
MOST_ALIKE = 8


@dataclass(frozen=True, slots=True)
class Hop:
    """A rule made active (or clear), seen by the next hop through `line` at `level` ("" where it is seen directly)."""

    rule: str
    active: bool
    line: str = ""
    level: bool = False


@dataclass(frozen=True, slots=True)
class Chain:
    """`signal name` meeting `test` sets the hops in motion, the last of which acts."""

    signal: Signal
    name: str
    test: Test
    hops: tuple[Hop, ...]

    @property
    def first(self) -> Hop:
        """The rule that looks at the origin."""
        return self.hops[0]

    @property
    def last(self) -> Hop:
        """The rule that acts."""
        return self.hops[-1]

    @property
    def origin(self) -> tuple[Signal, str, Test]:
        """What the chain starts from."""
        return self.signal, self.name, self.test


class Chains:
    """All chains of a scheme, built once, each rule after those it depends on."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self._of: dict[tuple[str, bool], tuple[Chain, ...]] = {}
        self._depends: dict[str, frozenset[str]] = {}
        for name in scheme.order:
            for active in (True, False):
                self._of[name, active] = _few_alike(self._build(name, active))

    def of(self, rule: str, active: bool = True) -> tuple[Chain, ...]:
        """The chains that make a rule active, or clear. A rule that a person must reset is cleared by no chain."""
        return self._of[rule, active]

    def _build(self, name: str, active: bool) -> Iterator[Chain]:
        rule = self.scheme.rules[name]
        if rule.manual and not active:
            return
        trigger: Trigger = rule.trips if active else rule.clears
        hop = Hop(name, active)
        if rule.watches is Signal.RULE:
            yield from self._after(self.of(rule.watched, bool(trigger.test)), hop)
        elif rule.watches is Signal.LINE and self.scheme.lines[rule.watched].form.sent:
            yield from self._after(self.through_line(rule.watched, bool(trigger.test)), hop)
        else:
            yield Chain(rule.watches, rule.watched, trigger.test, (hop,))

    @staticmethod
    def _after(chains: Iterable[Chain], hop: Hop) -> Iterator[Chain]:
        for chain in chains:
            yield Chain(chain.signal, chain.name, chain.test, (*chain.hops, hop))

    def through_line(self, name: str, level: bool) -> Iterator[Chain]:
        """The chains that bring a sent line to a level. Where several rules must all be clear, none does alone."""
        line = self.scheme.lines[name]
        active = level is (line.form is LineForm.HIGH_WHEN)
        if not active and len(line.rules) > 1:
            return
        for sender in line.rules:
            for chain in self.of(sender, active):
                hop = chain.last
                yield Chain(
                    chain.signal, chain.name, chain.test, (*chain.hops[:-1], Hop(hop.rule, hop.active, name, level))
                )

    def through_conditions(self, rule: str) -> Iterator[Chain]:
        """The chains that make true what a rule's `only_while` asks of rules and sent lines."""
        for condition in self.scheme.rules[rule].only_while:
            if condition.signal is Signal.RULE:
                yield from self.of(condition.name, bool(condition.test))
            elif condition.signal is Signal.LINE and self.scheme.lines[condition.name].form.sent:
                yield from self.through_line(condition.name, bool(condition.test))

    @cached_property
    def _acting(self) -> dict[str, tuple[str, ...]]:
        """The rules that block or start each path, or one that shares an output with it."""
        scheme = self.scheme
        named: dict[str, list[str]] = {}
        for rule in scheme.rules.values():
            for path in (*(t.path for t in rule.blocks), *rule.starts):
                named.setdefault(path, []).append(rule.name)
        return {
            path.name: tuple(
                dict.fromkeys(r for o in path.outputs for p in scheme.outputs[o].drives for r in named.get(p, ()))
            )
            for path in scheme.paths.values()
        }

    def _looked_at(self, name: str) -> Iterator[str]:
        scheme = self.scheme
        if name in scheme.rules:
            rule = scheme.rules[name]
            yield rule.watched
            yield from (c.name for c in rule.only_while)
            yield from (n for n in (rule.reset_by, rule.overridden_by) if n)
        elif name in scheme.lines:
            line = scheme.lines[name]
            yield from line.rules
            yield from scheme.outputs[line.output].drives if line.output else ()
        elif name in scheme.paths:
            yield from self._acting[name]

    def depends_on(self, path: str) -> frozenset[str]:
        """The names of all lines, paths, rules and sensors that a path's permit depends on, however far back."""
        if path not in self._depends:
            seen: set[str] = set()
            waiting = list(self._acting[path])
            while waiting:
                name = waiting.pop()
                if name not in seen:
                    seen.add(name)
                    waiting.extend(self._looked_at(name))
            self._depends[path] = frozenset(seen)
        return self._depends[path]


def _few_alike(chains: Iterable[Chain]) -> tuple[Chain, ...]:
    kept: list[Chain] = []
    count: dict[tuple[Signal, str, Test], int] = {}
    for chain in chains:
        count[chain.origin] = count.get(chain.origin, 0) + 1
        if count[chain.origin] <= MOST_ALIKE:
            kept.append(chain)
    return tuple(kept)


def test_text(scheme: Scheme, signal: Signal, name: str, test: Test) -> str:
    """A test in the scheme's own words: `below 3 degC`, `off`."""
    if isinstance(test, bool):
        true, false = TWO_WORDS[signal]
        return true if test else false
    return f"{test.compare} {limit_text(scheme, signal, name, test)}"


def limit_text(scheme: Scheme, signal: Signal, name: str, test: Limit) -> str:
    """A limit's value with its unit."""
    if signal is Signal.QUANTITY:
        return value_text(test.value, scheme.quantities[name].kind)
    if signal is Signal.SENSOR:
        return value_text(test.value, scheme.sensors[name].kind)
    reading = scheme.readings[name]
    return value_text(test.value, reading.kind, difference=reading.combine is Combine.DIFFERENCE_OF)


def condition_text(scheme: Scheme, condition: Condition) -> str:
    """A condition in the scheme's own words: `coldest_cell below 0 degC`."""
    return f"{condition.name} {test_text(scheme, condition.signal, condition.name, condition.test)}"


def conditions_text(scheme: Scheme, conditions: Iterable[Condition]) -> str:
    """Several conditions, joined by "and"; "" where there are none."""
    return " and ".join(condition_text(scheme, c) for c in conditions)
