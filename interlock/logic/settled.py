"""How a path ends up while all readings and lines stand still, whatever went before: it runs, it is stopped, it does
both by turns, or it depends on where one came from.

Resets are given whenever they are accepted, and no person overrides. A rule on a value then ends up active where its
trip condition holds and clear where its clear condition does; between the two it stays as it was. Everything else
follows from that by the scheme's own logic, taken in three values first (so that what does not matter is not looked
at), and where rules act back on what they watch, by going through all their states, with delays that may run in any
order. That takes in every history, and may take in more: `permits` says which endings are known to happen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import product
from typing import ClassVar

from msgspec import Struct, field

from interlock.logic.readings import compare
from interlock.logic.rings import ends
from interlock.logic.steady import Alike, Piece, seen_value, sensors_of
from interlock.records import Aside
from interlock.scheme.model import AnyOf, Condition, Limit, Output, Rule, Scheme
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Signal, Word

Known = bool | None  # None: not known
MOST_STATES = 14  # rules and outputs that act on each other, as bits


class Ending(Word):
    """What a path comes to in one history, all standing still."""

    RUNS = "runs"
    STOPPED = "stopped"
    TURNS = "turns"  # both, by turns, for ever


class TooManyError(Exception):
    """More rules act on each other than can be gone through."""


class Cone(Aside, frozen=True, eq=False, dict=True):
    """What decides over one path: its outputs and those it looks at, the rules on them, the outside lines they read."""

    scheme: Scheme
    path: str
    rules: tuple[str, ...]  # in the order of a scan
    outputs: tuple[str, ...]
    lines: tuple[str, ...]  # external ones
    looked_at: tuple[str, ...]  # outputs that a rule sees, by a confirming line or as its own command
    _known: dict[tuple[Known, ...], frozenset[Ending]] = field(default_factory=dict)
    aside: ClassVar[tuple[str, ...]] = ("_known",)

    @cached_property
    def on_values(self) -> tuple[str, ...]:
        """The rules on a sensor or a reading."""
        return tuple(name for name in self.rules if self.scheme.rules[name].watches.numeric)

    def endings(self, bits: Mapping[str, Known], lines: Mapping[str, bool]) -> frozenset[Ending]:
        """All that the path may come to. `bits`: whether each rule on a value ends up active, None where it may be
        either. Raises TooManyError."""
        key = (*(bits[name] for name in self.on_values), *(lines[name] for name in self.lines))
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = frozenset(self._endings(bits, lines))
        return found

    def _endings(self, bits: Mapping[str, Known], lines: Mapping[str, bool]) -> set[Ending]:
        look = _Look(self, lines, dict(bits))
        look.settle()
        running = look.running(self.path)
        if running is not None:
            return {Ending.RUNS if running else Ending.STOPPED}
        free = [name for name in self.on_values if bits[name] is None]
        if free:
            found: set[Ending] = set()
            for chosen in product((False, True), repeat=len(free)):
                found |= self.endings({**bits, **dict(zip(free, chosen, strict=True))}, lines)
            return found
        return _by_states(look)


def cone_of(scheme: Scheme, path: str) -> Cone:
    """The cone of one path."""
    outputs: dict[str, None] = {}
    rules: dict[str, None] = {}
    lines: dict[str, None] = {}
    looked: dict[str, None] = {}
    todo: list[tuple[str, str]] = []

    def signal(unit: str, kind: Signal, name: str) -> None:
        match kind:
            case Signal.RULE:
                todo.append(("rule", name))
            case Signal.PATH:
                for output in scheme.drives(unit, name):
                    looked[output] = None
                    todo.append(("output", output))
            case Signal.LINE:
                line = scheme.lines[name]
                if line.form is LineForm.EXTERNAL:
                    lines[name] = None
                elif line.form is LineForm.CONFIRMS:
                    looked[line.output] = None
                    todo.append(("output", line.output))
                else:
                    todo.extend(("rule", rule) for rule in line.rules)
            case Signal.SENSOR | Signal.READING | Signal.QUANTITY:
                pass

    at: str | None = path
    while at:
        todo.extend(("output", output) for output in scheme.paths[at].outputs)
        at = scheme.paths[at].behind
    while todo:
        what, name = todo.pop()
        if what == "output" and name not in outputs:
            outputs[name] = None
            own = scheme.outputs[name]
            for rule in scheme.rules.values():
                if rule.unit == own.unit and _acts_on(rule, own):
                    todo.append(("rule", rule.name))
                    for target in rule.blocks:
                        for condition in _all(target.when):
                            signal(rule.unit, condition.signal, condition.name)
        elif what == "rule" and name not in rules:
            rules[name] = None
            rule = scheme.rules[name]
            signal(rule.unit, rule.watches, rule.watched)
            for condition in rule.only_while:
                signal(rule.unit, condition.signal, condition.name)
            if may_be_overridden(scheme, rule):
                signal(rule.unit, Signal.LINE, rule.overridden_by)
    return Cone(
        scheme,
        path,
        tuple(name for name in scheme.order if name in rules),
        tuple(name for name in scheme.outputs if name in outputs),
        tuple(name for name in scheme.lines if name in lines),
        tuple(name for name in scheme.outputs if name in looked),
    )


def may_be_overridden(scheme: Scheme, rule: Rule) -> bool:
    """Whether it may be overridden while everything stands still: by a line that is sent or confirming, or by one from
    outside without limit. An override from outside with a limit is over by then."""
    if not rule.overridden_by:
        return False
    return scheme.lines[rule.overridden_by].form is not LineForm.EXTERNAL or rule.override_at_most is None


def _acts_on(rule: Rule, output: Output) -> bool:
    return any(t.path in output.drives for t in rule.blocks) or any(p in output.drives for p in rule.starts)


def _all(when: AnyOf) -> Iterator[Condition]:
    for alternative in when:
        yield from alternative


def bit_at(scheme: Scheme, rule: Rule, piece: Piece) -> Known:
    """Whether a rule on a value ends up active while its sensors read a value of this piece; None: as it was."""
    value = seen_value(scheme, rule, piece.at)
    assert isinstance(rule.trips.test, Limit)
    assert isinstance(rule.clears.test, Limit)
    if compare(value, rule.trips.test):
        return True
    if compare(value, rule.clears.test):
        return False if clears_at_all(rule) else None
    return None


def clears_at_all(rule: Rule) -> bool:
    """Whether it is ever clear again: one that waits for a person and names no line never is."""
    return not rule.manual or bool(rule.reset_by)


def bits_at(scheme: Scheme, names: Sequence[str], groups: Mapping[str, Piece], of: Sequence[Alike]) -> dict[str, Known]:
    """`bit_at` for each of these rules on a value. A rule whose sensors are in no group may end up either way."""
    place = {sensor: groups[group.name] for group in of for sensor in group.sensors if group.name in groups}
    found: dict[str, Known] = {}
    for name in names:
        rule = scheme.rules[name]
        piece = place.get(sensors_of(scheme, rule)[0])
        found[name] = None if piece is None else bit_at(scheme, rule, piece)
    return found


class _Look(Struct):
    """What is known of a cone that stands still: rules active or not, outputs on or not, None where not known."""

    cone: Cone
    lines: Mapping[str, bool]
    active: dict[str, Known]
    on: dict[str, Known] = field(default_factory=dict)
    overridden: dict[str, bool] = field(default_factory=dict)  # taken to be so, or not, while its line is on

    def __post_init__(self) -> None:
        for name in self.cone.rules:
            self.active.setdefault(name, None)
        for name in self.cone.outputs:
            self.on.setdefault(name, None)

    def settle(self) -> None:
        """Work out what follows from what is known, until nothing more does."""
        scheme = self.cone.scheme
        moved = True
        while moved:
            moved = False
            for name in self.cone.rules:
                rule = scheme.rules[name]
                if self.active[name] is not None or rule.watches.numeric:
                    continue
                seen = self.see(rule.unit, rule.watches, rule.watched)
                if seen is None or (seen is not rule.trips.test and not clears_at_all(rule)):
                    continue
                self.active[name] = seen is rule.trips.test
                moved = True
            for name in self.cone.outputs:
                if self.on[name] is None:
                    self.on[name] = self.output(scheme.outputs[name])
                    moved = moved or self.on[name] is not None

    def see(self, unit: str, signal: Signal, name: str) -> Known:
        """What a unit sees of a signal."""
        scheme = self.cone.scheme
        if signal is Signal.RULE:
            return self.active[name]
        if signal is Signal.PATH:
            return _every(self.on[output] for output in scheme.drives(unit, name))
        line = scheme.lines[name]
        if line.form is LineForm.EXTERNAL:
            return self.lines[name]
        if line.form is LineForm.CONFIRMS:
            return self.closed(scheme.outputs[line.output])
        active = _some(self.active[rule] for rule in line.rules)
        return None if active is None else active is (line.form is LineForm.HIGH_WHEN)

    def closed(self, output: Output) -> Known:
        """Whether its contact is closed (driven: high)."""
        on = self.on[output.name]
        if on is None:
            return None
        energised = on is (output.energised_when is EnergisedWhen.RUNS)
        return energised is (output.contact is not Contact.NORMALLY_CLOSED)

    def holds(self, unit: str, conditions: Sequence[Condition]) -> Known:
        """Whether all conditions are met as a unit sees them."""
        return _every(_is(self.see(unit, c.signal, c.name), c.test) for c in conditions)

    def in_force(self, rule: Rule) -> Known:
        """Whether it acts. A line that is on overrides it or not: that depends on when it was seen off."""
        free: Known = True
        if may_be_overridden(self.cone.scheme, rule):
            line = self.see(rule.unit, Signal.LINE, rule.overridden_by)
            taken = self.overridden.get(rule.name)
            free = True if line is False else None if line is None or taken is None else not taken
        return _every((self.active[rule.name], self.holds(rule.unit, rule.only_while), free))

    def output(self, output: Output) -> Known:
        """Whether it is on."""
        scheme = self.cone.scheme
        rules = [scheme.rules[n] for n in self.cone.rules if scheme.rules[n].unit == output.unit]
        blocked = _some(
            _every((self.in_force(rule), self._mode(output.unit, target.when)))
            for rule in rules
            for target in rule.blocks
            if target.path in output.drives
        )
        wanted = _some(
            True
            if scheme.paths[path].started_by != output.unit
            else _some(self.in_force(rule) for rule in rules if path in rule.starts)
            for path in output.drives
        )
        return _every((wanted, None if blocked is None else not blocked))

    def _mode(self, unit: str, when: AnyOf) -> Known:
        return _some(self.holds(unit, alternative) for alternative in when) if when else True

    def running(self, path: str) -> Known:
        """Whether a path is let run."""
        own = self.cone.scheme.paths[path]
        told = [_is(self.closed(o), o.runs_when.when_made) for o in map(self.cone.scheme.outputs.get, own.outputs) if o]
        return _every([*told, self.running(own.behind)] if own.behind else told)


def _every(values: Iterator[Known] | Sequence[Known]) -> Known:
    known: Known = True
    for value in values:
        if value is False:
            return False
        known = None if value is None else known
    return known


def _some(values: Iterator[Known] | Sequence[Known]) -> Known:
    known: Known = False
    for value in values:
        if value is True:
            return True
        known = None if value is None else known
    return known


def _is(value: Known, wanted: object) -> Known:
    return None if value is None else value is wanted


# --- rules that act on what they watch

# rules active, outputs on as seen at the next scan, whether each device on the way is told to run
_State = tuple[tuple[bool, ...], tuple[bool, ...], tuple[bool, ...]]


def _by_states(look: _Look) -> set[Ending]:
    """All endings, from every state of the rules and outputs that are not known, with delays in any order."""
    cone, scheme = look.cone, look.cone.scheme
    rules = [scheme.rules[name] for name in cone.rules if look.active[name] is None]
    outputs = [scheme.outputs[name] for name in cone.outputs if look.on[name] is None]
    seen = [output.name for output in outputs if output.name in cone.looked_at]
    inside = [rule.name for rule in map(scheme.rules.__getitem__, cone.rules) if _doubtful(look, rule)]
    if len(rules) + len(seen) + len(inside) > MOST_STATES:
        raise TooManyError
    way = list(_on_the_way(scheme, cone.path))

    def finish(active: tuple[bool, ...]) -> Iterator[_State]:
        """The outputs at the end of a scan. Where a line may override, it is taken both ways."""
        before = dict(here.on)
        for chosen in product((False, True), repeat=len(inside)):
            here.overridden = dict(zip(inside, chosen, strict=True))
            here.on = {**before, **{output.name: here.output(output) for output in outputs}}
            told = tuple(here.closed(output) is output.runs_when.when_made for output in way)
            yield active, tuple(bool(here.on[name]) for name in seen), told
            here.on = before
        here.overridden = {}

    here = _Look(cone, look.lines, dict(look.active), dict(look.on))

    def step(state: _State) -> Iterator[tuple[_State, frozenset[str]]]:
        """Each state that may follow, with the rules whose delay goes on running meanwhile."""
        here.on.update(zip(seen, state[1], strict=True))
        here.active.update((rule.name, active) for rule, active in zip(rules, state[0], strict=True))
        for active, waiting in _moved(rules, state[0], here, (), frozenset()):
            for after in finish(active):
                yield after, waiting

    begins = [
        (active, on, (False,) * len(way))
        for active in product((False, True), repeat=len(rules))
        for on in product((False, True), repeat=len(seen))
    ]
    found: set[Ending] = set()
    for ring in ends(begins, step, lambda state: all(state[2])):
        found |= _in_ring([state[2] for state in ring])
    return found


def _doubtful(look: _Look, rule: Rule) -> bool:
    """Whether a line may be on that overrides it."""
    if not may_be_overridden(look.cone.scheme, rule):
        return False
    return look.see(rule.unit, Signal.LINE, rule.overridden_by) is not False


def _in_ring(told: Sequence[tuple[bool, ...]]) -> set[Ending]:
    """What a path comes to that goes round these states, by what the devices on its way are told."""
    if all(map(all, told)):
        return {Ending.RUNS}
    if not all(any(device) for device in zip(*told, strict=True)):
        return {Ending.STOPPED}  # one of them is told to stop in all of them
    # never all at once: whether the path runs then is up to how long each takes to obey
    return {Ending.TURNS} if any(map(all, told)) else {Ending.TURNS, Ending.STOPPED}


def _on_the_way(scheme: Scheme, path: str) -> Iterator[Output]:
    at = path
    while at:
        yield from (scheme.outputs[name] for name in scheme.paths[at].outputs)
        at = scheme.paths[at].behind


def _moved(
    rules: Sequence[Rule],
    state: tuple[bool, ...],
    here: _Look,
    moved: tuple[bool, ...],
    waiting: frozenset[str],
) -> Iterator[tuple[tuple[bool, ...], frozenset[str]]]:
    """The rules after one scan, in every way in which their delays may be over by then."""
    at = len(moved)
    if at == len(rules):
        yield moved, waiting
        return
    rule, active = rules[at], state[at]
    seen = here.see(rule.unit, rule.watches, rule.watched)
    assert seen is not None
    trips = seen is rule.trips.test
    choices = [active]
    if trips is not active and (trips or clears_at_all(rule)):
        at_once = (rule.trips if trips else rule.clears).delay.scans == 0 and (trips or not rule.manual)
        choices = [trips] if at_once else [active, trips]
    for choice in choices:
        here.active[rule.name] = choice
        still = waiting | {rule.name} if len(choices) > 1 and choice is active else waiting
        yield from _moved(rules, state, here, (*moved, choice), still)
    here.active[rule.name] = active
