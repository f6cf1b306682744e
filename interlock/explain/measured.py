"""What is protected and what is measured, in words."""

from __future__ import annotations

from interlock.explain.conditions import errors, number, plain_errors, plain_interval, plain_time, time
from interlock.explain.document import Item, Plain
from interlock.explain.elements import made_of, plain_element
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import COMBINED, NOUNS
from interlock.explain.words import Say
from interlock.scheme.model import Quantity, Reading, Scheme, Sensor, Tie
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Combine, Signal


def why(reason: str) -> list[Phrase]:
    """The reason given, if any."""
    return [say(Say.WHY, why=reason.rstrip(". "))] if reason else []


def labels(terminal: str, wire: str) -> list[Phrase]:
    """Where a part is connected, if the scheme says so."""
    found = [say(Say.LABEL_TERMINAL, terminal=terminal)] if terminal else []
    found += [say(Say.LABEL_WIRE, wire=wire)] if wire else []
    return [say(Say.LABELS, labels=listing(found, Say.COMMA))] if found else []


def quantities(scheme: Scheme) -> list[Item]:
    """Each quantity: its span, its ties, what measures it."""
    return [_quantity(scheme, quantity) for quantity in scheme.quantities.values()]


def _quantity(scheme: Scheme, quantity: Quantity) -> Item:
    kind = quantity.kind
    sensors = [s.name for s in scheme.sensors.values() if any(e.quantity == quantity.name for e in s.measures)]
    sentences = [
        say(
            Say.QUANTITY_SPAN,
            noun=say(NOUNS[kind]),
            low=value_text(quantity.span.low, kind),
            high=value_text(quantity.span.high, kind),
        )
    ]
    if quantity.at_least:
        sentences.append(say(Say.QUANTITY_AT_LEAST, bound=_bound(quantity.at_least, kind)))
    if quantity.at_most:
        sentences.append(say(Say.QUANTITY_AT_MOST, bound=_bound(quantity.at_most, kind)))
    for template, value in (
        (Say.QUANTITY_DAMAGED_BELOW, quantity.damaged_below),
        (Say.QUANTITY_DAMAGED_ABOVE, quantity.damaged_above),
    ):
        if value is not None:
            sentences.append(say(template, value=value_text(value, kind)))
    sentences.append(say(Say.QUANTITY_MEASURED, sensors=listing(sensors)) if sensors else say(Say.QUANTITY_UNMEASURED))
    data: dict[str, Plain] = {"unit": str(kind), "span": plain_interval(quantity.span), "measured_by": [*sensors]}
    for key, tie in (("at_least", quantity.at_least), ("at_most", quantity.at_most)):
        if tie:
            data[key] = {"quantity": tie.other, "difference": number(tie.difference)}
    for name, value in (("damaged_below", quantity.damaged_below), ("damaged_above", quantity.damaged_above)):
        if value is not None:
            data[name] = number(value)
    return Item(quantity.name, quantity.name, (*sentences, *why(quantity.why)), data=data)


def _bound(tie: Tie, kind: Kind) -> Value:
    if tie.difference == 0:
        return tie.other
    key = Say.PLUS if tie.difference > 0 else Say.MINUS
    return say(key, name=tie.other, difference=value_text(abs(tie.difference), kind, difference=True))


def sensors(scheme: Scheme) -> list[Item]:
    """Each sensor: its error, its valid range, what its faults read."""
    return [_sensor(scheme, sensor) for sensor in scheme.sensors.values()]


def _sensor(scheme: Scheme, sensor: Sensor) -> Item:
    kind = sensor.kind
    users: list[str] = [r.name for r in scheme.readings.values() if sensor.name in r.sensors]
    users += _watchers(scheme, Signal.SENSOR, sensor.name)
    sentences = [
        say(Say.SENSOR_MEASURES, errors=errors(kind, sensor.measures)),
        *made_of(sensor),
        say(
            Say.SENSOR_VALID,
            low=value_text(sensor.valid.low, kind),
            high=value_text(sensor.valid.high, kind),
        ),
        _lead(sensor, sensor.open_reads, Say.SENSOR_OPEN_LOST, Say.SENSOR_OPEN_READS, Say.SENSOR_OPEN_READS_INVALID),
        _lead(
            sensor,
            sensor.shorted_reads,
            Say.SENSOR_SHORTED_LOST,
            Say.SENSOR_SHORTED_READS,
            Say.SENSOR_SHORTED_READS_INVALID,
        ),
        say(Say.SENSOR_STALE, time=time(scheme, sensor.stale_after)) if sensor.stale_after else say(Say.SENSOR_STUCK),
    ]
    if sensor.drifts:
        sentences.append(say(Say.SENSOR_DRIFTS, errors=errors(kind, sensor.drifts)))
    if sensor.misplaced:
        sentences.append(say(Say.SENSOR_MISPLACED, errors=errors(kind, sensor.misplaced)))
    sentences.append(say(Say.SENSOR_USED_BY, users=listing(users)) if users else say(Say.SENSOR_UNUSED))
    data: dict[str, Plain] = {
        "unit": str(kind),
        "measures": plain_errors(sensor.measures),
        "valid": plain_interval(sensor.valid),
        "open_reads": None if sensor.open_reads is None else number(sensor.open_reads),
        "shorted_reads": None if sensor.shorted_reads is None else number(sensor.shorted_reads),
        "stale_after": plain_time(sensor.stale_after) if sensor.stale_after else None,
        "drifts": plain_errors(sensor.drifts),
        "misplaced": plain_errors(sensor.misplaced),
        "terminal": sensor.terminal,
        "wire": sensor.wire,
        "used_by": [*users],
    }
    if sensor.element is not None:
        data["element"] = plain_element(sensor.element)
    ending = [*labels(sensor.terminal, sensor.wire), *why(sensor.why)]
    return Item(sensor.name, sensor.name, (*sentences, *ending), data=data)


def _lead(sensor: Sensor, reads: int | None, lost: Say, valid: Say, invalid: Say) -> Phrase:
    if reads is None:
        return say(lost)
    return say(valid if reads in sensor.valid else invalid, value=value_text(reads, sensor.kind))


def readings(scheme: Scheme) -> list[Item]:
    """Each derived reading: what it is of, and when it is lost."""
    return [_reading(scheme, reading) for reading in scheme.readings.values()]


def _reading(scheme: Scheme, reading: Reading) -> Item:
    count = len(reading.sensors)
    users = _watchers(scheme, Signal.READING, reading.name)
    sentences = [
        say(Say.READING_IS, combined=say(COMBINED[reading.combine]), sensors=listing(reading.sensors)),
        say(Say.READING_NEEDS_ALL)
        if reading.needs == count
        else say(Say.READING_NEEDS, needs=str(reading.needs), count=str(count)),
        say(Say.SENSOR_USED_BY, users=listing(users)) if users else say(Say.SENSOR_UNUSED),
    ]
    data: dict[str, Plain] = {
        "unit": reading.kind.difference_unit if reading.combine is Combine.DIFFERENCE_OF else str(reading.kind),
        "combine": str(reading.combine),
        "sensors": [*reading.sensors],
        "needs": reading.needs,
        "used_by": [*users],
    }
    return Item(reading.name, reading.name, (*sentences, *why(reading.why)), data=data)


def _watchers(scheme: Scheme, signal: Signal, name: str) -> list[str]:
    return [r.name for r in scheme.rules.values() if r.watches is signal and r.watched == name]
