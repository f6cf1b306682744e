"""A behaviour being made up: drawn choices become steps, each run on the readable engine at once.

The choices are few and aimed. Wishes (which rules should be active, which lines on) follow the claim's demands and are
turned over one by one; the world that grants them is worked out; and how long it stays is measured by what the engine
has under way: until all is still, until the next thing happens, until just before the path would do what it should.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from interlock.fuzz.aim import Aim, Values
from interlock.fuzz.guide import Item
from interlock.fuzz.judge import Judge, Resets, engine_for
from interlock.fuzz.region import Style
from interlock.fuzz.script import Script, Step, stretches_of
from interlock.logic.machine import RuleMachine
from interlock.logic.scan import Engine
from interlock.records import replace
from interlock.scheme.model import Claim
from interlock.scheme.words import Signal, State

T = TypeVar("T")

MOST_RUN = 2_000  # scans really run in one behaviour: a scheme that never comes to rest is left after that


class Draw(Protocol):
    """Where the choices come from. The first option is the plainest."""

    def pick(self, options: Sequence[T]) -> T:
        """One of the options."""


class Over(Exception):  # noqa: N818 - no error: the behaviour ends here
    """The claim is violated, or the behaviour has become too long."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """A behaviour and what came of it: whether its claim was violated, how near it came (1: the whole time allowed),
    and every judge that watched."""

    script: Script
    violated: bool
    share: float
    judges: tuple[Judge, ...]


def twin(engine: Engine) -> Engine:
    """An engine in the same state, to look ahead with."""
    other = copy.copy(engine)
    for name, value in vars(engine).items():
        if isinstance(value, dict):
            setattr(other, name, {k: copy.copy(v) if isinstance(v, RuleMachine) else v for k, v in value.items()})
        elif isinstance(value, set):
            setattr(other, name, set(value))
    return other


class Behaviour:
    """The engine, the judges, the wishes in force and the world as it is; the aimed claim's judge stands first."""

    def __init__(self, aim: Aim, draw: Draw, others: Sequence[Claim] = ()) -> None:
        self.aim, self.draw = aim, draw
        self.engine = engine_for(aim.scheme, aim.plan.installed, aim.resets)
        self.judges = tuple(Judge(aim.scheme, claim) for claim in (aim.claim, *others))
        self.wanted: dict[Item, bool] = {}  # the later a wish was made the more it counts
        self.met = False
        self.style, self.turn = Style.PLAIN, 0
        self.arisen: tuple[str, ...] = ()
        self.values: Values = aim.start
        self.lines: Mapping[str, bool] = dict.fromkeys(aim.external, False)
        self.steps: list[Step] = []
        self.run = 0

    @property
    def judge(self) -> Judge:
        """The judge of the claim aimed at."""
        return self.judges[0]

    def attempt(self) -> Attempt:
        """What came of it."""
        judge = self.judge
        allowed = max(1, judge.claim.longer_than.us)
        share = (judge.exposure_us or 0) / allowed if judge.longest else 0.0
        return Attempt(Script(self.aim.plan, tuple(self.steps)), judge.violated, share, self.judges)

    # --- the world

    def step(self, scans: int = 1, cycles: tuple[str, ...] = ()) -> Step:
        """The world as it is, as a step."""
        scheme = self.aim.scheme
        truth = {name: self.values[name] for name in scheme.quantities}
        readings = {name: self.values[name] for name in scheme.sensors}
        return Step(truth, readings, self.lines, self.arisen, cycles, scans)

    def composed(self) -> tuple[Values, Mapping[str, bool]]:
        """The values and lines that grant the wishes now in force."""
        errors = self.aim.plan.errors(self.aim.scheme, self.arisen)
        order = list(reversed(self.wanted.items()))
        values = dict(self.values)
        for number, group in enumerate(self.aim.groups):
            wanted = tuple((item.name, active) for item, active in order if item.name in group.rules)
            style = self.style if group.concerns else Style.PLAIN
            met = self.met and group.limited
            values.update(self.aim.values(number, errors, wanted, met, style, self.turn, self.values))
        lines = {n: self.wanted.get(Item(Signal.LINE, n), on) for n, on in self.lines.items()}
        return values, lines

    def wish(self, item: Item, on: bool) -> None:
        """Wish for a rule to be active or not, a line to be on or off; it now counts before all earlier wishes."""
        self.wanted.pop(item, None)
        self.wanted[item] = on

    def changes(self, values: Values, lines: Mapping[str, bool]) -> list[tuple[Values, Mapping[str, bool]]]:
        """What would change, in parts that can come at different times: one for each group of values, for each line."""
        parts: list[tuple[Values, Mapping[str, bool]]] = []
        for group in self.aim.groups:
            part = {name: values[name] for name in (*group.quantities, *group.sensors)}
            if any(self.values[name] != value for name, value in part.items()):
                parts.append((part, {}))
        parts += [({}, {name: on}) for name, on in lines.items() if self.lines[name] is not on]
        return parts

    def realise(self) -> None:
        """Let the world be what the wishes in force ask for."""
        self.values, self.lines = self.composed()

    # --- time

    def hold(self, scans: int, *, cycles: tuple[str, ...] = (), settle: bool = False) -> int:
        """Let the world stay as it is; the scans it took."""
        done = 0
        asked = self.step(scans, cycles)
        try:
            for seen, lasted in stretches_of(self.engine, self.aim.plan, asked, settle=settle):
                missing = self.judge.missing
                for judge in self.judges:
                    judge.see(asked.truth, seen, lasted)
                violated = self.judge.violated
                done += min(lasted, missing) if violated else lasted
                self.run += 1
                if violated or self.run > MOST_RUN:
                    raise Over
        finally:
            if done:
                self._keep(replace(asked, scans=done))
        return done

    def _keep(self, step: Step) -> None:
        if self.steps and not step.cycles and self.steps[-1].alike(step):
            self.steps[-1] = replace(self.steps[-1], scans=self.steps[-1].scans + step.scans)
        else:
            self.steps.append(step)

    @property
    def horizon(self) -> int:
        """Longer than anything that can be under way."""
        return 3 * sum(self.aim.guide.delays) + self.judge.missing + 10

    def settle(self) -> None:
        """Until all is still; a person resets what waits for it."""
        self.hold(self.horizon, settle=True)
        for _ in range(2):
            waiting = self._waiting()
            if not waiting:
                return
            self.lines = {**self.lines, **dict.fromkeys(waiting, True)}
            self.hold(1)
            self.lines = {**self.lines, **dict.fromkeys(waiting, False)}
            self.hold(self.horizon, settle=True)

    def _waiting(self) -> list[str]:
        """The reset lines of rules that wait for one."""
        if self.aim.resets is not Resets.LINE:
            return []
        machines = self.engine.machines
        waiting = {
            self.aim.scheme.rules[n].reset_by for n in self.aim.guide.rules if machines[n].state is State.AWAITING_RESET
        }
        return [line for line in self.aim.guide.resets if line in waiting]

    def until_event(self) -> int:
        """How many scans pass before the first in which anything but a counter changes."""
        ahead = twin(self.engine)
        done = 0
        for _, lasted in stretches_of(ahead, self.aim.plan, self.step(self.horizon), settle=True):
            done += lasted
            self.run += 1
            if lasted > 1:
                break
        return done

    def until_lost(self) -> int:
        """How many scans the run that violates the claim goes on (or, where there is none yet, until one ends)."""
        ahead, judge = twin(self.engine), copy.copy(self.judge)
        world = self.step(self.horizon)
        done = last = 0
        for seen, lasted in stretches_of(ahead, self.aim.plan, world, settle=True):
            judge.see(world.truth, seen, lasted)
            self.run += 1
            done += lasted
            if judge.violated:
                return done
            if judge.run:
                last = done
            elif last:
                return last
        return last or done

    def lag(self, values: Values, lines: Mapping[str, bool]) -> int:
        """How many scans after such a change an output first answers; 0 where none does."""
        ahead = twin(self.engine)
        step = replace(
            self.step(self.horizon),
            truth={name: values[name] for name in self.aim.scheme.quantities},
            readings={name: values[name] for name in self.aim.scheme.sensors},
            lines=lines,
        )
        was = {name: ahead.on[name] for name in self.aim.guide.outputs}
        done = 0
        for seen, lasted in stretches_of(ahead, self.aim.plan, step, settle=True):
            self.run += 1
            if any(seen.on[name] is not on for name, on in was.items()):
                return done
            done += lasted
        return 0
