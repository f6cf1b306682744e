"""What the vectors of a unit are to show, one goal at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from interlock.export.unit import UnitCode
from interlock.logic.machine import TABLE
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import OnInvalid, PowerUp, Signal, State, Word
from interlock.vectors.decisions import Leaf, Logic
from interlock.vectors.mcdc import All, Assignment, decides, value

TOO_EARLY = "pressed a scan too early"
SUSPENDS, RUNS_OUT, NOT_BEFORE = "suspends", "runs out", "not before it was seen off"


class GoalKind(Word):
    """The kinds of goal, in the order in which they are told."""

    TRANSITION = "transition"
    LIMIT = "limit"
    DELAY = "delay"
    RESET = "reset"
    OVERRIDE = "override"
    CONDITION = "condition"
    LOST = "lost reading"
    DECISION = "decision"  # a condition of a decision decides it, true and false (`mcdc`)
    BESIDE = "left alone"  # a path that a rule does not block runs while that rule is in force
    POWER_CYCLE = "power cycle"


@dataclass(frozen=True, slots=True)
class Goal:
    """One thing about one rule; of a decision, `rule` is the decision's name."""

    kind: GoalKind
    rule: str
    what: str

    def __str__(self) -> str:
        return f"{self.rule}: {self.kind} {self.what}"


def deciding(condition: str, holds: bool) -> str:
    """What a goal of a decision says: this condition decides it, true or false."""
    return f"{condition}: {'yes' if holds else 'no'}"


class Goals:
    """All goals of a unit, rule by rule, then decision by decision."""

    def __init__(self, code: UnitCode) -> None:
        self.code = code
        self.scheme: Scheme = code.scheme
        self.logic = Logic(code.scheme, code.unit)
        self.place: Mapping[str, int] = {name: i for i, name in enumerate((*code.sensors, *code.lines))}
        rules = [rule for rule in code.scheme.rules.values() if rule.unit == code.unit]
        found = [goal for rule in rules for goal in self._of(rule)]
        found += [
            Goal(GoalKind.DECISION, decision.name, deciding(str(leaf), holds))
            for decision in self.logic.decisions
            for leaf in decision.leaves
            for holds in (True, False)
        ]
        self.all: tuple[Goal, ...] = tuple(found)

    def _of(self, rule: Rule) -> Iterator[Goal]:
        yield from (Goal(GoalKind.TRANSITION, rule.name, words) for words in _rows(rule))
        for word, trigger in (("trip", rule.trips), ("clear", rule.clears)):
            if not (word == "clear" and rule.manual and rule.reset_by not in self.place):
                if rule.watches in (Signal.SENSOR, Signal.READING) or rule.watched in self.place:
                    yield Goal(GoalKind.LIMIT, rule.name, word)
                if trigger.delay.scans:
                    yield Goal(GoalKind.DELAY, rule.name, word)
        if rule.manual and rule.reset_by in self.place:
            yield Goal(GoalKind.RESET, rule.name, "edge")
            yield Goal(GoalKind.RESET, rule.name, "held down")
            yield Goal(GoalKind.RESET, rule.name, TOO_EARLY)
        if rule.overridden_by in self.place:
            yield Goal(GoalKind.OVERRIDE, rule.name, SUSPENDS)
            yield Goal(GoalKind.OVERRIDE, rule.name, NOT_BEFORE)
            if rule.override_at_most:
                yield Goal(GoalKind.OVERRIDE, rule.name, RUNS_OUT)
        for number in range(len(rule.only_while)):
            for met in ("met", "not met"):
                yield Goal(GoalKind.CONDITION, rule.name, f"{number + 1} {met}")
        if rule.watches in (Signal.SENSOR, Signal.READING) and not (
            rule.manual and rule.on_invalid is OnInvalid.CLEAR  # it then waits for its reset, lost or not
        ):
            yield Goal(GoalKind.LOST, rule.name, str(rule.on_invalid))
        for path in self.beside(rule):
            yield Goal(GoalKind.BESIDE, rule.name, path)
        states = [State.TRIPPED, State.CLEAR]
        if rule.power_up is PowerUp.AS_LEFT and rule.manual:
            states.append(State.AWAITING_RESET)
        yield from (Goal(GoalKind.POWER_CYCLE, rule.name, str(state)) for state in states)

    def about(self, goal: Goal) -> tuple[tuple[Leaf, ...], Callable[[Assignment], bool]]:
        """The conditions on which a goal of a decision, of a condition or beside a path depends, and whether so many
        truths of theirs show it."""
        logic = self.logic
        if goal.kind is GoalKind.DECISION:
            decision = next(d for d in logic.decisions if d.name == goal.rule)
            leaf = next(x for x in decision.leaves if goal.what in (deciding(str(x), True), deciding(str(x), False)))
            holds = goal.what == deciding(str(leaf), True)
            return decision.leaves, lambda t: t[str(leaf)] is holds and decides(decision.logic, str(leaf), t)
        if goal.kind is GoalKind.BESIDE:
            acts, own = logic.in_force[goal.rule], logic.own[goal.what]
            return logic.leaves_of(All((acts, own))), lambda t: value(acts, t) and value(own, t)
        number, met = goal.what.split(" ", 1)
        rule, wanted = self.scheme.rules[goal.rule], (int(number), met == "met")
        return logic.leaves, lambda t: wanted in logic.alone(rule, t)

    def beside(self, rule: Rule) -> Iterator[str]:
        """The paths of the unit that a rule leaves alone: none of their outputs is one that it stops."""
        blocked = {target.path for target in rule.blocks}
        for path in self.logic.own:
            outputs = self.scheme.drives(rule.unit, path)
            if not any(blocked & set(self.scheme.outputs[o].drives) for o in outputs):
                yield path

    def is_lost(self, rule: Rule, given: tuple[int, ...]) -> bool:
        """Whether what the rule watches is invalid."""
        names = (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors
        needs = 1 if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].needs
        valid = [given[self.place[n]] in self.code.steps.scheme.sensors[n].valid for n in names]
        return sum(valid) < needs

    def any_lost(self, given: tuple[int, ...]) -> bool:
        """Whether any sensor's reading is invalid."""
        sensors = self.code.steps.scheme.sensors
        return any(given[i] not in sensors[name].valid for i, name in enumerate(self.code.sensors))


def goals(code: UnitCode) -> Goals:
    """The goals of a unit."""
    return Goals(code)


def _rows(rule: Rule) -> list[str]:
    """The moves of a rule's machine from one state to another, by its table and its delays."""
    found = []
    for row in TABLE:
        known = {
            "no_trip_delay": not rule.trips.delay.scans,
            "no_clear_delay": not rule.clears.delay.scans,
            "manual": rule.manual,
        }
        if row.target is None or not all(known.get(word, True) for word in row.when):
            continue
        if row.source is State.PICKING_UP and not rule.trips.delay.scans:
            continue
        if row.source is State.DROPPING_OFF and not rule.clears.delay.scans:
            continue
        if row.source is State.AWAITING_RESET and not rule.manual:
            continue
        if (row.source, row.target) == (State.CLEAR, State.PICKING_UP) and not rule.trips.delay.scans:
            continue
        if row.source is State.TRIPPED and row.target is State.DROPPING_OFF and not rule.clears.delay.scans:
            continue
        if row.target is State.CLEAR and rule.manual and row.source in (State.TRIPPED, State.DROPPING_OFF):
            continue
        if (row.source, row.target) == (State.AWAITING_RESET, State.CLEAR) and not rule.reset_by:
            continue
        found.append(f"{row.source} to {row.target}")
    return list(dict.fromkeys(found))
