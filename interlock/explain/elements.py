"""What a sensor is made of and how it is read, in words."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from msgspec import Struct

from interlock.elements.records import (
    AS_IT_IS,
    NOTHING,
    Beta,
    Curve,
    Divider,
    Element,
    Input,
    Platinum,
    Polynomial,
    Pull,
    Rated,
    Sensing,
    Shunt,
    SteinhartHart,
    Table,
    Thermometer,
)
from interlock.explain.conditions import number, plain_errors, plain_interval
from interlock.explain.document import Plain
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.words import Say
from interlock.scheme.model import Interval, Sensed, Sensor
from interlock.scheme.units import MICRO, Kind, decimal_text, value_text

FINE = 1_000  # millionths: errors are told to the thousandth, those of voltages to a hundredth of a millivolt
EXAMPLES = (-20, 0, 25, 45, 60)  # degC at which a controller's own formula is looked at


def made_of(sensor: Sensor) -> Iterator[Phrase]:
    """The element, its input, its place, and the error that follows. Nothing where the scheme says nothing of it."""
    if sensor.element is None:
        return
    sensing = sensor.element.sensing
    yield say(Say.SENSOR_MADE_OF, element=element_words(sensing.element), reading=_read(sensing.input, sensing.element))
    if sensing.converts_by is not None:
        yield from _formula(sensor, sensing)
    places = [
        say(
            Say.PLACED_FROM,
            low=value_text(p.interval.low, sensor.kind, difference=True),
            high=value_text(p.interval.high, sensor.kind, difference=True),
            quantity=p.quantity,
        )
        for p in sensor.element.placed
        if p.interval != Interval(0, 0)
    ]
    if places:
        yield say(Say.SENSOR_PLACED, places=listing(places))
    if "measures" in sensor.element.stated:
        yield say(Say.ERROR_STATED, own=_own(sensor.element.own, sensor.kind))
    else:
        yield say(Say.ERROR_FOLLOWS)


def _own(own: Interval, kind: Kind) -> Phrase:
    fine = 10 if kind is Kind.VOLTAGE else FINE
    low, high = own.low // fine * fine, -(-own.high // fine) * fine  # outward
    ends = {"low": value_text(low, kind, difference=True), "high": value_text(high, kind, difference=True)}
    return say(Say.FROM_TO, **ends)


# --- elements


def element_words(element: Element) -> Value:
    """`an NTC of 10 kohm within 1 % at 25 degC with a beta of 3435 K`."""
    match element:
        case Divider():
            return say(Say.DIVIDER, top=element.top.text, bottom=element.bottom.text)
        case Shunt():
            return say(Say.SHUNT, voltage=element.voltage.text, current=f"{float(element.current):g} A")
    words = _curve(element.curve, element)
    if element.part:
        words = say(Say.NTC_WITHIN, element=words, tolerance=f"{float(element.part * 100):g} %")
    if element.kelvin and not isinstance(element.curve, Platinum):
        words = say(Say.NTC_RIGHT_TO, element=words, tolerance=f"{float(element.kelvin):g} K")
    if element.dissipates is not None:
        words = say(Say.WARMS_ITSELF, element=words, power=element.dissipates.text.replace("/K", "", 1))
    return words


def _curve(curve: Curve, element: Thermometer | None = None) -> Value:
    match curve:
        case Beta():
            return say(Say.NTC_BETA, r25=curve.r25.text, beta=curve.beta.text)
        case SteinhartHart():
            return say(Say.NTC_STEINHART_HART, numbers=_numbers(curve.a, curve.b, curve.c))
        case Polynomial():
            numbers = _numbers(curve.a, curve.b, curve.c, curve.d)
            return say(Say.NTC_POLYNOMIAL, r25=curve.r25.text, numbers=numbers)
        case Table():
            (low, _), (high, _) = curve.rows[0], curve.rows[-1]
            ends = {"low": f"{float(low):g} degC", "high": f"{float(high):g} degC"}
            return say(Say.NTC_TABLE, count=str(len(curve.rows)), **ends)
        case Platinum():
            assert element is not None
            right = {"kelvin": f"{float(element.kelvin):g}", "per_degree": f"{float(element.per_degree):g}"}
            return say(Say.PLATINUM, ohms=f"{float(curve.r0):g}", **right)


def _numbers(*numbers: object) -> Value:
    return listing(f"{float(n):g}" for n in numbers)  # type: ignore[arg-type]


# --- inputs


def _read(wiring: Input, element: Element) -> Value:
    parts: list[Value] = []
    if isinstance(element, Thermometer):
        assert wiring.resistor is not None
        pull = Say.READ_PULL_UP if wiring.pull is Pull.UP else Say.READ_PULL_DOWN
        parts.append(say(pull, resistor=wiring.resistor.text))
        if wiring.supply is None:
            parts.append(say(Say.READ_RATIO))
        else:
            assert wiring.reference is not None
            parts.append(say(Say.READ_SUPPLY, supply=wiring.supply.text))
            parts.append(say(Say.READ_AGAINST, reference=wiring.reference.text))
    else:
        assert wiring.reference is not None
        parts.append(say(Say.READ_REFERENCE, reference=wiring.reference.text))
    if wiring.gain != AS_IT_IS:
        parts.append(say(Say.READ_GAIN, gain=wiring.gain.text))
    if wiring.zero != NOTHING:
        parts.append(say(Say.READ_ZERO, zero=wiring.zero.text))
    if wiring.leads[1]:
        parts.append(say(Say.READ_LEADS, low=f"{float(wiring.leads[0]):g}", high=f"{float(wiring.leads[1]):g}"))
    if wiring.bits is not None:
        parts.append(say(Say.READ_BITS, bits=str(wiring.bits)))
    return listing(parts)


def _formula(sensor: Sensor, sensing: Sensing) -> Iterator[Phrase]:
    """How far the controller's own formula is off, by itself, at a few temperatures that are valid."""
    from interlock.elements.errors import Range, nominal_reading

    assert sensing.converts_by is not None
    valid = Range(sensor.valid.low, sensor.valid.high)
    examples = []
    for degrees in EXAMPLES:
        at = degrees * MICRO
        if at not in sensor.valid:
            continue
        off = nominal_reading(sensing, at, valid) - at
        rounded = round(abs(off) / FINE) * FINE
        if not rounded:
            continue
        way = say(Say.TOO_HIGH if off > 0 else Say.TOO_LOW)
        shown = value_text(rounded, sensor.kind, difference=True)
        examples.append(say(Say.CONVERTED_OFF, off=shown, way=way, at=value_text(at, sensor.kind)))
    if examples:
        yield say(Say.CONVERTED_BY, formula=_curve(sensing.converts_by), examples=listing(examples))


# --- plain facts


def plain_element(sensed: Sensed) -> dict[str, Plain]:
    """Base units: ohm, V, A, K, W/K; each rated value as [low, nominal, high]."""
    sensing = sensed.sensing
    return {
        "made_of": _plain(sensing.element),
        "input": _plain(sensing.input),
        "converts_by": None if sensing.converts_by is None else _plain(sensing.converts_by),
        "placed": plain_errors(sensed.placed),
        "own_error": plain_interval(sensed.own),
        "error": plain_errors(sensed.errors),
        "stated": [*sorted(sensed.stated)],
        "open_reads": None if sensed.open_reads is None else number(sensed.open_reads),
        "shorted_reads": None if sensed.shorted_reads is None else number(sensed.shorted_reads),
    }


def _plain(record: Struct) -> dict[str, Plain]:
    found: dict[str, Plain] = {"kind": type(record).__name__.lower()}
    for name in record.__struct_fields__:
        found[name] = _plain_value(getattr(record, name))
    return found


def _plain_value(value: object) -> Plain:
    if isinstance(value, Rated):
        return [float(value.low), float(value.nominal), float(value.high)]
    if isinstance(value, tuple):
        return [_plain_value(one) for one in value]
    if isinstance(value, Pull):
        return value.value
    if value is None or isinstance(value, int):
        return value
    if isinstance(value, Struct):
        return _plain(value)
    return float(value)  # type: ignore[arg-type]


def put_text(value: Fraction, unit: str) -> str:
    """What is put in an element's place, in ohms or volts: `10 kohm`, `24.9 kohm`, `0.69 mV`."""
    if unit == "ohm" and value >= 1000:
        return f"{decimal_text(round(value * 1000))} kohm" if value < 10**6 else f"{decimal_text(round(value))} Mohm"
    if unit == "V" and abs(value) < 1:
        return f"{decimal_text(round(value * 1000 * MICRO))} mV"
    return f"{decimal_text(round(value * MICRO))} {unit}"
