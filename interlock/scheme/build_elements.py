"""What a sensor is made of: `element`, `input` and `placed`, and the error that follows from them."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from itertools import pairwise

from msgspec import Struct

from interlock.elements.records import (
    AS_IT_IS,
    NOTHING,
    Beta,
    Curve,
    Divider,
    Element,
    ElementError,
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
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Fields
from interlock.scheme.grammar import Span, read_value
from interlock.scheme.keys import Form, Nested
from interlock.scheme.model import Interval, Quantity, Sensed, SensorError
from interlock.scheme.units import MICRO, Kind
from interlock.scheme.words import ElementType, PlatinumClass

KIND_OF = {
    ElementType.NTC: Kind.TEMPERATURE,
    ElementType.PT100: Kind.TEMPERATURE,
    ElementType.PT1000: Kind.TEMPERATURE,
    ElementType.DIVIDER: Kind.VOLTAGE,
    ElementType.SHUNT: Kind.CURRENT,
}
assert set(KIND_OF) == set(ElementType)

_CURVES = ("beta", "steinhart_hart", "polynomial", "table")
_NEEDS: dict[ElementType, tuple[str, ...]] = {
    ElementType.NTC: (),
    ElementType.PT100: ("class",),
    ElementType.PT1000: ("class",),
    ElementType.DIVIDER: ("top", "bottom"),
    ElementType.SHUNT: ("rated_current", "rated_voltage"),
}
_TAKES: dict[ElementType, tuple[str, ...]] = {
    ElementType.NTC: ("r25", *_CURVES, "tolerance", "dissipates"),
    ElementType.PT100: ("dissipates",),
    ElementType.PT1000: ("dissipates",),
    ElementType.DIVIDER: (),
    ElementType.SHUNT: (),
}
assert set(_NEEDS) == set(_TAKES) == set(ElementType)
_THERMOMETERS_INPUT = ("pull_up", "pull_down", "supply", "leads", "converts_by")
_VOLTS_INPUT = ("gain", "zero")
_MOST_BITS = 32
_MOST_ROWS = 1000
_NONE = (Fraction(0), Fraction(0))


class Made(Struct, frozen=True):
    """An element as written, with the kind of what it measures."""

    sensing: Sensing
    kind: Kind


def build_sensing(draft: Draft, found: Fields) -> Made | None:
    """The element and its input; None where there is none, or where it could not be read (then reported)."""
    element_fields = found.nested("element", Form.ELEMENT, Nested.ELEMENT)
    input_fields = found.nested("input", Form.INPUT, Nested.INPUT)
    if not found.has("element"):
        for key in ("input", "placed"):
            if found.has(key):
                draft.log.report(
                    "key-without-effect",
                    f"`{key}` of `{found.name}` says nothing without an element",
                    found.key_place(key),
                    "say what the sensor is made of: `element: {type: ...}`",
                )
        return None
    if not found.has("input"):
        draft.log.report(
            "missing-key",
            f"`{found.name}` has an element and no `input`",
            found.key_place("element"),
            "say how it is read, such as `input: {pull_up: 10 kohm within 0.1 %, bits: 12}`",
        )
    if element_fields is None or input_fields is None:
        return None
    before = len(draft.log.findings)
    what = element_fields.word("type", ElementType)
    if what is None:
        return None
    _only(draft, element_fields, what)
    element = _element(draft, element_fields, what)
    read = _input(draft, input_fields, what, element)
    element_fields.text("why")
    input_fields.text("why")
    if element is None or read is None or len(draft.log.findings) > before:
        return None
    wiring, converts_by = read
    return Made(Sensing(element, wiring, converts_by), KIND_OF[what])


def _only(draft: Draft, fields: Fields, what: ElementType) -> None:
    """Keys that an element of this type needs, and those that say nothing about it."""
    takes = {"type", "why", *_NEEDS[what], *_TAKES[what]}
    for key in _NEEDS[what]:
        _need(draft, fields, key, f"a {what}")
    for key in fields.given():
        if key not in takes:
            _idle(draft, fields, key, f"a {what}", "it takes " + ", ".join(sorted(takes - {"type", "why"})))


def _need(draft: Draft, fields: Fields, key: str, what: str) -> bool:
    if fields.has(key):
        return True
    draft.log.report("missing-key", f"{what} has no `{key}`", fields.place, f"{key}: {fields.says(key)}")
    return False


def _idle(draft: Draft, fields: Fields, key: str, what: str, hint: str) -> None:
    draft.log.report("key-without-effect", f"`{key}` says nothing about {what}", fields.key_place(key), hint)


def _positive(draft: Draft, fields: Fields, key: str) -> Rated | None:
    """A rated value above 0, its tolerance included."""
    rated = fields.rated(key)
    if rated is not None and rated.low <= 0:
        draft.log.report(
            "number-out-of-range",
            f"`{key}` may be 0 or less by its tolerance" if rated.nominal > 0 else f"`{key}` is 0 or less",
            fields.value_place(key),
            "a part's value is above 0",
        )
        return None
    return rated


# --- elements


def _element(draft: Draft, fields: Fields, what: ElementType) -> Element | None:
    match what:
        case ElementType.NTC:
            curve = _curve(draft, fields)
            part, kelvin = _tolerance(draft, fields)
            dissipates = _positive(draft, fields, "dissipates")
            return Thermometer(curve, part, kelvin, dissipates=dissipates) if curve else None
        case ElementType.PT100 | ElementType.PT1000:
            word = fields.word("class", PlatinumClass)
            dissipates = _positive(draft, fields, "dissipates")
            if word is None:
                return None
            from interlock.elements.classes import CLASS_A, CLASS_B

            kelvin, per_degree = CLASS_A if word is PlatinumClass.A else CLASS_B
            curve = Platinum(Fraction(100 if what is ElementType.PT100 else 1000))
            return Thermometer(curve, Fraction(0), kelvin, per_degree, dissipates)
        case ElementType.DIVIDER:
            top, bottom = _positive(draft, fields, "top"), _positive(draft, fields, "bottom")
            return Divider(top, bottom) if top and bottom else None
        case ElementType.SHUNT:
            current, voltage = _positive(draft, fields, "rated_current"), _positive(draft, fields, "rated_voltage")
            if current and current.low != current.high:
                draft.log.report(
                    "bad-value",
                    "a shunt's tolerance stands with its voltage",
                    fields.value_place("rated_current"),
                    "such as `rated_voltage: 50 mV within 0.25 %`",
                )
            return Shunt(current.nominal, voltage) if current and voltage else None


def _tolerance(draft: Draft, fields: Fields) -> tuple[Fraction, Fraction]:
    measure = fields.value("tolerance")
    if measure is None:
        return _NONE
    size = Fraction(measure.micro, MICRO)
    if measure.unit.kind is Kind.PERCENT and 0 <= size < 100:
        return size / 100, Fraction(0)
    if measure.unit.kind is Kind.TEMPERATURE and measure.unit.difference and size >= 0:
        return Fraction(0), size
    draft.log.report(
        "wrong-unit" if size >= 0 else "number-out-of-range",
        "this is no tolerance of an NTC",
        fields.value_place("tolerance"),
        "in % of its resistance, below 100 %, or in K",
    )
    return _NONE


def _curve(draft: Draft, fields: Fields, *, bare: bool = False) -> Curve | None:
    """The curve of an NTC, one of four; `bare`: what a controller goes by, which has no tolerances."""
    r25, beta = _positive(draft, fields, "r25"), _positive(draft, fields, "beta")
    given = [key for key in _CURVES if fields.has(key)]
    what = "what the controller goes by" if bare else "an NTC"
    if len(given) != 1:
        said = f"{what} has no curve" if not given else f"{what} has several curves"
        ident = "missing-key" if not given else "keys-exclude"
        draft.log.report(ident, said, fields.place, "one of " + ", ".join(_CURVES))
        return None
    if bare:
        for key, rated in (("r25", r25), ("beta", beta)):
            if rated is not None and rated.low != rated.high:
                draft.log.report(
                    "bad-value",
                    "a formula has no tolerance",
                    fields.value_place(key),
                    "the numbers it is worked out with",
                )
    which = given[0]
    if which in ("beta", "polynomial"):
        if not _need(draft, fields, "r25", f"a curve by `{which}`"):
            return None
    elif fields.has("r25"):
        _idle(draft, fields, "r25", f"a curve by `{which}`", "its resistance is in the curve already")
    match which:
        case "beta":
            return Beta(r25, beta) if r25 and beta else None
        case "steinhart_hart":
            numbers = fields.numbers("steinhart_hart", 3)
            return SteinhartHart(*numbers) if numbers else None
        case "polynomial":
            numbers = fields.numbers("polynomial", 4)
            return Polynomial(r25, *numbers) if numbers and r25 else None
        case _:
            return _table(draft, fields)


def _table(draft: Draft, fields: Fields) -> Table | None:
    rows = []
    for named, rated, _ in fields.rows("table"):
        measure = fields.parse_at(named, read_value)
        if measure is None:
            return None
        if measure.unit.kind is not Kind.TEMPERATURE or not measure.unit.absolute or rated.nominal <= 0:
            draft.log.report(
                "wrong-unit", f"`{named.text}` is no row of a table", named.place, "`-20 degC: 67.77 kohm`"
            )
            return None
        rows.append((Fraction(measure.micro, MICRO), rated.nominal))
    rows.sort()
    falls = all(a[0] < b[0] and a[1] > b[1] for a, b in pairwise(rows))
    if not 2 <= len(rows) <= _MOST_ROWS or not falls:
        draft.log.report(
            "bad-value",
            "an NTC's resistance falls with every row of its table"
            if len(rows) > 1
            else "a table has two rows or more",
            fields.value_place("table"),
            "each temperature once, each with less than the one before; a thousand rows at most",
        )
        return None
    return Table(tuple(rows))


# --- inputs


def _input(
    draft: Draft, fields: Fields, what: ElementType, element: Element | None
) -> tuple[Input, Curve | None] | None:
    bits = fields.count("bits")
    if bits is not None and bits > _MOST_BITS:
        draft.log.report("number-out-of-range", f"no converter has {bits} bits", fields.value_place("bits"), "up to 32")
        return None
    reference = _positive(draft, fields, "reference")
    thermometer = KIND_OF[what] is Kind.TEMPERATURE
    for key in _VOLTS_INPUT if thermometer else _THERMOMETERS_INPUT:
        if fields.has(key):
            _idle(
                draft,
                fields,
                key,
                f"how a {what} is read",
                "it reads a resistance" if thermometer else "it reads volts",
            )
    if not thermometer:
        if not _need(draft, fields, "reference", f"the input of a {what}") or reference is None:
            return None
        gain = _positive(draft, fields, "gain") or AS_IT_IS
        return Input(reference=reference, bits=bits, gain=gain, zero=fields.rated("zero") or NOTHING), None
    return _thermometers_input(draft, fields, what, element, reference, bits)


def _thermometers_input(
    draft: Draft,
    fields: Fields,
    what: ElementType,
    element: Element | None,
    reference: Rated | None,
    bits: int | None,
) -> tuple[Input, Curve | None] | None:
    pulls = {Pull.UP: _positive(draft, fields, "pull_up"), Pull.DOWN: _positive(draft, fields, "pull_down")}
    supply = _positive(draft, fields, "supply")
    if fields.has("pull_up") == fields.has("pull_down"):
        ident, said = ("keys-exclude", "two") if fields.has("pull_up") else ("missing-key", "no")
        draft.log.report(
            ident,
            f"the input of a {what} has {said} pull resistor{'s' if said == 'two' else ''}",
            fields.place,
            "one of pull_up, pull_down",
        )
        return None
    if supply and not _need(draft, fields, "reference", "an input with a `supply` of its own"):
        return None
    if isinstance(element, Thermometer) and element.dissipates and not (supply or reference):
        draft.log.report(
            "missing-key",
            f"the input of a {what} that warms itself has neither `reference` nor `supply`",
            fields.place,
            "how much it warms itself depends on the voltage",
        )
        return None
    leads = _leads(draft, fields)
    converts_by = None
    if fields.has("converts_by"):
        curve = fields.nested("converts_by", Form.CURVE, Nested.CURVE)
        if what is not ElementType.NTC:
            _idle(draft, fields, "converts_by", f"a {what}", "it is converted by IEC 60751")
        elif curve is not None:
            converts_by = _curve(draft, curve, bare=True)
            curve.text("why")
    pull = Pull.UP if fields.has("pull_up") else Pull.DOWN
    if pulls[pull] is None:
        return None
    return Input(pull, pulls[pull], supply, reference, bits, leads), converts_by


def _leads(draft: Draft, fields: Fields) -> tuple[Fraction, Fraction]:
    span = fields.span("leads")
    if span is None:
        return _NONE
    if span.unit.kind is not Kind.RESISTANCE or span.interval.low < 0:
        draft.log.report(
            "wrong-unit", "this is no resistance of leads", fields.value_place("leads"), "such as `0 to 0.5 ohm`"
        )
        return _NONE
    return Fraction(span.interval.low, MICRO), Fraction(span.interval.high, MICRO)


# --- what follows


class Given(Struct, frozen=True):
    """What a sensor's other keys say: what it measures, where its element is, what is stated by hand."""

    measured: tuple[str, ...]
    placed: tuple[SensorError, ...]
    valid: Span
    stated: frozenset[str]


def sensed(draft: Draft, found: Fields, made: Made, given: Given, quantities: Mapping[str, Quantity]) -> Sensed | None:
    """The error and the lost readings that follow from the element; None (reported) where nothing can follow."""
    from interlock.elements.errors import Range, error_interval, open_lead, shorted_lead

    known = [name for name in given.measured if name in quantities]
    offsets = {one.quantity: one.interval for one in given.placed}
    nowhere = Interval(0, 0)
    placed = tuple(SensorError(name, offsets.get(name, nowhere)) for name in known)
    if not known or len(known) < len(given.measured):
        return None
    low = max(quantities[p.quantity].span.low + p.interval.low for p in placed)
    high = min(quantities[p.quantity].span.high + p.interval.high for p in placed)
    valid = Range(given.valid.interval.low, given.valid.interval.high)
    if low > high:
        draft.log.report(
            "no-truth-left",
            f"no place of `{found.name}` is so near to all that it measures",
            found.key_place("placed"),
            "check the differences: the element's place minus the quantity",
        )
        return None
    try:
        own = error_interval(made.sensing, Range(low, high), valid)
        opened = None
        if "open_reads" not in given.stated:
            if isinstance(made.sensing.element, Shunt):
                draft.log.report(
                    "missing-key",
                    f"`{found.name}` is a shunt and has no `open_reads`",
                    found.place,
                    "an open sense lead hangs in the air: try what it reads; a value outside `valid` is invalid",
                )
                return None
            opened = open_lead(made.sensing, valid).reads
        elif not isinstance(made.sensing.element, Shunt):
            opened = open_lead(made.sensing, valid).reads
        shorted = shorted_lead(made.sensing, valid).reads
    except ElementError as error:
        draft.log.report(
            "element-falls-short",
            f"`{found.name}`: {error}",
            found.key_place("element"),
            "narrow the span or the valid range, or say more about the element",
        )
        return None
    errors = tuple(
        SensorError(p.quantity, Interval(own.low + p.interval.low, own.high + p.interval.high)) for p in placed
    )
    return Sensed(made.sensing, placed, Interval(own.low, own.high), errors, opened, shorted, given.stated)
