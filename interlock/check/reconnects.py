"""Whether a device that has cut itself off can come back: what it waits for must be reached before all others stop."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.idents import Ident
from interlock.check.make import finding
from interlock.check.steps import Step
from interlock.scheme.findings import Finding
from interlock.scheme.model import Device, DeviceLimit, Path, Scheme
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import OwnLimit

WAITS = (OwnLimit.HIGH_RECONNECT, OwnLimit.LOW_RECONNECT)


def out_of_reach(
    scheme: Scheme, every: tuple[Step, ...], device: Device, words: str, limit: DeviceLimit
) -> Iterator[Finding]:
    """A voltage to come back at that no source charges to, or no load drains to, even at the kindest of all errors.
    `words`: the setting as it is set."""
    if limit.which not in WAITS or scheme.quantities[limit.quantity].kind is not Kind.VOLTAGE:
        return
    upward = not limit.which.downward
    bounds = []
    for path in scheme.paths.values():
        if (path.flow.charge if upward else path.flow.discharge) is None or path.name == device.path:
            continue
        bound = _stopped_at(scheme, every, path, limit.quantity, upward=upward)
        if bound is None:
            return
        bounds.append(bound)
    if not bounds:
        return
    furthest = max(bounds) if upward else min(bounds)
    waits_for = limit.truth.low if upward else limit.truth.high
    if waits_for > furthest if upward else waits_for < furthest:
        kind = scheme.quantities[limit.quantity].kind
        side, who = ("or more", "source") if upward else ("or less", "load")
        yield finding(
            Ident.RECONNECT_OUT_OF_REACH,
            device.path,
            limit.place,
            f"`{words}` of `{device.path}` waits for `{limit.quantity}` at {value_text(waits_for, kind)} {side}, and"
            f" every {who} has stopped by {value_text(furthest, kind)}: once it has cut itself off it stays so",
            f"let it come back {'below' if upward else 'above'} {value_text(furthest, kind)}, with its error and the "
            "imbalance of the cells allowed for",
        )


def _stopped_at(scheme: Scheme, every: tuple[Step, ...], path: Path, quantity: str, *, upward: bool) -> int | None:
    """The furthest that a quantity can get by a path before something has certainly stopped it; None where nothing
    does."""
    found: list[int] = []
    for other, difference in _tied(scheme, quantity, upward=upward):
        device = scheme.devices.get(path.name)
        stops = (OwnLimit.ABSORPTION, OwnLimit.FLOAT, OwnLimit.HIGH_CUT_OFF) if upward else (OwnLimit.LOW_CUT_OFF,)
        charging = [limit.truth.high for limit in (device.limits if device else ()) if _acts(limit, other, stops[:2])]
        if charging and upward:
            found.append(max(charging) + difference)  # it may charge to the higher of the two
        for limit in device.limits if device else ():
            if _acts(limit, other, stops[-1:]):
                found.append((limit.truth.high if upward else limit.truth.low) + difference)
        for step in every:
            acts = step.quantity == other and step.downward is not upward and not step.conditional
            if acts and path.name in step.delays:
                found.append((step.truth.high if upward else step.truth.low) + difference)
    return (min(found) if upward else max(found)) if found else None


def _acts(limit: DeviceLimit, quantity: str, which: tuple[OwnLimit, ...]) -> bool:
    return limit.quantity == quantity and limit.which in which


def _tied(scheme: Scheme, quantity: str, *, upward: bool) -> Iterator[tuple[str, int]]:
    """Quantities that bound this one from above (`upward`) or from below, each with what is to be added to it."""
    yield quantity, 0
    own = scheme.quantities[quantity]
    direct = own.at_most if upward else own.at_least
    if direct is not None:
        yield direct.other, direct.difference
    for other in scheme.quantities.values():
        tie = other.at_least if upward else other.at_most
        if tie is not None and tie.other == quantity:
            yield other.name, -tie.difference
