"""What can matter to whether a path runs: the rules, outputs and lines behind it, and which way each should be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from msgspec import Struct

from interlock.scheme.model import Condition, Output, Rule, Scheme
from interlock.scheme.words import Contact, EnergisedWhen, LineForm, Signal

Wants = Mapping[tuple[Signal, str], frozenset[bool]]  # rules that watch a value: active or not; external lines: on, off


class Cone(Struct, frozen=True):
    """Of one path. `rules` in the order of one scan. `chain`: the outputs that decide whether it runs. `external`: the
    external lines that are read; `resets`: those that reset any rule of the scheme; `overrides`: those that override.
    `starters`: rules that start something of the chain. `protectors`: rules that stop it, and those whose word they
    pass on. `wants`: what helps it to run. `feedback`: rules that depend on what they decide."""

    path: str
    rules: tuple[str, ...]
    outputs: tuple[str, ...]
    chain: tuple[str, ...]
    external: tuple[str, ...]
    resets: tuple[str, ...]
    overrides: tuple[str, ...]
    starters: tuple[str, ...]
    protectors: tuple[str, ...]
    wants: Wants
    feedback: frozenset[str]


def closed_when_on(output: Output) -> bool:
    """Whether a sound output's contact is closed (high) while the output is on."""
    closed_when_energised = output.contact is not Contact.NORMALLY_CLOSED
    return closed_when_energised is (output.energised_when is EnergisedWhen.RUNS)


def runs_when_on(output: Output) -> bool:
    """Whether a sound output lets its device run while it is on."""
    return closed_when_on(output) is output.runs_when.when_made


def chain_of(scheme: Scheme, path: str) -> tuple[str, ...]:
    """The outputs of a path and of all it is behind."""
    found: list[str] = []
    while path:
        found += scheme.paths[path].outputs
        path = scheme.paths[path].behind
    return tuple(dict.fromkeys(found))


def cone_of(scheme: Scheme, path: str) -> Cone:
    """The cone of a path in a sound installation."""
    chain = chain_of(scheme, path)
    walk = _Walk(scheme)
    for name in chain:
        walk.output(name, runs_when_on(scheme.outputs[name]))
    everything = _Everything(scheme)
    for name in chain:
        everything.output(name)
    rules = tuple(r for r in scheme.order if r in everything.rules)
    records = [scheme.rules[r] for r in rules]
    external = tuple(n for n in scheme.lines if n in everything.lines and _external(scheme, n))
    resets = {r.reset_by for r in scheme.rules.values() if r.manual}
    overrides = {r.overridden_by for r in records}
    direct = [r.name for r in records if any(_meets(scheme, r, o, blocks=True) for o in chain)]
    starters = tuple(r.name for r in records if any(_meets(scheme, r, o, blocks=False) for o in chain))
    return Cone(
        path,
        rules,
        tuple(o for o in scheme.outputs if o in everything.outputs),
        chain,
        external,
        tuple(n for n in external if n in resets),
        tuple(n for n in external if n in overrides),
        starters,
        _protectors(scheme, direct),
        {item: frozenset(wanted) for item, wanted in walk.items.items()},
        _feedback(scheme, rules),
    )


def _external(scheme: Scheme, line: str) -> bool:
    return scheme.lines[line].form is LineForm.EXTERNAL


def _meets(scheme: Scheme, rule: Rule, output: str, *, blocks: bool) -> bool:
    record = scheme.outputs[output]
    paths = [t.path for t in rule.blocks] if blocks else rule.starts
    return rule.unit == record.unit and any(p in record.drives for p in paths)


def _protectors(scheme: Scheme, direct: Iterable[str]) -> tuple[str, ...]:
    """Rules that stop a path, and those whose word they pass on (a watched rule, a sent line)."""
    found: dict[str, None] = {}
    todo = list(direct)
    while todo:
        name = todo.pop(0)
        if name in found:
            continue
        found[name] = None
        rule = scheme.rules[name]
        if rule.watches is Signal.RULE:
            todo.append(rule.watched)
        elif rule.watches is Signal.LINE:
            todo += scheme.lines[rule.watched].rules
    return tuple(r for r in scheme.rules if r in found)


def needs(rule: Rule) -> list[tuple[Signal, str]]:
    """Everything a rule's effects depend on."""
    found = [(rule.watches, rule.watched)] if not rule.watches.numeric else []
    found += [(c.signal, c.name) for c in rule.only_while]
    found += [(c.signal, c.name) for t in rule.blocks for alternative in t.when for c in alternative]
    found += [(Signal.LINE, n) for n in (rule.reset_by if rule.manual else "", rule.overridden_by) if n]
    return found


class _Everything:
    """All rules, outputs and lines that an output depends on, whichever way."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.rules: set[str] = set()
        self.outputs: set[str] = set()
        self.lines: set[str] = set()

    def output(self, name: str) -> None:
        if name in self.outputs:
            return
        self.outputs.add(name)
        for rule in self.scheme.rules.values():
            if any(_meets(self.scheme, rule, name, blocks=b) for b in (True, False)):
                self.rule(rule.name)

    def rule(self, name: str) -> None:
        if name in self.rules:
            return
        self.rules.add(name)
        rule = self.scheme.rules[name]
        for signal, other in needs(rule):
            self.signal(rule.unit, signal, other)

    def signal(self, unit: str, signal: Signal, name: str) -> None:
        if signal is Signal.RULE:
            self.rule(name)
        elif signal is Signal.PATH:
            for output in self.scheme.drives(unit, name):
                self.output(output)
        elif signal is Signal.LINE and name not in self.lines:
            self.lines.add(name)
            line = self.scheme.lines[name]
            for rule in line.rules:
                self.rule(rule)
            if line.form is LineForm.CONFIRMS:
                self.output(line.output)


def _feedback(scheme: Scheme, rules: Iterable[str]) -> frozenset[str]:
    """Rules that depend on themselves by way of an output or of each other's timers."""
    behind: dict[str, frozenset[str]] = {}
    for name in rules:
        walk = _Everything(scheme)
        for signal, other in needs(scheme.rules[name]):
            walk.signal(scheme.rules[name].unit, signal, other)
        behind[name] = frozenset(walk.rules)
    return frozenset(name for name, others in behind.items() if name in others)


class _Walk:
    """Backward from one wish, signs multiplied on the way."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.items: dict[tuple[Signal, str], set[bool]] = {}
        self._been: set[tuple[str, str, bool]] = set()

    def _first(self, kind: str, name: str, wanted: bool) -> bool:
        key = (kind, name, wanted)
        new = key not in self._been
        self._been.add(key)
        return new

    def output(self, name: str, on: bool) -> None:
        if not self._first("output", name, on):
            return
        record = self.scheme.outputs[name]
        for rule in self.scheme.rules.values():
            if _meets(self.scheme, rule, name, blocks=True):
                self.effect(rule, not on)
                for target in rule.blocks:
                    for condition in (c for alternative in target.when for c in alternative):
                        if target.path in record.drives:
                            self.seen(rule.unit, condition, not on)
            if _meets(self.scheme, rule, name, blocks=False):
                self.effect(rule, on)

    def effect(self, rule: Rule, in_force: bool) -> None:
        self.rule(rule.name, in_force)
        for condition in rule.only_while:
            self.seen(rule.unit, condition, in_force)
        if rule.overridden_by:
            self.line(rule.overridden_by, not in_force)

    def rule(self, name: str, active: bool) -> None:
        if not self._first("rule", name, active):
            return
        rule = self.scheme.rules[name]
        if rule.watches.numeric:
            self.items.setdefault((Signal.RULE, name), set()).add(active)
        else:
            self.seen(rule.unit, Condition(rule.watches, rule.watched, rule.trips.test), active)

    def seen(self, unit: str, condition: Condition, holds: bool) -> None:
        wanted = bool(condition.test) is holds
        match condition.signal:
            case Signal.LINE:
                self.line(condition.name, wanted)
            case Signal.PATH:
                for output in self.scheme.drives(unit, condition.name):
                    self.output(output, wanted)
            case Signal.RULE:
                self.rule(condition.name, wanted)
            case Signal.QUANTITY | Signal.SENSOR | Signal.READING:
                raise AssertionError(f"no yes or no: {condition.signal}")

    def line(self, name: str, on: bool) -> None:
        if not self._first("line", name, on):
            return
        line = self.scheme.lines[name]
        match line.form:
            case LineForm.EXTERNAL:
                self.items.setdefault((Signal.LINE, name), set()).add(on)
            case LineForm.CONFIRMS:
                self.output(line.output, on is closed_when_on(self.scheme.outputs[line.output]))
            case LineForm.LOW_WHEN | LineForm.HIGH_WHEN:
                for rule in line.rules:
                    self.rule(rule, on is (line.form is LineForm.HIGH_WHEN))


def wants_of_rule(scheme: Scheme, rule: str, active: bool) -> Wants:
    """What helps a rule to become active, or clear."""
    walk = _Walk(scheme)
    walk.rule(rule, active)
    return {item: frozenset(wanted) for item, wanted in walk.items.items()}
