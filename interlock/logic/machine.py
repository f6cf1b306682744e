"""The five-state rule machine, as one table of transitions.

The table is the meaning: `RuleMachine` runs it through the `transitions` library, and the drawings are made from it.
Rows are tried in order; the first whose conditions hold is taken, one at most per scan.

P: the trip condition holds at this scan. C: the clear condition holds. Never both. A delay of N scans is over at the
N-th scan after the one that started it.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from msgspec import Struct
from transitions import Machine

from interlock.scheme.model import Rule
from interlock.scheme.words import PowerUp, State


class Row(Struct, frozen=True):
    """One transition: taken from `source` when all of `when` hold and none of `unless`; `target` None stays, timer + 1.

    `says` is the reason in words, for diagrams and explanations.
    """

    source: State
    target: State | None
    when: tuple[str, ...]
    unless: tuple[str, ...]
    says: str


CLEAR, PICKING_UP, TRIPPED, DROPPING_OFF, AWAITING_RESET = State

TABLE: tuple[Row, ...] = (
    Row(CLEAR, TRIPPED, ("trips", "no_trip_delay"), (), "trip condition, no delay"),
    Row(CLEAR, PICKING_UP, ("trips",), (), "trip condition"),
    Row(PICKING_UP, CLEAR, (), ("trips",), "trip condition gone"),
    Row(PICKING_UP, TRIPPED, ("trip_delay_over",), (), "trip delay over"),
    Row(PICKING_UP, None, (), (), "trip delay runs"),
    Row(TRIPPED, AWAITING_RESET, ("clears", "no_clear_delay", "manual"), (), "clear condition, no delay"),
    Row(TRIPPED, CLEAR, ("clears", "no_clear_delay"), (), "clear condition, no delay"),
    Row(TRIPPED, DROPPING_OFF, ("clears",), (), "clear condition"),
    Row(DROPPING_OFF, TRIPPED, (), ("clears",), "clear condition gone"),
    Row(DROPPING_OFF, AWAITING_RESET, ("clear_delay_over", "manual"), (), "clear delay over"),
    Row(DROPPING_OFF, CLEAR, ("clear_delay_over",), (), "clear delay over"),
    Row(DROPPING_OFF, None, (), (), "clear delay runs"),
    Row(AWAITING_RESET, TRIPPED, (), ("clears",), "clear condition gone"),
    Row(AWAITING_RESET, CLEAR, ("reset_edge",), (), "reset"),
)


class RuleMachine:
    """The machine of one rule: `state`, and `timer`, the scans since its running delay started (0 where none runs)."""

    state: State

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self.timer = 0
        self.trips = self.clears = self.reset_edge = False
        self._become(State.CLEAR if rule.power_up is PowerUp.CLEAR else State.TRIPPED)

    @property
    def active(self) -> bool:
        """True while the rule acts."""
        return self.state.active

    def step(self, trips: bool, clears: bool, reset_edge: bool) -> None:
        """One scan with P, C and the edge of the reset line."""
        self.trips, self.clears, self.reset_edge = trips, clears, reset_edge
        rule, timer = self.rule, self.timer
        to_trip, to_clear = rule.trips.delay.scans, rule.clears.delay.scans
        # all that the table's conditions look at
        situation = (
            self.state,
            trips,
            clears,
            reset_edge,
            to_trip == 0,
            to_clear == 0,
            timer + 1 >= to_trip,
            timer + 1 >= to_clear,
            rule.manual,
        )
        known = _taken.get(situation)
        if known is None:
            _library_machine().events["scan"].trigger(self)
            _taken[situation] = self.state, self.timer - timer
        elif known[0] is not situation[0]:
            self._become(known[0])
        else:
            self.timer += known[1]

    def power_cycle(self) -> None:
        """Take the power-up state; a rule kept as it was left starts its running timer again."""
        if self.rule.power_up is PowerUp.AS_LEFT:
            self.timer = 0
        else:
            self._become(State.CLEAR if self.rule.power_up is PowerUp.CLEAR else State.TRIPPED)

    def put(self, state: State, timer: int = 0) -> None:
        """Set the machine as a trace or a test wants it."""
        self._become(state)
        self.timer = timer

    def _become(self, state: State) -> None:
        self.state = state
        self.timer = 0

    # The conditions the table names.

    def no_trip_delay(self) -> bool:
        """The rule trips at once."""
        return self.rule.trips.delay.scans == 0

    def no_clear_delay(self) -> bool:
        """The rule clears at once."""
        return self.rule.clears.delay.scans == 0

    def trip_delay_over(self) -> bool:
        """This scan is the N-th after the one that started the trip delay."""
        return self.timer + 1 >= self.rule.trips.delay.scans

    def clear_delay_over(self) -> bool:
        """This scan is the N-th after the one that started the clear delay."""
        return self.timer + 1 >= self.rule.clears.delay.scans

    def manual(self) -> bool:
        """A person must reset the rule."""
        return self.rule.manual

    def start_timer(self) -> None:
        """A new state starts its timer."""
        self.timer = 0

    def advance_timer(self) -> None:
        """A running delay takes one more scan."""
        self.timer += 1


# What the library made of each situation it was asked about: the new state, and what the timer took where that stayed.
# It is asked once for each; a scheme's long life is made of few.
_taken: dict[tuple[State, bool, bool, bool, bool, bool, bool, bool, bool], tuple[State, int]] = {}


@cache
def _library_machine() -> Any:
    """One machine of the `transitions` library for all rules. Its event is triggered on each rule machine as the model
    (not registered with `add_model`: the library would keep every model alive)."""
    rows = [
        {
            "trigger": "scan",
            "source": row.source,
            "dest": row.target,
            "conditions": list(row.when),
            "unless": list(row.unless),
            "after": "advance_timer" if row.target is None else "start_timer",
        }
        for row in TABLE
    ]
    return Machine(model=None, states=State, transitions=rows, initial=State.CLEAR, auto_transitions=False)
