"""One unit as a function block in structured text (IEC 61131-3:2013): the same step, for a programmable controller."""

from __future__ import annotations

from interlock.export.comments import (
    CAUTIONS,
    Comments,
    broken,
    contact_text,
    heading,
    place_text,
    scan_text,
    step_text,
    wrapped,
)
from interlock.export.names import ST_WORDS, Names, identifier
from interlock.export.text import Dialect, slot_names, statements
from interlock.export.unit import UnitCode
from interlock.logic.program import Observe, Op
from interlock.scheme.units import time_text, value_text


def _number(value: int) -> str:
    return str(value) if value >= 0 else f"(-{-value})"


_DIALECT = Dialect(
    forms={
        Op.NOT: lambda _, a: f"NOT {a[0]}",
        Op.AND: lambda _, a: " AND ".join(a),
        Op.OR: lambda _, a: " OR ".join(a),
        Op.ADD: lambda _, a: f"{a[0]} + {a[1]}",
        Op.SCALE: lambda node, a: f"{a[0]} * {_number(node.value)}",
        Op.AT_MOST: lambda _, a: f"{a[0]} <= {a[1]}",
        Op.EQUAL: lambda _, a: f"{a[0]} = {a[1]}",
        Op.SELECT: lambda _, a: f"SEL({a[0]}, {a[2]}, {a[1]})",  # the first value is taken where the selector is FALSE
        Op.MIN: lambda _, a: f"MIN({a[0]}, {a[1]})",
        Op.MAX: lambda _, a: f"MAX({a[0]}, {a[1]})",
    },
    number=_number,
    truths=("FALSE", "TRUE"),
    cycled="power_cycled",
    clamped=lambda field, low, high: f"LIMIT({_number(low)}, {field}, {_number(high)})",
    field="{}",
)


def st_files(code: UnitCode) -> dict[str, str]:
    """The file of an export: `NAME.st`. Raises TooWideError where 64 bits are not enough."""
    block = Names(ST_WORDS, folded=True).take(identifier(f"{code.scheme.title}_{code.unit}").lower())
    return {f"{block}.st": _block(code, block)}


def _block(code: UnitCode, block: str) -> str:
    names = Names({*ST_WORDS, block, "first_scan", "started", "power_cycled"}, folded=True)
    inputs = {name: names.take(name) for name in (*code.sensors, *code.lines)}
    ending = {Observe.ENERGISED: (), Observe.LINE: (), Observe.ALARM: ("alarm",)}
    told = {(kind, name): names.take(name, *ending[kind]) for kind, name in code.told}
    slots = slot_names(code, names)
    before = tuple(names.take(name, "before") for name in slots)
    written = statements(code, _DIALECT, names, before, inputs)
    comments = Comments(code)
    number = "DINT" if code.bits == 32 else "LINT"

    def kind(boolean: bool) -> str:
        return "BOOL" if boolean else number

    def declared(i: int) -> str:
        slot = code.program.slots[i]
        start = ("FALSE", "TRUE")[slot.initial] if slot.boolean else _number(slot.initial)
        return f"    {slots[i]} : {kind(slot.boolean)} := {start};"

    body: list[str] = ["power_cycled := first_scan AND started;"]
    body += [f"{name} := {slot};" for name, slot in zip(before, slots, strict=True)]
    temporary = [f"    {name} : {kind(s.boolean)};" for name, s in zip(before, code.program.slots, strict=True)]
    for part, variables in written.parts:
        if variables:
            body += ["", *_comment(comments.of(part))]
            for v in variables:
                body += broken(f"{v.name} := ", v.text, ";")
                temporary.append(f"    {v.name} : {kind(v.boolean)};")
    nodes = {(o.kind, o.name): o.node for o in code.program.observations}
    body += ["", *_comment(["what is decided"])]
    body += [line for key in code.told for line in broken(f"{told[key]} := ", written.text[nodes[key]], ";")]
    body += ["", *_comment(["what the next scan is left"])]
    body += [f"{slots[i]} := {written.text[slot.next]};" for i, slot in enumerate(code.program.slots)]
    body += ["first_scan := FALSE;", "started := TRUE;"]
    kept, lost = set(code.kept), [i for i in range(len(slots)) if i not in code.kept]
    lines = [
        *_comment([*heading(code), "", *_usage(code), "", *wrapped(CAUTIONS)]),
        f"FUNCTION_BLOCK {block}",
        *_section("VAR_INPUT", _inputs(code, inputs, number)),
        *_section("VAR_OUTPUT", _outputs(code, told)),
        "VAR RETAIN",
        *_comment(["kept through a power cycle"], "    "),
        "    started : BOOL := FALSE;",
        *(declared(i) for i in sorted(kept)),
        "END_VAR",
        "VAR",
        "    first_scan : BOOL := TRUE;",
        *(declared(i) for i in lost),
        "END_VAR",
        *_section("VAR_TEMP", ["    power_cycled : BOOL;", *temporary]),
        "",
        *body,
        "END_FUNCTION_BLOCK",
    ]
    return "\n".join(lines) + "\n"


def _section(word: str, lines: list[str]) -> list[str]:
    return [word, *lines, "END_VAR"] if lines else []


def _comment(lines: list[str], indent: str = "") -> list[str]:
    if len(lines) == 1:
        return [f"{indent}(* {lines[0]} *)"]
    return [f"{indent}(* {lines[0]}", *(f"{indent}   {line}".rstrip() for line in lines[1:]), f"{indent}*)"]


def _usage(code: UnitCode) -> list[str]:
    words = (
        f"Call one instance once every {scan_text(code.scheme)}, from a cyclic task: delays are counted in calls. Read "
        "all inputs before, write all outputs after. A reading that is lost is given as any value outside its valid "
        "range. What stands under RETAIN must outlive a power cycle, all else must not: it takes its first value."
    )
    if code.steps.rounds:
        words += (
            " Readings are whole steps, given beside each; a finer reading that is rounded moves by less than one "
            "step: count it to the sensor's error in the scheme."
        )
    return wrapped(words)


def _inputs(code: UnitCode, inputs: dict[str, str], number: str) -> list[str]:
    scheme, lines = code.scheme, []
    for name in code.sensors:
        sensor = scheme.sensors[name]
        low, high = (value_text(v, sensor.kind) for v in (sensor.valid.low, sensor.valid.high))
        stale = f"; lost when not renewed for {time_text(sensor.stale_after.us)}" if sensor.stale_after else ""
        says = (
            f"sensor {name} ({place_text(code, sensor.place)}), in steps of {step_text(code, name)}: "
            f"valid {low} to {high}{stale}"
        )
        lines += [*_comment(wrapped(says), "    "), f"    {inputs[name]} : {number};"]
    for name in code.lines:
        line = scheme.lines[name]
        broken_reads = "on" if line.undriven_reads else "off"
        says = f"line {name} ({place_text(code, line.place)}), a broken wire reads {broken_reads}"
        lines += [*_comment(wrapped(says), "    "), f"    {inputs[name]} : BOOL;"]
    return lines


def _outputs(code: UnitCode, told: dict[tuple[Observe, str], str]) -> list[str]:
    scheme, lines = code.scheme, []
    for kind, name in code.told:
        if kind is Observe.ENERGISED:
            output = scheme.outputs[name]
            says = (
                f"output {name} ({place_text(code, output.place)}): TRUE energises it; "
                f"drives {', '.join(output.drives)}: {contact_text(output)}"
            )
        elif kind is Observe.LINE:
            says = f"line {name} ({place_text(code, scheme.lines[name].place)}): TRUE sends on"
        else:
            says = f'alarm of {name}: "{scheme.rules[name].alarm}"'
        lines += [*_comment(wrapped(says), "    "), f"    {told[kind, name]} : BOOL;"]
    return lines
