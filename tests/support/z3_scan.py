"""One scan of a scheme as z3 formulas: truths and readings are reals, nothing is cut into cells.

Written from the meaning of a scheme alone. What a scan leaves to the next stands in memories: `Scan` number i names
their values before it `name@i` and says what they are after it, `name@i+1`. Only what can reach the claim is encoded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

import z3

from interlock.scheme.model import Claim, Condition, Limit, Output, Reading, Rule, Scheme, Sensor
from interlock.scheme.words import (
    Contact,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    Part,
    PowerUp,
    Signal,
)
from tests.support.z3_parts import (
    COMBINED,
    Dial,
    Flag,
    Formula,
    Memory,
    NotEncoded,
    Plan,
    Value,
    compared,
    every,
    memory_at,
    one_error,
    so,
    some,
    within,
)

T = TypeVar("T")


def _always(formula: Formula) -> Callable[[Formula], Formula]:
    return lambda _: formula


class Scan:
    """Scan i. `constraints` says what is given (truths, errors) and what becomes of each memory; `met` and `may` are
    the claim's two halves. `memories` is filled as they are asked for: every scan of a claim has the same."""

    def __init__(self, scheme: Scheme, claim: Claim, plan: Plan, i: int, memories: dict[str, Memory]) -> None:
        self.scheme, self.claim, self.plan, self.i, self.memories = scheme, claim, plan, i, memories
        self.constraints: list[Formula] = []
        self.after: dict[str, Formula] = {}  # what each memory is after this scan
        self.known: dict[tuple[str, ...], Any] = {}
        self.waiting: list[Callable[[], None]] = []
        conditions = [self.claimed(c) for c in claim.conditions]
        if claim.any_of:
            conditions.append(some(every(self.claimed(c) for c in one) for one in claim.any_of))
        run, stop = self.path(claim.path)
        self.met, self.may = every(conditions), run if claim.must is Must.NEVER_RUNNING else stop
        while self.waiting:
            self.waiting.pop()()

    # --- memories and inputs

    def once(self, key: tuple[str, ...], make: Callable[[], T]) -> T:
        """Something made once and then shared. Raises NotEncoded where it would depend on itself."""
        if key not in self.known:
            self.known[key] = None
            self.known[key] = make()
        if self.known[key] is None:
            raise NotEncoded("a loop of rules within one scan")
        made: T = self.known[key]
        return made

    def remember(self, name: str, memory: Memory, after: Callable[[Formula], Formula]) -> Formula:
        """What a memory was before this scan; `after` makes of that what it is after it, once all else is known."""
        first = ("memory", name) not in self.known
        before = self.once(("memory", name), lambda: memory_at(name, memory, self.i))
        if first:
            self.memories.setdefault(name, memory)

            def update() -> None:
                new = memory_at(name, memory, self.i + 1)
                value = self.after[name] = after(before)
                pairs = zip(new, value, strict=True) if isinstance(memory, Dial) else [(new, value)]
                self.constraints.extend(a == b for a, b in pairs)

            self.waiting.append(update)
        return before

    def free(self, name: str) -> Formula:
        """Something the world decides at this scan."""
        return z3.Bool(f"{name}!{self.i}")

    # --- faults

    def has(self, mode: Mode, part: str) -> Formula:
        """Whether a part is in a mode at this scan."""
        if any(f.mode is mode and part in f.parts for f in self.plan.installed):
            return z3.BoolVal(True)
        entries = [n for n, e in enumerate(self.plan.arising) if any(f.mode is mode and part in f.parts for f in e)]
        return some(self.arisen(n) for n in entries)

    def may_have(self, mode: Mode, part: str) -> bool:
        """Whether the fault set holds that fault at all."""
        every_one = [*self.plan.installed, *(f for entry in self.plan.arising for f in entry)]
        return any(f.mode is mode and part in f.parts for f in every_one)

    def arisen(self, entry: int) -> Formula:
        name = f"arisen{entry}"
        before = self.remember(name, Flag(False), lambda _: self.arisen(entry))
        return self.once((name,), lambda: z3.Or(before, self.free(f"arises{entry}")))

    def alive(self, unit: str) -> Formula:
        return z3.Not(z3.Or(self.has(Mode.DEAD, unit), self.has(Mode.FROZEN, unit)))

    def cycles(self, unit: str) -> Formula:
        """Whether a unit that is alive is power-cycled at this scan."""
        return z3.And(self.alive(unit), self.free(f"cycles {unit}")) if unit in self.plan.cycled else z3.BoolVal(False)

    # --- truths and readings

    def truth(self, name: str) -> Formula:
        """A quantity, with all that holds of truths."""
        self.once(("truths",), self.truths)
        return z3.Real(f"truth {name}!{self.i}")

    def truths(self) -> Formula:
        scheme = self.scheme
        q = {name: z3.Real(f"truth {name}!{self.i}") for name in scheme.quantities}
        for name, quantity in scheme.quantities.items():
            self.constraints += [q[name] >= quantity.span.low, q[name] <= quantity.span.high]
            if tie := quantity.at_least:
                self.constraints.append(q[name] >= q[tie.other] + tie.difference)
            if tie := quantity.at_most:
                self.constraints.append(q[name] <= q[tie.other] + tie.difference)
        for sensor in scheme.sensors.values():
            if len(sensor.measures) > 1:  # something must be readable, whatever the sensor really reads
                could = z3.Real(f"could read {sensor.name}!{self.i}")
                self.constraints += [within(could, q[e.quantity], e) for e in sensor.measures]
        return True

    def element(self, name: str) -> tuple[Formula, Formula]:
        """A sensor's element: whether it gives anything, and what."""
        return self.once(("element", name), lambda: self.make_element(self.scheme.sensors[name]))

    def make_element(self, sensor: Sensor) -> tuple[Formula, Formula]:
        name = sensor.name
        value = z3.Real(f"reads {name}!{self.i}")
        misplaced = one_error(self.plan.installed, Mode.MISPLACED, name)
        usual = every(within(value, self.truth(e.quantity), e) for e in misplaced or sensor.measures)
        drifts = one_error([f for entry in self.plan.arising for f in entry], Mode.DRIFTED, name)
        if drifts:
            other = every(within(value, self.truth(e.quantity), e) for e in drifts)
            usual = z3.If(self.has(Mode.DRIFTED, name), other, usual)
        self.constraints.append(usual)
        there: Formula = z3.BoolVal(True)
        if self.may_have(Mode.STUCK, name):
            there, value = self.stuck(sensor, value)
        for mode, reads in ((Mode.OPEN, sensor.open_reads), (Mode.SHORTED, sensor.shorted_reads)):
            if self.may_have(mode, name):
                now = self.has(mode, name)
                there = z3.If(now, z3.BoolVal(reads is not None), there)
                value = z3.If(now, z3.RealVal(reads or 0), value)
        return there, value

    def stuck(self, sensor: Sensor, live: Formula) -> tuple[Formula, Formula]:
        """From the onset on, the reading of that scan; nothing once it is stale."""
        now = self.has(Mode.STUCK, sensor.name)
        was = self.remember(f"was stuck {sensor.name}", Flag(False), lambda _: now)
        held = self.remember(f"held {sensor.name}", Value(), lambda _: z3.If(now, value, z3.RealVal(0)))
        value = z3.If(z3.And(now, was), held, live)
        if sensor.stale_after is None:
            return z3.BoolVal(True), value
        last = sensor.stale_after.scans

        def older(age: list[Formula]) -> list[Formula]:
            more = [z3.And(now, age[v - 1]) for v in range(1, last + 1)]
            if last:
                more[-1] = z3.Or(more[-1], z3.And(now, age[last]))
            return [z3.Or(z3.Not(now), age[0]) if not last else z3.Not(now), *more]

        age = self.remember(f"age {sensor.name}", Dial(last + 1, 0), older)
        return z3.Not(z3.And(now, age[last])), value

    def at_input(self, name: str) -> tuple[Formula, Formula]:
        """What a unit has at its input for a sensor: valid or not, and the value."""
        there, value = self.element(self.plan.at_other(Part.SENSOR, name))
        valid = self.scheme.sensors[name].valid
        return z3.And(there, value >= valid.low, value <= valid.high), value

    def watched(self, name: str) -> list[tuple[Formula, Formula | None]]:
        """The values a sensor or derived reading may have: each with when; None for invalid. Exactly one applies."""
        if name in self.scheme.sensors:
            valid, value = self.at_input(name)
            return [(valid, value), (z3.Not(valid), None)]
        return list(self.derived(self.scheme.readings[name]))

    def derived(self, reading: Reading) -> Iterator[tuple[Formula, Formula | None]]:
        inputs = [self.at_input(name) for name in reading.sensors]
        for pattern in range(1 << len(inputs)):
            among = [bool(pattern >> n & 1) for n in range(len(inputs))]
            when = every(so(valid, good) for (valid, _), good in zip(inputs, among, strict=True))
            values = [value for (_, value), good in zip(inputs, among, strict=True) if good]
            yield when, COMBINED[reading.combine](values) if len(values) >= reading.needs else None

    # --- lines

    def line(self, name: str) -> Formula:
        """What is really on a line."""
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                return self.free(f"line {name}")
            case LineForm.CONFIRMS:
                return self.closed_before(line.output)
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                return self.once(("sent", name), lambda: self.make_sent(name))

    def make_sent(self, name: str) -> Formula:
        line = self.scheme.lines[name]
        undriven = z3.BoolVal(line.undriven_reads)
        level = so(some(self.active(rule) for rule in line.rules), line.form is LineForm.HIGH_WHEN)
        if self.may_have(Mode.FROZEN, line.unit):
            before = self.remember(f"sent {name}", Flag(line.undriven_reads), lambda _: self.line(name))
            level = z3.If(self.has(Mode.FROZEN, line.unit), before, level)
        return z3.If(self.has(Mode.DEAD, line.unit), undriven, level)

    def reads(self, unit: str, name: str) -> Formula:
        """What a unit's input for a line reads."""
        other = self.plan.at_other(Part.LINE, name)
        wire = other if {name, other} <= set(self.inputs_of(unit)) else name
        undriven = self.scheme.lines[wire].undriven_reads
        level = z3.If(self.has(Mode.BROKEN, wire), z3.BoolVal(undriven), self.line(wire))
        level = z3.If(self.has(Mode.SHORTED, wire), z3.BoolVal(not undriven), level)
        return z3.Xor(level, self.has(Mode.INVERTED, name))

    def inputs_of(self, unit: str) -> Iterator[str]:
        """All lines that a unit's rules look at."""
        for rule in self.scheme.rules.values():
            if rule.unit == unit:
                yield from (n for n in (rule.reset_by, rule.overridden_by) if n)
                if rule.watches is Signal.LINE:
                    yield rule.watched
                yield from (c.name for c in rule.only_while if c.signal is Signal.LINE)
                yield from (c.name for target in rule.blocks for mode in target.when for c in mode)

    def sees(self, unit: str, condition: Condition) -> Formula:
        """A unit's look at a line, at what it commanded, or at a rule of its own."""
        assert isinstance(condition.test, bool)
        return so(self.two_valued(unit, condition.signal, condition.name), condition.test)

    def two_valued(self, unit: str, signal: Signal, name: str) -> Formula:
        match signal:
            case Signal.LINE:
                return self.reads(unit, name)
            case Signal.RULE:
                return self.active(name)
            case Signal.PATH:
                own = (self.scheme.outputs[o] for o in self.scheme.paths[name].outputs)
                return every(self.on_before(o) for o in own if o.unit == unit)
            case _:
                raise AssertionError(f"{name} is not two-valued")

    # --- rules

    def active(self, name: str) -> Formula:
        """Whether a rule is active at this scan."""
        if self.may_have(Mode.OMITTED, name):
            return z3.BoolVal(False)
        rule = self.scheme.rules[name]
        return self.once(("active", name), lambda: z3.Or(self.moved(rule)[rule.trips.delay.scans + 1 :]))

    def moved(self, rule: Rule) -> list[Formula]:
        """The rule's dial after its move: 0 clear, then each scan of picking up, tripped, of dropping off, awaiting."""
        return self.once(("rule", rule.name), lambda: self.make_moved(rule))

    def make_moved(self, rule: Rule) -> list[Formula]:
        pick, drop = rule.trips.delay.scans, rule.clears.delay.scans
        tripped, awaiting = pick + 1, pick + drop + 2
        start = 0 if rule.power_up is PowerUp.CLEAR else tripped
        dial = self.remember(f"rule {rule.name}", Dial(awaiting + 1, start), lambda _: self.moved(rule))
        trips, clears, holds = self.seen(rule)
        edge = self.edge(rule)
        done = awaiting if rule.manual else 0
        ways: dict[int, list[Formula]] = {v: [] for v in range(awaiting + 1)}

        def way(source: int, target: int, *when: Formula) -> None:
            ways[target].append(z3.And(dial[source], *when))

        alive, cycles = self.alive(rule.unit), self.cycles(rule.unit)
        moves = z3.And(alive, z3.Not(cycles), z3.Not(holds))
        for v in range(tripped):
            way(v, 0, moves, z3.Not(trips))
            way(v, v + 1, moves, trips)  # from the last scan of the delay on to tripped
        for v in range(tripped, awaiting):
            way(v, tripped, moves, z3.Not(clears))
            way(v, done if v == tripped + drop else v + 1, moves, clears)
        way(awaiting, tripped, moves, z3.Not(clears))
        way(awaiting, 0, moves, clears, edge)
        way(awaiting, awaiting, moves, clears, z3.Not(edge))
        for v in range(awaiting + 1):
            again = 1 if 0 < v < tripped else tripped + 1 if tripped < v < awaiting else v  # its timer starts again
            way(v, again if rule.power_up is PowerUp.AS_LEFT else start, alive, cycles)
            way(v, v, z3.Or(z3.Not(alive), z3.And(holds, z3.Not(cycles))))
        return [some(ways[v]) for v in range(awaiting + 1)]

    def seen(self, rule: Rule) -> tuple[Formula, Formula, Formula]:
        """P, C, and whether an invalid reading holds the machine."""
        trips, clears = rule.trips.test, rule.clears.test
        if isinstance(trips, bool) or isinstance(clears, bool):
            value = self.two_valued(rule.unit, rule.watches, rule.watched)
            return so(value, bool(trips)), so(value, bool(clears)), z3.BoolVal(False)
        ways = self.watched(rule.watched)
        invalid = some(when for when, value in ways if value is None)
        p = [z3.And(when, compared(value, trips)) for when, value in ways if value is not None]
        c = [z3.And(when, compared(value, clears)) for when, value in ways if value is not None]
        match rule.on_invalid:
            case OnInvalid.TRIP:
                p.append(invalid)
            case OnInvalid.CLEAR:
                c.append(invalid)
            case OnInvalid.HOLD:
                return some(p), some(c), invalid
        return some(p), some(c), z3.BoolVal(False)

    def edge(self, rule: Rule) -> Formula:
        """Whether the reset line has a rising edge at this scan, or a person is taken to give one."""
        if not rule.manual or not rule.reset_by:
            return z3.BoolVal(False)
        unit, name = rule.unit, rule.reset_by
        if self.claim.must is Must.NEVER_STOPPED and not self.claim.attended:
            return z3.BoolVal(False)

        def seen_off(before: Formula) -> Formula:
            seen = z3.And(z3.Not(self.reads(unit, name)), z3.Not(self.cycles(unit)))
            return z3.If(self.alive(unit), seen, before)

        given = z3.BoolVal(False)
        if self.claim.must is Must.NEVER_STOPPED:
            given = z3.Not(z3.Or(self.has(Mode.BROKEN, name), self.has(Mode.SHORTED, name)))
            if not (self.may_have(Mode.BROKEN, name) or self.may_have(Mode.SHORTED, name)):
                return given
        before = self.remember(f"off {unit} {name}", Flag(False), seen_off)
        return z3.Or(given, z3.And(before, self.reads(unit, name)))

    def overridden(self, rule: Rule) -> Formula:
        """Whether the effects are suspended. 0: must be seen off; 1: seen off; then the scans on; last: spent."""
        limit = rule.override_at_most.scans if rule.override_at_most else None
        last = 2 if limit is None else limit + 2

        def moved() -> list[Formula]:
            return self.once(("override", rule.name), make)

        def make() -> list[Formula]:
            dial = self.remember(f"override {rule.name}", Dial(last + 1, 0), lambda _: moved())
            alive, cycles = self.alive(rule.unit), self.cycles(rule.unit)
            on = z3.And(alive, z3.Not(cycles), self.reads(rule.unit, rule.overridden_by))
            off = z3.And(alive, z3.Not(cycles), z3.Not(self.reads(rule.unit, rule.overridden_by)))
            still = z3.Not(alive)
            new = [some([z3.And(still, dial[v])]) for v in range(last + 1)]
            new[0] = z3.Or(new[0], z3.And(alive, cycles), z3.And(on, dial[0]))
            new[1] = z3.Or(new[1], off)
            for v in range(1, last + 1):
                after = min(v + 1, last)
                new[after] = z3.Or(new[after], z3.And(on, dial[v]))
            return new

        return moved()[2] if limit is None else some(moved()[2 : limit + 2])

    def in_force(self, rule: Rule) -> Formula:
        def make() -> Formula:
            met = [self.active(rule.name), *(self.sees(rule.unit, c) for c in rule.only_while)]
            return every([*met, z3.Not(self.overridden(rule))] if rule.overridden_by else met)

        return self.once(("in force", rule.name), make)

    # --- outputs, devices, paths

    def on(self, output: Output) -> Formula:
        """Whether the unit's rules let an output be on at this scan (while it is neither dead nor frozen)."""
        return self.once(("on", output.name), lambda: self.make_on(output))

    def make_on(self, output: Output) -> Formula:
        own = [r for r in self.scheme.rules.values() if r.unit == output.unit]
        blocks = []
        for rule in own:
            for target in rule.blocks:
                if target.path in output.drives:
                    modes = [every(self.sees(rule.unit, c) for c in mode) for mode in target.when]
                    blocks.append(z3.And(self.in_force(rule), some(modes) if modes else True))
        wants = []
        for path in output.drives:
            if self.scheme.paths[path].started_by == output.unit:
                wants += [self.in_force(rule) for rule in own if path in rule.starts]
            else:
                wants.append(z3.BoolVal(True))
        return z3.And(some(wants), z3.Not(some(blocks)))

    def on_before(self, output: Output) -> Formula:
        """Whether an output was on at the scan before."""

        def after(before: Formula) -> Formula:
            now = z3.If(self.has(Mode.FROZEN, output.unit), before, self.on(output))
            return z3.And(now, z3.Not(self.has(Mode.DEAD, output.unit)))

        return self.remember(f"on {output.name}", Flag(False), after)

    def energised(self, output: Output) -> Formula:
        def make() -> Formula:
            now = so(self.on(output), output.energised_when is EnergisedWhen.RUNS)
            if self.may_have(Mode.FROZEN, output.unit):
                name = f"energised {output.name}"
                before = self.remember(name, Flag(False), lambda _: self.energised(output))
                now = z3.If(self.has(Mode.FROZEN, output.unit), before, now)
            return z3.And(now, z3.Not(self.has(Mode.DEAD, output.unit)))

        return self.once(("energised", output.name), make)

    def closed_when_energised(self, output: Output) -> bool:
        turned = any(f.mode is Mode.WRONG_CONTACT and output.name in f.parts for f in self.plan.installed)
        return (output.contact is not Contact.NORMALLY_CLOSED) is not turned

    def closed(self, output: Output) -> Formula:
        """Whether a contact is closed at this scan."""
        made = so(self.energised(output), self.closed_when_energised(output))
        return z3.Or(self.has(Mode.WELDED, output.name), made)

    def closed_before(self, name: str) -> Formula:
        output = self.scheme.outputs[name]
        at_rest = not self.closed_when_energised(output)
        return self.remember(f"closed {name}", Flag(at_rest), lambda _: self.closed(output))

    def device(self, device: Output) -> tuple[Formula, Formula]:
        """Whether a device may run and may be stopped."""
        return self.once(("device", device.name), lambda: self.make_device(device))

    def make_device(self, device: Output) -> tuple[Formula, Formula]:
        feeder = self.scheme.outputs[self.plan.at_other(Part.OUTPUT, device.name)]
        made = z3.And(self.closed(feeder), z3.Not(self.has(Mode.WIRE_BROKEN, feeder.name)))
        told = so(made, device.runs_when.when_made)
        told_at_rest = (not self.closed_when_energised(feeder)) is device.runs_when.when_made
        run = self.lately(f"told to run {device.name}", told, told_at_rest, device.stops_within.scans)
        stop = self.lately(f"told to stop {device.name}", z3.Not(told), not told_at_rest, device.starts_within.scans)
        ignored = self.has(Mode.IGNORED, device.name)
        return z3.Or(ignored, run), z3.And(z3.Not(ignored), stop)

    def lately(self, name: str, now: Formula, before_power_up: bool, scans: int) -> Formula:
        """Whether something is so, or was at one of the `scans` scans before."""
        before = now
        past = []
        for k in range(1, scans + 1):
            before = self.remember(f"{name} {k}", Flag(before_power_up), _always(before))
            past.append(before)
        return some([now, *past])

    def path(self, name: str) -> tuple[Formula, Formula]:
        """Whether a path may be running and may be stopped."""
        return self.once(("path", name), lambda: self.make_path(name))

    def make_path(self, name: str) -> tuple[Formula, Formula]:
        path = self.scheme.paths[name]
        links = [self.device(self.scheme.outputs[o]) for o in path.outputs]
        if path.behind:
            links.append(self.path(path.behind))
        bypassed = self.has(Mode.BYPASSED, name)
        run, stop = every(run for run, _ in links), some(stop for _, stop in links)
        return z3.Or(bypassed, run), z3.And(z3.Not(bypassed), stop)

    def claimed(self, condition: Condition) -> Formula:
        """A condition of the claim: by the truth, by what is really on a line, by what a path may do."""
        if isinstance(condition.test, Limit):
            return compared(self.truth(condition.name), condition.test)
        if condition.signal is Signal.PATH:
            run, stop = self.path(condition.name)
            return run if condition.test else stop
        return so(self.line(condition.name), condition.test)
