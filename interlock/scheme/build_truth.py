"""Quantities, sensors and derived readings."""

from __future__ import annotations

from interlock.scheme.build_elements import Given, build_sensing, sensed
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Fields, Log, Named
from interlock.scheme.grammar import Span
from interlock.scheme.keys import Section
from interlock.scheme.model import Interval, Quantity, Reading, Sensor, SensorError, Tie
from interlock.scheme.source import Place
from interlock.scheme.tree import Scalar
from interlock.scheme.truth import Bounds, closed, declared_bounds, merged, reading_bounds
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Combine


def build_quantities(draft: Draft) -> dict[str, Quantity]:
    """The section `quantities`."""
    fields = {}
    spans = {}
    for entry, accepted in draft.entries(Section.QUANTITIES):
        found = draft.fields(Section.QUANTITIES, entry)
        if found is None:
            continue
        span = found.span("span")
        if accepted:
            fields[found.name] = found
            if span is not None and _absolute(draft, found, "span", span):
                spans[found.name] = span
                draft.kinds[found.name] = span.unit.kind
    built = {}
    for name, found in fields.items():
        at_least, at_most, why = _tie(draft, found, "at_least"), _tie(draft, found, "at_most"), found.text("why")
        kind = draft.kinds.get(name)
        below, above = _fixed(draft, found, "damaged_below", kind), _fixed(draft, found, "damaged_above", kind)
        if name in spans and kind is not None:
            built[name] = Quantity(name, kind, spans[name].interval, at_least, at_most, why, below, above, found.place)
            _judge_damage(draft, found, built[name])
    if built and len(built) == len(fields) and closed(declared_bounds(built)) is None:
        _report_impossible(draft, built)
    return built


def _judge_damage(draft: Draft, found: Fields, quantity: Quantity) -> None:
    """Damage lies within the span: where the quantity can never be, nothing is damaged."""
    for key, value in (("damaged_below", quantity.damaged_below), ("damaged_above", quantity.damaged_above)):
        if value is not None and value not in quantity.span:
            draft.log.report(
                "limit-outside-span",
                f"`{quantity.name}` is damaged at {value_text(value, quantity.kind)}, where it can never be",
                found.value_place(key),
                "correct it, or the span",
                ((found.value_place("span"), "the span"),),
            )


def _report_impossible(draft: Draft, built: dict[str, Quantity]) -> None:
    """Name the first quantity whose span and ties leave nothing together with those before it."""
    taken: dict[str, Quantity] = {}
    for name, quantity in built.items():
        taken[name] = quantity
        if closed(declared_bounds(taken)) is None:
            draft.log.report(
                "no-truth-left",
                f"no value of `{name}` meets its span and ties together with the quantities before it",
                quantity.place,
                "check the spans and the signs of the differences",
                tuple((q.place, f"`{q.name}` stands here") for q in taken.values() if q is not quantity)[:4],
            )
            return


def _absolute(draft: Draft, found: Fields, key: str, span: Span) -> bool:
    if span.unit.absolute:
        return True
    draft.log.report(
        "wrong-unit",
        f"`{span.unit.symbol}` is a unit of differences",
        found.value_place(key),
        f"expected values in {span.unit.kind}",
    )
    return False


def _tie(draft: Draft, found: Fields, key: str) -> Tie | None:
    written = found.tie(key)
    if written is None:
        return None
    place = found.part(key, 0, len(written.other))
    other = draft.find(Named(written.other, place), Section.QUANTITIES)
    if not other:
        return None
    if other == found.name:
        draft.log.report("tied-to-itself", f"`{other}` is tied to itself", place, "name another quantity")
        return None
    kind = draft.kinds.get(found.name)
    if kind and other in draft.kinds and draft.kinds[other] is not kind:
        draft.log.report(
            "wrong-kind",
            f"`{found.name}` is a {kind.noun}, `{other}` a {draft.kinds[other].noun}",
            place,
            "tie quantities of one kind",
        )
        return None
    if written.difference is None:
        return Tie(other, 0)
    if kind and not draft.fits(written.difference, kind, difference=True):
        draft.log.report(
            "wrong-unit",
            f"`{written.difference.unit.symbol}` is no unit for a difference of {kind.noun}s",
            found.part(key, written.difference.start, written.difference.length),
            f"expected {kind.difference_unit}",
        )
        return None
    return Tie(other, written.difference.micro)


def build_sensors(draft: Draft, quantities: dict[str, Quantity]) -> dict[str, Sensor]:
    """The section `sensors`."""
    built = {}
    for entry, accepted in draft.entries(Section.SENSORS):
        found = draft.fields(Section.SENSORS, entry)
        if found is None:
            continue
        sensor = _sensor(draft, found, quantities)
        if sensor and accepted:
            built[sensor.name] = sensor
            draft.kinds[sensor.name] = sensor.kind
    _check_readable(draft, quantities, built)
    return built


def _sensor(draft: Draft, found: Fields, quantities: dict[str, Quantity]) -> Sensor | None:
    made = build_sensing(draft, found)
    named = found.measured("measures") if found.has("element") else None
    measures = _errors(draft, found.measures("measures")) if named is None else ()
    measured = tuple(e.quantity for e in measures)
    if named is not None:
        measured = tuple(name for one in named if (name := draft.find(one, Section.QUANTITIES)))
    kinds = {draft.kinds[quantity] for quantity in measured if quantity in draft.kinds}
    kind = next(iter(kinds)) if len(kinds) == 1 else None
    if len(kinds) > 1:
        draft.log.report(
            "wrong-kind",
            f"`{found.name}` measures " + " and ".join(sorted(f"a {k.noun}" for k in kinds)),
            found.value_place("measures"),
            "a sensor measures quantities of one kind",
        )
    valid = found.span("valid")
    if valid and kind and (valid.unit.kind is not kind or not valid.unit.absolute):
        draft.log.report(
            "wrong-unit",
            f"`{valid.unit.symbol}` does not fit `{found.name}`, which measures a {kind.noun}",
            found.value_place("valid"),
            f"expected values in {kind}",
        )
        valid = None
    open_reads, shorted_reads = _fixed(draft, found, "open_reads", kind), _fixed(draft, found, "shorted_reads", kind)
    element = None
    if found.has("element"):
        placed = changed_errors(draft, found, "placed", dict.fromkeys(measured, Interval(0, 0)))
        wanted = draft.elements or named is not None
        if made and kind and valid and _made_for(draft, found, made.kind, kind) and wanted:
            by_hand = {"measures": named is None, **{k: found.has(k) for k in ("open_reads", "shorted_reads")}}
            given = Given(measured, placed, valid, frozenset(key for key, so in by_hand.items() if so))
            element = sensed(draft, found, made, given, quantities)
    if element and named is not None:
        measures = element.errors
    if element:
        open_reads = open_reads if found.has("open_reads") else element.open_reads
        shorted_reads = shorted_reads if found.has("shorted_reads") else element.shorted_reads
    drifts = _changed_errors(draft, found, "drifts", measures)
    misplaced = _changed_errors(draft, found, "misplaced", measures)
    stale = found.time("stale_after")
    texts = found.text("terminal"), found.text("wire"), found.text("why")
    if kind is None or valid is None or not measures:
        return None
    stale_after = draft.delay(stale) if stale is not None else None
    return Sensor(
        found.name, kind, measures, valid.interval, drifts, misplaced, open_reads, shorted_reads, stale_after, *texts,
        found.place, element,
    )  # fmt: skip


def _made_for(draft: Draft, found: Fields, made: Kind, kind: Kind) -> bool:
    if made is kind:
        return True
    draft.log.report(
        "wrong-kind",
        f"`{found.name}` measures a {kind.noun} and is made to measure a {made.noun}",
        found.value_place("element"),
        "an NTC or platinum for a temperature, a divider for a voltage, a shunt for a current",
    )
    return False


def _errors(draft: Draft, written: list[tuple[Named, Span, Scalar]]) -> tuple[SensorError, ...]:
    """Error intervals per quantity, in differences."""
    errors = []
    for named, span, _ in written:
        name = draft.find(named, Section.QUANTITIES)
        if name and difference_unit(draft, name, span, named.place):
            errors.append(SensorError(name, span.interval))
    return tuple(errors)


def difference_unit(draft: Draft, name: str, span: Span, place: Place) -> bool:
    kind = draft.kinds.get(name)
    if kind is None or (span.unit.kind is kind and span.unit.difference):
        return True
    draft.log.report(
        "wrong-unit",
        f"`{span.unit.symbol}` is no unit for the error of a {kind.noun}",
        place,
        f"an error is a difference: write it in {kind.difference_unit}",
    )
    return False


def _changed_errors(
    draft: Draft, found: Fields, key: str, measures: tuple[SensorError, ...]
) -> tuple[SensorError, ...]:
    return changed_errors(draft, found, key, {e.quantity: e.interval for e in measures})


def changed_errors(draft: Draft, found: Fields, key: str, healthy: dict[str, Interval]) -> tuple[SensorError, ...]:
    """One interval for all the quantities a sensor measures, or one each; those not named keep their healthy one."""
    written = found.errors(key)
    if written is None:
        return ()
    if isinstance(written, Span):
        if all(difference_unit(draft, q, written, found.value_place(key)) for q in healthy):
            return tuple(SensorError(q, written.interval) for q in healthy)
        return ()
    changed = dict(healthy)
    for named, span, _ in written:
        name = draft.find(named, Section.QUANTITIES)
        if name and name not in healthy:
            draft.log.report(
                "not-measured",
                f"`{found.name}` does not measure `{name}`",
                named.place,
                "measured: " + ", ".join(healthy),
            )
        elif name and difference_unit(draft, name, span, named.place):
            changed[name] = span.interval
    return tuple(SensorError(q, interval) for q, interval in changed.items())


def _fixed(draft: Draft, found: Fields, key: str, kind: Kind | None) -> int | None:
    measure = found.value(key)
    if measure is None:
        return None
    if kind and not draft.fits(measure, kind, difference=False):
        draft.log.report(
            "wrong-unit",
            f"`{measure.unit.symbol}` does not fit `{found.name}`: {kind.noun} is asked for",
            found.value_place(key),
            f"expected a value in {kind}",
        )
        return None
    return measure.micro


def _check_readable(draft: Draft, quantities: dict[str, Quantity], sensors: dict[str, Sensor]) -> None:
    """Some truth must be readable by all sensors, and a drifted or misplaced one must still read every such truth."""
    declared = declared_bounds(quantities)
    if closed(declared) is None:
        return
    readable = [reading_bounds(e for e in s.measures if e.quantity in quantities) for s in sensors.values()]
    truths = closed(merged(declared, *readable))
    if truths is None:
        _report_unreadable(draft, declared, sensors, readable)
        return
    for sensor in sensors.values():
        for key, errors in (("drifts", sensor.drifts), ("misplaced", sensor.misplaced)):
            check_admits_all(draft.log, sensor, errors, truths, key)


def _report_unreadable(draft: Draft, taken: Bounds, sensors: dict[str, Sensor], readable: list[Bounds]) -> None:
    for sensor, bounds in zip(sensors.values(), readable, strict=True):
        taken = merged(taken, bounds)
        if closed(taken) is None:
            draft.log.report(
                "no-truth-left",
                f"no truth lets `{sensor.name}` read all its quantities at once",
                sensor.place,
                "check its error intervals: reading minus truth, for each quantity",
            )
            return


def check_admits_all(log: Log, sensor: Sensor, errors: tuple[SensorError, ...], truths: Bounds, key: str) -> None:
    """The error intervals of a fault must admit a reading for every truth that can occur."""
    for (p, q), most in reading_bounds(errors).items():
        reached = truths.get((p, q))
        if reached is not None and reached > most:
            log.report(
                "fault-restricts-truth",
                f"`{key}` of `{sensor.name}` admits no reading where `{p}` is more than "
                f"{value_text(most, sensor.kind, difference=True)} above `{q}`, and it may be "
                f"{value_text(reached, sensor.kind, difference=True)}",
                sensor.place,
                f"widen the intervals: low of `{p}` down or high of `{q}` up",
            )
            return


def build_readings(draft: Draft) -> dict[str, Reading]:
    """The section `readings`."""
    built = {}
    for entry, accepted in draft.entries(Section.READINGS):
        found = draft.fields(Section.READINGS, entry)
        if found is None:
            continue
        reading = _reading(draft, found)
        if reading and accepted:
            built[reading.name] = reading
            draft.kinds[reading.name] = reading.kind
            if reading.combine is Combine.DIFFERENCE_OF:
                draft.differences.add(reading.name)
    return built


def _reading(draft: Draft, found: Fields) -> Reading | None:
    given = [combine for combine in Combine if found.has(str(combine))]
    needs, why = found.count("needs"), found.text("why")
    if len(given) != 1:
        ident = "missing-key" if not given else "keys-exclude"
        said = "says not how its sensors combine" if not given else "combines its sensors in several ways"
        draft.log.report(ident, f"`{found.name}` {said}", found.place, "one of " + ", ".join(str(c) for c in Combine))
        return None
    key = str(given[0])
    written = found.names(key)
    sensors = [name for named in written if (name := draft.find(named, Section.SENSORS))]
    kinds = {draft.kinds[s] for s in sensors if s in draft.kinds}
    if len(kinds) > 1:
        draft.log.report(
            "wrong-kind",
            f"`{found.name}` combines " + " and ".join(sorted(f"a {k.noun}" for k in kinds)),
            found.value_place(key),
            "combine sensors of one kind",
        )
    if needs and sensors and needs > len(written):
        draft.log.report(
            "needs-too-many",
            f"`{found.name}` needs {needs} valid sensors and has {len(written)}",
            found.value_place("needs"),
            f"at most {len(written)}",
        )
    if len(kinds) != 1 or len(sensors) != len(written):
        return None
    return Reading(found.name, kinds.pop(), given[0], tuple(sensors), needs or len(sensors), why, found.place)
