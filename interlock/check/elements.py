"""What a scheme states of its sensors, held against what they are made of."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding
from interlock.scheme.findings import Finding
from interlock.scheme.model import Condition, Interval, Limit, Sensed, Sensor, SensorError
from interlock.scheme.source import Place
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Must, Signal

SMALL = 100_000  # millionths of a kelvin: a formula that is off by less is as good as the table it stands for


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    for sensor in facts.scheme.sensors.values():
        if sensor.element is not None:
            yield from _understated(sensor, sensor.element)
            yield from _leads(sensor, sensor.element)
            yield from _formula(facts, sensor, sensor.element)


def _interval_text(interval: Interval, kind: Kind) -> str:
    return f"{value_text(interval.low, kind, difference=True)} to {value_text(interval.high, kind, difference=True)}"


# --- errors


def _understated(sensor: Sensor, element: Sensed) -> Iterator[Finding]:
    """An error stated by hand that is narrower than the one that follows from the element."""
    if "measures" not in element.stated:
        return
    computed = {e.quantity: e.interval for e in element.errors}
    short = [e for e in sensor.measures if not _holds(e.interval, computed[e.quantity])]
    if not short:
        return

    def both(error: SensorError) -> str:
        follows = _interval_text(computed[error.quantity], sensor.kind)
        return f"{_interval_text(error.interval, sensor.kind)} on `{error.quantity}`, and {follows} follows"

    parts = [both(e) for e in short]
    yield finding(
        Ident.ERROR_UNDERSTATED,
        sensor.name,
        sensor.place,
        f"`{sensor.name}` states an error of {'; '.join(parts)} from what it is made of and how it is read",
        "state at least what follows, or name the quantities alone and let it follow; better parts make it smaller",
    )


def _holds(outer: Interval, inner: Interval) -> bool:
    return outer.low <= inner.low and inner.high <= outer.high


# --- leads


def _leads(sensor: Sensor, element: Sensed) -> Iterator[Finding]:
    """A reading of an open or shorted lead, stated by hand, that is not what the element and its input make of it."""
    from interlock.elements.errors import Lead, Range, open_lead, shorted_lead
    from interlock.elements.records import ElementError

    valid = Range(sensor.valid.low, sensor.valid.high)

    def computed(key: str) -> Lead | None:
        try:
            return (open_lead if key == "open_reads" else shorted_lead)(element.sensing, valid)
        except ElementError:
            return None  # an open shunt: what is stated is all that is known

    for key, stated in (("open_reads", sensor.open_reads), ("shorted_reads", sensor.shorted_reads)):
        lead = computed(key)
        if key not in element.stated or stated is None or lead is None:
            continue
        if stated not in sensor.valid and lead.reads is None:
            continue  # invalid by hand and by the element
        if stated in sensor.valid and lead.reads is not None and lead.low <= stated <= lead.high:
            continue
        what = "an open lead" if key == "open_reads" else "a shorted lead"
        really = (
            "nothing valid" if lead.reads is None else f"about {value_text(lead.reads, sensor.kind)}, which is valid"
        )
        yield finding(
            Ident.LEAD_READS_OTHERWISE,
            sensor.name,
            sensor.place,
            f"`{sensor.name}` states that {what} reads {value_text(stated, sensor.kind)}; what it is made of and how "
            f"it is read makes {really} of it",
            f"leave `{key}` out and let it follow, or look again at the input: which side is the pull resistor on?",
        )


# --- formulas


def _formula(facts: Facts, sensor: Sensor, element: Sensed) -> Iterator[Finding]:
    """A controller whose formula is not the element's curve, and errs to the unsafe side at a requirement's limit."""
    if element.sensing.converts_by is None:
        return
    worst: tuple[int, int, int, Condition, str, Place] | None = None
    for claim in facts.scheme.claims:
        if claim.must is not Must.NEVER_RUNNING:
            continue
        for condition in claim.all_conditions():
            for at, off in _off_at(sensor, element, condition):
                assert isinstance(condition.test, Limit)
                unsafe = off if condition.test.compare.downward else -off
                if unsafe > SMALL and (worst is None or unsafe > worst[0]):
                    worst = (unsafe, at, off, condition, claim.requirement, claim.place)
    if worst is None:
        return
    _, at, off, condition, requirement, place = worst
    assert isinstance(condition.test, Limit)
    warmer = "warmer" if off > 0 else "colder"
    yield finding(
        Ident.FORMULA_READS_UNSAFE,
        sensor.name,
        sensor.place,
        f"at {value_text(at, sensor.kind)} the controller's formula reads `{sensor.name}` "
        f"{value_text(abs(off), sensor.kind, difference=True)} {warmer} than its element is: on the unsafe side of "
        f"`{requirement}`, which looks at `{condition.name}` {condition.test.compare} "
        f"{value_text(condition.test.value, sensor.kind)}",
        "give the controller the element's own table, or a formula fitted near the limit; the error is in the "
        "sensor's error already, so this costs margin",
        ((place, "the limit stands here"),),
    )


def _off_at(sensor: Sensor, element: Sensed, condition: Condition) -> Iterator[tuple[int, int]]:
    """Temperatures of the element with the quantity at the condition's limit, and how far the formula is off there."""
    from interlock.elements.errors import Range, nominal_reading

    if condition.signal is not Signal.QUANTITY or not isinstance(condition.test, Limit):
        return
    valid = Range(sensor.valid.low, sensor.valid.high)
    for placed in element.placed:
        if placed.quantity != condition.name:
            continue
        nearest = min(max(0, placed.interval.low), placed.interval.high)
        for offset in dict.fromkeys((nearest, placed.interval.low, placed.interval.high)):
            at = condition.test.value + offset
            if at in sensor.valid:
                yield at, nominal_reading(element.sensing, at, valid) - at
