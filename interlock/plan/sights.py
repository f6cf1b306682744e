"""What a person can see at an installation: paths, sent lines, alarms, readings, and each device's own input."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.logic.faultset import FaultSet
from interlock.logic.program import Observe, Program
from interlock.logic.scan import Seen
from interlock.scheme.model import Scheme
from interlock.scheme.words import Mode, Part, Word


class SightKind(Word):
    """The kinds of thing that can be seen, those that are the easiest to see first."""

    PATH = "path"  # True: certainly running, False: certainly stopped
    LINE = "line"  # sent by a unit, at the sender's own terminal: on or off
    ALARM = "alarm"  # of a rule: sounding or not
    SENSOR = "sensor"  # its reading: valid or not
    DEVICE = "device"  # an output's device at its own input: closed (high) or open (low)


class Ease(IntEnum):
    """How easily a thing is seen: what runs, what something tells, what takes a meter at a device's own input."""

    RUNS = 0
    TOLD = 1
    METER = 2


_EASE: Mapping[SightKind, Ease] = {
    SightKind.PATH: Ease.RUNS,
    SightKind.LINE: Ease.TOLD,
    SightKind.ALARM: Ease.TOLD,
    SightKind.SENSOR: Ease.TOLD,
    SightKind.DEVICE: Ease.METER,
}
assert set(_EASE) == set(SightKind), set(SightKind) - set(_EASE)


@dataclass(frozen=True, slots=True)
class Sight:
    """One thing to look at; `name` is the path's, line's, rule's, sensor's or output's."""

    kind: SightKind
    name: str

    @property
    def ease(self) -> Ease:
        """How easily it is seen."""
        return _EASE[self.kind]


def sights(scheme: Scheme) -> tuple[Sight, ...]:
    """All that can be seen, in order of preference."""
    return (
        *(Sight(SightKind.PATH, name) for name in scheme.paths),
        *(Sight(SightKind.LINE, name) for name, line in scheme.lines.items() if line.form.sent),
        *(Sight(SightKind.ALARM, name) for name, rule in scheme.rules.items() if rule.alarm),
        *(Sight(SightKind.SENSOR, name) for name in scheme.sensors),
        *(Sight(SightKind.DEVICE, name) for name in scheme.outputs),
    )


def seen(sight: Sight, what: Seen, faults: FaultSet) -> bool | None:
    """What the readable engine's scan shows of a sight under these faults; None where it may be either."""
    match sight.kind:
        case SightKind.PATH:
            return what.running(sight.name)
        case SightKind.LINE:
            return what.lines[sight.name]
        case SightKind.ALARM:
            return sight.name in what.alarms
        case SightKind.SENSOR:
            return what.readings[sight.name] is not None
        case SightKind.DEVICE:
            return what.closed[_fed_by(sight, faults)] and not cut(sight, faults)


def _fed_by(sight: Sight, faults: FaultSet) -> str:
    """Whose contact is at the end of the wire: that of another output where two are exchanged."""
    return faults.source(Part.OUTPUT, sight.name) if sight.kind is SightKind.DEVICE else sight.name


def cut(sight: Sight, faults: FaultSet) -> bool:
    """Whether a broken wire leaves a device's input open whatever the contact does."""
    return sight.kind is SightKind.DEVICE and faults.has(Mode.WIRE_BROKEN, _fed_by(sight, faults))


_OBSERVED: Mapping[SightKind, tuple[Observe, ...]] = {
    SightKind.PATH: (Observe.MAY_RUN, Observe.MAY_STOP),
    SightKind.LINE: (Observe.LINE,),
    SightKind.ALARM: (Observe.ALARM,),
    SightKind.SENSOR: (Observe.VALID,),
    SightKind.DEVICE: (Observe.CLOSED,),
}
assert set(_OBSERVED) == set(SightKind), set(SightKind) - set(_OBSERVED)

Bools = NDArray[np.bool_]


def observed(looked_at: Sequence[Sight], faults: FaultSet) -> list[tuple[Observe, str]]:
    """What a program compiled with these faults has to tell for these sights."""
    return [(kind, _fed_by(sight, faults)) for sight in looked_at for kind in _OBSERVED[sight.kind]]


def looker(
    program: Program, looked_at: Sequence[Sight], faults: FaultSet
) -> Callable[[Sequence[Any]], tuple[Bools, Bools]]:
    """From a program's observations of many scenarios to what is seen: whether it is certain and what it is, two arrays
    of shape (sights, scenarios)."""
    at = {(o.kind, o.name): i for i, o in enumerate(program.observations)}
    places = [[at[key] for key in observed([sight], faults)] for sight in looked_at]
    opposites = [(row, first, second[0]) for row, (first, *second) in enumerate(places) if second]
    open_for_good = [row for row, sight in enumerate(looked_at) if cut(sight, faults)]

    def look(observations: Sequence[Any]) -> tuple[Bools, Bools]:
        values = np.stack([observations[first] for first, *_ in places]).astype(bool)
        certain = np.ones_like(values)
        for row, first, second in opposites:
            certain[row] = observations[first] != observations[second]
        values[open_for_good] = False
        return certain, values

    return look
