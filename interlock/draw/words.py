"""How a scheme's conditions read on a drawing: short, in the scheme's own words."""

from __future__ import annotations

from interlock.draw.said import Text, said
from interlock.scheme.model import Condition, Limit, Rule, Scheme, Test, Trigger
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import TWO_WORDS, Combine, Compare, DeviceInput, Signal, State

STATE_WORDS = {
    State.CLEAR: Text("clear"),
    State.PICKING_UP: Text("picking up"),
    State.TRIPPED: Text("tripped"),
    State.DROPPING_OFF: Text("dropping off"),
    State.AWAITING_RESET: Text("awaiting reset"),
}
assert set(STATE_WORDS) == set(State), set(State) - set(STATE_WORDS)

_LIMITS = {
    Compare.BELOW: Text("below {value}"),
    Compare.ABOVE: Text("above {value}"),
    Compare.AT_OR_BELOW: Text("at or below {value}"),
    Compare.AT_OR_ABOVE: Text("at or above {value}"),
}
assert set(_LIMITS) == set(Compare), set(Compare) - set(_LIMITS)

_SIDES = {
    Signal.LINE: (Text("on"), Text("off")),
    Signal.PATH: (Text("running"), Text("stopped")),
    Signal.RULE: (Text("active"), Text("clear")),
}
assert {signal: (one.text, other.text) for signal, (one, other) in _SIDES.items()} == TWO_WORDS

NEEDS = {
    DeviceInput.CLOSED: Text("runs when closed"),
    DeviceInput.OPEN: Text("runs when open"),
    DeviceInput.HIGH: Text("runs when high"),
    DeviceInput.LOW: Text("runs when low"),
}
assert set(NEEDS) == set(DeviceInput), set(DeviceInput) - set(NEEDS)


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


def side_text(signal: Signal, *, first: bool) -> str:
    """One of the two words of a signal that has two: `on`, `stopped`."""
    return _SIDES[signal][not first]()


def limit_text(compare: Compare, value: str) -> str:
    """`at or above 3 degC`."""
    return _LIMITS[compare](value=value)


def asked_text(scheme: Scheme, signal: Signal, name: str, test: Test) -> str:
    """`below 3 degC`, `off`."""
    if isinstance(test, Limit):
        kind, difference = kind_of(scheme, signal, name)
        assert kind is not None
        return limit_text(test.compare, value_text(test.value, kind, difference=difference))
    return side_text(signal, first=test)


def lasting(asked: str, delay_us: int) -> str:
    """What is asked, and for how long where there is a delay (in microseconds)."""
    return said("{asked} for {time}", asked=asked, time=time_text(delay_us)) if delay_us else asked


def trigger_text(scheme: Scheme, rule: Rule, trigger: Trigger) -> str:
    """`below 3 degC for 2 s`."""
    return lasting(asked_text(scheme, rule.watches, rule.watched, trigger.test), trigger.delay.us)


def signal_text(name: str, asked: str) -> str:
    """`coldest_cell below 0 degC`: what is asked of a signal, with its name."""
    return said("{name} {asked}", name=name, asked=asked)


def condition_text(scheme: Scheme, condition: Condition) -> str:
    """`coldest_cell below 0 degC`."""
    return signal_text(condition.name, asked_text(scheme, condition.signal, condition.name, condition.test))
