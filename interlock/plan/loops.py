"""Candidates for a sheet: ways out of rest and back to it, each simulated with everything that may be wrong.

A loop leaves rest by one change or more, waits after each until nothing of a healthy installation changes by itself any
more, gives all inputs their values of rest again and every reset that is needed. Loops begin and end alike, so that any
of them may be carried out, in any order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

import numpy as np

from interlock.logic.faultset import FaultSet
from interlock.logic.program import SlotKind
from interlock.plan.chains import chains, reached
from interlock.plan.columns import FOREVER, Ints, State
from interlock.plan.doubts import Doubtful, Doubts, Spot
from interlock.plan.hypotheses import Given as Applications
from interlock.plan.hypotheses import Hypothesis
from interlock.plan.predict import stands
from interlock.plan.sights import Bools, Sight, sights
from interlock.plan.stand import Columns, Given, Packed, Stand
from interlock.plan.stimuli import LOOK_US, SLOW_US, Stimuli, look_window
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.units import MICRO
from interlock.scheme.words import Part

MOST_COLUMNS = 40_000
SLACK_S = 4  # a look for what should not happen comes so many seconds after it would have happened
MOMENTS_S = 10
MOST_LOOKS = 12  # in one phase

Loop = tuple[Spot, ...]  # the way out of rest
Input = tuple[str, int]  # a sensor or an external line, by its place


@dataclass(frozen=True)
class PhaseRun:
    """One phase of a loop as a healthy installation goes through it: until it `settles`, and when to look, in seconds.
    `tells[k, i]`: by which sights look k tells hypothesis i for certain, packed; of shape (looks, hypotheses, bytes).
    `moved`: from which second of it on which sights are not as they are at rest, or in doubt; `silenced`: with which
    hypotheses something is in doubt."""

    spot: Spot
    settles: int
    looks: tuple[int, ...]
    tells: Packed
    moved: tuple[tuple[float, Packed], ...]
    silenced: frozenset[int]

    @cached_property
    def found(self) -> Bools:
        """Of shape (looks, hypotheses): which hypotheses each look tells."""
        return np.asarray(self.tells.any(axis=2))


def any_of(tables: Sequence[Bools]) -> Bools:
    """Where any of them is true."""
    found = np.zeros_like(tables[0])
    for table in tables:
        found |= table
    return found


@dataclass(frozen=True)
class Run:
    """A loop with the way back."""

    loop: Loop
    phases: tuple[PhaseRun, ...]

    @cached_property
    def found(self) -> Bools:
        """Which hypotheses any look of it tells."""
        return any_of([table for phase in self.phases for table in phase.found])

    @property
    def seconds(self) -> int:
        """How long it takes at least."""
        return sum(phase.settles for phase in self.phases)


@dataclass
class _Healthy:
    """A loop as a healthy installation goes through it: spots, the seconds each settles in, events in scans."""

    loop: Loop
    spots: list[Spot] = field(default_factory=list)
    settles: list[int] = field(default_factory=list)
    events: list[list[int]] = field(default_factory=list)
    views: list[list[tuple[int, Packed]]] = field(default_factory=list)  # from which scan on what may be seen
    doubtful: list[Doubtful] = field(default_factory=list)  # by phase

    def add(self, spot: Spot, settles: int, events: list[int], views: list[tuple[int, Packed]]) -> None:
        """One more phase."""
        self.spots.append(spot)
        self.settles.append(settles)
        self.events.append(events)
        self.views.append(views)


@dataclass
class Trials:
    """Loops tried on a scheme. Hypothesis 0 is the healthy installation. `resting`: each at rest, `begun`: the phases
    from power-up to there. Raises NeverRests where a healthy installation never comes to rest."""

    stimuli: Stimuli
    hypotheses: Sequence[Hypothesis]
    early: Fraction = Fraction(0)  # looks before a long delay is over come so much of it before its end
    looked_at: tuple[Sight, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.scheme: Scheme = self.stimuli.scheme
        self.looked_at = sights(self.scheme)
        sets = [h.wrong for h in self.hypotheses]
        self.stands: list[tuple[Stand, list[int]]] = stands(self.scheme, sets, self.looked_at)
        self.home = Spot(tuple(self.stimuli.applied(self.stimuli.rest)), self.stimuli.rest.lines)
        self._healthy = Stand(self.scheme, (), self.looked_at)
        sources = [self._source(h) for h in self.hypotheses]
        self.doubts = Doubts(self.stimuli, self.looked_at, self.hypotheses, sources, self.home)
        self._at_least: dict[Applications, int] = {}
        self._rested: State = []
        self.begun, self.resting, self._rested = self._begin()

    def _source(self, hypothesis: Hypothesis) -> tuple[int, ...]:
        faults = FaultSet.of(s for w in hypothesis.wrong if isinstance(w, Fault) for s in w.single())
        names = list(self.scheme.sensors)
        return tuple(names.index(faults.source(Part.SENSOR, name)) for name in names)

    # --- time

    def seconds(self, scans: int) -> int:
        """The least whole seconds, at least one, after which so many scans are certainly over."""
        return max(1, -(-scans * self.scheme.scan_us // MICRO))

    def window(self, at: int) -> tuple[int, int]:
        """First and last scan of a look that begins `at` seconds after a change."""
        return look_window(self.scheme, at)

    def _before(self, event: int) -> int:
        """The last whole second at which a look is certainly over before that scan; 0 or less where there is none."""
        at = ((event - 2) * self.scheme.scan_us - LOOK_US) // MICRO
        at = min(at, int(event * self.scheme.scan_us * (1 - self.early) // MICRO))
        return at if at > 0 and self.window(at)[1] < event else 0

    @property
    def held(self) -> int:
        """For how many scans a button is pressed."""
        return -(-SLOW_US // self.scheme.scan_us)

    # --- from power-up to rest

    def _begin(self) -> tuple[Run, list[Columns], State]:
        healthy, state = self._begun_by(self._first_press())
        if healthy is None:
            healthy, state = self._begun_by(0)
        if healthy is None:
            raise NeverRests
        self._rested = state
        columns = [
            stand.columns([self.hypotheses[i].wrong for i in members], [self.hypotheses[i].held for i in members])
            for stand, members in self.stands
        ]
        everyone = [np.arange(len(m)) for _, m in self.stands]
        runs, after = self._run([healthy], columns, everyone, at_rest=False)
        return runs[0], after, state

    def _first_press(self) -> int:
        """After how many seconds from power-up every rule that waits for a reset can be reset, if all stays at rest."""
        manual = [rule.clears.delay.scans for rule in self.scheme.rules.values() if rule.manual]
        return self.seconds(max(manual) + 2) if manual and self.stimuli.resets else 0

    def _begun_by(self, first_press: int) -> tuple[_Healthy | None, State]:
        """From power-up to rest, the first reset after so many seconds (0: when nothing changes any more). None where
        that is not the rest at which it ends when all else is waited for."""
        presses = [self.home._replace(press=button) for button in self.stimuli.resets]
        spots = [self.home._replace(lasts=first_press), *presses]
        state = self._healthy.columns([()])
        healthy = _Healthy(tuple(spots))
        for spot in spots:
            state, settled, events, views = self._settle(state, [spot])
            if settled[0] < 0 and not spot.lasts:
                return None, state.state
            healthy.add(spot, spot.lasts or self.seconds(int(settled[0])), events[0], views[0])
        # nothing is left to be reset
        for press in presses:
            again, settled, _, _ = self._settle(state, [press])
            if settled[0] < 0 or any((a != b).any() for a, b in zip(again.state, state.state, strict=True)):
                return None, state.state
        return healthy, state.state

    # --- healthy only

    def _given(self, spots: Sequence[Spot]) -> Given:
        stand = self._healthy
        readings = [[a.read for a in spot.given] for spot in spots]
        pressed = np.zeros((len(spots), len(stand.external)), bool)
        for row, spot in enumerate(spots):
            if spot.press is not None:
                pressed[row, spot.press] = True
        return Given(
            np.array(readings, np.int64).reshape(len(spots), -1),
            np.array([spot.lines for spot in spots], bool).reshape(len(spots), -1),
            pressed,
            self.held,
        )

    def _settle(
        self, columns: Columns, spots: Sequence[Spot]
    ) -> tuple[Columns, Ints, list[list[int]], list[list[tuple[int, Packed]]]]:
        """Healthy installations given this until rest, or for as long as is said: when they come to rest (-1: not
        within that), the scans in which what is seen of them changes, and what may be seen, true and false, and which
        rules are tripped, from which scan on."""
        events: list[list[int]] = [[] for _ in spots]
        views: list[list[tuple[int, Packed]]] = [[] for _ in spots]
        shown: list[bytes | None] = [None] * len(spots)
        seen = 2 * self._row

        def watch(where: Ints, first: Ints, true: Packed, false: Packed, slots: State) -> None:
            tripped = [slots[i] > limit for i, limit in self._levels.values()]
            rules = np.packbits(np.array(tripped, bool).reshape(len(tripped), len(where)), axis=0)
            both = np.ascontiguousarray(np.concatenate([true, false, rules], axis=0).T)
            for row, column in enumerate(where.tolist()):
                view = both[row].tobytes()
                before = shown[column]
                if before != view:
                    if before is not None and before[:seen] != view[:seen]:
                        events[column].append(int(first[row]))
                    views[column].append((int(first[row]), both[row]))
                shown[column] = view

        scans = np.array([self.window(s.lasts)[0] if s.lasts else FOREVER // 2 for s in spots], np.int64)
        after, _, settled = self._healthy.phase(columns, self._given(spots), scans, [], watch)
        return after, settled, events, views

    def _walk(self, loops: Sequence[Loop]) -> list[_Healthy | None]:
        """Each loop with its way back; None where it does not come back to rest."""
        walks = [_Healthy(loop) for loop in loops]
        alive = np.ones(len(loops), bool)
        rest = [np.repeat(a, len(loops), axis=0) for a in self._rested]
        columns = Columns(self._healthy.columns([()] * len(loops)).inputs, rest, np.zeros(len(loops), bool))

        ending = [self.doubts.ending(loop) for loop in loops]

        def go(which: list[int], spots: list[Spot], least: Sequence[int]) -> None:
            part, settled, events, views = self._settle(columns.only(np.array(which)), spots)
            for target, now in zip(columns.state, part.state, strict=True):
                target[which] = now
            for n, i in enumerate(which):
                alive[i] &= settled[n] >= 0 or bool(spots[n].lasts)
                seconds = spots[n].lasts or max(self.seconds(int(settled[n])), self._moments(spots[n]), least[n])
                walks[i].add(spots[n], seconds, events[n], views[n])

        for depth in range(max(map(len, loops), default=0)):
            which = [i for i, loop in enumerate(loops) if alive[i] and depth < len(loop)]
            if which:
                go(which, [loops[i][depth] for i in which], [0] * len(which))
        for button in (None, *self.stimuli.resets):
            on = (i for i in range(len(loops)) if alive[i])
            which = [i for i in on if button is None or button in ending[i][1] or not self._is_rest(columns, i)]
            if which:
                least = [ending[i][0] if button is None else ending[i][1].get(button, 0) for i in which]
                go(which, [self.home._replace(press=button)] * len(which), least)
        return [w if alive[i] and self._is_rest(columns, i) else None for i, w in enumerate(walks)]

    def rests(self, spots: Sequence[Spot], lasting: Sequence[int]) -> list[int | None]:
        """For each phase of a healthy installation from power-up on, the second from which on nothing changes by itself
        any more; None where that is after its end."""
        columns = self._healthy.columns([()])
        found: list[int | None] = []
        for spot, seconds in zip(spots, lasting, strict=True):
            columns, settled, _, _ = self._settle(columns, [spot._replace(lasts=seconds)])
            found.append(max(self.seconds(int(settled[0])), self._moments(spot)) if settled[0] >= 0 else None)
        return found

    def _moments(self, spot: Spot) -> int:
        """So many seconds that every rule that trips or lets go for certain has done so, where that takes moments: also
        one of which that was in doubt before."""
        if spot.given in self._at_least:
            return self._at_least[spot.given]
        delays = [0]
        for rule in self.scheme.rules.values():
            members = self.stimuli.watched_sensors(rule)
            if members:
                values = [a for a, s in zip(spot.given, self.scheme.sensors.values(), strict=True) if s in members]
                sides = self.stimuli.sides(rule, values)
                if sides in ((True, False), (False, True)):
                    delays.append((rule.trips if sides == (True, False) else rule.clears).delay.scans)
        least = max((s for d in delays if (s := self.seconds(d + 1)) <= MOMENTS_S), default=1)
        self._at_least[spot.given] = least
        return least

    def come_back(self, loops: Sequence[Loop]) -> list[bool]:
        """Whether a healthy installation comes to rest in each phase of each loop, and back."""
        return [walk is not None for walk in self._walk(loops)]

    def _is_rest(self, columns: Columns, column: int) -> bool:
        return all(a[column] == b[0] for a, b in zip(columns.state, self._rested, strict=True))

    @cached_property
    def chains(self) -> Mapping[str, int]:
        """For each sensor and external line for how many scans rules go by it after it is as at rest again."""
        tripped = {name: bool(self._rested[i][0] > limit) for name, (i, limit) in self._levels.items()}
        return chains(self.scheme, tripped)

    @property
    def _row(self) -> int:
        """How many bytes a row of all sights takes, packed."""
        return (len(self.looked_at) + 7) // 8

    @cached_property
    def restless(self) -> frozenset[int]:
        """The hypotheses with which something still goes on when a healthy installation has come to rest after
        power-up: what tells them then may not tell them later."""
        found: set[int] = set()
        for (stand, members), columns in zip(self.stands, self.resting, strict=True):
            given = self._given([self.home]).only(np.zeros(len(members), np.int64))
            _, _, settled = stand.phase(columns, given, FOREVER // 2, [])
            found |= {i for i, at in zip(members, settled.tolist(), strict=True) if at != 0}
        return frozenset(found)

    # --- with everything that may be wrong

    def run(self, loops: Sequence[Loop], which: Sequence[int] | None = None) -> list[Run]:
        """Each loop with what it tells; those left out that do not come back to rest. `which`: the hypotheses that
        matter; all others are said not to be told."""
        wanted = set(range(len(self.hypotheses)) if which is None else (0, *which))
        members = [np.array([n for n, i in enumerate(m) if i in wanted or i == 0], int) for _, m in self.stands]
        walks = [w for w in self._walk(loops) if w is not None]
        size = max(1, sum(map(len, members)))
        at_once = max(1, MOST_COLUMNS // size)
        found: list[Run] = []
        for i in range(0, len(walks), at_once):
            found += self._run(walks[i : i + at_once], self.resting, members)[0]
        return found

    def _moved(self, walk: _Healthy, phase: int) -> Iterator[tuple[float, Packed]]:
        """From which second on which sights are not as they are at rest, or depend on a rule that is not."""
        size = self._row
        for first, view in walk.views[phase]:
            other = view ^ self._rest_view
            moved = other[:size] | other[size : 2 * size] | walk.doubtful[phase].sights(0)
            turned = np.unpackbits(other[2 * size :], count=len(self._levels)).astype(bool)
            if turned.any():
                moved |= np.bitwise_or.reduce(self._reached[turned], axis=0)
            yield (first - 1) * self.scheme.scan_us / MICRO, moved

    @cached_property
    def _levels(self) -> Mapping[str, tuple[int, int]]:
        """For each rule the slot of its level in a healthy installation, and the highest level at which it is clear."""
        program = self._healthy.program
        return {
            slot.name: (i, program.levels[slot.name].trip_scans)
            for i, slot in enumerate(program.slots)
            if slot.kind is SlotKind.LEVEL
        }

    @cached_property
    def _reached(self) -> Packed:
        """The sights that depend on each rule, packed; of shape (rules, bytes)."""
        by_sight = reached(self._healthy.program, self.looked_at)
        return np.packbits(
            np.array([[rule in by_sight[s] for s in self.looked_at] for rule in self._levels], bool).reshape(
                len(self._levels), len(self.looked_at)
            ),
            axis=1,
        )

    @cached_property
    def _rest_view(self) -> Packed:
        """What may be seen of a healthy installation at rest: true, then false."""
        columns = Columns(self._healthy.columns([()]).inputs, self._rested, np.zeros(1, bool))
        *_, views = self._settle(columns, [self.home])
        return views[0][-1][1]

    def _looks(self, walk: _Healthy, phase: int) -> list[int]:
        """When to look in a phase."""
        spot, before = walk.spots[phase], walk.spots[phase - 1] if phase else self.home
        settles = walk.settles[phase]
        times = {settles}
        for event in walk.events[phase]:
            times |= {self._before(event), self.seconds(event)}
        times.update(self.seconds(delay) + SLACK_S for delay in self._delays(before, spot))
        times.update(walk.doubtful[phase].ends)
        kept = sorted(t for t in times if 0 < t <= (spot.lasts or t))
        while len(kept) > MOST_LOOKS:
            kept.pop(0)
        return kept

    def _delays(self, before: Spot, spot: Spot) -> Iterator[int]:
        """The delays of rules that watch something changed, in scans."""
        names = list(self.scheme.sensors)
        pairs = enumerate(zip(before.given, spot.given, strict=True))
        changed = {names[i] for i, (was, now) in pairs if was != now}
        for rule in self.scheme.rules.values():
            if any(s.name in changed for s in self.stimuli.watched_sensors(rule)):
                yield from (rule.trips.delay.scans, rule.clears.delay.scans)

    def _run(
        self, walks: Sequence[_Healthy], resting: Sequence[Columns], members: Sequence[Ints], *, at_rest: bool = True
    ) -> tuple[list[Run], list[Columns]]:
        count, packed = len(self.hypotheses), self._row
        for walk in walks:
            walk.doubtful = self.doubts.phases(walk.spots, walk.settles, at_rest=at_rest)
        looks = [[self._looks(w, p) for p in range(len(w.spots))] for w in walks]
        tells = [[np.zeros((len(at), count, packed), np.uint8) for at in of] for of in looks]
        healthy_views: dict[tuple[int, int], tuple[Packed, Packed]] = {}
        order = sorted(range(len(self.stands)), key=lambda s: 0 not in self.stands[s][1])
        after: list[Columns] = [*resting]
        for s in order:
            stand, numbers = self.stands[s]
            part = members[s]
            if not len(part):
                continue
            here = np.array(numbers, int)[part]
            columns = resting[s].only(np.tile(part, len(walks)))
            for depth in range(max(len(w.spots) for w in walks)):
                columns = self._phase(stand, columns, walks, depth, looks, here, (tells, healthy_views))
            after[s] = columns
        runs = []
        for w, walk in enumerate(walks):
            phases = [
                PhaseRun(
                    spot,
                    walk.settles[p],
                    tuple(looks[w][p]),
                    tells[w][p],
                    tuple(self._moved(walk, p)),
                    walk.doubtful[p].silenced(),
                )
                for p, spot in enumerate(walk.spots)
            ]
            runs.append(Run(walk.loop, tuple(phases)))
        return runs, after

    def _phase(
        self,
        stand: Stand,
        columns: Columns,
        walks: Sequence[_Healthy],
        depth: int,
        looks: Sequence[Sequence[Sequence[int]]],
        here: Ints,
        out: tuple[list[list[Packed]], dict[tuple[int, int], tuple[Packed, Packed]]],
    ) -> Columns:
        """One phase of all walks, and what its looks tell."""
        tells, healthy_views = out
        size = len(here)
        spots = [w.spots[depth] if depth < len(w.spots) else self.home for w in walks]
        times = [of[depth] if depth < len(of) else [] for of in looks]
        most = max(map(len, times))
        scans = [
            max([self.window(t)[1] for t in at] + [self.window(w.settles[depth])[0]]) if at else 0
            for w, at in zip(walks, times, strict=True)
        ]
        windows: list[tuple[int | Ints, int | Ints]] = []
        for k in range(most):
            spans = [self.window(at[k]) if k < len(at) else (-1, -1) for at in times]
            first, last = (np.repeat(np.array([span[end] for span in spans], np.int64), size) for end in (0, 1))
            windows.append((first, last))
        given = self._given(spots)
        each = np.repeat(np.arange(len(walks)), size)
        # a phase of a sheet ends when all has come to rest, if no later look is taken: what follows goes on from there
        left_at = [self.window(w.settles[depth])[0] if at else 0 for w, at in zip(walks, times, strict=True)]
        after, seen, _ = stand.phase(
            columns, given.only(each), np.repeat(scans, size), windows, left_at=np.repeat(left_at, size)
        )
        for w, walk in enumerate(walks):
            if depth >= len(walk.spots):
                continue
            span = slice(w * size, (w + 1) * size)
            doubtful = walk.doubtful[depth]
            if 0 in here:
                own = w * size + int(np.flatnonzero(here == 0)[0])
                healthy_views[w, depth] = seen.packed[0, :, :, own], seen.packed[1, :, :, own]
            true, false = healthy_views[w, depth]
            certain = true ^ false  # of shape (looks, bytes)
            for k, at in enumerate(times[w]):
                certain[k] &= ~doubtful.sights(at)
            same, other = seen.packed[0, :, :, span], seen.packed[1, :, :, span]
            told = (same ^ true[:, :, None]) & (same ^ other) & certain[:, :, None]  # (looks, bytes, hypotheses)
            for k, at in enumerate(times[w]) if doubtful.hypotheses else ():
                silenced = doubtful.silenced(at)
                told[k][:, [n for n, i in enumerate(here.tolist()) if i in silenced]] = 0
            tells[w][depth][:, here] = np.moveaxis(told[: len(times[w])], 1, 2)
        return after


class NeverRests(Exception):  # noqa: N818 - it says what is the case
    """A healthy installation never comes to rest with all inputs at rest: there is nowhere to begin from."""
