"""What stands beside the code in either language: where each part comes from in the scheme, and why."""

from __future__ import annotations

import unicodedata
from textwrap import wrap

from interlock.explain.phrases import sentence
from interlock.explain.rules import rules
from interlock.export.unit import About, Part, UnitCode
from interlock.scheme.model import Output, Scheme
from interlock.scheme.source import NOWHERE, Place
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Contact, DeviceInput

WIDTH = 100
CAUTIONS = (
    "This code is an aid to engineering judgement and certifies nothing. It decides from the scheme alone: what the "
    "scheme leaves out, it cannot see. A battery holds its energy at all times: short circuits carry thousands of "
    "amperes, arcs on direct current do not go out by themselves, and cells overcharged, charged when frozen or "
    "overheated can vent flammable and poisonous gas. Local codes, the maker's manual and licensed practice come "
    "first. Give the controller a watchdog that releases its outputs, and test the installation before it is energised."
)


_PLAIN = {"°": "deg ", "…": "...", "–": "-", "“": '"', "”": '"', "’": "'", "Ω": "ohm", "µ": "u"}


def plain(text: str) -> str:
    """Text that can stand in a comment of either language: ASCII, and no mark that begins or ends one."""
    for mark, instead in _PLAIN.items():
        text = text.replace(mark, instead)
    folded = unicodedata.normalize("NFKD", text)
    kept = "".join(
        c if " " <= c <= "~" else " " if c.isspace() else "" if unicodedata.combining(c) else "?" for c in folded
    )
    for mark, instead in (("*/", "* /"), ("/*", "/ *"), ("*)", "* )"), ("(*", "( *"), ("??", "? ?"), ("\\", "|")):
        while mark in kept:
            kept = kept.replace(mark, instead)
    return kept


def wrapped(text: str, width: int = WIDTH) -> list[str]:
    """Plain text in lines."""
    return wrap(plain(text), width, break_long_words=True, break_on_hyphens=False) or [""]


def place_text(code: UnitCode, place: Place) -> str:
    """`FILE:LINE`, or the file alone where a thing has no place of its own."""
    return code.file if place == NOWHERE else f"{code.file}:{place.line}"


class Comments:
    """The comment of each part of a unit."""

    def __init__(self, code: UnitCode) -> None:
        self._code = code
        self._rules = {item.name: item for item in rules(code.scheme)}

    def of(self, part: Part) -> list[str]:
        """What a part works out, where it stands in the scheme, and why."""
        code, scheme = self._code, self._code.scheme
        match part.about:
            case About.SENSOR:
                sensor = scheme.sensors[part.name]
                low, high = (value_text(v, sensor.kind) for v in (sensor.valid.low, sensor.valid.high))
                return wrapped(
                    f"sensor {part.name} ({place_text(code, sensor.place)}): valid from {low} to "
                    f"{high}{_why(sensor.why)}"
                )
            case About.READING:
                reading = scheme.readings[part.name]
                of = ", ".join(reading.sensors)
                return wrapped(
                    f"reading {part.name} ({place_text(code, reading.place)}): "
                    f"{str(reading.combine).replace('_', ' ')} {of}; "
                    f"needs {reading.needs} of them valid{_why(reading.why)}"
                )
            case About.RULE:
                rule = scheme.rules[part.name]
                words = " ".join(sentence(s) for s in self._rules[part.name].sentences)
                return [
                    *wrapped(f"rule {part.name} ({place_text(code, rule.place)}): {words}"),
                    *_levels(code, part.name),
                ]
            case About.LINE:
                line = scheme.lines[part.name]
                word = str(line.form).replace("_", " ")
                return wrapped(
                    f"line {part.name} ({place_text(code, line.place)}): {word} {', '.join(line.rules)} active"
                    f"{_why(line.why)}"
                )
            case About.EFFECT:
                rule = scheme.rules[part.name]
                alarm = f'; alarm: "{rule.alarm}"' if rule.alarm else ""
                return wrapped(f"effects of rule {part.name} ({place_text(code, rule.place)}){alarm}")
            case About.OUTPUT:
                output = scheme.outputs[part.name]
                return wrapped(
                    f"output {part.name} ({place_text(code, output.place)}): drives {', '.join(output.drives)}; "
                    f"{contact_text(output)}{_why(output.why)}"
                )
            case About.MEMORY:
                return ["what the next scan is left"]


def contact_text(output: Output) -> str:
    """What the output's contact and its device make of it, and when it is energised."""
    contact = "driven" if output.contact is Contact.DRIVEN else f"{str(output.contact).replace('_', ' ')} contact"
    needs = {
        DeviceInput.CLOSED: "runs when closed",
        DeviceInput.OPEN: "runs when open",
        DeviceInput.HIGH: "runs when high",
        DeviceInput.LOW: "runs when low",
    }[output.runs_when]
    return f"{contact}, the device {needs}, energised when it {output.energised_when}"


def _why(why: str) -> str:
    return f". Why: {why}" if why else ""


def _levels(code: UnitCode, rule: str) -> list[str]:
    """How the rule's state is counted."""
    levels = code.program.levels[rule]
    words = ["0 clear"]
    if levels.trip_scans:
        words.append(f"1 to {levels.trip_scans} picking up")
    if levels.manual:
        words.append(f"{levels.awaiting} awaiting reset")
    if levels.clear_scans:
        words.append(f"{levels.awaiting + 1} to {levels.top - 1} dropping off (counting down)")
    words.append(f"{levels.top} tripped")
    return wrapped("its level: " + ", ".join(words))


def heading(code: UnitCode) -> list[str]:
    """What the file is made from."""
    scheme = code.scheme
    return [
        *wrapped(
            f"{scheme.title}, revision {scheme.revision}: the rules of unit {code.unit}, made by interlock from "
            f"{code.file}. Do not edit: change the scheme and export again."
        ),
    ]


def step_text(code: UnitCode, sensor: str) -> str:
    """What one step of a sensor's reading is: `0.001 degC`, `1 mV`."""
    step, kind = code.steps.of[sensor], code.scheme.sensors[sensor].kind
    return value_text(step, kind, difference=str(kind) == "V" or step >= 10**6)


def scan_text(scheme: Scheme) -> str:
    """The time of one scan."""
    return time_text(scheme.scan_us)


OPERATORS = (" ? ", " : ", " && ", " || ", " AND ", " OR ", ", ")


def broken(head: str, text: str, tail: str) -> list[str]:
    """A statement in lines of at most WIDTH columns where that can be: broken before the operators in the fewest
    parentheses, and again within what is still too long."""
    indent = len(head) - len(head.lstrip())
    return _broken(head + text + tail, indent)


def _broken(line: str, indent: int) -> list[str]:
    first = " " * (len(line) - len(line.lstrip()))
    pieces = _pieces(line.lstrip())
    if len(line) <= WIDTH or len(pieces) < 2:
        return [line]
    inner = indent + 4
    lines = [first + pieces[0]]
    for piece in pieces[1:]:
        if len(lines[-1]) + 1 + len(piece) <= WIDTH and not piece.startswith(("? ", ": ")):
            lines[-1] += f" {piece}"
        else:
            lines.append(" " * inner + piece)
    return [part for line in lines for part in _broken(line, inner)]


def _pieces(text: str) -> list[str]:
    """The text cut before each operator that stands in the fewest parentheses."""
    depth, places = 0, []
    for i, c in enumerate(text):
        depth += (c == "(") - (c == ")")
        for op in OPERATORS:
            if i and text.startswith(op, i):
                places.append((depth, i + (1 if op == ", " else 0)))
    least = min((d for d, _ in places), default=0)
    cuts = [i for d, i in places if d == least]
    return [text[a:b].strip() for a, b in zip([0, *cuts], [*cuts, len(text)], strict=True)]
