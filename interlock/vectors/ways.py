"""Ways to each kind of goal: what may be put into a run, and where, so that it is shown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, product

from interlock.export.unit import UnitCode
from interlock.scheme.model import Rule
from interlock.scheme.words import OnInvalid, Signal, State
from interlock.vectors.decisions import About, Leaf
from interlock.vectors.drive import Drive
from interlock.vectors.goals import NOT_BEFORE, RUNS_OUT, TOO_EARLY, Goal, GoalKind
from interlock.vectors.inputs import Frame, Lane
from interlock.vectors.stage import ALL, BEGINS, LONG, MOMENTS, PAUSE, SPARE, Put, Sought, Stage, thinned
from interlock.vectors.timeline import Entry, Plan, Track, taken, tried

NEAR = 200  # scans: what came to pass so short before may be postponed
AT_ONCE = 3  # conditions that are made so at one moment
SEVERAL = 3  # ways to make each of them so
STAYS = 10  # scans for which they stay so
DEPTH = 6  # scans: a change that goes through other rules first comes by so much later at most
ENDS = 24  # moments at which what takes long may be over
FEW, MORE = 3, 8  # moments at which what a decision needs is tried, and in a further run
AHEAD = 30  # scans before a rule's own delay: what must come before it on the same input


class Ways(Stage):
    """What may be put into the run for a goal. Each way is tried by whoever asks."""

    def __init__(self, code: UnitCode, most: int, sought: Sought = ALL) -> None:
        super().__init__(code, most, sought)
        self._relations: dict[str, tuple[list[str], list[str]]] = {}

    def _broken_off(self, goal: Goal) -> Iterator[Put | None]:
        """A delay, or a wait for a reset, broken off again by the reverse of what began it."""
        source = goal.what.split(" ")[0]
        trip = source != str(State.PICKING_UP)
        for entry in self.track.entries:
            if any(name == goal.rule and str(new) == source for name, _, new in entry.moved):
                for drive in self.drives.of(goal.rule, trip)[:4]:
                    for later in (1, 2):
                        start = entry.scan + later
                        frames = drive.frames(self.inputs, self.track.given(start), 0)
                        for hold in (0, drive.delay + SPARE):
                            yield self.put(drive.lane, start, frames[-1:], hold)

    def _by_drive(self, goal: Goal) -> Iterator[Put | None]:
        takes = {t: min((d.delay for d in self.drives.of(goal.rule, t)), default=0) for t in (True, False)}
        moments = {trip: self.when(goal.rule, not trip, takes[trip]) for trip in (True, False)}
        for visible in (True, False):
            for trip in (True, False):
                for drive in self.drives.of(goal.rule, trip):
                    for decider in range(2 if drive.lane.sensors[1:] and visible else 1):
                        for moment in moments[trip][not visible]:
                            yield self.driven(drive, moment, decider)

    def _further_out(self, goal: Goal) -> Iterator[Put | None]:
        """Further out while the lane is away from rest anyhow: what it is away for is then over a little later."""
        for trip in (True, False):
            for drive in [d for d in self.drives.of(goal.rule, trip) if d.lane.sensors]:
                away = [
                    m for m in self.moments() if any(self.track.given(m)[i] != self.rest[i] for i in drive.lane.places)
                ]
                for moment in thinned(away, ENDS):
                    yield self.driven(drive, moment)

    def _ending(self, goal: Goal) -> Iterator[Put | None]:
        """What takes long, begun so early that it is over at a moment at which it may be seen."""
        for trip in (True, False):
            for drive in [d for d in self.drives.of(goal.rule, trip)[:2] if d.delay >= LONG]:
                for moment in thinned([m for m in self.moments() if BEGINS + drive.delay + DEPTH < m], ENDS):
                    yield self.driven(drive, moment - drive.delay - DEPTH // 2, more=SPARE)

    def _in_the_open(self, goal: Goal) -> Iterator[Put | None]:
        """Where the track has it hidden: one lane otherwise for a while around it."""
        bit = self.watcher.bits[goal]
        scans = [entry.scan for entry in self.track.entries if entry.hidden & bit]
        for scan in thinned(scans, 6):
            if self.further:
                yield from self._moved_on(scan, goal.rule)
                yield from self._just_before(scan, goal.rule)
            yield from self._around(scan, goal.rule)
            yield from self._later(scan, goal.rule)

    def _just_before(self, scan: int, name: str) -> Iterator[Put | None]:
        """What a rule turned by at a scan, with the rule it watches, brought about so late that it turns just before
        the next thing is done to what they depend on; or that done just after it."""
        if self.drives.rules[name].watches is not Signal.RULE:
            return
        for new in _turns(self.track, scan, name)[:1]:
            for drive in self.drives.of(name, new.active)[:2]:
                if drive.lane.line:
                    yield self.turned(drive.lane, scan + 1, PAUSE)
                done = [s for s, p in self.track.plan.patches.items() if s > scan and drive.lane.places[0] in p]
                for later in done[:3]:
                    for by in (later - scan, later - scan - 1, later - scan + 1):
                        yield self._postponed(name, new.active, scan, by)

    def _moved_on(self, scan: int, name: str) -> Iterator[Put | None]:
        """What brought about a change of a rule at a scan, as a whole at another time, so that the change falls where
        it would be seen."""
        for new in _turns(self.track, scan, name)[:1]:
            for drive in self.drives.of(name, new.active)[:2]:
                for moment in thinned(self.visible(name), MOMENTS):
                    for parts in (1, 2):
                        yield self.shifted(drive.lane, scan - drive.delay + DEPTH, parts, moment + 1 - scan)

    def _around(self, scan: int, name: str) -> Iterator[Put | None]:
        """Each other rule that acts on what this one acts on, and each line they depend on, otherwise at a scan."""
        at, rule = self.track.before(scan), self.drives.rules[name]
        mine = {drive.lane for trip in (True, False) for drive in self.drives.of(name, trip)}
        earlier = max(rule.trips.delay.scans if new is State.TRIPPED else rule.clears.delay.scans
                      for new in _turns(self.track, scan, name))  # fmt: skip
        related, lines = self._related(name)
        for other in related:
            active = at.slots[self.watcher.slot[other]] >= self.watcher.levels[other].awaiting
            for drive in self.drives.of(other, not active):
                start = scan - drive.delay - 6 - (earlier + AHEAD if drive.lane in mine else 0)
                if start > BEGINS:
                    yield self.driven(drive, start, more=6 if drive.lane not in mine else 0)
        for line in lines:
            lane = self.inputs.lane_of[self.inputs.place[line]]
            yield self.turned(lane, scan - 2, 4)
            if lane not in mine:
                for before in thinned([m for m in self.moments() if scan - 3 * NEAR < m < scan - 2], 3):
                    yield self.turned(lane, before, 1)

    def _related(self, name: str) -> tuple[list[str], list[str]]:
        """The rules that act on outputs or lines a rule acts on too, or that either is conditional on, starting ones
        first; and the lines they depend on."""
        known = self._relations.get(name)
        if known is None:
            rules, scheme = self.drives.rules, self.inputs.scheme

            def acts_on(rule: Rule) -> set[str]:
                paths = {target.path for target in rule.blocks} | set(rule.starts)
                found = {o for path in paths for o in scheme.drives(rule.unit, path)}
                return found | {n for n, line in scheme.lines.items() if rule.name in line.rules}

            mine = acts_on(rules[name])
            found = [other for other, rule in rules.items() if other != name and acts_on(rule) & mine]
            for rule in [rules[name], *(rules[n] for n in found)]:
                found += [c.name for c in rule.only_while if c.signal is Signal.RULE]
            found = [n for n in dict.fromkeys(found) if n != name]
            found.sort(key=lambda n: not rules[n].starts)
            lines = [
                line
                for rule in [rules[name], *(rules[n] for n in found)]
                for line in (
                    rule.overridden_by,
                    *(c.name for c in rule.only_while if c.signal is Signal.LINE),
                    rule.watched if rule.watches is Signal.LINE else "",
                )
            ]
            known = self._relations[name] = (found, [n for n in dict.fromkeys(lines) if n in self.inputs.place])
        return known

    def _later(self, scan: int, name: str) -> Iterator[Put | None]:
        """What has come to pass shortly before a scan later, and the rule's own change at a later moment."""
        for entry in self.track.entries:
            if scan - NEAR <= entry.scan < scan:
                for other, _, new in entry.moved:
                    if new in (State.CLEAR, State.TRIPPED):
                        yield self._postponed(other, new.active, entry.scan, scan - entry.scan + 5)
        mine = [new for entry in self.track.entries if entry.scan == scan for n, _, new in entry.moved if n == name]
        later = [moment - scan for moment in self.moments() if moment > scan]
        for new in mine[:1]:
            for by in thinned(later, 6):
                yield self._postponed(name, new.active, scan, by)

    def _postponed(self, name: str, trip: bool, scan: int, by: int) -> Put | None:
        """A rule that trips or clears at a scan after a delay, its own or that of one behind it, does so later: the
        delay is broken off and begun again, exactly at its limit."""
        for drive in self.drives.of(name, trip):
            start = scan - drive.delay + by - 1
            if by < drive.delay and start > BEGINS:
                frames = list(self.inputs.past(drive.rule, trip, self.track.given(start)))[-2:]
                return self.inserted(drive.lane, start, frames) if frames else None
        return None

    def _by_blip(self, goal: Goal) -> Iterator[Put | None]:
        """A reading lost for the one scan at which it decides: in what the track does, or in what is put into it."""
        yield from self._blips(goal, self.track, Put(self.track.plan, self.track.scans[-1], 0), self.track.entries)
        end = self.moments()[-1]  # where nothing is in the way
        last = [
            self.driven(drive, end, decider)
            for trip in (True, False)
            for drive in self.drives.of(goal.rule, trip)
            for decider in range(2)
        ]
        for put in (*self._by_drive(goal), *last):
            if put is not None:
                trial = tried(self.track, put.plan, put.start, put.end)
                yield from self._blips(goal, taken(self.track, trial), put, trial.entries)

    def _blips(self, goal: Goal, track: Track, put: Put, entries: Iterable[Entry]) -> Iterator[Put]:
        rule = self.code.scheme.rules[goal.rule]
        slot, awaiting = self.watcher.slot[goal.rule], self.watcher.levels[goal.rule].awaiting
        places = [self.inputs.place[s] for s in self.inputs.members(rule)]
        lost = Frame({self.inputs.place[s]: self.inputs.lost(s) for s in self.inputs.members(rule)}, str(goal))

        def comes(entry: Entry, state: State) -> bool:
            return any(n == goal.rule and new is state for n, _, new in entry.moved)

        for entry in entries:
            before = track.before(entry.scan).slots[slot] >= awaiting
            now = entry.after.slots[slot] >= awaiting
            match rule.on_invalid:
                case OnInvalid.TRIP:
                    hit = (now and not before) or comes(entry, State.DROPPING_OFF)
                case OnInvalid.CLEAR:
                    hit = (before and not now) or comes(entry, State.PICKING_UP)
                case OnInvalid.HOLD:
                    hit = comes(entry, State.PICKING_UP) or comes(entry, State.DROPPING_OFF)
            if hit:
                scan = entry.scan + (before is now)
                given = track.given(scan + 1)
                frames = {scan: lost, scan + 1: Frame({i: given[i] for i in places})}
                plan = put.plan.with_frames(scan, scan + 2, frames, places)
                yield Put(plan, min(scan, put.start), max(scan + 2, put.end))

    def _by_button(self, goal: Goal) -> Iterator[Put | None]:
        """The reset button pressed a scan too early and held, let go, pressed again; where the rule comes to wait in
        the track, or after it was made to."""
        place = self.inputs.place[self.code.scheme.rules[goal.rule].reset_by]

        def pressed(plan: Plan, scan: int, start: int, end: int) -> Put:
            early = 0 if goal.what == TOO_EARLY else 1
            values = {scan - 1: 0, scan: 1 - early, scan + 1: 1, scan + 2: 1, scan + 3: 0, scan + 4: 1, scan + 5: 0}
            if goal.what == "edge":
                values = {scan: 0, scan + 1: 1, scan + 2: 0}
            elif goal.what == "held down":
                values |= {scan - 2: 1, scan - 1: 1, scan: 1}
            frames = {s: Frame({place: v}, str(goal) if s == scan - 1 else "") for s, v in values.items()}
            first, last = min(values), max(values) + 1
            return Put(plan.with_frames(first, last, frames, [place]), min(first, start), max(last, end))

        def arrivals(entries: Iterable[Entry]) -> Iterator[int]:
            for entry in entries:
                for name, _, new in entry.moved:
                    if name == goal.rule and new is State.AWAITING_RESET:
                        yield entry.scan

        for scan in arrivals(self.track.entries):
            yield pressed(self.track.plan, scan, scan, scan)
        for put in self._by_drive(goal):
            if put is not None:
                trial = tried(self.track, put.plan, put.start, put.end)
                for scan in arrivals(trial.entries):
                    yield pressed(put.plan, scan, put.start, put.end)

    def _by_override(self, goal: Goal) -> Iterator[Put | None]:
        rule = self.code.scheme.rules[goal.rule]
        lane = self.inputs.lane_of[self.inputs.place[rule.overridden_by]]
        place = lane.places[0]
        hold = rule.override_at_most.scans + 2 if goal.what == RUNS_OUT and rule.override_at_most else 2
        if goal.what == NOT_BEFORE:
            return
        for moment in [m for moments in self.when(goal.rule, True) for m in moments]:
            yield self.put(lane, moment, [Frame({place: 0}), Frame({place: 1}, str(goal))], hold)
            frames = [Frame({place: v}) for v in (1, 0)]
            yield self.put(lane, moment, [*frames, Frame({place: 1}, str(goal))], hold)
        if hold >= LONG:
            ends = [m for m in self.moments() if m > BEGINS + hold]
            for moment in thinned(ends, ENDS):
                yield self.put(lane, moment - hold, [Frame({place: 0}), Frame({place: 1}, str(goal))], hold)

    def _by_logic(self, goal: Goal) -> Iterator[Put | None]:
        """Where one condition otherwise would show it, or a few at once: those made so, for as long as it takes."""
        leaves, shows = self.goals.about(goal)
        leaves = leaves if self.further else self.goals.logic.leaves
        places = [self.goals.logic.leaves.index(leaf) for leaf in leaves]
        names = [str(leaf) for leaf in leaves]
        ways: dict[tuple[bool, ...], list[int]] = {}
        for moment in self.moments():
            at = self.track.before(moment)
            held = self.watcher.holds(at.slots, at.slots, self.track.given(moment))
            ways.setdefault(tuple(held[i] for i in places), []).append(moment)
        if self.further:  # what holds only at the scan at which something turns
            before = self.watcher.first().slots
            for entry in self.track.entries:
                if entry.moved and entry.scan > BEGINS:
                    held = self.watcher.holds(before, entry.after.slots, self.track.given(entry.scan))
                    ways.setdefault(tuple(held[i] for i in places), []).append(entry.scan)
                before = entry.after.slots
        can = [i for i, leaf in enumerate(leaves) if leaf.about is not About.PATH]
        several = self.further and goal.kind is not GoalKind.CONDITION
        for size in range(1, AT_ONCE + 1 if several else 2):
            for held, moments in ways.items():
                for turned in combinations(can, size):
                    given = {n: h is not (i in turned) for i, (n, h) in enumerate(zip(names, held, strict=True))}
                    if shows(given):
                        for moment in thinned(moments, MORE if self.further else FEW):
                            if size == 1:
                                yield from self._leaf(leaves[turned[0]], given[names[turned[0]]], moment)
                            else:
                                wanted = [(leaves[i], given[names[i]]) for i in turned]
                                yield from self._at_once(wanted, moment)

    def _out_of_the_way(self, name: str, active: bool, moment: int) -> Iterator[Put | None]:
        """What brought a rule to where it is at a moment, moved to after that moment."""
        turns = [
            entry.scan
            for entry in self.track.entries
            if entry.scan < moment and any(n == name and new.active is active for n, _, new in entry.moved)
        ]
        for scan in turns[-1:]:
            ahead = [m for m in self.moments() if m > moment]
            for drive in self.drives.of(name, active)[:2]:
                for later in [moment + STAYS, *thinned(ahead, 4)]:
                    for parts in (1, 2):
                        yield self.shifted(drive.lane, scan - drive.delay + DEPTH, parts, later - scan + drive.delay)

    def _at_once(self, wanted: Sequence[tuple[Leaf, bool]], moment: int) -> Iterator[Put | None]:
        """Several conditions made so on inputs of their own, all of them at one moment."""
        choices = [list(self._towards(leaf, met))[:SEVERAL] for leaf, met in wanted]
        for chosen in product(*choices):
            lanes = [x if isinstance(x, Lane) else x.lane for x in chosen]
            if len(set(lanes)) < len(lanes):
                continue
            put: Put | None = None
            for way in chosen:
                if isinstance(way, Lane):
                    put = self.turned(way, moment - 2, STAYS + 2, put)
                else:
                    start = moment - way.delay - AHEAD
                    put = self.driven(way, start, more=AHEAD + STAYS, beside=put) if start > BEGINS else None
                if put is None:
                    break
            yield put

    def _towards(self, leaf: Leaf, wanted: bool) -> Iterator[Drive | Lane]:
        """What may be done so that a condition holds, or does not."""
        match leaf.about:
            case About.ACTS:
                yield from self.drives.of(leaf.name, wanted)
            case About.LINE:
                yield self.inputs.lane_of[self.inputs.place[leaf.name]]
            case _:
                line = self.code.scheme.rules[leaf.name].overridden_by
                if line in self.inputs.place and leaf.about is About.OVERRIDDEN:
                    yield self.inputs.lane_of[self.inputs.place[line]]

    def _leaf(self, leaf: Leaf, wanted: bool, moment: int) -> Iterator[Put | None]:
        match leaf.about:
            case About.ACTS:
                for drive in self.drives.of(leaf.name, wanted):
                    if self.further and self.along is not None:
                        yield self.prolonged(drive, moment)
                    yield self.driven(drive, moment)
                    if moment - drive.delay - 6 > BEGINS:
                        yield self.driven(drive, moment - drive.delay - 6, more=6)
                if self.further:
                    yield from self._out_of_the_way(leaf.name, not wanted, moment)
                    for entry in self.track.entries:
                        turned = [new for n, _, new in entry.moved if n == leaf.name and new.active is not wanted]
                        if turned and moment - NEAR < entry.scan <= moment:
                            yield self._postponed(leaf.name, not wanted, entry.scan, moment - entry.scan + STAYS)
            case About.LINE:
                yield self.turned(self.inputs.lane_of[self.inputs.place[leaf.name]], moment, 2)
            case About.OVERRIDDEN if wanted:
                line = self.code.scheme.rules[leaf.name].overridden_by
                if line in self.inputs.place:
                    yield self.turned(self.inputs.lane_of[self.inputs.place[line]], moment, 2)
            case _:
                return


def _turns(track: Track, scan: int, name: str) -> list[State]:
    """What a rule comes to at a scan."""
    return [new for entry in track.entries if entry.scan == scan for n, _, new in entry.moved if n == name] or [
        State.TRIPPED
    ]
