"""Vectors for a unit: a greedy walk that lets as many things run side by side as do not disturb each other.

At each point every move is tried from where the walk is, and the time after it run out. A move is taken when all that
was about to be seen without it is seen with it too, and something more. Where none is, the walk waits for what is about
to be seen; where nothing is, it takes the shortest way of two moves to something. What no way leads to is reported.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from interlock.export.unit import UnitCode
from interlock.vectors.alone import Stretch, expected
from interlock.vectors.goals import TOO_EARLY, Goal, GoalKind
from interlock.vectors.moves import Move, Moves
from interlock.vectors.record import Run, Start
from interlock.vectors.walk import Outcome, Position, Walker, worth

MOST = 20_000  # scans
MOST_RUNS = 4
CHEAP = 400  # scans for a goal: no better way is looked for


@dataclass(frozen=True, slots=True)
class Vectors:
    """Runs of one unit, and what they show: the goals reached, those that were not, all in the scheme's order."""

    runs: tuple[Run, ...]
    reached: tuple[Goal, ...]
    missed: tuple[Goal, ...]

    @property
    def scans(self) -> int:
        """Scans in all runs."""
        return sum(len(run.vectors) for run in self.runs)

    def counts(self) -> dict[GoalKind, tuple[int, int]]:
        """For each kind of goal: how many were reached, of how many."""
        reached, missed = Counter(g.kind for g in self.reached), Counter(g.kind for g in self.missed)
        return {
            kind: (reached[kind], reached[kind] + missed[kind]) for kind in GoalKind if reached[kind] + missed[kind]
        }


@dataclass
class _Walk:
    """One run from a first power-up, as it grows."""

    at: Position
    stretches: list[Stretch] = field(default_factory=list)
    scans: int = 0


def generate(code: UnitCode, *, most: int = MOST, progress: Callable[[str], None] = lambda _: None) -> Vectors:
    """Vectors for a unit, at most `most` scans."""
    return _Generator(code, most, progress).vectors()


class _Generator:
    def __init__(self, code: UnitCode, most: int, progress: Callable[[str], None]) -> None:
        self.code, self.most, self.progress = code, most, progress
        self.walker, self.moves = Walker(code), Moves(code)
        self.pending = frozenset(self.walker.goals.all)
        self.horizon = 4 + max((s.high for s in code.program.slots if not s.boolean), default=0)
        self.used = 0
        levels = code.program.levels
        longest = max((max(c.trip_scans, c.clear_scans) for c in levels.values()), default=0)
        self.slow = {
            (name, side)
            for name, coding in levels.items()
            for side in (True, False)
            if 2 * (coding.trip_scans if side else coding.clear_scans) > longest
        }
        self.first = Position(self.walker.start, self.moves.rest)

    def vectors(self) -> Vectors:
        walks: list[_Walk] = []
        while self.pending and len(walks) < MOST_RUNS and self.used < self.most:
            before = self.pending
            self.first = Position(self.walker.start, self.moves.rest)
            walk = _Walk(self.first)
            self._grow(walk)
            if self.pending == before:
                break
            walks.append(walk)
        runs = tuple(expected(self.code.scheme, self.code.unit, self.code.told, walk.stretches) for walk in walks)
        every = self.walker.goals.all
        return Vectors(
            runs,
            tuple(g for g in every if g not in self.pending),
            tuple(g for g in every if g in self.pending),
        )

    # --- growing one run

    def _grow(self, walk: _Walk) -> None:
        while self.pending and self.used < self.most:
            self.progress(f"{self.used:,} scans, {len(self.pending)} goals left")
            base = self.walker.run(walk.at, None, self.horizon, self.pending)
            move = self._best(walk.at, base, self._candidates(walk.at))
            if move is not None:
                self._take(walk, move)
            elif base.reached:
                until = base.reached[0][0]
                if until > 1:
                    self._wait(walk, until - 1)
                    if self.used >= self.most:
                        return
                    base = self.walker.run(walk.at, None, self.horizon, self.pending)
                    eve = self._best(walk.at, base, self._brief(walk.at))
                    if eve is not None:
                        self._take(walk, eve)
                        continue
                self._wait(walk, 1)
            elif not self._two_moves(walk):
                return

    def _candidates(self, at: Position) -> Iterator[Move]:
        limits = self._limits()
        for move in self.moves.limits:
            if move.tag in limits and move.tag not in at.passing:
                yield move
        yield from self._with_lines(at)
        yield from self.moves.plain
        yield from self._brief(at)

    def _limits(self) -> set[tuple[str, bool]]:
        """The limits still to be passed: rule and side (True: trip)."""
        early = {(g.rule, False) for g in self.pending if g.kind is GoalKind.RESET and g.what == TOO_EARLY}
        return early | {(g.rule, g.what == "trip") for g in self.pending if g.kind is GoalKind.LIMIT}

    def _with_lines(self, at: Position) -> Iterator[Move]:
        """The limits whose delays are the longest, with one line turned as well: what takes long must begin early, and
        often another rule masks it."""
        limits = self._limits()
        for move in self.moves.limits:
            if move.tag not in limits or move.tag in at.passing or move.tag not in self.slow:
                continue
            (patch, scans), *rest = move.frames
            for i in range(len(self.moves.sensors), len(at.given)):
                if i not in patch:
                    turned = {**patch, i: 1 - at.given[i]}
                    yield Move(((turned, scans), *rest), move.says, move.tag, move.tag_at)

    def _brief(self, at: Position) -> Iterator[Move]:
        """A reading lost for one scan; a line turned, for one scan or for good."""
        for i in range(len(at.given)):
            if i < len(self.moves.sensors):
                name = self.moves.sensors[i]
                yield Move((({i: self.moves.lost(name)}, 1), ({i: at.given[i]}, 1)), f"{name} lost for a scan")
            else:
                name = self.moves.lines[i - len(self.moves.sensors)]
                yield Move((({i: 1 - at.given[i]}, 1), ({i: at.given[i]}, 1)), f"{name} turned for a scan")
                yield Move((({i: 1 - at.given[i]}, 1),), f"{name} turned")

    def _best(self, at: Position, base: Outcome, candidates: Iterator[Move]) -> Move | None:
        """The move that keeps what is about to be seen and adds most: limits first, then what takes longest."""
        due = worth(base.reached) if at is not self.first else frozenset()  # nothing is under way at the beginning
        best: tuple[tuple[int, int, int], Move] | None = None
        for move in candidates:
            if self.used + sum(scans for _, scans in move.frames) > self.most:
                continue
            out = self.walker.run(at, move, self.horizon, self.pending)
            got = worth(out.reached)
            more = got - due
            if not more or not due <= got:
                continue
            limits = sum(g.kind is GoalKind.LIMIT for g in more)
            key = (min(limits, 1), max(when for when, g in out.reached if g in more), len(more))
            if best is None or key > best[0]:
                best = (key, move)
        return best[1] if best else None

    def _ways(self) -> Iterator[tuple[Move, ...]]:
        """Ways to go before a move: one move, or all at rest, resets pressed, and perhaps one move from there."""
        rest = Move(((dict(enumerate(self.moves.rest)), 1),), "all at rest")
        resets = [r.reset_by for r in self.moves.rules if r.manual and r.reset_by in self.moves.place]
        presses = tuple(m for m in self.moves.plain if m.says in {f"{line} pressed" for line in resets})
        yield (rest,)
        yield (rest, *presses)
        yield from ((move,) for move in self.moves.plain)
        yield from ((rest, *presses, move) for move in self.moves.plain)

    def _seconds(self, way: tuple[Move, ...], at: Position) -> Iterator[Move]:
        """What is tried after a way: everything after rest, else what is not itself a way."""
        if len(way) > 1 or way[0].says not in {move.says for move in self.moves.plain}:
            yield from self._candidates(at)
            return
        limits = self._limits()
        yield from (move for move in self.moves.limits if move.tag in limits)
        yield from self._brief(at)

    def _two_moves(self, walk: _Walk) -> bool:
        """Go the way to something that takes the fewest scans for what it reaches; False where there is none. A power
        cycle undoes so much that it comes last."""
        for power_cycles in (False, True):
            best: tuple[float, list[tuple[Move, int]]] | None = None
            for way in self._ways():
                if best is not None and best[0] <= CHEAP:
                    break
                for wait in (1, self.horizon):
                    at, steps, scans = walk.at, [], 0
                    for first in way:
                        between = self.walker.run(at, first, wait, self.pending)
                        at, scans = between.end, scans + between.scans
                        steps.append((first, between.scans))
                    if self.used + scans >= self.most:
                        continue
                    for second in (self.moves.cycle,) if power_cycles else self._seconds(way, at):
                        out = self.walker.run(at, second, 1 if power_cycles else self.horizon, self.pending)
                        length = sum(n for _, n in second.frames)
                        if out.reached and self.used + scans + length <= self.most:
                            cost = (scans + out.reached[-1][0]) / len(worth(out.reached))
                            if best is None or cost < best[0]:
                                best = (cost, [*steps, (second, 0)])
            if best is not None:
                for move, length in best[1]:
                    self._take(walk, move, length)
                return True
        return False

    # --- writing it down

    def _take(self, walk: _Walk, move: Move, scans: int = 0) -> None:
        length = max(scans, sum(n for _, n in move.frames))
        out = self.walker.run(walk.at, move, length, self.pending)
        given, left, first = walk.at.given, length, True
        for number, (patch, n) in enumerate(move.frames):
            values = list(given)
            for i, value in patch.items():
                values[i] = value
            given = tuple(values)
            length = left if number == len(move.frames) - 1 else n
            self._write(walk, given, length, cycle=move.cycle and first, says=move.says if first else "")
            left, first = left - length, False
        self._arrive(walk, out)

    def _wait(self, walk: _Walk, scans: int) -> None:
        scans = min(scans, self.most - self.used)
        out = self.walker.run(walk.at, None, scans, self.pending)
        self._write(walk, walk.at.given, scans)
        self._arrive(walk, out)

    def _arrive(self, walk: _Walk, out: Outcome) -> None:
        walk.at = out.end
        self.pending -= worth(out.reached)

    def _write(self, walk: _Walk, given: tuple[int, ...], scans: int, *, cycle: bool = False, says: str = "") -> None:
        moves, steps = self.moves, self.code.steps.of
        readings: dict[str, int | None] = {}
        for name in moves.sensors:
            value = given[moves.place[name]]
            readings[name] = value * steps[name] if value in moves.scheme.sensors[name].valid else None
        lines = {name: bool(given[moves.place[name]]) for name in moves.lines}
        start = Start.FIRST if not walk.stretches else Start.POWER_CYCLE if cycle else None
        walk.stretches.append(Stretch(readings, lines, scans, start, (says,) if says else ()))
        walk.scans += scans
        self.used += scans
