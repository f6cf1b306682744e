"""The rules of a first scheme, each with its reason."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.scheme.units import MICRO, Kind, time_text, value_text
from interlock.start.layout import block, comment, names, scalar
from interlock.start.plan import Plan, volts
from interlock.start.thresholds import HEATER_LIMIT, Pair

COMFORT, LAST, CALL = (30, 45), (15, 30), (40, 70)  # % of charge: trips below, clears above


def degrees(micro: int) -> str:
    """A temperature."""
    return value_text(micro, Kind.TEMPERATURE)


def kelvins(micro: int) -> str:
    """A temperature difference."""
    return value_text(micro, Kind.TEMPERATURE, difference=True)


def _rule(name: str, why: str, **fields: str) -> list[str]:
    return block(name, [*fields.items(), ("why", scalar(why))])


def rules(plan: Plan) -> list[str]:
    """The section."""
    parts = (
        ("Cell voltages.", _cells(plan)),
        ("Temperatures: each threshold keeps the probe's error and 1 K of margin inside the limit.", _warmth(plan)),
        ("What is left in the pack: comfort goes early, a generator is called, the last loads go last.", _level(plan)),
        ("Shore power and generator: never both, break before make.", _supplies(plan)),
        ("Turbines: the dump load lets go only once the turbine has the pack to push against.", _turbines(plan)),
        ("Inverters: their capacitors are filled before their contactor closes.", _precharge(plan)),
        ("The heater of the cells: a frozen pack must not be the end of it.", _heater(plan)),
    )
    lines = ["rules:"]
    for title, found in parts:
        body = [line for rule in found for line in rule]
        if body:
            lines += [*([""] if len(lines) > 1 else []), *comment(title, 2), *body]
    return lines


def _cells(plan: Plan) -> Iterator[list[str]]:
    preset, monitor = plan.preset, plan.answers.monitor
    unit = {"unit": "cell_monitor"} if monitor else {}
    yield _rule(
        "cell_full",
        f"overcharge begins near {volts(preset.overfull)}; a full cell rests below {volts(preset.full_again)}",
        **unit,
        watches="high_tap",
        trips=f"above {volts(preset.full)} for 1 s",
        clears=f"below {volts(preset.full_again)} for 30 s",
        **({} if monitor else {"blocks": "sources"}),
    )
    yield _rule(
        "cell_empty",
        f"below {volts(preset.drained)} a cell is damaged; 5 s let the dip of a starting motor pass",
        **unit,
        watches="low_tap",
        trips=f"below {volts(preset.empty)} for 5 s",
        clears=f"above {volts(preset.empty_again)} for 60 s",
        **({} if monitor else {"blocks": plan.users}),
    )
    if not monitor:
        return
    yield _rule(
        "full_stop",
        "the monitor sees every cell, so its word goes; a cut wire reads off and stops",
        watches="charge_permit",
        trips="off",
        clears="on for 1 s",
        blocks="sources",
    )
    yield _rule(
        "empty_stop",
        "the same for drawing; charging goes on, which is what an empty pack needs",
        watches="discharge_permit",
        trips="off",
        clears="on for 1 s",
        blocks=plan.users,
    )


def _warmth(plan: Plan) -> Iterator[list[str]]:
    preset, limits = plan.preset, plan.limits
    off = kelvins(limits.off)

    def pair(found: Pair, side: str, other: str, delay: str, rest: str) -> dict[str, str]:
        shown = kelvins if found is limits.apart else degrees
        return {
            "trips": f"{side} {shown(found.trips)} for {delay}",
            "clears": f"{other} {shown(found.clears)} for {rest}",
        }

    yield _rule(
        "cold_stop",
        f"{preset.cold_harm}; limit {preset.charge_cold} degC, and a probe may read {off} above the coldest cell",
        watches=plan.coldest,
        **pair(limits.cold, "below", "above", "2 s", "60 s"),
        blocks="sources",
    )
    yield _rule(
        "hot_charge_stop",
        f"no charging above {preset.charge_hot} degC; a probe may read {off} below the hottest cell",
        watches=plan.warmest,
        **pair(limits.hot_charge, "above", "below", "5 s", "5 min"),
        blocks="sources",
    )
    yield _rule(
        "frost_stop",
        f"no drawing below {preset.draw_cold} degC; a probe may read {off} above the coldest cell",
        watches=plan.coldest,
        **pair(limits.frost, "below", "above", "5 s", "5 min"),
        blocks=plan.users,
    )
    button = plan.answers.button
    yield _rule(
        "hot_stop",
        f"nothing is good for a pack above {preset.draw_hot} degC; "
        + ("an overheated one needs eyes on it, power cut or not" if button else "a power cut does not end it"),
        watches=plan.warmest,
        **pair(limits.hot, "above", "below", "5 s", "5 min"),
        blocks=names(["sources", plan.users]),
        **({"reset": "manual", "reset_by": "reset_button"} if button else {}),
        power_up="as_left",
        alarm='"the battery is too hot: look at it before you reset it"' if button else '"the battery is too hot"',
    )
    if plan.answers.probes > 1:
        yield _rule(
            "probes_apart",
            f"sound probes differ by {kelvins(2 * limits.error + limits.offset)} at most: one is loose, wet or drifted",
            watches="probe_spread",
            **pair(limits.apart, "above", "below", "5 min", "5 min"),
            alarm='"the temperature probes disagree, or one is lost"',
        )


def _level(plan: Plan) -> Iterator[list[str]]:
    if not plan.answers.shunt:
        return

    def pair(found: tuple[int, int], delay: str, rest: str) -> dict[str, str]:
        return {
            "watches": "shunt",
            "trips": f"below {found[0]} % for {delay}",
            "clears": f"above {found[1]} % for {rest}",
        }

    if plan.called:
        yield _rule(
            "generator_call",
            "an engine wants few long runs; the rest is left for the other sources",
            **pair(CALL, "5 min", "5 min"),
            starts=names([d.name for d in plan.called]),
        )
    if plan.comfort:
        yield _rule(
            "comfort_shed",
            "keeps something in hand; 10 min so that a burst of charge does not switch loads on and off",
            **pair(COMFORT, "60 s", "10 min"),
            blocks="comfort_loads",
            power_up="as_left",
        )
    if plan.last:
        yield _rule(
            "last_shed",
            "a counted charge level is right to 5 % at best; the rest is kept for bringing the pack back",
            **pair(LAST, "60 s", "5 min"),
            blocks="last_loads",
            power_up="as_left",
            alarm='"the last loads are off for want of charge"',
        )


def _supplies(plan: Plan) -> Iterator[list[str]]:
    if plan.supplies is None:
        return
    shore, generator = (d.name for d in plan.supplies)
    gap = time_text(plan.break_us)
    yield _rule(
        f"{shore}_dead",
        "a line that has just come back often goes again; 5 min tell the one from the other",
        watches=f"{shore}_live",
        trips="off for 2 s",
        clears="on for 5 min",
        blocks=shore,
    )
    yield _rule(
        f"{shore}_first",
        "seen in the same scan, so that the two are never let go together; shore power comes first",
        watches=f"{shore}_dead",
        trips="clear",
        clears=f"active for {gap}",
        blocks=generator,
    )
    yield _rule(
        f"{shore}_made",
        "believes the contact and not the command: a welded one keeps the generator off",
        watches=f"{shore}_closed",
        trips="on",
        clears=f"off for {gap}",
        blocks=generator,
    )
    yield _rule(
        f"{generator}_made",
        f"break before make: the slower of the two may run on for {time_text(plan.break_us - 2 * MICRO)}, and 2 s more",
        watches=f"{generator}_closed",
        trips="on",
        clears=f"off for {gap}",
        blocks=shore,
    )


def _turbines(plan: Plan) -> Iterator[list[str]]:
    for device in plan.turbines:
        yield _rule(
            f"{device.name}_on_pack",
            "make before break: the contactor must really be closed, else the dump load stays",
            watches=f"{device.name}_closed",
            trips="on for 500 ms",
            clears="off",
            blocks=f"{device.name}_dump_load",
            power_up="clear",
        )


def _precharge(plan: Plan) -> Iterator[list[str]]:
    for device in plan.precharged:
        yield _rule(
            f"{device.name}_precharged",
            "five time constants of 40 ohm and 15 mF are 3 s; without them the contactor closes on a short",
            watches=f"{device.name}_precharge",
            trips="stopped",
            clears="running for 3 s",
            blocks=device.name,
        )


def _heater(plan: Plan) -> Iterator[list[str]]:
    if not plan.heaters:
        return
    limits = plan.limits
    heaters = names([d.name for d in plan.heaters])
    yield _rule(
        "heat_wanted",
        "starts above the charging stop and ends above its release, so that heating always leads back to charging",
        watches=plan.coldest,
        trips=f"below {degrees(limits.heat.trips)} for 10 s",
        clears=f"above {degrees(limits.heat.clears)} for 2 min",
        starts=heaters,
    )
    yield _rule(
        "heater_too_warm",
        f"a heater that goes on at {HEATER_LIMIT} degC has a stuck contact or a lost probe behind it",
        watches=plan.warmest,
        trips=f"above {degrees(limits.heater_hot.trips)} for 5 s",
        clears=f"below {degrees(limits.heater_hot.clears)} for 60 s",
        blocks=heaters,
    )
