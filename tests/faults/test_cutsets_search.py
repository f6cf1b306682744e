"""The search for minimal cut sets against the enumeration of all sets, with a judge made up for the test."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import combinations

import pytest

from interlock.faults.cutsets_search import Ask, CutSets, CutSetSearch, Told
from interlock.faults.judge import Answer, Ruling, Shown
from interlock.proof.components import Abstraction
from interlock.scheme.model import Fault
from interlock.scheme.read import loads
from interlock.scheme.words import Mode, Part
from tests.support.bench import BENCH

Set = frozenset[str]
NAMES = "abcdefgh"
CATALOGUE = {n: Fault(n, Part.PATH, Mode.BYPASSED, (n,)) for n in NAMES}
SETS = [frozenset(s) for k in range(len(NAMES) + 1) for s in combinations(NAMES, k)]


class Judged:
    """A judge of its own mind: some sets violate, whether or not what contains them does as well."""

    def __init__(self, rng: random.Random, undecided: int = 0) -> None:
        self.violating = set(rng.sample(SETS, rng.randrange(1, 30))) - {frozenset()}
        self.undecided = set(rng.sample(SETS, undecided)) - self.violating
        self.rng = rng
        self.asked: list[Set] = []

    def support(self, present: Set) -> Set:
        """Some faults of which each larger set that does not hold has one."""
        near: set[str] = set(self.rng.sample(NAMES, self.rng.randrange(3)))
        for bad in sorted(self.violating | self.undecided, key=sorted):
            if present < bad and not near & (bad - present):
                near.add(self.rng.choice(sorted(bad - present)))
        return frozenset(near - present)

    def told(self, ask: Ask) -> Told:
        present = frozenset(ask.faults)
        self.asked.append(present)
        if present in self.violating:
            return Told(ask.faults, Ruling(Answer.VIOLATED))
        if present in self.undecided:
            return Told(ask.faults, Ruling(Answer.UNDECIDED, reason="not known"))
        near = tuple(sorted(self.support(present))) if ask.deeper else ()
        return Told(ask.faults, Ruling(Answer.HOLDS, Shown(0, Abstraction(), 0)), near)


def searched(size: int, told: Callable[[Ask], Told], rng: random.Random) -> CutSets:
    """Run a search, the answers given in any order and in parts."""
    search = CutSetSearch(CATALOGUE, size)
    while search.wanted:
        wanted = list(search.wanted)
        rng.shuffle(wanted)
        search.told(map(told, wanted[: rng.randrange(1, len(wanted) + 1)]))
    return search.result()


def minimal(violating: set[Set], size: int) -> set[Set]:
    return {v for v in violating if len(v) <= size and not any(other < v for other in violating)}


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_the_cut_sets_are_complete_and_minimal(size: int) -> None:
    spared = 0
    for seed in range(300):
        rng = random.Random(seed)
        judge = Judged(rng)
        found = searched(size, judge.told, rng)
        assert {frozenset(m) for m in found.minimal} == minimal(judge.violating, size), seed
        assert found.minimal == tuple(sorted(found.minimal, key=lambda m: (len(m), m)))
        assert len(set(judge.asked)) == len(judge.asked) == found.judged, "no set is judged twice"
        assert (found.done, found.waiting) == (size, 0)
        spared += sum(len(s) <= size for s in SETS) - found.judged
    assert spared > 0


def test_what_is_undecided_is_listed_and_nothing_that_contains_it_is_reported() -> None:
    met = 0
    for seed in range(300):
        rng = random.Random(seed)
        judge = Judged(rng, undecided=4)
        found = searched(3, judge.told, rng)
        undecided = [frozenset(u.faults) for u in found.undecided]
        open_ = minimal(judge.violating | judge.undecided, 3)
        assert {frozenset(m) for m in found.minimal} == open_ & judge.violating, seed
        assert set(undecided) == open_ & judge.undecided, seed
        met += len(undecided)
    assert met > 100


def test_two_swaps_of_one_part_are_never_asked_for() -> None:
    catalogue = loads(BENCH, "bench.yaml").faults
    swaps = {name: set(f.parts) for name, f in catalogue.items() if f.mode is Mode.SWAPPED}
    search = CutSetSearch(catalogue, 2)
    everything = tuple(catalogue)
    search.told([Told((), Ruling(Answer.HOLDS, Shown(0, Abstraction(), 0)), everything)])
    search.told(
        Told(a.faults, Ruling(Answer.HOLDS, Shown(0, Abstraction(), 0)), everything) for a in list(search.wanted)
    )
    pairs = [frozenset(a.faults) for a in search.wanted]
    rivals = {frozenset(p) for p in combinations(swaps, 2) if swaps[p[0]] & swaps[p[1]]}
    assert rivals
    every_pair = {frozenset(p) for p in combinations(catalogue, 2)}
    assert set(pairs) == every_pair - rivals


def test_a_search_cut_short_says_what_it_has_not_judged() -> None:
    search = CutSetSearch(CATALOGUE, 2)
    search.told([Told((), Ruling(Answer.HOLDS, Shown(0, Abstraction(), 0)), ("a", "c"))])
    search.told([Told(("c",), Ruling(Answer.VIOLATED))])
    found = search.result()
    assert found.minimal == (("c",),)
    assert (found.done, found.waiting, found.judged, found.near) == (0, 1, 2, ("a", "c"))
