"""The plan of a run: at first everything comes to rest, then one thing after another is done where it shows most.

What is tried is put wherever in the run an input is idle, and is kept where nothing that was shown is lost by it; so
that delays run side by side, and the run gets longer only where nothing else will do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from interlock.export.unit import UnitCode
from interlock.scheme.model import Limit
from interlock.vectors.decisions import About, Leaf
from interlock.vectors.goals import Goal, GoalKind, deciding
from interlock.vectors.inputs import sides
from interlock.vectors.reasons import Proofs
from interlock.vectors.stage import ALL, LONG, SPARE, Put, Sought
from interlock.vectors.timeline import Track, Trial, taken, tracked, tried
from interlock.vectors.ways import NEAR, Ways

TRIES = 200  # for one goal, of each kind of way
ROUNDS = 2  # in which all goals not yet shown are sought
FORCED = 1  # ways to show a goal by which others are lost, for each of which those are sought again
FORCED_FURTHER = 6  # the same in a further run, which has few goals
FORCED_WHOLE = 6  # the same in a run that is planned along a lane, which has many that may be lost
LOST_CYCLE = 2  # goals lost by a power cycle between others at most
IN_VAIN = 3  # times in which none of the goals left was won in such a run
LOST = 8  # goals lost by one way at most, so that it is worth seeking them again
LOST_WHOLE = 12  # the same in a run that is planned along a lane
HIDDEN = 3  # ways to a goal that is hidden then, for each of which what hides it is looked for
CHOICES = 8  # ways that make the run no longer, among which that for what takes long is chosen
LATE = {GoalKind.CONDITION, GoalKind.DECISION, GoalKind.BESIDE, GoalKind.POWER_CYCLE}  # mostly shown by the way
WAITS_AGAIN = {"awaiting_reset to tripped"}  # and then the delay runs once more
FIRST = (GoalKind.DELAY, GoalKind.LIMIT, GoalKind.OVERRIDE)  # what shows these shows most transitions too
CYCLED = {GoalKind.POWER_CYCLE, GoalKind.TRANSITION}  # what only a power cycle may lead to
BROKEN_OFF = {"picking_up to clear", "dropping_off to tripped", "awaiting_reset to tripped"}


class Planner(Ways):
    """Plans a run of one unit that shows as many goals as can be, in at most `most` scans."""

    def __init__(
        self,
        code: UnitCode,
        most: int,
        progress: Callable[[str], None] = lambda _: None,
        sought: Sought = ALL,
    ) -> None:
        super().__init__(code, most, sought)
        self._long: dict[str, int] = {}
        self.progress, self.interrupted = progress, False
        self.whole = sought.goals is None and sought.along is not None
        self.over: dict[Goal, int] = {}  # goals that would be shown by more scans than allowed, and by how many
        self.costly: list[Trial] = []  # what would have shown the last goal sought, and would have lost others
        self.kept = 0  # goals, as bits, that nothing may lose
        self.sought = self.order()
        self._proofs, self._open = Proofs(code), set[Goal]()
        self.hard = sum(bit for goal, bit in self.watcher.bits.items() if goal.kind not in LATE)

    # --- choosing

    def plan(self) -> Track:
        """Goal after goal, those first that take longest; then those for which others have to be moved. Where someone
        interrupts it, what was planned by then (`interrupted`)."""
        try:
            self._planned()
        except KeyboardInterrupt:
            self.interrupted = True
        return self.track

    def _planned(self) -> None:
        self._all()
        if self.whole:
            self.further = True  # what is left are few: they may overwrite
            self._all()
        in_vain = 0
        while self._left() and in_vain < (IN_VAIN if self.whole else 1):
            in_vain = 0 if self._forced() and self.further else in_vain + 1
        if self.further:
            self.track = tracked(self.watcher, self.track.plan.before(self.track.needed), self.rest, self.most)
        self._power_cycles()

    def _forced(self) -> bool:
        """Each goal that is not shown, though others are lost by it; whether the run shows more then."""
        before = self.worth(self.track)
        for goal in self._left():
            if not self.track.shown & self.watcher.bits[goal]:
                self.force(goal)
        return self.worth(self.track) > before

    def _left(self) -> list[Goal]:
        """The goals that are not shown and may be at the cost of others."""
        late = {GoalKind.POWER_CYCLE} if self.further else {GoalKind.POWER_CYCLE, GoalKind.BESIDE}
        return [g for g in self.sought if g.kind not in late and not self.track.shown & self.watcher.bits[g]]

    def _all(self) -> None:
        for _ in range(ROUNDS):
            before = self.track.shown
            for goal in self.sought:
                if not self.track.shown & self.watcher.bits[goal]:
                    self._tell(goal)
                    self.seek(goal)
            self._give_up()
            if self.track.shown == before:
                break

    def _give_up(self) -> None:
        """What is left and is proved to be out of reach is sought no longer."""
        for goal in [g for g in self.sought if not self.track.shown & self.watcher.bits[g] and g not in self._open]:
            if goal.kind is not GoalKind.POWER_CYCLE and self._proofs.of(goal):
                self.sought.remove(goal)
            else:
                self._open.add(goal)

    def _tell(self, goal: Goal) -> None:
        left = len(self.watcher.bits) - self.track.shown.bit_count()
        self.progress(f"{self.track.needed:,} scans, {left} goals left: {goal}")

    def force(self, goal: Goal) -> bool:
        """Show a goal though others are lost by it, and then seek those again, without losing it; as it was where that
        shows no more. Of a run that is planned along a lane, which has no room to find them again, more ways are tried;
        and one that shows as much in the place of what it loses is taken too: from there another goal may be found."""
        self._tell(goal)
        if self.seek(goal):
            return True
        was, as_good = self.track, None
        try:
            for trial in self._dear():
                self.track, self.kept = taken(was, trial), trial.gained
                gone = 0
                for other, bit in self.watcher.bits.items():
                    if trial.lost & bit and not self.track.shown & bit:
                        gone += not self.seek(other)
                        if self.whole and gone > trial.gained.bit_count():
                            break
                if self.worth(self.track) > self.worth(was):
                    return True
                if self.whole and as_good is None and self.worth(self.track) == self.worth(was):
                    as_good = self.track
        finally:  # also where someone interrupts it
            self.kept = 0
            if self.worth(self.track) <= self.worth(was):
                self.track = as_good or was
        return False

    def _dear(self) -> list[Trial]:
        """The ways to the last goal sought by which others are lost, those first that lose the least; one of each kind
        that loses the same."""
        by_lost = {trial.lost: trial for trial in reversed(self.costly)}.values()
        most, lost = (FORCED_FURTHER, LOST) if self.further else (FORCED, LOST)
        if self.whole:
            most, lost = FORCED_WHOLE, LOST_WHOLE
        found = [trial for trial in by_lost if trial.lost.bit_count() <= lost]
        return sorted(found, key=lambda t: (t.lost.bit_count() - self.whole * t.gained.bit_count(), t.needed))[:most]

    def worth(self, track: Track) -> int:
        """How much a run shows: what is not found by the way counts more; of a run that is planned along a lane, which
        has no room to find it again, everything alike."""
        return track.shown.bit_count() + 3 * (0 if self.whole else (track.shown & self.hard).bit_count())

    def _power_cycles(self) -> None:
        """At the end, what undoes so much: power cycles in each state, and what only they lead to."""
        while self.whole and self._cycle_between():  # any other run has room for them after all else
            pass
        while (best := self._cycle_now()) is not None:
            self.track = taken(self.track, best)
        while True:
            left = [g for g in self.order() if g.kind in CYCLED and not self.track.shown & self.watcher.bits[g]]
            found = [trial for goal in left if (trial := self._cycle_then(goal)) is not None]
            if not found:
                break
            self.progress(f"{self.track.needed:,} scans, power cycles in {len(left)} more states")
            self.track = taken(self.track, min(found, key=lambda trial: trial.needed))

    def _cycle_between(self) -> bool:
        """A power cycle shortly before the end, in a state that does not last; what little is lost by it is sought
        again. False where the run shows no more by any."""
        was, found = self.track, list[Trial]()
        first = min(was.plan.cycles, default=was.needed)
        cycles = sum(bit for g, bit in self.watcher.bits.items() if g.kind is GoalKind.POWER_CYCLE)
        for moment in [e.scan + 1 for e in was.entries if first - NEAR < e.scan + 1 < was.needed]:
            # it shows the state before it: whether that is new is seen without trying it
            step = self.watcher.step(was.before(moment), was.given(moment), cycle=True)
            if step.shown & ~was.shown & cycles:
                trial = tried(was, was.plan.with_cycle(moment), moment, moment + 1)
                if trial.gained & cycles and trial.lost.bit_count() <= LOST_CYCLE:
                    found.append(trial)
        for trial in sorted(found, key=lambda t: t.lost.bit_count()):
            self.track, self.kept = taken(was, trial), trial.gained
            lost = [goal for goal, bit in self.watcher.bits.items() if trial.lost & bit]
            if all(self.seek(goal) for goal in lost):
                self.kept = 0
                return True
            self.track, self.kept = was, 0
        return False

    def _cycle_now(self) -> Trial | None:
        """A power cycle after all else that shows most."""
        best: Trial | None = None
        for moment in sorted({self.track.needed, *(m for m in self.moments() if m > self.track.needed)}):
            trial = tried(self.track, self.track.plan.with_cycle(moment), moment, moment + 1)
            if trial.gained and not trial.lost and (best is None or trial.gained.bit_count() > best.gained.bit_count()):
                best = trial
        return best

    def _cycle_then(self, goal: Goal) -> Trial | None:
        """A rule brought where the goal wants it, after all else, and then a power cycle; the shortest way to it."""
        source, bit = goal.what.split(" ")[0], self.watcher.bits[goal]
        best: Trial | None = None
        for trip in (True, False):
            for drive in self.drives.of(goal.rule, trip)[:4]:
                after = max([self.track.needed, *self.track.events[-1:]])
                put = self.driven(drive, self.track.needed + SPARE, more=SPARE) or self.driven(
                    drive, after + SPARE, more=SPARE
                )
                if put is None:
                    continue
                trial = tried(self.track, put.plan, put.start, put.end)
                for entry in trial.entries:
                    if any(n == goal.rule and str(new) == source for n, _, new in entry.moved):
                        for later in (1, 2):
                            plan = put.plan.with_cycle(entry.scan + later)
                            cycled = tried(self.track, plan, put.start, max(put.end, entry.scan + later + 1))
                            if cycled.late & bit:
                                takes = cycled.first(bit) + 1
                                self.over[goal] = min(takes, self.over.get(goal, takes))
                            if not cycled.gained & bit or cycled.lost:
                                continue
                            if best is None or cycled.needed < best.needed:
                                best = cycled
        return best

    def order(self) -> list[Goal]:
        """Goals about a rule by how long the rule takes, with what it waits for; what mostly comes by the way last."""
        kinds = [*FIRST, *(kind for kind in GoalKind if kind not in FIRST)]

        def key(goal: Goal) -> tuple[bool, int, int, bool, bool, int]:
            takes = self._takes(goal)
            late = goal.kind in LATE and takes < LONG
            again = goal.what in WAITS_AGAIN
            outer = goal.kind not in LATE and len(list(self._on_the_way(goal.rule)))
            decides = goal.kind is GoalKind.DECISION and not late and self._waits(goal)
            return late, 0 if late else -takes, -outer, not again, not decides, kinds.index(goal.kind)

        return sorted(self.watcher.bits, key=key)

    def _waits(self, goal: Goal) -> bool:
        """Whether a decision is about a rule that is reset by hand: that acts for as long as one likes, so it is what
        else is let run meanwhile that says when it trips."""
        rules = self.code.scheme.rules
        return any(rules[x.name].manual for x in self._about(goal))

    def _takes(self, goal: Goal) -> int:
        """The scans in which the rule that a goal is about trips and clears, though it has to wait for other rules; of
        one that is reset by hand twice as many: it has to wait for its reset more than once. Of what comes by the way
        only what a rule decides counts, and only with an order that matters."""
        name = goal.rule
        if goal.kind in LATE:
            name = next((leaf.name for leaf in self._about(goal)), "") if self.along is not None else ""
            if not name:
                return 0
        if name not in self._long:
            self._long[name] = max((self._alone(n) for n in (name, *self._on_the_way(name))), default=0)
        return self._long[name]

    def _alone(self, name: str) -> int:
        takes = sum(min((drive.delay for drive in self.drives.of(name, trip)), default=0) for trip in (True, False))
        return takes * (2 if self.code.scheme.rules[name].manual else 1)

    def _on_the_way(self, name: str) -> Iterator[str]:
        """The rules that trip on the way to where one does: it has to be sought before them."""
        rule = self.drives.rules[name]
        test = rule.trips.test
        if not isinstance(test, Limit) or self.inputs.apart(rule):
            return
        mine, side = self.inputs.members(rule), sides(test)
        for other in self.inputs.watching:
            limit = other.trips.test
            if other is rule or not isinstance(limit, Limit) or self.inputs.apart(other):
                continue
            met, unmet = sides(limit)
            same_way = (met > unmet) is (side[0] > side[1])
            before = met < side[0] if met > unmet else met > side[0]
            if set(self.inputs.members(other)) & set(mine) and same_way and before:
                yield other.name

    def _about(self, goal: Goal) -> list[Leaf]:
        """The rule of which a goal says that it decides while it acts."""
        if goal.kind is not GoalKind.DECISION:
            return []
        acting = [leaf for leaf in self.goals.about(goal)[0] if leaf.about is About.ACTS]
        return [leaf for leaf in acting if goal.what == deciding(str(leaf), True)]

    def seek(self, goal: Goal) -> bool:
        """Change the run so that a goal is shown; False where no way was found."""
        self.costly = []
        match goal.kind:
            case GoalKind.POWER_CYCLE:
                return False
            case GoalKind.CONDITION | GoalKind.DECISION | GoalKind.BESIDE:
                return self.take(goal, self._by_logic(goal))
            case GoalKind.RESET:
                return self.take(goal, self._by_button(goal))
            case GoalKind.OVERRIDE:
                return self.take(goal, self._by_override(goal))
            case GoalKind.LOST:
                return self.take(goal, self._by_blip(goal))
            case GoalKind.TRANSITION if goal.what in BROKEN_OFF:
                return self.take(goal, self._broken_off(goal)) or self.take(goal, self._by_drive(goal))
            case _:
                return (
                    self.take(goal, self._in_the_open(goal))
                    or (self.further and self.take(goal, self._further_out(goal)))
                    or self.take(goal, self._by_drive(goal))
                    or self.take(goal, self._ending(goal))
                )

    def take(self, goal: Goal, puts: Iterable[Put | None], *, open_too: bool = True) -> bool:
        """Take the best of what is tried: at once what makes the run no longer, of what takes long the one of a few
        such that shows most; else what shows most for its scans. Where the goal is but hidden, what hides it is moved
        out of the way."""
        bit = self.watcher.bits[goal]
        best: tuple[float, Trial] | None = None
        free: list[Trial] = []  # that make the run no longer
        long = self.along is not None and self._takes(goal) >= LONG
        choices = CHOICES if long else 1
        hidden: list[tuple[float, Trial]] = []
        tries = 0
        for trial in (trial for put in puts for trial in self.trials(put)):
            tries += 1
            if tries > (TRIES if open_too else TRIES // 3):
                break
            if trial.late & bit:
                takes = trial.first(bit) + 1
                self.over[goal] = min(takes, self.over.get(goal, takes))
                continue
            if trial.lost & self.kept or (trial.lost & self.hard if long and not self.further else self._loses(trial)):
                if trial.gained & bit:
                    self.costly.append(trial)
                continue
            added = trial.needed - self.track.needed
            if trial.gained & bit:
                if added <= 0:
                    free.append(trial)
                    if len(free) == choices:
                        break
                    continue
                worth = trial.gained.bit_count() / added
                if best is None or worth > best[0]:
                    best = (worth, trial)
            elif open_too and trial.hidden() & bit:
                hidden.append((trial.gained.bit_count() / max(added, 1), trial))
        if free:
            self.track = taken(
                self.track, max(free, key=lambda trial: trial.gained.bit_count() - trial.lost.bit_count())
            )
            return True
        if best is not None:
            self.track = taken(self.track, best[1])
            return True
        was = self.track
        for _, trial in sorted(hidden, key=lambda pair: -pair[0])[:HIDDEN]:
            self.track = taken(was, trial)
            if self.take(goal, self._in_the_open(goal), open_too=False):
                return True
        self.track = was
        return False

    def _loses(self, trial: Trial) -> bool:
        """Whether a trial loses what is not found by the way elsewhere, or more than it adds."""
        return bool(trial.lost & self.hard) or trial.lost.bit_count() * 2 > trial.gained.bit_count()
