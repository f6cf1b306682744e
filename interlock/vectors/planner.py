"""The plan of a run: at first everything comes to rest, then one thing after another is done where it shows most.

What is tried is put wherever in the run an input is idle, and is kept where nothing that was shown is lost by it; so
that delays run side by side, and the run gets longer only where nothing else will do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from interlock.export.unit import UnitCode
from interlock.vectors.goals import Goal, GoalKind
from interlock.vectors.stage import SPARE, Put, Sought
from interlock.vectors.timeline import Track, Trial, taken, tracked, tried
from interlock.vectors.together import Together
from interlock.vectors.ways import Ways

TRIES = 200  # for one goal, of each kind of way
ROUNDS = 2  # in which all goals not yet shown are sought
FORCED = 1  # ways to show a goal by which others are lost, for each of which those are sought again
FORCED_FURTHER = 6  # the same in a further run, which has few goals
HIDDEN = 3  # ways to a goal that is hidden then, for each of which what hides it is looked for
LATE = {GoalKind.CONDITION, GoalKind.DECISION, GoalKind.BESIDE, GoalKind.POWER_CYCLE}  # mostly shown by the way
CYCLED = {GoalKind.POWER_CYCLE, GoalKind.TRANSITION}  # what only a power cycle may lead to
BROKEN_OFF = {"picking_up to clear", "dropping_off to tripped", "awaiting_reset to tripped"}


def _hopeless(together: Together, goal: Goal) -> bool:
    """Whether another rule always stops the path that is to run beside a rule."""
    return goal.kind is GoalKind.BESIDE and bool(together.blocked_with(goal.rule, goal.what))


class Planner(Ways):
    """Plans a run of one unit that shows as many goals as can be, in at most `most` scans."""

    def __init__(
        self,
        code: UnitCode,
        most: int,
        progress: Callable[[str], None] = lambda _: None,
        sought: Sought | None = None,
    ) -> None:
        super().__init__(code, most, sought)
        self.progress, self.interrupted = progress, False
        self.over: dict[Goal, int] = {}  # goals that would be shown by more scans than allowed, and by how many
        self.costly: list[Trial] = []  # what would have shown the last goal sought, and would have lost others
        together = Together(code)
        self.sought = [goal for goal in self.order() if not _hopeless(together, goal)]
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
        while self._forced() and self.further:
            pass
        if self.further:
            self.track = tracked(self.watcher, self.track.plan.before(self.track.needed), self.rest)
        self._power_cycles()

    def _forced(self) -> bool:
        """Each goal that is not shown, though others are lost by it; whether the run shows more then."""
        before = self.worth(self.track)
        for goal in self.sought:
            late = goal.kind is GoalKind.POWER_CYCLE or (goal.kind is GoalKind.BESIDE and not self.further)
            if not late and not self.track.shown & self.watcher.bits[goal]:
                self.force(goal)
        return self.worth(self.track) > before

    def _all(self) -> None:
        for _ in range(ROUNDS):
            before = self.track.shown
            for goal in self.sought:
                if not self.track.shown & self.watcher.bits[goal]:
                    self._tell(goal)
                    self.seek(goal)
            if self.track.shown == before:
                break

    def _tell(self, goal: Goal) -> None:
        left = len(self.watcher.bits) - self.track.shown.bit_count()
        self.progress(f"{self.track.needed:,} scans, {left} goals left: {goal}")

    def force(self, goal: Goal) -> bool:
        """Show a goal though others are lost by it, and then seek those again; as it was where that shows no more."""
        self._tell(goal)
        if self.seek(goal):
            return True
        was = self.track
        most = FORCED_FURTHER if self.further else FORCED
        try:
            for trial in sorted(self.costly, key=lambda t: (t.lost & self.hard).bit_count())[:most]:
                self.track = taken(was, trial)
                for other, bit in self.watcher.bits.items():
                    if trial.lost & bit and not self.track.shown & bit:
                        self.seek(other)
                if self.worth(self.track) > self.worth(was):
                    return True
        finally:  # also where someone interrupts it
            if self.worth(self.track) <= self.worth(was):
                self.track = was
        return False

    def worth(self, track: Track) -> int:
        """How much a run shows: what is not found by the way counts more."""
        return track.shown.bit_count() + 3 * (track.shown & self.hard).bit_count()

    def _power_cycles(self) -> None:
        """At the end, what undoes so much: power cycles in each state, and what only they lead to."""
        while (best := self._cycle_now()) is not None:
            self.track = taken(self.track, best)
        while True:
            left = [g for g in self.order() if g.kind in CYCLED and not self.track.shown & self.watcher.bits[g]]
            found = [trial for goal in left if (trial := self._cycle_then(goal)) is not None]
            if not found:
                break
            self.progress(f"{self.track.needed:,} scans, power cycles in {len(left)} more states")
            self.track = taken(self.track, min(found, key=lambda trial: trial.needed))

    def _cycle_now(self) -> Trial | None:
        """A power cycle after all else that shows most."""
        best: Trial | None = None
        for moment in {self.track.needed, *(m for m in self.moments() if m > self.track.needed)}:
            trial = tried(self.track, self.track.plan.with_cycle(moment), moment, moment + 1)
            fits = trial.gained and not trial.lost and trial.needed <= self.most
            if fits and (best is None or trial.gained.bit_count() > best.gained.bit_count()):
                best = trial
        return best

    def _cycle_then(self, goal: Goal) -> Trial | None:
        """A rule brought where the goal wants it, after all else, and then a power cycle; the shortest way to it."""
        source, bit = goal.what.split(" ")[0], self.watcher.bits[goal]
        best: Trial | None = None
        for trip in (True, False):
            for drive in self.drives.of(goal.rule, trip)[:4]:
                after = max(self.track.needed, self.track.events[-1])
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
                            if not cycled.gained & bit or cycled.lost:
                                continue
                            if cycled.needed > self.most:
                                self.over[goal] = min(cycled.needed, self.over.get(goal, cycled.needed))
                            elif best is None or cycled.needed < best.needed:
                                best = cycled
        return best

    def order(self) -> list[Goal]:
        """Goals about a rule by how long the rule takes; what mostly comes by the way last."""
        kinds = list(GoalKind)

        def key(goal: Goal) -> tuple[bool, int, int]:
            takes = 0
            if goal.kind not in LATE:
                rule = self.code.scheme.rules[goal.rule]
                takes = rule.trips.delay.scans + rule.clears.delay.scans
            return goal.kind in LATE, -takes, kinds.index(goal.kind)

        return sorted(self.watcher.bits, key=key)

    def seek(self, goal: Goal) -> bool:
        """Change the run so that a goal is shown; False where no way was found."""
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
                return self.take(goal, self._in_the_open(goal)) or self.take(goal, self._by_drive(goal))

    def take(self, goal: Goal, puts: Iterable[Put | None], *, open_too: bool = True) -> bool:
        """Take the best of what is tried: at once what makes the run no longer, else what shows most for its scans.
        Where the goal is but hidden, what hides it is moved out of the way."""
        bit = self.watcher.bits[goal]
        best: tuple[float, Trial] | None = None
        hidden: list[tuple[float, Trial]] = []
        self.costly = []
        tries = 0
        for trial in (trial for put in puts for trial in self.trials(put)):
            tries += 1
            if tries > (TRIES if open_too else TRIES // 3):
                break
            if trial.needed > self.most:
                if trial.gained & bit:
                    self.over[goal] = min(trial.needed, self.over.get(goal, trial.needed))
                continue
            if self._loses(trial):
                if trial.gained & bit:
                    self.costly.append(trial)
                continue
            added = trial.needed - self.track.needed
            if trial.gained & bit:
                if added <= 0:
                    best = (0.0, trial)
                    break
                worth = trial.gained.bit_count() / added
                if best is None or worth > best[0]:
                    best = (worth, trial)
            elif open_too and trial.hidden() & bit:
                hidden.append((trial.gained.bit_count() / max(added, 1), trial))
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
