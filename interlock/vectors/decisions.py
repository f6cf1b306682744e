"""The logic of a unit as decisions over conditions: for each path it drives, each line it sends, each alarm.

A path's decision is the chain to it: all outputs of the unit that drive it are on, and so is the path it is behind,
where the unit drives that too. Its conditions: rules act, overrides suspend, lines and paths that conditions look at.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.scheme.model import AnyOf, Condition, Rule, Scheme
from interlock.scheme.words import LineForm, Signal, Word
from interlock.vectors.mcdc import All, Assignment, Differ, Expr, Not, Some, Var, conditions, value


class About(Word):
    """What a condition looks at."""

    ACTS = "acts"  # a rule is active
    OVERRIDDEN = "is overridden"  # a rule's effects are suspended
    LINE = "is on"  # a line that arrives
    PATH = "was let run"  # a path, as the unit commanded it at the scan before


@dataclass(frozen=True, slots=True)
class Leaf:
    """A condition of a decision."""

    about: About
    name: str

    def __str__(self) -> str:
        return f"{self.name} {self.about}"


@dataclass(frozen=True, slots=True)
class Decision:
    """One decision; `tells`: what is true with it, in words."""

    name: str
    tells: str
    logic: Expr
    leaves: tuple[Leaf, ...]


class Logic:
    """The decisions of one unit."""

    def __init__(self, scheme: Scheme, unit: str) -> None:
        self.scheme, self.unit = scheme, unit
        self.rules = {name: rule for name, rule in scheme.rules.items() if rule.unit == unit}
        self._leaf: dict[str, Leaf] = {}
        self.in_force: Mapping[str, Expr] = {name: self._in_force(rule) for name, rule in self.rules.items()}
        self.own: Mapping[str, Expr] = {
            path: All(tuple(dict.fromkeys(self._on(o) for o in outputs)))
            for path in scheme.paths
            if (outputs := scheme.drives(unit, path))
        }
        self.decisions = tuple(self._all())
        self.leaves: tuple[Leaf, ...] = tuple(self._leaf.values())

    def leaves_of(self, logic: Expr) -> tuple[Leaf, ...]:
        """The conditions in a part of the logic."""
        return tuple(self._leaf[c] for c in conditions(logic))

    def alone(self, rule: Rule, given: Assignment) -> Iterator[tuple[int, bool]]:
        """The conditions of a rule by number, from 1, that alone decide whether its effects are in force, and whether
        each is met; none where nothing told depends on that."""
        others = self._var(About.ACTS, rule.name)
        suspended = rule.overridden_by and given[str(Leaf(About.OVERRIDDEN, rule.name))]
        if not given[others.name] or suspended:
            return
        met = [value(self._condition(condition), given) for condition in rule.only_while]
        if sum(met) >= len(met) - 1 and self._matters(rule.name, all(met), given):
            yield from ((n, holds) for n, holds in enumerate(met, 1) if not holds or all(met))

    def _matters(self, name: str, in_force: bool, given: Assignment) -> bool:
        """Whether something told would differ, were the rule's effects the other way."""
        if self.rules[name].alarm:
            return True
        for own in self.own.values():
            turned = _with(own, self.in_force[name], All(()) if not in_force else Some(()))
            if value(own, given) is not value(turned, given):
                return True
        return False

    def _all(self) -> Iterator[Decision]:
        for path in self.own:
            yield self._decision(path, "let run", self._chain(path))
        for name, line in self.scheme.lines.items():
            if line.form.sent and line.unit == self.unit:
                yield self._decision(name, "on", self._line(name))
        for name, rule in self.rules.items():
            if rule.alarm:
                yield self._decision(f"alarm of {name}", "raised", self.in_force[name])

    def _decision(self, name: str, tells: str, logic: Expr) -> Decision:
        return Decision(name, tells, logic, tuple(self._leaf[c] for c in conditions(logic)))

    def _chain(self, path: str) -> Expr:
        parts, name = list[Expr](), path
        while name:
            if name in self.own:
                parts.append(self.own[name])
            name = self.scheme.paths[name].behind
        return All(tuple(dict.fromkeys(parts))) if len(set(parts)) > 1 else parts[0]

    def _on(self, output: str) -> Expr:
        drives = self.scheme.outputs[output].drives
        blocks = [
            self._while(self.in_force[name], target.when)
            for path in drives
            for name, rule in self.rules.items()
            for target in rule.blocks
            if target.path == path
        ]
        free: Expr = Not(Some(tuple(dict.fromkeys(blocks))))
        if any(self.scheme.paths[path].started_by != self.unit for path in drives):
            return free
        starts = [self.in_force[name] for path in drives for name, rule in self.rules.items() if path in rule.starts]
        return All((Some(tuple(dict.fromkeys(starts))), free))

    def _while(self, acts: Expr, when: AnyOf) -> Expr:
        if not when:
            return acts
        return All((acts, Some(tuple(All(tuple(self._condition(c) for c in joint)) for joint in when))))

    def _in_force(self, rule: Rule) -> Expr:
        parts: list[Expr] = [self._var(About.ACTS, rule.name)]
        if rule.overridden_by:
            parts.append(Not(self._var(About.OVERRIDDEN, rule.name)))
        parts += [self._condition(condition) for condition in rule.only_while]
        return All(tuple(parts)) if len(parts) > 1 else parts[0]

    def _condition(self, condition: Condition) -> Expr:
        match condition.signal:
            case Signal.LINE:
                seen = self._line(condition.name)
            case Signal.RULE:
                seen = self._var(About.ACTS, condition.name)
            case _:
                seen = self._var(About.PATH, condition.name)
        return seen if condition.test is True else Not(seen)

    def _line(self, name: str) -> Expr:
        line = self.scheme.lines[name]
        if not (line.form.sent and line.unit == self.unit):
            return self._var(About.LINE, name)
        active = Some(tuple(self._var(About.ACTS, rule) for rule in line.rules))
        return active if line.form is LineForm.HIGH_WHEN else Not(active)

    def _var(self, about: About, name: str) -> Var:
        leaf = Leaf(about, name)
        self._leaf.setdefault(str(leaf), leaf)
        return Var(str(leaf))


def _with(logic: Expr, old: Expr, new: Expr) -> Expr:
    """A decision with one part of it replaced wherever it stands."""
    if logic == old:
        return new
    match logic:
        case Var():
            return logic
        case Not(of):
            return Not(_with(of, old, new))
        case All(of):
            return All(tuple(_with(part, old, new) for part in of))
        case Some(of):
            return Some(tuple(_with(part, old, new) for part in of))
        case Differ(one, other):
            return Differ(_with(one, old, new), _with(other, old, new))
