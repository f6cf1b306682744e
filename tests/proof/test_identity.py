"""Systems of equal identity share what was found out about them: they must do the same, by the same inputs."""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

import pytest

from interlock.faults.judge import Judge
from interlock.proof.cells import UnsupportedError
from interlock.proof.components import EVERYTHING, Abstraction
from interlock.proof.decide import Alike
from interlock.proof.emit import Places
from interlock.proof.goal import Goal, of_claim
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan, Move, System
from interlock.scheme.model import Fault
from interlock.scheme.order import LoopError
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.support.profiles import INTERLOCKS, SMALL, TINY
from tests.support.random_schemes import random_fault_set, random_scheme_text

SCHEMES = 14
PAIRS = 16  # pairs of faults of a scheme
JUDGED = 30  # schemes
OF_EACH = 12  # faults of each claim
BUDGET = 100  # zones
SCANS = 5
STATES = 40  # looked at of a system, at most
MOST_SPANS = 12  # of a sensor that sticks, so that what can happen to the faults in a scan stays few

State = tuple[int, Places, tuple[int, ...]]  # configuration, places, timers


def named(system: System, move: Move) -> tuple[object, ...]:
    """A move with its configuration written out, and its inputs by what they stand for in the scheme."""
    config = system.configs[move.config]
    circuit = system.circuits[config.arisen]
    stand_for = {name: key for keys in (circuit.slots, circuit.bools) for key, name in keys.items()}
    order = system.compiled(config.arisen).inputs
    inputs = tuple((stand_for[name], value) for name, value in zip(order, move.inputs, strict=True))
    onset = tuple(system.sensors[i] for i in move.onset)
    return config, move.places, move.asked, move.ends, move.again, move.still, move.bad, inputs, onset


class Look(NamedTuple):
    """What is seen of one state: its timers, what can happen from it, whether any of that is bad, how it compares."""

    timers: tuple[int, ...]
    moves: tuple[object, ...]
    bad: bool
    compares: object


def seen(system: System) -> Iterator[Look]:
    """What can be seen of a system from its start state on: scan by scan its states with their timers, the moves from
    each with the inputs that make them, which of them are bad, and how states are compared."""
    delays = [comp.delays for comp in system.layout.comps]
    config, places = system.start
    states: dict[State, None] = {(config, places, (0,) * len(places)): None}
    known = set(states)
    yield Look((), (system.configs[config], places), bad=False, compares=None)
    for _ in range(SCANS):
        following: dict[State, None] = {}
        for number, places, timers in states:
            running = [i for i, (d, place) in enumerate(zip(delays, places, strict=True)) if d[place]]
            ends = sum(1 << i for i in running if timers[i] + 1 >= delays[i][places[i]])
            moves = system.moves(number, places, ends)
            told = tuple(named(system, m) for m in moves)
            yield Look(timers, told, any(m.bad for m in moves), system.split(places))
            for move in moves:
                goes_on = [i for i in running if move.places[i] == places[i] and not move.again >> i & 1]
                after = [0] * len(places)
                for i in goes_on:
                    after[i] = timers[i] + (not move.still >> i & 1)
                state = (move.config, move.places, tuple(after))
                if state not in known and len(known) < STATES:
                    known.add(state)
                    following[state] = None
        states = following


# --- the items of an identity, in its order; those of each circuit by themselves

ITEMS = ("probe", "start", "groups", "comps", "sign", "emitted", "wiring", "sticks", "spans", "unstuck")
OF_CIRCUIT = {"emitted": ("source", "inputs", "probes"), "wiring": ("slots", "bools", "alias", "directions")}
# All else follows from these: `start` is in the components, the number of groups in how many circuits there are, inputs
# and alias are written in the source, signs and directions are worked out from it, and what sensors can stick at from
# the slots, which of them stick when, and what they read unstuck. What is probed is in the source and the components.
OWN = ("comps", "source", "slots", "bools", "sticks", "unstuck")


def items(system: System) -> dict[str, object]:
    found: dict[str, object] = {}
    name: str
    item: Any
    for name, item in zip(ITEMS, system.identity(), strict=True):
        if name not in OF_CIRCUIT:
            found[name] = item
            continue
        for part, of_each in zip(OF_CIRCUIT[name], zip(*item, strict=True), strict=True):
            found[part] = of_each
    return found


# --- random schemes


def systems(index: Index, goal: Goal, sets: Sequence[tuple[Fault, ...]]) -> Iterator[System]:
    for faults in sets:
        for abstraction in (Abstraction(), EVERYTHING):
            try:
                system = System(index, goal, FaultPlan.of(faults), abstraction)
            except (LoopError, UnsupportedError):
                continue
            if all(len(spans) <= MOST_SPANS for spans in system.spans):
                yield system


def compared(found: Iterable[System], rng: random.Random, where: object) -> Counter[str]:
    """Those of equal identity see the same, and no item can differ by itself that no pair below stands for."""
    counts: Counter[str] = Counter()
    alike: dict[object, list[System]] = defaultdict(list)
    by_own: dict[object, set[object]] = defaultdict(set)
    for system in found:
        identity, own = system.identity(), items(system)
        alike[identity].append(system)
        by_own[tuple(own[name] for name in OWN)].add(identity)
        counts["systems"] += 1
    assert all(len(identities) == 1 for identities in by_own.values()), (where, "another item can differ alone")
    for first, *others in alike.values():
        expected = list(seen(first)) if others else []
        for other in rng.sample(others, min(2, len(others))):
            assert list(seen(other)) == expected, (where, first.plan, other.plan)
            counts["compared"] += 1
            counts["with bad scans"] += any(look.bad for look in expected)
    return counts


def test_random_systems_of_equal_identity_do_the_same(counted: Counted) -> None:
    counts: Counter[str] = Counter()
    for seed in range(SCHEMES):
        rng = random.Random(f"identity {seed}")
        scheme = loads(random_scheme_text(rng, (TINY, INTERLOCKS)[seed % 2]))
        index = Index(scheme)
        sets = [(), *((f,) for f in scheme.faults.values()), *(random_fault_set(rng, scheme, 2) for _ in range(PAIRS))]
        for claim in scheme.claims[:3]:
            counts += compared(systems(index, of_claim(claim), sets), rng, (seed, claim.name))
    counted("systems of equal identity, step by step", counts)
    assert counts["compared"] > 400
    assert counts["with bad scans"] > 200


def test_systems_that_judging_makes_do_the_same_where_their_identities_are_equal(
    monkeypatch: pytest.MonkeyPatch, counted: Counted
) -> None:
    """They follow rules in groups, or as they settle, and leave devices to do as they like; here none shares."""
    made: list[System] = []
    monkeypatch.setattr(Alike, "join", lambda _self, system: made.append(system))
    counts: Counter[str] = Counter()
    for seed in range(JUDGED):
        rng = random.Random(f"judged {seed}")
        scheme = loads(random_scheme_text(rng, (TINY, INTERLOCKS, SMALL)[seed % 3]))
        index, faults = Index(scheme), list(scheme.faults.values())
        for claim in scheme.claims[:2]:
            made.clear()
            judge = Judge(index, claim, BUDGET)
            for fault in rng.sample(faults, min(OF_EACH, len(faults))):
                judge.rule([fault])
            narrow = [s for s in made if all(len(spans) <= MOST_SPANS for spans in s.spans)]
            counts += compared(narrow, rng, (seed, claim.name))
            counts["settling"] += sum(bool(s.abstraction.settled) for s in narrow)
            counts["in groups"] += sum(bool(s.abstraction.groups) for s in narrow)
    counted("systems of equal identity, step by step", counts)
    assert min(counts["settling"], counts["in groups"]) > 5
    assert counts["compared"] > 100


# --- pairs that differ in one item alone

# Two alike lines, sent signals, contacts and sensors, so that a fault may put one in the place of the other.
TWO_OF_EACH = """
scheme: Two of each
revision: 1
scan: 1 s
quantities:
  cell: {span: 0 to 10 degC}
sensors:
  one: {measures: {cell: -1 to 1 K}, valid: -5 to 15 degC, misplaced: {cell: -3 to 3 K}}
  two: {measures: {cell: -1 to 1 K}, valid: -5 to 15 degC}
units: [board, monitor]
lines:
  key: external
  latch: external
  quick: {low_when: [soon]}
  slow: {low_when: [late]}
rules:
  soon: {unit: monitor, watches: key, trips: on for 2 s, clears: off for 1 s}
  late: {unit: monitor, watches: key, trips: on for 3 s, clears: off for 1 s}
  told: {watches: quick, trips: off, clears: on, blocks: pump}
  told_too: {watches: slow, trips: off, clears: on, blocks: lamp}
  locked: {watches: latch, trips: on, clears: off, blocks: fan}
  noted: {watches: key, trips: on, clears: off, alarm: the key is in}
  cold: {watches: one, trips: below 3 degC, clears: above 5 degC, blocks: heater}
paths:
  pump: {flow: none}
  lamp: {flow: none}
  fan: {flow: none}
  heater: {flow: none}
outputs:
  K1: {drives: [pump], contact: normally_open, runs_when: closed}
  K2: {drives: [lamp], contact: normally_open, runs_when: closed}
  K3: {drives: [fan], contact: normally_open, runs_when: closed}
  K4: {drives: [heater], contact: normally_open, runs_when: closed}
requirements:
  frozen: {never_running: heater, while: {cell: below 1 degC}, longer_than: 5 s}
  cool: {never_running: heater, while: {cell: below 4 degC}, longer_than: 5 s}
  keyed: {never_running: pump, while: {key: on}, longer_than: 5 s}
  at_all: {never_running: pump, longer_than: 5 s}
  fanned: {never_running: fan, longer_than: 5 s}
"""
SCHEME = loads(TWO_OF_EACH)
INDEX = Index(SCHEME)


def made(claim: str, *faults: str) -> System:
    goal = of_claim(next(c for c in SCHEME.claims if c.requirement == claim))
    return System(INDEX, goal, FaultPlan.of(SCHEME.faults[name] for name in faults), EVERYTHING)


@pytest.mark.parametrize(
    ("one", "other", "alone"),
    [
        # a delay of 2 s, or of 3: every move is the same but for when it can be
        (("keyed",), ("keyed", "quick~slow.swapped"), "comps"),
        # always bad, or never
        (("at_all", "K1.welded"), ("at_all", "K1.wire_broken"), "source"),
        # another condition beside the same scan; one goal has the same slots wherever its circuits are the same
        (("frozen",), ("cool",), "slots"),
        # the same scan, told by the other line
        (("fanned",), ("fanned", "key~latch.swapped"), "bools"),
        # with a fault that nothing here depends on, it is the second or the first that makes the sensor stick
        (("frozen", "K1.welded", "one.stuck"), ("frozen", "one.stuck", "two.open"), "sticks"),
        # the same scan, its sensor farther from the truth
        (("frozen",), ("frozen", "one.misplaced"), "unstuck"),
    ],
    ids=OWN,
)
def test_systems_that_differ_in_one_item_alone_do_not_do_the_same(
    one: tuple[str, ...], other: tuple[str, ...], alone: str
) -> None:
    first, second = made(*one), made(*other)
    there, here = items(first), items(second)
    assert {name for name in there if there[name] != here[name]} == {alone}
    assert list(seen(first)) != list(seen(second))
    assert first.identity() != second.identity()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("fanned",), ("fanned", "told.omitted", "one.misplaced")),
        (("fanned",), ("fanned", "quick~slow.swapped", "K1.wrong_contact")),
        (("fanned", "two.open"), ("fanned", "monitor.dead")),  # with one in service there is a before and an after
    ],
    ids=["installed", "more installed", "in service"],
)
def test_faults_that_nothing_depends_on_leave_one_identity(one: tuple[str, ...], other: tuple[str, ...]) -> None:
    """The fan hangs on a line of its own. Without this every system might have an identity to itself."""
    first, second = made(*one), made(*other)
    assert first.identity() == second.identity()
    assert list(seen(first)) == list(seen(second))
