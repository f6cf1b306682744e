"""A scheme at rest on which acts are tried: on the compiled tables for answers, on the readable engine for words."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from interlock.bench.quick import Quick, RestlessError
from interlock.bench.setting import resets, way_to_rest
from interlock.bench.tables import installation
from interlock.exercises.records import Act, Look, Question
from interlock.logic.compiled import View, inputs_of
from interlock.logic.program import Observe, Program
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for
from interlock.logic.why import WORDS, path_reasons, rule_view
from interlock.plan.stimuli import Change, Stimuli
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.words import State

MOST_RESTLESS = 10  # acts that lead to no rest before no more questions are looked for
STEADY_US = 500_000  # what is asked must be so from this much before the look until as much after it
LONG_US = 6 * 3_600_000_000
# Times that people wait, in seconds.
WAITS = (1, 2, 3, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1200)


@dataclass
class Scene:
    """`words`: of reasons. `program`: the whole scheme with every fault of the catalogue as an input."""

    scheme: Scheme
    words: Mapping[str, str] = field(default_factory=lambda: WORDS)
    program: Program = field(init=False)

    def __post_init__(self) -> None:
        self.program, self.faults = installation(self.scheme)
        run, self.world, _ = way_to_rest(self.scheme, self.program)
        self.slots = run.state
        self.rests = run.rests  # else there is nothing to ask: each question begins at rest
        self.restless = 0  # acts after which something changed all the time
        # what was found of settings that begin at rest, and how often something changed all the time meanwhile
        self.settings: dict[tuple[str, tuple[str, ...]], tuple[Question | None, int]] = {}
        self._view = View(self.program)
        self.stimuli = Stimuli(self.scheme)
        self.steady = -(-STEADY_US // self.scheme.scan_us)

    @property
    def tired(self) -> bool:
        """Whether so little comes to rest that no more questions are to be looked for."""
        return not self.rests or self.restless > MOST_RESTLESS

    @cached_property
    def changes(self) -> tuple[Change, ...]:
        """What can be done: no lead is taken off."""
        values = self.stimuli.values
        return tuple(c for c in self.stimuli.changes if all(values[i][at].how is None for i, at in c.sensors))

    def waits(self) -> list[int]:
        """Times that people wait, in scans: whole ones."""
        return [s * 10**6 // self.scheme.scan_us for s in WAITS if s * 10**6 % self.scheme.scan_us == 0]

    def act(self, change: Change, scans: int) -> Act:
        """A change of the stimuli as an act."""
        names, external = list(self.scheme.sensors), self.stimuli.external
        return Act(
            scans,
            tuple((names[i], self.stimuli.values[i][at].value) for i, at in change.sensors),
            tuple((external[i], on) for i, on in change.lines),
            "" if change.press is None else external[change.press],
        )

    def random_acts(self, rng: random.Random, most: int) -> tuple[Act, ...]:
        """A few changes with waits, each of which changes something."""
        waits, world = self.waits(), self.world
        found: list[Act] = []
        for _ in range(rng.randint(1, most)):
            act = self.act(rng.choice(self.changes), rng.choice(waits))
            made, first = self.after(world, act)
            if made != world or first != made:
                found.append(act)
                world = made
        return tuple(found)

    # --- on the tables

    def play(self, acts: Sequence[Act], faults: frozenset[str] = frozenset()) -> tuple[Look, ...]:
        """What is seen at the end of each act; nothing certain where something changes all the time."""
        try:
            return tuple(self._play(acts, faults))
        except RestlessError:
            self.restless += 1
            return (Look(dict.fromkeys(self.scheme.paths), ()),) * len(acts)

    def _play(self, acts: Sequence[Act], faults: frozenset[str]) -> Iterator[Look]:
        run = Quick(self.program)
        run.state = self.slots
        world = self.with_faults(faults)
        for act in acts:
            world, first = self.after(world, act)
            left = act.scans
            if first != world:
                run.wait(inputs_of(self.program, first), 1)
                left -= 1
            given = inputs_of(self.program, world)
            looks = []
            if left > self.steady:
                looks.append(self._look(run.wait(given, left - self.steady)))
                left = self.steady
            looks.append(self._look(run.wait(given, left)))
            kept = run.state
            looks.append(self._look(run.wait(given, self.steady)))
            run.state = kept
            yield _joint(looks)

    def settled(self, acts: Sequence[Act], path: str = "") -> tuple[Look, int]:
        """What is seen when nothing changes any more after the acts, the wait of the last one left out; and from which
        of its scans on `path` is as it is then. Nothing is certain where something changes all the time."""
        try:
            return self._settled(acts, path)
        except RestlessError:
            self.restless += 1
            return Look(dict.fromkeys(self.scheme.paths), ()), 1

    def _settled(self, acts: Sequence[Act], path: str) -> tuple[Look, int]:
        run = Quick(self.program)
        run.state = self.slots
        world = first = self.world
        for number, act in enumerate(acts, 1):
            world, first = self.after(world, act)
            if number < len(acts):
                run.wait(inputs_of(self.program, first), 1)
                if act.scans > 1:
                    run.wait(inputs_of(self.program, world), act.scans - 1)
        look, since = self._look(run.wait(inputs_of(self.program, first), 1)), 1
        for done, told in run.events(inputs_of(self.program, world), LONG_US // self.scheme.scan_us):
            before, look = look, self._look(told)
            if path and look.running[path] is not before.running[path]:
                since = done + 1
        if not run.rests:
            raise RestlessError("something changes all the time")
        return look, since

    def with_faults(self, names: frozenset[str]) -> World:
        """The world at rest with these faults."""
        return replace(self.world, faults=frozenset(f for f in self.faults if f.name in names))

    def after(self, world: World, act: Act) -> tuple[World, World]:
        """The world that an act makes, and that of its first scan, in which a button is pressed."""
        lines = {**world.lines, **dict(act.lines)}
        made = replace(world, readings={**world.readings, **dict(act.readings)}, lines=lines)
        return made, replace(made, lines={**lines, act.press: True}) if act.press else made

    def _look(self, told: Sequence[int]) -> Look:
        run = self._view.table(told, Observe.MAY_RUN)
        stop = self._view.table(told, Observe.MAY_STOP)
        running = {path: None if run[path] and stop[path] else bool(run[path]) for path in run}
        return Look(running, tuple(n for n, on in self._view.table(told, Observe.ALARM).items() if on))

    # --- on the readable engine

    @cached_property
    def _engine(self) -> Engine:
        """The engine at rest, by the same way."""
        engine = Engine(self.scheme)
        scans = LONG_US // self.scheme.scan_us
        pressed = {**self.world.lines, **dict.fromkeys(resets(self.scheme), True)}
        run_for(engine, self.world, scans)
        for _ in range(3):
            engine.scan(replace(self.world, lines=pressed))
            run_for(engine, self.world, scans)
        return engine

    @cached_property
    def states_at_rest(self) -> tuple[State, ...]:
        """The rules' states at rest, in the scheme's order."""
        return tuple(machine.state for machine in self._engine.machines.values())

    def told(self, acts: Sequence[Act], faults: frozenset[str] = frozenset()) -> tuple[Engine, Seen]:
        """The readable engine after the acts."""
        engine, world = self._engine.twin(), self.with_faults(faults)
        seen = None
        for act in acts:
            world, first = self.after(world, act)
            seen = engine.scan(first)
            seen = run_for(engine, world, act.scans - 1) or seen
        assert seen is not None, "at least one act is tried"
        return engine, seen

    def reasons(self, acts: Sequence[Act], paths: Sequence[str]) -> tuple[str, ...]:
        """Why these paths are stopped or run after the acts, what each rule sees that acts on them, and how it stands
        with each that is not as it is at rest."""
        engine, seen = self.told(acts)
        found: dict[str, None] = {}
        rules: dict[str, None] = {}
        for path in paths:
            acting = self._acting(engine, seen, path)
            rules.update(dict.fromkeys(acting))
            if acting or not seen.running(path):
                found.update((f"{path}: {reason}", None) for reason in path_reasons(engine, seen, path, self.words))
        states = dict(zip(self.scheme.rules, self.states_at_rest, strict=True))
        rules.update((name, None) for name, (state, _) in seen.states.items() if state is not states[name])
        for name in rules:
            why = self.scheme.rules[name].why
            said = rule_view(engine, seen, name, self.words).sentence(self.words)
            found[said + (f" ({why})" if why else "")] = None
        return tuple(found)

    def _acting(self, engine: Engine, seen: Seen, path: str) -> list[str]:
        """The rules in force on a path, or on one it stands behind."""
        found = []
        for name in seen.in_force:
            rule = self.scheme.rules[name]
            blocks = any(t.path == path and engine.modes_hold(rule.unit, t.when) for t in rule.blocks)
            if blocks or path in rule.starts:
                found.append(name)
        behind = self.scheme.paths[path].behind
        order = list(self.scheme.rules)
        return sorted(found, key=order.index) + (self._acting(engine, seen, behind) if behind else [])


def _joint(looks: Sequence[Look]) -> Look:
    """What is certain of all of them."""
    running = {
        path: is_running if all(look.running[path] is is_running for look in looks) else None
        for path, is_running in looks[0].running.items()
    }
    return Look(running, looks[-1].alarms if all(look.alarms == looks[0].alarms for look in looks) else ())


def difference(one: Look, other: Look, sound: Look) -> str:
    """A path that tells the one from the other for certain to someone who is told where the first differs from a sound
    installation; "" where none does."""
    return next(
        (
            path
            for path, runs in one.running.items()
            if None not in (runs, other.running[path], sound.running[path]) and runs is not other.running[path]
        ),
        "",
    )
