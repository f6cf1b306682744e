"""The least that covers everything, by exact integer programming (the HiGHS solver).

An episode is a sequence of phases that is either carried out whole or not at all. A phase lasts until what it set off
has settled, and at least until the last of its looks that is taken. Each look covers some items. Episodes may be
carried out side by side, but for what they need alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True)
class Look:
    """Seconds after the phase began, and the items (numbers from 0) that it covers."""

    at: int
    covers: frozenset[int]


@dataclass(frozen=True, slots=True)
class Phase:
    """`settles`: seconds it lasts at least."""

    settles: int
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Use:
    """An episode has something to itself during some of its phases (their numbers), and so many seconds more."""

    phases: tuple[int, ...]
    more: int = 0


@dataclass(frozen=True, slots=True)
class Episode:
    """Phases one after the other. `needed`: it is part of every choice; `uses`: by any key what it needs to itself."""

    phases: tuple[Phase, ...]
    needed: bool = False
    uses: Mapping[Any, Use] = field(default_factory=dict)


@dataclass(frozen=True)
class Choice:
    """The looks taken, as (episode, phase, its seconds); `seconds` and `steps` are what they need, one episode after
    the other. `longest`: for how long the thing that is the longest in use is, or the longest episode lasts: side by
    side no less will do. `exact`: all is proved to be the least; else the solver's time was up, and `bound` is the
    least proved for `LONGEST * longest + seconds` (without uses: for `seconds`)."""

    episodes: tuple[int, ...]
    looks: tuple[tuple[int, int, int], ...]
    seconds: int
    steps: int
    exact: bool
    bound: float
    longest: int


LONGEST = 20  # how much more a second of what is in use for the longest counts than one of any episode


class Unsolved(RuntimeError):  # noqa: N818 - it says what is the case
    """The solver gave no answer, or there is an item that nothing covers."""


class _Model:
    """Rows and columns for the solver. All columns are integers from 0 to `most`, or not integral."""

    def __init__(self) -> None:
        self.costs: list[float] = []
        self.upper: list[float] = []
        self.integral: list[bool] = []
        self.starts: list[int] = []
        self.index: list[int] = []
        self.values: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def column(self, cost: float = 0, upper: float = 1, *, integral: bool = True) -> int:
        self.costs.append(cost)
        self.upper.append(upper)
        self.integral.append(integral)
        return len(self.costs) - 1

    def row(self, entries: Iterable[tuple[int, float]], low: float, high: float = np.inf) -> None:
        self.starts.append(len(self.index))
        for column, value in entries:
            self.index.append(column)
            self.values.append(value)
        self.low.append(low)
        self.high.append(high)

    def least(self, seconds: float, start: Sequence[float]) -> tuple[list[float], bool, float]:
        """The best values, whether they are proved to be, and the proved bound. `start`: values that are possible.
        Raises Unsolved."""
        import highspy

        class Quiet(highspy.Highs):
            """It says who it is as soon as callbacks are enabled, unless it is told before not to."""

            def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
                self.setOptionValue("output_flag", False)
                super().enableCallbacks()  # type: ignore[no-untyped-call]

        solver = Quiet()  # type: ignore[no-untyped-call]
        for option, value in (
            ("output_flag", False),
            ("time_limit", seconds),
            ("mip_rel_gap", 0.0),
            ("mip_abs_gap", 0.5),  # costs are whole numbers
            ("threads", 1),
            ("random_seed", 0),
        ):
            solver.setOptionValue(option, value)
        count = len(self.costs)
        none = np.array([], np.int32)
        solver.addCols(
            count,
            np.array(self.costs, float),
            np.zeros(count),
            np.array(self.upper, float),
            0,
            none,
            none,
            np.array([], float),
        )
        kinds = np.array(self.integral, np.uint8)  # 1 is an integer
        solver.changeColsIntegrality(count, np.arange(count, dtype=np.int32), kinds)
        solver.addRows(
            len(self.low),
            np.array(self.low, float),
            np.array(self.high, float),
            len(self.index),
            np.array(self.starts, np.int32),
            np.array(self.index, np.int32),
            np.array(self.values, float),
        )
        begun = highspy.HighsSolution()
        begun.col_value = list(start)
        solver.setSolution(begun)
        solver.run()
        status = solver.getModelStatus()
        solution = solver.getSolution()
        if not solution.value_valid or status == highspy.HighsModelStatus.kInfeasible:
            raise Unsolved(f"the solver ended with {solver.modelStatusToString(status)}")
        optimal = status == highspy.HighsModelStatus.kOptimal
        return list(solution.col_value), optimal, solver.getInfo().mip_dual_bound


def cheapest(episodes: Sequence[Episode], items: Iterable[int], *, seconds: float = 60.0) -> Choice:
    """The choice of looks that covers all the items in the least time, and of those the one with the fewest steps.

    The least time is that of all phases together; where episodes use something, that of the thing which is used the
    longest counts LONGEST times as well. A step is a phase carried out, or a look at another time than that at which it
    has settled. `seconds` for the solver, twice. Raises Unsolved."""
    model = _Model()
    wanted = set(items)
    taken = [model.column() for _ in episodes]
    looks: dict[tuple[int, int, int], int] = {}
    lasts: list[list[int]] = []
    covering: dict[int, list[int]] = {item: [] for item in wanted}
    for e, episode in enumerate(episodes):
        lasts.append([])
        if episode.needed:
            model.row([(taken[e], 1.0)], 1)
        for p, phase in enumerate(episode.phases):
            longest = max([phase.settles, *(look.at for look in phase.looks)])
            last = model.column(1, longest, integral=False)
            lasts[e].append(last)
            model.row([(last, 1.0), (taken[e], -float(phase.settles))], 0)
            for n, look in enumerate(phase.looks):
                covers = look.covers & wanted
                if not covers:
                    continue
                column = looks[e, p, n] = model.column()
                model.row([(taken[e], 1.0), (column, -1.0)], 0)
                if look.at > phase.settles:
                    model.row([(last, 1.0), (column, -float(look.at))], 0)
                for item in covers:
                    covering[item].append(column)
    for columns in dict.fromkeys(tuple(c) for c in covering.values()):
        if not columns:
            raise Unsolved("there is something that nothing covers")
        model.row([(c, 1.0) for c in columns], 1)
    every = [last for of in lasts for last in of]
    in_use = _in_use(episodes, taken, lasts)
    start = _greedy(episodes, taken, looks, every, wanted, len(model.costs))
    if in_use:
        most = model.column(
            LONGEST, sum(model.upper[c] for c in every) + sum(v for e in in_use for _, v in e), integral=False
        )
        start.append(max(sum(start[c] * v for c, v in entries) for entries in in_use))
        for entries in in_use:
            model.row([(most, 1.0), *((c, -float(v)) for c, v in entries)], 0)
    values, exact, bound = model.least(seconds, start)
    least = sum(model.costs[c] * values[c] for c in range(len(values)))
    model.row([(c, cost) for c, cost in enumerate(model.costs) if cost], -np.inf, round(least) + 0.001)
    model.costs = [0.0] * len(model.costs)
    for e, column in enumerate(taken):
        model.costs[column] = len(episodes[e].phases)
    for (e, p, n), column in looks.items():
        model.costs[column] = int(episodes[e].phases[p].looks[n].at != episodes[e].phases[p].settles)
    values, fewest, _ = model.least(seconds, values)
    chosen = tuple(e for e, column in enumerate(taken) if values[column] > 0.5)
    picked = tuple((e, p, episodes[e].phases[p].looks[n].at) for (e, p, n), c in looks.items() if values[c] > 0.5)
    steps = round(sum(model.costs[c] * values[c] for c in range(len(values))))
    whole = round(sum(values[c] for c in every))
    return Choice(
        chosen,
        picked,
        whole,
        steps,
        exact and fewest,
        bound if not exact else round(least),
        round(values[most]) if in_use else whole,
    )


def _in_use(
    episodes: Sequence[Episode], taken: Sequence[int], lasts: Sequence[Sequence[int]]
) -> list[list[tuple[int, int]]]:
    """For each thing that is used, and each episode of several phases, the columns that say for how long."""
    found: dict[Any, list[tuple[int, int]]] = {}
    for e, episode in enumerate(episodes):
        for thing, use in episode.uses.items():
            entries = found.setdefault(thing, [])
            entries += [(lasts[e][p], 1) for p in use.phases]
            if use.more:
                entries.append((taken[e], use.more))
    if not found:
        return []
    return [*found.values(), *([(last, 1) for last in of] for of in lasts)]


def _greedy(
    episodes: Sequence[Episode],
    taken: Sequence[int],
    looks: Mapping[tuple[int, int, int], int],
    lasts: Sequence[int],
    wanted: set[int],
    count: int,
) -> list[float]:
    """A choice that is possible: looks with the most that is new for each second they cost, one after the other."""
    values = [0.0] * count
    at: dict[tuple[int, int], int] = {}
    column = iter(lasts)
    for e, episode in enumerate(episodes):
        for p in range(len(episode.phases)):
            at[e, p] = next(column)

    def take(e: int) -> None:
        values[taken[e]] = 1.0
        for p, phase in enumerate(episodes[e].phases):
            values[at[e, p]] = max(values[at[e, p]], float(phase.settles))

    for e, episode in enumerate(episodes):
        if episode.needed:
            take(e)
    left = set(wanted)
    covers = {key: episodes[key[0]].phases[key[1]].looks[key[2]].covers & wanted for key in looks}
    lasting = [sum(phase.settles for phase in episode.phases) for episode in episodes]
    while left:
        best, most = next(iter(looks)), -1.0
        for e, p, n in looks:
            more = max(0.0, episodes[e].phases[p].looks[n].at - values[at[e, p]])
            worth = len(covers[e, p, n] & left) / (1.0 + more + (0 if values[taken[e]] else lasting[e]))
            if worth > most:
                best, most = (e, p, n), worth
        e, p, n = best
        if not covers[best] & left:
            raise Unsolved("there is something that nothing covers")
        take(e)
        values[looks[best]] = 1.0
        values[at[e, p]] = max(values[at[e, p]], float(episodes[e].phases[p].looks[n].at))
        left -= covers[best]
    return values


def smallest_cover(sets: Sequence[frozenset[int]], items: Iterable[int], *, seconds: float = 60.0) -> tuple[int, ...]:
    """The fewest of the sets that cover all the items, by their numbers. Raises Unsolved."""
    episodes = [Episode((Phase(1, (Look(1, covers),)),)) for covers in sets]
    choice = cheapest(episodes, items, seconds=seconds)
    if not choice.exact:
        raise Unsolved("the solver's time was up")
    return choice.episodes
