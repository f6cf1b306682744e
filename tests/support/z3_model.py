"""Claims judged by z3: bounded runs from power-up for what can happen, induction for what cannot.

Scans are unrolled one by one. From power-up, the solver looks for ever longer runs of bad scans, and for a run that
comes back to the state it began in: that one never ends. From *any* state in which each memory has a value it can have,
it shows that no longer run is left: with all runs that end earlier looked at from power-up, that is a proof over all
behaviours. Where memories hang together, so that induction does not close within a few scans, Spacer is asked.

k-induction: M. Sheeran, S. Singh, G. Stalmarck, Checking safety properties using induction and a SAT-solver, FMCAD
2000.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import z3

from interlock.scheme.model import Claim, Fault, Scheme
from tests.support.z3_horn import Half, can_run, of_scan
from tests.support.z3_parts import (
    Dial,
    Flag,
    Formula,
    Memory,
    NotEncoded,
    Plan,
    Value,
    alike,
    at_start,
    memory_at,
    well_formed,
)
from tests.support.z3_scan import Scan

__all__ = ["NotEncoded", "Opinion", "Unproved", "judge"]

_DEEPEST = 40  # scans unrolled at most
_SPACER_AT = (8, 16, 32)  # scans unrolled when Spacer is asked


class Unproved(Exception):  # noqa: N818 - no error of the scheme
    """Neither a proof nor a run within the scans unrolled. Never a verdict."""


@dataclass(frozen=True)
class Opinion:
    """n: the longest run of bad scans, None where it has no end. `condition_met`, `path_could`: in any behaviour.

    `depth`: the scans unrolled; `spacer`: whether a proof is Spacer's.
    """

    n: int | None
    condition_met: bool
    path_could: bool
    depth: int
    spacer: bool

    def verdict(self, scheme: Scheme, claim: Claim) -> str:
        """holds, violated or vacuous."""
        if not (self.condition_met and self.path_could):
            return "vacuous"
        if self.n is None:
            return "violated"
        return "holds" if (self.n + claim.adds_a_scan) * scheme.scan_us <= claim.longer_than.us else "violated"


def judge(scheme: Scheme, claim: Claim, faults: Sequence[Fault] = ()) -> Opinion:
    """The longest run of bad scans of a claim under a fault set. Raises NotEncoded, Unproved."""
    return Unrolled(scheme, claim, Plan.of(faults)).opinion()


class Unrolled:
    """A claim's scans one after the other, from power-up or from any state."""

    def __init__(self, scheme: Scheme, claim: Claim, plan: Plan) -> None:
        self.scheme, self.claim, self.plan = scheme, claim, plan
        self.solver = z3.Solver()
        self.memories: dict[str, Memory] = {}
        self.seen: dict[Half, list[Formula]] = {half: [] for half in Half}
        self.start, self.anywhere = z3.Bools("start anywhere")
        self.spacer = False
        self.names = 0
        self.extend()
        for name, memory in self.memories.items():
            self.solver.add([z3.Implies(self.start, f) for f in at_start(name, memory, 0)])
            self.solver.add(well_formed(name, memory, 0))
        self.solver.add([z3.Implies(self.anywhere, f) for f in impossible(scheme, claim, plan)])

    @property
    def depth(self) -> int:
        """The scans unrolled."""
        return len(self.seen[Half.BAD])

    def extend(self) -> None:
        """One more scan."""
        i = self.depth
        if i >= _DEEPEST:
            raise Unproved(f"{self.claim.name}: nothing decided within {i} scans")
        scan = Scan(self.scheme, self.claim, self.plan, i, self.memories)
        self.solver.add(scan.constraints)
        for half, scans in self.seen.items():
            name = z3.Bool(f"{half.value}!{i}")
            self.solver.add(name == of_scan(scan, half))
            scans.append(name)

    def can(self, *assumed: Formula) -> bool:
        """Whether the scans so far can be so."""
        answer = self.solver.check(*assumed)
        if answer == z3.unknown:
            raise Unproved(f"{self.claim.name}: the solver gives up: {self.solver.reason_unknown()}")
        return bool(answer == z3.sat)

    def named(self, formula: Formula) -> Formula:
        """A boolean that implies a formula, to be assumed for one question."""
        self.names += 1
        name = z3.Bool(f"if{self.names}")
        self.solver.add(z3.Implies(name, formula))
        return name

    def opinion(self) -> Opinion:
        """The longest run, and where there is none, which half of the claim never comes about."""
        n = self.longest(Half.BAD)
        met = n != 0 or self.reached(Half.MET)
        may = n != 0 or self.reached(Half.MAY)
        return Opinion(n, met, may, self.depth, self.spacer)

    def longest(self, half: Half) -> int | None:
        """The longest run of such scans, None where it has no end."""
        scans, n = self.seen[half], 0
        while True:
            d, before = self.depth, n
            while n < d and self.can(self.start, *scans[d - n - 1 :]):
                n += 1
            if n > before and any(self.comes_back(half, d - p) for p in range(1, n + 1)):
                return None
            if n < d and self.no_longer(half, n):
                return n
            self.extend()

    def comes_back(self, half: Half, since: int) -> bool:
        """Whether all scans from one on can be so and end in the state in which that one began."""
        same = [f for name, memory in self.memories.items() for f in alike(name, memory, since, self.depth)]
        return self.can(self.start, *self.seen[half][since:], self.named(z3.And(same)))

    def no_longer(self, half: Half, n: int) -> bool:
        """Whether it is proved that no run is longer than n, given that none from power-up is that ends by now."""
        scans, d = self.seen[half], self.depth
        earlier = [z3.Not(z3.And(scans[e : e + n + 1])) for e in range(d - n - 1)]
        if not self.can(self.anywhere, *scans[d - n - 1 :], self.named(z3.And(earlier))):
            return True
        if d in _SPACER_AT and can_run(self.scheme, self.claim, self.plan, half, n + 1) is False:
            self.spacer = True
            return True
        return False

    def reached(self, half: Half) -> bool:
        """Whether there is such a scan at all."""
        if any(self.can(self.start, scan) for scan in self.seen[half]):
            return True
        while not self.no_longer(half, 0):
            self.extend()
            if self.can(self.start, self.seen[half][-1]):
                return True
        return False


def impossible(scheme: Scheme, claim: Claim, plan: Plan) -> list[Formula]:
    """Of any state before scan 0: no memory has a value that it can never have.

    The values it can have are found from power-up on, by asking for a scan that leads out of them and taking in where
    it leads, until none does. Each memory is looked at by itself; a real may have any value.
    """
    memories: dict[str, Memory] = {}
    solver = z3.Solver()
    solver.add(Scan(scheme, claim, plan, 0, memories).constraints)
    for name, memory in memories.items():
        solver.add(well_formed(name, memory, 0))
    places = [
        (name, v)
        for name, memory in memories.items()
        if not isinstance(memory, Value)
        for v in range(memory.size if isinstance(memory, Dial) else 2)
    ]

    def at(place: tuple[str, int], i: int) -> Formula:
        name, v = place
        now = memory_at(name, memories[name], i)
        return now[v] if isinstance(memories[name], Dial) else now if v else z3.Not(now)

    starts = {(name, int(m.start)) for name, m in memories.items() if isinstance(m, Flag | Dial)}
    shut = [place for place in places if place not in starts]
    while shut:
        solver.push()
        solver.add([z3.Not(at(place, 0)) for place in shut])
        solver.add(z3.Or([at(place, 1) for place in shut]))
        answer = solver.check()
        if answer == z3.unknown:
            raise Unproved(f"{claim.name}: the solver gives up: {solver.reason_unknown()}")
        if answer == z3.unsat:
            break
        model = solver.model()
        solver.pop()
        shut = [place for place in shut if not z3.is_true(model.eval(at(place, 1), model_completion=True))]
    return [z3.Not(at(place, 0)) for place in shut]
