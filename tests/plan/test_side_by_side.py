"""For how long a fault can make a difference at all: figures by hand, and no run on the readable engine goes beyond."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, World
from interlock.plan.hypotheses import Off, slips
from interlock.plan.reasons import at_once
from interlock.plan.side_by_side import Longest, NotComparedError, SideBySide
from interlock.plan.stimuli import Stimuli, look_scans
from interlock.plan.wrong import Slip, Wrong, with_slips
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import LineForm
from tests.plan.by_hand import what_is_seen
from tests.support.random_schemes import TINY, random_scheme_text
from tests.support.random_worlds import critical_values, random_reading, split_faults

HUT = load(Path(__file__).parents[2] / "rules" / "alpine_hut.yaml")
SLIPS = {slip.name: slip for slip in slips(Stimuli(HUT), Off())}
RUNS, SCANS = 12, 120


def wrong(name: str) -> Wrong:
    return SLIPS[name] if name in SLIPS else HUT.faults[name]


@pytest.mark.parametrize(
    ("name", "scans"),
    [
        ("bus_welded.omitted", 0),  # a bus contactor that obeys at once is never found closed while it is stopped
        ("turbine_closed.shorted", 5),  # 500 ms before the dump load lets go, which the shorted line does without
        ("valley_made.omitted", 1),  # the other rule that keeps the generator off hears of the valley line in one scan
        ("precharge_first.omitted", 31),  # 3 s for the capacitors, and the scan in which they are over
        ("K7~K9.swapped", 31),  # the comfort circuits wait in the inverter's place
    ],
)
def test_the_longest_difference_is_as_worked_out_by_hand(name: str, scans: int) -> None:
    assert SideBySide(at_once(HUT), wrong(name)).longest(scans).scans == scans
    if scans:
        assert SideBySide(at_once(HUT), wrong(name)).longest(scans - 1) == Longest(None, real=True)


def test_what_differs_for_longer_than_is_asked_for_is_not_said_to_be_alike() -> None:
    assert SideBySide(at_once(HUT), wrong("K7~K10.swapped")).longest(31).scans is None
    with pytest.raises(NotComparedError):
        SideBySide(at_once(HUT), wrong("floor_probe.open"))


def test_a_look_takes_three_seconds_and_the_scans_it_touches() -> None:
    assert look_scans(HUT) == 32


def schemes(seed: int) -> Scheme:
    return at_once(loads(random_scheme_text(random.Random(seed), TINY), f"random {seed}"))


def rows(scheme: Scheme, one: Wrong, rng: random.Random) -> int:
    """The longest row of scans in which something is on without the fault and off with it, or the reverse, for certain,
    in one run of anything that may be read."""
    faults = FaultSet() if isinstance(one, Slip) else FaultSet.of(one.single())
    installed, arising = split_faults([] if isinstance(one, Slip) else [one])
    present = frozenset(f for group in arising for f in group)
    edited = with_slips(scheme, [one]) if isinstance(one, Slip) else scheme
    engines = Engine(scheme), Engine(edited, installed)
    values = critical_values(scheme)
    external = [n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL]
    longest, row = 0, Counter[object]()
    left = 0
    for _ in range(SCANS):
        if not left:
            readings = {n: random_reading(rng, values[n]) for n in scheme.sensors}
            lines = {n: rng.random() < 0.5 for n in external}
            left = rng.choice((1, 1, 2, 3, 5, 9))
        left -= 1
        seen = engines[0].scan(World(readings, lines)), engines[1].scan(World(readings, lines, present))
        now = [what_is_seen(scheme, s, f) for s, f in zip(seen, (FaultSet(), faults), strict=True)]
        for sight, value in now[0].items():
            for side in (False, True):
                differs = value is side and now[1][sight] is (not side)
                row[sight, side] = row[sight, side] + 1 if differs else 0
                longest = max(longest, row[sight, side])
    return longest


@pytest.mark.parametrize("seed", range(8))
def test_no_run_on_the_readable_engine_differs_for_longer(seed: int) -> None:
    scheme, rng = schemes(seed), random.Random(seed)
    every: list[Wrong] = [*scheme.faults.values(), *slips(Stimuli(scheme), Off())]
    told: Counter[str] = Counter()
    for one in rng.sample(every, min(30, len(every))):
        try:
            longest = SideBySide(scheme, one).longest(look_scans(scheme) - 1).scans
        except NotComparedError:
            told["not compared"] += 1
            continue
        seen = max(rows(scheme, one, rng) for _ in range(RUNS))
        if longest is None:
            told["longer, or not decided"] += 1
        else:
            assert seen <= longest, (one.name, seen, longest)
            told["never" if longest == 0 else "as long" if seen == longest else "for less"] += 1
    print(dict(told))
