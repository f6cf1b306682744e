"""What each rule, line and command can ever become: a least fixed point over sets of two values, faults of sensors
included, everything that happens at one time taken as independent of the rest (so "can't" is certain)."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.check.facts import Facts
from interlock.check.reach import Bound, reach
from interlock.check.wiring import closed, energised
from interlock.logic.readings import compare
from interlock.scheme.model import Condition, Limit, Output, Rule, Test
from interlock.scheme.words import LineForm, Mode, OnInvalid, PowerUp, Signal


@dataclass(slots=True)
class Movement:
    """The values that can occur: of rules (active), lines as read, and a unit's own commands (running)."""

    active: dict[str, set[bool]] = field(default_factory=dict)
    lines: dict[str, set[bool]] = field(default_factory=dict)
    on: dict[str, set[bool]] = field(default_factory=dict)  # outputs


class Mover:
    """Works out a scheme's movement."""

    def __init__(self, facts: Facts) -> None:
        self.facts, self.scheme = facts, facts.scheme
        scheme = facts.scheme
        self.can = Movement(
            {n: {r.power_up is not PowerUp.CLEAR} for n, r in scheme.rules.items()},
            {n: {True, False} if x.form is LineForm.EXTERNAL else set() for n, x in scheme.lines.items()},
            {n: {False} for n in scheme.outputs},  # before scan 0 all are released
        )
        for line in scheme.lines.values():
            if line.form is LineForm.CONFIRMS:
                self.can.lines[line.name].add(closed(scheme.outputs[line.output], energised=False))
        self._values = {
            (r.watches, r.watched): reach(facts.truths, r.watches, r.watched)
            for r in scheme.rules.values()
            if r.watches.numeric
        }
        self._senders: dict[str, list[str]] = {}
        for line in scheme.lines.values():
            for rule in line.rules:
                self._senders.setdefault(rule, []).append(line.name)
        self._starting: dict[str, list[str]] = {}
        for acting in scheme.rules.values():
            for path in acting.starts:
                self._starting.setdefault(path, []).append(acting.name)
        while self._pass():
            pass

    def _pass(self) -> bool:
        changed = False
        for name in self.scheme.order:
            rule = self.scheme.rules[name]
            active = self.can.active[name]
            before = len(active)
            if self.meets(rule, rule.trips.test, trips=True):
                active.add(True)
            if self.meets(rule, rule.clears.test, trips=False) and self.resettable(rule):
                active.add(False)
            changed |= len(active) != before
            for line in self._senders.get(name, ()):
                changed |= self._send(line)
        return self._outputs() or changed

    def _send(self, name: str) -> bool:
        line, levels = self.scheme.lines[name], self.can.lines[name]
        before = len(levels)
        high = line.form is LineForm.HIGH_WHEN
        if any(True in self.can.active[r] for r in line.rules):
            levels.add(high)
        if all(False in self.can.active[r] for r in line.rules):
            levels.add(not high)
        return len(levels) != before

    def _outputs(self) -> bool:
        changed = False
        held = {  # (unit, path) that a rule blocks for good, as far as is known
            (rule.unit, target.path)
            for rule in self.scheme.rules.values()
            if self._always_in_force(rule)
            for target in rule.blocks
            if not target.when
        }
        for output in self.scheme.outputs.values():
            states = self.can.on[output.name]
            if True not in states and self._can_be_on(output, held):
                states.add(True)
                changed = True
        for line in self.scheme.lines.values():
            if line.form is LineForm.CONFIRMS:
                output, levels = self.scheme.outputs[line.output], self.can.lines[line.name]
                before = len(levels)
                levels.update(closed(output, energised=energised(output, on=on)) for on in self.can.on[output.name])
                changed |= len(levels) != before
        return changed

    def _can_be_on(self, output: Output, held: set[tuple[str, str]]) -> bool:
        wanted = any(
            self.scheme.paths[p].started_by != output.unit
            or any(True in self.can.active[r] for r in self._starting.get(p, ()))
            for p in output.drives
        )
        return wanted and not any((output.unit, p) in held for p in output.drives)

    def _always_in_force(self, rule: Rule) -> bool:
        return False not in self.can.active[rule.name] and not rule.only_while and not rule.overridden_by

    def meets(self, rule: Rule, test: Test, *, trips: bool) -> bool:
        """Whether the trip (clear) condition can ever hold."""
        if rule.watches.numeric:
            found = self._values[rule.watches, rule.watched]
            counts = OnInvalid.TRIP if trips else OnInvalid.CLEAR
            if rule.on_invalid is counts and self._can_be_invalid(rule, healthy=found.invalid):
                return True
            assert isinstance(test, Limit)
            return not found.empty and _within(test, found.low, found.high)
        return bool(test) in self.states(rule.unit, rule.watches, rule.watched)

    def reads(self, rule: Rule, test: Test) -> bool:
        """Whether a valid reading can ever meet a limit."""
        found = self._values[rule.watches, rule.watched]
        assert isinstance(test, Limit)
        return not found.empty and _within(test, found.low, found.high)

    def _can_be_invalid(self, rule: Rule, *, healthy: bool) -> bool:
        if healthy:
            return True
        names = [rule.watched] if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors
        return any(f"{n}.{mode}" in self.scheme.faults for n in names for mode in (Mode.OPEN, Mode.SHORTED, Mode.STUCK))

    def states(self, unit: str, signal: Signal, name: str) -> set[bool]:
        """What a unit can ever see of a two-valued signal."""
        if signal is Signal.RULE:
            return self.can.active[name]
        if signal is Signal.LINE:
            return self.can.lines[name]
        outputs = self.scheme.drives(unit, name)
        return {False} | ({True} if all(True in self.can.on[o] for o in outputs) else set())

    def holds(self, unit: str, condition: Condition) -> bool:
        """Whether an `only_while` condition can ever hold."""
        return bool(condition.test) in self.states(unit, condition.signal, condition.name)

    def resettable(self, rule: Rule) -> bool:
        """Whether a rule can leave awaiting_reset: its reset line can be seen off and then on."""
        return not rule.manual or (bool(rule.reset_by) and len(self.can.lines[rule.reset_by]) == 2)


def _within(test: Limit, low: Bound, high: Bound) -> bool:
    """Whether a value from low to high meets a limit."""
    return compare(low if test.compare.downward else high, test)
