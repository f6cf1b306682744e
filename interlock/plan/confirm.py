"""A test replayed on the readable engine before anyone sees it: at both ends of the errors, and by slow hands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for, stretches
from interlock.plan.beginnings import Coming, Start, to_rest
from interlock.plan.search import Move
from interlock.plan.sights import Sight, seen
from interlock.plan.stimuli import Change, Position, Stimuli
from interlock.scheme.model import Fault

FOREVER = 1 << 40  # scans: settling ends long before
MOST_STRETCHES = 1000  # after so many, an installation is taken never to come to rest


class NeverRestsError(Exception):
    """An installation that does not come to rest."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How a test is carried out. `end`: every reading at the low (-1) or high (1) end of its error, or without (0).
    `slow`: how many scans longer each wait but the last takes, and how long a button is held."""

    end: int
    slow: int = 0


@dataclass
class _Replay:
    """One installation being replayed: the engine, the position its inputs are in, the faults in service present."""

    engine: Engine
    position: Position
    present: frozenset[Fault]

    def twin(self) -> _Replay:
        """Another that goes on from here."""
        return _Replay(self.engine.twin(), self.position, self.present)


class Replays:
    """Tests replayed on the readable engine. `look`: for how many further scans what is seen must stay."""

    def __init__(self, stimuli: Stimuli, look: int, manners: Sequence[Manner]) -> None:
        self.stimuli, self.look, self.manners = stimuli, look, manners
        self._rested: dict[tuple[tuple[Fault, ...], bool, Manner], _Replay] = {}

    def shows(
        self, fault: Fault, ways: Sequence[Coming], start: Start, moves: Sequence[Move], sight: Sight
    ) -> bool | None:
        """What a healthy installation shows at the end, where the fault then shows the opposite whichever way it came
        and in every manner of carrying the test out; None where that is not so."""
        try:
            return self._shows(fault, ways, start, moves, sight)
        except NeverRestsError:  # at one end of an error, where the search looked between the two
            return None

    def _shows(
        self, fault: Fault, ways: Sequence[Coming], start: Start, moves: Sequence[Move], sight: Sight
    ) -> bool | None:
        values: set[bool] = set()
        for manner in self.manners:
            healthy = self._shown(self._begun((), None, start, manner), FaultSet(), moves, sight, manner)
            if healthy is None:
                return None
            values.add(healthy)
            faults = FaultSet.of(fault.single())
            for how in ways:
                begun = self._begun(fault.single(), how, start, manner)
                if self._shown(begun, faults, moves, sight, manner) is not (not healthy):
                    return None
        return values.pop() if len(values) == 1 else None

    # --- where it begins

    def _begun(self, faults: tuple[Fault, ...], coming: Coming | None, start: Start, manner: Manner) -> _Replay:
        installed = tuple(f for f in faults if f.mode.installation)
        service = frozenset(faults) - frozenset(installed)
        if start is Start.POWER_UP:
            return _Replay(Engine(self.stimuli.scheme, installed), self.stimuli.rest, service)
        if coming is None or coming.at_power_up:
            return self._at_rest(faults, installed, service, manner).twin()
        replay = self._at_rest(installed, installed, frozenset(), manner).twin()
        replay.present = service
        onset = Change(sensors=coming.onset).to(replay.position) or replay.position
        replay.engine.scan(self._world(replay, onset, manner))
        self._settle(replay, None, manner)
        return replay

    def _at_rest(
        self, key: tuple[Fault, ...], installed: tuple[Fault, ...], service: frozenset[Fault], manner: Manner
    ) -> _Replay:
        known = key, bool(service), manner
        if known not in self._rested:
            replay = _Replay(Engine(self.stimuli.scheme, installed), self.stimuli.rest, service)
            for change in to_rest(self.stimuli):
                self._settle(replay, change.press, manner)
            self._rested[known] = replay
        return self._rested[known]

    def to_rest(self) -> tuple[Move, ...]:
        """What brings a healthy installation from power-up to rest, and how long each of it takes; () where it never
        comes there."""
        manner = Manner(0)
        replay = _Replay(Engine(self.stimuli.scheme), self.stimuli.rest, frozenset())
        try:
            return tuple(Move(c, self._settle(replay, c.press, manner)) for c in to_rest(self.stimuli))
        except NeverRestsError:
            return ()

    def _settle(self, replay: _Replay, press: int | None, manner: Manner) -> int:
        """Wait until nothing changes any more: for how many scans. Raises NeverRestsError."""
        if press is not None:
            replay.engine.scan(self._world(replay, replay.position, manner, press))
        world = self._world(replay, replay.position, manner)
        lasted: list[int] = []
        for _, scans in stretches(replay.engine, world, FOREVER, settle=True):
            lasted.append(scans)
            if len(lasted) > MOST_STRETCHES:
                raise NeverRestsError
        return sum(lasted[:-1]) + (press is not None)

    # --- what is done

    def _world(self, replay: _Replay, position: Position, manner: Manner, press: int | None = None) -> World:
        """A position as the engine takes it."""
        readings = {
            name: a.value + (a.high if manner.end > 0 else a.low if manner.end < 0 else 0)
            for name, a in zip(self.stimuli.scheme.sensors, self.stimuli.applied(position), strict=True)
        }
        lines = dict(zip(self.stimuli.external, position.lines, strict=True))
        if press is not None:
            lines[self.stimuli.external[press]] = True
        return World(readings, lines, replay.present)

    def _move(self, replay: _Replay, move: Move, manner: Manner, more: int) -> Seen:
        """One step, `more` scans longer: what its last scan shows."""
        replay.position = move.change.to(replay.position) or replay.position
        scans, press = move.scans + more, move.change.press
        if press is not None:
            held = min(scans, 1 + manner.slow)
            pressed = self._world(replay, replay.position, manner, press)
            last = [replay.engine.scan(pressed) for _ in range(held)][-1]
            scans -= held
        return run_for(replay.engine, self._world(replay, replay.position, manner), scans) or last

    def _shown(
        self, replay: _Replay, faults: FaultSet, moves: Sequence[Move], sight: Sight, manner: Manner
    ) -> bool | None:
        """What is seen from the end of the last step on; None where it is not certain or changes."""
        values: set[bool | None] = set()
        for i, move in enumerate(moves):
            last = self._move(replay, move, manner, manner.slow if i < len(moves) - 1 else 0)
            values = {seen(sight, last, faults)}
        world = self._world(replay, replay.position, manner)
        values |= {seen(sight, what, faults) for what, _ in stretches(replay.engine, world, max(1, self.look))}
        return values.pop() if len(values) == 1 else None
