"""One unit as C99: a header that says how to call it, and one source file without loops, calls or allocation."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.export.comments import (
    CAUTIONS,
    Comments,
    broken,
    contact_text,
    heading,
    place_text,
    plain,
    scan_text,
    step_text,
    wrapped,
)
from interlock.export.names import C_WORDS, Names, identifier
from interlock.export.text import Dialect, found_in, slot_names, statements
from interlock.export.unit import UnitCode, slot_name
from interlock.logic.program import Observe, Op, SlotKind
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import PowerUp

LONGEST_PREFIX = 22  # with `_power_up` a name stays told apart by its first 31 characters, all that C99 promises


@dataclass(frozen=True)
class CNames:
    """The identifiers of a unit's export. `inputs` by sensor and line, `told` by what is told, `slots` in order."""

    prefix: str
    inputs: dict[str, str]
    told: dict[tuple[Observe, str], str]
    slots: tuple[str, ...]

    @property
    def macro(self) -> str:
        """The beginning of its macros."""
        return self.prefix.upper()


def c_names(code: UnitCode) -> CNames:
    """Identifiers for everything a caller names. What is told has names of its own kind: an alarm and a line of the
    same rule are told apart by their endings."""
    long, short = identifier(f"{code.scheme.title}_{code.unit}").lower(), identifier(code.unit).lower()
    prefix = Names(C_WORDS).take(long if len(long) <= LONGEST_PREFIX else short, longest=LONGEST_PREFIX)
    fields = Names(C_WORDS)
    inputs = {name: fields.take(name) for name in (*code.sensors, *code.lines)}
    outs = Names(C_WORDS)
    ending = {Observe.ENERGISED: (), Observe.LINE: (), Observe.ALARM: ("alarm",)}
    told = {(kind, name): outs.take(name, *ending[kind]) for kind, name in code.told}
    return CNames(prefix, inputs, told, slot_names(code, Names({*C_WORDS, "powered_up"})))


def c_files(code: UnitCode) -> dict[str, str]:
    """The files of an export: `PREFIX.h` and `PREFIX.c`. Raises TooWideError where 64 bits are not enough."""
    names = c_names(code)
    return {f"{names.prefix}.h": _header(code, names), f"{names.prefix}.c": _source(code, names)}


def _step_line(p: str, end: str) -> list[str]:
    return [
        f"void {p}_step({p}_state *state, const {p}_inputs *in,",
        f"{' ' * len(f'void {p}_step(')}{p}_outputs *out){end}",
    ]


def _type(code: UnitCode) -> str:
    return f"int{code.bits}_t"


def _number(value: int) -> str:
    """A plain decimal takes the first of int, long and long long that holds it, on every machine (C99, 6.4.4.1)."""
    return str(value) if value >= 0 else f"(-{-value})"


def _plus(a: str, b: str) -> str:
    """A sum, as a difference where one of the two is negated."""
    if a.startswith("(-"):
        a, b = b, a
    return f"{a} - {b[2:-1]}" if b.startswith("(-") and _bare(b) != b else f"{a} + {b}"


def _dialect() -> Dialect:
    number = _number

    def clamped(field: str, low: int, high: int) -> str:
        return f"({field} < {number(low)}) ? {number(low)} : ({field} > {number(high)}) ? {number(high)} : {field}"

    return Dialect(
        forms={
            Op.NOT: lambda _, a: f"!{a[0]}",
            Op.AND: lambda _, a: " && ".join(a),
            Op.OR: lambda _, a: " || ".join(a),
            Op.ADD: lambda _, a: _plus(a[0], a[1]),
            Op.SCALE: lambda node, a: f"-{a[0]}" if node.value == -1 else f"{a[0]} * {number(node.value)}",
            Op.AT_MOST: lambda _, a: f"{a[0]} <= {a[1]}",
            Op.EQUAL: lambda _, a: f"{a[0]} == {a[1]}",
            Op.SELECT: lambda _, a: f"{a[0]} ? {a[1]} : {a[2]}",
            Op.MIN: lambda _, a: f"({a[0]} < {a[1]}) ? {a[0]} : {a[1]}",
            Op.MAX: lambda _, a: f"({a[0]} > {a[1]}) ? {a[0]} : {a[1]}",
        },
        number=number,
        truths=("false", "true"),
        cycled="powered_up",
        clamped=clamped,
        field="in->{}",
    )


# --- the header


def _comment(lines: list[str], indent: str = "") -> list[str]:
    if len(lines) == 1:
        return [f"{indent}/* {lines[0]} */"]
    return [f"{indent}/* {lines[0]}", *(f"{indent} * {line}".rstrip() for line in lines[1:]), f"{indent} */"]


def _header(code: UnitCode, names: CNames) -> str:
    p, m = names.prefix, names.macro
    guard = f"{m}_H"
    lines = [
        *_comment([*heading(code), "", *_usage(code, names), "", *wrapped(CAUTIONS)]),
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "#include <stdbool.h>",
        "#include <stdint.h>",
        "",
        "#ifdef __cplusplus",
        'extern "C" {',
        "#endif",
        "",
        f"#define {m}_SCAN_US UINT32_C({code.scheme.scan_us}) /* {scan_text(code.scheme)} from step to step */",
        f"#define {m}_LOST INT{code.bits}_MIN /* a reading that cannot be had, or is not to be believed */",
        f"#define {m}_KEPT_MARK UINT32_C(0x{code.fingerprint:08X}) /* changes with the rules */",
        "",
        *_comment(["What a step is given."]),
        "typedef struct {",
        *_inputs(code, names),
        f"}} {p}_inputs;",
        "",
        *_comment(["What a step decides."]),
        "typedef struct {",
        *_outputs(code, names),
        f"}} {p}_outputs;",
        "",
        *_comment(["What one step leaves to the next: to be placed, not touched. Read it for a display or a record."]),
        "typedef struct {",
        "    bool powered_up; /* the next step is the first after a power cycle */",
        *(
            line
            for i, slot in enumerate(code.program.slots)
            for line in [f"    {'bool' if slot.boolean else _type(code)} {names.slots[i]}; /* {_slot_says(code, i)} */"]
        ),
        f"}} {p}_state;",
        "",
        *_comment(_kept_says(code)),
        "typedef struct {",
        "    uint32_t mark;",
        *(
            f"    {'bool' if code.program.slots[i].boolean else _type(code)} {names.slots[i]};"
            for i in code.kept
        ),
        f"}} {p}_kept;",
        "",
        *_comment(["At power-up, before the first step. `kept`: what was read back from non-volatile memory, or a null",
                   "pointer where there is nothing. Gives false where nothing was kept or it can't be believed: every",
                   "rule then takes the state of a first power-up, which is the safe side."]),
        f"bool {p}_power_up({p}_state *state, const {p}_kept *kept);",
        "",
        *_comment(["One scan: read, decide, write. No pointer may be null."]),
        *_step_line(p, ";"),
        "",
        *_comment(["After a step: what is to be written to non-volatile memory wherever it has changed."]),
        f"void {p}_keep(const {p}_state *state, {p}_kept *kept);",
        "",
        "#ifdef __cplusplus",
        "}",
        "#endif",
        "",
        "#endif",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _usage(code: UnitCode, names: CNames) -> list[str]:
    p, m = names.prefix, names.macro
    usual = [
        "How to use it:",
        *(
            f"    static {p}_{kind} {name};"
            for kind, name in (("state", "state"), ("inputs", "in"), ("outputs", "out"), ("kept", "kept"))
        ),
        f"    {p}_power_up(&state, read_back(&kept) ? &kept : 0);",
        f"    every {scan_text(code.scheme)}: fill in; {p}_step(&state, &in, &out); drive out;",
        f"                  {p}_keep(&state, &kept); write kept where it has changed.",
        "",
    ]
    usual += wrapped(
        "Delays are counted in steps: a step that comes late makes every delay longer. The order of one scan is part "
        f"of the rules: read all inputs first, write all outputs after. A reading that is lost is given as {m}_LOST, "
        "and one outside its valid range counts as lost."
    )
    if code.steps.rounds:
        usual += wrapped(
            "Readings are whole steps, given beside each. Every limit and every end of a valid range is a whole number "
            "of steps, so comparisons are the scheme's own, strict where it is strict. A finer reading that you round "
            "moves by less than one step: count it to the sensor's error in the scheme."
        )
    others = sorted({line.unit for name in code.lines if (line := code.scheme.lines[name]).form.sent})
    if others:
        usual += wrapped(f"What {', '.join(others)} sends is to be read in the same scan in which it was decided.")
    usual += wrapped(
        f"Time and stack are bounded: no loop, no recursion, no call, no allocation, no floating point. Integers have "
        f"{code.bits} bits; every intermediate value was shown to fit."
    )
    return usual


def _inputs(code: UnitCode, names: CNames) -> list[str]:
    scheme, lines = code.scheme, []
    for name in code.sensors:
        sensor, step = scheme.sensors[name], code.steps.of[name]
        low, high = (value_text(v, sensor.kind) for v in (sensor.valid.low, sensor.valid.high))
        stale = (
            f"; give LOST when it was not renewed for {time_text(sensor.stale_after.us)}" if sensor.stale_after else ""
        )
        wired = _labels(sensor.terminal, sensor.wire)
        says = (
            f"sensor {name} ({place_text(code, sensor.place)}), in steps of {step_text(code, name)}: valid {low} to "
            f"{high}, that is {sensor.valid.low // step} to {sensor.valid.high // step}{stale}{wired}"
        )
        lines += [*_comment(wrapped(says), "    "), f"    {_type(code)} {names.inputs[name]};"]
    for name in code.lines:
        line = scheme.lines[name]
        source = f"sent by {line.unit}" if line.form.sent else f"confirms {line.output}" if line.output else "external"
        broken = "on" if line.undriven_reads else "off"
        says = (
            f"line {name} ({place_text(code, line.place)}), {source}: true when on; wire it so that a broken wire "
            f"reads {broken}{_labels(line.terminal, line.wire)}"
        )
        lines += [*_comment(wrapped(says), "    "), f"    bool {names.inputs[name]};"]
    return lines or ["    bool unused; /* it reads nothing */"]


def _labels(terminal: str, wire: str) -> str:
    words = [f"{word} {label}" for word, label in (("terminal", terminal), ("wire", wire)) if label]
    return f"; {', '.join(words)}" if words else ""


def _outputs(code: UnitCode, names: CNames) -> list[str]:
    scheme, lines = code.scheme, []
    for kind, name in code.told:
        field = names.told[kind, name]
        if kind is Observe.ENERGISED:
            output = scheme.outputs[name]
            says = (
                f"output {name} ({place_text(code, output.place)}): true energises it; "
                f"drives {', '.join(output.drives)}: {contact_text(output)}{_labels(output.terminal, output.wire)}"
            )
        elif kind is Observe.LINE:
            line = scheme.lines[name]
            says = f"line {name} ({place_text(code, line.place)}): true sends on{_labels(line.terminal, line.wire)}"
        else:
            says = f'alarm of {name}: "{scheme.rules[name].alarm}"'
        lines += [*_comment(wrapped(says), "    "), f"    bool {field};"]
    return lines or ["    bool unused; /* it decides nothing */"]


def _slot_says(code: UnitCode, number: int) -> str:
    slot = code.program.slots[number]
    match slot.kind:
        case SlotKind.LEVEL:
            levels = code.program.levels[slot.name]
            return plain(f"rule {slot.name}: acts from {levels.awaiting} up")
        case SlotKind.OVERRIDE:
            return plain(f"rule {slot.name}: 0 its override must first be seen off, 1 it was, more: overridden so long")
        case SlotKind.SEEN_OFF:
            return plain(f"{slot.name} was off at the scan before")
        case _:
            return plain(f"{slot.name} was on at the scan before")


def _kept_says(code: UnitCode) -> list[str]:
    levels = [code.program.slots[i].name for i in code.kept if code.program.slots[i].kind is SlotKind.LEVEL]
    others = [
        " ".join(slot_name(code.program.slots[i]))
        for i in code.kept
        if code.program.slots[i].kind is not SlotKind.LEVEL
    ]
    if not code.kept:
        return wrapped(
            "What must outlive a power cycle: nothing but the mark, which tells that there was a step before it."
        )
    words = "What must outlive a power cycle, in memory that keeps it. Guard it with a checksum of your own."
    if levels:
        words += f" Rules that power up as they were left: {', '.join(levels)}."
    if others:
        words += f" What the scan after the power cycle still looks at: {', '.join(others)}."
    return wrapped(words)


# --- the source


def _source(code: UnitCode, names: CNames) -> str:
    p, program = names.prefix, code.program
    before = found_in(code, names.slots)
    local = Names({*C_WORDS, "powered_up", *before})
    dialect = _dialect()
    written = statements(code, dialect, local, before, names.inputs)
    comments = Comments(code)
    body: list[str] = []
    for part, variables in written.parts:
        if variables:
            body += ["", *_comment(comments.of(part), "    ")]
            for v in variables:
                body += broken(f"    const {'bool' if v.boolean else _type(code)} {v.name} = ", v.text, ";")
    nodes = "".join(text for _, variables in written.parts for text in (v.text for v in variables))
    told = {(o.kind, o.name): o.node for o in program.observations}
    outs = [f"    out->{names.told[key]} = {_bare(written.text[told[key]])};" for key in code.told]
    nexts = [f"    state->{names.slots[i]} = {_bare(written.text[s.next])};" for i, s in enumerate(program.slots)]
    used = nodes + "".join(outs) + "".join(nexts)
    start = [f"    state->{names.slots[i]} = {_literal(code, i)};" for i in range(len(program.slots))]
    lines = [
        *_comment([*heading(code), f"{names.prefix}.h says how to call it."]),
        f'#include "{p}.h"',
        "",
        *_power_up(code, names, start),
        "",
        f"void {p}_keep(const {p}_state *state, {p}_kept *kept)",
        "{",
        *(["    (void)state;"] if not code.kept else []),
        f"    kept->mark = {names.macro}_KEPT_MARK;",
        *(f"    kept->{names.slots[i]} = state->{names.slots[i]};" for i in code.kept),
        "}",
        "",
        *_step_line(p, ""),
        "{",
        *_comment(["what the scan before left"], "    "),
        *(["    const bool powered_up = state->powered_up;"] if "powered_up" in used else []),
        *(
            f"    const {'bool' if s.boolean else _type(code)} {before[i]} = state->{names.slots[i]};"
            for i, s in enumerate(program.slots)
        ),
        *body,
        "",
        *_comment(["what is decided"], "    "),
        *([] if "in->" in used else ["    (void)in;"]),
        *(outs or ["    out->unused = false;"]),
        "",
        *_comment(["what the next scan is left"], "    "),
        *nexts,
        "    state->powered_up = false;",
        "}",
    ]
    return "\n".join(lines) + "\n"


def _bare(text: str) -> str:
    """The text without parentheses around the whole of it."""
    if not text.startswith("("):
        return text
    depth = 0
    for i, c in enumerate(text):
        depth += (c == "(") - (c == ")")
        if depth == 0:
            return text[1:-1] if i == len(text) - 1 else text
    return text


def _literal(code: UnitCode, number: int) -> str:
    slot = code.program.slots[number]
    return ("false", "true")[slot.initial] if slot.boolean else _number(slot.initial)


def _power_up(code: UnitCode, names: CNames, start: list[str]) -> list[str]:
    p, slots = names.prefix, code.program.slots
    believed = [f"kept->mark == {names.macro}_KEPT_MARK"]
    for i in code.kept:
        if not slots[i].boolean:
            field = f"kept->{names.slots[i]}"
            believed.append(f"{field} >= {_number(slots[i].low)} && {field} <= {_number(slots[i].high)}")
    lines = [f"bool {p}_power_up({p}_state *state, const {p}_kept *kept)", "{"]
    lines += [*start, "    state->powered_up = false;"]
    lines += ["    if (kept == 0) {", "        return false;", "    }"]
    joined = "\n        && ".join(believed)
    lines += [f"    if (!({joined})) {{", "        return false;", "    }"]
    for i in code.kept:
        rule = code.scheme.rules.get(slots[i].name)
        assert slots[i].kind is not SlotKind.LEVEL or (rule and rule.power_up is PowerUp.AS_LEFT)
        lines.append(f"    state->{names.slots[i]} = kept->{names.slots[i]};")
    return [*lines, "    state->powered_up = true;", "    return true;", "}"]
