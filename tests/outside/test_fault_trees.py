"""The cut-set engine against published fault trees and closed formulas, and against all states of random trees."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import combinations, product
from math import comb, exp, prod

import pytest

from interlock.faults.chance import chance, frequency, importances, mean_frequency, over_mission, rare_event
from interlock.faults.cutsets import minimal, minimal_cut_sets, minimal_hitting_sets
from interlock.faults.factor import factored
from interlock.faults.tree import Family, Tree, from_cut_sets, from_data
from tests.faults.near import near

# --- The pressure tank of NUREG-0492 (Vesely and others, Fault Tree Handbook, 1981, chapter VIII) and of NASA's Fault
# Tree Handbook with Aerospace Applications (2002): T the tank, K2 the pump's relay, S the pressure switch, S1 the
# switch, K1 the relay, R the timer relay.

TANK = from_data(
    "rupture",
    {
        "rupture": ("or", ["T", "overpressure"]),
        "overpressure": ("or", ["K2", "switch contacts closed"]),
        "switch contacts closed": ("and", ["S", "power at the coil"]),
        "power at the coil": ("or", ["S1", "past the timer"]),
        "past the timer": ("or", ["K1", "R"]),
    },
)
TANK_CHANCES = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 5e-6, "R": 1e-4}
TANK_SETS: Family = (("T",), ("K2",), ("S", "S1"), ("S", "K1"), ("S", "R"))

BRIDGE: Family = (("A", "B"), ("C", "D"), ("A", "D", "E"), ("B", "C", "E"))
EVEN = dict.fromkeys("ABCDE", 0.1)


def exact(family: Iterable[Iterable[str]], probability: dict[str, float]) -> float:
    found = chance(family, probability).exact
    assert found is not None
    return found


def test_the_pressure_tank_has_the_handbooks_cut_sets() -> None:
    assert minimal_cut_sets(TANK) == TANK_SETS
    assert minimal_cut_sets(TANK, order=1) == TANK_SETS[:2]


@pytest.mark.parametrize(
    ("k1", "figure"),
    [
        (5e-6, 3.501334916e-5),
        (3e-5, 3.501584875e-5),  # the handbook's other figure for K1: from memory
    ],
)
def test_the_pressure_tank_ruptures_as_often_as_in_the_handbook(k1: float, figure: float) -> None:
    assert exact(TANK_SETS, TANK_CHANCES | {"K1": k1}) == near(figure, rel=5e-10)


def test_the_rare_event_bound_of_the_pressure_tank_is_the_handbooks() -> None:
    assert rare_event(TANK_SETS, TANK_CHANCES) == near(3.50135e-5, rel=1e-9)


def test_the_tank_itself_and_the_pumps_relay_matter_most() -> None:
    """By the definitions: a single's share of the rupture is its probability over the whole; computed by hand."""
    found = {i.event: i for i in importances(TANK_SETS, TANK_CHANCES)}
    assert [*found] == ["K2", "T", "S", "R", "S1", "K1"]
    share = found["K2"].fussell_vesely
    assert share is not None
    assert share.exact == near(3e-5 / 3.501334916e-5, rel=1e-9)
    coil = 1 - (1 - 3e-5) * (1 - 5e-6) * (1 - 1e-4)
    assert found["S"].birnbaum.exact == near((1 - 5e-6) * (1 - 3e-5) * coil, rel=1e-12)


def test_the_bridge_and_two_out_of_three_fail_as_often_as_by_hand() -> None:
    assert exact(BRIDGE, EVEN) == near(0.02152, rel=1e-12)
    assert exact([*combinations("ABC", 2)], EVEN) == near(0.028, rel=1e-12)
    vote = from_data("top", {"top": ("2", ["A", "B", "C"])})
    assert minimal_cut_sets(vote) == (("A", "B"), ("A", "C"), ("B", "C"))


def test_the_bridges_path_sets_are_those_of_the_network() -> None:
    """A and C lead in, B and D lead out here; E lies across: the paths of the textbook bridge (Barlow and Proschan,
    Statistical Theory of Reliability and Life Testing, 1975), the dual of its cuts."""
    paths = {frozenset(s) for s in minimal_hitting_sets(BRIDGE)}
    assert paths == {frozenset("AC"), frozenset("BD"), frozenset("ADE"), frozenset("BCE")}
    assert {frozenset(s) for s in minimal_hitting_sets(paths)} == {frozenset(s) for s in BRIDGE}


@pytest.mark.parametrize(("n", "p"), [(10, 0.1), (300, 0.03), (800, 1e-4)])
def test_a_row_that_fails_with_two_neighbours_is_as_published(n: int, p: float) -> None:
    """Consecutive-2-out-of-n:F, whose reliability is sum over j of C(n-j+1, j) p^j (1-p)^(n-j) (Chiang and Niu,
    "Reliability of consecutive-k-out-of-n:F system", 1981). Hundreds of cut sets, exactly."""
    family = [(f"e{i}", f"e{i + 1}") for i in range(n - 1)]
    f = Fraction(p)
    works = sum(comb(n - j + 1, j) * f**j * (1 - f) ** (n - j) for j in range((n + 1) // 2 + 1))
    assert exact(family, {f"e{i}": p for i in range(n)}) == near(float(1 - works), rel=1e-12)


@pytest.mark.parametrize(("k", "n", "p"), [(2, 800, 1e-4), (3, 300, 0.01), (4, 300, 0.1), (6, 60, 0.4)])
def test_a_row_that_fails_with_k_neighbours_is_as_its_markov_chain_says(k: int, n: int, p: float) -> None:
    """Consecutive-k-out-of-n:F by the length of the run of failures at its end (Fu, "Reliability of consecutive-k-out-
    of-n:F systems with (k-1)-step Markov dependence", 1986)."""
    family = [tuple(f"e{i + j}" for j in range(k)) for i in range(n - k + 1)]
    runs, failed = [1.0] + [0.0] * (k - 1), 0.0
    for _ in range(n):
        failed += runs[-1] * p
        runs = [sum(runs) * (1 - p), *(r * p for r in runs[:-1])]
    assert exact(family, {f"e{i}": p for i in range(n)}) == near(failed, rel=1e-10)


@pytest.mark.parametrize(("k", "n"), [(3, 12), (2, 40), (5, 12)])
def test_k_of_n_fails_as_often_as_the_binomial_says(k: int, n: int) -> None:
    names = [f"e{i}" for i in range(n)]
    family = minimal_cut_sets(from_data("top", {"top": (str(k), names)}))
    assert len(family) == comb(n, k)
    binomial = sum(comb(n, j) * 0.02**j * 0.98 ** (n - j) for j in range(k, n + 1))
    assert exact(family, dict.fromkeys(names, 0.02)) == near(binomial, rel=1e-12)


# --- Minimal hitting sets: diagnoses from conflicts (Reiter, "A theory of diagnosis from first principles", 1987)


def test_the_polybox_and_the_full_adder_have_the_published_diagnoses() -> None:
    polybox = minimal_hitting_sets([["M1", "M2", "A1"], ["M1", "M3", "A1", "A2"]])
    assert {frozenset(s) for s in polybox} == {
        frozenset(s) for s in (["M1"], ["A1"], ["M2", "M3"], ["M2", "A2"])
    }  # de Kleer and Williams, "Diagnosing multiple faults", 1987
    adder = minimal_hitting_sets([["X1", "X2"], ["X1", "A2", "O1"]])
    assert {frozenset(s) for s in adder} == {frozenset(s) for s in (["X1"], ["X2", "A2"], ["X2", "O1"])}


def lines(size: int, dimensions: int) -> list[frozenset[str]]:
    """The lines of the affine geometry AG(dimensions, size), of a prime size."""
    points = list(product(range(size), repeat=dimensions))
    found = set()
    for start, step in product(points, points):
        if any(step):
            members = (tuple((a + k * b) % size for a, b in zip(start, step, strict=True)) for k in range(size))
            found.add(frozenset("".join(map(str, m)) for m in members))
    return sorted(found, key=sorted)


def test_five_points_meet_every_line_of_the_affine_plane_of_order_three() -> None:
    """9 points, 12 lines; all are met by 2 * 3 - 1 points, by no fewer (Jamison 1977; Brouwer, Schrijver 1978)."""
    plane = lines(3, 2)
    assert len(plane) == 12
    found = minimal_hitting_sets(plane)
    assert min(len(s) for s in found) == 5
    assert minimal_hitting_sets(plane, order=4) == ()
    assert minimal_hitting_sets(plane, order=5) == tuple(s for s in found if len(s) == 5)


def test_the_fano_plane_is_its_own_dual() -> None:
    """Any two lines of the projective plane of order 2 meet and every blocking set contains a line: the smallest
    self-dual family of its kind (common knowledge of finite geometry, from memory)."""
    fano = [frozenset(s) for s in ("124", "235", "346", "457", "156", "267", "137")]
    assert {frozenset(s) for s in minimal_hitting_sets(fano)} == set(fano)


# --- Random trees, all 2^n states looked at


def random_tree(rng: random.Random, events: int, gates: int) -> Tree:
    """Gates over events and over gates made before, so that subtrees are shared."""
    names = [f"e{i}" for i in range(events)]
    data: dict[str, tuple[str, Iterable[str]]] = {}
    for number in range(gates):
        inputs = rng.sample([*names, *list(data)[-4:]], rng.randint(2, 3))
        word = rng.choice(["and", "or", "or", str(rng.randint(1, len(inputs)))])
        data[f"g{number}"] = (word, inputs)
    top = [g for g in data if not any(g in inputs for _, inputs in data.values())]
    data["top"] = ("or", top)
    return from_data("top", data)


def occurs(tree: Tree) -> Callable[[frozenset[str]], bool]:
    """The top event as a function of the events that occurred, worked out from the gates alone."""

    def value(name: str, state: frozenset[str]) -> bool:
        if name not in tree.gates:
            return name in state
        gate = tree.gates[name]
        count = sum(value(i, state) for i in gate.inputs)
        return count >= {"and": len(gate.inputs), "or": 1}.get(str(gate.kind), gate.needs)

    return lambda state: value(tree.top, state)


def all_states(names: Sequence[str]) -> list[frozenset[str]]:
    return [
        frozenset(n for n, bit in zip(names, bits, strict=True) if bit) for bits in product((0, 1), repeat=len(names))
    ]


def weight(state: frozenset[str], probability: dict[str, float]) -> float:
    return prod(p if name in state else 1 - p for name, p in probability.items())


@pytest.mark.parametrize("seed", range(60))
def test_cut_sets_chance_and_importance_agree_with_all_states_of_a_random_tree(seed: int) -> None:
    rng = random.Random(seed)
    tree = random_tree(rng, rng.randint(3, 9), rng.randint(2, 8))
    top = occurs(tree)
    names = tree.events()
    probability = {name: rng.choice([rng.uniform(0, 1), rng.uniform(0, 1e-3), 1e-7]) for name in names}
    states = all_states(names)
    failing = {state for state in states if top(state)}
    smallest = {state for state in failing if not any(state - {name} in failing for name in state)}
    found = minimal_cut_sets(tree)
    assert {frozenset(s) for s in found} == smallest
    assert len(found) == len(smallest)
    order = rng.randint(0, 3)
    assert minimal_cut_sets(tree, order) == tuple(s for s in found if len(s) <= order)

    hit = {state for state in states if all(state & cut for cut in smallest)}
    assert {frozenset(s) for s in minimal_hitting_sets(found)} == {
        s for s in hit if not any(s - {name} in hit for name in s)
    }

    whole = sum(weight(state, probability) for state in failing)
    assert exact(found, probability) == near(whole, rel=1e-11)
    assert rare_event(found, probability) >= whole * (1 - 1e-12)
    for importance in importances(found, probability):
        event = importance.event
        others = {n: p for n, p in probability.items() if n != event}
        deciding = [s for s in all_states([*others]) if top(s | {event}) and not top(s)]
        assert importance.birnbaum.exact == near(sum(weight(s, others) for s in deciding), rel=1e-11)
        through = [s for s in failing if any(event in cut and cut <= s for cut in smallest)]
        share = importance.fussell_vesely
        assert share is not None
        assert share.exact == near(sum(weight(s, probability) for s in through) / whole, rel=1e-11)


@pytest.mark.parametrize("seed", range(60))
def test_a_factored_tree_has_the_same_cut_sets(seed: int) -> None:
    rng = random.Random(seed)
    names = [f"e{i}" for i in range(rng.randint(3, 12))]
    family = minimal(rng.sample(names, rng.randint(1, min(4, len(names)))) for _ in range(rng.randint(1, 25)))
    for tree in (factored("top", family), from_cut_sets("top", family)):
        assert {frozenset(s) for s in minimal_cut_sets(tree)} == {frozenset(s) for s in family}


@pytest.mark.parametrize("seed", range(40))
def test_what_takes_too_much_work_is_an_interval_around_the_truth(seed: int) -> None:
    rng = random.Random(seed)
    names = [f"e{i}" for i in range(14)]
    family = minimal(rng.sample(names, rng.randint(2, 3)) for _ in range(24))
    probability = {name: rng.choice([0.3, 1e-2, 1e-4]) for name in names}
    whole = exact(family, probability)
    full = {i.event: i for i in importances(family, probability)}
    for work in (0, 40, 200):
        found = chance(family, probability, work=work)
        assert found.lower <= whole * (1 + 1e-12)
        assert found.upper >= whole * (1 - 1e-12)
        assert work or found.exact is None
        for i in importances(family, probability, work=work):
            known = full[i.event].birnbaum.exact
            assert known is not None
            assert i.birnbaum.lower <= known * (1 + 1e-12)
            assert i.birnbaum.upper >= known * (1 - 1e-12)
            share, part = full[i.event].fussell_vesely, i.fussell_vesely
            assert share is not None
            assert part is not None
            assert share.exact is not None
            assert part.lower <= share.exact * (1 + 1e-12)
            assert part.upper >= share.exact * (1 - 1e-12)


def test_a_thousand_entangled_cut_sets_give_a_narrow_interval_and_never_a_wrong_figure() -> None:
    rng = random.Random(1)
    names = [f"e{i}" for i in range(300)]
    family = minimal(rng.sample(names, 2) for _ in range(1000))
    probability = {name: rng.uniform(1e-6, 1e-4) for name in names}
    found = chance(family, probability, work=100_000)
    assert found.lower <= found.upper <= rare_event(family, probability)
    assert found.upper / found.lower < 1.001


# --- Rates


def test_the_frequency_of_two_in_parallel_is_the_textbooks() -> None:
    """Two units without repair: P(t) = (1 - exp(-at))(1 - exp(-bt)), whose derivative is the failure density (any text
    on reliability; worked out by hand)."""
    a, b, t = 2e-5, 7e-6, 40_000.0
    density = a * exp(-a * t) * (1 - exp(-b * t)) + b * exp(-b * t) * (1 - exp(-a * t))
    assert frequency([("A", "B")], {"A": a, "B": b}, t).exact == near(density, rel=1e-12)


def test_the_mean_of_the_frequency_is_the_chance_over_the_mission() -> None:
    """The integral of the frequency is the probability: Simpson's rule over the mission, on the bridge."""
    rates = {"A": 3e-5, "B": 1e-5, "C": 2e-5, "D": 4e-5, "E": 5e-5}
    hours, steps = 20_000.0, 200
    at = [frequency(BRIDGE, rates, hours * i / steps).exact or 0.0 for i in range(steps + 1)]
    simpson = sum(v * (1 if i in (0, steps) else 4 if i % 2 else 2) for i, v in enumerate(at)) / 3 / steps
    assert mean_frequency(BRIDGE, rates, hours).exact == near(simpson, rel=1e-8)
    assert exact(BRIDGE, {n: over_mission(r, hours) for n, r in rates.items()}) == near(simpson * hours, rel=1e-8)
