"""Claims judged by brute force: all states of the product, all behaviours, whole frontiers at once.

A second opinion on the prover, written from the meaning of a scheme alone: its own scan (`brute_scan`), its own way
from truths to what rules see (`brute_truth`). For small schemes with short delays. `judge` gives the verdict, n and the
exposure; `margins` moves limits and judges again.

A state is what one scan leaves to the next; the bad scans of a claim are edges between states. With L0 all reachable
states and L(k+1) what bad scans reach from Lk, n is the first k whose L(k+1) is empty; Lk only ever shrink, so one that
stays as it was and is not empty means that a run of bad scans never has to end.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import Literal

import numpy as np

from interlock.scheme.model import Claim, Condition, Fault, Limit, Scheme
from interlock.scheme.words import LineForm, Mode, Must, Signal
from tests.support.brute_parts import NO, YES, Array, Cone, Key, OutOfReach, Plan, cone_of, whole
from tests.support.brute_readings import Atom, Element, Fixed, Inputs, Live
from tests.support.brute_scan import Layout, Outcome, Resets, Scan
from tests.support.brute_truth import Config, Observations

Verdict = Literal["holds", "violated", "vacuous"]
CHUNK = 400_000  # states times inputs looked at together


@dataclass(frozen=True)
class BruteVerdict:
    """n: the longest run of bad scans, None where there is no longest. `exposure_us`: None where infinite or vacuous.

    `condition_met`, `path_could`: whether the conditions ever hold, whether the path can ever run (stop)."""

    verdict: Verdict
    n: int | None
    exposure_us: int | None
    condition_met: bool
    path_could: bool
    states: int


@dataclass(frozen=True)
class Options:
    """`narrowed`: only what can matter to the claim is explored. `solver`: what can be seen is listed by z3 throughout.
    `most_states`: beyond it, OutOfReach."""

    narrowed: bool = True
    solver: bool = False
    most_states: int = 60_000


def judge(
    scheme: Scheme,
    claim: Claim,
    faults: Sequence[Fault] = (),
    options: Options | None = None,
    moved: Mapping[int, Fraction] | None = None,
) -> BruteVerdict:
    """The verdict on one claim under a fault set. `moved`: other limits, in millionths, for its conditions on
    quantities by their number. Raises OutOfReach where it is too large to tell."""
    search = Search(scheme, claim, faults, options or Options(), moved)
    search.explore()
    n = search.longest_run()
    if not search.condition_met or not search.path_could:
        return BruteVerdict("vacuous", 0, None, search.condition_met, search.path_could, search.states)
    if n is None:
        return BruteVerdict("violated", None, None, True, True, search.states)
    exposure = (n + adds_a_scan(scheme, claim)) * scheme.scan_us
    verdict: Verdict = "holds" if exposure <= claim.longer_than.us else "violated"
    return BruteVerdict(verdict, n, exposure, True, True, search.states)


def adds_a_scan(scheme: Scheme, claim: Claim) -> bool:
    """Whether truth can turn just after a scan: never_running with a condition on a quantity or an external line."""
    conditions = [*claim.conditions, *(c for alternative in claim.any_of for c in alternative)]
    return claim.must is Must.NEVER_RUNNING and any(
        c.signal is Signal.QUANTITY or (c.signal is Signal.LINE and scheme.lines[c.name].form is LineForm.EXTERNAL)
        for c in conditions
    )


class Search:
    """The exploration for one claim."""

    def __init__(
        self,
        scheme: Scheme,
        claim: Claim,
        faults: Sequence[Fault],
        options: Options,
        moved: Mapping[int, Fraction] | None = None,
    ) -> None:
        self.scheme, self.claim, self.options = scheme, claim, options
        everything = Plan(faults)
        conditions = [*claim.conditions, *(c for alternative in claim.any_of for c in alternative)]
        paths = [claim.path, *(c.name for c in conditions if c.signal is Signal.PATH)]
        lines = [c.name for c in conditions if c.signal is Signal.LINE]
        if options.narrowed:
            self.cone = cone_of(scheme, paths, lines, everything)
            self.plan = Plan(faults, self.cone.parts(units_of(scheme, self.cone)))
        else:
            self.cone, self.plan = whole(scheme), everything
        self.resets = Resets.FREE
        if claim.must is Must.NEVER_STOPPED:
            self.resets = Resets.GIVEN if claim.attended else Resets.NEVER
        self.limits = [c for c in conditions if c.signal is Signal.QUANTITY]
        self.inputs = Inputs(scheme, [r for r in self.cone.rules if not self.plan.may(Mode.OMITTED, r)], self.plan)
        atoms = [_atom(c, (moved or {}).get(i)) for i, c in enumerate(self.limits)]
        self.elements = sorted(self.inputs.input_of)
        self.sticking = [e for e in self.elements if self.plan.may(Mode.STUCK, e)]
        self.observations = Observations(scheme, self.inputs, atoms, sticking=self.sticking, solver=options.solver)
        self.layout = Layout(scheme, self.cone, self.plan, self.resets)
        self.layout.extended(self._memory_of_readings())
        self.columns: dict[Config, tuple[dict[Key, Array], int]] = {}
        self.condition_met = self.path_could = False
        self.states = 0
        self.edges: list[tuple[Array, Array]] = []
        self.reached: Array = np.zeros(0, dtype=np.int64)
        self.parent: dict[int, int] = {}  # how each state was first reached

    def _memory_of_readings(self) -> Iterator[tuple[Key, int, int]]:
        for e in self.sticking:
            yield ("cell", e), 2 * len(self.observations.cells(e)) + 1, 0
            if stale := self.scheme.sensors[e].stale_after:
                yield ("age", e), stale.scans + 1, 0

    # --- all states

    def explore(self) -> None:
        """Every reachable state, and every bad step between two of them."""
        seen = {self.layout.start}
        frontier = np.array([self.layout.start], dtype=np.int64)
        while len(frontier):
            found: list[tuple[Array, Array]] = []
            for states, config, arisen, before in self.batches(frontier):
                inputs, width = self.inputs_under(config)
                size = max(1, CHUNK // width)
                for i in range(0, len(states), size):
                    found.append(self._step(states[i : i + size], inputs, width, arisen, before))
            new, first = np.unique(np.concatenate([after for after, _ in found]), return_index=True)
            origins = np.concatenate([origin for _, origin in found])[first]
            fresh = []
            for state, origin in zip(new.tolist(), origins.tolist(), strict=True):
                if state not in seen:
                    seen.add(state)
                    fresh.append(state)
                    self.parent[state] = origin
            if len(seen) > self.options.most_states:
                raise OutOfReach(f"over {self.options.most_states} states")
            frontier = np.array(fresh, dtype=np.int64)
        self.states = len(seen)
        self.reached = np.array(sorted(seen), dtype=np.int64)

    def batches(self, frontier: Array) -> Iterator[tuple[Array, Config, int, int]]:
        """States that take the same inputs, with each choice of what arises at this scan: the states, the elements,
        what has arisen once this scan begins, and what had before."""
        columns = self.layout.decode(frontier)
        arisen = columns["arisen",][:, 0] if ("arisen",) in columns else np.zeros(len(frontier), dtype=np.int64)
        held: list[Array] = [arisen]
        for e in self.sticking:
            held.append(columns["cell", e][:, 0])
            stale = self.scheme.sensors[e].stale_after
            held.append(columns["age", e][:, 0] >= stale.scans if stale else np.zeros(len(frontier), dtype=bool))
        kinds, which = np.unique(np.stack([h.astype(np.int64) for h in held], axis=1), axis=0, return_inverse=True)
        for k, kind in enumerate(kinds.tolist()):
            states = frontier[which.reshape(-1) == k]
            before, cells = kind[0], dict(zip(self.sticking, zip(kind[1::2], kind[2::2], strict=True), strict=True))
            for after in range(1 << len(self.plan.arising)):
                if after & before == before:
                    yield states, self._config(before, after, cells), after, before

    def _config(self, before: int, after: int, cells: dict[str, tuple[int, int]]) -> Config:
        then, now = self.plan.present(before), self.plan.present(after)
        config: list[tuple[str, Element]] = []
        for e in self.elements:
            sensor = self.scheme.sensors[e]
            element: Element
            if now(Mode.SHORTED, e):
                element = _fixed(sensor.shorted_reads)
            elif now(Mode.OPEN, e):
                element = _fixed(sensor.open_reads)
            elif then(Mode.STUCK, e):
                cell, stale = cells[e]
                element = Fixed(None if stale else self.observations.inside(e, cell))
            else:
                errors = sensor.measures
                if now(Mode.DRIFTED, e):
                    errors = now.errors[Mode.DRIFTED, e].error
                elif now(Mode.MISPLACED, e):
                    errors = now.errors[Mode.MISPLACED, e].error
                element = Live(errors, keeps=now(Mode.STUCK, e))
                if element.keeps and sensor.stale_after and sensor.stale_after.scans == 0:
                    element = Fixed(None)
            config.append((e, element))
        return tuple(config)

    def inputs_under(self, config: Config) -> tuple[dict[Key, Array], int]:
        """The input columns under a configuration: every pattern with every state of the external lines and every
        choice of units to power-cycle; and how many they are."""
        if config in self.columns:
            return self.columns[config]
        patterns = self.observations.patterns(config)
        lines = [x for x in self.cone.lines if self.scheme.lines[x].form is LineForm.EXTERNAL]
        free = len(lines) + len(self.plan.cycled)
        keeping = [e for e, x in config if isinstance(x, Live) and x.keeps]
        combos = np.array(list(product([False, True], repeat=free)), dtype=bool).reshape(1 << free, free)
        wide = len(patterns) * len(combos)

        def of_pattern(values: list[int]) -> Array:
            return np.repeat(np.array(values, dtype=np.int64), len(combos)).reshape(1, wide)

        found: dict[Key, Array] = {}
        for i in range(len(self.limits)):
            found["atom", str(i)] = of_pattern([p[0][i] for p in patterns]) == 1
        for i, rule in enumerate(self.inputs.rules):
            found["seen", rule.name] = of_pattern([p[1][i] for p in patterns])
        for i, e in enumerate(keeping):
            found["keep", e] = of_pattern([p[2][i] for p in patterns])
        for i, key in enumerate([*(("line", x) for x in lines), *(("cycle", u) for u in self.plan.cycled)]):
            found[key] = np.tile(combos[:, i], len(patterns)).reshape(1, wide)
        self.columns[config] = found, wide
        return found, wide

    def look(
        self, states: Array, inputs: dict[Key, Array], width: int, arisen: int, before: int
    ) -> tuple[Array, Array, Array]:
        """One scan from these states with these inputs: the numbers of the states after it, whether the claim's
        conditions hold, and whether its path may do what it must not; each of shape (S, I)."""
        columns = self.layout.decode(states)
        scan = Scan(self.scheme, self.cone, self.plan, arisen, self.resets, columns, inputs)
        outcome = scan.run()
        for e in self.sticking:
            outcome.columns |= self._remember(e, columns, inputs, arisen, before)
        shape = (len(states), width)
        could = self._could(outcome, arisen)
        return (
            self.layout.encode(outcome.columns, shape),
            np.broadcast_to(self._conditions(outcome, inputs), shape),
            np.broadcast_to(could, shape),
        )

    def _could(self, outcome: Outcome, _arisen: int) -> Array:
        """Whether the path may do what it must not."""
        return (outcome.may_run if self.claim.must is Must.NEVER_RUNNING else outcome.may_stop)[self.claim.path]

    def _step(
        self, states: Array, inputs: dict[Key, Array], width: int, arisen: int, before: int
    ) -> tuple[Array, Array]:
        """All that these states lead to, and from which of them each was first reached."""
        after, condition, could = self.look(states, inputs, width, arisen, before)
        self.condition_met |= bool(condition.any())
        self.path_could |= bool(could.any())
        bad = condition & could
        unique, first, which = np.unique(after, return_index=True, return_inverse=True)
        if bad.any():
            rows, _ = np.nonzero(bad)
            pairs = np.unique(rows * len(unique) + which.reshape(after.shape)[bad])
            self.edges.append((states[pairs // len(unique)], unique[pairs % len(unique)]))
        return unique, states[first // width]

    def _remember(
        self, e: str, columns: dict[Key, Array], inputs: dict[Key, Array], arisen: int, before: int
    ) -> dict[Key, Array]:
        """What a stuck element holds, and for how many scans at the next one."""
        stale = self.scheme.sensors[e].stale_after
        stuck, was = self.plan.present(arisen)(Mode.STUCK, e), self.plan.present(before)(Mode.STUCK, e)
        zero = np.zeros((1, 1), dtype=np.int64)
        kept: dict[Key, Array] = {("cell", e): columns["cell", e] if was else inputs.get(("keep", e), zero)}
        if stale:
            kept["age", e] = np.minimum((columns["age", e] if was else zero) + int(stuck), stale.scans)
        return kept

    def _conditions(self, outcome: Outcome, inputs: dict[Key, Array]) -> Array:
        """Whether the claim's conditions hold, those that a mode adds included."""
        place = {id(c): str(i) for i, c in enumerate(self.limits)}

        def holds(condition: Condition) -> Array:
            if condition.signal is Signal.QUANTITY:
                return inputs["atom", place[id(condition)]]
            if condition.signal is Signal.PATH:
                return (outcome.may_run if condition.test else outcome.may_stop)[condition.name]
            value: Array = outcome.line_truth[condition.name] == condition.test
            return value

        def joint(conditions: Sequence[Condition]) -> Array:
            together = YES
            for condition in conditions:
                together = together & holds(condition)
            return together

        met = joint(self.claim.conditions)
        if self.claim.any_of:
            any_mode = NO
            for alternative in self.claim.any_of:
                any_mode = any_mode | joint(alternative)
            met = met & any_mode
        return met

    # --- the longest run

    def levels(self) -> tuple[list[Array], bool]:
        """L0, L1, … as masks over `reached`, down to the last that is not empty; whether that one never empties."""
        levels = [np.ones(len(self.reached), dtype=bool)]
        if not self.edges:
            return levels, False
        source, target = self.ends()
        while True:
            after = np.zeros(len(self.reached), dtype=bool)
            after[target[levels[-1][source]]] = True
            if not after.any():
                return levels, False
            if (after == levels[-1]).all():
                return levels, True
            levels.append(after)

    def ends(self) -> tuple[Array, Array]:
        """The bad steps, from and to, as places in `reached`."""
        return (
            np.searchsorted(self.reached, np.concatenate([s for s, _ in self.edges])),
            np.searchsorted(self.reached, np.concatenate([t for _, t in self.edges])),
        )

    def longest_run(self) -> int | None:
        """n, None where bad scans may go on for ever."""
        levels, endless = self.levels()
        return None if endless else len(levels) - 1


def units_of(scheme: Scheme, cone: Cone) -> list[str]:
    """The units that have a rule or an output in a cone."""
    own = {scheme.rules[r].unit for r in cone.rules} | {scheme.outputs[o].unit for o in cone.outputs}
    return [u for u in scheme.units if u in own | {scheme.lines[x].unit for x in cone.lines}]


def _fixed(value: int | None) -> Fixed:
    return Fixed(None if value is None else Fraction(value))


def _atom(condition: Condition, moved: Fraction | None) -> Atom:
    assert isinstance(condition.test, Limit)
    return Atom(condition.name, condition.test.compare, Fraction(condition.test.value) if moved is None else moved)
