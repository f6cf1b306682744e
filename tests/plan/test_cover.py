"""The exact optimiser against known optima and exhaustive search."""

from __future__ import annotations

import random
from itertools import chain, combinations, product

import pytest

from interlock.plan.cover import LONGEST, Episode, Look, Phase, Unsolved, Use, cheapest, smallest_cover

# Affine geometries over the field of three elements. The least number of points that meet every line is 5 in the plane
# and 18 in space: the most points without a line are 4 and 9 (Bose 1947; the cap set problem), and 9 - 4, 27 - 9.
AFFINE = {2: (9, 12, 5), 3: (27, 117, 18)}


def lines_through_points(dimension: int) -> tuple[list[frozenset[int]], int]:
    """For each point of AG(n, 3) the lines through it, and how many lines there are."""
    points = list(product(range(3), repeat=dimension))
    at = {point: i for i, point in enumerate(points)}
    lines = {
        frozenset(at[tuple((a + k * b) % 3 for a, b in zip(point, way, strict=True))] for k in range(3))
        for point in points
        for way in points
        if any(way)
    }
    every = sorted(lines, key=sorted)
    return [frozenset(i for i, line in enumerate(every) if n in line) for n in range(len(points))], len(every)


@pytest.mark.parametrize("dimension", AFFINE)
def test_lines_of_affine_geometries_are_met_by_as_few_points_as_is_known(dimension: int) -> None:
    points, lines, least = AFFINE[dimension]
    sets, count = lines_through_points(dimension)
    assert (len(sets), count) == (points, lines)
    chosen = smallest_cover(sets, range(count))
    assert frozenset().union(*(sets[n] for n in chosen)) == frozenset(range(count))
    assert len(chosen) == least


# The smallest circuit of ISCAS-85 (Brglez and Fujiwara 1985): six NAND gates, output: (input, input).
C17 = {10: (1, 3), 11: (3, 6), 16: (2, 11), 19: (11, 7), 22: (10, 16), 23: (16, 19)}
C17_INPUTS = (1, 2, 3, 6, 7)


def answers(vector: tuple[bool, ...], net: int | tuple[int, int] | None, stuck: bool) -> tuple[bool, bool]:
    """The two outputs, one net stuck, or one branch of it (net, gate)."""
    value = dict(zip(C17_INPUTS, vector, strict=True))
    if net in value:
        value[net] = stuck
    for gate, inputs in C17.items():
        seen = [stuck if net == (i, gate) else value[i] for i in inputs]
        value[gate] = stuck if net == gate else not all(seen)
    return value[22], value[23]


def c17_faults() -> list[tuple[int | tuple[int, int], bool]]:
    """All 34 single stuck-at faults: every net, and each branch of those that fan out."""
    fans = {n: [g for g, inputs in C17.items() if n in inputs] for n in (*C17_INPUTS, *C17)}
    nets: list[int | tuple[int, int]] = [*fans]
    nets += [(n, g) for n, gates in fans.items() if len(gates) > 1 for g in gates]
    return [(net, stuck) for net in nets for stuck in (False, True)]


def test_the_smallest_test_sets_of_c17_are_those_known() -> None:
    """4 vectors detect all faults, 6 tell all classes and the good circuit apart (exhaustive search)."""
    faults, vectors = c17_faults(), list(product([False, True], repeat=5))
    assert len(faults) == 34
    good = [answers(v, None, False) for v in vectors]
    tables = [tuple(answers(v, *f) for v in vectors) for f in faults]
    detect = [frozenset(i for i, t in enumerate(tables) if t[v] != good[v]) for v in range(len(vectors))]
    assert len(smallest_cover(detect, range(len(faults)))) == 4
    classes = list(dict.fromkeys([*tables, tuple(good)]))
    pairs = list(combinations(classes, 2))
    apart = [frozenset(i for i, (a, b) in enumerate(pairs) if a[v] != b[v]) for v in range(len(vectors))]
    assert len(smallest_cover(apart, range(len(pairs)))) == 6


def random_episodes(rng: random.Random, items: int) -> list[Episode]:
    def look(settles: int) -> Look:
        at = rng.choice([settles, rng.randrange(1, 30)])
        return Look(at, frozenset(rng.sample(range(items), rng.randrange(1, 4))))

    def phase() -> Phase:
        settles = rng.randrange(1, 20)
        return Phase(settles, tuple(look(settles) for _ in range(rng.choice([1, 1, 2]))))

    return [Episode(tuple(phase() for _ in range(rng.choice([1, 1, 2]))), n == 0) for n in range(4)]


def by_trying_all(episodes: list[Episode], items: int) -> tuple[int, int] | None:
    """The least seconds, then steps, over all choices."""
    best: tuple[int, int] | None = None
    others = range(1, len(episodes))
    for made in chain.from_iterable(combinations(others, n) for n in range(len(episodes))):
        phases = [p for e in (0, *made) for p in episodes[e].phases]
        looks = [(n, look) for n, p in enumerate(phases) for look in p.looks]
        for taken in chain.from_iterable(combinations(looks, n) for n in range(len(looks) + 1)):
            if len(frozenset().union(*(look.covers for _, look in taken))) < items:
                continue
            lasts = [max([p.settles, *(look.at for n, look in taken if n == i)]) for i, p in enumerate(phases)]
            steps = len(phases) + sum(look.at != phases[n].settles for n, look in taken)
            cost = (sum(lasts), steps)
            best = cost if best is None or cost < best else best
    return best


@pytest.mark.parametrize("seed", range(25))
def test_no_choice_is_shorter_than_the_one_made(seed: int) -> None:
    rng = random.Random(seed)
    episodes = random_episodes(rng, 6)
    least = by_trying_all(episodes, 6)
    if least is None:
        with pytest.raises(Unsolved):
            cheapest(episodes, range(6))
        return
    choice = cheapest(episodes, range(6))
    assert choice.exact
    assert (choice.seconds, choice.steps) == least


def in_use(episodes: list[Episode], made: tuple[int, ...], lasts: dict[tuple[int, int], int]) -> int:
    """For how long the thing that is used the longest is, or the longest episode lasts."""
    total: dict[object, int] = {}
    for e in made:
        for thing, use in episodes[e].uses.items():
            total[thing] = total.get(thing, 0) + use.more + sum(lasts[e, p] for p in use.phases)
    return max([*total.values(), *(sum(v for (of, _), v in lasts.items() if of == e) for e in made)])


@pytest.mark.parametrize("seed", range(20))
def test_nothing_is_in_use_for_longer_than_it_has_to_be(seed: int) -> None:
    """Side by side: the thing that is used the longest decides, all other time counts little."""
    rng = random.Random(seed)
    episodes = []
    for episode in random_episodes(rng, 5):
        count = len(episode.phases)
        uses = {
            thing: Use(tuple(sorted(rng.sample(range(count), rng.randrange(1, count + 1)))), rng.randrange(9))
            for thing in rng.sample("abc", rng.randrange(1, 3))
        }
        episodes.append(Episode(episode.phases, episode.needed, uses))
    best: int | None = None
    for made in chain.from_iterable(combinations(range(1, len(episodes)), n) for n in range(len(episodes))):
        every = (0, *made)
        looks = [(e, p, k) for e in every for p, phase in enumerate(episodes[e].phases) for k in phase.looks]
        for taken in chain.from_iterable(combinations(looks, n) for n in range(len(looks) + 1)):
            if len(frozenset().union(*(look.covers for *_, look in taken))) < 5:
                continue
            lasts = {
                (e, p): max([phase.settles, *(k.at for of, q, k in taken if (of, q) == (e, p))])
                for e in every
                for p, phase in enumerate(episodes[e].phases)
            }
            cost = LONGEST * in_use(episodes, every, lasts) + sum(lasts.values())
            best = cost if best is None else min(best, cost)
    if best is None:
        with pytest.raises(Unsolved):
            cheapest(episodes, range(5))
        return
    choice = cheapest(episodes, range(5))
    assert choice.exact
    assert LONGEST * choice.longest + choice.seconds == best
