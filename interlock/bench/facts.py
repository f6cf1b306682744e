"""What the page has to know of a scheme beside its tables: names, words and what is wired to what, as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from interlock.bench.setting import at_rest, scripts
from interlock.bench.tables import Plain, installation, mark, program_table, shift_words, shifted, shifts
from interlock.bench.words import Words
from interlock.explain.conditions import seen
from interlock.explain.injection import happened
from interlock.explain.phrases import say, sentence, text
from interlock.explain.tables import CONTACTS, INPUTS, MODE_MEANS
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.scheme.model import AnyOf, Condition, Fault, Interval, Limit, Rule, Scheme, Sensor, Trigger
from interlock.scheme.units import Kind
from interlock.scheme.words import Combine, Contact, EnergisedWhen, LineForm, Mode, Signal, State

Phrases = Mapping[Template, str]
SAID_HERE = ("how_", "shift_")  # words that the scripts need not know
SLIDER_STEPS = 400  # a slider has about so many positions: one for each pixel of a phone's width


def facts(scheme: Scheme, words: Words, phrases: Phrases = ENGLISH) -> Plain:
    """All of it, ready for JSON. Raises TooWideError."""
    program, faults = installation(scheme)
    table = program_table(program)
    return {
        "mark": mark(table),
        "title": scheme.title,
        "revision": scheme.revision,
        "scan_us": scheme.scan_us,
        "units": list(scheme.units),
        "table": table,
        "sensors": [_sensor(scheme, sensor) for sensor in scheme.sensors.values()],
        "readings": [
            {
                "name": r.name,
                "unit": _unit(r.kind, difference=r.combine is Combine.DIFFERENCE_OF),
                "millis": r.kind is Kind.VOLTAGE and r.combine is Combine.DIFFERENCE_OF,
                "how": words[f"how_{r.combine}"],
                "sensors": list(r.sensors),
            }
            for r in scheme.readings.values()
        ],
        "lines": [
            {
                "name": x.name,
                "form": str(x.form),
                "unit": x.unit,
                "output": x.output,
                "rules": list(x.rules),
                "undriven": x.undriven_reads,
                "button": x.form is LineForm.EXTERNAL and x.name in _buttons(scheme),
                "why": x.why,
            }
            for x in scheme.lines.values()
        ],
        "reads": {unit: list(scheme.reads(unit)) for unit in scheme.units},
        "rules": [_rule(scheme, rule, phrases) for rule in scheme.rules.values()],
        "paths": [
            {
                "name": p.name,
                "outputs": list(p.outputs),
                "behind": p.behind,
                "unswitched": p.unswitched,
                "started_by": p.started_by,
                "charges": p.flow.charge is not None,
                "draws": p.flow.discharge is not None,
                "why": p.why,
            }
            for p in scheme.paths.values()
        ],
        "outputs": [
            {
                "name": o.name,
                "unit": o.unit,
                "drives": list(o.drives),
                "energised_to_stop": o.energised_when is EnergisedWhen.STOPS,
                "closed_when_released": o.contact is Contact.NORMALLY_CLOSED,
                "when_made": o.runs_when.when_made,
                "stops_scans": o.stops_within.scans,
                "starts_scans": o.starts_within.scans,
                "wire": o.wire,
                "terminal": o.terminal,
                "energised": text(say(Say.LINK_ENERGISED, output=o.name), phrases),
                "released": text(say(Say.LINK_RELEASED, output=o.name), phrases),
                "contact": [text(say(key), phrases) for key in CONTACTS[o.contact]],
                "input": [text(say(key), phrases) for key in INPUTS[o.runs_when]],
            }
            for o in scheme.outputs.values()
        ],
        "faults": [_fault(scheme, fault, words, phrases) for fault in faults],
        "unplantable": [name for name in scheme.faults if name not in {f.name for f in faults}],
        "rest": at_rest(scheme, program),
        "cases": scripts(scheme, faults),
        "states": {str(state): words[f"state_{state}"] for state in State},
        "words": {key: said for key, said in words.items() if not key.startswith(SAID_HERE)},
    }


def _unit(kind: Kind, *, difference: bool = False) -> str:
    return kind.difference_unit if difference else str(kind)


def _buttons(scheme: Scheme) -> set[str]:
    """The lines that a person presses: they reset or override a rule."""
    return {name for rule in scheme.rules.values() for name in (rule.reset_by, rule.overridden_by) if name}


def _sensor(scheme: Scheme, sensor: Sensor) -> Plain:
    low, high, step = slider(scheme, sensor)
    return {
        "name": sensor.name,
        "unit": str(sensor.kind),
        "low": low,
        "high": high,
        "step": step,
        "measures": [e.quantity for e in sensor.measures],
        "limits": [
            {"rule": rule.name, "value": t.test.value, "trips": t is rule.trips}
            for rule in scheme.rules.values()
            if watches(scheme, rule, sensor.name)
            for t in (rule.trips, rule.clears)
            if isinstance(t.test, Limit)
        ],
        "why": sensor.why,
    }


def watches(scheme: Scheme, rule: Rule, sensor: str) -> bool:
    """Whether a rule holds that sensor's reading, or one combined from it other than a difference, against a limit."""
    if rule.watches is Signal.READING:
        reading = scheme.readings[rule.watched]
        return sensor in reading.sensors and reading.combine is not Combine.DIFFERENCE_OF
    return rule.watches is Signal.SENSOR and rule.watched == sensor


def slider(scheme: Scheme, sensor: Sensor) -> tuple[int, int, int]:
    """The ends and the step of a sensor's slider, in millionths: what is valid and what it measures can be, and beyond
    each end as much as shows that it is invalid there. Ends and every limit of a rule are whole steps from zero
    wherever a step of that size is not finer than the page's smallest."""
    spans = [scheme.quantities[e.quantity].span for e in sensor.measures]
    inside = Interval(
        max(sensor.valid.low, min(s.low for s in spans)), min(sensor.valid.high, max(s.high for s in spans))
    )
    step = rounded_step((inside.high - inside.low) // SLIDER_STEPS)
    low, high = inside.low // step * step, -(-inside.high // step) * step
    return low, high, step


def rounded_step(least: int) -> int:
    """The next of 1, 2, 5, 10, 20 … millionths that is not below `least`."""
    power = 1
    while True:
        for digit in (1, 2, 5):
            if digit * power >= least:
                return digit * power
        power *= 10


def _rule(scheme: Scheme, rule: Rule, phrases: Phrases) -> Plain:
    return {
        "name": rule.name,
        "unit": rule.unit,
        "watches": str(rule.watches),
        "watched": rule.watched,
        "trips": _when(scheme, rule, rule.trips, phrases, delayed=True),
        "clears": _when(scheme, rule, rule.clears, phrases, delayed=True),
        "tripping": _when(scheme, rule, rule.trips, phrases, delayed=False),
        "clearing": _when(scheme, rule, rule.clears, phrases, delayed=False),
        "trip_us": rule.trips.delay.us,
        "clear_us": rule.clears.delay.us,
        "trip_scans": rule.trips.delay.scans,
        "clear_scans": rule.clears.delay.scans,
        "manual": rule.manual,
        "reset_by": rule.reset_by,
        "only_while": _conditions(rule.only_while),
        "only_while_words": [text(seen(scheme, c.signal, c.name, c.test), phrases) for c in rule.only_while],
        "overridden_by": rule.overridden_by,
        "override_scans": rule.override_at_most.scans if rule.override_at_most else None,
        "blocks": [[t.path, _any_of(t.when)] for t in rule.blocks],
        "starts": list(rule.starts),
        "sends": [x.name for x in scheme.lines.values() if rule.name in x.rules],
        "alarm": rule.alarm,
        "why": rule.why,
    }


def _when(scheme: Scheme, rule: Rule, trigger: Trigger, phrases: Phrases, *, delayed: bool) -> str:
    said = seen(scheme, rule.watches, rule.watched, trigger.test, trigger.delay if delayed else None)
    return text(said, phrases)


def _conditions(conditions: Iterable[Condition]) -> list[list[object]]:
    return [[str(c.signal), c.name, c.test is True] for c in conditions]


def _any_of(when: AnyOf) -> list[list[list[object]]]:
    return [_conditions(alternative) for alternative in when]


def _fault(scheme: Scheme, fault: Fault, words: Words, phrases: Phrases) -> Plain:
    first = fault.single()[0]
    return {
        "name": fault.name,
        "part": str(first.part) if not fault.together else "common_cause",
        "parts": list(fault.parts) if not fault.together else [fault.name.partition(".")[0]],
        "mode": str(first.mode).replace("_", " ") if not fault.together else "",
        "means": sentence(say(MODE_MEANS[first.mode][first.part]), phrases) if not fault.together else "",
        "words": text(happened(scheme, fault), phrases),
        "once": all(single.mode is Mode.POWER_CYCLED for single in fault.single()),
        "units": [p for s in fault.single() if s.mode is Mode.POWER_CYCLED for p in s.parts],
        "shifted": list(shifted(fault)),
        "shifts": [[shift, shift_words(scheme, words, next(iter(shifted(fault))), shift)] for shift in shifts(fault)],
        "singles": [
            {"name": s.name, "part": str(s.part), "mode": str(s.mode), "parts": list(s.parts)} for s in fault.single()
        ],
    }
