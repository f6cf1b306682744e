"""One scan of a claim's cone as expressions and state-bearing components, for one set of faults present.

Built backwards from the bad scan on demand, so only what can matter is there. A rule outside the abstraction is left
*free*: whether it is active or in force is an input of each scan. That only adds behaviours.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from interlock.logic.faultset import FaultSet
from interlock.proof.components import (
    ACT,
    CLEAR,
    TRIPPED,
    Abstraction,
    FreeUse,
    Kind,
    Layout,
    Settled,
    SlotKey,
    Statement,
    Use,
)
from interlock.proof.expr import FALSE, TRUE, Expr, conj, constant, disj, neg, same, var
from interlock.proof.goal import Goal, Heard, Moves, Resets
from interlock.proof.index import Index
from interlock.proof.signed import Signed
from interlock.records import replace
from interlock.scheme.model import AnyOf, Condition, Line, Rule
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Mode, Part, PowerUp, Reset, Signal


class Circuit(Signed):
    """The cone of `goal` under `faults`. Raises LoopError where exchanged lines close a loop."""

    def __init__(
        self,
        index: Index,
        goal: Goal,
        abstraction: Abstraction,
        layout: Layout,
        faults: FaultSet,
        *,
        installed: FaultSet,
        may_freeze: frozenset[str] = frozenset(),
        cycles: frozenset[str] = frozenset(),
        complete: bool = True,
    ) -> None:
        """`complete`: all faults of the set have arisen."""
        self.index, self.scheme = index, index.scheme
        self.goal, self.abstraction, self.layout = goal, abstraction, layout
        self.faults, self.installed = faults, installed
        self.may_freeze, self.cycles = may_freeze, cycles
        self.statements: list[Statement] = []
        self.nexts: dict[int, Expr] = {}  # latches and what they pass on
        self.slots: dict[SlotKey, str] = {}  # integer inputs: rule codes, truth conditions
        self.bools: dict[tuple[str, ...], str] = {}  # boolean inputs by what they are
        self.free: list[FreeUse] = []
        self.grouped: list[tuple[str, Use, int]] = []  # rule, use, the component of its group
        self.under: dict[str, int] = {}  # the input of a rule's use, and the component of a group it can't act without
        self.settling: dict[int, tuple[str, Settled]] = {}  # component: the input of its signal
        self.possible: list[Expr] = []  # what a scan of a bad run has to meet
        self.phase = ""  # where anything settles: the input that says whether the scan is to be a bad one
        self._memo: dict[tuple[str, ...], Expr] = {}
        self._pending: list[tuple[int, tuple[str, ...]]] = []
        index.ordered(faults)
        parts = [self._path(goal.moves), self._conditions(goal.conditions), self._alternatives(goal.any_of)]
        if goal.heard is not None:
            parts.append(self._heard(goal.heard, goal.alarm))
        # the cone is the same whether a scan can count yet or not
        self._goal = conj(parts) if complete or goal.heard is None else FALSE
        while self._pending:
            comp, key = self._pending.pop()
            self.nexts[comp] = self._next(key)
        self._unite_free()
        self.bad = self._bad()
        self.sign: dict[str, set[int]] | None = None
        self._moves = {}

    def keep_up(self, key: tuple[str, ...]) -> bool:
        """Follow a component that another circuit needs; whether that was new."""
        comp = self.layout.place[key]
        kind = self.layout.comps[comp].kind
        if kind is Kind.STUCK or comp in self.nexts or any(s.comp == comp for s in self.statements):
            return False
        match kind:
            case Kind.RULE if key[0] == "group":
                if self.abstraction.settling(key[1]) is None and not self._lives(key[1]):
                    return False
                self._group_of(key[1])
            case Kind.SETTLING:
                self._group_of(key[1])
            case Kind.RULE:
                if not self._lives(key[1]):
                    return False
                self._active(key[1])
            case Kind.OVERRIDE:
                if not self._lives(key[1]):
                    return False
                self._overriding(self.scheme.rules[key[1]])
            case Kind.WITHIN:
                if self._within(key[1], key[2])[0] != "v":
                    return False
            case Kind.LATCH:
                self._latch(bool(self.layout.comps[comp].start), *key[1:])
        while self._pending:
            latch, rest = self._pending.pop()
            self.nexts[latch] = self._next(rest)
        self._unite_free()
        self.bad = self._bad()
        return True

    def _bad(self) -> Expr:
        return conj([var(self.phase) if self.phase else TRUE, self._goal, *self.possible])

    def _lives(self, rule: str) -> bool:
        """Whether the rule does anything, so that a component of it is worth following for other circuits."""
        return not self.faults.has(Mode.OMITTED, rule) and self._alive(self.scheme.rules[rule].unit)

    # --- small helpers

    def _unless(self, make: Callable[[], Expr], *by: tuple[Mode, str, bool]) -> Expr:
        """What `make` gives, unless one of these modes of a part makes it true or false for good: the first there."""
        for mode, part, value in by:
            if self.faults.has(mode, part):
                return constant(value)
        return make()

    def _define(self, key: tuple[str, ...], expr: Expr) -> Expr:
        """Give an expression a name, so that it is computed once a scan."""
        if expr[0] in ("1", "0", "v"):
            self._memo[key] = expr
        else:
            name = f"d{len(self.statements)}"
            self.statements.append(Statement(name, expr))
            self._memo[key] = var(name)
        return self._memo[key]

    def _bool(self, *key: str) -> Expr:
        return var(self.bools.setdefault(key, f"b{len(self.bools)}"))

    def _slot(self, key: SlotKey) -> str:
        return self.slots.setdefault(key, f"c{len(self.slots)}")

    def _latch(self, start: bool, *key: str) -> Expr:
        """A signal as it was at the scan before."""
        new = ("latch", *key) not in self.layout.place
        comp = self.layout.of(Kind.LATCH, ("latch", *key), int(start), (0, 0))
        if new or comp not in self.nexts:
            self.nexts[comp] = FALSE  # marks it as asked for; filled in from the pending list
            self._pending.append((comp, key))
        return var(f"p{comp}")

    def _next(self, key: tuple[str, ...]) -> Expr:
        what, *rest = key
        match what:
            case "closed":
                return self._contact(rest[0])
            case "on":
                return self._on(rest[0])
            case "energised":
                return self._energised(rest[0])
            case "sent":
                return self._line_truth(rest[0])
            case "seen_off":
                return self._unless(partial(self._seen_off, *rest), (Mode.DEAD, rest[0], False))
        raise AssertionError(what)

    def _seen_off(self, unit: str, line: str) -> Expr:
        if self.faults.has(Mode.FROZEN, unit):
            return FALSE
        return conj([neg(self._cycle(unit)), neg(self._line_read(unit, line))])

    def _alive(self, unit: str) -> bool:
        return not self.faults.has(Mode.DEAD, unit) and not self.faults.has(Mode.FROZEN, unit)

    def _cycle(self, unit: str) -> Expr:
        return self._bool("cycle", unit) if unit in self.cycles and self._alive(unit) else FALSE

    # --- the goal

    def _path(self, moves: Moves) -> Expr:
        match moves:
            case Moves.RUN:
                return self._may("run", self.goal.path)
            case Moves.STOP:
                return self._may("stop", self.goal.path)
            case Moves.ANYTHING:
                return TRUE

    def _conditions(self, conditions: tuple[Condition, ...]) -> Expr:
        parts: list[Expr] = []
        for c in conditions:
            match c.signal:
                case Signal.QUANTITY:
                    pass
                case Signal.LINE:
                    parts.append(same(self._line_truth(c.name), bool(c.test)))
                case Signal.PATH:
                    parts.append(self._may("run" if c.test else "stop", c.name))
                case Signal.SENSOR | Signal.READING | Signal.RULE:
                    raise AssertionError("a requirement looks at truth")
        parts += [var(self._slot(("truth", *truths))) for truths in self.index.truths(conditions)]
        return conj(parts)

    def _alternatives(self, any_of: AnyOf) -> Expr:
        return disj(self._conditions(alternative) for alternative in any_of) if any_of else TRUE

    def _heard(self, heard: Heard, rule: str) -> Expr:
        """What the alarm of a rule, which is followed for it whatever the abstraction says, does at this scan."""
        mute = self.faults.has(Mode.OMITTED, rule) or not self._alive(self.scheme.rules[rule].unit)
        return same(FALSE if mute else self._in_force(rule), heard is Heard.SOUNDS)

    # --- what runs

    def _may(self, way: str, path: str) -> Expr:
        """Whether the path may run (be stopped)."""
        key = ("may", way, path)
        if key not in self._memo:
            bypassed = [] if self._unruly(path) else [(Mode.BYPASSED, path, way == "run")]
            self._define(key, self._unless(partial(self._as_wired, way, path), *bypassed))
        return self._memo[key]

    def _unruly(self, path: str) -> bool:
        """Whether all devices on the way to the path may do as they like, so that a jumper adds nothing."""
        record = self.scheme.paths[path]
        mine = self.abstraction.loose.issuperset(record.outputs)
        return mine and (self._unruly(record.behind) if record.behind else bool(record.outputs))

    def _as_wired(self, way: str, path: str) -> Expr:
        record, runs = self.scheme.paths[path], way == "run"
        parts = [self._device(way, o) for o in record.outputs]
        if record.behind:
            parts.append(self._may(way, record.behind))
        return conj(parts) if runs else disj(parts)

    def _device(self, way: str, output: str) -> Expr:
        if output in self.abstraction.loose:
            return self._bool("device", way, output)
        return self._unless(partial(self._within, way, output), (Mode.IGNORED, output, way == "run"))

    def _within(self, way: str, output: str) -> Expr:
        """Whether the device was told to run (to stop) at most its `stops_within` (`starts_within`) ago."""
        key = ("within", way, output)
        if key in self._memo:
            return self._memo[key]
        record = self.scheme.outputs[output]
        scans = (record.stops_within if way == "run" else record.starts_within).scans
        told = same(self._told(output), way == "run")
        if scans == 0 or told in (TRUE,):
            self._memo[key] = told
            return told
        start = 0 if self._told_at_first(output) is (way == "run") else 2
        comp = self.layout.of(Kind.WITHIN, key, start, (0, scans, 0))
        self.statements.append(Statement(f"a{comp}", told, comp))
        self._memo[key] = var(f"a{comp}")
        return self._memo[key]

    def _told(self, output: str) -> Expr:
        """What the device's own input says: run."""
        key = ("told", output)
        if key not in self._memo:
            owner = self.faults.source(Part.OUTPUT, output)
            made = self._unless(partial(self._contact, owner), (Mode.WIRE_BROKEN, owner, False))
            self._memo[key] = same(made, self.scheme.outputs[output].runs_when.when_made)
        return self._memo[key]

    def _told_at_first(self, output: str) -> bool:
        """The same before scan 0, with the mistakes of installation alone and everything released."""
        owner = self.installed.source(Part.OUTPUT, output)
        return self._closed_at_first(owner) is self.scheme.outputs[output].runs_when.when_made

    def _closed_at_first(self, output: str) -> bool:
        turned = self.installed.has(Mode.WRONG_CONTACT, output)
        return (self.scheme.outputs[output].contact is Contact.NORMALLY_CLOSED) is not turned

    # --- outputs

    def _contact(self, output: str) -> Expr:
        return self._unless(partial(self._unwelded, output), (Mode.WELDED, output, True))

    def _unwelded(self, output: str) -> Expr:
        turned = self.faults.has(Mode.WRONG_CONTACT, output)
        closed_when_energised = (self.scheme.outputs[output].contact is Contact.NORMALLY_CLOSED) is turned
        return same(self._energised(output), closed_when_energised)

    def _energised(self, output: str) -> Expr:
        return self._unless(partial(self._driven, output), (Mode.DEAD, self.scheme.outputs[output].unit, False))

    def _driven(self, output: str) -> Expr:
        record = self.scheme.outputs[output]
        runs = record.energised_when is EnergisedWhen.RUNS
        if runs:
            return self._on(output)
        frozen = self.faults.has(Mode.FROZEN, record.unit)
        if record.unit in self.may_freeze:
            held = self._latch(False, "energised", output)
            return held if frozen else neg(self._on(output))
        return neg(self._on(output))

    def _on(self, output: str) -> Expr:
        key = ("on", output)
        if key not in self._memo:
            dead = (Mode.DEAD, self.scheme.outputs[output].unit, False)
            self._define(key, self._unless(partial(self._commanded_on, output), dead))
        return self._memo[key]

    def _commanded_on(self, output: str) -> Expr:
        record = self.scheme.outputs[output]
        if record.unit in self.may_freeze:
            held = self._latch(False, "on", output)
            if self.faults.has(Mode.FROZEN, record.unit):
                return held
        blocked = disj(
            conj([self._force(rule, f"block:{output}"), self._modes(record.unit, when)])
            for rule, when in self.index.blockers[output]
        )
        wanted = disj(
            TRUE
            if self.scheme.paths[path].started_by != record.unit
            else disj(self._force(rule, f"start:{output}") for rule in self.index.starters.get((record.unit, path), ()))
            for path in record.drives
        )
        return conj([wanted, neg(blocked)])

    def _commanded(self, unit: str, path: str) -> Expr:
        """The unit's command to the path at the scan before."""
        return conj(self._latch(False, "on", o) for o in self.scheme.drives(unit, path))

    def _modes(self, unit: str, when: AnyOf) -> Expr:
        if not when:
            return TRUE
        return disj(conj(self._seen(unit, c) for c in alternative) for alternative in when)

    # --- lines

    def _line_truth(self, name: str) -> Expr:
        key = ("truth", name)
        if key in self._memo:
            return self._memo[key]
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                return self._bool("line", name)
            case LineForm.CONFIRMS:
                return self._latch(self._closed_at_first(line.output), "closed", line.output)
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                dead = (Mode.DEAD, line.unit, line.undriven_reads)
                return self._define(key, self._unless(partial(self._sent, line), dead))

    def _sent(self, line: Line) -> Expr:
        if line.unit in self.may_freeze:
            held = self._latch(line.undriven_reads, "sent", line.name)
            if self.faults.has(Mode.FROZEN, line.unit):
                return held
        active = disj(self._act(rule) for rule in line.rules)
        return same(active, line.form is LineForm.HIGH_WHEN)

    def _line_read(self, unit: str, name: str) -> Expr:
        if name in self.abstraction.loose:
            return self._bool("read", unit, name)
        wire = self.faults.line_source(self.scheme, unit, name)
        undriven = self.scheme.lines[wire].undriven_reads
        lost = (Mode.SHORTED, wire, not undriven), (Mode.BROKEN, wire, undriven)
        level = self._unless(partial(self._line_truth, wire), *lost)
        return same(level, not self.faults.has(Mode.INVERTED, name))

    # --- rules

    def _seen(self, unit: str, c: Condition) -> Expr:
        match c.signal:
            case Signal.LINE:
                return same(self._line_read(unit, c.name), bool(c.test))
            case Signal.PATH:
                return same(self._commanded(unit, c.name), bool(c.test))
            case Signal.RULE:
                return same(self._act(c.name), bool(c.test))
            case Signal.QUANTITY | Signal.SENSOR | Signal.READING:
                raise AssertionError("a rule's condition looks at two-valued signals")

    def _act(self, name: str) -> Expr:
        make = partial(self._active, name) if self.abstraction.follows(name, ACT) else partial(self._freed, name, ACT)
        return self._unless(make, (Mode.OMITTED, name, False))

    def _freed(self, name: str, use: Use) -> Expr:
        if name in self.abstraction.fixed:
            return constant(self.abstraction.fixed[name])
        signal = self._at_will(name, use)
        other = self.abstraction.shadows.get(name)
        if other is None:
            return signal
        # a group that the other belongs to is active whenever it is
        comp = self._group_of(other)
        return conj([signal, self._act(other) if comp is None else var(f"a{comp}")])

    def _at_will(self, name: str, use: Use) -> Expr:
        comp = self._group_of(name)
        if comp is not None and self._common(name, use):
            self.grouped.append((name, use, comp))
            return var(f"a{comp}")
        key = ("free", name) if self.abstraction.whole(name) and comp is None else ("free", name, use)
        e = self._bool(*key)
        self.free.append(FreeUse(str(e[1]), name, use))
        if comp is None:
            return e
        self.under[str(e[1])] = comp
        return conj([e, var(f"a{comp}")])

    def _group_of(self, name: str) -> int | None:
        """The component of the rules that this one is followed with, if it is."""
        if self.abstraction.follows(name, ACT):
            return None
        settled = self.abstraction.settling(name)
        if settled is not None:
            return self._settling(settled)
        group = self.abstraction.group(name)
        return self._group(group) if group else None

    def _common(self, name: str, use: Use) -> bool:
        """Whether all rules followed as one with this one act alike in that place, so that it does not matter there
        which of them is active. Elsewhere this rule may be active or not while the group is."""
        settled = self.abstraction.settling(name)
        names = settled.rules if settled else self.abstraction.group(name)
        return len(names) == 1 or (use != ACT and self.index.alike(names, use))

    def _group(self, names: tuple[str, ...]) -> int:
        """The component that stands for several free rules."""
        key = ("group", *names)
        if key not in self._memo:
            rules = [self.scheme.rules[n] for n in names]
            least = min(r.clears.delay.scans for r in rules)
            clear = all(r.power_up is PowerUp.CLEAR for r in rules)
            comp = self._lasting(names, self._bool("group", *names), least, clear=clear)
            self._memo[key] = var(f"a{comp}")
        return _component(self._memo[key])

    def _settling(self, settled: Settled) -> int:
        """The component that stands for rules that in a bad run can only run down.

        Where they also act for a least time, that is a component of its own, and this one only says whether what it
        does is possible.
        """
        key = ("settling", *settled.rules)
        comp = self.layout.of(Kind.SETTLING, key, 0, (0, settled.scans or 0, 0))
        if key not in self._memo:
            self.phase = str(self._bool("phase")[1])
            acts = self._bool("settling", *settled.rules)
            if settled.least:
                lasting = self._lasting(settled.rules, acts, settled.least, clear=False)
                self.statements.append(Statement(f"a{comp}", var(f"a{lasting}"), comp))
                self.possible.append(var(f"a{comp}"))
                self._memo[key] = var(f"a{lasting}")
            else:
                self.statements.append(Statement(f"a{comp}", acts, comp))
                self._memo[key] = var(f"a{comp}")
            self.settling[comp] = (str(acts[1]), settled)
        return _component(self._memo[key])

    def _lasting(self, names: tuple[str, ...], acts: Expr, least: int, *, clear: bool) -> int:
        """A machine that trips when `acts` says so and drops off in `least` scans."""
        comp = self.layout.of(Kind.RULE, ("group", *names), CLEAR if clear else TRIPPED, (0, 0, 0, least, 0))
        rule = self.scheme.rules[names[0]]
        stand_in = replace(rule, reset=Reset.AUTOMATIC, reset_by="", power_up=PowerUp.AS_LEFT)
        self.statements.append(Statement(f"a{comp}", acts, comp, clears=neg(acts), rule=stand_in))
        return comp

    def followed_as(self, rule: str) -> int | None:
        """The component of a rule that is followed exactly."""
        known = self._memo.get(("active", rule))
        return None if known is None else _component(known)

    def _force(self, name: str, use: Use) -> Expr:
        """Whether the rule is in force, as that use sees it."""
        return self._unless(partial(self._followed_force, name, use), (Mode.OMITTED, name, False))

    def _followed_force(self, name: str, use: Use) -> Expr:
        if not self.abstraction.follows(name, use):
            rule = self.scheme.rules[name]
            if self.abstraction.whole(name) and (rule.only_while or rule.overridden_by):
                # active and in force are not the same thing here: a second input beside the first
                return conj([self._freed(name, use), self._bool("forced", name)])
            return self._freed(name, use)
        return self._in_force(name)

    def _in_force(self, name: str) -> Expr:
        key = ("force", name)
        if key not in self._memo:
            rule = self.scheme.rules[name]
            parts = [self._active(name), *(self._seen(rule.unit, c) for c in rule.only_while)]
            if rule.overridden_by:
                parts.append(neg(self._overriding(rule)))
            self._define(key, conj(parts))
        return self._memo[key]

    def _active(self, name: str) -> Expr:
        key = ("active", name)
        if key in self._memo:
            return self._memo[key]
        rule = self.scheme.rules[name]
        code, trips, clears = "", TRUE, FALSE
        match rule.watches:
            case Signal.SENSOR | Signal.READING:
                code = self._slot(("rule", name))
            case Signal.LINE:
                trips, clears = self._two_valued(rule, self._line_read(rule.unit, rule.watched))
            case Signal.PATH:
                trips, clears = self._two_valued(rule, self._commanded(rule.unit, rule.watched))
            case Signal.RULE:
                trips, clears = self._two_valued(rule, self._act(rule.watched))
            case Signal.QUANTITY:
                raise AssertionError("no rule sees the truth")
        edge = self._edge(rule)
        start = CLEAR if rule.power_up is PowerUp.CLEAR else TRIPPED
        delays = (0, rule.trips.delay.scans, 0, rule.clears.delay.scans, 0)
        comp = self.layout.of(Kind.RULE, key, start, delays)
        self.statements.append(Statement(f"a{comp}", trips, comp, code, clears, edge, self._cycle(rule.unit), rule))
        return self._define(key, var(f"a{comp}"))

    @staticmethod
    def _two_valued(rule: Rule, seen: Expr) -> tuple[Expr, Expr]:
        return same(seen, bool(rule.trips.test)), same(seen, bool(rule.clears.test))

    def _edge(self, rule: Rule) -> Expr:
        if not rule.reset_by or not rule.manual or self.goal.resets is Resets.NEVER:
            return FALSE
        if self.goal.resets is Resets.GIVEN:
            lost = [self.faults.has(mode, rule.reset_by) for mode in (Mode.BROKEN, Mode.SHORTED)]
            if not any(lost):
                return TRUE
        read = self._line_read(rule.unit, rule.reset_by)
        return conj([read, self._latch(False, "seen_off", rule.unit, rule.reset_by)])

    def _overriding(self, rule: Rule) -> Expr:
        key = ("override", rule.name)
        if key in self._memo:
            return self._memo[key]
        most = rule.override_at_most
        comp = self.layout.of(Kind.OVERRIDE, key, 0, (0, 0, most.scans if most else 0, 0))
        read = self._line_read(rule.unit, rule.overridden_by)
        self.statements.append(Statement(f"a{comp}", read, comp, cycle=self._cycle(rule.unit), rule=rule))
        return self._define(key, var(f"a{comp}"))


def _component(signal: Expr) -> int:
    """The component whose signal this is."""
    return int(str(signal[1])[1:])
