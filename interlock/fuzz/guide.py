"""Where to aim: from what a claim forbids backward to the rules, readings and external lines that may bring it about.

Only a hint of where to look: whatever is found is judged on the engine. A *demand* says which rules (of those that
watch readings) should be active or not and which external lines on or off, for the path to do what it must not, or for
one of the claim's conditions to hold; both, where it helps in one way and hurts in another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from interlock.fuzz.faults import Plan
from interlock.logic.faultset import FaultSet
from interlock.scheme.model import Claim, Condition, Output, Rule, Scheme
from interlock.scheme.words import (
    Contact,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    Part,
    Signal,
)


@dataclass(frozen=True, slots=True)
class Item:
    """Something the world decides: a rule that watches a reading, or an external line."""

    signal: Signal
    name: str


Demand = Mapping[Item, frozenset[bool]]  # rules: active or not; lines: on or off


@dataclass(frozen=True)
class Guide:
    """Of one claim under one fault set: its demands (`links` of the path's, one for each output on its way, then one
    for each condition on a path or line), all rules and outputs behind it, the lines that reset them, and the numbers
    of scans at which something ends; `parts`: every part whose faults can matter."""

    demands: tuple[Demand, ...]
    links: int
    rules: tuple[str, ...]
    outputs: tuple[str, ...]
    resets: tuple[str, ...]
    delays: tuple[int, ...]
    parts: frozenset[str]

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """Everything any demand names, each once."""
        return tuple(dict.fromkeys(item for demand in self.demands for item in demand))

    @cached_property
    def torn(self) -> tuple[Item, ...]:
        """Those that are wanted both ways: where two demands pull apart, else where one does by itself."""
        sides = {item: [demand[item] for demand in self.demands if item in demand] for item in self.items}
        apart = tuple(item for item in sides if len({one for one in sides[item] if len(one) == 1}) == 2)
        return apart or tuple(item for item in sides if all(len(one) == 2 for one in sides[item]))


def guide_of(scheme: Scheme, claim: Claim, plan: Plan, alternative: int = 0) -> Guide:
    """The guide of a claim under a fault set; `alternative` chooses among its modes."""
    faults = FaultSet(plan.installed)
    conditions = [*claim.conditions, *(claim.any_of[alternative % len(claim.any_of)] if claim.any_of else ())]
    walks = []
    for device in _chain(scheme, faults, claim.path) or [""]:
        walks.append(_Walk(scheme, faults))
        if device:
            walks[-1].device(device, claim.must is Must.NEVER_RUNNING)
    links = len(walks)
    for condition in conditions:
        if not condition.signal.numeric:
            walks.append(_Walk(scheme, faults))
            walks[-1].truth(condition)
    rules = [name for name in scheme.rules if any(name in walk.rules for walk in walks)]
    outputs = [name for name in scheme.outputs if any(name in walk.outputs for walk in walks)]
    resets = dict.fromkeys(
        faults.line_source(scheme, scheme.rules[r].unit, scheme.rules[r].reset_by)
        for r in rules
        if scheme.rules[r].manual and scheme.rules[r].reset_by
    )
    return Guide(
        tuple({item: frozenset(wanted) for item, wanted in walk.items.items()} for walk in walks),
        links,
        tuple(rules),
        tuple(outputs),
        tuple(line for line in resets if scheme.lines[line].form is LineForm.EXTERNAL),
        _delays(scheme, claim, (scheme.rules[r] for r in rules), (scheme.outputs[o] for o in outputs)),
        _parts(scheme, claim, walks),
    )


def _parts(scheme: Scheme, claim: Claim, walks: Sequence[_Walk]) -> frozenset[str]:
    paths = {c.name for c in claim.conditions if c.signal is Signal.PATH} | {claim.path}
    for name in tuple(paths):
        while name := scheme.paths[name].behind:
            paths.add(name)
    parts = paths.union(*(walk.rules | walk.outputs | walk.lines for walk in walks))
    for name in parts & set(scheme.rules):
        rule = scheme.rules[name]
        parts |= {rule.unit, rule.watched, rule.reset_by}
        parts |= set(scheme.readings[rule.watched].sensors) if rule.watches is Signal.READING else set()
    parts |= {device for path in paths for device in scheme.paths[path].outputs}
    return frozenset(parts | {scheme.outputs[o].unit for o in parts & set(scheme.outputs)})


def _chain(scheme: Scheme, faults: FaultSet, path: str) -> list[str]:
    """The outputs that decide whether a path runs: its own, then those of what it is behind."""
    if faults.has(Mode.BYPASSED, path):
        return []
    own = [device for device in scheme.paths[path].outputs if not faults.has(Mode.IGNORED, device)]
    behind = scheme.paths[path].behind
    return own + (_chain(scheme, faults, behind) if behind else [])


def _delays(scheme: Scheme, claim: Claim, rules: Iterable[Rule], outputs: Iterable[Output]) -> tuple[int, ...]:
    scans = {claim.longer_than.scans}
    for rule in rules:
        scans |= {rule.trips.delay.scans, rule.clears.delay.scans}
        scans |= {rule.override_at_most.scans} if rule.override_at_most else set()
    for output in outputs:
        scans |= {output.stops_within.scans, output.starts_within.scans}
    scans |= {s.stale_after.scans for s in scheme.sensors.values() if s.stale_after}
    return tuple(sorted(scans - {0}))


class _Walk:
    """Backward from one wish, signs multiplied on the way."""

    def __init__(self, scheme: Scheme, faults: FaultSet) -> None:
        self.scheme, self.faults = scheme, faults
        self.items: dict[Item, set[bool]] = {}
        self.rules: set[str] = set()
        self.outputs: set[str] = set()
        self.lines: set[str] = set()
        self._been: set[tuple[str, str, bool]] = set()

    def _first(self, kind: str, name: str, wanted: bool) -> bool:
        key = (kind, name, wanted)
        if key in self._been:
            return False
        self._been.add(key)
        return True

    def truth(self, condition: Condition) -> None:
        """A claim's own condition on a path or a line."""
        assert isinstance(condition.test, bool)
        if condition.signal is Signal.PATH:
            self.path(condition.name, condition.test)
        else:
            self.line(condition.name, condition.test)

    def path(self, name: str, run: bool) -> None:
        """A path should be let run, or be stopped."""
        for device in _chain(self.scheme, self.faults, name):
            self.device(device, run)

    def device(self, name: str, run: bool) -> None:
        """A device's own input should let it run, or not."""
        owner = self.scheme.outputs[self.faults.source(Part.OUTPUT, name)]
        made = run is self.scheme.outputs[name].runs_when.when_made
        self.output(owner.name, made is self._closed_when_on(owner))

    def _closed_when_on(self, output: Output) -> bool:
        turned = self.faults.has(Mode.WRONG_CONTACT, output.name)
        closed_when_energised = (output.contact is Contact.NORMALLY_CLOSED) is turned
        return closed_when_energised is (output.energised_when is EnergisedWhen.RUNS)

    def output(self, name: str, on: bool) -> None:
        """An output should be on, or off."""
        if not self._first("output", name, on):
            return
        self.outputs.add(name)
        output = self.scheme.outputs[name]
        for rule in self.scheme.rules.values():
            if rule.unit != output.unit:
                continue
            for target in rule.blocks:
                if target.path in output.drives:
                    self.effect(rule, not on)
                    for condition in (c for alternative in target.when for c in alternative):
                        self.seen(rule.unit, condition, not on)
            if any(path in output.drives for path in rule.starts):
                self.effect(rule, on)

    def effect(self, rule: Rule, in_force: bool) -> None:
        """A rule's effects should be in force, or not."""
        self.rule(rule.name, in_force)
        for condition in rule.only_while:
            self.seen(rule.unit, condition, in_force)
        if rule.overridden_by:
            self.line_read(rule.unit, rule.overridden_by, not in_force)

    def rule(self, name: str, active: bool) -> None:
        """A rule should be active, or not."""
        if not self._first("rule", name, active) or self.faults.has(Mode.OMITTED, name):
            return
        self.rules.add(name)
        rule = self.scheme.rules[name]
        if rule.watches.numeric:
            self.items.setdefault(Item(Signal.RULE, name), set()).add(active)
        else:
            self.seen(rule.unit, Condition(rule.watches, rule.watched, rule.trips.test), active)

    def seen(self, unit: str, condition: Condition, holds: bool) -> None:
        """A unit should see a condition hold, or not."""
        assert isinstance(condition.test, bool)
        wanted = condition.test is holds
        match condition.signal:
            case Signal.LINE:
                self.line_read(unit, condition.name, wanted)
            case Signal.PATH:
                for output in self.scheme.drives(unit, condition.name):
                    self.output(output, wanted)
            case Signal.RULE:
                self.rule(condition.name, wanted)
            case Signal.QUANTITY | Signal.SENSOR | Signal.READING:
                raise AssertionError(f"no yes or no: {condition.signal}")

    def line_read(self, unit: str, name: str, on: bool) -> None:
        """A unit should read a line on, or off."""
        self.line(self.faults.line_source(self.scheme, unit, name), on is not self.faults.has(Mode.INVERTED, name))

    def line(self, name: str, on: bool) -> None:
        """A line should really be on, or off."""
        if not self._first("line", name, on):
            return
        self.lines.add(name)
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                self.items.setdefault(Item(Signal.LINE, name), set()).add(on)
            case LineForm.CONFIRMS:
                output = self.scheme.outputs[line.output]
                self.output(output.name, on is self._closed_when_on(output))
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                for rule in line.rules:
                    self.rule(rule, on is (line.form is LineForm.HIGH_WHEN))
