"""Cases: examples by hand, step by step."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.scheme.build_faults import Catalogue, named_fault
from interlock.scheme.draft import SIGNAL_OF, Draft
from interlock.scheme.fields import ON, Fields, Named, parsed
from interlock.scheme.grammar import nearest, read_value
from interlock.scheme.keys import Form, Section
from interlock.scheme.model import Case, Expectation, Fault, Line, Quantity, Reading, Rule, Sensor, Setting, Step
from interlock.scheme.source import Place
from interlock.scheme.tree import Entry, MappingNode, Scalar, SequenceNode, kind_of, shortened
from interlock.scheme.units import decimal_text
from interlock.scheme.words import TWO_WORDS, LineForm, Mode, Signal, State

LONGEST_CASE = 50_000_000  # scans: at 100 ms some two months


def build_cases(
    draft: Draft,
    catalogue: Catalogue,
    quantities: Mapping[str, Quantity],
    sensors: Mapping[str, Sensor],
    readings: Mapping[str, Reading],
    lines: Mapping[str, Line],
    rules: Mapping[str, Rule],
) -> tuple[Case, ...]:
    """The section `cases`."""
    builder = _Cases(draft, catalogue, quantities, sensors, lines)
    used = _sensors_read(sensors, readings, rules)
    built = []
    for entry, _ in draft.entries(Section.STEPS):
        case = builder.case(entry, used)
        if case:
            built.append(case)
    return tuple(built)


def _sensors_read(
    sensors: Mapping[str, Sensor], readings: Mapping[str, Reading], rules: Mapping[str, Rule]
) -> list[str]:
    read: set[str] = set()
    for rule in rules.values():
        if rule.watches is Signal.SENSOR:
            read.add(rule.watched)
        elif rule.watches is Signal.READING and rule.watched in readings:
            read.update(readings[rule.watched].sensors)
    return [name for name in sensors if name in read]


class _Cases:
    def __init__(
        self,
        draft: Draft,
        catalogue: Catalogue,
        quantities: Mapping[str, Quantity],
        sensors: Mapping[str, Sensor],
        lines: Mapping[str, Line],
    ) -> None:
        self.draft, self.log, self.catalogue = draft, draft.log, catalogue
        self.quantities, self.sensors, self.lines = quantities, sensors, lines

    def case(self, entry: Entry, used: list[str]) -> Case | None:
        """One case; None (reported) where it is no list of steps."""
        if not isinstance(entry.value, SequenceNode) or not entry.value.items:
            self.log.report(
                "bad-value",
                f"the case `{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
                entry.value.place,
                "expected a list of steps: - {set: {…}, for: 5 s, expect: {…}}",
            )
            return None
        steps: list[Step] = []
        total = 0
        for item in entry.value.items:
            if not isinstance(item, MappingNode):
                self.log.report("bad-value", f"a step is {kind_of(item)}", item.place, "expected a mapping")
                continue
            step = self._step(entry.key.text, item, first=not steps)
            steps.append(step)
            total += step.scans
        if total > LONGEST_CASE:
            self.log.report(
                "number-out-of-range",
                f"the case `{shortened(entry.key.text)}` takes {total:,} scans",
                entry.key.place,
                f"at most {LONGEST_CASE:,}",
            )
            return None
        if steps:
            self._check_set(entry, steps[0], used)
        return Case(entry.key.text, tuple(steps), entry.key.place)

    def _check_set(self, entry: Entry, first: Step, used: list[str]) -> None:
        """What the rules read must be set when the case starts."""
        named = {s.name for s in first.sets}
        lost = {
            p for f in first.faults for one in f.single() if one.mode in (Mode.OPEN, Mode.SHORTED) for p in one.parts
        }
        missing = [
            name
            for name in used
            if name not in named
            and name not in lost
            and not any(e.quantity in named for e in self.sensors[name].measures)
        ]
        if missing:
            self.log.report(
                "sensor-never-set",
                f"the case `{shortened(entry.key.text)}` starts without a reading of "
                + ", ".join(f"`{name}`" for name in missing),
                first.place,
                "set it, or a quantity it measures, in the first step",
            )

    def _step(self, case: str, node: MappingNode, *, first: bool) -> Step:
        found = Fields(self.log, Section.STEPS, shortened(case), node.place, node)
        sets = self._settings(found)
        presses = tuple(name for named in found.names("press") if (name := self._external(named)))
        faults, repairs = self._faults(found, "fault"), self._faults(found, "repair")
        us = found.time("for")
        expects = self._expectations(found)
        acts = bool(sets or presses or faults or repairs)
        scans = self.draft.delay(us).scans if us is not None else int(acts or first)
        if presses and scans == 0:
            scans = 1
        return Step(sets, presses, faults, repairs, scans, expects, found.text("why"), node.place)

    def _external(self, named: Named) -> str:
        name = self.draft.find(named, Section.LINES)
        if name and name in self.lines and self.lines[name].form is not LineForm.EXTERNAL:
            self.log.report(
                "not-external",
                f"`{name}` is not an external line: the scheme itself sets it",
                named.place,
                "name an external line",
            )
            return ""
        return name

    def _faults(self, found: Fields, key: str) -> tuple[Fault, ...]:
        return tuple(f for named in found.fault_names(key) if (f := named_fault(self.draft, named, self.catalogue)))

    def _settings(self, found: Fields) -> tuple[Setting, ...]:
        settings: dict[str, Setting] = {}
        for name, value in self._pairs(found, "set", Form.SETTINGS):
            known = self.draft.find(name, Section.SENSORS, Section.QUANTITIES, Section.LINES)
            if not known:
                continue
            setting = (
                self._line_setting(name, value)
                if known in self.draft.names(Section.LINES)
                else self._value(name, value)
            )
            if setting:
                settings[known] = setting
        self._check_conflicts(settings, found.value_place("set"))
        return tuple(settings.values())

    def _line_setting(self, name: Named, value: Scalar) -> Setting | None:
        if not self._external(name):
            return None
        if value.text not in ON:
            self.log.report(
                "unknown-word", f"`{shortened(value.text)}` is no state of `{name.text}`", value.place, "on or off"
            )
            return None
        return Setting(Signal.LINE, name.text, ON[value.text], name.place)

    def _value(self, name: Named, value: Scalar) -> Setting | None:
        measure = parsed(self.log, value, read_value)
        kind = self.draft.kinds.get(name.text)
        if measure is None or kind is None:
            return None
        if not self.draft.fits(measure, kind, difference=False):
            self.log.report(
                "wrong-unit",
                f"`{measure.unit.symbol}` does not fit `{name.text}`, a {kind.noun}",
                value.place,
                f"expected a value in {kind}",
            )
            return None
        return Setting(SIGNAL_OF[self.draft.declared[name.text][0]], name.text, measure.micro, name.place)

    def _check_conflicts(self, settings: Mapping[str, Setting], place: Place) -> None:
        """Two quantities of one sensor set to different values can't both be read without error."""
        for sensor in self.sensors.values():
            given = [settings[e.quantity] for e in sensor.measures if e.quantity in settings]
            if sensor.name not in settings and len({s.value for s in given}) > 1:
                self.log.report(
                    "sets-conflict",
                    f"`{sensor.name}` can't read "
                    + " and ".join(f"`{s.name}` at {decimal_text(int(s.value))} {sensor.kind}" for s in given)
                    + " without error",
                    place,
                    f"set `{sensor.name}` itself",
                )

    def _expectations(self, found: Fields) -> tuple[Expectation, ...]:
        expectations = []
        for name, value in self._pairs(found, "expect", Form.EXPECTATIONS):
            known = self.draft.find(name, Section.PATHS, Section.LINES, Section.RULES)
            if known:
                signal = SIGNAL_OF[self.draft.declared[known][0]]
                words = _expected_words(signal)
                if value.text in words:
                    expectations.append(Expectation(signal, known, words[value.text], name.place))
                else:
                    near = nearest(value.text, words)
                    self.log.report(
                        "unknown-word",
                        f"`{shortened(value.text)}` is no state of `{known}`",
                        value.place,
                        f"{near} allowed: {', '.join(words)}".strip(),
                    )
        return tuple(expectations)

    def _pairs(self, found: Fields, key: str, form: Form) -> list[tuple[Named, Scalar]]:
        node = found.node(key, form)
        if node is None:
            return []
        if not isinstance(node, MappingNode) or not node.entries:
            self.log.report("bad-value", f"`{key}` holds {kind_of(node)}", node.place, f"expected: {form}")
            return []
        pairs = []
        for entry in node.entries:
            if isinstance(entry.value, Scalar) and entry.value.text.strip():
                pairs.append((Named(entry.key.text, entry.key.place), entry.value))
            else:
                self.log.report(
                    "bad-value",
                    f"`{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
                    entry.value.place,
                    f"expected: {form}",
                )
        return pairs


def _expected_words(signal: Signal) -> dict[str, bool | State]:
    """What a path, a line or a rule can be expected to be."""
    true, false = TWO_WORDS[signal]
    if signal is Signal.RULE:
        return {str(state): state for state in State} | {true: True}
    return {true: True, false: False}
