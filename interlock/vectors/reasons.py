"""Why a goal is not shown: proved that nothing told can show it, or how many scans it would take, or an honest word."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.compare.verdict import Comparison
from interlock.export.unit import UnitCode
from interlock.records import replace
from interlock.scheme.model import Delay, Rule, Target, Trigger
from interlock.scheme.words import OnInvalid, PowerUp, Signal, State, Word
from interlock.vectors.alone import alone
from interlock.vectors.cycles import fewest_with
from interlock.vectors.decisions import About, Logic
from interlock.vectors.goals import Goal, GoalKind, deciding
from interlock.vectors.score import told_as_paths
from interlock.vectors.together import Together

BUDGET = 400  # zones to compare one path


class Why(Word):
    """Of what kind a reason is."""

    PROVED = "can't be shown"
    TOO_LONG = "can't be shown in one run"  # of as many scans as a run may have: that, too, is proved
    OVER = "takes more scans"
    NOT_FOUND = "no way found"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a goal is not shown; `scans`: with how many in all it would be, 0 where that is not known."""

    why: Why
    says: str
    scans: int = 0


def reasons(
    code: UnitCode,
    missed: Iterable[Goal],
    over: Mapping[Goal, int],
    progress: Callable[[str], None] = lambda _: None,
    most: int | None = None,
) -> dict[Goal, Reason]:
    """The reason for each goal that was not shown. `over`: with how many scans in all some of them would be; `most`: no
    run has more scans."""
    proofs = Proofs(code)
    found: dict[Goal, Reason] = {}
    for goal in missed:
        progress(f"whether it can be shown at all: {goal}")
        says = "" if goal in over else proofs.of(goal)
        fewest = fewest_with(code, goal, 2 * most) if most and goal.kind is GoalKind.POWER_CYCLE else 0
        if says:
            found[goal] = Reason(Why.PROVED, says)
        elif most and fewest > most:
            found[goal] = Reason(Why.TOO_LONG, f"no vectors with it take fewer than {fewest:,} scans", fewest)
        elif goal in over:
            found[goal] = Reason(Why.OVER, f"takes some {over[goal]:,} scans in all", over[goal])
        elif scans := proofs.own_run(goal):
            found[goal] = Reason(Why.OVER, f"a run of its own would, of {scans:,} scans", scans)
        else:
            found[goal] = Reason(Why.NOT_FOUND, "no way to it was found, nor a proof that there is none")
    return found


class Proofs:
    """Why goals of a unit are out of reach, asked one by one; comparisons are kept."""

    def __init__(self, code: UnitCode) -> None:
        self.code, self.unit = code, code.unit
        self.scheme = alone(code.scheme, code.unit)
        self.together = Together(code)
        self.logic = Logic(code.scheme, code.unit)
        self._same: dict[tuple[str, str], bool] = {}
        self._open: dict[Goal, tuple[Comparison, str]] = {}  # what a goal's path differs by, where it can

    def of(self, goal: Goal) -> str:
        """Why nothing told can show a goal; "" where that is not proved."""
        match goal.kind:
            case GoalKind.BESIDE:
                return self._beside(goal)
            case GoalKind.DECISION:
                return self._decision(goal)
            case GoalKind.TRANSITION | GoalKind.LIMIT | GoalKind.DELAY | GoalKind.LOST | GoalKind.CONDITION:
                rule = self.scheme.rules[goal.rule]
                first = self._ends_first(rule, goal) if goal.kind is GoalKind.TRANSITION else ""
                if first:
                    return first
                for what, changed in self._changes(rule, goal):
                    if self._tells_the_same(what, changed):
                        return f"with {what} the unit would tell the same in all histories"
        return ""

    def own_run(self, goal: Goal) -> int:
        """The scans from power-up with which a goal is shown that `of` could not prove to be out of reach; 0 where that
        is not known."""
        if goal not in self._open:
            return 0
        comparison, path = self._open[goal]
        return sum(moment.scans for moment in comparison.history(path) or ())

    def _beside(self, goal: Goal) -> str:
        other = self.together.blocked_with(goal.rule, goal.what)
        if other:
            return f"{goal.rule} never acts without {other}, which stops {goal.what} as well"
        rule = self.scheme.rules[goal.rule]
        more = replace(rule, blocks=(*rule.blocks, Target(goal.what)))
        if self._tells_the_same(f"{goal.what} stopped by {goal.rule}", more, (goal.what,), goal):
            return f"{goal.rule} is never in force while {goal.what} would run"
        return ""

    def _decision(self, goal: Goal) -> str:
        decision = next(d for d in self.logic.decisions if d.name == goal.rule)
        leaf = next((x for x in decision.leaves if deciding(str(x), True) == goal.what), None)
        if leaf is None or leaf.about is not About.ACTS or goal.rule not in self.logic.own:
            return ""
        chain, name = list[str](), goal.rule
        while name:
            chain.append(name)
            name = self.code.scheme.paths[name].behind
        for path in chain:
            if other := self.together.blocked_with(leaf.name, path):
                return f"{leaf.name} never acts without {other}, which stops {path} as well"
        rule = self.scheme.rules[leaf.name]
        if any(t.path in chain for t in rule.blocks) and not any(p in chain for p in rule.starts):
            less = replace(rule, blocks=tuple(t for t in rule.blocks if t.path not in chain))
            if self._tells_the_same(f"{goal.rule} left alone by {leaf.name}", less, chain, goal):
                return f"whenever {leaf.name} stops {goal.rule}, another rule does too"
        return ""

    def _ends_first(self, rule: Rule, goal: Goal) -> str:
        """A delay that can't be broken off: what the rule watches can't turn back before it is over."""
        source, _, target = goal.what.split(" ")
        if rule.watches is not Signal.RULE or (source, target) not in (
            (str(State.DROPPING_OFF), str(State.TRIPPED)),
            (str(State.PICKING_UP), str(State.CLEAR)),
        ):
            return ""
        watched = self.scheme.rules[rule.watched]
        delay = rule.clears if source == str(State.DROPPING_OFF) else rule.trips
        # by a power cycle too the watched rule acts from the beginning of its delay on
        begins = delay.test is True and watched.power_up is not PowerUp.CLEAR
        if begins and watched.clears.delay.scans >= delay.delay.scans:
            return (
                f"its delay of {delay.delay.scans:,} scans is over before {watched.name}, which has just begun to act, "
                f"can clear: that takes {watched.clears.delay.scans:,}"
            )
        return ""

    def _changes(self, rule: Rule, goal: Goal) -> Iterator[tuple[str, Rule]]:
        """Changes of a rule of which each would tell, were the goal ever shown."""
        scan = self.scheme.scan_us

        def longer(trigger: Trigger) -> Trigger:
            return replace(trigger, delay=Delay(trigger.delay.us + scan, trigger.delay.scans + 1))

        match goal.kind:
            case GoalKind.LOST if rule.on_invalid is not OnInvalid.HOLD:
                other = OnInvalid.CLEAR if rule.on_invalid is OnInvalid.TRIP else OnInvalid.TRIP
                yield f"a lost reading taken the other way by {rule.name}", replace(rule, on_invalid=other)
            case GoalKind.CONDITION if goal.what.endswith("not met"):
                number = int(goal.what.split(" ")[0])
                rest = tuple(c for i, c in enumerate(rule.only_while, 1) if i != number)
                yield f"{rule.name} without that condition", replace(rule, only_while=rest)
            case GoalKind.TRANSITION | GoalKind.LIMIT | GoalKind.DELAY:
                trips = goal.what == "trip" or goal.what.endswith(f"to {State.TRIPPED}")
                if goal.kind is GoalKind.TRANSITION and not self._turns(goal):
                    return
                if trips:
                    yield f"{rule.name} tripping a scan later", replace(rule, trips=longer(rule.trips))
                else:
                    yield f"{rule.name} clearing a scan later", replace(rule, clears=longer(rule.clears))

    def _turns(self, goal: Goal) -> bool:
        """Whether a rule begins or ceases to act by a transition, after its own delay."""
        source, _, target = goal.what.split(" ")
        return State(source).active is not State(target).active and source != str(State.AWAITING_RESET)

    def _tells_the_same(self, what: str, changed: Rule, paths: Sequence[str] = (), goal: Goal | None = None) -> bool:
        """Whether nothing that the unit tells, or none of these paths, can ever differ by a change of a rule. `goal`:
        what such a difference shows."""
        key = (changed.name, what)
        if key not in self._same:
            rules = {n: changed if n == changed.name else r for n, r in self.scheme.rules.items()}
            names = tuple(n for n, line in self.scheme.lines.items() if line.form.sent)
            alarms = tuple(n for n, rule in self.scheme.rules.items() if rule.alarm)
            old, new = (
                told_as_paths(s, self.unit, names, alarms) for s in (self.scheme, replace(self.scheme, rules=rules))
            )
            comparison = Comparison(old, new, BUDGET)
            asked = [p for p in comparison.paths if not paths or p in paths]
            open_one = next((path for path in asked if not comparison.never_differs(path)), None)
            self._same[key] = open_one is None
            if open_one is not None and goal is not None:
                self._open[goal] = comparison, open_one
        return self._same[key]
