"""One scan of each second opinion does what one scan of the readable engine does: states, timers, and what may run.

Longest runs alone would not tell: many a scan done wrong makes no worst run longer or shorter.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import pytest
import z3

from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.readings import Value, compare
from interlock.logic.scan import Engine, Seen, World
from interlock.scheme.model import Claim, Fault, Rule, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import loads
from interlock.scheme.words import LineForm, Mode, Must, Part, Signal, State
from tests.support.random_schemes import SMALL, random_scheme_text, random_worlds, split_faults
from tests.support.spin_cells import CLEARS, INVALID, NEITHER, TRIPS, Truth, Watch
from tests.support.spin_model import judge as spin_judge
from tests.support.spin_model import shown
from tests.support.spin_write import Process
from tests.support.z3_model import judge as z3_judge
from tests.support.z3_parts import Dial, Flag, Formula, Memory, Plan, memory_at
from tests.support.z3_scan import Scan

CHUNKS, SCHEMES, SCANS = 8, 12, 40


@dataclass(frozen=True)
class Story:
    """A run of the readable engine under some faults, and a claim to look at it with."""

    seed: int
    scheme: Scheme
    claim: Claim
    faults: tuple[Fault, ...]
    worlds: tuple[World, ...]
    seen: tuple[Seen, ...]

    def __str__(self) -> str:
        return f"seed {self.seed}, {self.claim.name} under {', '.join(f.name for f in self.faults) or 'no fault'}"

    def may(self, i: int) -> bool:
        """Whether the claim's path may do at scan i what it must not."""
        seen = self.seen[i]
        return (seen.may_run if self.claim.must is Must.NEVER_RUNNING else seen.may_stop)[self.claim.path]

    def met(self, i: int) -> bool | None:
        """Whether the claim's conditions hold at scan i; None where they look at a truth that no world names."""
        conditions = list(self.claim.all_conditions())
        if any(c.signal is Signal.QUANTITY for c in conditions):
            return None
        seen = self.seen[i]
        held = {
            id(c): (seen.may_run if c.test else seen.may_stop)[c.name]
            if c.signal is Signal.PATH
            else seen.lines[c.name] is c.test
            for c in conditions
        }
        modes = [all(held[id(c)] for c in one) for one in self.claim.any_of]
        return all(held[id(c)] for c in self.claim.conditions) and (any(modes) or not modes)


@cache
def stories(chunk: int) -> list[Story]:
    """Runs of random schemes, each with the claim that most rules can reach of those the engine can be run for."""
    found: list[Story] = []
    seed = 80_000 + 1_000 * chunk
    while len(found) < SCHEMES:
        seed += 1
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, SMALL))
        claims = [c for c in scheme.claims if c.attended or c.must is Must.NEVER_RUNNING]  # the engine resets, or may
        if not claims:
            continue
        # every other one with power cycles: most rules must be caught by one while their delays run
        faults = fault_set(rng, scheme, f"{Part.UNIT} {Mode.POWER_CYCLED}" if len(found) % 2 else "")
        claim = max(claims, key=lambda c: reach(scheme, c, faults))
        worlds = tuple(random_worlds(rng, scheme, faults, SCANS))
        installed, _ = split_faults(faults)
        engine = Engine(scheme, installed, attended=claim.must is Must.NEVER_STOPPED)
        seen = tuple(engine.scan(world) for world in worlds)
        found.append(Story(seed, scheme, claim, faults, worlds, seen))
    return found


def fault_set(rng: random.Random, scheme: Scheme, first: str) -> tuple[Fault, ...]:
    """Up to three faults that have a meaning together, of kinds drawn evenly: there are more swaps than units. `first`:
    a kind to begin with."""
    kinds: dict[str, list[Fault]] = {}
    for fault in scheme.faults.values():
        kinds.setdefault(f"{fault.part} {fault.mode}", []).append(fault)
    chosen: list[Fault] = []
    for kind in [first] * bool(first) + rng.sample(sorted(kinds), rng.randint(0, 2 if first else 3)):
        trial = [*chosen, rng.choice(kinds[kind])]
        try:
            scan_order(scheme, FaultSet.of(single for fault in trial for single in fault.single()))
        except (LoopError, ValueError):
            continue
        chosen = trial
    return tuple(chosen)


def reach(scheme: Scheme, claim: Claim, faults: Sequence[Fault]) -> int:
    """How many rules can reach a claim."""
    process = Process(scheme, claim, faults, 0)
    assert process.scan
    return sum(letter == "m" for letter, _ in process.numbers)


def arisen(entries: Sequence[Sequence[Fault]], world: World) -> list[int]:
    """The entries of a fault set that are there at a scan."""
    return [n for n, entry in enumerate(entries) if world.faults.issuperset(entry)]


# --- z3


def position(rule: Rule, state: State, timer: int) -> int:
    """Where a rule's dial stands."""
    pick, drop = rule.trips.delay.scans, rule.clears.delay.scans
    match state:
        case State.CLEAR:
            return 0
        case State.PICKING_UP:
            return 1 + timer
        case State.TRIPPED:
            return pick + 1
        case State.DROPPING_OFF:
            return pick + 2 + timer
        case State.AWAITING_RESET:
            return pick + drop + 2


def inputs(story: Story, plan: Plan, i: int) -> list[tuple[Formula, Formula]]:
    """What the world decides at scan i, for scan 0 of the formulas."""
    world = story.worlds[i]
    now = [(z3.Real(f"reads {name}!0"), z3.RealVal(value)) for name, value in world.readings.items()]
    now += [(z3.Bool(f"line {name}!0"), z3.BoolVal(on)) for name, on in world.lines.items()]
    now += [(z3.Bool(f"cycles {unit}!0"), z3.BoolVal(unit in world.cycles)) for unit in story.scheme.units]
    there = arisen(plan.arising, world)
    return now + [(z3.Bool(f"arises{n}!0"), z3.BoolVal(n in there)) for n in range(len(plan.arising))]


class Together:
    """What a scan leaves behind and what the claim looks at, worked out at once: z3 goes through what they share, and
    through what is given, a single time."""

    def __init__(self, scan: Scan, memories: Mapping[str, Memory]) -> None:
        self.memories = memories
        formulas = [f for n, m in memories.items() for f in (scan.after[n] if isinstance(m, Dial) else [scan.after[n]])]
        plain = [one if isinstance(one, z3.ExprRef) else z3.BoolVal(one) for one in (*formulas, scan.may, scan.met)]
        together = z3.Function("together", *(one.sort() for one in plain), z3.BoolSort())
        self.formula = together(*plain)

    def given(self, given: list[tuple[Formula, Formula]]) -> tuple[dict[str, Formula], bool, bool]:
        """Each memory after the scan (the position of a dial, true or false, or a number), whether the path may do what
        it must not, and whether the conditions hold: false where they are left open, too."""
        *flat, may, met = z3.simplify(z3.substitute(self.formula, *given)).children()
        values: dict[str, Formula] = {}
        rest = iter(flat)
        for name, memory in self.memories.items():
            if isinstance(memory, Dial):
                at = [v for v in range(memory.size) if z3.is_true(next(rest))]
                assert len(at) == 1, f"{name} at {at}"
                values[name] = at[0]
            else:
                value = next(rest)
                values[name] = z3.is_true(value) if isinstance(memory, Flag) else value
        return values, z3.is_true(may), z3.is_true(met)


def given_memory(name: str, memory: Memory, value: Formula) -> list[tuple[Formula, Formula]]:
    """A memory before scan 0 as it is."""
    now = memory_at(name, memory, 0)
    if isinstance(memory, Dial):
        return [(at, z3.BoolVal(v == value)) for v, at in enumerate(now)]
    return [(now, z3.BoolVal(value) if isinstance(memory, Flag) else value)]


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_scan_of_the_formulas_is_a_scan_of_the_engine(chunk: int) -> None:
    compared = 0
    for story in stories(chunk):
        plan = Plan.of(story.faults)
        memories: dict[str, Memory] = {}
        scan = Scan(story.scheme, story.claim, plan, 0, memories)
        together = Together(scan, memories)
        values: dict[str, Formula] = {
            n: m.start if isinstance(m, Dial | Flag) else z3.RealVal(0) for n, m in memories.items()
        }
        for i, seen in enumerate(story.seen):
            given = inputs(story, plan, i)
            for name, memory in memories.items():
                given += given_memory(name, memory, values[name])
            values, may, met = together.given(given)
            for name, rule in story.scheme.rules.items():
                if f"rule {name}" in values and name in seen.states:
                    assert values[f"rule {name}"] == position(rule, *seen.states[name]), f"{story}: {name} at scan {i}"
                    compared += 1
            assert may == story.may(i), f"{story}: {story.claim.path} at scan {i}"
            if (held := story.met(i)) is not None:
                assert met == held, f"{story}: the conditions at scan {i}"
    print(f"\nz3, chunk {chunk}: {compared} states compared")
    assert compared > SCHEMES * SCANS


# --- spin


def looked(watch: Watch, value: Value) -> int:
    """What a look at a reading gives."""
    if value is None:
        return INVALID
    return TRIPS if compare(value, watch.trips) else CLEARS if compare(value, watch.clears) else NEITHER


def script(process: Process, story: Story, i: int) -> list[str]:
    """What the world decides at scan i, as statements."""
    world, seen = story.worlds[i], story.seen[i]
    known: Mapping[str, object] = {**process.kept, **process.passing}
    sets = [(f"f{n}", 1) for n in arisen(process.present.entries, world)]
    sets += [(process.name("x", name), int(on)) for name, on in world.lines.items()]
    sets += [(process.name("y", unit), 1) for unit in world.cycles if _alive(unit, world)]
    for look in process.looks:
        if not isinstance(look, Truth):
            sets.append((process.variable(look), looked(look, seen.readings[look.name])))
    return [f"{name} = {value}" for name, value in sets if name in known]


def _alive(unit: str, world: World) -> bool:
    return not any(f.name in (f"{unit}.dead", f"{unit}.frozen") for fault in world.faults for f in fault.single())


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_a_scan_of_the_promela_text_is_a_scan_of_the_engine(chunk: int) -> None:
    told = stories(chunk)
    texts, names = [], []
    for number, story in enumerate(told):
        process = Process(story.scheme, story.claim, story.faults, number)
        assert process.scan
        rules = [rule for rule in story.scheme.rules if ("m", rule) in process.numbers]
        variables = [process.name(letter, rule) for rule in rules for letter in "mt"]
        texts.append(process.scripted([script(process, story, i) for i in range(SCANS)], ["met", "may", *variables]))
        names.append(rules)
    compared = 0
    for story, rules, lines in zip(told, names, shown(texts), strict=True):
        assert len(lines) == SCANS
        for i, (met, may, *values) in enumerate(lines):
            for rule, m, t in zip(rules, values[::2], values[1::2], strict=True):
                state, timer = story.seen[i].states[rule]
                running = state in (State.PICKING_UP, State.DROPPING_OFF)
                assert (list(State)[m], t if running else 0) == (state, timer), f"{story}: {rule} at scan {i}"
                compared += 1
            assert bool(may) == story.may(i), f"{story}: {story.claim.path} at scan {i}"
            if (held := story.met(i)) is not None:
                assert bool(met) == held, f"{story}: the conditions at scan {i}"
    print(f"\nspin, chunk {chunk}: {compared} states compared")
    assert compared > SCHEMES * SCANS


def test_the_stories_use_every_form_of_line() -> None:
    forms = {line.form for chunk in range(CHUNKS) for story in stories(chunk) for line in story.scheme.lines.values()}
    assert forms == set(LineForm)


# --- by hand


def test_a_unit_that_freezes_before_it_ever_sent_leaves_its_line_undriven() -> None:
    """The monitor's rule is tripped from power-up on and never clears, so the line is always off, unless the monitor is
    frozen at scan 0 already: then nothing was ever sent, and the receiver reads on."""
    scheme = loads(
        """
scheme: A monitor and a board
revision: 1
scan: 100 ms
quantities: {cell: {span: -30 to 80 degC}}
sensors: {probe: {measures: {cell: 0 to 0 K}, valid: -35 to 90 degC}}
units: [board, monitor]
lines: {charge_ok: {low_when: [warm], undriven_reads: on}}
rules:
  warm: {unit: monitor, watches: probe, trips: above 70 degC, clears: below -30 degC}
  stop: {watches: charge_ok, trips: off, clears: on, blocks: charger}
paths: {charger: {flow: charge}}
outputs: {K1: {drives: [charger], contact: normally_open, runs_when: closed}}
requirements: {idle: {never_running: charger, longer_than: 1 s}}
"""
    )
    frozen, dead = (scheme.faults["monitor.frozen"],), (scheme.faults["monitor.dead"],)
    for judge in (spin_judge, z3_judge):
        assert not judge(scheme, scheme.claims[0]).path_could
        assert judge(scheme, scheme.claims[0], frozen).n is None
        assert judge(scheme, scheme.claims[0], dead).n is None
