"""A run being planned: what it does so far, what may be put into it, and when.

At first everything comes to rest from power-up, past every limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.export.unit import UnitCode
from interlock.logic.readings import compare
from interlock.scheme.model import Limit, Rule
from interlock.scheme.words import State
from interlock.vectors.drive import Drive, Drives
from interlock.vectors.goals import Goal
from interlock.vectors.inputs import Frame, Lane, patched
from interlock.vectors.spine import spine
from interlock.vectors.timeline import LONGEST, Entry, Plan, Track, Trial, tracked, tried
from interlock.vectors.watch import Watcher

MOMENTS = 14  # at which something is tried, for each way to do it
PARTS = 4  # of a long wait: at the beginning of each something may be tried
SPARE = 3  # scans after a delay
BETWEEN = 60  # scans longer than it must, for each value of the lane that a run is planned along
APART = 25  # scans between moments that are told apart
PAUSE = 5  # scans without a change, between two parts of what is done to an input
LONGER = 150  # scans by which a run may become longer for one thing that is done nowhere else
BEGINS = 1  # the scan from which on something is done
LONG = 1000  # scans: a delay of that many is run out as seldom as can be
RESETS = 4  # that one trial may want
WAITED = 100  # scans: what waits that long for its reset before it trips again might have been given it
LATER = 40  # scans by which a reset may wait, so that what else has cleared meanwhile is told apart from it


@dataclass(frozen=True, slots=True)
class Put:
    """Frames put on a lane from a scan on, and what the lane does afterwards again from `end` on."""

    plan: Plan
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Sought:
    """What a run is for: all goals (None), or those that no run before it shows. `along`: the lane that is led the
    shortest way through all that takes long there; None: every lane comes to rest first."""

    goals: tuple[Goal, ...] | None = None
    along: Lane | None = None


ALL = Sought()


class Stage:
    """The run so far (`track`), and trials with something put into it."""

    def __init__(self, code: UnitCode, most: int, sought: Sought = ALL) -> None:
        self.code, self.most, self.along = code, most, sought.along
        self.further = sought.goals is not None  # or the first run's second half: may overwrite
        self.watcher = Watcher(code, sought.goals)
        self.inputs = self.watcher.inputs
        self.drives = Drives(self.inputs)
        self.goals = self.watcher.goals
        self.rest = self.inputs.rest
        self.track = self._first()

    # --- the beginning

    def _first(self) -> Track:
        """At rest but for buttons held down, and then to rest past every limit."""
        buttons = {n for rule in self.inputs.rules for n in (rule.reset_by, rule.overridden_by)}
        start = dict(enumerate(self.rest))
        start |= {self.inputs.place[n]: 1 for n in buttons if n in self.inputs.place}
        frames: dict[int, dict[int, int]] = {0: start}
        says = {0: "power-up"}
        for lane in self.inputs.lanes:
            for at, frame in enumerate(() if lane == self.along else self._begins(lane), BEGINS):
                frames.setdefault(at, {}).update(frame.patch)
                if frame.says:
                    says[at] = frame.says
        if self.along is not None:
            self._along(self.along, frames, says)
        plan = Plan(dict(sorted(frames.items())), frozenset(), says)
        track = tracked(self.watcher, plan, self.rest, self.most)
        while (more := self._reset(track.plan, track.entries, 0)) is not None:
            track = tracked(self.watcher, more, self.rest, self.most)
        return track

    def _along(self, lane: Lane, frames: dict[int, dict[int, int]], says: dict[int, str]) -> None:
        """One lane the shortest way through all that takes long there, past every limit between its values."""
        at, now = BEGINS, self.rest
        for hold in spine(self.inputs, lane):
            for frame in self.inputs.sweep(lane, now, hold.value):
                frames.setdefault(at, {}).update(frame.patch)
                if frame.says:
                    says[at] = frame.says
                now = patched(now, frame.patch)
                at += 1
            at += hold.scans + BETWEEN

    def _begins(self, lane: Lane) -> list[Frame]:
        """Past every limit to rest, where that trips no rule, or takes so long that there is no second time; else
        rest."""
        frames = list(self._to_rest(lane))
        for rule in self.inputs.rules:
            sees = rule.watched == lane.line or (
                rule in self.inputs.watching and self.inputs.members(rule)[0] in lane.sensors
            )
            if sees and self._trips(rule, frames) and rule.clears.delay.scans < LONG:
                return [Frame({i: self.rest[i] for i in lane.places})]
        return frames

    def _trips(self, rule: Rule, frames: Sequence[Frame]) -> bool:
        """Whether a rule would trip by these frames."""
        given, run, longest, test = self.rest, 0, 0, rule.trips.test
        for frame in frames:
            given = patched(given, frame.patch)
            if isinstance(test, Limit):
                value = self.inputs.read(rule, given)
                met = value is not None and compare(value, test)
            else:
                met = bool(given[self.inputs.place[rule.watched]]) is test
            run = run + 1 if met else 0
            longest = max(longest, run)
        return longest > rule.trips.delay.scans

    def _to_rest(self, lane: Lane) -> Iterator[Frame]:
        if lane.line:
            place = lane.places[0]
            for value in (self.rest[place], 1 - self.rest[place], self.rest[place]):
                yield Frame({place: value})
            return
        regions = self.inputs.regions[lane]
        now = list(self.rest)
        for target in (min(regions), max(regions), self.rest[lane.places[0]]):
            if target == min(regions):
                yield Frame(dict.fromkeys(lane.places, target))
            else:
                yield from self.inputs.sweep(lane, tuple(now), target)
            for i in lane.places:
                now[i] = target
        for rule in self.inputs.watching:
            if self.inputs.apart(rule) and self.inputs.members(rule)[0] in lane.sensors:
                yield from self.inputs.past(rule, False, self.rest)
                yield Frame({i: self.rest[i] for i in lane.places})

    def _reset(self, plan: Plan, entries: Sequence[Entry], later: int, *, in_between: bool = False) -> Plan | None:
        """The plan with a reset pressed as soon as the first rule that still waits for one accepts it, or so many scans
        later; None where none waits. `in_between`: also where a rule has waited for long and has then tripped again."""
        waits: dict[str, int] = {}
        for entry in entries:
            for name, old, new in entry.moved:
                waited = entry.scan - waits.get(name, entry.scan)
                if new is State.AWAITING_RESET:
                    waits.setdefault(name, entry.scan)
                elif old is State.AWAITING_RESET and not (in_between and new is State.TRIPPED and waited > WAITED):
                    waits.pop(name, None)
        for name, scan in sorted(waits.items(), key=lambda pair: pair[1]):
            line = self.code.scheme.rules[name].reset_by
            if line in self.inputs.place:
                place = self.inputs.place[line]
                at = scan + later
                frames = {at: Frame({place: 0}), at + 1: Frame({place: 1}), at + 2: Frame({place: 0})}
                return plan.with_frames(at, at + 3, frames, [place])
        return None

    # --- trying

    def trials(self, put: Put | None) -> Iterator[Trial]:
        """What comes of it, with every reset given that it leaves to be given: at once, or a while later."""
        if put is None:
            return
        bare = tried(self.track, put.plan, put.start, put.end)
        for later, in_between in ((0, False), (LATER, False), (LATER, True)) if self.further else ((0, False),):
            trial = bare
            for _ in range(RESETS):
                more = self._reset(trial.plan, trial.entries, later, in_between=in_between)
                if more is None:
                    break
                trial = tried(self.track, more, put.start, self._settled(more, put))
            if trial is not bare or not later:
                yield trial

    def _settled(self, plan: Plan, put: Put) -> int:
        """The scan from which on a plan does what the track's does."""
        old = self.track.plan.patches
        return max([put.end, *(s + 1 for s in {*plan.patches, *old} if plan.patches.get(s) != old.get(s))])

    def put(
        self, lane: Lane, start: int, frames: Sequence[Frame], hold: int, decider: int = 0, beside: Put | None = None
    ) -> Put | None:
        """Frames on a lane, held, and back to what the lane does in the track. Where it is not idle so long: None, or
        in a further run in the place of what is done there. `beside`: what is put on other lanes already."""
        back = start + len(frames) + hold
        own = {i: self.track.given(back)[i] for i in lane.places}
        now = list(self.track.given(start))
        for frame in frames:
            for i, value in frame.patch.items():
                now[i] = value
        home = [Frame(own)]
        if not lane.line and len(set(own.values())) == 1:
            home = list(self.inputs.sweep(lane, tuple(now), next(iter(own.values())), decider))
        elif lane.line and len(frames) > 1:
            place = lane.places[0]
            home = [Frame(own), Frame({place: 1 - own[place]}), Frame(own)]
        end = back + len(home)
        if any(
            lane.places[0] in p or lane.places[-1] in p for s, p in self.track.plan.patches.items() if start <= s < end
        ):
            if not self.further:
                return None
            later = self.track.given(end)  # in the place of what is done there
            if any(later[i] != value for i, value in own.items()):
                home, end = [Frame(own)], back + 1
        placed = {start + i: frame for i, frame in enumerate(frames)}
        placed |= {back + i: frame for i, frame in enumerate(home)}
        if beside is not None:
            plan = beside.plan.with_frames(start, end, placed, lane.places)
            return Put(plan, min(start, beside.start), max(end, beside.end))
        return Put(self.track.plan.with_frames(start, end, placed, lane.places), start, end)

    def driven(
        self, drive: Drive, start: int, decider: int = 0, more: int = 0, beside: Put | None = None
    ) -> Put | None:
        """A drive from a scan on, for as long as it takes."""
        frames = drive.frames(self.inputs, self.track.given(start), decider)
        hold = drive.delay + SPARE + more
        return self.put(drive.lane, start, frames, hold, decider, beside) if frames else None

    # --- when

    def moments(self) -> list[int]:
        """The scans at which something may be begun: after each change, and some within a long wait."""
        found = []
        scans = self.track.scans
        for scan, following in zip(scans, [*scans[1:], scans[-1] + PARTS], strict=True):
            gap = following - scan
            found.append(scan + 1)
            if gap > 100:
                found += [scan + 1 + gap * part // PARTS for part in range(1, PARTS)]
        if self.along is None and not self.further:
            return [m for m in found if m > BEGINS]
        return sorted({m for m in (*found, self.track.needed + 1) if BEGINS < m <= self.most})

    def when(self, name: str, active: bool, takes: int = 0) -> tuple[list[int], list[int]]:
        """The moments at which a rule acts or does not: those at which it would be seen to turn, and others; not too
        many, but the first after all that is shown among them, and none after which there would be too few scans for
        what takes so many."""
        seen, unseen = list[int](), list[int]()
        last: tuple[bool, ...] = ()
        slot, awaiting = self.watcher.slot[name], self.watcher.levels[name].awaiting
        known: dict[tuple[bool, ...], bool] = {}
        last_one = list[int]()
        for moment in [m for m in self.moments() if m + takes <= self.most or not self.further]:
            at = self.track.before(moment)
            if (at.slots[slot] >= awaiting) is not active:
                continue
            given = self.track.given(moment)
            key = self.watcher.holds(at.slots, at.slots, given)
            if key not in known:
                _, told = self.watcher.told(at.slots, given)
                known[key] = self.watcher.otherwise(at.slots, given, False, f"level of {name}") not in (told, None)
            if moment == self.track.needed + 1 and self.along is not None:
                last_one = [moment]
            elif key != last or known[key]:
                (seen if known[key] else unseen).append(moment)
            last = key
        return thinned(seen, MOMENTS) + last_one, thinned(unseen, MOMENTS - min(len(seen), MOMENTS // 2))

    def visible(self, name: str) -> list[int]:
        """Moments at which a rule would be seen to turn whichever way it is, some scans apart."""
        found = list[int]()
        known: dict[tuple[bool, ...], bool] = {}
        for moment in self.moments():
            if found and moment < found[-1] + APART:
                continue
            at, given = self.track.before(moment), self.track.given(moment)
            key = self.watcher.holds(at.slots, at.slots, given)
            if key not in known:
                _, told = self.watcher.told(at.slots, given)
                known[key] = self.watcher.otherwise(at.slots, given, False, f"level of {name}") not in (told, None)
            if known[key]:
                found.append(moment)
        return found

    def inserted(self, lane: Lane, start: int, frames: Sequence[Frame]) -> Put | None:
        """Frames on a lane from a scan on, and at once back to what it does."""
        end = start + len(frames)
        if any(lane.places[0] in self.track.plan.patches.get(s, {}) for s in range(start, end + 1)):
            return None
        given = self.track.given(end)
        placed = dict(enumerate([*frames, Frame({i: given[i] for i in lane.places})], start))
        return Put(self.track.plan.with_frames(start, end + 1, placed, lane.places), start, end + 1)

    def prolonged(self, drive: Drive, moment: int) -> Put | None:
        """A drive in scans put in between for it, after which all goes on as it was at that moment, so much later; None
        where that would take too many."""
        lane, now = drive.lane, self.track.given(moment)
        frames = drive.frames(self.inputs, now, 0)
        own = {i: now[i] for i in lane.places}
        for frame in frames:
            now = patched(now, frame.patch)
        home = [Frame(own)]
        if lane.sensors and len(set(own.values())) == 1:
            home = list(self.inputs.sweep(lane, now, next(iter(own.values()))))
        back = moment + len(frames) + drive.delay + SPARE
        more = back + len(home) - moment
        if not frames or more > LONGER or self.track.needed + more > self.most:
            return None
        placed = dict(enumerate(frames, moment)) | dict(enumerate(home, back))
        plan = self.track.plan.later(moment, more).with_frames(moment, moment + more, placed, lane.places)
        return Put(plan, moment, LONGEST)

    def shifted(self, lane: Lane, before: int, parts: int, by: int) -> Put | None:
        """What is done to a lane, in so many parts with pauses between them the first of which is the last to begin
        before a scan, moved as a whole by so many scans; None where that would meet what else is done to it."""
        parts_of = list[list[int]]()
        for scan, patch in self.track.plan.patches.items():
            if lane.places[0] in patch or lane.places[-1] in patch:
                if parts_of and scan - parts_of[-1][-1] <= PAUSE:
                    parts_of[-1].append(scan)
                else:
                    parts_of.append([scan])
        i = sum(part[0] <= before for part in parts_of) - 1
        if i < 1 or not by:  # the first part is the beginning
            return None
        block = [scan for part in parts_of[i : i + parts] for scan in part]
        after = parts_of[i + parts][0] if i + parts < len(parts_of) else self.most
        if not parts_of[i - 1][-1] < block[0] + by <= block[-1] + by < after:
            return None
        old = self.track.plan
        frames = {
            s + by: Frame({k: v for k, v in old.patches[s].items() if k in lane.places}, old.says.get(s, ""))
            for s in block
        }
        start, end = min(block[0], block[0] + by), max(block[-1], block[-1] + by) + 1
        return Put(old.with_frames(start, end, frames, lane.places), start, end)

    def turned(self, lane: Lane, start: int, scans: int, beside: Put | None = None) -> Put | None:
        """A line the other way for so many scans."""
        place = lane.places[0]
        return self.put(lane, start, [Frame({place: 1 - self.track.given(start)[place]})], scans, beside=beside)


def thinned(scans: Sequence[int], most: int) -> list[int]:
    """At most so many of them, evenly spread, the first one kept."""
    if len(scans) <= most:
        return list(scans)
    return [scans[i * len(scans) // most] for i in range(most)]
