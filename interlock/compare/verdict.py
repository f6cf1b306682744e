"""For each path: the same, stricter, looser or different, decided over all histories of readings and lines.

*Looser*: there is a history after which the new scheme lets the path run at a scan at which the old one does not.
*Stricter*: the reverse. *Different*: both. Every difference comes with a history that both schemes were run through.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from interlock.compare.merged import Merged, Which, merged
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for
from interlock.proof.decide import ENDLESS, Decider
from interlock.proof.goal import Goal, Moves
from interlock.proof.index import Index
from interlock.proof.prove import worlds
from interlock.proof.story import Stretch, UnrealError
from interlock.proof.system import FaultPlan
from interlock.records import replace
from interlock.scheme.bare import bare
from interlock.scheme.model import Claim, Condition, Rule, Scheme
from interlock.scheme.units import MICRO
from interlock.scheme.words import Signal, Word

BUDGET = 6_000  # zones for whether there is a difference
LENGTH_BUDGET = 800  # zones for how long it can last
SCANS = 60_000  # looked at for a real difference where bounds leave it open


GRAINS = tuple(
    MICRO // part for part in (1, 2, 10, 20, 100, 200, 1000, 10_000, 100_000)
)  # of a base unit, coarse first


class Meaning(Word):
    """What a change means for a path."""

    SAME = "same"
    STRICTER = "stricter"
    LOOSER = "looser"
    DIFFERENT = "different"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Moment:
    """The same readings and lines for a number of scans, and what the two schemes made of the last of them. Sensors and
    lines by the names they have in the merged scheme."""

    world: World
    scans: int
    old: Seen
    new: Seen


@dataclass(frozen=True, slots=True)
class Difference:
    """One way in which a path differs: `looser` or stricter. `trace` ends with the first scan that differs.

    `scans`: how long it can last at most, None where it need not end, or where that is not `known`. `matters`: the
    sensors and lines that can matter for it; `looks`: those of them that rules look at which only one of the two has.
    """

    looser: bool
    trace: tuple[Moment, ...]
    scans: int | None
    known: bool
    matters: tuple[tuple[Signal, str], ...]
    looks: tuple[tuple[Signal, str], ...]


@dataclass(frozen=True, slots=True)
class PathVerdict:
    """`reason`: why it is undecided, or why the path is in one scheme alone."""

    path: str
    meaning: Meaning
    differences: tuple[Difference, ...] = ()
    reason: str = ""
    zones: int = 0


class Comparison:
    """Two schemes compared path by path. Raises ValueError where they do not scan alike."""

    def __init__(self, old: Scheme, new: Scheme, budget: int = BUDGET) -> None:
        self.old, self.new = old, new
        self.merged: Merged = merged(old, new)
        self.budget = budget
        self._index = Index(self.merged.scheme)
        self.paths = tuple(p for p in old.paths if p in new.paths)
        self.gone = tuple(p for p in old.paths if p not in new.paths)
        self.added = tuple(p for p in new.paths if p not in old.paths)

    def verdicts(self) -> Iterator[PathVerdict]:
        """The verdict on each path that both have, in the old scheme's order."""
        return map(self.verdict, self.paths)

    def verdict(self, path: str) -> PathVerdict:
        """The verdict on one path."""
        if path in self.merged.alike:
            return PathVerdict(path, Meaning.SAME)
        differences: list[Difference] = []
        zones = 0
        for runs in (Which.NEW, Which.OLD):
            found, used, reason = self._differs(path, runs)
            zones += used
            if reason:
                return PathVerdict(path, Meaning.UNDECIDED, tuple(differences), reason, zones)
            if found:
                differences.append(found)
        ways = tuple(d.looser for d in differences)
        meaning = {
            (): Meaning.SAME,
            (True,): Meaning.LOOSER,
            (False,): Meaning.STRICTER,
            (True, False): Meaning.DIFFERENT,
        }[ways]
        return PathVerdict(path, meaning, tuple(differences), "", zones)

    def never_differs(self, path: str) -> bool:
        """Whether it is proved that a path is let run alike at every scan of every history; no difference is looked
        for, so this takes less than a verdict."""
        if path in self.merged.alike:
            return True
        return all(self._decider(path, runs).answer(0).upper == 0 for runs in (Which.NEW, Which.OLD))

    def same_claim(self, old: Claim, new: Claim) -> bool:
        """Whether a claim of each is one question with one answer: it says the same, what is switched and measured is
        the same, and all that rules tell of it acts alike in both whatever is read."""
        return self._acts_alike and old == new and not any(c.signal is Signal.RULE for c in old.all_conditions())

    @cached_property
    def _acts_alike(self) -> bool:
        """Whether the two differ in nothing but how their rules are written; each rule of the old one is in the new one
        by its name."""
        merged = self.merged
        rules = not merged.changed and merged.rules_alike == set(self.old.rules)
        paths = merged.alike == set(self.old.paths) and len(self.old.paths) == len(self.new.paths)
        return rules and paths and _without_rules(self.old) == _without_rules(self.new)

    def _decider(self, path: str, runs: Which) -> Decider:
        stopped = Which.OLD if runs is Which.NEW else Which.NEW
        condition = Condition(Signal.PATH, self.merged.path[stopped, path], False)
        goal = Goal(Moves.RUN, self.merged.path[runs, path], (condition,))
        return Decider(self._index, goal, FaultPlan.of(()), self.budget)

    def history(self, path: str) -> tuple[Moment, ...] | None:
        """A history at whose end a path is let run in one scheme and not in the other; none where none was found."""
        for runs in (Which.NEW, Which.OLD):
            if path not in self.merged.alike:
                found, _, _ = self._differs(path, runs, whole=False)
                if found is not None:
                    return found.trace
        return None

    def _differs(self, path: str, runs: Which, *, whole: bool = True) -> tuple[Difference | None, int, str]:
        """Whether a path may run in one scheme while it is stopped in the other: a difference or none, the zones looked
        at, and why it was not decided. `whole`: how long it can last too."""
        decider = self._decider(path, runs)
        answer = decider.violated(decider.answer(0), 0, SCANS)
        if answer.upper == 0:
            return None, answer.zones, ""
        if answer.lower == 0:
            return None, answer.zones, answer.stopped or "no history was found, nor shown not to be"
        trace = self._told(path, runs, self._plain(path, runs, worlds(decider, answer.run, 1)[0]))
        if not whole:
            return Difference(runs is Which.NEW, trace, None, False, (), ()), answer.zones, ""
        longest = Decider(self._index, decider.goal, FaultPlan.of(()), LENGTH_BUDGET, states=0).answer()
        known = longest.lower == longest.upper
        scans = longest.upper if known and longest.upper != ENDLESS else None
        return (
            Difference(runs is Which.NEW, trace, scans, known, *self._looks(decider)),
            answer.zones + longest.zones,
            "",
        )

    def _told(self, path: str, runs: Which, told: Sequence[Stretch]) -> tuple[Moment, ...]:
        """The history, given to each scheme by itself. Raises UnrealError where they do not differ at its end."""
        found = self._run(told)
        if not self._differ(path, runs, found):
            raise UnrealError(f"{path} does not differ at the end of its history")
        return found

    def _run(self, told: Sequence[Stretch]) -> tuple[Moment, ...]:
        engines = {w: Engine(self.merged.sides[w]) for w in Which}
        found: list[Moment] = []
        for stretch in told:
            seen: dict[Which, Seen] = {}
            for which in Which:
                last = run_for(engines[which], self._world(which, stretch.world), stretch.scans)
                assert last is not None
                seen[which] = last
            found.append(Moment(stretch.world, stretch.scans, seen[Which.OLD], seen[Which.NEW]))
        return tuple(found)

    def _differ(self, path: str, runs: Which, found: Sequence[Moment]) -> bool:
        run = {Which.OLD: found[-1].old.may_run[path], Which.NEW: found[-1].new.may_run[path]}
        return run[runs] and not all(run.values())

    def _plain(self, path: str, runs: Which, told: Sequence[Stretch]) -> Sequence[Stretch]:
        """The history with readings of few digits, as far as it still shows the difference, equal neighbours joined."""
        for grain in GRAINS:
            trial = [self._rounded(stretch, grain) for stretch in told]
            if self._differ(path, runs, self._run(trial)):
                return _joined(trial)
        return _joined(told)

    def _rounded(self, stretch: Stretch, grain: int) -> Stretch:
        """To whole grains, but not out of a sensor's range, nor into it."""
        sensors = self.merged.scheme.sensors
        readings = {}
        for name, value in stretch.world.readings.items():
            valid = sensors[name].valid
            near = round(Fraction(value, grain)) * grain
            readings[name] = near if (near in valid) is (valid.low <= value <= valid.high) else value
        return replace(stretch, world=replace(stretch.world, readings=readings))

    def _world(self, which: Which, world: World) -> World:
        readings: Mapping[str, int] = {
            mine[which]: world.readings[name]
            for name, mine in self.merged.sensors.items()
            if which in mine and name in world.readings
        }
        lines = {n: on for n, on in world.lines.items() if n in self.merged.sides[which].lines}
        return replace(world, readings=readings, lines=lines)

    def _looks(self, decider: Decider) -> tuple[tuple[tuple[Signal, str], ...], tuple[tuple[Signal, str], ...]]:
        """The sensors and lines that can matter for a difference, and those of them that rules look at which only one
        of the two has."""
        scheme, circuit = self.merged.scheme, decider.full.circuits[0]
        cone = {key[1] for key in decider.full.layout.place if key[0] == "active"}
        every: dict[tuple[Signal, str], None] = {}
        changed: dict[tuple[Signal, str], None] = {}
        for name, rule in scheme.rules.items():
            if name not in cone:
                continue
            found: list[tuple[Signal, str]] = []
            if rule.watches is Signal.READING:
                found += [(Signal.SENSOR, s) for s in scheme.readings[rule.watched].sensors]
            elif rule.watches is Signal.SENSOR or (rule.watches is Signal.LINE and not self._sent(rule.watched)):
                found.append((rule.watches, rule.watched))
            every.update(dict.fromkeys(found))
            if name in self.merged.changed:
                changed.update(dict.fromkeys(found))
        every.update({(Signal.LINE, key[1]): None for key in circuit.bools if key[0] == "line"})
        return tuple(every), tuple(changed)

    def _sent(self, line: str) -> bool:
        return self.merged.scheme.lines[line].form.sent


def _without_rules(scheme: Scheme) -> Scheme:
    """The scheme but for its rules, what it asks of them and what it is called."""
    return replace(bare(scheme), title="", revision="", why="", rules=dict[str, Rule](), order=(), groups=scheme.groups)


def _joined(told: Sequence[Stretch]) -> list[Stretch]:
    found: list[Stretch] = []
    for stretch in told:
        if found and found[-1].world == stretch.world and not stretch.world.cycles:
            found[-1] = replace(found[-1], scans=found[-1].scans + stretch.scans)
        else:
            found.append(stretch)
    return found
