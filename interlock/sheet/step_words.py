"""A test sheet in words: what to do at each step, how long to wait, where to look and what must then be seen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.elements.bench import KitKind, pretend, usual_kit
from interlock.elements.chain import Range
from interlock.elements.records import ElementError
from interlock.explain.elements import put_text
from interlock.plan.predict import sight_named
from interlock.plan.sheet import EITHER, PRESSED, Sheet, Step, sides
from interlock.plan.sights import Sight, SightKind
from interlock.scheme.grammar import GrammarError, read_value
from interlock.scheme.model import Line, Output, Scheme, Sensor
from interlock.scheme.units import MICRO, Kind, lasted_text
from interlock.scheme.words import LineForm

HELD_S = 3  # what is not at rest stays for so long at least, by the meaning of a sheet's step


@dataclass(frozen=True, slots=True)
class Expected:
    """One thing to look at. `words`: what it can be, as the results file has it; `expected`: one of these or `either`.

    `looked_at`: what it is and where one sees it. `changed`: it was expected otherwise before, or not yet looked at.
    `measurable`: a meter has something to say of it.
    """

    name: str
    words: tuple[str, str]
    expected: str
    looked_at: str
    changed: bool
    measurable: bool


@dataclass(frozen=True, slots=True)
class Told:
    """One step. `counts_from`: the step whose start the stopwatch counts from, `look_s`: what it then shows."""

    number: int
    does: tuple[str, ...]
    waits: str
    hurry: str
    expected: tuple[Expected, ...]
    counts_from: int
    look_s: int


@dataclass(frozen=True, slots=True)
class Words:
    """A whole sheet in words."""

    tools: tuple[str, ...]
    steps: tuple[Told, ...]


def sheet_words(scheme: Scheme, sheet: Sheet) -> Words:
    """The sheet in words. Raises ValueError where it names what the scheme does not have."""
    told = []
    last = 1
    before: dict[str, str] = {}
    for number, (step, look) in enumerate(zip(sheet.steps, sheet.stopwatch(), strict=True), 1):
        last = number if step.set or number == 1 else last
        expected = tuple(_expected(scheme, name, word, before) for name, word in step.expect.items())
        before |= step.expect
        told.append(
            Told(number, tuple(_does(scheme, step, number)), _waits(step, number), _hurry(step), expected, last, look)
        )
    return Words(tuple(_tools(scheme, sheet)), tuple(told))


def place(part: Sensor | Line | Output) -> str:
    """` (X1.1, W1)`: where a part is connected; "" where the scheme says nothing."""
    labels = ", ".join(filter(None, (part.terminal, part.wire)))
    return f" ({labels})" if labels else ""


# --- what is done


def _does(scheme: Scheme, step: Step, number: int) -> Iterator[str]:
    for name, value in step.set.items():
        yield _setting(scheme, name, value)
    if number == 1:
        yield "then power the installation up: everything above must be set before"
    elif not step.set:
        yield "change nothing: only wait and look again"


def _setting(scheme: Scheme, name: str, value: str) -> str:
    if name in scheme.sensors:
        at = place(scheme.sensors[name])
        if value == "open":
            return f"open the lead of {name}{at}"
        if value == "shorted":
            return f"short the lead of {name}{at}"
        return f"pretend {value} at {name}{at}{_put(scheme.sensors[name], value)}"
    if name in scheme.lines:
        at = place(scheme.lines[name])
        if value == PRESSED:
            return f"press {name}{at} for a second and let go"
        return f"set {name}{at} {value}"
    raise ValueError(f"the sheet sets `{name}`, which the scheme does not have")


def _put(sensor: Sensor, value: str) -> str:
    """`: put 14.916 kohm`: what stands for a value where the scheme says what the sensor is made of; "" elsewhere, and
    where the usual kit of a bench has nothing near."""
    if sensor.element is None:
        return ""
    sensing = sensor.element.sensing
    kit = usual_kit(sensing)
    try:
        made = pretend(sensing, read_value(value).micro, kit, Range(sensor.valid.low, sensor.valid.high))
    except (ElementError, GrammarError):
        return ""
    unit = "V" if kit.kind is KitKind.SOURCE else "ohm"
    return ": put " + " + ".join(put_text(part, unit) for part in made.parts)


def _waits(step: Step, number: int) -> str:
    time = clock_words(step.wait_s)
    if step.wait_s == 0:
        return "look at once"
    if number > 1 and not step.set:
        return f"wait {time} from the look before, by the same stopwatch"
    return f"wait {time}, then {'look' if step.expect else 'go on'}"


def clock_words(seconds: int) -> str:
    """`10 min 1 s`, `31 s`, `1 h 5 min`: as a stopwatch shows it."""
    return lasted_text(seconds * MICRO)


def _hurry(step: Step) -> str:
    if not step.expect:
        return "There is nothing to look at."
    return "It stays so: no hurry." if step.at_rest else f"Be prompt: it may stay so for {HELD_S} s only."


# --- what is seen


def _expected(scheme: Scheme, name: str, word: str, before: Mapping[str, str]) -> Expected:
    sight = sight_named(scheme, name)
    words = sides(scheme, sight)
    if word not in (*words, EITHER):
        raise ValueError(f"the sheet expects `{name}` to be `{word}`: expected one of {', '.join(words)}")
    measurable = sight.kind is not SightKind.ALARM
    return Expected(name, words, word, _looked_at(scheme, sight), before.get(name) != word, measurable)


def _looked_at(scheme: Scheme, sight: Sight) -> str:
    name = sight.name
    match sight.kind:
        case SightKind.PATH:
            outputs = [scheme.outputs[o] for o in scheme.paths[name].outputs]
            if not outputs:
                return "path, by its current: nothing switches it"
            ends = ", ".join(f"{o.name}{place(o)} {o.runs_when} to run" for o in outputs)
            return f"path, at the device's own input: {ends}"
        case SightKind.LINE:
            line = scheme.lines[name]
            sent = f"as {line.unit} sends it, " if line.form is not LineForm.EXTERNAL and line.unit else ""
            return f"line, {sent}at its terminal{place(line)}"
        case SightKind.ALARM:
            return f"alarm: \N{LEFT DOUBLE QUOTATION MARK}{scheme.rules[name].alarm}\N{RIGHT DOUBLE QUOTATION MARK}"
        case SightKind.SENSOR:
            return "sensor: is its reading taken for valid?"
        case SightKind.DEVICE:
            return f"contact, by a meter at the device's own input at the end of the wire{place(scheme.outputs[name])}"


# --- what it takes


_PRETENDED = {
    Kind.TEMPERATURE: "a decade box or fixed resistors in place of the element of",
    Kind.VOLTAGE: "an adjustable voltage source, limited to a few milliamperes, in place of the tap of",
}


def _tools(scheme: Scheme, sheet: Sheet) -> Iterator[str]:
    given: dict[str, list[str]] = {}
    switched: list[str] = []
    for name in dict.fromkeys(name for step in sheet.steps for name in step.set):
        if name in scheme.sensors:
            what = _PRETENDED.get(scheme.sensors[name].kind, "what makes the unit read a value of your choice for")
            given.setdefault(what, []).append(name)
        else:
            switched.append(name)
    for what, names in given.items():
        yield f"{what} {', '.join(names)}"
    if switched:
        yield f"a switch or a jumper for each line that is not a button within reach: {', '.join(switched)}"
    yield "a meter with insulated probes, proved on a known source, for every device's own input"
    yield "this page on a phone, or a stopwatch and a pen; labels for leads that are taken off"
