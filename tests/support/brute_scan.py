"""One scan of a scheme, a second time: written from the meaning of a scheme alone, for many states and inputs at once.

Nothing here is shared with the engines of the project but the model they read. States stand in columns of shape (S, 1),
inputs in columns of shape (1, I); every result has a shape that broadcasts to (S, I).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from interlock.scheme.model import Condition, Output, Rule, Scheme
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Mode, Part, Signal
from tests.support.brute_parts import (
    CLEARS,
    CLEARS_WITH_EDGE,
    NEITHER,
    NO,
    TRIPS,
    YES,
    Array,
    Cone,
    Key,
    OutOfReach,
    Plan,
    Present,
    lines_read,
    machine_codes,
    machine_tables,
    power_up_codes,
)

# --- the states


class Resets:
    """What becomes of manual resets: free (whatever the lines do), given at once, or never."""

    FREE, GIVEN, NEVER = "free", "given", "never"


class Layout:
    """The columns of a state: what one scan leaves to the next, and the state before scan 0."""

    def __init__(self, scheme: Scheme, cone: Cone, plan: Plan, resets: str) -> None:
        self.columns: list[tuple[Key, int, int]] = []  # key, how many values, the value before scan 0
        before = plan.present(0)
        freezing = {u for u in scheme.units if plan.may(Mode.FROZEN, u)}
        for name in cone.rules:
            rule = scheme.rules[name]
            self.add(("rule", name), machine_codes(rule)[2], power_up_codes(rule)[0])
        for name in cone.rules:
            rule = scheme.rules[name]
            if rule.manual and rule.reset_by and resets != Resets.NEVER:
                self.add(("off", rule.unit, rule.reset_by), 2, 0)
            if rule.overridden_by and name in cone.acting:
                limit = rule.override_at_most.scans + 1 if rule.override_at_most else 1
                self.add(("override", name), limit + 2, 0)
        for name in cone.outputs:
            output = scheme.outputs[name]
            frozen = output.unit in freezing
            if frozen or _commands_seen(scheme, cone, output):
                self.add(("on", name), 2, 0)
            if frozen:
                self.add(("energised", name), 2, 0)
            if any(scheme.lines[x].output == name for x in cone.lines):
                self.add(("closed", name), 2, int(contact_closed(output, np.asarray(False), before).item()))
        for name in cone.lines:
            line = scheme.lines[name]
            if line.form.sent and line.unit in freezing:
                self.add(("sent", name), 2, int(line.undriven_reads))
        for name in cone.devices:
            output = scheme.outputs[name]
            feeder = scheme.outputs[before.partner.get((Part.OUTPUT, name), name)]
            runs = bool(told_to_run(output, feeder, contact_closed(feeder, np.asarray(False), before), before).item())
            for word, wait, now in (
                ("ran", output.stops_within.scans, runs),
                ("stood", output.starts_within.scans, not runs),
            ):
                self.add((word, name), wait + 2, 0 if now else wait + 1)
        if plan.arising:
            self.add(("arisen",), 1 << len(plan.arising), 0)
        weight = 1
        self.weights: dict[Key, int] = {}
        for key, size, _ in self.columns:
            self.weights[key] = weight
            weight *= size
        self.product = weight

    def add(self, key: Key, size: int, start: int) -> None:
        """One more column (once)."""
        if all(known != key for known, _, _ in self.columns):
            self.columns.append((key, size, start))

    def extended(self, more: Iterable[tuple[Key, int, int]]) -> None:
        """Further columns that the readings need."""
        for key, size, start in more:
            self.columns.append((key, size, start))
            self.weights[key] = self.product
            self.product *= size

    def first(self) -> dict[Key, Array]:
        """The columns of the state before scan 0."""
        return {key: np.full((1, 1), start) for key, _, start in self.columns}

    @property
    def start(self) -> int:
        """The number of the state before scan 0."""
        if self.product >= 1 << 62:
            raise OutOfReach("too many states to number")
        return sum(self.weights[key] * start for key, _, start in self.columns)

    def decode(self, codes: Array) -> dict[Key, Array]:
        """The columns of some states, each of shape (S, 1)."""
        return {key: (codes // self.weights[key] % size)[:, None] for key, size, _ in self.columns}

    def encode(self, columns: Mapping[Key, Array], shape: tuple[int, int]) -> Array:
        """The states' numbers; shape (S, I)."""
        total = np.zeros(shape, dtype=np.int64)
        for key, weight in self.weights.items():
            total += columns[key].astype(np.int64) * weight
        return total


def _commands_seen(scheme: Scheme, cone: Cone, output: Output) -> bool:
    """Whether a rule of the output's unit sees the command of a path it drives."""
    for name in cone.rules:
        rule = scheme.rules[name]
        seen = {rule.watched} if rule.watches is Signal.PATH else set()
        if name in cone.acting:
            seen |= {c.name for c in rule.only_while if c.signal is Signal.PATH}
        if rule.unit == output.unit and seen & set(output.drives):
            return True
    return False


def contact_closed(output: Output, energised: Array, present: Present) -> Array:
    """Whether the contact is really closed; a driven output: high."""
    if present(Mode.WELDED, output.name):
        return np.ones_like(energised, dtype=bool)
    if (output.contact is Contact.NORMALLY_CLOSED) != present(Mode.WRONG_CONTACT, output.name):
        return ~energised
    return energised


def told_to_run(device: Output, feeder: Output, closed: Array, present: Present) -> Array:
    """Whether the device's input sees what it needs to run; `closed` is the feeding output's contact."""
    made = np.zeros_like(closed, dtype=bool) if present(Mode.WIRE_BROKEN, feeder.name) else closed
    return made if device.runs_when.when_made else ~made


# --- one scan


@dataclass
class Outcome:
    """What a scan comes to: the next columns, and what a claim can ask."""

    columns: dict[Key, Array]
    may_run: dict[str, Array]
    may_stop: dict[str, Array]
    line_truth: dict[str, Array]
    active: dict[str, Array]
    in_force: dict[str, Array]
    on: dict[str, Array]


class Scan:
    """One scan under the faults there at it. Inputs: ("seen", rule) what the rule's reading makes it see, ("line",
    external line), ("cycle", unit)."""

    def __init__(
        self,
        scheme: Scheme,
        cone: Cone,
        plan: Plan,
        arisen: int,
        resets: str,
        state: Mapping[Key, Array],
        inputs: Mapping[Key, Array],
    ) -> None:
        self.scheme, self.cone, self.resets = scheme, cone, resets
        self.present, self.arisen = plan.present(arisen), arisen
        self.cycled = plan.cycled
        self.state, self.inputs = state, inputs
        self.codes: dict[str, Array] = {}
        self.under_way: set[str] = set()

    def run(self) -> Outcome:
        """The scan."""
        cone, scheme = self.cone, self.scheme
        columns: dict[Key, Array] = {("rule", name): self.code(name) for name in cone.rules}
        for name in cone.rules:
            columns |= self.memories(scheme.rules[name])
        self.override = {name: columns["override", name] for name in cone.rules if ("override", name) in columns}
        in_force = {name: self.in_force(scheme.rules[name]) for name in cone.rules if name in cone.acting}
        on, energised = self.outputs(in_force)
        closed = {o: contact_closed(scheme.outputs[o], energised[o], self.present) for o in cone.outputs}
        for name in cone.outputs:
            for key, value in (("on", on), ("energised", energised), ("closed", closed)):
                if (key, name) in self.state:
                    columns[key, name] = value[name]
        for name in cone.lines:
            if ("sent", name) in self.state:
                columns["sent", name] = self.line_truth(name)
        for name in cone.devices:
            columns |= self.device(name, closed)
        if ("arisen",) in self.state:
            columns["arisen",] = np.full((1, 1), self.arisen)
        may_run, may_stop = self.running(columns)
        return Outcome(
            columns,
            may_run,
            may_stop,
            {x: self.line_truth(x) for x in cone.lines},
            {r: self.active(r) for r in cone.rules},
            in_force,
            on,
        )

    def was(self, *key: str) -> Array:
        """Whether a two-valued column was true at the scan before."""
        value: Array = self.state[key] == 1
        return value

    # lines

    def alive(self, unit: str) -> bool:
        return not self.present(Mode.DEAD, unit) and not self.present(Mode.FROZEN, unit)

    def line_truth(self, name: str) -> Array:
        """What is really on the line; a sent line: what is sent, undriven what that reads."""
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                return self.inputs["line", name]
            case LineForm.CONFIRMS:
                return self.was("closed", line.output)
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                if self.present(Mode.DEAD, line.unit):
                    return YES if line.undriven_reads else NO
                if self.present(Mode.FROZEN, line.unit):
                    return self.was("sent", name)
                any_active = NO
                for rule in line.rules:
                    any_active = any_active | self.active(rule)
                return any_active if line.form is LineForm.HIGH_WHEN else ~any_active

    def line_read(self, unit: str, name: str) -> Array:
        """What the unit's input for the line reads."""
        wire = self.present.partner.get((Part.LINE, name), name)
        if not {wire, name} <= lines_read(self.scheme, unit):
            wire = name
        undriven = YES if self.scheme.lines[wire].undriven_reads else NO
        if self.present(Mode.SHORTED, wire):
            level = ~undriven
        elif self.present(Mode.BROKEN, wire):
            level = undriven
        else:
            level = self.line_truth(wire)
        return ~level if self.present(Mode.INVERTED, name) else level

    # rules

    def active(self, name: str) -> Array:
        if self.present(Mode.OMITTED, name):
            return NO
        return self.code(name) >= machine_codes(self.scheme.rules[name])[0]

    def code(self, name: str) -> Array:
        """The rule's machine after this scan."""
        if name in self.codes:
            return self.codes[name]
        if name in self.under_way:
            raise OutOfReach(f"exchanged lines close a loop at {name}")
        self.under_way.add(name)
        rule = self.scheme.rules[name]
        code = self.state["rule", name]
        if self.alive(rule.unit) and not self.present(Mode.OMITTED, name):
            seen = self.seen(rule)
            if rule.manual and rule.reset_by:
                seen = np.where((seen == CLEARS) & self.edge(rule), CLEARS_WITH_EDGE, seen)
            after: Array = machine_tables(rule)[0][code, seen]
            if rule.unit in self.cycled:
                after = np.where(self.inputs["cycle", rule.unit], machine_tables(rule)[1][code], after)
            code = after
        self.under_way.discard(name)
        self.codes[name] = code
        return code

    def seen(self, rule: Rule) -> Array:
        """Which of the rule's conditions holds at this scan."""
        if rule.watches.numeric:
            return self.inputs["seen", rule.name]
        value = self.two_valued(rule.unit, rule.watches, rule.watched)
        trips, clears = value == rule.trips.test, value == rule.clears.test
        return np.where(trips, TRIPS, np.where(clears, CLEARS, NEITHER))

    def two_valued(self, unit: str, signal: Signal, name: str) -> Array:
        match signal:
            case Signal.LINE:
                return self.line_read(unit, name)
            case Signal.RULE:
                return self.active(name)
            case Signal.PATH:
                running = YES
                for output in self.scheme.paths[name].outputs:
                    if self.scheme.outputs[output].unit == unit:
                        running = running & self.was("on", output)
                return running
            case _:
                raise AssertionError(f"{signal} has no two values")

    def holds(self, unit: str, condition: Condition) -> Array:
        value: Array = self.two_valued(unit, condition.signal, condition.name) == condition.test
        return value

    def edge(self, rule: Rule) -> Array:
        line = rule.reset_by
        if self.resets == Resets.NEVER:
            return NO
        lost = self.present(Mode.BROKEN, line) or self.present(Mode.SHORTED, line)
        if self.resets == Resets.GIVEN and not lost:
            return YES
        return self.line_read(rule.unit, line) & self.was("off", rule.unit, line)

    def memories(self, rule: Rule) -> dict[Key, Array]:
        """Edge memory and override timer after this scan."""
        kept: dict[Key, Array] = {}
        cycle = self.inputs["cycle", rule.unit] if rule.unit in self.cycled else NO
        off_key, override_key = ("off", rule.unit, rule.reset_by), ("override", rule.name)
        for key in (off_key, override_key):
            if key in self.state and not self.alive(rule.unit):
                kept[key] = self.state[key]
        if off_key in self.state and off_key not in kept:
            kept[off_key] = ~self.line_read(rule.unit, rule.reset_by) & ~cycle
        if override_key in self.state and override_key not in kept:
            # 0: not seen off since power-up; 1: seen off; 1 + k: on for k scans, the last one k too many
            read, was = self.line_read(rule.unit, rule.overridden_by), self.state[override_key]
            most = rule.override_at_most.scans + 2 if rule.override_at_most else 2
            on = np.where(was == 0, 0, np.minimum(was + 1, most))
            kept[override_key] = np.where(cycle, 0, np.where(read, on, 1))
        return kept

    def in_force(self, rule: Rule) -> Array:
        force = self.active(rule.name)
        for condition in rule.only_while:
            force = force & self.holds(rule.unit, condition)
        if rule.name in self.override:
            count = self.override[rule.name]
            spent = rule.override_at_most.scans + 2 if rule.override_at_most else 3
            force = force & ~((count >= 2) & (count < spent))
        return force

    # outputs

    def outputs(self, in_force: Mapping[str, Array]) -> tuple[dict[str, Array], dict[str, Array]]:
        on: dict[str, Array] = {}
        energised: dict[str, Array] = {}
        for name in self.cone.outputs:
            output = self.scheme.outputs[name]
            if self.present(Mode.DEAD, output.unit):
                on[name] = energised[name] = NO
            elif self.present(Mode.FROZEN, output.unit):
                on[name], energised[name] = self.was("on", name), self.was("energised", name)
            else:
                on[name] = self.wanted(output, in_force) & ~self.blocked(output, in_force)
                energised[name] = on[name] if output.energised_when is EnergisedWhen.RUNS else ~on[name]
        return on, energised

    def blocked(self, output: Output, in_force: Mapping[str, Array]) -> Array:
        blocked = NO
        for name, force in in_force.items():
            rule = self.scheme.rules[name]
            if rule.unit != output.unit:
                continue
            for target in rule.blocks:
                if target.path not in output.drives:
                    continue
                in_mode = NO if target.when else YES
                for alternative in target.when:
                    joint = YES
                    for condition in alternative:
                        joint = joint & self.holds(rule.unit, condition)
                    in_mode = in_mode | joint
                blocked = blocked | (force & in_mode)
        return blocked

    def wanted(self, output: Output, in_force: Mapping[str, Array]) -> Array:
        wanted = NO
        for path in output.drives:
            starters = [r for r in self.scheme.rules.values() if path in r.starts]
            if not any(rule.unit == output.unit for rule in starters):
                return YES
            for rule in starters:
                if rule.unit == output.unit and rule.name in in_force:
                    wanted = wanted | in_force[rule.name]
        return wanted

    def device(self, name: str, closed: Mapping[str, Array]) -> dict[Key, Array]:
        """Scans since the device was last told to run, and to stop; a count stops one past its time."""
        device = self.scheme.outputs[name]
        feeder = self.scheme.outputs[self.present.partner.get((Part.OUTPUT, name), name)]
        runs = told_to_run(device, feeder, closed[feeder.name], self.present)
        ran = np.where(runs, 0, np.minimum(self.state["ran", name] + 1, device.stops_within.scans + 1))
        stood = np.where(runs, np.minimum(self.state["stood", name] + 1, device.starts_within.scans + 1), 0)
        return {("ran", name): ran, ("stood", name): stood}

    def running(self, columns: Mapping[Key, Array]) -> tuple[dict[str, Array], dict[str, Array]]:
        may_run: dict[str, Array] = {}
        may_stop: dict[str, Array] = {}

        def judge(name: str) -> None:
            path = self.scheme.paths[name]
            if self.present(Mode.BYPASSED, name):
                may_run[name], may_stop[name] = YES, NO
                return
            run, stop = YES, NO
            for o in path.outputs:
                if not self.present(Mode.IGNORED, o):
                    device = self.scheme.outputs[o]
                    run = run & (columns["ran", o] <= device.stops_within.scans)
                    stop = stop | (columns["stood", o] <= device.starts_within.scans)
            if path.behind:
                if path.behind not in may_run:
                    judge(path.behind)
                run, stop = run & may_run[path.behind], stop | may_stop[path.behind]
            may_run[name], may_stop[name] = run, stop

        for name in self.cone.paths:
            if name not in may_run:
                judge(name)
        return may_run, may_stop
