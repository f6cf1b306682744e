"""`interlock stimulus`."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from interlock.cli.opened import opened
from interlock.cli.render import hanging, print_json, tell
from interlock.cli.status import Exit
from interlock.elements.bench import KITS, WORDS, Kit, KitKind, Stimulus, fits, pretend, surely, usual_kit
from interlock.elements.chain import Range
from interlock.elements.records import ElementError, Sensing, Thermometer
from interlock.explain.conditions import number
from interlock.explain.elements import element_words, put_text
from interlock.explain.phrases import text
from interlock.records import replace
from interlock.scheme.grammar import GrammarError, nearest, read_value
from interlock.scheme.model import Limit, Scheme, Sensed, Sensor
from interlock.scheme.physical import Dimension, read_rated
from interlock.scheme.units import MICRO, decimal_text, value_text
from interlock.scheme.words import Combine, Compare, Signal

CAUTION = (
    "Isolate the pack first and take the element off its leads: what is put there stands in its place, never beside "
    "it, and no source ever stands on a wire that still goes to a cell. It tests the input and the rules, not the "
    "element. Local codes and the maker's manual come first."
)
FINE = 100  # millionths: readings are shown outward to the ten-thousandth


class RefusedError(Exception):
    """What was asked for can't be read or has no meaning, in words."""


@dataclass(frozen=True)
class Row:
    """A limit of a rule and what is put to be surely on one side of it; `made` None where nothing is (`because`)."""

    rule: str
    when: str
    limit: Limit
    inside: bool
    made: Stimulus | None
    because: str = ""


def stimulus(file: Path, name: str, value: str, kits: list[str], step: str, within: str, *, as_json: bool) -> int:
    """Print what to put in the sensor's place: for one value, or on both sides of every limit on its reading."""
    scheme = opened(file, as_json=as_json)
    try:
        sensor, made_of = _sensor(scheme, name)
        wanted = _wanted(value, sensor) if value else None
        chosen = [_kit(kind, step, within, made_of.sensing) for kind in kits or [""]]
    except RefusedError as refused:
        return _refuse(str(refused), as_json=as_json)
    told = _Told(scheme, sensor, made_of.sensing)
    if wanted is not None:
        results = [told.value(wanted, kit) for kit in chosen]
        ok = all("stimulus" in data for _, data in results)
    else:
        results, ok = [told.limits(kit) for kit in chosen], True
    if as_json:
        data = {"file": str(file), "sensor": sensor.name, "kits": [d for _, d in results], "caution": CAUTION}
        print_json(data)
    else:
        tell([f"{sensor.name}: {text(element_words(made_of.sensing.element))}."])
        for lines, _ in results:
            sys.stdout.write("\n" + "".join(f"{line}\n" for line in lines))
        sys.stdout.write("\n" + hanging(CAUTION, 100).replace("\n  ", "\n") + "\n")
    return Exit.GOOD if ok else Exit.FINDING


def _refuse(words: str, *, as_json: bool) -> int:
    if as_json:
        print_json({"error": words})
    else:
        sys.stderr.write(words + "\n")
    return Exit.BAD_INPUT


# --- what was asked for


def _sensor(scheme: Scheme, name: str) -> tuple[Sensor, Sensed]:
    sensor = scheme.sensors.get(name)
    made = [s.name for s in scheme.sensors.values() if s.element is not None]
    if sensor is None:
        near = nearest(name, scheme.sensors) or "sensors: " + ", ".join(scheme.sensors)
        raise RefusedError(f"no sensor is called `{name}`: {near}")
    if sensor.element is None:
        others = f"; those that do: {', '.join(made)}" if made else ""
        raise RefusedError(
            f"`{name}` does not say what it is made of{others}. Add `element` and `input` to it: `interlock reference`"
        )
    return sensor, sensor.element


def _wanted(value: str, sensor: Sensor) -> int:
    example = f"expected a value such as `{value_text((sensor.valid.low + sensor.valid.high) // 2, sensor.kind)}`"
    try:
        measure = read_value(value)
    except GrammarError as error:
        raise RefusedError(f"`{value}`: {error.message}; {example}") from error
    if measure.unit.kind is not sensor.kind or not measure.unit.absolute:
        raise RefusedError(f"`{value}`: `{sensor.name}` reads a {sensor.kind.noun}; {example}")
    if measure.micro not in sensor.valid:
        ends = f"{value_text(sensor.valid.low, sensor.kind)} to {value_text(sensor.valid.high, sensor.kind)}"
        raise RefusedError(f"`{value}`: readings of `{sensor.name}` are valid from {ends}")
    return measure.micro


def _kit(name: str, step: str, within: str, sensing: Sensing) -> Kit:
    known = {kind.value: kind for kind in KitKind}
    if name and name not in known:
        raise RefusedError(f"`{name}` is no kit: {nearest(name, known) or 'one of ' + ', '.join(known)}")
    usual = usual_kit(sensing)
    kit = KITS[known[name]] if name else usual
    if not fits(sensing, kit):
        other = "source" if kit.kind is not KitKind.SOURCE else "decade, e24 or e96"
        raise RefusedError(f"{WORDS[kit.kind]} can't stand in for this element: use {other}")
    kit = usual if kit.kind is usual.kind else kit
    if step:
        if kit.kind not in (KitKind.DECADE, KitKind.SOURCE):
            raise RefusedError(f"`--step`: {WORDS[kit.kind]} have no step")
        dimension = Dimension.VOLTAGE if kit.kind is KitKind.SOURCE else Dimension.RESISTANCE
        try:
            size = read_rated(step, dimension)
        except GrammarError as error:
            raise RefusedError(f"`--step {step}`: {error.message}; {error.hint}") from error
        if size.low <= 0 or size.low != size.high:
            raise RefusedError(f"`--step {step}`: a step is above 0 and has no tolerance")
        kit = replace(kit, step=size.nominal)
    if within:
        found = re.fullmatch(r"\s*(\d{1,2}(?:\.\d{1,6})?)\s*%\s*", within)
        if found is None:
            raise RefusedError(f"`--within {within}`: expected a percentage such as `0.5 %`")
        kit = replace(kit, part=Fraction(found[1]) / 100)
    return kit


# --- what is told


class _Told:
    """The answers for one sensor, as lines and as plain data."""

    def __init__(self, scheme: Scheme, sensor: Sensor, sensing: Sensing) -> None:
        self.scheme, self.sensor, self.sensing = scheme, sensor, sensing
        self.valid = Range(sensor.valid.low, sensor.valid.high)
        self.thermometer = isinstance(sensing.element, Thermometer)

    def value(self, wanted: int, kit: Kit) -> tuple[list[str], dict[str, Any]]:
        """For one reading."""
        data: dict[str, Any] = {"kit": self.kit_data(kit), "wanted": number(wanted), "unit": str(self.sensor.kind)}
        try:
            made = pretend(self.sensing, wanted, kit, self.valid)
        except ElementError as error:
            return [self.kit_text(kit), f"  nothing for {value_text(wanted, self.sensor.kind)}: {error}"], {
                **data,
                "because": str(error),
            }
        rows = [[value_text(wanted, self.sensor.kind), *self.cells(made)]]
        return [self.kit_text(kit), *_columns([self.head(), *rows])], {**data, "stimulus": self.data(made)}

    def limits(self, kit: Kit) -> tuple[list[str], dict[str, Any]]:
        """Surely on each side of each limit of the rules that look at its reading."""
        rows = list(self.rows(kit))
        table = [self.head()]
        for row in rows:
            if row.inside:
                table.append([f"{row.rule} {row.when} {self.limit_text(row.limit)}"])
            nothing = ["nothing", *[""] * (len(self.head()) - 3), row.because]
            cells = self.cells(row.made, row.limit) if row.made else nothing
            table.append(["  met" if row.inside else "  not met", *cells])
        if not rows:
            return [self.kit_text(kit), "  no rule has a limit on its reading"], {
                "kit": self.kit_data(kit),
                "limits": [],
            }
        data = [
            {
                "rule": row.rule,
                "when": row.when,
                "compare": str(row.limit.compare),
                "limit": number(row.limit.value),
                "met": row.inside,
                "stimulus": self.data(row.made) if row.made else None,
                "because": row.because,
            }
            for row in rows
        ]
        lines = [self.kit_text(kit), *_columns(table)]
        return lines, {"kit": self.kit_data(kit), "unit": str(self.sensor.kind), "limits": data}

    def rows(self, kit: Kit) -> Iterator[Row]:
        """The limits in the scheme's order, each from both sides."""
        for rule in self.scheme.rules.values():
            if not self._looks(rule.watches, rule.watched):
                continue
            for when, trigger in (("trips", rule.trips), ("clears", rule.clears)):
                limit = trigger.test
                assert isinstance(limit, Limit)
                for inside in (True, False):
                    upward = limit.compare.downward is not inside
                    meets = _meets(limit, wanted=inside)
                    try:
                        made = surely(self.sensing, meets, limit.value, kit, self.valid, upward=upward)
                        yield Row(rule.name, when, limit, inside, made)
                    except ElementError as error:
                        yield Row(rule.name, when, limit, inside, None, str(error))

    def _looks(self, watches: Signal, watched: str) -> bool:
        if watches is Signal.READING:
            reading = self.scheme.readings[watched]
            return self.sensor.name in reading.sensors and reading.combine is not Combine.DIFFERENCE_OF
        return watches is Signal.SENSOR and watched == self.sensor.name

    # --- words

    def limit_text(self, limit: Limit) -> str:
        """`below 3 degC`."""
        return f"{str(limit.compare).replace('_', ' ')} {value_text(limit.value, self.sensor.kind)}"

    def kit_text(self, kit: Kit) -> str:
        """`a decade box in steps of 1 ohm, right to 1 % and 0.1 ohm`."""
        unit = "V" if kit.kind is KitKind.SOURCE else "ohm"
        steps = f" in steps of {put_text(kit.step, unit)}" if kit.step else ""
        fixed = f" and {put_text(kit.fixed, unit)}" if kit.fixed else ""
        return f"with {WORDS[kit.kind]}{steps}, right to {float(kit.part * 100):g} %{fixed}:"

    def head(self) -> list[str]:
        """The columns. A formula of the controller's own reads otherwise than the element is."""
        own = ["element has it at"] if self.sensing.converts_by is not None else []
        return ["for", "put", "stands for", *own, "read as"]

    def cells(self, made: Stimulus, limit: Limit | None = None) -> list[str]:
        """What is put, what it stands for, what may be read."""
        unit = "ohm" if self.thermometer else "V"
        put = " + ".join(put_text(part, unit) for part in made.parts)
        fine = FINE
        if limit is not None and made.reads.low // fine * fine <= limit.value <= -(-made.reads.high // fine) * fine:
            fine = 1  # rounded outward it would seem to reach the limit
        low, high = made.reads.low // fine * fine, -(-made.reads.high // fine) * fine
        kind = self.sensor.kind
        cells = [put, value_text(round(made.nominal / FINE) * FINE, kind)]
        if self.sensing.converts_by is not None:
            at = made.element_at
            cells.append("" if at is None else value_text(round(at * MICRO / FINE) * FINE, kind))
        return [*cells, f"{decimal_text(low)} to {value_text(high, kind)}"]

    def kit_data(self, kit: Kit) -> dict[str, Any]:
        """Ohms or volts."""
        return {
            "kind": kit.kind.value,
            "step": float(kit.step),
            "within_part": float(kit.part),
            "within_fixed": float(kit.fixed),
            "unit": "V" if kit.kind is KitKind.SOURCE else "ohm",
        }

    def data(self, made: Stimulus) -> dict[str, Any]:
        """Base units; `element_at` in degC."""
        return {
            "parts": [float(part) for part in made.parts],
            "put": float(made.value),
            "unit": "ohm" if self.thermometer else "V",
            "stands_for": number(made.nominal),
            "reads": [number(made.reads.low), number(made.reads.high)],
            "element_at": None if made.element_at is None else round(float(made.element_at), 6),
        }


def _meets(limit: Limit, *, wanted: bool) -> Callable[[int], bool]:
    compare, value = limit.compare, limit.value

    def meets(reading: int) -> bool:
        match compare:
            case Compare.BELOW:
                met = reading < value
            case Compare.AT_OR_BELOW:
                met = reading <= value
            case Compare.ABOVE:
                met = reading > value
            case Compare.AT_OR_ABOVE:
                met = reading >= value
        return met is wanted

    return meets


def _columns(rows: list[list[str]]) -> list[str]:
    """Rows with their cells under one another; a row of one cell is a title and takes no part in the widths."""
    whole = [row for row in rows if len(row) > 1]
    widths = [max(len(row[i]) for row in whole) for i in range(len(whole[0]) - 1)]
    return [
        "  " + "  ".join([*(c.ljust(w) for c, w in zip(row[:-1], widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]
