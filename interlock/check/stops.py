"""Which rules stop each path, and which start it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import product
from typing import NamedTuple

from interlock.check.chains import Chain, Chains
from interlock.check.origins import Origin
from interlock.check.wiring import ahead
from interlock.scheme.model import AnyOf, Claim, Condition, Scheme
from interlock.scheme.words import Signal

MOST_MODE_LINES = 8  # a path's modes hang on one or two lines


class Stop(NamedTuple):
    """A rule that stops a path, in these modes of the path it names (always, where there are none)."""

    rule: str
    when: AnyOf


Alike = tuple[int, ...]  # numbers of sets of stops


class Stops:
    """For each path the rules that stop it: an output is off while any of the paths it drives is blocked.

    Paths that the same rules stop share one number, so that each set of rules is looked at once.
    """

    def __init__(self, scheme: Scheme, chains: Chains) -> None:
        self.scheme, self.chains = scheme, chains
        named: dict[tuple[str, str], list[Stop]] = {}
        starting: dict[str, list[str]] = {name: [] for name in scheme.paths}
        for rule in scheme.rules.values():
            for target in rule.blocks:
                named.setdefault((rule.unit, target.path), []).append(Stop(rule.name, target.when))
            for started in rule.starts:
                starting[started].append(rule.name)
        numbers: dict[tuple[Stop, ...], int] = {}
        self._alike: dict[str, int] = {}
        self._starters: dict[str, tuple[tuple[str, ...], ...]] = {}
        for path in scheme.paths.values():
            outputs = [scheme.outputs[o] for o in path.outputs]
            found = dict.fromkeys(stop for o in outputs for p in o.drives for stop in named.get((o.unit, p), ()))
            self._alike[path.name] = numbers.setdefault(tuple(found), len(numbers))
            self._starters[path.name] = tuple(
                tuple(dict.fromkeys(rule for p in o.drives for rule in starting[p]))
                for o in outputs
                if all(scheme.paths[p].started_by == o.unit for p in o.drives)
            )
        self._stops = tuple(numbers)
        self._indexed: dict[int, dict[Origin, list[tuple[Stop, Chain]]]] = {}

    def alike(self, path: str) -> Alike:
        """The sets of stops of a path and of all it is behind."""
        return tuple(dict.fromkeys(self._alike[p] for p in ahead(self.scheme, path)))

    def starters(self, path: str) -> tuple[tuple[str, ...], ...]:
        """Sets of rules: the path stops when all rules of one of the sets have ended."""
        return tuple(s for p in ahead(self.scheme, path) for s in self._starters[p])

    def all(self, alike: Alike) -> Iterator[Stop]:
        """The stops of several sets."""
        for number in alike:
            yield from self._stops[number]

    def blocking(self, path: str, *, always: bool = False) -> tuple[str, ...]:
        """The rules that stop a path: in some mode at least, or in all (`always`)."""
        return tuple(dict.fromkeys(s.rule for s in self.all(self.alike(path)) if not (always and s.when)))

    def from_origins(self, alike: Alike, origins: Iterable[Origin]) -> Iterator[tuple[Stop, Chain]]:
        """The stops whose chains start from one of these, or pass one of these lines."""
        for origin in origins:
            for number in alike:
                yield from self._index(number).get(origin, ())

    def _index(self, number: int) -> dict[Origin, list[tuple[Stop, Chain]]]:
        if number not in self._indexed:
            index: dict[Origin, list[tuple[Stop, Chain]]] = {}
            for stop in self._stops[number]:
                for chain in self.chains.of(stop.rule):
                    passed = [(Signal.LINE, hop.line) for hop in chain.hops if hop.line]
                    for key in dict.fromkeys([(chain.signal, chain.name), *passed]):
                        index.setdefault(key, []).append((stop, chain))
            self._indexed[number] = index
        return self._indexed[number]


def applies(when: AnyOf, claim: Claim) -> bool:
    """Whether a block in those modes acts in all the situations that the claim speaks of, lines read as they are."""
    return not when or all(_covers(when, (*claim.conditions, *mode)) for mode in claim.any_of or ((),))


def _covers(when: AnyOf, given: tuple[Condition, ...]) -> bool:
    """Whether one of the modes holds whatever the lines that nothing is said about."""
    if any({*mode} <= {*given} for mode in when):
        return True
    known = {c.name: c.test for c in given if c.signal is Signal.LINE}
    free = list(dict.fromkeys(c.name for mode in when for c in mode if c.name not in known))
    if len(free) > MOST_MODE_LINES:
        return False
    return all(
        any(all((known | dict(zip(free, values, strict=True)))[c.name] is c.test for c in mode) for mode in when)
        for values in product((False, True), repeat=len(free))
    )
