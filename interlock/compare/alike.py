"""Which parts of two schemes act alike whatever is read, found by telling apart what must differ.

All parts begin alike that say the same by themselves; those whose parts are not alike are told apart, until nothing
more is (the coarsest partition that is stable: Paige and Tarjan 1987, "Three partition refinement algorithms"). Parts
that stay alike do the same at every scan of every history, as each starts the same and is told the same.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from interlock.records import replace
from interlock.scheme.model import AnyOf, Condition, Delay, Output, Rule, Scheme, Trigger
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Signal

Colour = int
Item = tuple[str, ...]  # ("rule", NAME) | ("command", UNIT, PATH) | ("output", NAME) | ("run", PATH) | ("sent", LINE)


def as_told(scheme: Scheme) -> Scheme:
    """The scheme as its controllers see it: confirming lines may read anything, as external ones do, and an output lets
    its paths run from the scan at which it says so to the scan at which it says stop."""
    at_once = Delay(0, 0)
    lines = {
        n: replace(line, form=LineForm.EXTERNAL, output="") if line.form is LineForm.CONFIRMS else line
        for n, line in scheme.lines.items()
    }
    outputs = {n: replace(o, stops_within=at_once, starts_within=at_once) for n, o in scheme.outputs.items()}
    return replace(scheme, lines=lines, outputs=outputs)


@dataclass(frozen=True)
class Side:
    """One of the two schemes, as its controllers see it."""

    scheme: Scheme

    def items(self) -> Iterable[Item]:
        """Its parts, each once."""
        scheme = self.scheme
        yield from (("rule", r) for r in scheme.rules)
        yield from (("sent", n) for n, line in scheme.lines.items() if line.form.sent)
        yield from (("output", o) for o in scheme.outputs)
        for path in scheme.paths:
            yield "run", path
            yield from (("command", unit, path) for unit in scheme.units if scheme.drives(unit, path))

    @cached_property
    def _rules_of(self) -> Mapping[str, list[Rule]]:
        return {u: [r for r in self.scheme.rules.values() if r.unit == u] for u in self.scheme.units}

    def sight(self, unit: str, signal: Signal, name: str) -> Hashable:
        """What a unit looks at: something given from outside, or one of the parts (an `Item` in a list of one)."""
        scheme = self.scheme
        match signal:
            case Signal.SENSOR:
                sensor = scheme.sensors[name]
                return "sensor", name, sensor.kind, sensor.valid
            case Signal.READING:
                reading = scheme.readings[name]
                sights = [self.sight(unit, Signal.SENSOR, s) for s in reading.sensors]
                return "reading", reading.kind, reading.combine, reading.needs, frozenset(sights), len(sights)
            case Signal.LINE:
                return (("sent", name),) if scheme.lines[name].form.sent else ("line", name)
            case Signal.PATH:
                return (("command", unit, name),)
            case Signal.RULE:
                return (("rule", name),)
            case Signal.QUANTITY:
                raise AssertionError("no unit sees the truth")

    def condition(self, unit: str, c: Condition) -> Hashable:
        """A condition as a unit sees it."""
        return c.signal, self.sight(unit, c.signal, c.name), c.test

    def _modes(self, unit: str, when: AnyOf) -> Hashable:
        return frozenset(frozenset(self.condition(unit, c) for c in alternative) for alternative in when)

    def says(self, item: Item) -> Hashable:
        """What a part says by itself, other parts standing in it as lists of one."""
        scheme = self.scheme
        match item:
            case ("rule", name):
                return self._rule(scheme.rules[name])
            case ("sent", name):
                line = scheme.lines[name]
                return "sent", line.unit, line.form, frozenset((("rule", r),) for r in line.rules)
            case ("output", name):
                return self._output(scheme.outputs[name])
            case ("command", unit, name):
                return "command", frozenset((("output", o),) for o in scheme.drives(unit, name))
            case ("run", name):
                path = scheme.paths[name]
                told = frozenset(((("output", o),), lets_run_when_on(scheme.outputs[o])) for o in path.outputs)
                return "run", told, (("run", path.behind),) if path.behind else ""
        raise AssertionError(item)

    def _rule(self, rule: Rule) -> Hashable:
        def trigger(t: Trigger) -> Hashable:
            return t.test, t.delay.scans

        most = rule.override_at_most
        return (
            "rule",
            rule.unit,
            self.sight(rule.unit, rule.watches, rule.watched),
            trigger(rule.trips),
            trigger(rule.clears),
            rule.on_invalid,
            rule.power_up,
            rule.reset,
            self.sight(rule.unit, Signal.LINE, rule.reset_by) if rule.reset_by else "",
            frozenset(self.condition(rule.unit, c) for c in rule.only_while),
            self.sight(rule.unit, Signal.LINE, rule.overridden_by) if rule.overridden_by else "",
            most.scans if most else None,
        )

    def _output(self, output: Output) -> Hashable:
        """An output is on while nothing blocks what it drives and any of that is wanted."""
        scheme, rules = self.scheme, self._rules_of[output.unit]
        blocks = frozenset(
            ((("rule", r.name),), self._modes(output.unit, t.when))
            for r in rules
            for t in r.blocks
            if t.path in output.drives
        )
        always = any(scheme.paths[p].started_by != output.unit for p in output.drives)
        starts = frozenset((("rule", r.name),) for r in rules if set(r.starts) & set(output.drives))
        return "output", output.unit, blocks, "always" if always else starts


def lets_run_when_on(output: Output) -> bool:
    """Whether an output, sound and as wired, lets its device run while it is on; else it does while it is not."""
    energised = output.energised_when is EnergisedWhen.RUNS
    closed = energised is (output.contact is not Contact.NORMALLY_CLOSED)
    return closed is output.runs_when.when_made


def colours(*sides: Side) -> list[dict[Item, Colour]]:
    """For each side, the colour of each part: parts of one colour act alike, on either side."""
    said = [{item: side.says(item) for item in side.items()} for side in sides]
    found: list[dict[Item, Colour]] = [dict.fromkeys(says, 0) for says in said]
    count = 1
    while True:
        numbers: dict[Hashable, Colour] = {}
        new: list[dict[Item, Colour]] = []
        for says, now in zip(said, found, strict=True):
            new.append(
                {i: numbers.setdefault((now[i], _coloured(what, now)), len(numbers)) for i, what in says.items()}
            )
        found = new
        if len(numbers) == count:
            return found
        count = len(numbers)


def _coloured(said: Hashable, now: Mapping[Item, Colour]) -> Hashable:
    """What a part says, the colours of other parts in their places."""
    if isinstance(said, frozenset):
        return frozenset(_coloured(part, now) for part in said)
    if not isinstance(said, tuple):
        return said
    if len(said) == 1 and said[0] in now:
        return ("part", now[said[0]])
    return tuple(_coloured(part, now) for part in said)
