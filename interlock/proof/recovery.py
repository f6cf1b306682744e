"""Getting a path to run: what a person or the weather would do, tried on every state at once, or on one.

A *plan* holds one world until nothing moves any more, then presses what resets and overrides, then perhaps does the
same in another world. It works from a set of states when in each of them the path runs for certain at some scan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

from msgspec import Struct

from interlock.proof.cone import Wants
from interlock.proof.rough import Rough, Roughly, Sight, Span, Spans, Ways, forked, inside
from interlock.proof.sights import Codes, Scene, Sights
from interlock.records import replace

MOST_PLANS = 90
MOST_MIXED = 4
MOST_SCANS = 6_000  # rough scans of one plan from one set of states
MOST_EVENTS = 300  # of one world held, where it never settles
MOST_DEEP = 40  # pieces cut from pieces
FAR = 1 << 62
MOST_SAME = 400  # sets of states kept of one step


class Rules(Struct, frozen=True):
    """What may be done: `held` codes and `lines` stay as they are; `attended`: a person may press what resets."""

    held: Codes
    lines: Mapping[str, bool]
    attended: bool


class Step(Struct, frozen=True):
    """A world held until nothing moves, or for one scan."""

    scene: Scene
    once: bool = False


Plan = tuple[Step, ...]


def plans(sights: Sights, wants: Wants, allowed: Rules) -> Iterator[Plan]:
    """Plans that may lead to what is wanted, the likeliest first."""
    held, lines = allowed.held, dict(allowed.lines)
    if not allowed.attended:
        lines |= {n: False for n in sights.cone.resets if n not in lines}
    mixed = [item for item, wanted in wants.items() if len(wanted) > 1][:MOST_MIXED]
    scenes: list[Scene] = []
    for values in product((True, False), repeat=len(mixed)):
        chosen = {**wants, **{item: frozenset({v}) for item, v in zip(mixed, values, strict=True)}}
        for first in (False, True):  # where one reading can't do both: what should be clear first, or what should act
            order = dict(sorted(chosen.items(), key=lambda one: (True in one[1]) is not first))
            scene = sights.scene(order, held, lines)
            if scene is not None and scene not in scenes:
                scenes.append(scene)
    sequences = [(one,) for one in scenes] + [(a, b) for a in scenes for b in scenes if a != b]
    for sequence in sequences[:MOST_PLANS]:
        yield tuple(step for scene in sequence for step in _with_presses(sights, scene, lines))


def _with_presses(sights: Sights, scene: Scene, fixed: Mapping[str, bool]) -> Iterator[Step]:
    yield Step(scene)
    cone = sights.cone
    resets = [n for n in cone.resets if n not in fixed]
    overrides = [n for n in cone.overrides if n not in fixed]
    rounds = min(3, sum(sights.scheme.rules[r].manual for r in cone.rules))
    for pressed in [resets] * rounds + [overrides]:
        if pressed:
            yield Step(_turned(scene, pressed, False), once=True)
            yield Step(_turned(scene, pressed, True))
            yield Step(scene)


def _turned(scene: Scene, lines: list[str], on: bool) -> Scene:
    return replace(scene, lines={n: on if n in lines else v for n, v in scene.lines.items()})


def opposite(wants: Wants) -> Wants:
    """What hinders it."""
    return {item: frozenset(not v for v in wanted) for item, wanted in wants.items()}


# --- playing


class Playing:
    """Plans played on the rough scan of one cone."""

    def __init__(self, roughly: Roughly) -> None:
        self.roughly = roughly
        self.scans = 0

    def works(self, state: Rough, plan: Plan, cut: frozenset[str]) -> bool:
        """Whether the plan surely makes the path run, from each of these states. `cut`: rules of which each state is
        followed on its own."""
        self.left = MOST_SCANS
        self.done: list[list[Rough]] = [[] for _ in plan]
        return all(self._works(one, plan, 0, cut, MOST_DEEP) for one in forked(self.roughly, state, cut))

    def _works(self, state: Rough, plan: Plan, at: int, cut: frozenset[str], deep: int) -> bool:
        begun: list[tuple[int, Rough]] = []
        if deep == 0:
            return False
        while True:
            if any(inside(state, known) for known in self.done[at]):
                break
            if len(begun) < MOST_SAME:
                begun.append((at, state))
            self.left -= 1
            self.scans += 1
            if self.left < 0:
                return False
            step = plan[at]
            after, ways = self.roughly.scan(state, step.scene.sight)
            if ways.surely_runs:
                break
            if after == state or step.once:
                at += 1
                if at == len(plan):
                    return False
            settled = after == state
            pieces = list(forked(self.roughly, after, cut))
            here = self.done[at]
            rest = [p for p in pieces if not any(inside(p, known) for known in here)]
            if not rest:
                break
            rest.sort(key=lambda p: alike(p, state))
            for piece in rest[:-1]:
                if not self._works(piece, plan, at, cut, deep - 1):
                    return False
            state, before = rest[-1], state
            if not settled and not step.once and alike(state, before):
                state = jumped(self.roughly, before, state, only_narrower=len(pieces) > 1)
        for where, known in begun:
            self.done[where].append(known)
        return True


def alike(a: Rough, b: Rough) -> bool:
    """The same but for what counters are."""
    return (
        all([s is None for s in m] == [s is None for s in n] for m, n in zip(a.rules, b.rules, strict=True))
        and [(f, s is None) for f, s in a.overrides] == [(f, s is None) for f, s in b.overrides]
        and (a.seen_off, a.on, a.closed) == (b.seen_off, b.on, b.closed)
    )


def jumped(roughly: Roughly, before: Rough, now: Rough, *, only_narrower: bool = False) -> Rough:
    """The state of many scans later, before anything but counters changes. `only_narrower`: only where no counter's
    most moves, so that what came of it now still holds all that comes of it later."""
    return moved_on(before, now, room(roughly, before, now, only_narrower=only_narrower))


def room(roughly: Roughly, before: Rough, now: Rough, *, only_narrower: bool = False) -> int:
    """How many scans more can go by like the last one, from `before` to `now`; 0 also where nothing moved."""
    most = roughly.limits()
    left = [FAR]

    def look(old: Span, new: Span, top: int) -> None:
        if old is None or new is None:
            return
        for k in (0, 1):
            if new[k] != old[k]:
                left.append(0 if new[k] != old[k] + 1 or (only_narrower and k == 1) else top - new[k])

    for m, n, tops in zip(before.rules, now.rules, most.rules, strict=True):
        for p, q, top in zip(m, n, tops, strict=True):
            look(p, q, top[1] if top else 0)
    for (_, p), (_, q), cap in zip(before.overrides, now.overrides, roughly.caps, strict=True):
        look(p, q, cap or 1)
    for p, q, output in zip(before.since_run, now.since_run, roughly.outputs, strict=True):
        look(p, q, output.stops_within.scans)
    for p, q, output in zip(before.since_stop, now.since_stop, roughly.outputs, strict=True):
        look(p, q, output.starts_within.scans)
    by = min(left)
    return 0 if by == FAR else max(0, by)


def moved_on(before: Rough, now: Rough, by: int) -> Rough:
    """Every counter moved on as it did from `before` to `now`, that many times more."""
    if by == 0:
        return now

    def move(old: Span, new: Span) -> Span:
        if old is None or new is None:
            return new
        return (new[0] + by * (new[0] - old[0]), new[1] + by * (new[1] - old[1]))

    def moved(old: Spans, new: Spans) -> Spans:
        return tuple(move(p, q) or q for p, q in zip(old, new, strict=True))

    rules = zip(before.rules, now.rules, strict=True)
    return now._replace(
        rules=tuple(tuple(move(p, q) for p, q in zip(m, n, strict=True)) for m, n in rules),
        overrides=tuple((f, move(p, q)) for (_, p), (f, q) in zip(before.overrides, now.overrides, strict=True)),
        since_run=moved(before.since_run, now.since_run),
        since_stop=moved(before.since_stop, now.since_stop),
    )


class Told(Struct, frozen=True):
    """`scans` scans of one scene."""

    scene: Scene
    scans: int


def held(roughly: Roughly, state: Rough, scene: Scene, most: int = 1 << 40) -> Iterator[tuple[Rough, Ways, int]]:
    """One concrete state in one world until nothing moves, or it has gone to and fro for long enough: after each change
    the state, what the last scan came to, and the scans taken so far (jumped ones included)."""
    sight: Sight = scene.sight
    taken = 0
    events = 0
    while taken < most and events < MOST_EVENTS:
        events += 1
        now, ways = roughly.scan(state, sight)
        taken += 1
        yield now, ways, taken
        if now == state:
            return
        if alike(now, state):
            by = room(roughly, state, now)
            taken += by
            now = moved_on(state, now, by)
        state = now


def after(roughly: Roughly, state: Rough, told: Told) -> Rough:
    """The concrete state after so many scans of one scene."""
    left, sight = told.scans, told.scene.sight
    while left > 0:
        now, _ = roughly.scan(state, sight)
        left -= 1
        if now == state:
            return state
        if left and alike(now, state):
            by = min(left, room(roughly, state, now))
            now = moved_on(state, now, by)
            left -= by
        state = now
    return state


def settled(roughly: Roughly, state: Rough, scene: Scene) -> tuple[Rough, int]:
    """The state that one world held leads to, and after how many scans."""
    now, taken = state, 0
    for now, _, taken in held(roughly, state, scene):  # noqa: B007 - the last ones count
        pass
    return now, taken


def played(roughly: Roughly, state: Rough, plan: Plan) -> Iterator[tuple[Rough, Ways, tuple[Told, ...]]]:
    """A plan from one concrete state: after each change the state, what the last scan came to, and the scenes so far.
    Plans press through to their end."""
    story: list[Told] = []
    now = state
    for step in plan:
        taken = 0
        for now, ways, taken in held(roughly, now, step.scene, 1 if step.once else 1 << 40):  # noqa: B020 - it goes on
            yield now, ways, (*story, Told(step.scene, taken))
        story.append(Told(step.scene, taken))
