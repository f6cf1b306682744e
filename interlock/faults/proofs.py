"""Several proofs of one verdict: each follows as little as it can, and no two of them follow the same.

A claim may hold for more than one reason: either of two stops in series is enough. Where one proof follows the one and
another the other, a set of faults has to spoil both before anything has to be judged, so that most never are. What a
proof follows can be left out piece by piece, as long as it holds; other proofs are found by leaving out first what one
of those found already follows (a hitting-set tree: Reiter 1987).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.proof.cells import UnsupportedError
from interlock.proof.components import Abstraction
from interlock.proof.decide import Decider
from interlock.proof.goal import Goal, Moves
from interlock.proof.index import Index
from interlock.proof.search import BudgetError, Search
from interlock.proof.system import FaultPlan
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.words import Signal

MOST = 8  # proofs
TRIES = 60  # searches made for them
ZONES = 60  # that each may take at least

# what a proof follows: ("output" | "rule" | "line" | "sensor", name), ("settled" | "group", first rule)
Piece = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Proved:
    """An abstraction on which a goal was shown to hold, and the zones that took."""

    abstraction: Abstraction
    zones: int


class Prover:
    """Searches for proofs that no bad run is longer than `most`, under one set of faults."""

    def __init__(self, index: Index, goal: Goal, plan: FaultPlan, most: int, budget: int) -> None:
        self.goal, self.most, self.budget = goal, most, budget
        self.scheme = index.scheme
        self._decider = Decider(index, goal, plan, budget)
        self.tries = 0

    def proved(self, abstraction: Abstraction) -> Proved | None:
        """Whether one search on an abstraction shows it, within the budget."""
        self.tries += 1
        try:
            search = Search(self._decider.system(abstraction), self.budget)
            longest = search.longest(search.reachable(), self.most)
        except (BudgetError, UnsupportedError):
            return None
        held = longest.scans is not None and longest.scans <= self.most
        return Proved(abstraction, search.count) if held else None

    def least(self, known: Proved) -> Proved:
        """A proof that follows no piece it could do without, each by itself."""
        for piece in pieces(self.scheme, self.goal, known.abstraction):
            if self.tries < TRIES and piece in pieces(self.scheme, self.goal, known.abstraction):
                known = self.proved(without(known.abstraction, piece)) or known
        return known


def proofs(index: Index, goal: Goal, plan: FaultPlan, most: int, known: Proved) -> list[Proved]:
    """Proofs that follow as little as they can of what `known` follows, the quickest first; `known` itself where there
    is none."""
    prover = Prover(index, goal, plan, most, max(ZONES, 2 * known.zones))
    found: list[Proved] = []
    barred: list[frozenset[Piece]] = [frozenset()]
    for leave_out in barred:
        if len(found) >= MOST or prover.tries >= TRIES:
            break
        reused = next((p for p in found if not leave_out & set(pieces(index.scheme, goal, p.abstraction))), None)
        if reused is None:
            abstraction = known.abstraction
            for piece in sorted(leave_out):
                abstraction = without(abstraction, piece)
            first = prover.proved(abstraction) if leave_out else known
            if first is None:
                continue
            reused = prover.least(first)
            found.append(reused)
        for piece in pieces(index.scheme, goal, reused.abstraction):
            if leave_out | {piece} not in barred:
                barred.append(leave_out | {piece})
    return sorted(found, key=lambda p: p.zones) or [known]


def pieces(scheme: Scheme, goal: Goal, abstraction: Abstraction) -> list[Piece]:
    """What a proof on an abstraction follows and could leave out: the outputs on the way to the goal's path, rules, the
    lines they look at, the sensors of their readings of several, and rules taken together."""
    found = [("output", o) for o in _outputs(scheme, goal) if o not in abstraction.loose]
    found += [("rule", rule) for rule in abstraction.exact]
    found += [("line", n) for n in _lines(scheme, abstraction) if n not in abstraction.loose]
    found += [("sensor", s) for s in _sensors(scheme, abstraction) if s not in abstraction.loose]
    found += [("settled", s.rules[0]) for s in abstraction.settled]
    found += [("group", g[0]) for g in abstraction.groups]
    return found


def without(abstraction: Abstraction, piece: Piece) -> Abstraction:
    """The abstraction that leaves this to itself."""
    what, name = piece
    match what:
        case "output":
            left = {r: uses - {f"block:{name}", f"start:{name}"} for r, uses in abstraction.exact.items()}
            exact = {r: uses for r, uses in left.items() if uses}
            return replace(abstraction, exact=exact, loose=abstraction.loose | {name})
        case "line" | "sensor":
            return replace(abstraction, loose=abstraction.loose | {name})
        case "rule":
            return replace(abstraction, exact={r: uses for r, uses in abstraction.exact.items() if r != name})
        case "settled":
            return replace(abstraction, settled=tuple(s for s in abstraction.settled if s.rules[0] != name))
        case _:
            return replace(abstraction, groups=tuple(g for g in abstraction.groups if g[0] != name))


def _lines(scheme: Scheme, abstraction: Abstraction) -> list[str]:
    """The lines that followed rules look at."""
    rules = [scheme.rules[rule] for rule in abstraction.exact]
    read = [n for rule in rules for n in (rule.reset_by, rule.watched if rule.watches is Signal.LINE else "") if n]
    return list(dict.fromkeys(read))


def _sensors(scheme: Scheme, abstraction: Abstraction) -> list[str]:
    """The sensors of the readings of several that are followed: any of them may be enough."""
    rules = [scheme.rules[rule] for rule in abstraction.exact]
    readings = [scheme.readings[rule.watched] for rule in rules if rule.watches is Signal.READING]
    return list(dict.fromkeys(name for r in readings if len(r.sensors) > 1 for name in r.sensors))


def _outputs(scheme: Scheme, goal: Goal) -> Iterator[str]:
    """Where running is bad, the outputs any of which can keep the path from it."""
    path = goal.path if goal.moves is Moves.RUN else ""
    while path:
        yield from scheme.paths[path].outputs
        path = scheme.paths[path].behind
