"""One scan, in its order: readings, lines, rules, outputs, what runs. The meaning of a scheme, read aloud.

An `Engine` keeps what one scan leaves to the next. It is the readable twin of the compiled scan (`compiled.py`), and
the judge of every trace that is shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy

from msgspec import Struct, field

from interlock.logic.faultset import FaultSet, scan_order
from interlock.logic.machine import RuleMachine
from interlock.logic.readings import Value, at_input, combined, compare
from interlock.scheme.model import AnyOf, Condition, Fault, Limit, Output, Rule, Scheme, Test
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Mode, OnInvalid, Part, Signal, State

LONG_AGO = 1 << 62  # scans since something that never happened


class World(Struct, frozen=True):
    """What the world gives one scan.

    `readings`: each sensor's element before open, shorted or stuck, in millionths. `lines`: the external lines' true
    states. `faults`: those present at this scan beside the installed ones. `cycles`: units power-cycled at this scan.
    """

    readings: Mapping[str, int] = field(default_factory=dict)
    lines: Mapping[str, bool] = field(default_factory=dict)
    faults: frozenset[Fault] = frozenset()
    cycles: frozenset[str] = frozenset()


class Seen(Struct, frozen=True):
    """What one scan came to. A rule left out by a fault has no state; `lines` holds what is really on each line."""

    readings: Mapping[str, Value]
    lines: Mapping[str, bool]
    states: Mapping[str, tuple[State, int]]
    in_force: frozenset[str]
    on: Mapping[str, bool]
    closed: Mapping[str, bool]
    may_run: Mapping[str, bool]
    may_stop: Mapping[str, bool]
    alarms: tuple[str, ...]

    def running(self, path: str) -> bool | None:
        """True certainly running, False certainly stopped, None where it may be either."""
        return None if self.may_run[path] and self.may_stop[path] else self.may_run[path]


class Engine:
    """A scheme being run, scan by scan, with the mistakes of installation `installed`.

    `attended`: every manual reset is given at the first scan that accepts it (for claims of the kind never_stopped).
    `before_power_up`: mistakes that every scan's world names until they are mended, there before the first scan too.
    """

    def __init__(
        self,
        scheme: Scheme,
        installed: Iterable[Fault] = (),
        *,
        attended: bool = False,
        before_power_up: Iterable[Fault] = (),
    ) -> None:
        self.scheme, self.attended = scheme, attended
        self.installed = frozenset(installed)
        self.faults = FaultSet(self.installed | frozenset(before_power_up))
        self._sets: dict[frozenset[Fault], tuple[FaultSet, tuple[str, ...]]] = {}
        self.machines = {rule.name: RuleMachine(rule) for rule in scheme.rules.values()}
        self.stuck: dict[str, tuple[int, int]] = {}  # sensor: the reading it stuck at, scans since
        self.seen_off: dict[tuple[str, str], bool] = {}  # (unit, reset line): off at the scan before
        self.override: dict[str, int | None] = dict.fromkeys(scheme.rules)  # None: first be seen off; scans on since
        self.sent: dict[str, bool | None] = {n: None for n, line in scheme.lines.items() if line.form.sent}
        self.on = dict.fromkeys(scheme.outputs, False)
        self.energised = dict.fromkeys(scheme.outputs, False)
        self._sends = {name: [x for x in scheme.lines.values() if name in x.rules] for name in scheme.rules}
        self._rules_of = {u: [r for r in scheme.rules.values() if r.unit == u] for u in scheme.units}
        self._drives = {
            (unit, path): outputs
            for path in scheme.paths
            for unit in scheme.units
            if (outputs := scheme.drives(unit, path))
        }
        self._dead: set[str] = set()
        self.commanded = self._commands()
        self.closed = {name: self._contact(output) for name, output in scheme.outputs.items()}
        says = {name: self._device_told_to_run(output) for name, output in scheme.outputs.items()}
        self.since_run = {name: 0 if run else LONG_AGO for name, run in says.items()}
        self.since_stop = {name: LONG_AGO if run else 0 for name, run in says.items()}

    def twin(self) -> Engine:
        """An engine that goes on from the same state by itself."""
        other = copy(self)
        for name, kept in vars(self).items():
            if isinstance(kept, dict | set) and name not in ("_sets", "_sends", "_rules_of", "_drives"):
                setattr(other, name, kept.copy())
        other.machines = {name: copy(machine) for name, machine in self.machines.items()}
        return other

    def scan(self, world: World) -> Seen:
        """Run one scan."""
        scheme = self.scheme
        present = self.installed | world.faults
        if present not in self._sets:
            faults = FaultSet(present)
            self._sets[present] = (faults, scan_order(scheme, faults))
        self.faults, order = self._sets[present]
        cycled = {u for u in world.cycles if self._alive(u)}
        dead = {u for u in scheme.units if self.faults.has(Mode.DEAD, u)}
        cycled |= {u for u in self._dead - dead if self._alive(u)}  # a mended unit powers up
        self._dead = dead

        # 1. truth and readings
        elements = {name: self._element(name, world) for name in world.readings}
        self.inputs: dict[str, int | None] = {
            name: at_input(elements[self.faults.source(Part.SENSOR, name)], sensor.valid)
            for name, sensor in scheme.sensors.items()
            if self.faults.source(Part.SENSOR, name) in elements
        }
        self.derived: dict[str, Value] = {
            name: combined(reading, self.inputs)
            for name, reading in scheme.readings.items()
            if all(s in self.inputs for s in reading.sensors)
        }

        # 2. external and confirming lines; sent ones follow as their rules are done
        self.external = {n: bool(world.lines.get(n)) for n, x in scheme.lines.items() if x.form is LineForm.EXTERNAL}
        self.confirmed = dict(self.closed)
        held_sent = dict(self.sent)
        for name, line in scheme.lines.items():
            if line.form.sent:
                held = self.faults.has(Mode.FROZEN, line.unit) and line.unit not in dead
                self.sent[name] = held_sent[name] if held else None

        # 3. rules, each after all it depends on
        for name in order:
            self._step_rule(scheme.rules[name], cycled)
            self._send(name)
        self._remember_edges(cycled)
        self._step_overrides(cycled)  # after the rules, so that a sent line suspends effects in the same scan

        # 4. effects and outputs
        in_force = frozenset(name for name, rule in scheme.rules.items() if self._in_force(rule))
        for name, output in scheme.outputs.items():
            if self.faults.has(Mode.DEAD, output.unit):
                self.on[name] = self.energised[name] = False
            elif not self.faults.has(Mode.FROZEN, output.unit):
                self.on[name] = self._permitted_and_wanted(output, in_force)
                self.energised[name] = self.on[name] is (output.energised_when is EnergisedWhen.RUNS)
        self.commanded = self._commands()

        # 5. contacts, wires, devices, what runs
        self.closed = {name: self._contact(output) for name, output in scheme.outputs.items()}
        for name, output in scheme.outputs.items():
            told = self._device_told_to_run(output)
            self.since_run[name] = 0 if told else min(self.since_run[name] + 1, LONG_AGO)
            self.since_stop[name] = min(self.since_stop[name] + 1, LONG_AGO) if told else 0
        may_run, may_stop = self._running()
        return Seen(
            readings={**self.inputs, **self.derived},
            lines={name: self.line_truth(name) for name in scheme.lines},
            states={n: (m.state, m.timer) for n, m in self.machines.items() if not self.faults.has(Mode.OMITTED, n)},
            in_force=in_force,
            on=dict(self.on),
            closed=dict(self.closed),
            may_run=may_run,
            may_stop=may_stop,
            alarms=tuple(n for n in scheme.rules if n in in_force and scheme.rules[n].alarm and self._alive_rule(n)),
        )

    # --- readings

    def _element(self, name: str, world: World) -> int | None:
        sensor = self.scheme.sensors[name]
        if self.faults.has(Mode.STUCK, name):
            value, age = self.stuck.get(name, (world.readings[name], -1))
            self.stuck[name] = (value, age + 1)
        else:
            self.stuck.pop(name, None)
        if self.faults.has(Mode.SHORTED, name):
            return sensor.shorted_reads
        if self.faults.has(Mode.OPEN, name):
            return sensor.open_reads
        if name in self.stuck:
            value, age = self.stuck[name]
            return None if sensor.stale_after and age >= sensor.stale_after.scans else value
        return world.readings[name]

    # --- lines

    def line_truth(self, name: str) -> bool:
        """What is really on a line: an external one's state, a contact's, what was sent (undriven: what that reads)."""
        line = self.scheme.lines[name]
        if line.form is LineForm.EXTERNAL:
            return self.external[name]
        if line.form is LineForm.CONFIRMS:
            return self.confirmed[line.output]
        sent = self.sent[name]
        return line.undriven_reads if sent is None else sent

    def line_read(self, unit: str, name: str) -> bool:
        """What a unit reads for a line: through the wire, exchanged, broken, shorted or inverted."""
        wire = self.faults.line_source(self.scheme, unit, name)
        undriven = self.scheme.lines[wire].undriven_reads
        if self.faults.has(Mode.SHORTED, wire):
            level = not undriven
        elif self.faults.has(Mode.BROKEN, wire):
            level = undriven
        else:
            level = self.line_truth(wire)
        return level is not self.faults.has(Mode.INVERTED, name)

    def _send(self, rule: str) -> None:
        for line in self._sends[rule]:
            if self._alive(line.unit):
                active = any(self._active(name) for name in line.rules)
                self.sent[line.name] = active is (line.form is LineForm.HIGH_WHEN)

    # --- rules

    def _alive(self, unit: str) -> bool:
        return not self.faults.has(Mode.DEAD, unit) and not self.faults.has(Mode.FROZEN, unit)

    def _alive_rule(self, name: str) -> bool:
        return self._alive(self.scheme.rules[name].unit)

    def _active(self, name: str) -> bool:
        return self.machines[name].active and not self.faults.has(Mode.OMITTED, name)

    def look(self, unit: str, signal: Signal, name: str) -> Value | bool:
        """What a unit sees of a signal: a value (None: invalid), a line as read, its own command for a path as of the
        scan before, a rule active or not."""
        match signal:
            case Signal.SENSOR:
                return self.inputs[name]
            case Signal.READING:
                return self.derived[name]
            case Signal.LINE:
                return self.line_read(unit, name)
            case Signal.PATH:
                return self.commanded[unit, name]
            case Signal.RULE:
                return self._active(name)
            case Signal.QUANTITY:
                raise AssertionError("no unit sees the truth")

    def _step_rule(self, rule: Rule, cycled: set[str]) -> None:
        if not self._alive(rule.unit) or self.faults.has(Mode.OMITTED, rule.name):
            return
        machine = self.machines[rule.name]
        if rule.unit in cycled:
            machine.power_cycle()
            return
        value = self.look(rule.unit, rule.watches, rule.watched)
        if value is None:
            if rule.on_invalid is OnInvalid.HOLD:
                return
            trips = rule.on_invalid is OnInvalid.TRIP
            clears = not trips
        else:
            trips, clears = _meets(value, rule.trips.test), _meets(value, rule.clears.test)
        machine.step(trips, clears, self._reset_edge(rule))

    def _reset_edge(self, rule: Rule) -> bool:
        if not rule.reset_by:
            return False
        broken = self.faults.has(Mode.BROKEN, rule.reset_by) or self.faults.has(Mode.SHORTED, rule.reset_by)
        if self.attended and not broken:
            return True
        return self.line_read(rule.unit, rule.reset_by) and self.seen_off.get((rule.unit, rule.reset_by), False)

    def _remember_edges(self, cycled: set[str]) -> None:
        for rule in self.scheme.rules.values():
            if rule.reset_by and self._alive(rule.unit):
                off = rule.unit not in cycled and not self.line_read(rule.unit, rule.reset_by)
                self.seen_off[rule.unit, rule.reset_by] = off

    def _step_overrides(self, cycled: set[str]) -> None:
        for rule in self.scheme.rules.values():
            if not rule.overridden_by or not self._alive(rule.unit) or self.faults.has(Mode.OMITTED, rule.name):
                continue
            count = self.override[rule.name]
            if rule.unit in cycled:
                count = None
            elif not self.line_read(rule.unit, rule.overridden_by):
                count = 0
            elif count is not None:
                count += 1
            self.override[rule.name] = count

    def _overridden(self, rule: Rule) -> bool:
        count = self.override[rule.name] or 0
        return count > 0 and (rule.override_at_most is None or count <= rule.override_at_most.scans)

    def _in_force(self, rule: Rule) -> bool:
        return (
            self._active(rule.name)
            and all(self._condition(rule.unit, c) for c in rule.only_while)
            and not self._overridden(rule)
        )

    def _condition(self, unit: str, condition: Condition) -> bool:
        return self.look(unit, condition.signal, condition.name) is condition.test

    # --- outputs

    def modes_hold(self, unit: str, when: AnyOf) -> bool:
        """Whether a block that counts only in these modes counts now, as the unit reads their lines."""
        return not when or any(all(self._condition(unit, c) for c in alternative) for alternative in when)

    def _permitted_and_wanted(self, output: Output, in_force: frozenset[str]) -> bool:
        rules = [rule for rule in self._rules_of[output.unit] if rule.name in in_force]
        blocked = any(
            target.path in output.drives and self.modes_hold(output.unit, target.when)
            for rule in rules
            for target in rule.blocks
        )
        wanted = any(
            self.scheme.paths[path].started_by != output.unit or any(path in rule.starts for rule in rules)
            for path in output.drives
        )
        return wanted and not blocked

    def _commands(self) -> dict[tuple[str, str], bool]:
        return {key: all(self.on[output] for output in outputs) for key, outputs in self._drives.items()}

    def _contact(self, output: Output) -> bool:
        """Whether the contact is really closed (a driven output: high)."""
        if self.faults.has(Mode.WELDED, output.name):
            return True
        turned = self.faults.has(Mode.WRONG_CONTACT, output.name)
        closed_when_energised = (output.contact is Contact.NORMALLY_CLOSED) is turned
        return self.energised[output.name] is closed_when_energised

    def _device_told_to_run(self, output: Output) -> bool:
        owner = self.faults.source(Part.OUTPUT, output.name)
        sees_made = self._contact(self.scheme.outputs[owner]) and not self.faults.has(Mode.WIRE_BROKEN, owner)
        return sees_made is output.runs_when.when_made

    def _running(self) -> tuple[dict[str, bool], dict[str, bool]]:
        """May run, may be stopped, for each path."""
        may_run: dict[str, bool] = {}
        may_stop: dict[str, bool] = {}

        def judge(name: str) -> None:
            if name in may_run:
                return
            path = self.scheme.paths[name]
            outputs = [self.scheme.outputs[o] for o in path.outputs]
            run = all(self._heedless(o) or self.since_run[o.name] <= o.stops_within.scans for o in outputs)
            stop = any(not self._heedless(o) and self.since_stop[o.name] <= o.starts_within.scans for o in outputs)
            if self.faults.has(Mode.BYPASSED, name):
                run, stop = True, False
            elif path.behind:
                judge(path.behind)
                run, stop = run and may_run[path.behind], stop or may_stop[path.behind]
            may_run[name], may_stop[name] = run, stop

        for name in self.scheme.paths:
            judge(name)
        return may_run, may_stop

    def _heedless(self, output: Output) -> bool:
        return self.faults.has(Mode.IGNORED, output.name)


def _meets(value: Value | bool, test: Test) -> bool:
    if isinstance(test, Limit):
        return compare(value, test)
    return value is test
