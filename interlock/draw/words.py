"""How a scheme's conditions read on a drawing: short, in the scheme's own words."""

from __future__ import annotations

from interlock.scheme.model import Condition, Limit, Rule, Scheme, Test, Trigger
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import TWO_WORDS, Combine, Signal, State

STATE_WORDS = {
    State.CLEAR: "clear",
    State.PICKING_UP: "picking up",
    State.TRIPPED: "tripped",
    State.DROPPING_OFF: "dropping off",
    State.AWAITING_RESET: "awaiting reset",
}
assert set(STATE_WORDS) == set(State), set(State) - set(STATE_WORDS)


def kind_of(scheme: Scheme, signal: Signal, name: str) -> tuple[Kind | None, bool]:
    """The kind of a signal's values, None for a two-valued one, and whether they are differences."""
    match signal:
        case Signal.QUANTITY:
            return scheme.quantities[name].kind, False
        case Signal.SENSOR:
            return scheme.sensors[name].kind, False
        case Signal.READING:
            reading = scheme.readings[name]
            return reading.kind, reading.combine is Combine.DIFFERENCE_OF
        case Signal.LINE | Signal.PATH | Signal.RULE:
            return None, False


def asked_text(scheme: Scheme, signal: Signal, name: str, test: Test) -> str:
    """`below 3 degC`, `off`."""
    if isinstance(test, Limit):
        kind, difference = kind_of(scheme, signal, name)
        assert kind is not None
        return f"{str(test.compare).replace('_', ' ')} {value_text(test.value, kind, difference=difference)}"
    return TWO_WORDS[signal][not test]


def trigger_text(scheme: Scheme, rule: Rule, trigger: Trigger) -> str:
    """`below 3 degC for 2 s`."""
    text = asked_text(scheme, rule.watches, rule.watched, trigger.test)
    return text + (f" for {time_text(trigger.delay.us)}" if trigger.delay.us else "")


def condition_text(scheme: Scheme, condition: Condition) -> str:
    """`coldest_cell below 0 degC`."""
    return f"{condition.name} {asked_text(scheme, condition.signal, condition.name, condition.test)}"
