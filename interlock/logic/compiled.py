"""A compiled scheme being run fast, one scenario at a time; `many.py` runs many, `scan.py` is their readable twin."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Any

from interlock.logic.emit import SCALAR, function_source
from interlock.logic.lower import compile_scheme
from interlock.logic.program import InputKind, Observe, Program
from interlock.logic.readings import Value
from interlock.logic.scan import World
from interlock.scheme.words import State

__all__ = ["OneScenario", "View", "compile_scheme", "inputs_of", "scan_function"]

Scan = Callable[[Sequence[int], Sequence[int]], tuple[tuple[int, ...], tuple[int, ...]]]
MOST_CACHED = 64


@lru_cache(maxsize=MOST_CACHED)
def scan_function(program: Program) -> Scan:
    """One scan of one scenario as a pure function: (slots, inputs) → (slots for the next scan, observations)."""
    names: dict[str, Any] = {}
    exec(compile(function_source(program, SCALAR), "<compiled scheme>", "exec"), names)  # our own numbers only
    scan: Scan = names["scan"]
    return scan


def inputs_of(program: Program, world: World) -> tuple[int, ...]:
    """What the world gives one scan, in the order of the program's inputs."""
    present = {single.name for fault in world.faults for single in fault.single()}
    values: list[int] = []
    for declared in program.inputs:
        match declared.kind:
            case InputKind.ELEMENT:
                values.append(world.readings[declared.name])
            case InputKind.LINE:
                values.append(bool(world.lines.get(declared.name)))
            case InputKind.FAULT:
                values.append(present.issuperset(declared.singles))
            case InputKind.CYCLE:
                values.append(declared.name in world.cycles)
            case InputKind.SETTING:
                values.append(declared.usual)
    return tuple(values)


class OneScenario:
    """A program being run once. `state` holds the slots and may be set."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.state: tuple[int, ...] = program.initial
        self._scan = scan_function(program)

    def scan(self, inputs: Sequence[int]) -> tuple[int, ...]:
        """Run one scan; the observations, in the program's order."""
        self.state, observations = self._scan(self.state, inputs)
        return observations


class View:
    """Names for the observations of a program: made once, asked of the observations of any scan of one scenario."""

    def __init__(self, program: Program) -> None:
        self._levels = program.levels
        self._at = {(o.kind, o.name): i for i, o in enumerate(program.observations)}

    def get(self, observations: Sequence[int], kind: Observe, name: str) -> int:
        """One observation. Raises KeyError where the program does not tell it."""
        return int(observations[self._at[kind, name]])

    def table(self, observations: Sequence[int], kind: Observe) -> dict[str, int]:
        """All observations of a kind by name, in the scheme's order."""
        return {name: int(observations[i]) for (of, name), i in self._at.items() if of is kind}

    def state(self, observations: Sequence[int], rule: str) -> tuple[State, int]:
        """A rule's state and timer."""
        return self._levels[rule].state(self.get(observations, Observe.LEVEL, rule))

    def reading(self, observations: Sequence[int], name: str) -> Value:
        """A sensor's or derived reading; None where invalid."""
        if not self.get(observations, Observe.VALID, name):
            return None
        value = Fraction(
            self.get(observations, Observe.NUMERATOR, name), self.get(observations, Observe.DENOMINATOR, name)
        )
        return int(value) if value.denominator == 1 else value
