"""A rule's state as one whole number: a step toward tripped is a step up, a step toward clear one down.

    0               clear
    1 … Nt          picking_up, timer + 1
    Nt + 1          awaiting_reset
    Nt + 2 … top-1  dropping_off, counting down: timer = top - 1 - level
    top             tripped

Nt and Nc are the scans of the trip and the clear delay; top = Nt + Nc + 2. Of two states, the one with the larger
number lets a rule act at least as soon and as long.
"""

from __future__ import annotations

from msgspec import Struct

from interlock.scheme.model import Rule
from interlock.scheme.words import PowerUp, State


class Levels(Struct, frozen=True):
    """The coding of one rule's state."""

    trip_scans: int
    clear_scans: int
    manual: bool

    @classmethod
    def of(cls, rule: Rule) -> Levels:
        """The coding for that rule."""
        return cls(rule.trips.delay.scans, rule.clears.delay.scans, rule.manual)

    @property
    def awaiting(self) -> int:
        """The level of awaiting_reset; a rule is active from here up."""
        return self.trip_scans + 1

    @property
    def top(self) -> int:
        """The level of tripped."""
        return self.trip_scans + self.clear_scans + 2

    def level(self, state: State, timer: int = 0) -> int:
        """The level of a state; `timer` counts the scans since its running delay started."""
        match state:
            case State.CLEAR:
                return 0
            case State.PICKING_UP:
                return timer + 1
            case State.TRIPPED:
                return self.top
            case State.DROPPING_OFF:
                return self.top - 1 - timer
            case State.AWAITING_RESET:
                return self.awaiting

    def state(self, level: int) -> tuple[State, int]:
        """The state and the timer of a level."""
        if level == 0:
            return State.CLEAR, 0
        if level <= self.trip_scans:
            return State.PICKING_UP, level - 1
        if level == self.top:
            return State.TRIPPED, 0
        if level == self.awaiting:
            return State.AWAITING_RESET, 0
        return State.DROPPING_OFF, self.top - 1 - level

    def powered_up(self, power_up: PowerUp) -> int:
        """The level at the first power-up."""
        return 0 if power_up is PowerUp.CLEAR else self.top
