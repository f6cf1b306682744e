"""Conditions, values and times in words."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.explain.document import Plain
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import LIMITS, SEEN, SIDES_SEEN, SIDES_TRUE
from interlock.explain.words import Say
from interlock.scheme.model import AnyOf, Condition, Delay, Interval, Limit, Scheme, SensorError, Test
from interlock.scheme.units import MICRO, Kind, decimal_text, time_text, value_text
from interlock.scheme.words import TWO_WORDS, Combine, Signal


def kind_of(scheme: Scheme, signal: Signal, name: str) -> tuple[Kind, bool]:
    """The kind of a numeric signal's values, and whether they are differences."""
    if signal is Signal.READING:
        reading = scheme.readings[name]
        return reading.kind, reading.combine is Combine.DIFFERENCE_OF
    return (scheme.quantities[name] if signal is Signal.QUANTITY else scheme.sensors[name]).kind, False


def value(scheme: Scheme, signal: Signal, name: str, micro: int) -> str:
    """A value of a numeric signal with its unit."""
    kind, difference = kind_of(scheme, signal, name)
    return value_text(micro, kind, difference=difference)


def time(scheme: Scheme, delay: Delay) -> Value:
    """A time; with its scans where it is no whole number of them."""
    if delay.us == delay.scans * scheme.scan_us:
        return time_text(delay.us)
    return say(Say.ROUNDED, time=time_text(delay.us), scans=str(delay.scans))


def _side(scheme: Scheme, signal: Signal, name: str, test: Test, *, truth: bool) -> Value:
    if isinstance(test, Limit):
        return say(LIMITS[test.compare], value=value(scheme, signal, name, test.value))
    sides = (SIDES_TRUE if truth else SIDES_SEEN)[signal]
    assert sides is not None, f"{signal} has no two sides"
    return say(sides[0] if test else sides[1])


def seen(scheme: Scheme, signal: Signal, name: str, test: Test, delay: Delay | None = None) -> Phrase:
    """A condition as the unit sees it; with a delay, as one that has held for so long."""
    now, lasting = SEEN[signal]
    side = _side(scheme, signal, name, test, truth=False)
    if delay is None or delay.us == 0:
        return say(now, name=name, value=side)
    return say(lasting, name=name, value=side, time=time(scheme, delay))


def seen_all(scheme: Scheme, conditions: Iterable[Condition]) -> Value:
    """Joint conditions as the unit sees them."""
    return listing(seen(scheme, c.signal, c.name, c.test) for c in conditions)


def seen_any(scheme: Scheme, alternatives: AnyOf) -> Value:
    """Alternatives of joint conditions as the unit sees them."""
    return listing((seen_all(scheme, a) for a in alternatives), Say.EITHER_WHOLE, Say.EITHER_WHOLE)


def true_all(scheme: Scheme, conditions: Iterable[Condition]) -> Value:
    """Joint conditions on the truth."""
    return listing(
        say(Say.IS, name=c.name, value=_side(scheme, c.signal, c.name, c.test, truth=True)) for c in conditions
    )


def true_any(scheme: Scheme, alternatives: AnyOf) -> Value:
    """Alternatives of joint conditions on the truth."""
    return listing((true_all(scheme, a) for a in alternatives), Say.EITHER_WHOLE, Say.EITHER_WHOLE)


def error(kind: Kind, one: SensorError) -> Phrase:
    """How far a sensor's reading may be from one quantity."""

    def far(micro: int) -> str:
        return value_text(abs(micro), kind, difference=True)

    low, high, name = one.interval.low, one.interval.high, one.quantity
    if low > 0:
        return say(Say.ERROR_ALWAYS_HIGH, quantity=name, least=far(low), most=far(high))
    if high < 0:
        return say(Say.ERROR_ALWAYS_LOW, quantity=name, least=far(high), most=far(low))
    if low < 0 < high:
        return say(Say.ERROR_EITHER, quantity=name, low=far(low), high=far(high))
    if low < 0:
        return say(Say.ERROR_LOW, quantity=name, low=far(low))
    return say(Say.ERROR_HIGH, quantity=name, high=far(high)) if high else say(Say.ERROR_NONE, quantity=name)


def errors(kind: Kind, several: Iterable[SensorError]) -> Value:
    """A sensor's errors, one for each quantity."""
    return listing((error(kind, one) for one in several), comma=Say.SEMICOLON)


# --- plain facts


def number(micro: int) -> float | int:
    """Millionths as a number in base units."""
    return int(decimal_text(micro)) if micro % MICRO == 0 else float(decimal_text(micro))


def plain_interval(interval: Interval) -> list[Plain]:
    """[low, high] in base units."""
    return [number(interval.low), number(interval.high)]


def plain_errors(several: Iterable[SensorError]) -> dict[str, Plain]:
    """{quantity: [low, high]}."""
    return {one.quantity: plain_interval(one.interval) for one in several}


def plain_test(scheme: Scheme, signal: Signal, name: str, test: Test) -> dict[str, Plain]:
    """{compare, value, unit} of a limit, {is: word} of a side."""
    if isinstance(test, Limit):
        kind, difference = kind_of(scheme, signal, name)
        unit = kind.difference_unit if difference else str(kind)
        return {"compare": str(test.compare), "value": number(test.value), "unit": unit}
    return {"is": TWO_WORDS[signal][0 if test else 1]}


def plain_conditions(scheme: Scheme, conditions: Iterable[Condition]) -> list[Plain]:
    """Conditions, each {signal, name, …}."""
    return [
        {"signal": str(c.signal), "name": c.name, **plain_test(scheme, c.signal, c.name, c.test)} for c in conditions
    ]


def plain_time(delay: Delay) -> dict[str, Plain]:
    """{seconds, scans}."""
    return {"seconds": number(delay.us), "scans": delay.scans}
