"""Devices: what is set inside them, and where the truth is when they act on it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import ceil, floor

from interlock.scheme.build_truth import difference_unit
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Fields, Named
from interlock.scheme.grammar import Measure, Span, WrittenLimit, WrittenTrigger
from interlock.scheme.judge import range_text
from interlock.scheme.keys import Section
from interlock.scheme.model import (
    Delay,
    Device,
    DeviceLimit,
    Interval,
    Limit,
    Path,
    Quantity,
    SensorError,
)
from interlock.scheme.source import Place
from interlock.scheme.tree import Scalar
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Compare, OwnLimit, Signal

EXACT = Interval(0, 0)


def build_devices(draft: Draft, paths: Mapping[str, Path], quantities: Mapping[str, Quantity]) -> dict[str, Device]:
    """The section `devices`, each under the name of its path."""
    built = {}
    for entry, _ in draft.entries(Section.DEVICES):
        named = draft.find(Named(entry.key.text, entry.key.place), Section.PATHS)
        found = draft.fields(Section.DEVICES, entry)
        if found is not None:
            device = _device(draft, found, quantities)
            if named in paths:
                built[named] = device
                _judge_remote(draft, found, paths[named])
    return built


def _device(draft: Draft, found: Fields, quantities: Mapping[str, Quantity]) -> Device:
    cells = found.count("cells") or 1
    written: dict[OwnLimit, tuple[str, Compare | None, Measure, int, Place]] = {}
    for which in OwnLimit:
        one = _written(draft, found, which)
        if one:
            written[which] = one
    named = tuple(dict.fromkeys(quantity for quantity, *_ in written.values()))
    errors = _errors(draft, found, "error", named)
    imbalance = _errors(draft, found, "imbalance", named)
    if found.has("imbalance") and not found.has("cells"):
        draft.log.report(
            "key-without-effect",
            f"`imbalance` of `{found.name}` says nothing without `cells`",
            found.key_place("imbalance"),
            "give the number of cells in series, or leave it out",
        )
    limits = []
    for which, (quantity, compare, measure, us, place) in written.items():
        limit = _limit(
            which, quantity, compare, measure.micro, draft.delay(us), place,
            cells if draft.kinds.get(quantity) is Kind.VOLTAGE else 1,
            _interval(errors, quantity), _interval(imbalance, quantity),
        )  # fmt: skip
        if quantity in quantities:
            _judge_span(draft, found, limit, quantities[quantity], cells)
        limits.append(limit)
    _judge_reconnects(draft, found, {limit.which: limit for limit in limits})
    remote, verified = found.yes_no("remote_enabled"), found.text("verified_at")
    if verified and not found.has("remote_enabled"):
        draft.log.report(
            "key-without-effect",
            f"`verified_at` of `{found.name}` says nothing without `remote_enabled`",
            found.key_place("verified_at"),
            "say `remote_enabled: yes` or `no`",
        )
    return Device(
        found.name, tuple(limits), cells, errors, imbalance, remote, verified, found.text("what"), found.text("why"),
        found.place,
    )  # fmt: skip


def _written(draft: Draft, found: Fields, which: OwnLimit) -> tuple[str, Compare | None, Measure, int, Place] | None:
    """(quantity, comparison, value, delay in microseconds, place) of a setting; None where it can't be read."""
    key = str(which)
    entries: list[tuple[Named, Measure, Scalar]] | list[tuple[Named, WrittenTrigger, Scalar]]
    entries = found.charges_to(key) if which.charges else found.acts_at(key)
    if len(entries) > 1:
        draft.log.report(
            "keys-exclude",
            f"`{key}` of `{found.name}` is set on two quantities",
            entries[1][0].place,
            "a setting is on one quantity",
        )
    if not entries:
        return None
    named, value, node = entries[0]
    quantity = draft.find(named, Section.QUANTITIES)
    if not quantity or not _right_kind(draft, which, quantity, named.place):
        return None
    if isinstance(value, Measure):
        test = draft.test(quantity, Signal.QUANTITY, WrittenLimit(Compare.ABOVE, value), node.place)
        return (quantity, None, value, 0, node.place) if isinstance(test, Limit) else None
    place = node.part(value.start, value.length)
    test = draft.test(quantity, Signal.QUANTITY, value.test, place)
    if not isinstance(test, Limit) or not isinstance(value.test, WrittenLimit):
        return None
    if test.compare.downward is not which.downward:
        wanted = "below" if which.downward else "above"
        draft.log.report(
            "wrong-condition",
            f"`{key}` of `{found.name}` acts {wanted} a limit, not `{test.compare}` one",
            place,
            f"expected `{wanted} …`, or another key",
        )
        return None
    return quantity, test.compare, value.test.measure, value.us, place


def _right_kind(draft: Draft, which: OwnLimit, quantity: str, place: Place) -> bool:
    kind = draft.kinds.get(quantity)
    wrong = kind is not None and (
        (kind is not Kind.VOLTAGE) if which.charges else (kind is Kind.TEMPERATURE) is not which.of_heat
    )
    if wrong:
        draft.log.report(
            "wrong-kind",
            f"`{which}` is no matter of `{quantity}`, a {kind.noun if kind else ''}",
            place,
            "expected a quantity in " + ("V" if which.charges else "degC" if which.of_heat else "V, % or Ah"),
        )
    return not wrong


def _errors(draft: Draft, found: Fields, key: str, named: tuple[str, ...]) -> tuple[SensorError, ...]:
    """One interval for all the quantities the settings are on, or one each."""
    written = found.errors(key)
    if written is None:
        return ()
    if isinstance(written, Span):
        if all(difference_unit(draft, q, written, found.value_place(key)) for q in named):
            return tuple(SensorError(q, written.interval) for q in named)
        return ()
    errors = []
    for name, span, _ in written:
        quantity = draft.find(name, Section.QUANTITIES)
        if quantity and difference_unit(draft, quantity, span, name.place):
            errors.append(SensorError(quantity, span.interval))
    return tuple(errors)


def _interval(errors: tuple[SensorError, ...], quantity: str) -> Interval:
    return next((e.interval for e in errors if e.quantity == quantity), EXACT)


def _limit(
    which: OwnLimit,
    quantity: str,
    compare: Compare | None,
    value: int,
    delay: Delay,
    place: Place,
    cells: int,
    error: Interval,
    imbalance: Interval,
) -> DeviceLimit:
    """What the device takes for the value is the pack's value plus its error; the pack's value over the cells is their
    mean; the quantity is that mean plus the imbalance."""
    apart = imbalance if cells > 1 else EXACT
    low = floor(Fraction(value - error.high, cells) + apart.low)
    high = ceil(Fraction(value - error.low, cells) + apart.high)
    return DeviceLimit(
        which, quantity, value, compare, delay, round(Fraction(value, cells)), Interval(low, high), place
    )


def _judge_span(draft: Draft, found: Fields, limit: DeviceLimit, quantity: Quantity, cells: int) -> None:
    if limit.nominal in quantity.span:
        return
    each = f", {value_text(limit.nominal, quantity.kind)} each for {cells} cells," if cells > 1 else ""
    draft.log.report(
        "limit-outside-span",
        f"{value_text(limit.value, quantity.kind)}{each} of `{found.name}` is out of range: "
        f"`{limit.quantity}` spans {range_text(quantity.span, quantity.kind)}",
        limit.place,
        "move it, or correct `cells`" if cells > 1 else "where the device sees pack volts, say so by `cells`",
        ((quantity.place, "the span belongs to this"),),
    )


def _judge_reconnects(draft: Draft, found: Fields, limits: Mapping[OwnLimit, DeviceLimit]) -> None:
    """A re-connect has its cut-off, on the same quantity, and lies on the safe side of it."""
    for which, back in limits.items():
        if which.cut_off is None:
            continue
        stop = limits.get(which.cut_off)
        if stop is None:
            if not found.has(str(which.cut_off)):
                draft.log.report(
                    "key-without-effect",
                    f"`{which}` of `{found.name}` has no `{which.cut_off}` to come back from",
                    found.key_place(str(which)),
                    f"give `{which.cut_off}`, or leave it out",
                )
        elif stop.quantity != back.quantity:
            draft.log.report(
                "keys-exclude",
                f"`{which}` of `{found.name}` is set on `{back.quantity}`, `{which.cut_off}` on `{stop.quantity}`",
                back.place,
                "set both on one quantity",
                ((stop.place, "the cut-off"),),
            )
        elif back.value >= stop.value if back.which.downward else back.value <= stop.value:
            draft.log.report(
                "trip-and-clear-overlap",
                f"`{found.name}` comes back where it stops: `{which}` is not on the safe side of `{which.cut_off}`",
                back.place,
                "leave a gap between the two",
                ((stop.place, "the cut-off"),),
            )


def _judge_remote(draft: Draft, found: Fields, path: Path) -> None:
    if path.unswitched and found.has("remote_enabled"):
        draft.log.report(
            "key-without-effect",
            f"`{path.name}` is unswitched: nothing is wired to its remote input",
            found.key_place("remote_enabled"),
            "leave it out, or give the path an output",
            ((path.place, "unswitched here"),),
        )
