"""The scan on sets of states: for each part apart from the others, all that it may be.

Every concrete scan is inside the rough one, so what a rough run shows for certain holds for every state it began with
(abstract interpretation: Cousot & Cousot 1977). A rough state of single values is a concrete one. A sound installation
only: no faults.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product
from typing import NamedTuple

from msgspec import Struct, field

from interlock.proof.cells import CLEARS, HOLDS, NEITHER, TRIPS
from interlock.proof.cone import Cone, closed_when_on, needs, runs_when_on
from interlock.scheme.model import AnyOf, Condition, Rule, Scheme
from interlock.scheme.words import EnergisedWhen, LineForm, PowerUp, Signal, State

NO, YES, BOTH = 1, 2, 3  # what a two-valued signal may be, as bits
ANY_CODE = (1 << CLEARS) | (1 << NEITHER) | (1 << TRIPS) | (1 << HOLDS)

Spans = tuple[tuple[int, int], ...]
Span = tuple[int, int] | None  # least and most of a counter; None: it has no value
Machine = tuple[Span, ...]  # for each state of a rule, in the order of `State`: its timers, None where it is not in it

CLEAR, PICKING_UP, TRIPPED, DROPPING_OFF, AWAITING_RESET = range(5)
assert [s.value for s in State] == ["clear", "picking_up", "tripped", "dropping_off", "awaiting_reset"]


class Sight(Struct, frozen=True):
    """What the world gives a scan: each value-watching rule's codes (a bit each), each external line (NO, YES, BOTH).

    Rules and lines not named may see anything.
    """

    codes: Mapping[str, int] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)


class Rough(NamedTuple):
    """What one scan leaves to the next. `overrides`: whether it may have to be seen off first, and the scans counted.
    The other entries follow the cone's order."""

    rules: tuple[Machine, ...]
    overrides: tuple[tuple[bool, Span], ...]
    seen_off: tuple[int, ...]
    on: tuple[int, ...]
    closed: tuple[int, ...]
    since_run: Spans
    since_stop: Spans


class Ways(NamedTuple):
    """Whether the path may run and may be stopped at a scan, each NO, YES or BOTH, and the rules that may be active."""

    may_run: int
    may_stop: int
    active: Mapping[str, int]

    @property
    def surely_runs(self) -> bool:
        """In every state: it runs for certain."""
        return self.may_run == YES and self.may_stop == NO

    @property
    def might_run(self) -> bool:
        """In some state, as far as can be told: it runs for certain."""
        return bool(self.may_run & YES and self.may_stop & NO)


def both(*masks: int) -> int:
    """All of these."""
    yes = all(m & YES for m in masks)
    no = any(m & NO for m in masks)
    return (YES if yes else 0) | (NO if no else 0)


def flipped(mask: int) -> int:
    """The opposite."""
    return (mask & NO and YES) | (mask & YES and NO)


def either(*masks: int) -> int:
    """Any of these."""
    return flipped(both(*map(flipped, masks)))


def only(value: bool) -> int:
    """One value for certain."""
    return YES if value else NO


def hull(a: Span, b: Span) -> Span:
    """The least interval around both."""
    if a is None:
        return b
    return a if b is None else (min(a[0], b[0]), max(a[1], b[1]))


class Roughly:
    """The rough scan of one path's cone."""

    def __init__(self, scheme: Scheme, cone: Cone) -> None:
        self.scheme, self.cone = scheme, cone
        self.rules = [scheme.rules[r] for r in cone.rules]
        self.outputs = [scheme.outputs[o] for o in cone.outputs]
        self.overridden = [r for r in self.rules if r.overridden_by]
        self.edges = list(dict.fromkeys((r.unit, r.reset_by) for r in self.rules if r.manual and r.reset_by))
        self.caps = [r.override_at_most.scans if r.override_at_most else 0 for r in self.overridden]
        self._place = {r.name: i for i, r in enumerate(self.rules)}
        self._output = {o.name: i for i, o in enumerate(self.outputs)}
        self._override = {r.name: i for i, r in enumerate(self.overridden)}
        self._edge = {key: i for i, key in enumerate(self.edges)}
        self._steps: dict[tuple[int, Machine, int, int], Machine] = {}
        self.looked_at = tuple(self._looked_at())
        self._acting = [self._effects(i) for i in range(len(self.outputs))]

    def _looked_at(self) -> Iterator[int]:
        """The outputs that a rule sees, by a contact or as a command."""
        seen = {(signal, name) for r in self.rules for signal, name in needs(r)}
        contacts = {self.scheme.lines[n].output for signal, n in seen if signal is Signal.LINE}
        for i, output in enumerate(self.outputs):
            if output.name in contacts or any((Signal.PATH, p) in seen for p in output.drives):
                yield i

    def _effects(self, i: int) -> tuple[list[tuple[Rule, AnyOf]], list[str] | None]:
        """The blocks of an output, and the rules that start it (None: it is always wanted)."""
        output = self.outputs[i]
        rules = [r for r in self.rules if r.unit == output.unit]
        blocks = [(r, t.when) for r in rules for t in r.blocks if t.path in output.drives]
        if any(self.scheme.paths[p].started_by != output.unit for p in output.drives):
            return blocks, None
        return blocks, [r.name for r in rules if any(p in r.starts for p in output.drives)]

    def start(self) -> Rough:
        """The state before scan 0."""
        rules = []
        for rule in self.rules:
            machine: list[Span] = [None] * 5
            machine[CLEAR if rule.power_up is PowerUp.CLEAR else TRIPPED] = (0, 0)
            rules.append(tuple(machine))
        closed, run, stop = [], [], []
        for output in self.outputs:
            released_is_on = output.energised_when is EnergisedWhen.STOPS
            shut = closed_when_on(output) is released_is_on
            told = shut is output.runs_when.when_made
            closed.append(only(shut))
            run.append((0, 0) if told else (output.stops_within.scans + 1,) * 2)
            stop.append((output.starts_within.scans + 1,) * 2 if told else (0, 0))
        return Rough(
            tuple(rules),
            ((True, None),) * len(self.overridden),
            (NO,) * len(self.edges),
            (NO,) * len(self.outputs),
            tuple(closed),
            tuple(run),
            tuple(stop),
        )

    def scan(self, state: Rough, sight: Sight) -> tuple[Rough, Ways]:
        """One scan."""
        scan = _Scan(self, state, sight)
        return scan.run()

    def step(self, i: int, machine: Machine, codes: int, edge: int) -> Machine:
        """One step of a rule's machine with any of these codes; `edge`: whether its reset line rises."""
        key = (i, machine, codes, edge)
        known = self._steps.get(key)
        if known is None:
            known = self._steps[key] = _stepped(self.rules[i], machine, codes, edge)
        return known

    # --- what limits a counter

    def limits(self) -> Rough:
        """For every counter the most it can be, in the shape of a state (masks and flags are of no meaning)."""
        rules = tuple(
            ((0, 0), (0, max(0, r.trips.delay.scans - 1)), (0, 0), (0, max(0, r.clears.delay.scans - 1)), (0, 0))
            for r in self.rules
        )
        return Rough(
            rules,
            tuple((True, (0, cap + 1)) for cap in self.caps),
            (BOTH,) * len(self.edges),
            (BOTH,) * len(self.outputs),
            (BOTH,) * len(self.outputs),
            tuple((0, o.stops_within.scans + 1) for o in self.outputs),
            tuple((0, o.starts_within.scans + 1) for o in self.outputs),
        )


class _Scan:
    """One scan being done."""

    def __init__(self, roughly: Roughly, state: Rough, sight: Sight) -> None:
        self.at, self.state, self.sight = roughly, state, sight
        self.scheme = roughly.scheme
        self.machines: list[Machine] = list(state.rules)
        self.active: dict[str, int] = {}

    def run(self) -> tuple[Rough, Ways]:
        at, state = self.at, self.state
        for i, rule in enumerate(at.rules):
            machine = at.step(i, state.rules[i], self._codes(rule), self._reset_edge(rule))
            self.machines[i] = machine
            self.active[rule.name] = _active(machine)
        seen_off = tuple(flipped(self.line(line)) for _, line in at.edges)
        overrides = tuple(
            _counted(old, self.line(rule.overridden_by), cap + 1)
            for rule, old, cap in zip(at.overridden, state.overrides, at.caps, strict=True)
        )
        self.overrides = overrides
        in_force = {rule.name: self._in_force(rule) for rule in at.rules}
        on: list[int] = []
        for output, (blocks, starters) in zip(at.outputs, at._acting, strict=True):
            blocked = either(NO, *(both(in_force[r.name], self._modes(r.unit, when)) for r, when in blocks))
            wanted = YES if starters is None else either(NO, *(in_force[r] for r in starters))
            on.append(both(wanted, flipped(blocked)))
            del output
        closed, run, stop = [], [], []
        for i, output in enumerate(at.outputs):
            closed.append(on[i] if closed_when_on(output) else flipped(on[i]))
            told = on[i] if runs_when_on(output) else flipped(on[i])
            run.append(_since(state.since_run[i], told, output.stops_within.scans))
            stop.append(_since(state.since_stop[i], flipped(told), output.starts_within.scans))
        after = Rough(tuple(self.machines), overrides, seen_off, tuple(on), tuple(closed), tuple(run), tuple(stop))
        may_run, may_stop = YES, NO
        for name in at.cone.chain:
            i = at._output[name]
            output = at.outputs[i]
            may_run = both(may_run, _within(run[i], output.stops_within.scans))
            may_stop = either(may_stop, _within(stop[i], output.starts_within.scans))
        return after, Ways(may_run, may_stop, self.active)

    # --- what is seen

    def line(self, name: str) -> int:
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                return self.sight.lines.get(name, BOTH)
            case LineForm.CONFIRMS:
                return self.state.closed[self.at._output[line.output]]
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                active = either(NO, *(self.active[r] for r in line.rules))
                return active if line.form is LineForm.HIGH_WHEN else flipped(active)

    def look(self, unit: str, signal: Signal, name: str) -> int:
        if signal is Signal.LINE:
            return self.line(name)
        if signal is Signal.RULE:
            return self.active[name]
        assert signal is Signal.PATH
        return both(YES, *(self.state.on[self.at._output[o]] for o in self.scheme.drives(unit, name)))

    def _codes(self, rule: Rule) -> int:
        if rule.watches.numeric:
            return self.sight.codes.get(rule.name, ANY_CODE)
        value = self.look(rule.unit, rule.watches, rule.watched)
        codes = 0
        for mask, is_ in ((YES, True), (NO, False)):
            if value & mask:
                codes |= 1 << (TRIPS if rule.trips.test is is_ else CLEARS if rule.clears.test is is_ else NEITHER)
        return codes

    def _reset_edge(self, rule: Rule) -> int:
        if not (rule.manual and rule.reset_by):
            return NO
        return both(self.line(rule.reset_by), self.state.seen_off[self.at._edge[rule.unit, rule.reset_by]])

    def _condition(self, unit: str, condition: Condition) -> int:
        value = self.look(unit, condition.signal, condition.name)
        return value if condition.test else flipped(value)

    def _modes(self, unit: str, when: AnyOf) -> int:
        if not when:
            return YES
        return either(*(both(YES, *(self._condition(unit, c) for c in alternative)) for alternative in when))

    def _in_force(self, rule: Rule) -> int:
        conditions = [self._condition(rule.unit, c) for c in rule.only_while]
        if rule.overridden_by:
            i = self.at._override[rule.name]
            conditions.append(flipped(_overridden(self.overrides[i], self.at.caps[i])))
        return both(self.active[rule.name], *conditions)


def _active(machine: Machine) -> int:
    idle = machine[CLEAR] is not None or machine[PICKING_UP] is not None
    acts = any(machine[s] is not None for s in (TRIPPED, DROPPING_OFF, AWAITING_RESET))
    return (YES if acts else 0) | (NO if idle else 0)


def _stepped(rule: Rule, machine: Machine, codes: int, edge: int) -> Machine:
    found: list[Span] = [None] * 5

    def add(state: int, span: Span) -> None:
        found[state] = hull(found[state], span)

    def go_on(state: int, span: tuple[int, int], delay: int, then: int) -> None:
        low, high = span
        if high + 1 >= delay:
            add(then, (0, 0))
        if low + 1 < delay:
            add(state, (low + 1, min(high + 1, delay - 1)))

    pick, drop = rule.trips.delay.scans, rule.clears.delay.scans
    done = AWAITING_RESET if rule.manual else CLEAR
    for code in (CLEARS, NEITHER, TRIPS, HOLDS):
        if not codes >> code & 1:
            continue
        for state, span in enumerate(machine):
            if span is None:
                continue
            if code == HOLDS:
                add(state, span)
            elif state in (CLEAR, PICKING_UP):
                if code != TRIPS:
                    add(CLEAR, (0, 0))
                elif state == PICKING_UP:
                    go_on(PICKING_UP, span, pick, TRIPPED)
                else:
                    add(PICKING_UP if pick else TRIPPED, (0, 0))
            elif code != CLEARS:
                add(TRIPPED, (0, 0))
            elif state == TRIPPED:
                add(DROPPING_OFF if drop else done, (0, 0))
            elif state == DROPPING_OFF:
                go_on(DROPPING_OFF, span, drop, done)
            else:
                if edge & YES:
                    add(CLEAR, (0, 0))
                if edge & NO:
                    add(AWAITING_RESET, (0, 0))
    return tuple(found)


def _counted(old: tuple[bool, Span], line: int, cap: int) -> tuple[bool, Span]:
    first, span = old
    after: Span = (0, 0) if line & NO else None
    if line & YES and span is not None:
        after = hull(after, (min(span[0] + 1, cap), min(span[1] + 1, cap)))
    return bool(first and line & YES), after


def _overridden(count: tuple[bool, Span], cap: int) -> int:
    """`cap` 0: without end."""
    first, span = count
    mask = NO if first else 0
    if span is not None:
        top = cap or span[1]
        mask |= YES if max(span[0], 1) <= min(span[1], top) else 0
        mask |= NO if span[0] == 0 or span[1] > top else 0
    return mask


def _since(old: tuple[int, int], now: int, within: int) -> tuple[int, int]:
    low, high = min(old[0] + 1, within + 1), min(old[1] + 1, within + 1)
    if now == YES:
        return (0, 0)
    return (0, high) if now & YES else (low, high)


def _within(span: tuple[int, int], within: int) -> int:
    return (YES if span[0] <= within else 0) | (NO if span[1] > within else 0)


# --- sets of states


def joined(a: Rough, b: Rough, most: Rough | None = None) -> Rough:
    """Both together. `most`: a counter that grows beyond `a` may then be anything."""

    def wide(old: Span, new: Span, top: Span) -> Span:
        out = hull(old, new)
        if most is None or out is None or out == old:
            return out
        assert top is not None
        low = out[0] if old is None or out[0] == old[0] else 0
        high = out[1] if old is not None and out[1] == old[1] else top[1]
        return (low, high)

    top = most or a

    def spans(x: Spans, y: Spans, z: Spans) -> Spans:
        return tuple(wide(p, q, r) or p for p, q, r in zip(x, y, z, strict=True))

    return Rough(
        tuple(
            tuple(wide(p, q, r) for p, q, r in zip(m, n, k, strict=True))
            for m, n, k in zip(a.rules, b.rules, top.rules, strict=True)
        ),
        tuple(
            (p[0] or q[0], wide(p[1], q[1], r[1]))
            for p, q, r in zip(a.overrides, b.overrides, top.overrides, strict=True)
        ),
        tuple(x | y for x, y in zip(a.seen_off, b.seen_off, strict=True)),
        tuple(x | y for x, y in zip(a.on, b.on, strict=True)),
        tuple(x | y for x, y in zip(a.closed, b.closed, strict=True)),
        spans(a.since_run, b.since_run, top.since_run),
        spans(a.since_stop, b.since_stop, top.since_stop),
    )


def inside(a: Rough, b: Rough) -> bool:
    """Whether each state of `a` is one of `b`."""
    return joined(b, a) == b


def closure(roughly: Roughly, state: Rough, sight: Sight) -> tuple[Rough, Ways]:
    """All that may ever come from here while the world does anything in `sight`, and what the path may then do."""
    most = roughly.limits()
    while True:
        after, ways = roughly.scan(state, sight)
        wider = joined(state, after, most)
        if wider == state:
            return state, ways
        state = wider


def forked(roughly: Roughly, state: Rough, rules: frozenset[str]) -> Iterator[Rough]:
    """The state cut so that each of these rules is in one state and each output they look at is on or off. Of states
    after a scan only: before the first, contacts do not follow the outputs."""
    options: list[list[tuple[int, Machine]]] = []
    for i, rule in enumerate(roughly.rules):
        machine = state.rules[i]
        if rule.name in rules and sum(s is not None for s in machine) > 1:
            places = [k for k in range(5) if machine[k] is not None]
            options.append([(i, tuple(s if k == j else None for j, s in enumerate(machine))) for k in places])
    unknown = [i for i in roughly.looked_at if state.on[i] == BOTH] if rules else []
    if not options and not unknown:
        yield state
        return
    for chosen in product(*options):
        machines = list(state.rules)
        for i, one in chosen:
            machines[i] = one
        for values in product((YES, NO), repeat=len(unknown)):
            on, closed = list(state.on), list(state.closed)
            for i, value in zip(unknown, values, strict=True):
                on[i] = value
                closed[i] = value if closed_when_on(roughly.outputs[i]) else flipped(value)
            yield state._replace(rules=tuple(machines), on=tuple(on), closed=tuple(closed))
