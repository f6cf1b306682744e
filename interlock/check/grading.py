"""The grading: a device's own limit, a warning, what sheds, what stops, the contactor, damage, each before the next.

Two steps are in order when the first has acted at the latest truth at which it can before the next can act at its
earliest; where both read the same instrument at the same scan, their thresholds alone decide. Where the truth can jump
past both at once, the first must not wait longer than the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import permutations
from math import ceil, floor

from interlock.check.chains import condition_text
from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.reconnects import out_of_reach
from interlock.check.steps import SLOW, Step, next_step, own_last, own_side, steps
from interlock.scheme.findings import Finding
from interlock.scheme.model import Device, DeviceLimit, Limit, Quantity, Scheme
from interlock.scheme.units import MICRO, Kind, time_text, value_text
from interlock.scheme.words import Must, OwnLimit, Signal

TENTH = (
    MICRO // 10
)  # the step in which most devices are set: a tenth of a volt or a degree (common practice, no source)


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    every = steps(facts)
    for device in facts.scheme.devices.values():
        for limit in device.limits:
            yield from _own_after_next(facts.scheme, every, device, limit)
            yield from out_of_reach(facts.scheme, every, device, limit_words(facts.scheme, limit), limit)
        yield from _own_order(facts.scheme, device)
    yield from _rules_overlap(facts.scheme, every)
    for quantity in facts.scheme.quantities.values():
        yield from _damage(facts.scheme, every, quantity)


def _value(scheme: Scheme, quantity: str, value: int) -> str:
    return value_text(value, scheme.quantities[quantity].kind)


def limit_words(scheme: Scheme, limit: DeviceLimit) -> str:
    """A setting as it is set: `absorption 55.2 V`, `low_cut_off below 48 V for 2 s`."""
    compare = f"{limit.compare} " if limit.compare else ""
    delay = f" for {time_text(limit.delay.us)}" if limit.delay.us else ""
    return f"{limit.which} {compare}{_value(scheme, limit.quantity, limit.value)}{delay}"


# --- a device and what stops it


def _own_after_next(scheme: Scheme, every: tuple[Step, ...], device: Device, limit: DeviceLimit) -> Iterator[Finding]:
    if own_side(limit) is None:
        return
    step = next_step(every, device, limit)
    if step is None:
        return
    source = limit.which.charges or limit.which is OwnLimit.HIGH_CUT_OFF
    ident = Ident.SOURCE_ABOVE_TRIP if source else Ident.CUT_OFF_AFTER_TRIP
    kind = scheme.quantities[limit.quantity].kind
    also = ((step.rule.trips.place, f"`{step.rule.name}` trips here"),)
    sign = -1 if step.downward else 1
    latest, earliest = sign * own_last(limit), sign * step.first
    if own_last(limit) >= step.first:
        most = _most(device, limit, step, kind)
        side, past = ("at least", "down to") if step.downward else ("at most", "up to")
        yield finding(
            ident,
            device.path,
            limit.place,
            f"`{limit_words(scheme, limit)}` of `{device.path}` can leave `{limit.quantity}` {past} "
            f"{value_text(latest, kind)}, and `{step.rule.name}` may stop it from {value_text(earliest, kind)} on",
            f"set it to {side} {value_text(most, kind)}, so that it acts first with its error and the sensor's allowed "
            "for; the monitor is there for the day it does not",
            also,
        )
    elif not limit.which.charges and kind not in SLOW and limit.delay.us > step.delays[device.path]:
        yield finding(
            ident,
            device.path,
            limit.place,
            f"`{limit_words(scheme, limit)}` of `{device.path}` waits {time_text(limit.delay.us)}, and "
            f"`{step.rule.name}` stops it after {time_text(step.delays[device.path])}: where `{limit.quantity}` jumps "
            "past both, the monitor trips first",
            f"let it wait at most {time_text(step.delays[device.path])}, or let the monitor wait longer",
            also,
        )


def _most(device: Device, limit: DeviceLimit, step: Step, kind: Kind) -> int:
    """The last setting, in tenths, with which the device still acts before the step."""
    cells = device.cells if kind is Kind.VOLTAGE else 1
    room = Fraction((step.first - own_last(limit) - 1) * cells)
    if own_side(limit):
        return ceil((limit.value - room) / TENTH) * TENTH
    return floor((limit.value + room) / TENTH) * TENTH


def _own_order(scheme: Scheme, device: Device) -> Iterator[Finding]:
    """Settings of one device, which it holds against one reading of its own: float <= absorption < cut-off."""
    for first, then, strict in (
        (OwnLimit.FLOAT, OwnLimit.ABSORPTION, False),
        (OwnLimit.ABSORPTION, OwnLimit.HIGH_CUT_OFF, True),
        (OwnLimit.FLOAT, OwnLimit.HIGH_CUT_OFF, True),
    ):
        one, other = device.limit(first), device.limit(then)
        if one is None or other is None or one.quantity != other.quantity:
            continue
        if one.value > other.value or (strict and one.value == other.value):
            yield finding(
                Ident.SETTINGS_OUT_OF_ORDER,
                device.path,
                one.place,
                f"`{limit_words(scheme, one)}` of `{device.path}` is not below its own `{limit_words(scheme, other)}`",
                "the device would stop itself, or never come to rest: put float at or below absorption, and both below "
                "its cut-off",
                ((other.place, f"`{then}`"),),
            )


# --- rules among each other


def _rules_overlap(scheme: Scheme, every: tuple[Step, ...]) -> Iterator[Finding]:
    """A rule that stops less acts before one that stops all that and more; an alarm before anything stops."""
    told: set[tuple[str, str]] = set()
    sides: dict[tuple[str, bool], list[Step]] = {}
    for step in every:
        sides.setdefault((step.quantity, step.downward), []).append(step)
    for side in sides.values():
        for one, other in permutations(side, 2):
            pair = (one.rule.name, other.rule.name)
            if pair in told or not _comparable(one, other):
                continue
            late = _late(scheme, one, other)
            if late and not _alarm_past_all(one, side):
                told.add(pair)
                yield _overlap(scheme, one, other, late)


def _comparable(one: Step, other: Step) -> bool:
    """Whether `one` does less of the same, nothing else has a say in either, and it keeps no lockout of its own."""
    free = not (one.conditional or other.conditional) and (other.rule.manual or not one.rule.manual)
    return free and one.delays.keys() < other.delays.keys()


def _late(scheme: Scheme, one: Step, other: Step) -> str:
    """Why `one` need not have acted when `other` does, in words; "" where it always has."""
    if one.instrument == other.instrument:
        sign = -1 if one.downward else 1
        if sign * one.value >= sign * other.value:
            return "it trips no earlier"
    elif one.last >= other.first:
        sign = -1 if one.downward else 1
        latest, earliest = (_value(scheme, one.quantity, sign * v) for v in (one.last, other.first))
        return f"`{one.quantity}` may be at {latest} when it trips, and the other may trip from {earliest} on"
    if scheme.quantities[one.quantity].kind in SLOW:
        return ""
    waits = min(one.delays.values(), default=one.rule.trips.delay.us)
    shortest = min(other.delays.values())
    return f"it waits {time_text(waits)}, the other {time_text(shortest)}" if waits > shortest else ""


def _alarm_past_all(one: Step, side: Sequence[Step]) -> bool:
    """An alarm beyond every stop on its side says that those have failed: it is meant to come last."""
    return not one.delays and all(one.first > s.last for s in side if s.delays)


def _overlap(scheme: Scheme, one: Step, other: Step, late: str) -> Finding:
    does = f"stops {listed(one.delays, 3)}" if one.delays else "only tells someone"
    return finding(
        Ident.STEPS_OVERLAP,
        one.rule.name,
        one.rule.trips.place,
        f"`{one.rule.name}` {does} and should act before `{other.rule.name}`, which stops more: {late}",
        "move the two apart by more than their sensors' errors, the one that does less first and with no longer delay",
        ((other.rule.trips.place, f"`{other.rule.name}` trips {_value(scheme, other.quantity, other.value)}"),),
    )


# --- damage


def _damage(scheme: Scheme, every: tuple[Step, ...], quantity: Quantity) -> Iterator[Finding]:
    for downward, damage in ((True, quantity.damaged_below), (False, quantity.damaged_above)):
        if damage is None:
            continue
        sign = -1 if downward else 1
        side = "below" if downward else "above"
        harmed = f"`{quantity.name}` is damaged {side} {value_text(damage, quantity.kind)}"
        for step in every:
            if (
                step.quantity == quantity.name
                and step.downward is downward
                and step.last > sign * damage
                and step.delays
            ):
                latest = value_text(sign * step.last, quantity.kind)
                yield finding(
                    Ident.DAMAGE_BEFORE_STOP,
                    step.rule.name,
                    step.rule.trips.place,
                    f"`{step.rule.name}` may act only at {latest}, and {harmed}",
                    "move its threshold away from the damage by more than its sensor's error",
                    ((quantity.place, "the damage limit stands here"),),
                )
        for device in scheme.devices.values():
            for limit in device.limits:
                if limit.quantity == quantity.name and own_side(limit) is downward and own_last(limit) > sign * damage:
                    yield finding(
                        Ident.DAMAGE_BEFORE_STOP,
                        device.path,
                        limit.place,
                        f"`{limit_words(scheme, limit)}` of `{device.path}` may act only at "
                        f"{value_text(sign * own_last(limit), quantity.kind)}, and {harmed}",
                        "set it away from the damage by more than its error",
                        ((quantity.place, "the damage limit stands here"),),
                    )
        yield from _claims_past(scheme, quantity, downward, sign * damage, harmed)


def _claims_past(scheme: Scheme, quantity: Quantity, downward: bool, damage: int, harmed: str) -> Iterator[Finding]:
    told: set[str] = set()
    for claim in scheme.claims:
        for condition in claim.conditions:
            test = condition.test
            if (
                claim.must is Must.NEVER_RUNNING
                and condition.signal is Signal.QUANTITY
                and condition.name == quantity.name
                and isinstance(test, Limit)
                and test.compare.downward is downward
                and (-test.value if downward else test.value) > damage
                and claim.requirement not in told
            ):
                told.add(claim.requirement)
                yield finding(
                    Ident.DAMAGE_BEFORE_STOP,
                    claim.requirement,
                    condition.place,
                    f"`{claim.requirement}` forbids running only while {condition_text(scheme, condition)}, and "
                    f"{harmed}",
                    "let the requirement begin where no harm is done yet",
                    ((quantity.place, "the damage limit stands here"),),
                )
