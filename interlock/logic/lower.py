"""A scheme as a program: the order of one scan once more, as nodes. Its meaning is `scan.py`; tests hold them equal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from types import MappingProxyType

from interlock.logic.builder import Builder
from interlock.logic.faultset import scan_order
from interlock.logic.levels import Levels
from interlock.logic.lower_readings import Measured, combined, meets, sensors
from interlock.logic.presence import Presence
from interlock.logic.program import Input, InputKind, Observe, Program, Setting, Slot, SlotKind, setting_name
from interlock.scheme.model import AnyOf, Condition, Fault, Limit, Output, Rule, Scheme, Trigger
from interlock.scheme.order import in_order
from interlock.scheme.units import LARGEST
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Mode, OnInvalid, Part, PowerUp, Signal

NOTHING: Mapping[tuple[str, Setting], int] = MappingProxyType({})


def compile_scheme(
    scheme: Scheme,
    faults: Iterable[Fault] = (),
    *,
    attended: bool = False,
    cycles: bool = False,
    switched: bool = False,
    unit: str = "",
    swaps: bool = False,
    settings: Mapping[tuple[str, Setting], int] = NOTHING,
) -> Program:
    """The scheme under these faults as a program.

    Mistakes of installation are folded in (`switched`: inputs, like the faults that arise in service; swaps excepted;
    `swaps`: those too). `settings`: of these rules these settings are inputs, each time with the most scans it may
    have.
    `cycles`: every unit's power cycles are inputs, not only those of units with that fault. `attended`: as in `Engine`.
    `unit`: that unit alone, from its sensors and the lines as they arrive to its outputs and the lines it sends.
    Raises ValueError where two swaps share a part, LoopError where exchanged lines close a loop (with `swaps`: where
    they do in any order that has to serve all of them).
    """
    return _Lowering(
        scheme, faults, attended=attended, cycles=cycles, switched=switched, unit=unit, swaps=swaps, settings=settings
    ).program


def common_order(scheme: Scheme, faults: Iterable[Fault]) -> tuple[str, ...]:
    """An order of the rules that serves whichever of these exchanges of lines is there. Raises LoopError."""
    senders: dict[str, list[str]] = {name: list(line.rules) for name, line in scheme.lines.items()}
    own = {name: tuple(rules) for name, rules in senders.items()}
    read = {unit: set(scheme.reads(unit)) for unit in scheme.units}
    senders |= {_at(unit, name): list(own[name]) for unit in scheme.units for name in own}
    for fault in faults:
        for single in fault.single():
            if single.mode is Mode.SWAPPED and single.part is Part.LINE:
                for unit in scheme.units:
                    if read[unit].issuperset(single.parts):
                        for one, other in (single.parts, single.parts[::-1]):
                            senders[_at(unit, one)] += own[other]
    return in_order(scheme.rules, senders, _at)


def _at(unit: str, line: str) -> str:
    """A line as one unit reads it."""
    return f"{line} at {unit}"


class _Lowering:
    def __init__(
        self,
        scheme: Scheme,
        faults: Iterable[Fault],
        *,
        attended: bool,
        cycles: bool,
        switched: bool,
        unit: str,
        swaps: bool,
        settings: Mapping[tuple[str, Setting], int],
    ) -> None:
        self.scheme, self.attended, self.unit = scheme, attended, unit
        self.b = b = Builder()
        self.rules = [rule for rule in scheme.rules.values() if unit in ("", rule.unit)]
        self.outputs = [output for output in scheme.outputs.values() if unit in ("", output.unit)]
        self.units = [name for name in scheme.units if unit in ("", name)]
        self.presence = Presence(b, faults, switched=switched, swaps=swaps)
        self.longest = settings
        self.has = self.presence.has
        self.alive = {u: b.negate(b.any_of(self.has(Mode.DEAD, u), self.has(Mode.FROZEN, u))) for u in self.units}
        self.cycled = {u: self._cycled(u, cycles or u in self.presence.cycled) for u in self.units}

        # what the scan before left: on, closed and a sent line's truth are made where something looks at them
        self.was_on = {o.name: self._flag(SlotKind.ON, o.name) for o in self.outputs}
        self.was_closed = {
            o.name: self._flag(SlotKind.CLOSED, o.name, self._contact(o, b.false, self.presence.at_power_up))
            for o in self.outputs
        }
        self.values = sensors(b, self.presence, scheme.sensors)
        for name, reading in scheme.readings.items():
            self.values[name] = combined(b, reading, self.values, scheme.sensors)
        self.truth: dict[str, int] = {}  # of each line, sent ones as their rules are done
        for name, line in scheme.lines.items():
            if line.form is LineForm.CONFIRMS and not unit:
                self.truth[name] = self.was_closed[line.output]
            elif not self._sent_here(name):
                self.truth[name] = b.input(Input(InputKind.LINE, name))

        self.level: dict[str, int] = {}
        self.active: dict[str, int] = {}
        order = common_order(scheme, self.presence.exchanges) if swaps else scan_order(scheme, self.presence.installed)
        self.sent_after = self._senders(order)
        self.off = self._edge_memories()
        for name in order:
            if unit not in ("", scheme.rules[name].unit):
                continue
            self._rule(scheme.rules[name])
            for sent in self.sent_after.get(name, ()):
                self.truth[sent] = self._sent(sent)
        for (reader, button), memory in self.off.items():
            off = b.both(b.negate(self.cycled[reader]), b.negate(self._read(reader, button)))
            b.leave(memory, b.select(self.alive[reader], off, memory))

        self.overrides: dict[str, int] = {}
        self.in_force = {rule.name: self._in_force(rule) for rule in self.rules}
        self.blocked_by: dict[tuple[str, str], list[tuple[str, AnyOf]]] = {}  # (unit, path): rules, modes
        self.wanted_by: dict[tuple[str, str], list[str]] = {}
        for rule in self.rules:
            for target in rule.blocks:
                self.blocked_by.setdefault((rule.unit, target.path), []).append((rule.name, target.when))
            for path in rule.starts:
                self.wanted_by.setdefault((rule.unit, path), []).append(rule.name)
        self.on: dict[str, int] = {}
        self.energised: dict[str, int] = {}
        for output in self.outputs:
            self._drive(output)
        self.closed = {o.name: self._contact(o, self.energised[o.name], self.has) for o in self.outputs}
        for name in self.closed:
            b.leave(self.was_closed[name], self.closed[name])
            b.leave(self.was_on[name], self.on[name])
        self._observe()
        self.program = b.finish({rule.name: self._levels(rule) for rule in self.rules})

    def _flag(self, kind: SlotKind, name: str, initial: int | None = None, unit: str = "") -> int:
        value = self.b.nodes[self.b.false if initial is None else initial].value
        return self.b.slot(Slot(kind, name, True, 0, 1, value, unit=unit))

    def _cycled(self, unit: str, given: bool) -> int:
        """Whether the unit powers up at this scan: cycled, or no longer dead."""
        b, dead = self.b, self.has(Mode.DEAD, unit)
        cycle = b.input(Input(InputKind.CYCLE, unit)) if given else b.false
        if dead == b.false:
            return b.both(self.alive[unit], cycle)
        was_dead = self._flag(SlotKind.DEAD, unit)
        b.leave(was_dead, dead)
        return b.both(self.alive[unit], b.any_of(cycle, was_dead))

    # --- settings

    def _setting(self, rule: Rule, setting: Setting, usual: int) -> int | None:
        """The input of a setting; None where it stays as the scheme has it."""
        if (rule.name, setting) not in self.longest:
            return None
        limit = setting in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT)
        low, high = (-LARGEST, LARGEST) if limit else (0, max(usual, self.longest[rule.name, setting]))
        name = setting_name(rule.name, setting)
        return self.b.input(Input(InputKind.SETTING, name, low, high, usual=usual))

    def _levels(self, rule: Rule) -> Levels:
        """The coding of a rule's state: of delays that are inputs it has room for the longest."""
        trip, clear = rule.trips.delay.scans, rule.clears.delay.scans
        return Levels(
            max(trip, self.longest.get((rule.name, Setting.TRIP_DELAY), 0)),
            max(clear, self.longest.get((rule.name, Setting.CLEAR_DELAY), 0)),
            rule.manual,
        )

    # --- lines

    def _sent_here(self, name: str) -> bool:
        line = self.scheme.lines[name]
        return line.form.sent and self.unit in ("", line.unit)

    def _senders(self, order: Sequence[str]) -> dict[str, list[str]]:
        """The sent lines that are complete once a rule is done: those of which it is the last in the order."""
        place = {name: i for i, name in enumerate(order)}
        after: dict[str, list[str]] = {}
        for name, line in self.scheme.lines.items():
            if self._sent_here(name):
                after.setdefault(max(line.rules, key=place.__getitem__), []).append(name)
        return after

    def _sent(self, name: str) -> int:
        """What is on a sent line: undriven of a dead unit, as before of a frozen one."""
        b, line = self.b, self.scheme.lines[name]
        undriven = b.truth(line.undriven_reads)
        active = b.either(self.active[rule] for rule in line.rules)
        sent = active if line.form is LineForm.HIGH_WHEN else b.negate(active)
        frozen = self.has(Mode.FROZEN, line.unit)
        if frozen != b.false:
            before = self._flag(SlotKind.SENT, name, undriven)
            sent = b.select(frozen, before, sent)
        sent = b.select(self.has(Mode.DEAD, line.unit), undriven, sent)
        if frozen != b.false:
            b.leave(before, sent)
        return sent

    def _read(self, unit: str, name: str) -> int:
        """What a unit reads for a line: through the wire, exchanged, broken, shorted or inverted."""
        b = self.b
        level = self._on_wire(self.presence.installed.line_source(self.scheme, unit, name))
        for other, swapped in self.presence.exchanged(Part.LINE, name).items():
            if {name, other} <= set(self.scheme.reads(unit)):
                level = b.select(swapped, self._on_wire(other), level)
        return b.equal(level, b.negate(self.has(Mode.INVERTED, name)))

    def _on_wire(self, wire: str) -> int:
        b = self.b
        undriven = self.scheme.lines[wire].undriven_reads
        level = b.select(self.has(Mode.BROKEN, wire), b.truth(undriven), self.truth[wire])
        return b.select(self.has(Mode.SHORTED, wire), b.truth(not undriven), level)

    def _look(self, unit: str, signal: Signal, name: str) -> int:
        """What a unit sees of a two-valued signal; a path as it was itself commanded at the scan before."""
        match signal:
            case Signal.LINE:
                return self._read(unit, name)
            case Signal.PATH:
                return self.b.every(self.was_on[output] for output in self.scheme.drives(unit, name))
            case Signal.RULE:
                return self.active[name]
            case Signal.SENSOR | Signal.READING | Signal.QUANTITY:
                raise AssertionError(f"{signal} is no two-valued signal that a unit sees")

    def _condition(self, unit: str, condition: Condition) -> int:
        seen = self._look(unit, condition.signal, condition.name)
        return self.b.equal(seen, self.b.truth(condition.test is True))

    # --- rules

    def _edge_memories(self) -> dict[tuple[str, str], int]:
        """A slot for each unit and reset line: whether the unit saw the line off at the scan before."""
        pairs = dict.fromkeys((rule.unit, rule.reset_by) for rule in self.rules if rule.reset_by)
        return {(unit, line): self._flag(SlotKind.SEEN_OFF, line, unit=unit) for unit, line in pairs}

    def _reset_edge(self, rule: Rule) -> int:
        b = self.b
        if not rule.reset_by or not rule.manual:
            return b.false
        edge = b.both(self._read(rule.unit, rule.reset_by), self.off[rule.unit, rule.reset_by])
        if not self.attended:
            return edge
        cut = b.any_of(self.has(Mode.BROKEN, rule.reset_by), self.has(Mode.SHORTED, rule.reset_by))
        return b.any_of(b.negate(cut), edge)

    def _rule(self, rule: Rule) -> None:
        """Step a rule's machine."""
        b, levels = self.b, self._levels(rule)
        omitted = self.has(Mode.OMITTED, rule.name)
        if omitted == b.true:
            self.active[rule.name] = b.false
            return
        trips, clears, hold = self._conditions(rule)
        start = levels.powered_up(rule.power_up)
        level = b.slot(Slot(SlotKind.LEVEL, rule.name, False, 0, levels.top, start))
        starts = self._starts(rule, levels)
        moved = self._moved(level, levels, starts, (trips, clears), self._reset_edge(rule))
        moved = b.select(hold, level, moved)
        moved = b.select(self.cycled[rule.unit], self._powered_up(level, levels, starts, rule.power_up), moved)
        moved = b.select(b.both(self.alive[rule.unit], b.negate(omitted)), moved, level)
        b.leave(level, moved)
        self.level[rule.name] = moved
        self.active[rule.name] = b.both(b.at_least(moved, levels.awaiting), b.negate(omitted))

    def _conditions(self, rule: Rule) -> tuple[int, int, int]:
        """P, C, and whether the machine stands still."""
        b = self.b
        if rule.watches not in (Signal.SENSOR, Signal.READING):
            seen = self._look(rule.unit, rule.watches, rule.watched)
            trips, clears = (b.equal(seen, b.truth(t.test is True)) for t in (rule.trips, rule.clears))
            return trips, clears, b.false
        value = self.values[rule.watched]
        lost_trips = rule.on_invalid is OnInvalid.TRIP
        trips = b.select(value.valid, self._limit(rule, value, Setting.TRIP_LIMIT, rule.trips), b.truth(lost_trips))
        lets_go = self._limit(rule, value, Setting.CLEAR_LIMIT, rule.clears)
        clears = b.select(value.valid, lets_go, b.truth(not lost_trips))
        hold = b.negate(value.valid) if rule.on_invalid is OnInvalid.HOLD else b.false
        return trips, clears, hold

    def _limit(self, rule: Rule, value: Measured, setting: Setting, trigger: Trigger) -> int:
        assert isinstance(trigger.test, Limit), "a value is compared with a limit"
        return meets(self.b, value, trigger.test, self._setting(rule, setting, trigger.test.value))

    def _starts(self, rule: Rule, levels: Levels) -> tuple[int, int]:
        """The levels at which counting up begins, and counting down: the ends are the same whatever the delays are."""
        b = self.b
        first, last = b.constant(1), b.constant(levels.top - 1)
        trip = self._setting(rule, Setting.TRIP_DELAY, rule.trips.delay.scans)
        if trip is not None:
            waits = b.plus(b.scale(trip, -1), levels.trip_scans + 1)
            first = b.select(b.up_to(trip, 0), b.constant(levels.top), waits)
        clear = self._setting(rule, Setting.CLEAR_DELAY, rule.clears.delay.scans)
        if clear is not None:
            last = b.plus(clear, levels.awaiting)
        return first, last

    def _moved(
        self, level: int, levels: Levels, starts: tuple[int, int], conditions: tuple[int, int], edge: int
    ) -> int:
        """The machine's table of transitions on levels: up with P, down with C, else back to the end of its half."""
        b = self.b
        clear, awaiting, top = b.constant(0), b.constant(levels.awaiting), b.constant(levels.top)
        (first, last), (trips, clears) = starts, conditions
        rising = b.select(b.up_to(level, levels.trip_scans - 1), b.plus(level, 1), top)
        if first != b.constant(1):
            rising = b.select(b.equal(level, clear), first, rising)
        falling, over = b.plus(level, -1), b.up_to(level, levels.awaiting + 1)
        if last != b.constant(levels.top - 1):
            falling = b.select(b.equal(level, top), last, falling)
            over = b.up_to(falling, levels.awaiting)
        if levels.manual:
            falling = b.select(b.equal(level, awaiting), b.select(edge, clear, awaiting), falling)
        else:
            falling = b.select(over, clear, falling)
        return b.select(
            b.up_to(level, levels.trip_scans), b.select(trips, rising, clear), b.select(clears, falling, top)
        )

    def _powered_up(self, level: int, levels: Levels, starts: tuple[int, int], power_up: PowerUp) -> int:
        """The level after a power cycle; as left: a running timer starts again."""
        b = self.b
        match power_up:
            case PowerUp.TRIPPED:
                return b.constant(levels.top)
            case PowerUp.CLEAR:
                return b.constant(0)
            case PowerUp.AS_LEFT:
                first, last = starts
                inactive = b.smaller(level, first) if levels.trip_scans else b.constant(0)
                dropping = b.both(b.at_least(level, levels.awaiting + 1), b.up_to(level, levels.top - 1))
                if not levels.clear_scans:
                    dropping = b.false
                active = b.select(dropping, last, level)
                return b.select(b.up_to(level, levels.trip_scans), inactive, active)

    # --- effects

    def _override(self, rule: Rule) -> int:
        """Whether the rule's effects are suspended; its slot is coded as SlotKind.OVERRIDE says."""
        b = self.b
        longest = rule.override_at_most.scans if rule.override_at_most else None
        setting = None if longest is None else self._setting(rule, Setting.OVERRIDE, longest)
        if longest is not None:
            longest = max(longest, self.longest.get((rule.name, Setting.OVERRIDE), 0))
        over = 2 if longest is None else longest + 2  # counting stops here
        before = b.slot(Slot(SlotKind.OVERRIDE, rule.name, False, 0, over, 0))
        first, ready = b.constant(0), b.constant(1)
        longer = b.select(b.equal(before, first), first, b.smaller(b.plus(before, 1), b.constant(over)))
        if setting is not None:  # the end is the same whatever the longest is
            begins = b.plus(b.scale(setting, -1), over)
            longer = b.select(b.equal(before, ready), begins, longer)
        count = b.select(self._read(rule.unit, rule.overridden_by), longer, ready)
        count = b.select(self.cycled[rule.unit], first, count)
        still = b.negate(b.both(self.alive[rule.unit], b.negate(self.has(Mode.OMITTED, rule.name))))
        count = b.select(still, before, count)
        b.leave(before, count)
        self.overrides[rule.name] = count
        return b.both(b.at_least(count, 2), b.up_to(count, over if longest is None else longest + 1))

    def _in_force(self, rule: Rule) -> int:
        b = self.b
        overridden = self._override(rule) if rule.overridden_by else b.false
        conditions = [self._condition(rule.unit, c) for c in rule.only_while]
        return b.both(self.active[rule.name], b.negate(overridden), *conditions)

    def _modes_hold(self, unit: str, when: AnyOf) -> int:
        b = self.b
        if not when:
            return b.true
        return b.either(b.every(self._condition(unit, c) for c in alternative) for alternative in when)

    # --- outputs

    def _drive(self, output: Output) -> None:
        b, unit = self.b, output.unit
        blocked = b.either(
            b.both(self.in_force[rule], self._modes_hold(unit, when))
            for path in output.drives
            for rule, when in self.blocked_by.get((unit, path), ())
        )
        wanted = b.either(
            b.either(self.in_force[rule] for rule in self.wanted_by.get((unit, path), ()))
            if self.scheme.paths[path].started_by == unit
            else b.true
            for path in output.drives
        )
        dead, frozen = self.has(Mode.DEAD, unit), self.has(Mode.FROZEN, unit)

        def kept(fresh: int, before: int) -> int:
            return b.select(dead, b.false, b.select(frozen, before, fresh))

        wish = b.both(wanted, b.negate(blocked))
        self.on[output.name] = self.energised[output.name] = kept(wish, self.was_on[output.name])
        if output.energised_when is EnergisedWhen.STOPS:
            before = self._flag(SlotKind.ENERGISED, output.name)
            self.energised[output.name] = kept(b.negate(wish), before)
            b.leave(before, self.energised[output.name])

    def _contact(self, output: Output, energised: int, has: Callable[[Mode, str], int]) -> int:
        """Whether the contact is really closed (a driven output: high)."""
        b, turned = self.b, has(Mode.WRONG_CONTACT, output.name)
        closed_when_energised = turned if output.contact is Contact.NORMALLY_CLOSED else b.negate(turned)
        return b.any_of(has(Mode.WELDED, output.name), b.equal(energised, closed_when_energised))

    def _told_to_run(self, output: Output, owner: str, closed: int, has: Callable[[Mode, str], int]) -> int:
        """Whether a device is told to run by the contact of `owner` at the other end of its wire."""
        b = self.b
        made = b.both(closed, b.negate(has(Mode.WIRE_BROKEN, owner)))
        return b.equal(made, b.truth(output.runs_when.when_made))

    def _may(self, output: Output) -> tuple[int, int]:
        """Whether a device, if it heeds its input, may run and may be stopped."""
        b = self.b
        owner = self.scheme.outputs[self.presence.installed.source(Part.OUTPUT, output.name)]
        told = self._told_to_run(output, owner.name, self.closed[owner.name], self.has)
        for other, swapped in self.presence.exchanged(Part.OUTPUT, output.name).items():
            told = b.select(swapped, self._told_to_run(output, other, self.closed[other], self.has), told)
        power_up = self.presence.at_power_up
        at_first = self._told_to_run(output, owner.name, self._contact(owner, b.false, power_up), power_up)
        run = self._within(SlotKind.SINCE_RUN, output.name, told, at_first, output.stops_within.scans)
        stop = self._within(
            SlotKind.SINCE_STOP, output.name, b.negate(told), b.negate(at_first), output.starts_within.scans
        )
        ignored = self.has(Mode.IGNORED, output.name)
        return b.any_of(ignored, run), b.both(b.negate(ignored), stop)

    def _within(self, kind: SlotKind, name: str, told: int, at_first: int, scans: int) -> int:
        """Whether `told` is true now or was at most `scans` scans ago."""
        b = self.b
        if not scans:
            return told
        over = b.constant(scans + 1)
        first = 0 if at_first == b.true else scans + 1
        before = b.slot(Slot(kind, name, False, 0, scans + 1, first))
        since = b.select(told, b.constant(0), b.smaller(b.plus(before, 1), over))
        b.leave(before, since)
        return b.up_to(since, scans)

    def _running(self) -> dict[str, tuple[int, int]]:
        """May run and may be stopped, for each path; what a path is behind is judged first."""
        b, scheme = self.b, self.scheme
        outputs = {output.name: self._may(output) for output in self.outputs}
        judged: dict[str, tuple[int, int]] = {}
        for start in scheme.paths:
            chain = [start]
            while chain[-1] not in judged and scheme.paths[chain[-1]].behind:
                chain.append(scheme.paths[chain[-1]].behind)
            for name in reversed(chain):
                if name in judged:
                    continue
                path = scheme.paths[name]
                ahead = judged[path.behind] if path.behind else (b.true, b.false)
                run = b.both(*(outputs[o][0] for o in path.outputs), ahead[0])
                stop = b.any_of(*(outputs[o][1] for o in path.outputs), ahead[1])
                bypassed = self.has(Mode.BYPASSED, name)
                judged[name] = b.any_of(bypassed, run), b.both(b.negate(bypassed), stop)
        return judged

    # --- what is told

    def _observe(self) -> None:
        b, scheme = self.b, self.scheme
        for name, value in self.values.items():
            b.observe(Observe.VALID, name, value.valid)
            b.observe(Observe.NUMERATOR, name, value.numerator)
            b.observe(Observe.DENOMINATOR, name, value.denominator)
        for rule in self.rules:
            if rule.name in self.level:
                b.observe(Observe.LEVEL, rule.name, self.level[rule.name])
            if rule.name in self.overrides:
                b.observe(Observe.OVERRIDE, rule.name, self.overrides[rule.name])
            b.observe(Observe.IN_FORCE, rule.name, self.in_force[rule.name])
            if rule.alarm:
                b.observe(Observe.ALARM, rule.name, b.both(self.in_force[rule.name], self.alive[rule.unit]))
        for name in scheme.lines:
            if not self.unit or self._sent_here(name):
                b.observe(Observe.LINE, name, self.truth[name])
        for output in self.outputs:
            b.observe(Observe.ON, output.name, self.on[output.name])
            b.observe(Observe.ENERGISED, output.name, self.energised[output.name])
            if not self.unit:
                b.observe(Observe.CLOSED, output.name, self.closed[output.name])
        if not self.unit:
            for name, (run, stop) in self._running().items():
                b.observe(Observe.MAY_RUN, name, run)
                b.observe(Observe.MAY_STOP, name, stop)
