"""The readable engine and the compiled scan run side by side on one scheme, and everything they tell is compared."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from interlock.logic.compiled import OneScenario, compile_scheme, inputs_of
from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.many import ManyScenarios
from interlock.logic.program import Observe, Program
from interlock.logic.scan import Engine, Seen, World
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.words import Mode, Part
from tests.logic.exercised import count_exercised
from tests.support.random_worlds import critical_values, random_world

Told = Callable[[Seen, Engine], int | None]  # what the readable engine says to an observation; None: nothing


@dataclass(frozen=True)
class Setup:
    """One scheme as it is compared: its faults, and the options of the compiler."""

    scheme: Scheme
    faults: tuple[Fault, ...] = ()
    attended: bool = False
    cycles: bool = False
    switched: bool = False

    def program(self) -> Program:
        """The compiled form."""
        return compile_scheme(
            self.scheme, self.faults, attended=self.attended, cycles=self.cycles, switched=self.switched
        )

    def singles(self) -> list[Fault]:
        return [single for fault in self.faults for single in fault.single()]

    def folded(self, single: Fault) -> bool:
        """Whether a fault is there from power-up for good."""
        return single.mode is Mode.SWAPPED or (single.mode.installation and not self.switched)

    def engine(self) -> Engine:
        """The readable twin."""
        return Engine(self.scheme, [s for s in self.singles() if self.folded(s)], attended=self.attended)

    def cycled_units(self) -> list[str]:
        """The units that may be power-cycled."""
        given = {part for s in self.singles() if s.mode is Mode.POWER_CYCLED for part in s.parts}
        return [unit for unit in self.scheme.units if self.cycles or unit in given]

    def arising(self) -> list[tuple[Fault, ...]]:
        """What may come at any scan, for each fault of the set: all of it at once."""
        groups = (
            tuple(s for s in fault.single() if not self.folded(s) and s.mode is not Mode.POWER_CYCLED)
            for fault in self.faults
        )
        return [group for group in groups if group]


def faults_by_mode(rng: random.Random, scheme: Scheme, size: int) -> tuple[Fault, ...]:
    """Up to `size` faults that have a meaning together, each part's mode as likely as another."""
    by_mode: dict[tuple[Part, Mode, bool], list[Fault]] = {}
    for fault in scheme.faults.values():
        by_mode.setdefault((fault.part, fault.mode, bool(fault.together)), []).append(fault)
    chosen: list[Fault] = []
    for key in rng.sample(list(by_mode), len(by_mode)):
        if len(chosen) == size:
            break
        trial = [*chosen, rng.choice(by_mode[key])]
        try:
            scan_order(scheme, FaultSet.of(single for fault in trial for single in fault.single()))
        except (LoopError, ValueError):
            continue
        chosen = trial
    return tuple(chosen)


def worlds(rng: random.Random, setup: Setup, scans: int) -> Iterator[World]:
    """A run of worlds: faults come at random scans and stay, or come and go."""
    scheme, arising, cycles = setup.scheme, setup.arising(), setup.cycled_units()
    critical = critical_values(scheme)
    here = [rng.random() < 0.1 for _ in arising]
    restless = [rng.random() < 0.5 for _ in arising]
    keep = rng.choice([0.5, 0.8, 0.9])
    world: World | None = None
    for _ in range(scans):
        for i, is_here in enumerate(here):
            if rng.random() < 0.06 and (restless[i] or not is_here):
                here[i] = not is_here
        present = frozenset(f for i, group in enumerate(arising) if here[i] for f in group)
        world = random_world(rng, scheme, present, world, cycles=cycles, keep=keep, critical=critical)
        yield world


def told(program: Program, scheme: Scheme) -> list[Told]:
    """For each observation of a program, how the readable engine tells the same."""
    longest = {rule.name: rule.override_at_most.scans if rule.override_at_most else 0 for rule in scheme.rules.values()}
    return [_told(program, o.kind, o.name, longest) for o in program.observations]


def _told(program: Program, kind: Observe, name: str, longest: dict[str, int]) -> Told:
    match kind:
        case Observe.VALID:
            return lambda seen, _: seen.readings[name] is not None
        case Observe.NUMERATOR | Observe.DENOMINATOR:
            return lambda _seen, _engine: None  # compared as one value
        case Observe.LEVEL:
            level = program.levels[name].level
            return lambda seen, _: level(*seen.states[name]) if name in seen.states else None
        case Observe.OVERRIDE:
            return lambda _, engine: 0 if (n := engine.override[name]) is None else min(n + 1, longest[name] + 2)
        case Observe.IN_FORCE:
            return lambda seen, _: name in seen.in_force
        case Observe.ALARM:
            return lambda seen, _: name in seen.alarms
        case Observe.LINE:
            return lambda seen, _: seen.lines[name]
        case Observe.ON:
            return lambda seen, _: seen.on[name]
        case Observe.ENERGISED:
            return lambda _, engine: engine.energised[name]
        case Observe.CLOSED:
            return lambda seen, _: seen.closed[name]
        case Observe.MAY_RUN:
            return lambda seen, _: seen.may_run[name]
        case Observe.MAY_STOP:
            return lambda seen, _: seen.may_stop[name]


class Comparison:
    """One setup, several runs of worlds: the readable engine's words kept, the compiled forms held against them."""

    def __init__(self, setup: Setup, runs: Sequence[Sequence[World]], where: str) -> None:
        self.setup, self.runs, self.where = setup, runs, where
        self.program = setup.program()
        self.told = told(self.program, setup.scheme)
        self.seen: list[list[Seen]] = []
        self.expected: list[list[list[int | None]]] = []
        at = {(o.kind, o.name): i for i, o in enumerate(self.program.observations)}
        self.values = [
            (name, i, at[Observe.NUMERATOR, name], at[Observe.DENOMINATOR, name])
            for (kind, name), i in at.items()
            if kind is Observe.VALID
        ]
        for run in runs:
            engine = setup.engine()
            seens, words = [], []
            for world in run:
                seen = engine.scan(world)
                seens.append(seen)
                words.append([tell(seen, engine) for tell in self.told])
            self.seen.append(seens)
            self.expected.append(words)

    def one_by_one(self) -> None:
        """The scalar form agrees, scan by scan."""
        for number, run in enumerate(self.runs):
            scenario = OneScenario(self.program)
            for scan, world in enumerate(run):
                self._judge("one scenario", number, scan, scenario.scan(inputs_of(self.program, world)))

    def interpreted(self) -> None:
        """The slow interpreter of the table agrees, and no node or slot leaves its declared range."""
        for number, run in enumerate(self.runs):
            state = self.program.initial
            for scan, world in enumerate(run):
                state, got = self.program.interpret(state, inputs_of(self.program, world))
                self._judge("interpreter", number, scan, got)
                for slot, value in zip(self.program.slots, state, strict=True):
                    assert slot.low <= value <= slot.high, (self.where, slot, value)

    def side_by_side(self) -> None:
        """The array form agrees, all runs at once."""
        many = ManyScenarios(self.program, len(self.runs))
        columns = [d.boolean for d in self.program.inputs]
        for scan, together in enumerate(zip(*self.runs, strict=True)):
            given = list(zip(*(inputs_of(self.program, world) for world in together), strict=True))
            arrays = [np.array(v, bool if b else np.int64) for v, b in zip(given, columns, strict=True)]
            got = many.scan(arrays)
            for number, values in enumerate(zip(*(array.tolist() for array in got), strict=True)):
                self._judge("many scenarios", number, scan, values)

    def _judge(self, form: str, number: int, scan: int, got: Sequence[int]) -> None:
        expected = self.expected[number][scan]
        if any(a != b for a, b in zip(expected, got, strict=True) if a is not None):
            wrong = [
                f"{o.kind} of {o.name}: {b}, not {a}"
                for o, a, b in zip(self.program.observations, expected, got, strict=True)
                if a is not None and a != b
            ]
            raise AssertionError(f"{self.where}: {form}, run {number}, scan {scan}: {'; '.join(wrong)}")
        readings = self.seen[number][scan].readings
        for name, valid, numerator, denominator in self.values:
            if got[valid] and Fraction(got[numerator], got[denominator]) != readings[name]:
                value = f"{got[numerator]}/{got[denominator]}, not {readings[name]}"
                raise AssertionError(f"{self.where}: {form}, run {number}, scan {scan}: {name} reads {value}")

    def count(self, counts: Counter[str]) -> None:
        """Count what was exercised."""
        setup = self.setup
        installed = [single for single in setup.singles() if setup.folded(single)]
        causes = [frozenset(group) for group in setup.arising() if len(group) > 1]
        for run, seens in zip(self.runs, self.seen, strict=True):
            count_exercised(counts, setup.scheme, installed, causes, setup.attended, run, seens)
