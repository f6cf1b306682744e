"""Fault trees of many shapes to be drawn: families of cut sets with words as they come, and hostile ones."""

from __future__ import annotations

import random
from collections.abc import Iterable
from itertools import combinations, product

from interlock.draw.faulttree import BasicEvent, FaultTree

HOSTILE = "<i>&\"'</i> \N{GREEK SMALL LETTER MU} \N{CJK UNIFIED IDEOGRAPH-7AEF} ]]> " + "words without end " * 11

SAYS = "roof_pv may run for longer than 10 s while the coldest cell is below 0 degC"
WORDS = {
    "welded": "its contact stays closed, whatever the unit does",
    "stuck": "from some scan on the reading stays what it was",
    "omitted": "the rule is not there",
    "bypassed": "current finds a way round every output and whatever it is behind: always let run",
    "wrong_contact": "normally open and normally closed exchanged",
    "ignored": "the device does not heed its input: this output always lets it run",
    "drifted": "its error may be -6 to 6 K instead",
    "frozen": "from some scan on its outputs and sent lines keep their state",
}
PARTS = ("roof_pv_contactor", "valley_charger_relay", "charge_bus", "cold_probe", "warm_probe", "board", "cell_monitor")
NAMES = [f"{part}.{mode}" for part in PARTS for mode in WORDS]


def tree(
    sets: Iterable[Iterable[str]],
    order: int | None = 2,
    notes: tuple[str, ...] = (),
) -> FaultTree:
    """A family with the words of its faults."""
    events = tuple(tuple(BasicEvent(n, WORDS.get(n.rpartition(".")[2], "")) for n in cut_set) for cut_set in sets)
    return FaultTree("frozen_charge/roof_pv", SAYS, events, order, notes)


def three() -> FaultTree:
    """Two single faults and a pair."""
    return tree([("cold_probe.stuck",), ("K1.welded", "K7.welded"), ("board.frozen",)])


def twelve() -> FaultTree:
    """Any of three at one contactor with any of three at another, two singles, and another pair."""
    modes = ("welded", "wrong_contact", "ignored")
    both = product([f"K1.{m}" for m in modes], [f"K7.{m}" for m in modes])
    notes = ("1.2e-7 per hour by the rates given; the rare-event bound is 1.3e-7",)
    return tree(
        [("roof_pv.bypassed",), ("board.frozen",), ("cold_probe.stuck", "warm_probe.stuck"), *both], notes=notes
    )


def random_family(seed: int, singles: int, larger: int, size: int) -> FaultTree:
    """Singles, and larger sets without any order among them."""
    rng = random.Random(seed)
    rest = NAMES[singles:]
    return tree(
        [*((n,) for n in NAMES[:singles]), *(rng.sample(rest, rng.randint(2, size)) for _ in range(larger))], size
    )


def deep() -> FaultTree:
    """Sets that go ever deeper: a0 + b0 (a1 + b1 (a2 + ...)), more gates in a row than one sheet has room for."""
    return tree([[*(f"b{i}.stuck" for i in range(level)), f"a{level}.stuck"] for level in range(7)], 7)


def sample_trees() -> list[FaultTree]:
    """One of each shape that is drawn in a way of its own."""
    votes = tree([*combinations([f"probe_{i}.drifted" for i in range(3)], 2), ("board.frozen",), ("K1~K7.swapped",)])
    long = f"{'battery_side_of_the_' * 4}contactor.welded"
    hostile = tuple((BasicEvent(name, HOSTILE), BasicEvent("board.frozen", HOSTILE)) for name in (long, "K1.welded"))
    return [
        three(),
        twelve(),
        random_family(3, 14, 46, 2),
        random_family(5, 0, 60, 3),
        random_family(8, 2, 700, 2),
        random_family(9, 3, 60, 5),
        deep(),
        votes,
        tree([*product(NAMES[:25], NAMES[25:50]), ("K9.welded",)]),
        tree(product(NAMES[:18], NAMES[18:36], NAMES[36:54]), 3),
        tree(combinations(NAMES[:40], 2)),
        tree(combinations(NAMES[:12], 10)),
        tree([("board.frozen",)], 1),
        tree([("board.frozen", "K1.welded")], None),
        tree([], 2),
        tree([], None),
        tree([()], 1),
        FaultTree(
            "a_requirement_with_a_very_long_name/and_a_path_that_is_no_shorter",
            HOSTILE,
            hostile,
            2,
            (HOSTILE,),
        ),
    ]
