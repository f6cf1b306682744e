"""A run as a timeline of what is done to each input, and what it shows; tried with something else done in between.

A trial is stepped only from where it differs until it is again where the timeline was: what follows is then the same.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import reduce
from itertools import accumulate
from operator import or_

from interlock.scheme.words import State
from interlock.vectors.inputs import Frame, Given, Patch, patched
from interlock.vectors.watch import At, Watcher

LONGEST = 1_000_000  # scans: what has not come to rest by then is left alone


@dataclass(frozen=True)
class Plan:
    """What is done: patches of inputs by scan, power cycles before scans, what begins at a scan, in words."""

    patches: Mapping[int, Patch]
    cycles: frozenset[int] = frozenset()
    says: Mapping[int, str] = field(default_factory=dict)

    def with_frames(self, start: int, end: int, frames: Mapping[int, Frame], places: Iterable[int]) -> Plan:
        """These frames in the place of what is done to those inputs from `start` on, before `end`."""
        moved = frozenset(places)
        patches: dict[int, Patch] = {}
        for at, patch in self.patches.items():
            left = {i: v for i, v in patch.items() if i not in moved} if start <= at < end else patch
            if left:
                patches[at] = left
        says = dict(self.says)
        for at, frame in frames.items():
            patches[at] = {**patches.get(at, {}), **frame.patch}
            if frame.says:
                says[at] = frame.says
        return Plan(dict(sorted(patches.items())), self.cycles, says)

    def before(self, scan: int) -> Plan:
        """What is done before a scan."""
        patches = {s: patch for s, patch in self.patches.items() if s < scan}
        says = {s: words for s, words in self.says.items() if s < scan}
        return Plan(patches, frozenset(c for c in self.cycles if c < scan), says)

    def later(self, scan: int, by: int) -> Plan:
        """With all that is done from a scan on so many scans later."""

        def at(when: int) -> int:
            return when if when < scan else when + by

        patches = {at(s): patch for s, patch in self.patches.items()}
        says = {at(s): words for s, words in self.says.items()}
        return Plan(patches, frozenset(at(c) for c in self.cycles), says)

    def with_cycle(self, scan: int) -> Plan:
        """With a power cycle more."""
        return Plan(self.patches, self.cycles | {scan}, {**self.says, scan: "power cycle"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One scan that was stepped: where it left the unit, what it shows."""

    scan: int
    after: At
    shown: int  # sets of bits, as in `Watcher.bits`
    hidden: int
    moved: tuple[tuple[str, State, State], ...]


class Track:
    """A plan run from the first power-up until nothing can change any more, and what it shows when. Only what the first
    `most` scans show counts as shown; `late`: what those after them would show besides."""

    def __init__(self, watcher: Watcher, plan: Plan, rest: Given, entries: list[Entry], most: int = LONGEST) -> None:
        self.watcher, self.plan, self.rest, self.entries, self.most = watcher, plan, rest, entries, most
        self.scans = [entry.scan for entry in entries]
        self.events = sorted({*plan.patches, *plan.cycles})
        counted = [entry.shown if entry.scan < most else 0 for entry in entries]
        self.sofar = list(accumulate(counted, or_))
        self.later = list(accumulate(reversed(counted), or_))[::-1]
        self.shown = self.sofar[-1] if self.sofar else 0
        self.late = reduce(or_, (entry.shown for entry in entries if entry.scan >= most), 0) & ~self.shown
        self.needed = _last_new(entries, 0, self.shown) + 1
        self._given = list(accumulate((plan.patches.get(e, {}) for e in self.events), patched, initial=rest))

    def shown_within(self, scans: int) -> int:
        """The goals shown within the first so many scans, as bits."""
        i = bisect_left(self.scans, scans)
        return self.sofar[i - 1] if i else 0

    def first(self, goal: int) -> int:
        """The scan at which a goal, given as its bit, is first shown."""
        return next(entry.scan for entry in self.entries if entry.shown & goal)

    def before(self, scan: int) -> At:
        """Where the unit is before a scan."""
        i = bisect_left(self.scans, scan) - 1
        if i < 0:
            return self.watcher.first()
        entry = self.entries[i]
        if entry.scan + 1 == scan or i == 0:
            return entry.after
        # scans between two entries move counters alone, as the first scan after the entry does
        given = self.given(scan - 1)
        one = self.watcher.step(entry.after, given)
        if one.still or entry.scan + 2 == scan:
            return one.after
        after, skipped = self.watcher.skip(entry.after, one.after, scan - entry.scan - 2)
        return after if skipped else one.after

    def given(self, scan: int) -> Given:
        """All inputs at a scan."""
        return self._given[bisect_right(self.events, scan)]


def _last_new(entries: Iterable[Entry], start: int, wanted: int) -> int:
    """The scan at which the last of the wanted goals is first shown, of the entries from `start` on; -1 for none."""
    last = -1
    for entry in entries:
        if entry.scan >= start and entry.shown & wanted:
            wanted &= ~entry.shown
            last = entry.scan
            if not wanted:
                break
    return last


@dataclass(frozen=True, slots=True)
class Trial:
    """A plan tried: the entries from `start` to `end` (None: to the end) instead of the track's own; what it adds and
    what it loses, the scans it then needs."""

    plan: Plan
    start: int
    end: int | None
    entries: tuple[Entry, ...]
    gained: int  # sets of bits
    lost: int
    needed: int
    late: int = 0  # what only scans after those that count would add

    def hidden(self) -> int:
        """What would be shown were nothing in the way."""
        return reduce(or_, (entry.hidden for entry in self.entries), 0)

    def first(self, goal: int) -> int:
        """The scan of its own at which a goal, given as its bit, is first shown."""
        return next(entry.scan for entry in self.entries if entry.shown & goal)


def tracked(watcher: Watcher, plan: Plan, rest: Given, most: int = LONGEST) -> Track:
    """A plan run from the first power-up on, of which the first `most` scans count."""
    entries = list(_run(watcher, watcher.first(), 0, plan, rest, None, 0))
    return Track(watcher, plan, rest, entries, most)


def tried(track: Track, plan: Plan, start: int, settled: int) -> Trial:
    """A plan that differs from a track's from scan `start` on, and not any more from scan `settled` on."""
    entries = list(_run(track.watcher, track.before(start), start, plan, track.rest, track, settled))
    end = entries[-1].scan if entries and entries[-1].shown == _SAME else None
    if end is not None:
        entries.pop()
    found = reduce(or_, (entry.shown for entry in entries if entry.scan < track.most), 0)
    i = bisect_left(track.scans, start)
    j = len(track.scans) if end is None else bisect_left(track.scans, end)
    before = track.sofar[i - 1] if i else 0
    after = track.later[j] if j < len(track.later) else 0
    wanted = track.shown & ~before
    gained, lost = found & ~track.shown, wanted & ~found & ~after
    needed = max(
        _last_new(track.entries[:i], 0, before),
        _last_new(entries, 0, (wanted | gained) & found),
        _last_new(track.entries[j:], 0, wanted & ~found & after),
    )
    late = reduce(or_, (entry.shown for entry in entries if entry.scan >= track.most), 0) & ~track.shown & ~found
    return Trial(plan, start, end, tuple(entries), gained, lost, needed + 1, late)


def taken(track: Track, trial: Trial) -> Track:
    """The track with a trial in its place."""
    before = track.entries[: bisect_left(track.scans, trial.start)]
    after = [] if trial.end is None else track.entries[bisect_left(track.scans, trial.end) :]
    return Track(track.watcher, trial.plan, track.rest, [*before, *trial.entries, *after], track.most)


_SAME = -1  # marks the scan from which on all is as before


def _run(
    watcher: Watcher, at: At, start: int, plan: Plan, rest: Given, base: Track | None, settled: int
) -> Iterator[Entry]:
    """Step by step from `start` until nothing can change, or until all is as it was in `base`."""
    given = base.given(start - 1) if base is not None else rest
    events = [scan for scan in sorted({*plan.patches, *plan.cycles}) if scan >= start]
    marks = set(base.events) if base is not None else set()
    scan, number, last = start, 0, start + LONGEST
    while scan < last:
        while number < len(events) and events[number] < scan:
            number += 1
        due = events[number] if number < len(events) else None
        if base is not None and due == scan and scan >= settled and scan in marks and base.before(scan) == at:
            yield Entry(scan, at, _SAME, 0, ())
            return
        if due == scan and scan in plan.patches:
            given = patched(given, plan.patches[scan])
        before = at
        step = watcher.step(at, given, scan in plan.cycles)
        at = step.after
        yield Entry(scan, at, step.shown, step.hidden, step.moved)
        scan += 1
        while number < len(events) and events[number] < scan:
            number += 1
        following = events[number] if number < len(events) else None
        if step.still and before.given == given:
            if following is None:
                return
            scan = following
        elif step.quiet:
            at, skipped = watcher.skip(before, at, (last if following is None else following) - scan)
            scan += skipped
