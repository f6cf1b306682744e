"""The wiring of each unit: what it reads on the left, terminal by terminal; contacts and device inputs on the right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.page import FOOT, HEAD, Drawing, Sheet, a4, framed
from interlock.draw.said import Text, any_of, listed, said, titled
from interlock.draw.style import GREY, LINE_HEIGHT, MARGIN, NORMAL, SMALL, Stroke
from interlock.draw.svg import Anchor, Svg
from interlock.draw.words import NEEDS, side_text
from interlock.scheme.model import Line, Output, Scheme
from interlock.scheme.units import time_text
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Signal

ROW = 30.0
UNIT_LEFT, UNIT_RIGHT = 262.0, 508.0
INPUT_ROOM = 106.0  # of the unit's inside, for its inputs' words: as wide as they mostly are, so that each is one line
OUTSIDE_LEFT, OUTSIDE_RIGHT = MARGIN + 140, 620.0

_CONTACTS = {
    Contact.NORMALLY_OPEN: Text("normally open"),
    Contact.NORMALLY_CLOSED: Text("normally closed"),
    Contact.DRIVEN: Text("driven level"),
}
assert set(_CONTACTS) == set(Contact), set(Contact) - set(_CONTACTS)

_ENERGISED = {EnergisedWhen.RUNS: Text("energised to run"), EnergisedWhen.STOPS: Text("energised to stop")}
assert set(_ENERGISED) == set(EnergisedWhen), set(EnergisedWhen) - set(_ENERGISED)


@dataclass(frozen=True, slots=True)
class Wire:
    """One row: the thing outside, the wire's label, and the unit's side of it."""

    outside: str
    outside_note: str
    wire: str
    terminal: str
    inside: str
    says: str
    inside_note: str = ""


def draw_wiring(scheme: Scheme, unit: str) -> list[Drawing]:
    """The wiring of one unit on as many A4 sheets as its rows take."""
    inputs, outputs = inputs_of(scheme, unit), outputs_of(scheme, unit)
    _, height = a4()
    most = int((height - 2 * MARGIN - HEAD - FOOT - 30) // ROW)
    count = max(1, -(-max(len(inputs), len(outputs)) // most))
    drawings = []
    for number in range(count):
        part = slice(number * most, (number + 1) * most)
        suffix = f"_{number + 1}" if count > 1 else ""
        svg = _sheet(scheme, unit, inputs[part], outputs[part], Sheet(number + 1, count))
        drawings.append(Drawing(f"wiring_{unit}{suffix}", said("Wiring of {unit}", unit=unit), svg))
    return drawings


def inputs_of(scheme: Scheme, unit: str) -> list[Wire]:
    """Sensors and lines that the unit reads."""
    used: set[str] = set()
    for rule in scheme.rules.values():
        if rule.unit == unit and rule.watches is Signal.SENSOR:
            used.add(rule.watched)
        elif rule.unit == unit and rule.watches is Signal.READING:
            used.update(scheme.readings[rule.watched].sensors)
    rows = []
    for sensor in scheme.sensors.values():
        if sensor.name in used:
            measured = listed(e.quantity for e in sensor.measures)
            says = said("{sensor} measures {quantities}", sensor=sensor.name, quantities=measured)
            rows.append(
                Wire(
                    sensor.name,
                    said("measures {quantities}", quantities=measured),
                    sensor.wire,
                    sensor.terminal,
                    said("sensor input"),
                    titled(says, sensor.why),
                )
            )
    for name in scheme.reads(unit):
        line = scheme.lines[name]
        state = side_text(Signal.LINE, first=line.undriven_reads)
        note = said("signal; a broken wire reads {state}", state=state)
        says = said("{line}; a broken wire reads {state}", line=name, state=state)
        rows.append(Wire(name, _from(line), line.wire, line.terminal, note, says))
    return rows


def _from(line: Line) -> str:
    match line.form:
        case LineForm.EXTERNAL:
            return said("from outside")
        case LineForm.CONFIRMS:
            return said("auxiliary contact of {output}", output=line.output)
        case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
            return said("sent by {unit}", unit=line.unit)


def outputs_of(scheme: Scheme, unit: str) -> list[Wire]:
    """Outputs with the device inputs they feed, and the lines the unit sends."""
    rows = []
    for output in scheme.outputs.values():
        if output.unit == unit:
            rows.append(_output_row(output))
    for line in scheme.lines.values():
        if line.form.sent and line.unit == unit:
            word = side_text(Signal.LINE, first=line.form is not LineForm.LOW_WHEN)
            readers = [u for u in scheme.units if line.name in scheme.reads(u)]
            note = said("read by {units}", units=listed(readers)) if readers else said("read by no unit")
            inside = said("{state} while {rules} active", state=word, rules=any_of(line.rules))
            says = titled(line.name, inside)
            rows.append(Wire(line.name, note, line.wire, line.terminal, said("signal output"), says, inside))
    return rows


def _output_row(output: Output) -> Wire:
    contact = listed([_CONTACTS[output.contact](), _ENERGISED[output.energised_when]()])
    note, drives = NEEDS[output.runs_when](), listed(output.drives)
    if output.stops_within.us:
        note = said("{runs}, stops within {time}", runs=note, time=time_text(output.stops_within.us))
    says = said(
        "{output} drives {paths}: {contact}; the device {runs}",
        output=output.name,
        paths=drives,
        contact=contact,
        runs=note,
    )
    return Wire(drives, note, output.wire, output.terminal, output.name, says, contact)


def _sheet(scheme: Scheme, unit: str, inputs: Sequence[Wire], outputs: Sequence[Wire], sheet: Sheet) -> Svg:
    width, height = a4()
    svg = framed(
        scheme,
        said("Wiring of {unit}", unit=unit),
        " ".join(
            [
                said("Left, what the unit reads; right, what it switches."),
                *(said("{sentence}.", sentence=w.says) for w in (*inputs, *outputs)),
            ]
        ),
        width=width,
        height=height,
        sheet=sheet,
        says=said("Each line is one wire with its label; the unit's terminals stand inside its frame."),
    )
    top = MARGIN + HEAD + 6
    rows = max(len(inputs), len(outputs), 1)
    bottom = top + rows * ROW + 22
    svg.box(UNIT_LEFT, top, UNIT_RIGHT - UNIT_LEFT, bottom - top, stroke=Stroke.HEAVY, fill="none")
    svg.text((UNIT_LEFT + UNIT_RIGHT) / 2, top + 14, unit, bold=True, anchor="middle", size=NORMAL + 1)
    for i, wire in enumerate(inputs):
        _input(svg, wire, top + 22 + (i + 0.5) * ROW)
    for i, wire in enumerate(outputs):
        _output(svg, wire, top + 22 + (i + 0.5) * ROW, width - MARGIN)
    return svg


def _input(svg: Svg, wire: Wire, y: float) -> None:
    svg.open_group(wire.says)
    _words(svg, OUTSIDE_LEFT - 6, y, wire.outside, wire.outside_note, OUTSIDE_LEFT - MARGIN - 6, "end")
    _line(svg, OUTSIDE_LEFT, UNIT_LEFT, y, wire.wire)
    svg.arrow_head(UNIT_LEFT, y, 1, 0)
    _words(
        svg,
        UNIT_LEFT + 8,
        y,
        wire.terminal or said("(no terminal given)"),
        wire.inside,
        INPUT_ROOM,
        "start",
    )
    svg.close_group()


def _output(svg: Svg, wire: Wire, y: float, right: float) -> None:
    svg.open_group(wire.says)
    name = wire.inside
    if wire.terminal:
        name = said("{output} at {terminal}", output=name, terminal=wire.terminal)
    room = UNIT_RIGHT - UNIT_LEFT - INPUT_ROOM - 3 * 8
    _words(svg, UNIT_RIGHT - 8, y, name, wire.inside_note, room, "end")
    _line(svg, UNIT_RIGHT, OUTSIDE_RIGHT, y, wire.wire)
    svg.arrow_head(OUTSIDE_RIGHT, y, 1, 0)
    svg.box(OUTSIDE_RIGHT, y - ROW / 2 + 2, right - OUTSIDE_RIGHT, ROW - 4, fill="none")
    _words(svg, OUTSIDE_RIGHT + 6, y, wire.outside, wire.outside_note, right - OUTSIDE_RIGHT - 12, "start")
    svg.close_group()


def _line(svg: Svg, x1: float, x2: float, y: float, label: str) -> None:
    svg.line(x1, y, x2 - 4, y)
    text = fitted(label, x2 - x1 - 24, SMALL) if label else said("(no label)")
    width = text_width(text, SMALL) + 6
    svg.box((x1 + x2 - width) / 2, y - 5.5, width, 11, stroke=Stroke.FAINT if label else None)
    svg.text((x1 + x2) / 2, y + 2.7, text, size=SMALL, anchor="middle", colour="#000000" if label else GREY)


def _words(svg: Svg, x: float, y: float, name: str, note: str, room: float, side: Anchor) -> None:
    """A bold name with a note below it, within a row; a long one is cut with an ellipsis (its title has it whole)."""
    lines = wrapped(note, room, SMALL) if note.strip() else []
    lines = lines[:1] + ([fitted(" ".join(lines[1:]), room, SMALL)] if len(lines) > 1 else [])
    shown = fitted(name, room, NORMAL, bold=True)
    at = y + 3 - len(lines) * SMALL * LINE_HEIGHT / 2
    svg.text(x, at, shown, bold=True, anchor=side)
    svg.lines(x, at + SMALL * LINE_HEIGHT, lines, size=SMALL, anchor=side, colour=GREY)
