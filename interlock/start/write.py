"""A first scheme as text: the same answers give the same text."""

from __future__ import annotations

from interlock.scheme.units import MICRO, Kind, decimal_text
from interlock.start.answers import Answers
from interlock.start.devices import Device, SourceKind
from interlock.start.layout import Field, comment, listed, rows, scalar
from interlock.start.plan import Plan, PlannedOutput, ms_text
from interlock.start.write_cases import cases
from interlock.start.write_claims import requirements
from interlock.start.write_rules import kelvins, rules

DANGEROUS_VOLTS = 60  # V direct current; touching bare parts above needs protection (IEC 60364-4-41, from memory)


def scheme_text(answers: Answers) -> str:
    """The commented scheme for answers that `answers_from` has accepted; ends with a line break."""
    plan = Plan(answers)
    sections = (
        _head(plan),
        _top(plan),
        _quantities(plan),
        _sensors(plan),
        _readings(plan),
        _units(plan),
        _lines(plan),
        _paths(plan),
        _groups(plan),
        _outputs(plan),
        [*comment("What is watched, when it trips, when it clears, and what it then does."), *rules(plan)],
        [
            *comment(
                "What must never happen, and what must always be had. `interlock prove` judges each for every "
                "behaviour the sensors' errors and the lines allow."
            ),
            *requirements(plan),
        ],
        [*comment("Examples by hand: `interlock cases` runs them."), *cases(plan)],
    )
    return "\n\n".join("\n".join(lines) for lines in sections if lines) + "\n"


def _head(plan: Plan) -> list[str]:
    series, preset = plan.answers.series, plan.preset
    most = series * preset.overfull
    pack = (
        f"{series} cells in series of {preset.says}: about {_one_decimal(series * preset.nominal)} V, and "
        f"{_one_decimal(most)} V at the most."
    )
    shock = (
        f"Above {DANGEROUS_VOLTS} V direct current touching bare parts can kill: isolate, lock, prove dead before work."
        if most > DANGEROUS_VOLTS * 1_000
        else "The voltage is low, the current is not: a dropped spanner is enough."
    )
    cautions = (
        "A battery can't be switched off: with everything else dead it still holds its energy.",
        "A short circuit draws thousands of amperes: fit the fuse at the pack before anything else is connected.",
        "Direct current draws arcs that don't go out by themselves: contactors and fuses must be rated for it.",
        shock,
        "Local code, the makers' manuals and licensed practice come before anything in this file.",
        "The tool certifies nothing: it judges what is written here, and the installation has to be built so.",
    )
    lines = ["# " + pack, "#", "# CAUTION"]
    for caution in cautions:
        first, *rest = comment(caution, 0, 106)
        lines += ["#   * " + first[2:], *("#     " + line[2:] for line in rest)]
    return [
        *lines,
        "#",
        *comment(
            "A first scheme to be cut to the job. Limits of cells and times of devices are common practice, no source: "
            "put in those of the cell's own datasheet and of the devices' manuals. Then: interlock explain, check, "
            "cases and prove, each with this file's name."
        ),
    ]


def _one_decimal(millivolts: int) -> str:
    return decimal_text((millivolts + 50) // 100 * MICRO // 10)


def _top(plan: Plan) -> list[str]:
    return [
        f"scheme: {scalar(plan.answers.title)}",
        "revision: 1",
        f"scan: {ms_text(plan.answers.scan_ms)}".ljust(33) + "# the controller reads, decides and writes once per scan",
    ]


def _quantities(plan: Plan) -> list[str]:
    low, high = (decimal_text(mv * 1_000) for mv in plan.preset.span)
    voltage = f"{low} to {high} V"
    apart = kelvins(2 * plan.limits.offset)
    tie = [("at_most", f"coldest_cell + {apart}")] if plan.limits.offset else [("at_most", "coldest_cell")]
    entries: list[tuple[str, list[Field]]] = [
        ("coldest_cell", [("span", "-40 to 80 degC")]),
        ("hottest_cell", [("span", "-40 to 80 degC"), ("at_least", "coldest_cell"), *tie]),
        ("lowest_cell", [("span", voltage)]),
        ("highest_cell", [("span", voltage), ("at_least", "lowest_cell")]),
    ]
    if plan.answers.shunt:
        entries.append(("charge_level", [("span", "0 to 100 %")]))
    return [*comment("What can be hurt: physical truth, whatever the instruments say."), "quantities:", *rows(entries)]


def _sensors(plan: Plan) -> list[str]:
    limits = plan.limits
    error, off = decimal_text(-limits.error), decimal_text(limits.off)
    kelvin = Kind.TEMPERATURE.difference_unit
    drift = decimal_text(limits.off + 3 * MICRO)
    probe: list[Field] = [
        (
            "measures",
            [
                ("coldest_cell", f"{_zero(error)} to {off} {kelvin}"),
                ("hottest_cell", f"{_zero('-' + off)} to {_zero(decimal_text(limits.error))} {kelvin}"),
            ],
        ),
        ("valid", "-45 to 90 degC"),
        ("drifts", f"-{drift} to {drift} {kelvin}"),
    ]
    low, high = (decimal_text(mv * 1_000) for mv in plan.preset.valid)

    def tap(quantity: str) -> list[Field]:
        return [
            ("measures", [(quantity, "-10 to 10 mV")]),
            ("valid", f"{low} to {high} V"),
            ("stale_after", "10 s"),
        ]

    entries: list[tuple[str, list[Field]]] = [(name, probe) for name in plan.probes]
    entries += [("low_tap", tap("lowest_cell")), ("high_tap", tap("highest_cell"))]
    if plan.answers.shunt:
        level: list[Field] = [("measures", [("charge_level", "-5 to 5 %")]), ("valid", "-10 to 110 %")]
        entries.append(("shunt", [*level, ("drifts", "-30 to 30 %")]))
    several = plan.answers.probes > 1
    what = (
        f"The instruments. The intervals are reading minus truth: a probe reads within {kelvins(limits.error)} of its "
        f"own place, and the coldest and the hottest cell are within {kelvins(limits.offset)} of "
        f"{'some probe' if several else 'that'}. A reading outside `valid` counts as lost."
    )
    return [*comment(what), "sensors:", *rows(entries)]


def _zero(text: str) -> str:
    return "0" if text in ("-0", "0") else text


def _readings(plan: Plan) -> list[str]:
    if plan.answers.probes == 1:
        return []
    probes = listed(plan.probes)
    entries: list[tuple[str, list[Field]]] = [
        ("coldest_reading", [("lowest_of", probes)]),
        ("warmest_reading", [("highest_of", probes)]),
        ("probe_spread", [("difference_of", probes)]),
    ]
    what = "The probes together, one reading for each purpose. With one of them lost there is none, and that stops."
    return [*comment(what), "readings:", *rows(entries)]


def _units(plan: Plan) -> list[str]:
    if plan.answers.monitor:
        what = "Who evaluates rules: the board switches; the monitor on the cells only gives or takes away two permits."
        return [*comment(what), "units: [board, cell_monitor]"]
    return [*comment("Who evaluates rules: one board, which reads the cell taps itself."), "units: [board]"]


def _lines(plan: Plan) -> list[str]:
    entries: list[tuple[str, list[Field]]] = []
    if plan.answers.monitor:
        entries += [
            ("charge_permit", [("low_when", "[cell_full]"), ("undriven_reads", "off")]),
            ("discharge_permit", [("low_when", "[cell_empty]"), ("undriven_reads", "off")]),
        ]
    for device in plan.turbines:
        confirms = plan.first_output(device.name)
        entries.append((f"{device.name}_closed", [("confirms", confirms), ("undriven_reads", "off")]))
    if plan.supplies:
        for device in plan.supplies:
            confirms = plan.first_output(device.name)
            entries.append((f"{device.name}_closed", [("confirms", confirms), ("undriven_reads", "on")]))
        shore = plan.supplies[0].name
        entries.append((f"{shore}_live", [("external", "yes"), ("why", "a voltage relay on the incoming line")]))
    if plan.answers.button:
        entries.append(
            (
                "reset_button",
                [("external", "yes"), ("why", scalar("beside the pack: whoever presses it has seen it", braces=True))],
            )
        )
    if not entries:
        return []
    what = (
        "On/off signals. `undriven_reads` is what a broken wire or a dead sender reads: choose it so that it stops, "
        "and wire the input so that it really reads that."
    )
    return [*comment(what), "lines:", *rows(entries)]


def _paths(plan: Plan) -> list[str]:
    lines = comment(
        "What carries current, as seen from the pack. Where everything stands behind one pack contactor, give that a "
        "path of its own with `flow: none` and write `behind:` on the others."
    )
    entries: list[tuple[str, list[Field]]] = []
    for device in plan.answers.sources:
        entries.append((device.name, [("flow", "charge")]))
        if device in plan.turbines:
            why = "it draws from the pack only for as long as the turbine's contactor is closed too"
            entries.append((f"{device.name}_dump_load", [("flow", "discharge"), ("why", scalar(why, braces=True))]))
    for device in plan.answers.loads:
        if device in plan.precharged:
            entries.append((f"{device.name}_precharge", [("flow", "discharge")]))
        entries.append((device.name, [("flow", "discharge")]))
    return [*lines, "paths:", *rows(entries)]


def _groups(plan: Plan) -> list[str]:
    entries: list[tuple[str, str]] = []
    if plan.turbines:
        entries.append(("users", listed(plan.load_paths)))
    if plan.answers.shunt and plan.comfort:
        entries.append(("comfort_loads", listed(plan.comfort)))
    if plan.answers.shunt and plan.last:
        entries.append(("last_loads", listed(plan.last)))
    if not entries:
        return []
    what = "Groups, beside the built-in `sources`, `loads` and `all`."
    if plan.turbines:
        what += " A dump load is in none of these: it has to run when others stop."
    return [*comment(what), "groups:", *rows(entries)]


def _outputs(plan: Plan) -> list[str]:
    what = (
        "From permit to the device's own input: with the board dead or a wire broken the contact is open and the "
        "device stops. `stops_within` and `starts_within`: what such devices usually take; measure yours."
    )
    lines = [*comment(what), "outputs:"]
    longest = max(len(o.name) for o in plan.outputs)
    devices = {d.name: d for d in (*plan.answers.sources, *plan.answers.loads)}
    for output in plan.outputs:
        lines += comment(_told(output, devices), 2)
        lines += rows([(output.name, _output_fields(output))], longest=longest)
    return lines


def _told(output: PlannedOutput, devices: dict[str, Device]) -> str:
    device = devices.get(output.path)
    if device is None:
        return f"{output.path}: {output.way.says}."
    what = device.name if device.name == device.facts.name else f"{device.name}, {_article(device.facts.says)}"
    text = f"{what}: {output.way.says}."
    if not device.remote and device.facts.remote is not None and device.facts.usually_remote:
        text += " With a remote input of its own it would stop more gently."
    if device.kind is SourceKind.ALTERNATOR and len(device.switching) == 1:
        text += " If a pack contactor is added, its rule must wait until the field has died away."
    return text


def _article(noun: str) -> str:
    return ("an " if noun[0] in "aeiou" else "a ") + noun


def _output_fields(output: PlannedOutput) -> list[Field]:
    fields: list[Field] = [("drives", f"[{output.path}]")]
    if output.dumps:
        fields += [("contact", "normally_closed"), ("energised_when", "stops")]
    else:
        fields += [("contact", "normally_open")]
    return [
        *fields,
        ("runs_when", "closed"),
        ("stops_within", ms_text(output.way.stops_ms)),
        ("starts_within", ms_text(output.way.starts_ms)),
    ]
