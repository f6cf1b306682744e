"""The requirements of a first scheme: what must never happen, and what must always be had."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.scheme.units import time_text
from interlock.start.layout import Field, comment, names, rows
from interlock.start.plan import Plan, volts
from interlock.start.thresholds import HEATER_LIMIT
from interlock.start.write_rules import CALL, COMFORT, LAST, degrees

SHUNT_ERROR = 5  # %
_TAP_ERROR = 10  # mV
_While = list[tuple[str, str]]


def requirements(plan: Plan) -> list[str]:
    """The section."""
    parts = (
        ("The cells. Limits: common practice, no source; the cell's own datasheet rules.", list(_cells(plan))),
        ("Charge left.", list(_level(plan))),
        ("Interlocks.", list(_interlocks(plan))),
        ("Service: a scheme that blocks everything would be safe and useless.", list(_service(plan))),
    )
    lines = ["requirements:"]
    for title, entries in parts:
        if entries:
            lines += [*comment(title, 2), *rows(entries)]
    return lines


def _claim(name: str, must: str, paths: str, conditions: _While, longer_than: str) -> tuple[str, list[Field]]:
    fields: list[Field] = [(must, paths), ("longer_than", longer_than)]
    return name, [*fields, ("while", conditions)] if conditions else fields


def _never(name: str, paths: str, conditions: _While, longer_than: str) -> tuple[str, list[Field]]:
    return _claim(name, "never_running", paths, conditions, longer_than)


def _served(name: str, paths: list[str], conditions: _While, longer_than: str) -> tuple[str, list[Field]]:
    return _claim(name, "never_stopped", names(paths), conditions, longer_than)


def _cells(plan: Plan) -> Iterator[tuple[str, list[Field]]]:
    preset, users = plan.preset, plan.users
    yield _never("frozen_charge", "sources", [("coldest_cell", f"below {preset.charge_cold} degC")], "10 s")
    yield _never("hot_charge", "sources", [("hottest_cell", f"above {preset.charge_hot} degC")], "15 s")
    yield _never("overfull_charge", "sources", [("highest_cell", f"above {volts(preset.overfull)}")], "10 s")
    yield _never("empty_discharge", users, [("lowest_cell", f"below {volts(preset.drained)}")], "15 s")
    yield _never("frozen_discharge", users, [("coldest_cell", f"below {preset.draw_cold} degC")], "15 s")
    yield _never("hot_discharge", users, [("hottest_cell", f"above {preset.draw_hot} degC")], "15 s")
    if plan.heaters:
        heaters = names([d.name for d in plan.heaters])
        yield _never("heater_cut_out", heaters, [("hottest_cell", f"above {HEATER_LIMIT} degC")], "15 s")


def _level(plan: Plan) -> Iterator[tuple[str, list[Field]]]:
    if not plan.answers.shunt:
        return
    if plan.comfort:
        yield _never("comfort_ends", "comfort_loads", [("charge_level", "below 20 %")], "2 min")
    if plan.last:
        yield _never("last_loads_end", "last_loads", [("charge_level", "below 8 %")], "2 min")


def _interlocks(plan: Plan) -> Iterator[tuple[str, list[Field]]]:
    if plan.supplies:
        shore, generator = (d.name for d in plan.supplies)
        yield _never("one_supply", generator, [(shore, "running")], "0 s")
    for device in plan.turbines:
        dump = f"{device.name}_dump_load"
        yield _served(f"{device.name}_loaded", [dump], [(device.name, "stopped")], "1 s")
        yield _never(f"{device.name}_spares_pack", dump, [(device.name, "running")], "2 s")
    for device in plan.precharged:
        scans = -(-device.stops_ms * 1_000 // plan.scan_us) + 2
        allowed = time_text(max(500_000, scans * plan.scan_us))
        yield _never(f"{device.name}_filled", device.name, [(f"{device.name}_precharge", "stopped")], allowed)


def _service(plan: Plan) -> Iterator[tuple[str, list[Field]]]:
    limits, preset = plan.limits, plan.preset
    charging: _While = [
        ("coldest_cell", f"above {degrees(limits.charge_above)}"),
        ("hottest_cell", f"below {degrees(limits.charge_below)}"),
        ("highest_cell", f"below {volts(preset.full_again - _TAP_ERROR - 10)}"),
    ]
    special = {d.name for d in (*plan.called, *(plan.supplies or ()))}
    plain = [d.name for d in plan.answers.sources if d.name not in special]
    if plain:
        yield _served("charging_served", plain, charging, "8 min")
    live: _While = []
    dead: _While = []
    if plan.supplies:
        shore, generator = plan.supplies
        live, dead = [(f"{shore.name}_live", "on")], [(f"{shore.name}_live", "off")]
        yield _served(f"{shore.name}_served", [shore.name], [*charging, *live], "8 min")
        if generator not in plan.called:
            yield _served(f"{generator.name}_served", [generator.name], [*charging, *dead], "8 min")
    for device in plan.called:
        low: _While = [("charge_level", f"below {CALL[0] - SHUNT_ERROR - 1} %")]
        extra = dead if plan.supplies and device in plan.supplies else []
        yield _served(f"{device.name}_served", [device.name], [*charging, *low, *extra], "12 min")
    yield from _loads_served(plan)


def _loads_served(plan: Plan) -> Iterator[tuple[str, list[Field]]]:
    limits, preset = plan.limits, plan.preset
    drawing: _While = [
        ("coldest_cell", f"above {degrees(limits.draw_above)}"),
        ("hottest_cell", f"below {degrees(limits.draw_below)}"),
        ("lowest_cell", f"above {volts(preset.empty_again + _TAP_ERROR + 10)}"),
    ]

    def charged(pair: tuple[int, int]) -> _While:
        return [("charge_level", f"above {pair[1] + SHUNT_ERROR + 1} %")] if plan.answers.shunt else []

    heaters = {d.name for d in plan.heaters}
    comfort = [d.name for d in plan.answers.loads if not plan.lasts(d)]
    last = [d.name for d in plan.answers.loads if plan.lasts(d) and d.name not in heaters]
    if comfort:
        longest = "12 min" if plan.answers.shunt else "8 min"
        yield _served("loads_served", comfort, [*drawing, *charged(COMFORT)], longest)
    if last:
        yield _served("last_loads_served", last, [*drawing, *charged(LAST)], "8 min")
    if heaters:
        cold: _While = [
            ("coldest_cell", f"below {degrees(limits.heat_below)}"),
            ("hottest_cell", f"above {degrees(limits.heat_above)}"),
            drawing[2],
            *charged(LAST),
        ]
        yield _served("pack_warmed", sorted(heaters), cold, "8 min")
