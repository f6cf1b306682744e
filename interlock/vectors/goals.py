"""What the vectors of a unit are to show, one goal at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from interlock.export.unit import UnitCode
from interlock.logic.machine import TABLE
from interlock.scheme.model import Condition, Rule, Scheme
from interlock.scheme.words import OnInvalid, PowerUp, Signal, State, Word

if TYPE_CHECKING:
    from interlock.vectors.moves import Given
    from interlock.vectors.walk import Position, Walker


TOO_EARLY = "pressed a scan too early"


class GoalKind(Word):
    """The kinds of goal, in the order in which they are told."""

    TRANSITION = "transition"
    LIMIT = "limit"
    DELAY = "delay"
    RESET = "reset"
    OVERRIDE = "override"
    CONDITION = "condition"
    LOST = "lost reading"
    POWER_CYCLE = "power cycle"


@dataclass(frozen=True, slots=True)
class Goal:
    """One thing about one rule."""

    kind: GoalKind
    rule: str
    what: str

    def __str__(self) -> str:
        return f"{self.rule}: {self.kind} {self.what}"


class Goals:
    """All goals of a unit; `watched` are those looked for at every scan, not only where a rule moves."""

    def __init__(self, code: UnitCode) -> None:
        self.code = code
        self.scheme: Scheme = code.scheme
        self.place: Mapping[str, int] = {name: i for i, name in enumerate((*code.sensors, *code.lines))}
        rules = [rule for rule in code.scheme.rules.values() if rule.unit == code.unit]
        self.all: tuple[Goal, ...] = tuple(goal for rule in rules for goal in self._of(rule))
        moving = {GoalKind.TRANSITION, GoalKind.LIMIT, GoalKind.DELAY}
        self.watched = frozenset(
            g for g in self.all if g.kind not in moving and (g.kind is not GoalKind.RESET or g.what == "held down")
        )

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
            if rule.clears.delay.scans:
                yield Goal(GoalKind.RESET, rule.name, TOO_EARLY)
        if rule.overridden_by in self.place:
            yield Goal(GoalKind.OVERRIDE, rule.name, "suspends")
            yield Goal(GoalKind.OVERRIDE, rule.name, "not before it was seen off")
            if rule.override_at_most:
                yield Goal(GoalKind.OVERRIDE, rule.name, "runs out")
        for number in range(len(rule.only_while)):
            for met in ("met", "not met"):
                yield Goal(GoalKind.CONDITION, rule.name, f"{number + 1} {met}")
        if rule.watches in (Signal.SENSOR, Signal.READING) and not (
            rule.manual and rule.on_invalid is OnInvalid.CLEAR  # it then waits for its reset, lost or not
        ):
            yield Goal(GoalKind.LOST, rule.name, str(rule.on_invalid))
        states = [State.TRIPPED, State.CLEAR]
        if rule.power_up is PowerUp.AS_LEFT and rule.manual:
            states.append(State.AWAITING_RESET)
        yield from (Goal(GoalKind.POWER_CYCLE, rule.name, str(state)) for state in states)

    def is_lost(self, rule: Rule, given: Given) -> bool:
        """Whether what the rule watches is invalid."""
        names = (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors
        needs = 1 if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].needs
        valid = [given[self.place[n]] in self.code.steps.scheme.sensors[n].valid for n in names]
        return sum(valid) < needs

    def any_lost(self, given: Given) -> bool:
        """Whether any sensor's reading is invalid."""
        sensors = self.code.steps.scheme.sensors
        return any(given[i] not in sensors[name].valid for i, name in enumerate(self.code.sensors))

    def alone(self, goal: Goal, at: Position, after: tuple[int, ...], walker: Walker) -> bool:
        """Whether all conditions of the rule but perhaps the goal's are met, and that one as the goal wants it."""
        rule = self.scheme.rules[goal.rule]
        number, met = goal.what.split(" ", 1)
        for i, condition in enumerate(rule.only_while, 1):
            wanted = met == "met" if i == int(number) else True
            holds = self._holds(rule, condition, at, after, walker)
            if holds is None or holds is not wanted:
                return False
        return True

    def _holds(
        self, rule: Rule, condition: Condition, at: Position, after: tuple[int, ...], walker: Walker
    ) -> bool | None:
        match condition.signal:
            case Signal.LINE:
                place = self.place.get(condition.name)
                return None if place is None else bool(at.given[place]) is condition.test
            case Signal.RULE:
                active = after[walker.slot[condition.name]] >= walker.levels[condition.name].awaiting
                return active is condition.test
            case _:
                on = walker.path_was_on(at.slots, rule.unit, condition.name)
                return None if on is None else on is condition.test


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
