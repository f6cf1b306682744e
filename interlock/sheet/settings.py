"""The settings sheet: for each device what is to be set in it, filled from the scheme."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.explain.devices import what_is_set
from interlock.explain.phrases import say, text
from interlock.explain.tables import OWN_LIMITS
from interlock.scheme.model import Device, DeviceLimit, Output, Scheme
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import DeviceInput, OwnLimit

# What else is to be seen on a device that charges, whatever its scheme says (common practice, no source).
CHARGES = (
    "the charge program is the one for these cells, none of the maker's defaults",
    "equalising charge is off",
    "temperature compensation of the charge voltage is off, unless the cells' maker asks for it",
)
READ_BACK = "all settings read back after saving, and once more after the device was without power"


@dataclass(frozen=True, slots=True)
class Next:
    """The rule that stops a device next after a setting of its own: from which truth on, and what is left until there,
    in millionths (negative: the two overlap)."""

    rule: str
    at: int
    room: int


@dataclass(frozen=True, slots=True)
class Row:
    """One setting in words: what it is, what to set, what that is for each cell ("" where it is the same), where the
    quantity then is, what comes next."""

    key: str
    name: str
    to: str
    each: str
    then: str
    next: str


@dataclass(frozen=True, slots=True)
class DeviceSheet:
    """One device: `what` it is ("" where the scheme doesn't say), its settings, and what is to be ticked besides."""

    path: str
    what: str
    why: str
    cells: int
    rows: tuple[Row, ...]
    ticks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SettingsSheet:
    """All devices of a scheme; `without`: paths that carry current and have no entry under `devices`."""

    title: str
    revision: str
    devices: tuple[DeviceSheet, ...]
    without: tuple[str, ...]


def settings_sheet(scheme: Scheme, following: Mapping[tuple[str, OwnLimit], Next]) -> SettingsSheet:
    """The sheet. `following`: for a path and a setting the rule that comes next, where one does."""
    devices = tuple(_device(scheme, device, following) for device in scheme.devices.values())
    without = tuple(
        path.name
        for path in scheme.paths.values()
        if path.name not in scheme.devices and (path.flow.charge is not None or path.flow.discharge is not None)
    )
    return SettingsSheet(text(scheme.title), text(scheme.revision), devices, without)


def _device(scheme: Scheme, device: Device, following: Mapping[tuple[str, OwnLimit], Next]) -> DeviceSheet:
    rows = tuple(_row(scheme, limit, following.get((device.path, limit.which))) for limit in device.limits)
    ticks = tuple(text(tick) for tick in _ticks(scheme, device))
    return DeviceSheet(device.path, text(device.what), text(device.why), device.cells, rows, ticks)


def _row(scheme: Scheme, limit: DeviceLimit, after: Next | None) -> Row:
    kind = scheme.quantities[limit.quantity].kind
    low, high = value_text(limit.truth.low, kind), value_text(limit.truth.high, kind)
    return Row(
        str(limit.which),
        text(say(OWN_LIMITS[limit.which])),
        text(what_is_set(scheme, limit)),
        f"{value_text(limit.nominal, kind)} a cell" if limit.nominal != limit.value else "",
        f"{limit.quantity} is then {low} to {high}" if low != high else f"{limit.quantity} is then {low}",
        _next(after, kind) if after else "",
    )


def _next(after: Next, kind: Kind) -> str:
    room = value_text(abs(after.room), kind, difference=True)
    left = f"{room} are left" if after.room > 0 else f"they overlap by {room}"
    return f"next {after.rule} from {value_text(after.at, kind)}: {left}"


def _ticks(scheme: Scheme, device: Device) -> list[str]:
    ticks = [*CHARGES] if any(limit.which.charges for limit in device.limits) else []
    outputs = [scheme.outputs[name] for name in scheme.paths[device.path].outputs]
    if device.remote_enabled is False:
        ticks.append("remote input: NOT ENABLED by the scheme; nothing that is wired to it stops this device")
    elif device.remote_enabled:
        where = device.verified_at or "the scheme does not say where"
        ticks.append(f"remote input enabled; verified at: {where}")
        ticks += [_input(output) for output in outputs]
    ticks.append(READ_BACK)
    return ticks


_SEEN = {
    DeviceInput.CLOSED: "runs while its input is closed",
    DeviceInput.OPEN: "runs while its input is open",
    DeviceInput.HIGH: "runs while its input is high",
    DeviceInput.LOW: "runs while its input is low",
}
assert set(_SEEN) == set(DeviceInput), set(DeviceInput) - set(_SEEN)


def _input(output: Output) -> str:
    labels = ", ".join(filter(None, (output.terminal, output.wire)))
    stops = f" and stops within {time_text(output.stops_within.us)}" if output.stops_within.us else ""
    return f"seen at {output.name}{f' ({labels})' if labels else ''}: {_SEEN[output.runs_when]}{stops}"


def sheet_lines(sheet: SettingsSheet) -> list[str]:
    """The sheet for a terminal, a line each."""
    revision = f", revision {sheet.revision}" if sheet.revision else ""
    lines = [f"Settings: {sheet.title}{revision}"]
    width = max((len(row.name) for device in sheet.devices for row in device.rows), default=0)
    most = max((len(_set(row)) for device in sheet.devices for row in device.rows), default=0)
    for device in sheet.devices:
        lines += ["", f"{device.path}{f': {device.what}' if device.what else ''}"]
        lines += [f"  its volts are those of {device.cells} cells in series"] if device.cells > 1 else []
        for row in device.rows:
            lines.append(f"  {row.name:<{width}}  {_set(row):<{most}}  {row.then}".rstrip())
            lines += [f"  {'':<{width}}  {'':<{most}}  {row.next}"] if row.next else []
        lines += [f"  [ ] {tick}" for tick in device.ticks]
    if sheet.without:
        lines += ["", "Nothing is said of the settings of: " + ", ".join(sheet.without)]
    return lines


def _set(row: Row) -> str:
    return f"{row.to} ({row.each})" if row.each else row.to
