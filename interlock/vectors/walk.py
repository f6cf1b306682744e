"""One unit stepped through inputs, with what is worth seeing told as it happens.

A goal is counted only where it is *seen*: had the rule not done it, something the unit tells at that scan would differ.
Long waits are run in few steps: while inputs and everything but counters stay as they are, counters move at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from interlock.export.unit import UnitCode
from interlock.logic.builder import Builder
from interlock.logic.compiled import scan_function
from interlock.logic.program import Input, InputKind, Observe, Program, SlotKind
from interlock.logic.rebuild import rebuilt
from interlock.scheme.words import OnInvalid, State
from interlock.vectors.goals import TOO_EARLY, Goal, GoalKind, goals
from interlock.vectors.moves import Given, Move, patched

FOREVER = 1 << 60


@dataclass(frozen=True, slots=True)
class Position:
    """Where a walk is: the unit's slots and after them the levels of rules that need none; the inputs that stay; the
    limits being passed (rule and side)."""

    slots: tuple[int, ...]
    given: Given
    passing: frozenset[tuple[str, bool]] = frozenset()
    arrived: frozenset[str] = frozenset()  # rules that came to await their reset at the scan before


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of some scans: each goal with the scan after which it was reached, and where the walk is then."""

    reached: tuple[tuple[int, Goal], ...]
    end: Position
    scans: int
    settled: bool  # nothing more can change while the inputs stay


class Walker:
    """Steps a unit. Positions are values: a walk can be tried from anywhere."""

    def __init__(self, code: UnitCode) -> None:
        self.code, self.program = code, code.program
        self.levels = code.program.levels
        self._scan = scan_function(self.program)
        self.rules = [name for name, rule in code.scheme.rules.items() if rule.unit == code.unit]
        at = {(s.kind, s.name): i for i, s in enumerate(self.program.slots)}
        self.states = {
            name: [coding.state(level)[0] for level in range(coding.top + 1)]
            for name, coding in self.levels.items()
            if name in self.rules
        }
        self._sorted: tuple[frozenset[Goal], Mapping[GoalKind, tuple[Goal, ...]]] = (frozenset(), {})
        without = [name for name in self.rules if (SlotKind.LEVEL, name) not in at]
        at |= {(SlotKind.LEVEL, name): len(at) + i for i, name in enumerate(without)}
        self.slot = {name: at[SlotKind.LEVEL, name] for name in self.rules}
        self.start = self.program.initial + tuple(
            self.levels[name].powered_up(code.scheme.rules[name].power_up) for name in without
        )
        self.count = {name: at[SlotKind.OVERRIDE, name] for name in self.rules if (SlotKind.OVERRIDE, name) in at}
        self.memory = {name: i for (kind, name), i in at.items() if kind is SlotKind.ON}
        self.off = {name: i for (kind, name), i in at.items() if kind is SlotKind.SEEN_OFF}
        self.goals = goals(code)
        told = {(o.kind, o.name): i for i, o in enumerate(self.program.observations)}
        self._without = [told[Observe.LEVEL, name] for name in without]
        self._told = [told[key] for key in code.told]
        names = (*code.sensors, *code.lines)
        self._order = [len(names) if d.kind is InputKind.CYCLE else names.index(d.name) for d in self.program.inputs]
        self._flags = {i for i, s in enumerate(self.program.slots) if s.boolean}

    # --- what would be told otherwise

    @cached_property
    def _forced(self) -> Program:
        """The program with two more inputs a rule: its level on the other side, its effects the other way."""
        levels = {o.node: o.name for o in self.program.observations if o.kind is Observe.LEVEL}
        effects = {o.node: o.name for o in self.program.observations if o.kind is Observe.IN_FORCE}

        def hook(b: Builder, number: int, made: int) -> int:
            if number in levels:
                name = levels[number]
                level, turned = self.levels[name], b.input(Input(InputKind.LINE, f"level of {name}"))
                active = b.at_least(made, level.awaiting)
                made = b.select(turned, b.select(active, b.constant(0), b.constant(level.top)), made)
            if number in effects:
                turned = b.input(Input(InputKind.LINE, f"effect of {effects[number]}"))
                made = b.equal(made, b.negate(turned))
            return made

        return rebuilt(self.program, hook)

    @cached_property
    def _forced_scan(self) -> tuple[object, dict[str, int], list[int], list[int]]:
        program = self._forced
        at = {d.name: i for i, d in enumerate(program.inputs)}
        told = {(o.kind, o.name): i for i, o in enumerate(program.observations)}
        names = (*self.code.sensors, *self.code.lines)
        order = [
            len(names) if d.kind is InputKind.CYCLE else names.index(d.name) if d.name in names else -1
            for d in program.inputs
        ]
        return scan_function(program), at, [told[key] for key in self.code.told], order

    def otherwise(self, slots: tuple[int, ...], given: Given, cycle: bool, turned: str) -> tuple[int, ...] | None:
        """What would be told at this scan with that one thing turned (`level of RULE`, `effect of RULE`); None where
        the unit has no such thing."""
        scan, at, told, order = self._forced_scan
        if turned not in at:
            return None
        values = [0 if i < 0 else int(cycle) if i == len(given) else given[i] for i in order]
        values[at[turned]] = 1
        _, observed = scan(slots[: len(self.program.slots)], values)  # type: ignore[operator]
        return tuple(int(observed[i]) for i in told)

    def told(
        self, slots: tuple[int, ...], given: Given, cycle: bool = False
    ) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """One scan: the slots it leaves, and what is told."""
        after, observed = self._scan(
            slots[: len(self.program.slots)], [*(int(cycle) if i == len(given) else given[i] for i in self._order)]
        )
        levels = (int(observed[i]) for i in self._without)
        return (*map(int, after), *levels), tuple(int(observed[i]) for i in self._told)

    def in_force(self, slots: tuple[int, ...], given: Given, cycle: bool) -> dict[str, bool]:
        """Whether each rule's effects are in force at this scan; rules without effects are left out."""
        values = [int(cycle) if i == len(given) else given[i] for i in self._order]
        _, observed = self._scan(slots[: len(self.program.slots)], values)
        told = zip(self.program.observations, observed, strict=True)
        return {o.name: bool(value) for o, value in told if o.kind is Observe.IN_FORCE}

    # --- running

    def run(self, at: Position, move: Move | None, scans: int, pending: frozenset[Goal]) -> Outcome:
        """Do a move and wait until `scans` scans are over in all or nothing can change any more."""
        reached: list[tuple[int, Goal]] = []
        now, position = 0, at
        frames = list(move.frames) if move else []
        last_frame = len(frames) - 1
        for number, (patch, length) in enumerate(frames):
            position = Position(position.slots, patched(position.given, patch), position.passing, position.arrived)
            if move and move.tag and number == (last_frame if move.tag_at is None else move.tag_at):
                position = Position(position.slots, position.given, position.passing | {move.tag}, position.arrived)
            over = now + length
            while now < over:
                before = position
                position, found, quiet = self._step(position, bool(move and move.cycle and now == 0), pending)
                now += 1
                reached += [(now, goal) for goal in found]
                if quiet and now < over and before.slots != position.slots:
                    position, skipped = self._skip(before, position, over - now)
                    now += skipped
        settled = False
        while now < scans and not settled:
            before = position
            position, found, quiet = self._step(position, False, pending)
            now += 1
            reached += [(now, goal) for goal in found]
            if quiet and before.given == position.given:
                if before.slots == position.slots:
                    settled = True
                else:
                    position, skipped = self._skip(before, position, scans - now)
                    now += skipped
        return Outcome(tuple(reached), position, now, settled)

    def _step(self, at: Position, cycle: bool, pending: frozenset[Goal]) -> tuple[Position, list[Goal], bool]:
        after, told = self.told(at.slots, at.given, cycle)
        quiet, found = not cycle, list[Goal]()
        passing, arrived = at.passing, set[str]()
        for name in self.rules:
            was, now = at.slots[self.slot[name]], after[self.slot[name]]
            if was == now:
                continue
            old, new = self.states[name][was], self.states[name][now]
            if old is not new:
                quiet = quiet and not old.active ^ new.active
                if new is State.AWAITING_RESET and not cycle:
                    arrived.add(name)
                found += self._moved(at, cycle, told, name, old, new, pending)
                for side in (True, False):
                    back = State.CLEAR if side else State.TRIPPED
                    if (name, side) in passing and new is back:
                        passing = passing - {(name, side)}
        if any((at.slots[i] != after[i]) for i in self._flags):
            quiet = False
        found += self._others(at, cycle, after, told, pending)
        quiet = quiet and not arrived
        return (
            Position(after, at.given, passing, frozenset(arrived)),
            [g for g in dict.fromkeys(found) if g in pending],
            quiet,
        )

    def _moved(
        self, at: Position, cycle: bool, told: tuple[int, ...], name: str, old: State, new: State,
        pending: frozenset[Goal],
    ) -> Iterator[Goal]:  # fmt: skip
        if cycle:
            return
        rows = Goal(GoalKind.TRANSITION, name, f"{old} to {new}")
        if old.active is new.active:
            # nothing is told of it at this scan: what comes of it is, when the rule next acts or lets go
            yield rows
            if new is State.AWAITING_RESET:
                line = self.goals.place.get(self.code.scheme.rules[name].reset_by)
                before = self.off.get(self.code.scheme.rules[name].reset_by)
                pressed = line is not None and before is not None and at.given[line] and at.slots[before]
                if pressed and (name, False) in at.passing:
                    yield Goal(GoalKind.RESET, name, TOO_EARLY)
            return
        side = new.active
        word = "trip" if side else "clear"
        wanted: tuple[Goal, ...] = (rows, Goal(GoalKind.DELAY, name, word), Goal(GoalKind.LIMIT, name, word))
        reset = old is State.AWAITING_RESET and new is State.CLEAR
        if reset:
            wanted = (rows, Goal(GoalKind.RESET, name, "edge"), *wanted[1:])
        if not pending.intersection(wanted):
            return
        if self.otherwise(at.slots, at.given, cycle, f"level of {name}") in (told, None):
            return
        yield rows
        if reset:
            yield wanted[1]
            if name in at.arrived:  # at the first scan that accepts it
                yield wanted[2]
                if (name, side) in at.passing:
                    yield wanted[3]
            return
        if (old in (State.PICKING_UP, State.DROPPING_OFF)) or not self._delay(name, side):
            yield wanted[1]
        if (name, side) in at.passing:
            yield wanted[2]

    def _delay(self, name: str, side: bool) -> int:
        levels = self.levels[name]
        return levels.trip_scans if side else levels.clear_scans

    def _wanted(self, pending: frozenset[Goal]) -> Mapping[GoalKind, tuple[Goal, ...]]:
        """The goals looked for at every scan, by kind; worked out once for each set of them."""
        if self._sorted[0] is not pending:
            kinds: dict[GoalKind, list[Goal]] = {}
            for goal in self.goals.all:
                if goal in pending and goal in self.goals.watched:
                    kinds.setdefault(goal.kind, []).append(goal)
            self._sorted = (pending, {kind: tuple(found) for kind, found in kinds.items()})
        return self._sorted[1]

    def _others(
        self, at: Position, cycle: bool, after: tuple[int, ...], told: tuple[int, ...], pending: frozenset[Goal]
    ) -> Iterator[Goal]:
        wanted = self._wanted(pending)
        if cycle:  # so many rules trip at once that little of it is told
            for goal in wanted.get(GoalKind.POWER_CYCLE, ()):
                if str(self.states[goal.rule][at.slots[self.slot[goal.rule]]]) == goal.what:
                    yield goal
            return
        for goal in wanted.get(GoalKind.RESET, ()):  # held down when it comes to wait, and still held one scan later
            line, was = self.goals.place[self.code.scheme.rules[goal.rule].reset_by], at.slots[self.slot[goal.rule]]
            waits = at.given[line] and was == after[self.slot[goal.rule]] == self.levels[goal.rule].awaiting
            if waits and self._seen(at, cycle, told, f"level of {goal.rule}"):
                yield goal
        for goal in wanted.get(GoalKind.OVERRIDE, ()):
            if self._overrides(goal, at, cycle, after, told):
                yield goal
        if GoalKind.LOST in wanted and self.goals.any_lost(at.given):
            for goal in wanted[GoalKind.LOST]:
                if self._lost(goal, at, cycle, (at.slots[self.slot[goal.rule]], after[self.slot[goal.rule]]), told):
                    yield goal
        for goal in wanted.get(GoalKind.CONDITION, ()):
            slot, awaiting = self.slot[goal.rule], self.levels[goal.rule].awaiting
            active = after[slot] >= awaiting and at.slots[slot] >= awaiting
            alone = active and self.goals.alone(goal, at, after, self)
            if alone and self._seen(at, cycle, told, f"effect of {goal.rule}"):
                yield goal

    def _seen(self, at: Position, cycle: bool, told: tuple[int, ...], turned: str) -> bool:
        return self.otherwise(at.slots, at.given, cycle, turned) not in (told, None)

    def _lost(self, goal: Goal, at: Position, cycle: bool, levels: tuple[int, int], told: tuple[int, ...]) -> bool:
        """Whether a lost reading decides at this scan: trips the rule, lets it go, or holds its running delay."""
        rule, (was, now), coding = self.code.scheme.rules[goal.rule], levels, self.levels[goal.rule]
        if cycle or not self.goals.is_lost(rule, at.given):
            return False
        active, then = now >= coding.awaiting, was >= coding.awaiting
        match rule.on_invalid:
            case OnInvalid.TRIP:
                return active and not then and self._seen(at, cycle, told, f"level of {goal.rule}")
            case OnInvalid.CLEAR:
                return then and not active and self._seen(at, cycle, told, f"level of {goal.rule}")
            case OnInvalid.HOLD:
                return was == now and coding.state(was)[0] in (State.PICKING_UP, State.DROPPING_OFF)

    def path_was_on(self, slots: tuple[int, ...], unit: str, path: str) -> bool | None:
        """Whether the unit had commanded a path on at the scan before; None where it keeps no memory of it."""
        outputs = [self.memory.get(o) for o in self.code.scheme.drives(unit, path)]
        return None if None in outputs else all(slots[i] for i in outputs if i is not None)

    def _overrides(self, goal: Goal, at: Position, cycle: bool, after: tuple[int, ...], told: tuple[int, ...]) -> bool:
        rule, levels = self.code.scheme.rules[goal.rule], self.levels[goal.rule]
        place = self.goals.place.get(rule.overridden_by)
        if place is None or not at.given[place] or cycle:
            return False
        if after[self.slot[goal.rule]] < levels.awaiting:
            return False
        was, now = at.slots[self.count[goal.rule]], after[self.count[goal.rule]]
        over = self.program.slots[self.count[goal.rule]].high if rule.override_at_most else FOREVER
        hit = {
            "suspends": was == 1 and now == 2 < over,
            "runs out": was == over - 1 and now == over,
            "not before it was seen off": was == 0,
        }[goal.what]
        return hit and self._seen(at, cycle, told, f"effect of {goal.rule}")

    def _skip(self, before: Position, now: Position, most: int) -> tuple[Position, int]:
        """Move all counters on to just before the first of them decides something."""
        room, steps = most, []
        for i, slot in enumerate(self.program.slots):
            step = now.slots[i] - before.slots[i]
            steps.append(step)
            if not step:
                continue
            if slot.kind is SlotKind.LEVEL:
                levels = self.levels[slot.name]
                room = min(
                    room, (levels.trip_scans - now.slots[i]) if step == 1 else (now.slots[i] - levels.awaiting - 1)
                )
            elif step == 1:
                room = min(room, slot.high - 1 - now.slots[i])
            if step not in (1, -1):
                return now, 0
        if room <= 0:
            return now, 0
        steps += [0] * (len(now.slots) - len(steps))
        slots = tuple(v + room * s for v, s in zip(now.slots, steps, strict=True))
        return Position(slots, now.given, now.passing, now.arrived), room


def worth(goals_reached: Sequence[tuple[int, Goal]]) -> frozenset[Goal]:
    """The goals alone."""
    return frozenset(goal for _, goal in goals_reached)
