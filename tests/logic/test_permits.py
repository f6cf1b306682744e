"""Permit maps against the readable engine: points of the plane come to by many histories, on both demo schemes and on
random ones. Whatever is seen must be allowed by the map; what the map says depends on the past is shown both ways."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import product
from pathlib import Path

import pytest

from interlock.logic.histories import Hold, vectors
from interlock.logic.permits import (
    Cell,
    Panel,
    PermitMap,
    Setting,
    Standing,
    Subject,
    View,
    held_for_ever,
    permit_map,
    planes,
    subjects,
    unsure,
)
from interlock.logic.scan import Engine, World
from interlock.logic.settled import Ending, TooManyError, cone_of
from interlock.logic.steady import Alike, Piece, alike, pieces
from interlock.logic.stretch import stretches
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import LineForm
from tests.conftest import Counted
from tests.support.random_schemes import random_scheme_text

RULES = Path(__file__).parents[2] / "rules"
DEMOS = ("alpine_hut", "survey_launch")


@cache
def demo(name: str) -> Scheme:
    return load(RULES / f"{name}.yaml")


def a_value(piece: Piece, rng: random.Random) -> int:
    """Some whole value of a piece."""
    if piece.point or piece.high - piece.low < 2:
        return int(piece.at)
    return rng.choice((int(piece.at), rng.randint(piece.low + 1, piece.high - 1), piece.low + 1, piece.high - 1))


def long_time(scheme: Scheme) -> int:
    """Scans after which nothing that stands still waits for anything: every delay once."""
    rules, outputs = scheme.rules.values(), scheme.outputs.values()
    return 10 + sum(r.trips.delay.scans + r.clears.delay.scans + 4 for r in rules) + sum(
        (r.override_at_most.scans if r.override_at_most else 0) for r in rules
    ) + sum(o.stops_within.scans + o.starts_within.scans + 2 for o in outputs)  # fmt: skip


def outside(scheme: Scheme) -> list[str]:
    off = held_for_ever(scheme)
    return [n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL and n not in off]


def run(engine: Engine, world: World, scans: int) -> Iterator[Mapping[str, bool | None]]:
    for seen, _ in stretches(engine, world, scans):
        yield {path: seen.running(path) for path in engine.scheme.paths}


def endings(scheme: Scheme, engine: Engine, world: World) -> dict[str, Ending]:
    """What each path comes to in this world, held for a long time and then watched for another."""
    time = long_time(scheme)
    for _ in run(engine, world, 2 * time):
        pass
    seen = list(run(engine, world, 3 * time))
    found: dict[str, Ending] = {}
    for path in scheme.paths:
        ways = {one[path] for one in seen}
        # an output that turns from scan to scan leaves a slow device in doubt for ever
        found[path] = Ending.RUNS if ways == {True} else Ending.STOPPED if ways == {False} else Ending.TURNS
    return found


def readings(values: Mapping[str, int], groups: Sequence[Alike]) -> dict[str, int]:
    return {sensor: values[group.name] for group in groups for sensor in group.sensors}


def whole_world(scheme: Scheme, known: Mapping[str, int], lines: Mapping[str, bool]) -> World:
    """Sensors that no rule depends on read something too."""
    rest = {name: sensor.valid.low for name, sensor in scheme.sensors.items() if name not in known}
    return World({**known, **rest}, lines)


def wander(scheme: Scheme, groups: Sequence[Alike], rng: random.Random) -> Engine:
    """An engine with some past: sensors apart from each other, lost readings, lines, held for times near the delays."""
    engine = Engine(scheme, attended=True)
    delays = sorted(
        {d.scans + k for r in scheme.rules.values() for d in (r.trips.delay, r.clears.delay) for k in (0, 1)}
    )
    cut = {group.name: pieces(scheme, group) for group in groups}
    for _ in range(rng.randint(1, 8)):
        known = {s: a_value(rng.choice(cut[g.name]), rng) for g in groups for s in g.sensors}
        if rng.random() < 0.5:
            known = readings({g.name: a_value(rng.choice(cut[g.name]), rng) for g in groups}, groups)
        if rng.random() < 0.2:
            lost = rng.choice(list(scheme.sensors))
            known[lost] = scheme.sensors[lost].valid.high + 1
        lines = {name: rng.random() < 0.5 for name in outside(scheme)}
        scans = rng.choice((*delays, long_time(scheme))) + 1
        for _ in run(engine, whole_world(scheme, known, lines), scans):
            pass
    return engine


def views(scheme: Scheme, groups: Sequence[Alike]) -> list[View]:
    return [View(scheme, cone_of(scheme, s.path), s, groups) for s in subjects(scheme)]


def seen_is_allowed(scheme: Scheme, rng: random.Random, points: int, counts: Counter[str]) -> None:
    """Points of everything that stands still, each come to from some past: what is seen is among the endings."""
    groups = alike(scheme)
    cut = {group.name: pieces(scheme, group) for group in groups}
    own = views(scheme, groups)
    for _ in range(points):
        places = {g.name: rng.choice(cut[g.name]) for g in groups}
        lines = {name: rng.random() < 0.5 for name in outside(scheme)}
        engine = wander(scheme, groups, rng)
        world = whole_world(scheme, readings({n: a_value(p, rng) for n, p in places.items()}, groups), lines)
        found = endings(scheme, engine, world)
        whole = {**dict.fromkeys(held_for_ever(scheme), False), **lines}
        for view in own:
            said = view.cone.endings(view.bits(places), {n: whole[n] for n in view.cone.lines})
            assert found[view.subject.path] in said, (view.subject, found[view.subject.path], said, world)
            counts[f"{found[view.subject.path]} seen"] += 1
            counts["settings with one ending"] += len(said) == 1


def a_piece(axis: Sequence[Piece], value: int) -> Piece:
    """The piece of an axis that a value is in."""
    return next(p for p in axis if (p.low == value if p.point else p.low < value < p.high))


def the_cell(panel: Panel, x: int, y: int) -> Cell:
    """The cell of a panel that a point is in."""
    return panel.cells[panel.xs.index(a_piece(panel.xs, x))][panel.ys.index(a_piece(panel.ys, y))]


def points_of_the_map(scheme: Scheme, found: PermitMap, rng: random.Random, points: int, counts: Counter[str]) -> None:
    """Points of the plane, everything else anyhow: where a path is said to be stopped it never ends up running; where
    it is said to run it does under the setting that the map took, wherever it came from."""
    groups = alike(scheme)
    cut = {group.name: pieces(scheme, group) for group in groups}
    for _ in range(points):
        values = {g.name: a_value(rng.choice(cut[g.name]), rng) for g in groups}
        lines = {name: rng.random() < 0.5 for name in outside(scheme)}
        for panel in found.panels:
            x, y = values[found.x.name], values[found.y.name]
            subject = rng.choice(panel.subjects)
            view = View(scheme, cone_of(scheme, subject.path), subject, groups)
            cell = view.cell(found.x, a_piece(view.cuts(found.x), x), found.y, a_piece(view.cuts(found.y), y))
            assert cell == the_cell(panel, x, y), "what is joined is alike"
            here, state = dict(values), {**lines, **{c.name: bool(c.test) for c in subject.mode}}
            if cell.standing is Standing.RUNS:
                assert cell.best is not None
                others = {n: p for n, p in cell.best.places.items() if n not in (found.x.name, found.y.name)}
                here |= {n: a_value(p, rng) for n, p in others.items()}
                state |= cell.best.lines
            elif cell.standing is not Standing.STOPPED:
                continue
            engine = wander(scheme, groups, rng)
            ending = endings(scheme, engine, whole_world(scheme, readings(here, groups), state))[subject.path]
            assert str(ending) == str(cell.standing), (subject, values, cell, state)
            counts[f"{ending} on the map"] += 1


def shown_both_ways(scheme: Scheme, subject: Subject, cell: Cell) -> set[Ending]:
    """The endings of a cell, by its own setting and the histories that are known: run on the readable engine."""
    assert cell.best is not None
    groups = alike(scheme)
    view = View(scheme, cone_of(scheme, subject.path), subject, groups)
    found: set[Ending] = set()
    ways: list[list[tuple[Hold, ...]]] = []
    names: list[str] = []
    for group in groups:
        rules = view.rules_on(group)
        if rules and group.name in cell.best.places:
            ways.append(list(vectors(scheme, group, rules, cell.best.places[group.name]).values()))
            names.append(group.name)
    for chosen in product(*ways):
        found.add(_by_history(scheme, groups, cell.best, dict(zip(names, chosen, strict=True)))[subject.path])
        if len(found) == 2:
            break
    return found


def _by_history(
    scheme: Scheme, groups: Sequence[Alike], setting: Setting, holds: Mapping[str, tuple[Hold, ...]]
) -> dict[str, Ending]:
    engine = Engine(scheme, attended=True)
    middle = {g.name: Piece(g.span.low, g.span.high, (g.span.low + g.span.high) // 2) for g in groups}
    rest = {name: int(piece.at) for name, piece in {**middle, **setting.places}.items()}
    steady = whole_world(scheme, readings(rest, groups), setting.lines)
    for name, own in holds.items():
        for hold in own:
            for world, scans in (
                (steady, long_time(scheme)),
                (whole_world(scheme, readings({**rest, name: int(hold.piece.at)}, groups), setting.lines), hold.scans),
            ):
                for _ in run(engine, world, scans):
                    pass
    return endings(scheme, engine, steady)


@pytest.mark.parametrize("name", DEMOS)
def test_what_is_seen_on_a_demo_scheme_is_on_its_maps(name: str, counted: Counted) -> None:
    scheme, rng, counts = demo(name), random.Random(7), Counter[str]()
    seen_is_allowed(scheme, rng, 15, counts)
    for x, y in planes(scheme):
        points_of_the_map(scheme, permit_map(scheme, x, y), rng, 6, counts)
    assert {"runs seen", "stopped seen", "runs on the map", "stopped on the map"} <= set(counts)
    counted("permit maps of the demo schemes", counts)


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_scheme_has_no_cell_that_is_not_shown_and_some_are_replayed(name: str, counted: Counted) -> None:
    scheme, rng, counts = demo(name), random.Random(3), Counter[str]()
    for x, y in planes(scheme):
        found = permit_map(scheme, x, y)
        assert list(unsure(found)) == []
        for panel in found.panels:
            open_cells = [
                cell for column in panel.cells for cell in column if cell.standing in (Standing.DEPENDS, Standing.TURNS)
            ]
            for cell in rng.sample(open_cells, min(2, len(open_cells))):
                endings_seen = shown_both_ways(scheme, panel.subjects[0], cell)
                if cell.standing is Standing.TURNS:
                    assert endings_seen == {Ending.TURNS}
                else:
                    assert Ending.STOPPED in endings_seen
                    assert endings_seen - {Ending.STOPPED}
                counts[f"{cell.standing} replayed"] += 1
    counted("permit maps of the demo schemes", counts)


def random_schemes(seed: int, count: int, groups: int = 1) -> Iterator[Scheme]:
    """Schemes that look at so many groups of sensors at least."""
    rng = random.Random(seed)
    while count:
        scheme = loads(random_scheme_text(rng))
        if len(alike(scheme)) >= groups:
            count -= 1
            yield scheme


@pytest.mark.parametrize("seed", range(4))
def test_what_is_seen_on_random_schemes_is_allowed(seed: int, counted: Counted) -> None:
    counts: Counter[str] = Counter()
    for scheme in random_schemes(seed, 25):
        rng = random.Random(seed)
        try:
            seen_is_allowed(scheme, rng, 6, counts)
            for x, y in planes(scheme):
                found = permit_map(scheme, x, y)
                points_of_the_map(scheme, found, rng, 4, counts)
                for panel in found.panels:
                    for column in panel.cells:
                        for cell in column:
                            counts[f"cells {cell.standing}, {'sure' if cell.sure else 'not shown'}"] += 1
        except TooManyError:
            counts["too many states"] += 1
    counted("permit maps of random schemes", counts)


@pytest.mark.parametrize("seed", range(2))
def test_what_random_schemes_say_depends_is_shown_both_ways(seed: int, counted: Counted) -> None:
    counts: Counter[str] = Counter()
    for scheme in random_schemes(seed + 50, 20, groups=2):
        rng = random.Random(seed)
        for x, y in planes(scheme)[:1]:
            found = permit_map(scheme, x, y)
            for panel in found.panels:
                cells = [c for column in panel.cells for c in column if c.standing is Standing.DEPENDS and c.sure]
                for cell in rng.sample(cells, min(2, len(cells))):
                    seen = shown_both_ways(scheme, panel.subjects[0], cell)
                    assert len(seen) == 2, (panel.subjects[0], cell, seen)
                    counts["depends replayed"] += 1
    assert counts["depends replayed"]
    counted("permit maps of random schemes", counts)


# --- by hand

SMALL_SCHEME = """
scheme: A shed
scan: 1 s
quantities: {{air: {{span: -20 to 40 degC}}, level: {{span: 0 to 100 %}}}}
sensors:
  probe: {{measures: {{air: 0 to 0 K}}, valid: -20 to 40 degC}}
  gauge: {{measures: {{level: 0 to 0 %}}, valid: 0 to 100 %}}
lines: {{key: external}}
rules:
{rules}
  low: {{watches: gauge, trips: below 20 %, clears: above 30 %, blocks: fan}}
paths: {{fan: {{flow: discharge}}}}
outputs: {{K1: {{drives: [fan], contact: normally_open, runs_when: closed}}}}
"""


def shed(*rules: str) -> Scheme:
    return loads(SMALL_SCHEME.format(rules="\n".join(f"  {rule}" for rule in rules)))


def over_air(scheme: Scheme) -> list[tuple[str, Standing]]:
    """Along the first axis, with a full store: each piece in degrees and what the fan may do."""
    x, y = planes(scheme)[0]
    assert (x.name, y.name) == ("air", "level")
    (panel,) = permit_map(scheme, x, y).panels
    return [
        (f"{p.low // 10**6}" + ("" if p.point else f"..{p.high // 10**6}"), panel.cells[i][-1].standing)
        for i, p in enumerate(panel.xs)
    ]


def test_hysteresis_is_shown_between_trip_and_clear_with_its_ends() -> None:
    """By hand: below 3 stopped; at 3 up to and with 7 as it was; above 7 it may run."""
    scheme = shed("cold: {watches: probe, trips: below 3 degC for 2 s, clears: above 7 degC for 5 s, blocks: fan}")
    assert over_air(scheme) == [
        ("-20", Standing.STOPPED),
        ("-20..3", Standing.STOPPED),
        ("3", Standing.DEPENDS),
        ("3..7", Standing.DEPENDS),
        ("7", Standing.DEPENDS),
        ("7..40", Standing.RUNS),
        ("40", Standing.RUNS),
    ]


def test_a_single_point_between_two_like_areas_is_kept() -> None:
    """By hand: started above 5 (until below 4) and below 5 (until above 6), so that it runs on both sides of 5; at 5
    itself neither trips, and both are as they were."""
    scheme = shed(
        "warm: {watches: probe, trips: above 5 degC, clears: below 4 degC, starts: [fan]}",
        "cool: {watches: probe, trips: below 5 degC, clears: above 6 degC, starts: [fan]}",
    )
    found = dict(over_air(scheme))
    assert found["5"] is Standing.DEPENDS
    assert {standing for at, standing in found.items() if at != "5"} == {Standing.RUNS}


def test_a_line_from_outside_is_taken_as_it_favours_the_path() -> None:
    """By hand: the key must be on; then cold counts as ever."""
    scheme = shed(
        "locked: {watches: key, trips: off, clears: on, blocks: fan}",
        "cold: {watches: probe, trips: below 3 degC, clears: above 7 degC, blocks: fan}",
    )
    assert dict(over_air(scheme))["7..40"] is Standing.RUNS
    assert dict(over_air(scheme))["-20..3"] is Standing.STOPPED


def test_only_what_holds_long_enough_is_counted_as_a_history() -> None:
    """By hand: both trip below 3, `late` after 10 s and `early` after 2 s; above 7 `late` clears after 1 s and `early`
    after 60 s. Whoever has `late` active has had `early` trip before and not clear since: (clear, active) never is."""
    scheme = shed(
        "early: {watches: probe, trips: below 3 degC for 2 s, clears: above 7 degC for 60 s, blocks: fan}",
        "late: {watches: probe, trips: below 3 degC for 10 s, clears: above 7 degC for 1 s, blocks: fan}",
    )
    group = alike(scheme)[0]
    (between,) = [p for p in pieces(scheme, group) if (p.low, p.high) == (3_000_000, 7_000_000)]
    found = vectors(scheme, group, [scheme.rules["early"], scheme.rules["late"]], between)
    assert set(found) == {(True, True), (True, False), (False, False)}


def test_a_rule_that_nobody_can_reset_never_lets_go() -> None:
    """By hand: it starts tripped and no line resets it, so the fan never runs, wherever the air is."""
    scheme = shed("hot: {watches: probe, trips: above 30 degC, clears: below 20 degC, reset: manual, blocks: fan}")
    found = dict(over_air(scheme))
    assert Standing.RUNS not in found.values()


def test_a_line_that_a_mode_needs_and_that_overrides_is_taken_both_ways() -> None:
    """By hand: the fan's only mode needs the key, and the key overrides the cold stop, but only once it was seen off
    since power-up. Below 3 it may thus run or not; with the key left out of the override it is stopped."""
    text = SMALL_SCHEME.replace("flow: discharge", "flow: {{discharge: {{key: on}}}}")
    rule = "  cold: {watches: probe, trips: below 3 degC, clears: above 7 degC, blocks: fan"
    overridden = loads(text.format(rules=f"{rule}, overridden_by: key}}"))
    assert dict(over_air(overridden))["-20..3"] is Standing.DEPENDS
    assert dict(over_air(loads(text.format(rules=f"{rule}}}"))))["-20..3"] is Standing.STOPPED


def test_readings_that_decide_over_no_path_together_make_no_map() -> None:
    """By hand: the fan goes by the store alone and the lamp by the air alone; with a rule on the air that stops the fan
    too, the two readings have a map, on which the lamp stands beside the fan and a free path is untouched."""
    text = SMALL_SCHEME.replace(
        "paths: {{fan: {{flow: discharge}}}}",
        "paths: {{fan: {{flow: discharge}}, lamp: {{flow: discharge}}, free: {{flow: discharge, unswitched: meant}}}}",
    ).replace("outputs: {{", "outputs: {{K2: {{drives: [lamp], contact: normally_open, runs_when: closed}}, ")
    lamp = "  dark: {watches: probe, trips: below 3 degC, clears: above 7 degC, blocks: "
    assert planes(loads(text.format(rules=f"{lamp}lamp}}"))) == []
    scheme = loads(text.format(rules=f"{lamp}[lamp, fan]}}"))
    ((x, y),) = planes(scheme)
    found = permit_map(scheme, x, y)
    assert [s.path for s in found.untouched] == ["free"]
    assert {s.path for p in found.panels for s in p.subjects} == {"fan", "lamp"}
