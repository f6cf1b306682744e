"""Which single loss keeps a chain from acting: a broken wire, a dead unit, a lost reading."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.check.chains import Chain
from interlock.check.guards import Defeat, Loss
from interlock.check.reach import Bound
from interlock.logic.readings import at_input, combined, compare
from interlock.scheme.model import AnyOf, Claim, Condition, Limit, Scheme, Sensor, Test
from interlock.scheme.words import Mode, OnInvalid, Signal

Losses = frozenset[Defeat]
NONE: Losses = frozenset()


class Defeats:
    """The losses in a scheme's catalogue of faults, excluded ones left out, and what each does to a chain."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme

    def _can(self, part: str, mode: Mode) -> bool:
        return f"{part}.{mode}" in self.scheme.faults

    # --- lines and units

    def of_line(self, name: str, needed: bool) -> Losses:
        """What leaves a line undriven, where that is not the level needed."""
        line = self.scheme.lines[name]
        if line.undriven_reads is needed:
            return NONE
        found = {Defeat(Loss.WIRE, name)} if self._can(name, Mode.BROKEN) else set()
        if line.unit and self._can(line.unit, Mode.DEAD):
            found.add(Defeat(Loss.UNIT, line.unit))
        return frozenset(found)

    def on_the_way(self, chain: Chain, first: int = 0) -> Losses:
        """Those of the lines a chain passes, from one of its hops on."""
        return NONE.union(*(self.of_line(hop.line, hop.level) for hop in chain.hops[first:] if hop.line))

    def of_signals(self, chain: Chain) -> Losses:
        """Those of all its lines, the one it starts from included."""
        own = self.of_line(chain.name, bool(chain.test)) if chain.signal is Signal.LINE else NONE
        return self.on_the_way(chain) | own

    def of_effect(self, rule_name: str, claim: Claim) -> Losses:
        """What keeps an active rule's block out of force for longer than the claim allows."""
        rule = self.scheme.rules[rule_name]
        found = NONE.union(*(self.of_line(c.name, bool(c.test)) for c in rule.only_while if c.signal is Signal.LINE))
        by, limit = rule.overridden_by, rule.override_at_most
        lasts = limit is None or limit.us >= claim.longer_than.us
        if by and lasts and self.scheme.lines[by].undriven_reads and self._can(by, Mode.BROKEN):
            found |= {Defeat(Loss.OVERRIDE_WIRE, by)}
        return found

    def of_modes(self, when: AnyOf, claim: Claim) -> Losses:
        """Lines of a path's modes that, broken, hide the mode in which the claim wants the path blocked."""
        found = set()
        for alternative in claim.any_of if when else ():
            true = {c.name: c.test for c in (*claim.conditions, *alternative) if c.signal is Signal.LINE}
            for name in dict.fromkeys(c.name for c in alternative):
                read = {**true, name: self.scheme.lines[name].undriven_reads}
                blocked = any(all(read.get(c.name) is c.test for c in other) for other in when)
                if not blocked and self._can(name, Mode.BROKEN):
                    found.add(Defeat(Loss.MODE_WIRE, name))
        return frozenset(found)

    # --- readings

    def of_sensors(
        self, condition: Condition, chain: Chain, sensors: Iterable[Sensor], worst: dict[str, int | None]
    ) -> Losses:
        """The sensors whose loss keeps the first rule of a chain from moving, the others reading their worst."""
        found = set()
        for sensor in sensors:
            for loss, mode in ((Loss.OPEN, Mode.OPEN), (Loss.SHORTED, Mode.SHORTED)):
                lost = self.reads(Defeat(loss, sensor.name))
                value = value_of(self.scheme, chain, {**worst, sensor.name: lost})
                if value is None:
                    moves = self._invalid_moves(chain)
                else:  # what the lost one reads it does reach, strict condition or not
                    moves = forces(condition, chain.test, value, reached=value == lost)
                if not moves and self._can(sensor.name, mode):
                    found.add(Defeat(loss, sensor.name))
        return frozenset(found)

    def reads(self, defeat: Defeat) -> int | None:
        """What an open or shorted sensor reads; None for an invalid reading."""
        sensor = self.scheme.sensors[defeat.part]
        return at_input(sensor.open_reads if defeat.loss is Loss.OPEN else sensor.shorted_reads, sensor.valid)

    def moves_when_lost(self, chain: Chain, lost: int | None) -> bool:
        """Whether one sensor's lost reading alone moves the first rule of a chain."""
        if chain.signal is Signal.READING:
            reading = self.scheme.readings[chain.name]
            if lost is not None or reading.needs < len(reading.sensors):
                return False
        if lost is None:
            return self._invalid_moves(chain)
        assert isinstance(chain.test, Limit)
        return compare(lost, chain.test)

    def _invalid_moves(self, chain: Chain) -> bool:
        safe = OnInvalid.TRIP if chain.first.active else OnInvalid.CLEAR
        return self.scheme.rules[chain.first.rule].on_invalid is safe


def value_of(scheme: Scheme, chain: Chain, inputs: dict[str, int | None]) -> Bound | None:
    """What a chain's first rule sees of its sensors' readings."""
    if chain.signal is Signal.SENSOR:
        return inputs[chain.name]
    return combined(scheme.readings[chain.name], inputs)


def forces(condition: Condition, test: Test, worst: Bound, *, reached: bool = False) -> bool:
    """Whether the worst reading while the condition holds meets the test. With a strict condition it is a bound that is
    never quite reached, so that a limit equal to it is still passed."""
    assert isinstance(test, Limit)
    assert isinstance(condition.test, Limit)
    return compare(worst, test) or (worst == test.value and condition.test.compare.strict and not reached)
