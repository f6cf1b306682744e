"""One claim under one fault set as a Promela proctype, written from the meaning of a scheme.

The process loops: it chooses what the world does at a scan (truths and readings, lines, faults that arise, power
cycles), then decides the scan in one `d_step`, in the order of the reference. Only what can reach the claim is written:
the text grows from the claim's path backwards.

Promela: G. J. Holzmann, The SPIN Model Checker, Addison-Wesley 2004.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

from interlock.scheme.model import AnyOf, Claim, Condition, Fault, Limit, Output, Rule, Scheme
from interlock.scheme.words import (
    Contact,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    PowerUp,
    Signal,
)
from interlock.scheme.words import Part as Kind
from tests.support.spin_cells import CLEARS, INVALID, TRIPS, NotEncoded, Truth, Watch
from tests.support.spin_inputs import Case, Present, cases_of, parts_of

YES, NO = "1", "0"
CLEAR, PICKING_UP, TRIPPED, DROPPING_OFF, AWAITING_RESET = range(5)


def not_(a: str) -> str:
    """The opposite of an expression."""
    return {YES: NO, NO: YES}.get(a) or (a[1:] if a.startswith("!") else f"!{a}")


def all_(parts: Sequence[str]) -> str:
    """All of some expressions."""
    kept = [p for p in dict.fromkeys(parts) if p != YES]
    return NO if NO in kept else YES if not kept else kept[0] if len(kept) == 1 else f"({' && '.join(kept)})"


def any_(parts: Sequence[str]) -> str:
    """Any of some expressions."""
    kept = [p for p in dict.fromkeys(parts) if p != NO]
    return YES if YES in kept else NO if not kept else kept[0] if len(kept) == 1 else f"({' || '.join(kept)})"


def is_(a: str, wanted: bool) -> str:
    """An expression, or its opposite."""
    return a if wanted else not_(a)


def choice(condition: str, yes: str, no: str) -> str:
    """One expression or another."""
    return yes if condition == YES or yes == no else no if condition == NO else f"({condition} -> {yes} : {no})"


class Process:
    """The text of one proctype, and what it asks of the world."""

    def __init__(self, scheme: Scheme, claim: Claim, faults: Sequence[Fault], number: int) -> None:
        self.scheme, self.claim, self.present, self.number = scheme, claim, Present(faults), number
        self.kept: dict[str, tuple[str, int]] = {}  # what a scan leaves to the next: type, value before scan 0
        self.passing: dict[str, str] = {}  # what is forgotten at a scan's end: type
        self.looks: list[Watch | Truth] = []
        self.chosen: list[str] = []  # statements before the scan
        self.rules: list[str] = []
        self.after_rules: list[str] = []
        self.outputs: list[str] = []
        self.devices: list[str] = []
        self.memories: list[str] = []
        self.waiting: list[Callable[[], None]] = []  # memories whose new values are still to be written
        self.done: dict[tuple[str, ...], str] = {}
        self.numbers: dict[tuple[str, str], int] = {}

    # --- names

    def name(self, letter: str, *what: str) -> str:
        """A short variable name for a part."""
        key = (letter, "/".join(what))
        mine = sum(1 for kind, _ in self.numbers if kind == letter)
        return f"{letter}{self.numbers.setdefault(key, mine)}"

    def keep(self, name: str, most: int, start: int) -> str:
        """A variable that lives from scan to scan."""
        self.kept[name] = ("bit" if most == 1 else "byte" if most < 256 else "short" if most < 32768 else "int", start)
        return name

    def passes(self, name: str, kind: str = "bit") -> str:
        """A variable that is cleared at each scan's end."""
        self.passing[name] = kind
        return name

    # --- faults

    def has(self, mode: Mode, part: str) -> str:
        """Whether a part is in a mode at this scan."""
        if self.present.standing(mode, part):
            return YES
        return any_([self.flag(i) for i in self.present.arising(mode, part)])

    def flag(self, entry: int) -> str:
        """Whether an entry of the fault set has arisen."""
        name = f"f{entry}"
        if name not in self.kept:
            self.keep(name, 1, 0)
            self.chosen.insert(0, f"if :: !{name} -> if :: {name} = 1 :: skip fi :: else fi")
        return name

    def alive(self, unit: str) -> str:
        return not_(any_([self.has(Mode.DEAD, unit), self.has(Mode.FROZEN, unit)]))

    def cycled(self, unit: str) -> str:
        """Whether a unit is power-cycled at this scan."""
        if unit not in self.present.cycled:
            return NO
        name = self.name("y", unit)
        if name not in self.passing:
            self.passes(name)
            alive = self.alive(unit)
            may = f"if :: {name} = 1 :: skip fi"
            self.chosen.append(may if alive == YES else f"if :: {alive} -> {may} :: else fi")
        return name

    # --- lines

    def line(self, name: str) -> str:
        """What is really on a line."""
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                variable = self.name("x", name)
                if variable not in self.passing:
                    self.passes(variable)
                    self.chosen.append(f"if :: {variable} = 1 :: skip fi")
                return variable
            case LineForm.CONFIRMS:
                return self.closed_before(line.output)
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                return self.sent(name)

    def sent(self, name: str) -> str:
        line = self.scheme.lines[name]
        if ("sent", name) not in self.done:
            self.done["sent", name] = ""  # as for a rule
            variable = self.passes(self.name("z", name))
            active = any_([self.active(rule) for rule in line.rules])
            level = is_(active, line.form is LineForm.HIGH_WHEN)
            undriven = YES if line.undriven_reads else NO
            frozen = self.has(Mode.FROZEN, line.unit)
            if frozen != NO:
                before = self.keep(self.name("s", name), 1, int(line.undriven_reads))
                level = choice(frozen, before, level)
                self.memories.append(f"{before} = {variable}")
            level = choice(self.has(Mode.DEAD, line.unit), undriven, level)
            self.rules.append(f"{variable} = {level}")
            self.done["sent", name] = variable
        if not self.done["sent", name]:
            raise NotEncoded("a loop of rules within one scan")
        return self.done["sent", name]

    def read(self, unit: str, name: str) -> str:
        """What a unit reads for a line: its own wire or the one it was exchanged with."""
        other = self.present.partner.get((Kind.LINE, name), name)
        wire = other if self.looks_at(unit, name) and self.looks_at(unit, other) else name
        undriven = YES if self.scheme.lines[wire].undriven_reads else NO
        level = choice(self.has(Mode.BROKEN, wire), undriven, self.line(wire))
        level = choice(self.has(Mode.SHORTED, wire), not_(undriven), level)
        return is_(level, self.has(Mode.INVERTED, name) == NO)

    def looks_at(self, unit: str, name: str) -> bool:
        """Whether a rule of the unit looks at the line at all: an exchange holds in units that read both."""
        for rule in self.scheme.rules.values():
            if rule.unit != unit:
                continue
            modes = [c for target in rule.blocks for alternative in target.when for c in alternative]
            conditions = [c.name for c in (*rule.only_while, *modes) if c.signal is Signal.LINE]
            watched = [rule.watched] if rule.watches is Signal.LINE else []
            if name in (*watched, rule.reset_by, rule.overridden_by, *conditions):
                return True
        return False

    def sees(self, unit: str, signal: Signal, name: str) -> str:
        """A two-valued signal as a unit sees it."""
        match signal:
            case Signal.LINE:
                return self.read(unit, name)
            case Signal.PATH:
                own = [o for o in self.scheme.paths[name].outputs if self.scheme.outputs[o].unit == unit]
                return all_([self.on_before(o) for o in own])
            case Signal.RULE:
                return self.active(name)
            case Signal.QUANTITY | Signal.SENSOR | Signal.READING:
                raise AssertionError(f"{name} is not two-valued")

    def condition(self, unit: str, condition: Condition) -> str:
        assert isinstance(condition.test, bool)
        return is_(self.sees(unit, condition.signal, condition.name), condition.test)

    # --- rules

    def active(self, name: str) -> str:
        """Whether a rule is active at this scan."""
        if self.present.standing(Mode.OMITTED, name):
            return NO
        if ("rule", name) not in self.done:
            self.done["rule", name] = ""  # while its text is being written, it must not be asked for
            self.machine(self.scheme.rules[name])
            self.done["rule", name] = f"({self.name('m', name)} >= {TRIPPED})"
        if not self.done["rule", name]:
            raise NotEncoded("a loop of rules within one scan")
        return self.done["rule", name]

    def machine(self, rule: Rule) -> None:
        """The five states. The timer counts the scans since the one that started it."""
        start = CLEAR if rule.power_up is PowerUp.CLEAR else TRIPPED
        pick, drop = rule.trips.delay.scans, rule.clears.delay.scans
        m = self.keep(self.name("m", rule.name), AWAITING_RESET, start)
        t = self.keep(self.name("t", rule.name), max(pick, drop, 1) + 1, 0)
        trips, clears, holds = self.seen(rule)
        edge = self.reset_edge(rule)
        done = AWAITING_RESET if rule.manual else CLEAR
        first_up = f"{m} = {TRIPPED}" if pick == 0 else f"{m} = {PICKING_UP}; {t} = 0"
        first_down = f"{m} = {done}" if drop == 0 else f"{m} = {DROPPING_OFF}; {t} = 0"
        moves = (
            f"if"
            f" :: {m} == {CLEAR} -> if :: {trips} -> {first_up} :: else fi"
            f" :: {m} == {PICKING_UP} -> if :: {not_(trips)} -> {m} = {CLEAR}; {t} = 0"
            f" :: {all_([trips, f'{t} + 1 >= {pick}'])} -> {m} = {TRIPPED}; {t} = 0 :: else -> {t} = {t} + 1 fi"
            f" :: {m} == {TRIPPED} -> if :: {clears} -> {first_down} :: else fi"
            f" :: {m} == {DROPPING_OFF} -> if :: {not_(clears)} -> {m} = {TRIPPED}; {t} = 0"
            f" :: {all_([clears, f'{t} + 1 >= {drop}'])} -> {m} = {done}; {t} = 0 :: else -> {t} = {t} + 1 fi"
            f" :: {m} == {AWAITING_RESET} -> if :: {not_(clears)} -> {m} = {TRIPPED}"
            f" :: {all_([clears, edge])} -> {m} = {CLEAR} :: else fi"
            f" fi"
        )
        if holds != NO:
            moves = f"if :: {holds} -> skip :: else -> {moves} fi"
        if (cycled := self.cycled(rule.unit)) != NO:
            back = f"{t} = 0" if rule.power_up is PowerUp.AS_LEFT else f"{m} = {start}; {t} = 0"
            moves = f"if :: {cycled} -> {back} :: else -> {moves} fi"
        if (alive := self.alive(rule.unit)) != YES:
            moves = f"if :: {alive} -> {moves} :: else fi"
        self.rules.append(moves)

    def seen(self, rule: Rule) -> tuple[str, str, str]:
        """P, C, and whether the machine is held."""
        if not rule.watches.numeric:
            value = self.sees(rule.unit, rule.watches, rule.watched)
            assert isinstance(rule.trips.test, bool)
            assert isinstance(rule.clears.test, bool)
            return is_(value, rule.trips.test), is_(value, rule.clears.test), NO
        assert isinstance(rule.trips.test, Limit)
        assert isinstance(rule.clears.test, Limit)
        look = Watch(rule.name, rule.watched, rule.trips.test, rule.clears.test)
        self.looks.append(look)
        o = self.passes(self.variable(look), "byte")
        invalid = f"({o} == {INVALID})"
        trips = any_([f"({o} == {TRIPS})", invalid if rule.on_invalid is OnInvalid.TRIP else NO])
        clears = any_([f"({o} == {CLEARS})", invalid if rule.on_invalid is OnInvalid.CLEAR else NO])
        return trips, clears, invalid if rule.on_invalid is OnInvalid.HOLD else NO

    def reset_edge(self, rule: Rule) -> str:
        """Whether the rule's reset line has a rising edge at this scan, or is taken to have one."""
        if not rule.manual or not rule.reset_by:
            return NO
        given = NO
        if self.claim.must is Must.NEVER_STOPPED:
            if not self.claim.attended:
                return NO
            cut = [self.has(mode, rule.reset_by) for mode in (Mode.BROKEN, Mode.SHORTED)]
            given = not_(any_(cut))
            if given == YES:
                return YES
        level = self.read(rule.unit, rule.reset_by)
        before = self.name("w", rule.unit, rule.reset_by)
        if before not in self.kept:
            self.keep(before, 1, 0)  # 1: seen off at the scan before
            off = all_([not_(level), not_(self.cycled(rule.unit))])
            self.after_rules.append(f"{before} = {choice(self.alive(rule.unit), off, before)}")
        return any_([given, all_([level, before])])

    def overridden(self, rule: Rule) -> str:
        """Whether the effects are suspended. 0: first to be seen off; 1: seen off; then the scans it has been on."""
        if not rule.overridden_by:
            return NO
        v = self.name("v", rule.name)
        limit = rule.override_at_most.scans if rule.override_at_most else None
        most = 2 if limit is None else limit + 2
        if v not in self.kept:
            self.keep(v, most, 0)
            level = self.read(rule.unit, rule.overridden_by)
            one_more = f"if :: {v} > 0 && {v} < {most} -> {v} = {v} + 1 :: else fi"
            moves = f"if :: {not_(level)} -> {v} = 1 :: else -> {one_more} fi"
            if (cycled := self.cycled(rule.unit)) != NO:
                moves = f"if :: {cycled} -> {v} = 0 :: else -> {moves} fi"
            if (alive := self.alive(rule.unit)) != YES:
                moves = f"if :: {alive} -> {moves} :: else fi"
            self.after_rules.append(moves)
        return f"({v} == 2)" if limit is None else f"({v} >= 2 && {v} <= {limit + 1})"

    def in_force(self, rule: Rule) -> str:
        if self.present.standing(Mode.OMITTED, rule.name):
            return NO
        conditions = [self.condition(rule.unit, c) for c in rule.only_while]
        return all_([self.active(rule.name), *conditions, not_(self.overridden(rule))])

    # --- outputs

    def permitted(self, output: Output) -> str:
        """Whether the unit's rules let the output be on at this scan; a name that holds it."""
        key = ("permitted", output.name)
        if key not in self.done:
            name = self.done[key] = self.passes(self.name("n", output.name))
            own = [r for r in self.scheme.rules.values() if r.unit == output.unit]
            blocked, wanted = [], []
            for rule in own:
                modes = [self.any_of(rule.unit, t.when) for t in rule.blocks if t.path in output.drives]
                if modes:
                    blocked.append(all_([self.in_force(rule), any_(modes)]))
                if set(rule.starts) & set(output.drives):
                    wanted.append(self.in_force(rule))
            always = any(self.scheme.paths[p].started_by != output.unit for p in output.drives)
            self.outputs.append(f"{name} = {all_([any_([YES] if always else wanted), not_(any_(blocked))])}")
        return self.done[key]

    def any_of(self, unit: str, when: AnyOf) -> str:
        return any_([all_([self.condition(unit, c) for c in alternative]) for alternative in when]) if when else YES

    def on_before(self, output: str) -> str:
        """Whether an output was on at the scan before."""
        name = self.name("p", output)
        if name not in self.kept:
            self.keep(name, 1, 0)
            part = self.scheme.outputs[output]

            def update() -> None:
                on = choice(self.has(Mode.FROZEN, part.unit), name, self.permitted(part))
                self.memories.append(f"{name} = {choice(self.has(Mode.DEAD, part.unit), NO, on)}")

            self.waiting.append(update)
        return name

    def energised(self, output: Output) -> str:
        key = ("energised", output.name)
        if key not in self.done:
            name = self.done[key] = self.passes(self.name("e", output.name))
            now = is_(self.permitted(output), output.energised_when is EnergisedWhen.RUNS)
            frozen = self.has(Mode.FROZEN, output.unit)
            if frozen != NO:
                before = self.keep(self.name("u", output.name), 1, 0)
                now = choice(frozen, before, now)
                self.memories.append(f"{before} = {name}")
            self.devices.append(f"{name} = {choice(self.has(Mode.DEAD, output.unit), NO, now)}")
        return self.done[key]

    def closed(self, output: Output) -> str:
        """Whether the contact is closed (a driven output: high) at this scan."""
        turned = (output.contact is Contact.NORMALLY_CLOSED) ^ self.present.standing(Mode.WRONG_CONTACT, output.name)
        return any_([self.has(Mode.WELDED, output.name), is_(self.energised(output), not turned)])

    def closed_before(self, output: str) -> str:
        name = self.name("c", output)
        if name not in self.kept:
            self.keep(name, 1, int(self.closed_at_rest(output)))
            self.waiting.append(lambda: self.memories.append(f"{name} = {self.closed(self.scheme.outputs[output])}"))
        return name

    def closed_at_rest(self, output: str) -> bool:
        """Whether the contact is closed before scan 0: released, with the mistakes of installation."""
        turned = self.present.standing(Mode.WRONG_CONTACT, output)
        return (self.scheme.outputs[output].contact is Contact.NORMALLY_CLOSED) ^ turned

    # --- devices and paths

    def device(self, output: Output) -> tuple[str, str]:
        """Whether a device may run and may be stopped, by what its own input sees."""
        feeder = self.scheme.outputs[self.present.partner.get((Kind.OUTPUT, output.name), output.name)]
        key = ("device", output.name)
        if key not in self.done:
            made = all_([self.closed(feeder), not_(self.has(Mode.WIRE_BROKEN, feeder.name))])
            told = is_(made, output.runs_when.when_made)
            at_rest = self.closed_at_rest(feeder.name) is output.runs_when.when_made
            self.done[key] = name = self.passes(self.name("d", output.name))
            self.devices.append(f"{name} = {told}")
            self.count_since(self.name("r", output.name), told, at_rest, output.stops_within.scans)
            self.count_since(self.name("h", output.name), not_(told), not at_rest, output.starts_within.scans)
        told, heeds = self.done[key], not_(self.has(Mode.IGNORED, output.name))
        run, stop = told, not_(told)
        if wait := output.stops_within.scans:
            run = f"({self.name('r', output.name)} <= {wait})"
        if wait := output.starts_within.scans:
            stop = f"({self.name('h', output.name)} <= {wait})"
        return any_([not_(heeds), run]), all_([heeds, stop])

    def count_since(self, since: str, level: str, at_rest: bool, wait: int) -> None:
        """Count the scans since something was so, up to one more than `wait`; nothing to count where that is 0."""
        if wait:
            self.keep(since, wait + 1, 0 if at_rest else wait + 1)
            self.devices.append(f"{since} = ({level} -> 0 : ({since} <= {wait} -> {since} + 1 : {since}))")

    def path(self, name: str) -> tuple[str, str]:
        """Whether a path may be running and may be stopped."""
        path = self.scheme.paths[name]
        devices = [self.device(self.scheme.outputs[o]) for o in path.outputs]
        behind = [self.path(path.behind)] if path.behind else []
        run = all_([may_run for may_run, _ in (*devices, *behind)])
        stop = any_([may_stop for _, may_stop in (*devices, *behind)])
        bypassed = self.has(Mode.BYPASSED, name)
        return any_([bypassed, run]), all_([not_(bypassed), stop])

    # --- the claim

    def claimed(self, condition: Condition) -> str:
        """A condition of the claim, by what is really so."""
        if isinstance(condition.test, Limit):
            look = Truth(condition.name, condition.test)
            if look not in self.looks:
                self.looks.append(look)
            return self.passes(self.variable(look))
        if condition.signal is Signal.PATH:
            run, stop = self.path(condition.name)
            return run if condition.test else stop
        return is_(self.line(condition.name), condition.test)

    @cached_property
    def scan(self) -> list[str]:
        """The statements of one scan, once its inputs are chosen."""
        claim = self.claim
        conditions = [self.claimed(c) for c in claim.conditions]
        if claim.any_of:
            conditions.append(any_([all_([self.claimed(c) for c in one]) for one in claim.any_of]))
        run, stop = self.path(claim.path)
        may = run if claim.must is Must.NEVER_RUNNING else stop
        while self.waiting:
            self.waiting.pop(0)()
        asked = [f"{self.passes('met')} = {all_(conditions)}", f"{self.passes('may')} = {may}"]
        return [*self.rules, *self.after_rules, *self.outputs, *self.devices, *asked, *self.memories]

    def text(self) -> str:
        """The proctype: any inputs, and the runs of bad scans."""
        me, scan = f"job{self.number}", self.scan
        observed, ages = self.observed()  # it may ask for more of what is chosen
        inputs, scan = [*self.chosen, *observed], [*scan, *ages]
        return "\n".join(
            [
                f"proctype {me}(byte endless) {{",
                *self.declarations(),
                "  short count; bit bad, committed;",
                "more: atomic {",
                *(f"    {statement};" for statement in inputs),
                "    d_step {",
                *(f"      {statement};" for statement in scan),
                "      bad = met && may;",
                f"      c_code {{ note(P{me}->met, P{me}->may); }};",
                *self.forget(),
                "      if :: endless -> skip",
                f"      :: else -> count = (bad -> count + 1 : 0); bad = 0; c_code {{ longest(P{me}->count); }}",
                "      fi",
                "    }",
                "  };",
                "  if",
                "  :: !endless -> goto more",
                "  :: endless && !committed -> atomic { bad = 0; if :: committed = 1 :: skip fi }; goto more",
                "  :: endless && committed && bad ->",
                "accept: bad = 0; goto more",
                "  fi",
                "}",
            ]
        )

    def scripted(self, scans: Sequence[Sequence[str]], shown: Sequence[str]) -> str:
        """The proctype with given inputs, scan by scan (statements); it prints some variables after each."""
        me, scan = f"job{self.number}", self.scan
        steps = [f"      :: at == {i} -> {'; '.join(inputs) or 'skip'}" for i, inputs in enumerate(scans)]
        values = ", ".join(f"P{me}->{name}" for name in shown)
        return "\n".join(
            [
                f"proctype {me}(byte endless) {{",
                *self.declarations(),
                "  short at;",
                f"  do :: at >= {len(scans)} -> break :: else -> d_step {{",
                "      if",
                *steps,
                "      fi;",
                *(f"      {statement};" for statement in scan),
                f'      c_code {{ printf("AT{" %d" * (len(shown) + 1)}\\n", P{me}->at, {values}); }};',
                *self.forget(),
                "      at = at + 1",
                "    }",
                "  od",
                "}",
            ]
        )

    def declarations(self) -> list[str]:
        """The variables."""
        kept = [f"  {kind} {name} = {start};" for name, (kind, start) in self.kept.items()]
        return kept + [f"  {kind} {name};" for name, kind in self.passing.items()]

    def forget(self) -> list[str]:
        """What does not live from scan to scan is cleared, so that it tells no states apart."""
        return [f"      {name} = 0;" for name in self.passing]

    # --- what is observed

    def variable(self, look: Watch | Truth) -> str:
        """What a look gives at this scan."""
        if isinstance(look, Watch):
            return self.name("o", look.rule)
        return self.name("q", look.quantity, repr(look.limit))

    def observed(self) -> tuple[list[str], list[str]]:
        """The choices of each part, and what becomes of the ages of stuck readings."""
        statements, ages = [], []
        for part in parts_of(self.scheme, self.present, self.looks):
            variables = [self.variable(look) for look in part.looks]
            cases = cases_of(part, self.present)
            flags = sorted({i for case in cases for i in case.arisen})
            for sensor in sorted({case.sticking for case in cases} - {""}):
                classes = max(case.held or 0 for case in cases if case.sticking == sensor)
                self.keep(self.name("k", sensor), max(classes, 2), 0)
                if stale := self.scheme.sensors[sensor].stale_after:
                    self.keep(self.name("g", sensor), stale.scans, 0)
                    age, stuck = self.name("g", sensor), self.has(Mode.STUCK, sensor)
                    ages.append(f"{age} = ({stuck} && {age} < {stale.scans} -> {age} + 1 : {age})")
            options = [self.case_text(case, flags, variables) for case in cases]
            statements.append(options[0].split(" -> ", 1)[1] if len(options) == 1 else f"if {' '.join(options)} fi")
        return statements, ages

    def case_text(self, case: Case, flags: Sequence[int], variables: Sequence[str]) -> str:
        guard = [is_(self.flag(i), i in case.arisen) for i in flags]
        k = g = ""
        if case.sticking:
            k, stale = self.name("k", case.sticking), self.scheme.sensors[case.sticking].stale_after
            if stale:
                g = self.name("g", case.sticking)
                guard.append(f"{g} >= {stale.scans}" if case.held is None else f"{g} < {stale.scans}")
            if case.held is not None:
                guard.append(f"{k} == {case.held}")
        options = []
        for one in case.choices:
            sets = [f"{name} = {value}" for name, value in zip(variables, one.seen, strict=True) if value]
            if one.sticks:
                sets.append(f"{k} = {one.sticks}")
            if case.held is None:
                sets.append(f"{k} = 0")
            options.append(f":: {f'd_step {{ {chr(59).join(sets)} }}' if sets else 'skip'}")
        return f":: {all_(guard)} -> if {' '.join(options)} fi"
