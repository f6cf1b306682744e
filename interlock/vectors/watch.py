"""One unit watched scan by scan: which goals each scan shows, and which it would show were nothing else in the way.

A goal counts only where it is *seen*: had the rule not done it, something the unit tells at that scan would differ.
Long waits are run in few steps: while inputs and everything but counters stay as they are, counters move at once.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

from interlock.export.unit import UnitCode
from interlock.logic.program import SlotKind
from interlock.scheme.model import Limit, Rule
from interlock.scheme.words import OnInvalid, Signal, State
from interlock.vectors.decisions import About, Leaf
from interlock.vectors.goals import NOT_BEFORE, RUNS_OUT, SUSPENDS, TOO_EARLY, Goal, GoalKind, Goals, deciding
from interlock.vectors.inputs import Given, Inputs, sides
from interlock.vectors.mcdc import decides, value
from interlock.vectors.walk import Walker

FOREVER = 1 << 60
REMEMBERED = 100_000  # scans: of all that a planner tries, four in five begin where an earlier trial's did

Holds = Callable[[tuple[int, ...], tuple[int, ...], Given], tuple[bool, ...]]
_ROW, _LIMIT, _DELAY = str(GoalKind.TRANSITION), str(GoalKind.LIMIT), str(GoalKind.DELAY)
_RESET, _OVERRIDE, _LOST = str(GoalKind.RESET), str(GoalKind.OVERRIDE), str(GoalKind.LOST)
_ENDS = (State.CLEAR, State.TRIPPED)
_RUNS = (State.PICKING_UP, State.DROPPING_OFF)
_NOBODY: frozenset[str] = frozenset()
_CYCLE = str(GoalKind.POWER_CYCLE)


@dataclass(frozen=True, slots=True)
class At:
    """Where a unit is between two scans: its slots, the inputs of the scan before, the delays that began exactly at
    their limit (rule and side), the rules that came to await their reset at the scan before, those whose delay a
    lost reading broke off and that began it again as soon as there was a reading, and those that turned at the scan
    before, at once with the rule they watch, while nothing told of it, with the goal of that turn."""

    slots: tuple[int, ...]
    given: Given = ()
    exact: frozenset[tuple[str, bool]] = frozenset()
    arrived: frozenset[str] = frozenset()
    broken: frozenset[str] = frozenset()
    untold: frozenset[tuple[str, int]] = frozenset()


@dataclass(frozen=True, slots=True)
class Step:
    """What one scan came to. `shown`: goals, as a set of bits (`Watcher.bits`); `hidden`: those that nothing told
    shows; `moved`: rules with their states before and after; `quiet`: nothing but counters moved; `still`: not even
    those."""

    after: At
    shown: int = 0
    hidden: int = 0
    moved: tuple[tuple[str, State, State], ...] = ()
    quiet: bool = False
    still: bool = False


class Watcher(Walker):
    """Steps a unit and tells the goals, all of them or those asked for. Positions are values: a walk can be tried from
    anywhere."""

    def __init__(self, code: UnitCode, only: Collection[Goal] | None = None) -> None:
        super().__init__(code)
        self.goals, self.inputs = Goals(code), Inputs(code)
        self.bits: dict[Goal, int] = {
            goal: 1 << i for i, goal in enumerate(self.goals.all) if only is None or goal in only
        }
        self._bit = {(str(g.kind), g.rule, g.what): bit for g, bit in self.bits.items()}
        self._rule = {name: code.scheme.rules[name] for name in self.rules}
        self._manual = [n for n, r in self._rule.items() if r.manual and r.reset_by in self.goals.place]
        self._overridden = [n for n, r in self._rule.items() if r.overridden_by in self.goals.place]
        self._reading = [n for n, r in self._rule.items() if r.watches in (Signal.SENSOR, Signal.READING)]
        self._flags = [i for i, s in enumerate(self.program.slots) if s.boolean]
        self._levels = [(name, self.slot[name], self.states[name]) for name in self.rules]
        self._rows = {
            (name, old.value, new.value): self._bit.get((_ROW, name, f"{old} to {new}"), 0)
            for name in self.rules
            for old in State
            for new in State
        }
        self._counters = [
            (i, s, self.levels[s.name] if s.kind is SlotKind.LEVEL else None)
            for i, s in enumerate(self.program.slots)
            if not s.boolean
        ]
        self._values: dict[Given, tuple[list[int], list[int], frozenset[str]]] = {}
        self._logic: dict[tuple[bool, ...], int] = {}
        self._steps: dict[tuple[object, ...], Step] = {}
        self._size = len(self.program.slots)
        looks = "".join(f"({self._look(leaf)}), " for leaf in self.goals.logic.leaves)
        self._holds: Holds = eval(f"lambda b, a, g: ({looks})")  # our own numbers only

    def first(self) -> At:
        """Before the first scan."""
        return At(self.start)

    def step(self, at: At, given: Given, cycle: bool = False) -> Step:
        """One scan."""
        key = (at.slots, at.given, given, cycle, at.exact, at.arrived, at.broken, at.untold)
        step = self._steps.get(key)
        if step is None:
            if len(self._steps) >= REMEMBERED:
                self._steps.clear()
            step = self._steps[key] = self._stepped(at, given, cycle)
        return step

    def _stepped(self, at: At, given: Given, cycle: bool) -> Step:
        known = self._values.get(given)
        if known is None:
            values = [0 if i == len(given) else given[i] for i in self._order]
            cycled = [1 if i == len(given) else given[i] for i in self._order]
            known = self._values[given] = (values, cycled, self._without_reading(given))
        slots = at.slots
        left, observed = self._scan(slots[: self._size], known[1] if cycle else known[0])
        after = (*left, *(observed[i] for i in self._without)) if self._without else left
        same = given == at.given and not cycle
        if same and after == slots and not at.arrived and not at.untold:
            return Step(At(slots, given, at.exact, broken=at.broken), quiet=True, still=True)
        return self._seen(at, given, cycle, after, observed, known[2])

    def _seen(
        self,
        at: At,
        given: Given,
        cycle: bool,
        after: tuple[int, ...],
        observed: Sequence[int],
        lost: frozenset[str],
    ) -> Step:
        slots = at.slots
        moved = [
            (name, states[slots[i]], states[after[i]])
            for name, i, states in self._levels
            if slots[i] != after[i] and states[slots[i]] is not states[after[i]]
        ]
        if cycle:
            shown = self.of_logic(slots, after, given)
            for name, i, states in self._levels:
                shown |= self._bit.get((_CYCLE, name, str(states[slots[i]])), 0)
            return Step(At(after, given), shown, 0, tuple(moved))
        exact, arrived = at.exact, _NOBODY
        if moved:
            exact = self._exact(at, given, moved)
            arrived = frozenset([name for name, _, new in moved if new is State.AWAITING_RESET])
        found: list[tuple[int, str]] = []  # a goal, and what would have to be turned for it not to be told
        for name, old, new in moved:
            found += self._moved(at, given, exact, name, old, new)
        if self._manual:
            found += self._waiting(at, given, after)
        if self._overridden:
            found += self._overrides(at, given, after)
        if lost:
            found += self._lost(at, lost, after)
        turned_again = {name for name, old, new in moved if old.active is not new.active} if at.untold else _NOBODY
        found += [(bit, f"level of {name}") for name, bit in at.untold if name not in turned_again]
        seen: dict[str, bool] = {"": True}
        told: tuple[int, ...] = ()
        shown, hidden = self.of_logic(slots, after, given), 0
        for bit, turned in found:
            if bit:
                if turned not in seen:
                    told = told or tuple([int(observed[i]) for i in self._told])
                    seen[turned] = self.otherwise(slots, given, cycle, turned) not in (told, None)
                if seen[turned]:
                    shown |= bit
                else:
                    hidden |= bit
        if moved:
            exact = exact - {(name, new is State.TRIPPED) for name, _, new in moved if new in _ENDS}
        broken = self._broken(at, lost, after, moved) if lost or at.broken else _NOBODY
        untold = self._untold(moved, hidden)
        after_at = At(
            after, given, exact, arrived, broken, frozenset([(n, bit) for n, bit in untold if not shown & bit])
        )
        quiet = (
            given == at.given
            and not moved
            and not at.arrived
            and not at.untold
            and all(slots[i] == after[i] for i in self._flags)
        )
        return Step(after_at, shown, hidden, tuple(moved), quiet)

    # --- delays that begin exactly at a limit

    def _exact(self, at: At, given: Given, moved: list[tuple[str, State, State]]) -> frozenset[tuple[str, bool]]:
        exact = at.exact
        for name, old, new in moved:
            if old is State.CLEAR or (old is State.TRIPPED and new is not State.TRIPPED):
                trip = old is State.CLEAR
                begun = {(name, trip)}
                exact = exact | begun if self._passes(name, trip, at.given, given) else exact - begun
        return exact

    def _passes(self, name: str, trip: bool, before: Given, now: Given) -> bool:
        """Whether the limit is met at this scan by the nearest value and was not at the one before, by the nearest."""
        rule = self.code.steps.scheme.rules[name]
        test = (rule.trips if trip else rule.clears).test
        if not before:
            return False
        if isinstance(test, Limit):
            met, unmet = sides(test)
            return self.inputs.read(rule, now) == met and self.inputs.read(rule, before) == unmet
        place = self.goals.place.get(rule.watched) if rule.watches is Signal.LINE else None
        return place is not None and before[place] != now[place]

    # --- what is shown

    def _moved(
        self, at: At, given: Given, exact: frozenset[tuple[str, bool]], name: str, old: State, new: State
    ) -> Iterator[tuple[int, str]]:
        row = self._rows[name, old.value, new.value]
        if old.active is new.active:
            # nothing is told of it at this scan: what comes of it is, when the rule next acts or lets go
            yield row, ""
            early = new is State.AWAITING_RESET and (name, False) in exact
            if early and self._pressed(self._rule[name], at, given):
                yield self._bit.get((_RESET, name, TOO_EARLY), 0), ""
            return
        turned, word = f"level of {name}", "trip" if new.active else "clear"
        yield row, turned
        if old is State.AWAITING_RESET:
            yield self._bit.get((_RESET, name, "edge"), 0), turned
            if name not in at.arrived:  # not at the first scan that accepts it
                return
        yield self._bit.get((_DELAY, name, word), 0), turned
        if name in at.broken:
            yield self._bit.get((_LOST, name, str(self._rule[name].on_invalid)), 0), turned
        if (name, new.active) in exact:
            yield self._bit.get((_LIMIT, name, word), 0), turned

    def _untold(self, moved: list[tuple[str, State, State]], hidden: int) -> Iterator[tuple[str, int]]:
        """Turns that nothing tells of at this scan, of rules that turn at once with another: it may be told at the next
        one, at which a rule that turns a scan too late would be told of."""
        for name, old, new in moved:
            rule, row = self._rule[name], self._rows[name, old.value, new.value]
            at_once = not (rule.trips if new.active else rule.clears).delay.scans
            if rule.watches is Signal.RULE and at_once and old.active is not new.active and row & hidden:
                yield name, row

    def _pressed(self, rule: Rule, at: At, given: Given) -> bool:
        line, before = self.goals.place.get(rule.reset_by), self.off.get(rule.reset_by)
        return line is not None and before is not None and bool(given[line]) and bool(at.slots[before])

    def _waiting(self, at: At, given: Given, after: tuple[int, ...]) -> Iterator[tuple[int, str]]:
        """A button held down while a rule comes to await its reset, and still one scan later."""
        for name in self._manual:
            line, slot = self.goals.place[self._rule[name].reset_by], self.slot[name]
            if given[line] and at.slots[slot] == after[slot] == self.levels[name].awaiting:
                yield self._bit.get((_RESET, name, "held down"), 0), f"level of {name}"

    def _overrides(self, at: At, given: Given, after: tuple[int, ...]) -> Iterator[tuple[int, str]]:
        for name in self._overridden:
            rule, count = self._rule[name], self.count[name]
            if not given[self.goals.place[rule.overridden_by]] or after[self.slot[name]] < self.levels[name].awaiting:
                continue
            was, now = at.slots[count], after[count]
            over = self.program.slots[count].high if rule.override_at_most else FOREVER
            turned = f"effect of {name}"
            if was == 1 and now == 2 < over:
                yield self._bit.get((_OVERRIDE, name, SUSPENDS), 0), turned
            if was == over - 1 and now == over:
                yield self._bit.get((_OVERRIDE, name, RUNS_OUT), 0), turned
            if was == 0:
                yield self._bit.get((_OVERRIDE, name, NOT_BEFORE), 0), turned

    def _without_reading(self, given: Given) -> frozenset[str]:
        """The rules of which what they watch is lost."""
        if not self.goals.any_lost(given):
            return _NOBODY
        return frozenset(name for name in self._reading if self.goals.is_lost(self._rule[name], given))

    def _lost(self, at: At, lost: frozenset[str], after: tuple[int, ...]) -> Iterator[tuple[int, str]]:
        """A lost reading that decides at this scan: trips a rule, lets it go, or holds its running delay."""
        for name in self._reading:
            rule, coding = self._rule[name], self.levels[name]
            if name not in lost:
                continue
            was, now = at.slots[self.slot[name]], after[self.slot[name]]
            active, then = now >= coding.awaiting, was >= coding.awaiting
            goal = self._bit.get((_LOST, name, str(rule.on_invalid)), 0)
            match rule.on_invalid:
                case OnInvalid.TRIP:
                    if active and not then:
                        yield goal, f"level of {name}"
                case OnInvalid.CLEAR:
                    if then and not active:
                        yield goal, f"level of {name}"
                case OnInvalid.HOLD:
                    if was == now and coding.state(was)[0] in (State.PICKING_UP, State.DROPPING_OFF):
                        yield goal, ""

    def _broken(
        self, at: At, lost: frozenset[str], after: tuple[int, ...], moved: list[tuple[str, State, State]]
    ) -> frozenset[str]:
        """Rules whose delay a lost reading broke off and that have begun it again at once: how long it then takes tells
        what became of the lost reading."""
        found = set(at.broken)
        for name, old, new in moved:
            ends = (State.DROPPING_OFF, State.TRIPPED), (State.PICKING_UP, State.CLEAR)
            if name in lost and (old, new) in ends:
                found.add(name)
            elif new is not State.AWAITING_RESET and not (old in _ENDS and new in _RUNS):
                found.discard(name)
        for name in at.broken - lost:
            level = self.levels[name].state(after[self.slot[name]])[0]
            if level in _ENDS:
                found.discard(name)
        return frozenset(found)

    # --- decisions

    def holds(self, before: tuple[int, ...], after: tuple[int, ...], given: Given) -> tuple[bool, ...]:
        """Each condition of the unit's decisions at one scan, in the order of `goals.logic.leaves`."""
        return self._holds(before, after, given)

    def _look(self, leaf: Leaf) -> str:
        """How a condition is seen: an expression over the slots before (b) and after (a) a scan and its inputs (g)."""
        match leaf.about:
            case About.ACTS:
                return f"a[{self.slot[leaf.name]}] >= {self.levels[leaf.name].awaiting}"
            case About.OVERRIDDEN:
                number = self.count[leaf.name]
                high = self.program.slots[number].high
                longest = high - 1 if self._rule[leaf.name].override_at_most is not None else high
                return f"2 <= a[{number}] <= {longest}"
            case About.LINE:
                return f"g[{self.goals.place[leaf.name]}] == 1"
            case About.PATH:
                memory = [self.memory[o] for o in self.code.scheme.drives(self.code.unit, leaf.name)]
                return " and ".join(f"b[{i}] == 1" for i in memory)

    def of_logic(self, before: tuple[int, ...], after: tuple[int, ...], given: Given) -> int:
        """The goals about conditions and decisions that a scan shows."""
        return self.of_held(self.holds(before, after, given))

    def of_held(self, held: tuple[bool, ...]) -> int:
        """The goals about conditions and decisions shown by such conditions."""
        known = self._logic.get(held)
        if known is None:
            known = 0
            for goal in self._of_logic(held):
                known |= self.bits.get(goal, 0)
            self._logic[held] = known
        return known

    def _of_logic(self, held: tuple[bool, ...]) -> Iterator[Goal]:
        logic = self.goals.logic
        given = {str(leaf): truth for leaf, truth in zip(logic.leaves, held, strict=True)}
        for decision in logic.decisions:
            for leaf in decision.leaves:
                if decides(decision.logic, str(leaf), given):
                    yield Goal(GoalKind.DECISION, decision.name, deciding(str(leaf), given[str(leaf)]))
        in_force = {name: value(effect, given) for name, effect in logic.in_force.items()}
        for name, rule in self._rule.items():
            if in_force[name]:
                for path, own in logic.own.items():
                    if value(own, given):
                        yield Goal(GoalKind.BESIDE, name, path)
            if rule.only_while:
                yield from self._conditions(rule, given)

    def _conditions(self, rule: Rule, given: dict[str, bool]) -> Iterator[Goal]:
        """A condition of a rule that alone lets its effects be in force, or alone keeps them from it, where that is
        told."""
        for number, met in self.goals.logic.alone(rule, given):
            yield Goal(GoalKind.CONDITION, rule.name, f"{number} {'met' if met else 'not met'}")

    # --- long waits

    def skip(self, before: At, now: At, most: int) -> tuple[At, int]:
        """Move all counters on to just before the first of them decides something."""
        room, moving = most, []
        for i, slot, levels in self._counters:
            step = now.slots[i] - before.slots[i]
            if not step:
                continue
            if step not in (1, -1):
                return now, 0
            if levels is not None:
                left = levels.trip_scans - now.slots[i] if step == 1 else now.slots[i] - levels.awaiting - 1
            else:
                left = slot.high - 1 - now.slots[i] if step == 1 else most
            room = min(room, left)
            moving.append((i, step))
        if room <= 0 or not moving:
            return now, 0
        slots = list(now.slots)
        for i, step in moving:
            slots[i] += room * step
        return At(tuple(slots), now.given, now.exact, now.arrived, now.broken), room
