"""Where a test begins: healthy and with the fault, in every way in which the fault may have come.

A fault that keeps what it found (a stuck sensor, a welded contact after which rules went their way) may have come at
any time. What differs from a healthy installation at rest is seen before the first step; a test has to show all the
others. Those looked at: there since before power-up; come while the installation was at rest; a sensor stuck at any
value of the stimuli. A frozen unit needs no more than that: what it keeps are its outputs and the lines it sends, and
each of those can be seen, so that one which froze otherwise differs at rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from interlock.logic.faultset import FaultSet
from interlock.logic.program import Program, Slot
from interlock.plan.columns import Installation, State, Worlds, play
from interlock.plan.sights import Sight
from interlock.plan.stimuli import Change, Position, Stimuli
from interlock.scheme.model import Fault
from interlock.scheme.words import Mode, Word


class Start(Word):
    """Where a test begins. REST: powered up, every input at rest, each reset given, nothing changes any more.
    POWER_UP: without supply, every input at rest; the first step powers it up."""

    REST = "rest"
    POWER_UP = "power_up"


SlotName = tuple[object, ...]
REMEMBERS = frozenset({Mode.STUCK, Mode.FROZEN})  # a new power-up may free it, so no test begins there


@dataclass(frozen=True, slots=True)
class Coming:
    """How a fault came. `at_power_up`: it was there before; else it came at rest, at a scan in which these sensors (by
    their place) were given another of their values (by its place)."""

    at_power_up: bool
    onset: tuple[tuple[int, int], ...] = ()


def comings(stimuli: Stimuli, fault: Fault) -> tuple[Coming, ...]:
    """The ways in which a fault may have come."""
    if fault.installation:
        return (Coming(True),)
    place = {name: i for i, name in enumerate(stimuli.scheme.sensors)}
    stuck = [place[part] for single in fault.single() if single.mode is Mode.STUCK for part in single.parts]
    at_values = (Coming(False, ((i, at),)) for i in stuck for at in range(len(stimuli.values[i])))
    return tuple(dict.fromkeys((Coming(True), Coming(False), *at_values)))


def starts(fault: Fault) -> tuple[Start, ...]:
    """Where tests of a fault may begin, the better place first."""
    remembers = any(single.mode in REMEMBERS for single in fault.single())
    return (Start.REST,) if remembers else (Start.REST, Start.POWER_UP)


def worlds_of(stimuli: Stimuli, positions: Sequence[Position], presses: Sequence[int | None]) -> Worlds:
    """Positions as the inputs of as many scenarios, each reading without error."""
    count, sensors, lines = len(positions), len(stimuli.values), len(stimuli.external)
    given = [[a.value for a in stimuli.applied(p)] for p in positions]
    readings = np.array(given, np.int64).reshape(count, sensors)
    on = np.array([p.lines for p in positions], bool).reshape(count, lines)
    pressed = np.zeros((count, lines), bool)
    for row, press in enumerate(presses):
        if press is not None:
            pressed[row, press] = True
    return Worlds(readings, on, pressed)


def to_rest(stimuli: Stimuli) -> Iterator[Change]:
    """What brings an installation from power-up to rest: nothing, then each reset."""
    yield Change()
    for button in stimuli.resets:
        yield Change(press=button)


def _brought(stimuli: Stimuli, installation: Installation, *, there: bool) -> State | None:
    """One scenario brought from power-up to rest; `there`: with the fault."""
    state = installation.started(1)
    for change in to_rest(stimuli):
        played = play([installation], [state], worlds_of(stimuli, [stimuli.rest], [change.press]), 0, [there])
        if played.scans[0] < 0:
            return None
        state = played.states[0]
    return state


class Rest:
    """A whole scheme without any fault, at rest: what each of its slots holds then. Worked out when first asked for.
    `program`: the scheme compiled; `looked_at`: all that can be seen of it."""

    def __init__(self, stimuli: Stimuli, program: Program, looked_at: tuple[Sight, ...]) -> None:
        self._stimuli, self._program, self._looked_at = stimuli, program, looked_at

    @cached_property
    def _held(self) -> dict[SlotName, Any]:
        stimuli = self._stimuli
        whole = Installation(stimuli.scheme, FaultSet(), self._program, self._looked_at, stimuli.external)
        state = _brought(stimuli, whole, there=False)
        return {} if state is None else {_name(s): held for s, held in zip(whole.program.slots, state, strict=True)}

    def of(self, installation: Installation) -> State | None:
        """The same of an installation of that scheme, whatever fault it may have later; None where it has slots that
        the whole scheme has not, or never comes to rest."""
        names = [_name(slot) for slot in installation.program.slots]
        return [self._held[name] for name in names] if all(name in self._held for name in names) else None


def _name(slot: Slot) -> SlotName:
    return slot.kind, slot.name, slot.unit


def rested(stimuli: Stimuli, installation: Installation, coming: Coming | None, healthy: Rest) -> State | None:
    """One scenario at rest; None where it never comes to rest. `coming`: None without the fault. `healthy`: what is
    known of the whole scheme without it."""
    there = coming is not None and coming.at_power_up
    state = None if there else healthy.of(installation)
    if state is None:
        state = _brought(stimuli, installation, there=there)
    if state is None or coming is None or there:
        return state
    onset = Change(sensors=coming.onset).to(stimuli.rest) or stimuli.rest
    state, _ = installation.scan(state, worlds_of(stimuli, [onset], [None]), first=True, present=True)
    played = play([installation], [state], worlds_of(stimuli, [stimuli.rest], [None]), 0, [True])
    return played.states[0] if played.scans[0] >= 0 else None
