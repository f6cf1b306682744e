"""What rules may see at one scan, and which conditions on the truth hold with it: by representative values.

All constants of a group of quantities (spans, ties, errors, bounds, thresholds, limits) are multiples of one grid step.
Every constraint between truths and readings is a closed bound on a difference, every threshold cuts one value. So any
solution can be moved, keeping all that is asked, to one where each value lies on the grid or half way between two grid
points: a map that keeps grid points, sends each open gap to its middle and keeps the order keeps closed bounds by whole
steps too. Truths are enumerated there; readings, independent of each other once the truth is given, follow exactly as
intervals. Where two live sensors are averaged or compared that is not enough, and z3 lists what is possible instead.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import ceil, floor, gcd, lcm
from typing import Any

import numpy as np

from interlock.scheme.model import Rule, Scheme
from interlock.scheme.units import Kind
from interlock.scheme.words import Compare
from tests.support.brute_parts import Array, OutOfReach
from tests.support.brute_readings import Atom, Element, Fixed, Inputs, Live, rule_sees, thresholds

MOST_ROWS = 4_000_000


Config = tuple[tuple[str, Element], ...]  # for each element
Pattern = tuple[tuple[bool, ...], tuple[int, ...], tuple[int, ...]]  # atoms, what each rule sees, cells to remember


# --- truths


@dataclass(frozen=True)
class Bound:
    """a - b <= most, between quantities, in every truth."""

    a: str
    b: str
    most: int


def bounds(scheme: Scheme) -> list[Bound]:
    """What the ties say, and what each sensor's healthy intervals imply."""
    found: list[Bound] = []
    for q in scheme.quantities.values():
        if q.at_least:
            found.append(Bound(q.at_least.other, q.name, -q.at_least.difference))
        if q.at_most:
            found.append(Bound(q.name, q.at_most.other, q.at_most.difference))
    for sensor in scheme.sensors.values():
        for one, other in product(sensor.measures, repeat=2):
            if one is not other:  # truth one + low <= reading <= truth other + high
                found.append(Bound(one.quantity, other.quantity, other.interval.high - one.interval.low))
    return found


def components(scheme: Scheme) -> list[tuple[str, ...]]:
    """The quantities in groups that nothing connects, each in an order in which neighbours stand close."""
    near: dict[str, list[str]] = {q: [] for q in scheme.quantities}
    for bound in bounds(scheme):
        near[bound.a].append(bound.b)
        near[bound.b].append(bound.a)
    done: set[str] = set()
    found = []
    for start in near:
        if start in done:
            continue
        group, waiting = [start], [start]
        done.add(start)
        while waiting:
            for other in near[waiting.pop(0)]:
                if other not in done:
                    done.add(other)
                    group.append(other)
                    waiting.append(other)
        found.append(tuple(group))
    return found


class Grid:
    """Exact whole numbers for a group's constants: all even; odd ones lie in the gaps."""

    def __init__(self, constants: Iterable[Fraction | int]) -> None:
        fractions = [Fraction(c) for c in constants]
        self.scale = lcm(*(f.denominator for f in fractions))
        whole = [int(f * self.scale) for f in fractions]
        self.step = gcd(*whole) or 1

    def number(self, value: Fraction | int) -> int:
        """An even number for a constant."""
        n, rest = divmod(int(Fraction(value) * self.scale) * 2, self.step)
        assert rest == 0 == n % 2, value
        return n


def truths(scheme: Scheme, group: Sequence[str], grid: Grid) -> dict[str, Array]:
    """All truths of a group of quantities on the grid and in its gaps, one array each."""
    limits = [b for b in bounds(scheme) if b.a in group]
    placed: dict[str, Array] = {}
    rows = 1
    for name in group:
        span = scheme.quantities[name].span
        low, high = np.full(rows, grid.number(span.low)), np.full(rows, grid.number(span.high))
        for bound in limits:
            if bound.a == name and bound.b in placed:
                high = np.minimum(high, placed[bound.b] + grid.number(bound.most))
            if bound.b == name and bound.a in placed:
                low = np.maximum(low, placed[bound.a] - grid.number(bound.most))
        counts = np.maximum(high - low + 1, 0)
        rows = int(counts.sum())
        if rows > MOST_ROWS:
            raise OutOfReach(f"{rows} truths")
        source = np.repeat(np.arange(len(counts)), counts)
        first = np.repeat(np.cumsum(counts) - counts, counts)
        placed = {q: values[source] for q, values in placed.items()}
        placed[name] = low[source] + np.arange(rows) - first
    return placed


def grid_step(scheme: Scheme, kind: Kind, atoms: Sequence[Atom] = ()) -> Fraction:
    """The grid step that all constants of a kind share, in millionths; the limits of `atoms` included."""
    constants: list[Fraction | int] = [a.limit for a in atoms if scheme.quantities[a.quantity].kind is kind]
    for quantity in scheme.quantities.values():
        if quantity.kind is kind:
            constants += [quantity.span.low, quantity.span.high]
            constants += [tie.difference for tie in (quantity.at_least, quantity.at_most) if tie]
    errors = [e for fault in scheme.faults.values() for f in fault.single() for e in f.error]
    for sensor in scheme.sensors.values():
        errors += [*sensor.measures, *sensor.drifts, *sensor.misplaced]
        if sensor.kind is kind:
            constants += [sensor.valid.low, sensor.valid.high]
            constants += [v for v in (sensor.open_reads, sensor.shorted_reads) if v is not None]
    for error in errors:
        if scheme.quantities[error.quantity].kind is kind:
            constants += [error.interval.low, error.interval.high]
    for rule in scheme.rules.values():
        watched = scheme.sensors.get(rule.watched) or scheme.readings.get(rule.watched)
        if watched and watched.kind is kind:
            constants += thresholds(rule)
    return Fraction(Grid(constants).step) / Grid(constants).scale


# --- patterns


class Observations:
    """What can be seen together at one scan, for a cone's rules and a claim's conditions on truths."""

    def __init__(
        self,
        scheme: Scheme,
        inputs: Inputs,
        atoms: Sequence[Atom],
        *,
        sticking: Sequence[str] = (),
        solver: bool = False,
    ) -> None:
        self.scheme, self.inputs, self.atoms, self.solver = scheme, inputs, tuple(atoms), solver
        self.components = components(scheme)
        self.cache: dict[Config, list[Pattern]] = {}
        self.fine: dict[str, list[Fraction]] = {}
        for rule in inputs.rules:
            if inputs.weighs(rule):
                weighed = [inputs.element_of[s] for s in inputs.sensors(rule)]
                stuck = [e for e in weighed if e in sticking]
                if stuck and len(weighed) > 2:
                    raise OutOfReach("stuck sensors in a reading that weighs more than two")
                self.fine |= {e: self._fine(e, len(stuck)) for e in stuck if len(stuck) > 1 or e not in self.fine}

    def cells(self, element: str) -> list[Fraction]:
        """The critical values of an element: its cells are below, at, between and above them."""
        return self.fine.get(element) or self.inputs.critical(element)

    def _fine(self, element: str, stuck: int) -> list[Fraction]:
        """The cells of a sensor that sticks and is then weighed against another, which follows the truth.

        What that one must pass lies as far beyond a grid point as the stuck value does, or as far before one. So all
        stuck values between two half steps leave the same things possible. Where both stick, what counts of two values
        between half steps is which of them lies farther from its own: quarters and between hold each of the three ways.
        """
        parts = 2 if stuck < 2 else 4
        step = grid_step(self.scheme, self.scheme.sensors[element].kind, self.atoms) / parts
        errors = list(self.scheme.sensors[element].measures)
        errors += [
            e for fault in self.scheme.faults.values() for f in fault.single() if element in f.parts for e in f.error
        ]
        spans = [self.scheme.quantities[e.quantity].span for e in errors]
        least = min(s.low + e.interval.low for s, e in zip(spans, errors, strict=True))
        most = max(s.high + e.interval.high for s, e in zip(spans, errors, strict=True))
        return [step * i for i in range(floor(least / step) - 1, ceil(most / step) + 2)]

    def inside(self, element: str, cell: int) -> Fraction:
        """A value in a cell."""
        return value_in(self.cells(element), cell)

    def patterns(self, config: Config) -> list[Pattern]:
        """All that is possible under a configuration of the elements; what each rule sees in the order of
        `inputs.rules`, the cells to remember in the order of the elements that keep."""
        if config not in self.cache:
            self.cache[config] = sorted(self._patterns(dict(config)))
        return self.cache[config]

    def _patterns(self, config: dict[str, Element]) -> set[Pattern]:
        keeping = [e for e, element in config.items() if isinstance(element, Live) and element.keeps]
        for place_kept, e in enumerate(keeping):
            if e in self.fine:
                return set(self._with_each_value(config, e, place_kept))
        parts: list[set[tuple[Any, ...]]] = []
        keys: list[tuple[tuple[str, Any], ...]] = []
        for group in self._groups(config):
            found_keys, found = self._group(group, config, keeping)
            keys.append(found_keys)
            parts.append(found)
        order = [k for group_keys in keys for k in group_keys]
        place = {k: i for i, k in enumerate(order)}
        fixed = self._fixed_rules(config)
        patterns: set[Pattern] = set()
        for combination in product(*parts):
            flat = [value for part in combination for value in part]
            atoms = tuple(bool(flat[place["atom", i]]) for i in range(len(self.atoms)))
            seen = tuple(
                int(fixed[r.name]) if r.name in fixed else int(flat[place["rule", r.name]]) for r in self.inputs.rules
            )
            patterns.add((atoms, seen, tuple(int(flat[place["cell", e]]) for e in keeping)))
        return patterns

    def _with_each_value(self, config: dict[str, Element], element: str, place: int) -> Iterator[Pattern]:
        """The patterns of a scan at which a weighed sensor sticks, value by value."""
        live = config[element]
        assert isinstance(live, Live)
        for cell in range(1, 2 * len(self.cells(element))):
            stuck = Fixed(self.inside(element, cell), live.errors)
            for atoms, seen, cells in self._patterns({**config, element: stuck}):
                yield atoms, seen, (*cells[:place], cell, *cells[place:])

    def _live(self, rule: Rule, config: Mapping[str, Element]) -> list[str]:
        elements = [self.inputs.element_of[s] for s in self.inputs.sensors(rule)]
        return [e for e in elements if isinstance(config[e], Live)]

    def _fixed_rules(self, config: Mapping[str, Element]) -> dict[str, int]:
        """Rules that see no live element."""
        values = {e: element.value for e, element in config.items() if isinstance(element, Fixed)}
        return {
            rule.name: rule_sees(rule, self.inputs.value(rule, values))
            for rule in self.inputs.rules
            if not self._live(rule, config)
        }

    def _groups(self, config: Mapping[str, Element]) -> list[list[int]]:
        """Components of quantities that matter, those together that one rule's reading spans."""
        home = {q: i for i, group in enumerate(self.components) for q in group}
        matter: set[int] = {home[a.quantity] for a in self.atoms}
        joined: dict[int, int] = {}

        def root(i: int) -> int:
            while joined.get(i, i) != i:
                i = joined[i]
            return i

        at = {e: home[element.errors[0].quantity] for e, element in config.items() if isinstance(element, Live)}
        matter |= set(at.values())
        matter |= {home[x.fits[0].quantity] for x in config.values() if isinstance(x, Fixed) and x.fits}
        for rule in self.inputs.rules:
            spanned = [at[e] for e in self._live(rule, config)]
            for other in spanned[1:]:
                joined[root(other)] = root(spanned[0])
        groups: dict[int, list[int]] = {}
        for i in sorted(matter):
            groups.setdefault(root(i), []).append(i)
        return list(groups.values())

    def _group(
        self, group: list[int], config: Mapping[str, Element], keeping: Sequence[str]
    ) -> tuple[tuple[tuple[str, Any], ...], set[tuple[Any, ...]]]:
        quantities = {q for i in group for q in self.components[i]}
        atoms = [i for i, a in enumerate(self.atoms) if a.quantity in quantities]
        live = [e for e, x in config.items() if isinstance(x, Live) and x.errors[0].quantity in quantities]
        rules = [r for r in self.inputs.rules if any(e in live for e in self._live(r, config))]
        kept = [e for e in keeping if e in live]
        keys: tuple[tuple[str, Any], ...] = (
            *(("atom", i) for i in atoms),
            *(("rule", r.name) for r in rules),
            *(("cell", e) for e in kept),
        )
        if self.solver or any(self.inputs.mixing(r, config) for r in rules):
            from tests.support.brute_solver import solved

            return keys, solved(self, quantities, atoms, live, rules, kept, config)
        fixed = {e: x.value for e, x in config.items() if isinstance(x, Fixed)}
        critical = {e: sorted({*self.cells(e), *self.inputs.more_critical(e, config)}) for e in live}
        found: set[tuple[Any, ...]] = set()
        for bits, cells in self._joint(group, atoms, live, critical, config):
            values = {e: value_in(critical[e], c) for e, c in zip(live, cells, strict=True)}
            elements = {**dict.fromkeys(config), **fixed, **values}
            sees = (rule_sees(r, self.inputs.value(r, elements)) for r in rules)
            found.add((*bits, *sees, *(cell_of(self.cells(e), values[e]) for e in kept)))
        return keys, found

    def _joint(
        self,
        group: list[int],
        atoms: Sequence[int],
        live: Sequence[str],
        critical: Mapping[str, list[Fraction]],
        config: Mapping[str, Element],
    ) -> Iterator[tuple[tuple[bool, ...], tuple[int, ...]]]:
        """Which atoms hold with which cells of the live elements."""
        per_component = [self._component(i, atoms, live, critical, config) for i in group]
        for parts in product(*per_component):
            bits: dict[int, bool] = {}
            cells: dict[str, int] = {}
            for own_bits, own_cells in parts:
                bits |= own_bits
                cells |= own_cells
            yield tuple(bits[i] for i in atoms), tuple(cells[e] for e in live)

    def _component(
        self,
        index: int,
        atoms: Sequence[int],
        live: Sequence[str],
        critical: Mapping[str, list[Fraction]],
        config: Mapping[str, Element],
    ) -> list[tuple[dict[int, bool], dict[str, int]]]:
        scheme, group = self.scheme, self.components[index]
        own_atoms = [i for i in atoms if self.atoms[i].quantity in group]
        errors = {e: x.errors for e in live if isinstance(x := config[e], Live) and x.errors[0].quantity in group}
        fitting = [x for x in config.values() if isinstance(x, Fixed) and x.fits and x.fits[0].quantity in group]
        constants: list[Fraction | int] = [self.atoms[i].limit for i in own_atoms]
        for x in fitting:
            assert x.value is not None
            constants += [x.value, *(side for e in x.fits for side in (e.interval.low, e.interval.high))]
        for q in group:
            constants += [scheme.quantities[q].span.low, scheme.quantities[q].span.high]
        constants += [b.most for b in bounds(scheme) if b.a in group]
        for e, own in errors.items():
            constants += [x for error in own for x in (error.interval.low, error.interval.high)]
            constants += critical[e]
        grid = Grid(constants)
        truth = truths(scheme, group, grid)
        for x in fitting:
            assert x.value is not None
            for error in x.fits:
                off = grid.number(x.value) - truth[error.quantity]
                fits = (off >= grid.number(error.interval.low)) & (off <= grid.number(error.interval.high))
                truth = {q: values[fits] for q, values in truth.items()}
        rows = len(truth[group[0]])
        columns: list[Array] = []
        for i in own_atoms:
            values, limit = truth[self.atoms[i].quantity], grid.number(self.atoms[i].limit)
            columns.append(
                {
                    Compare.BELOW: values < limit,
                    Compare.ABOVE: values > limit,
                    Compare.AT_OR_BELOW: values <= limit,
                    Compare.AT_OR_ABOVE: values >= limit,
                }[self.atoms[i].compare].astype(np.int64)
            )
        for e, own in errors.items():
            low, high = np.full(rows, -(1 << 60)), np.full(rows, 1 << 60)
            for error in own:
                low = np.maximum(low, truth[error.quantity] + grid.number(error.interval.low))
                high = np.minimum(high, truth[error.quantity] + grid.number(error.interval.high))
            assert (low <= high).all(), f"{e} has no reading for some truth"
            cuts = np.array([grid.number(c) for c in critical[e]])
            columns += [_cell_numbers(cuts, low), _cell_numbers(cuts, high)]
        if not columns:
            return [({}, {})] if rows else []
        unique = np.unique(np.stack(columns, axis=1), axis=0)
        found: set[tuple[tuple[bool, ...], tuple[int, ...]]] = set()
        for row in unique.tolist():
            bits = tuple(bool(b) for b in row[: len(own_atoms)])
            spans = row[len(own_atoms) :]
            ranges = [range(spans[i], spans[i + 1] + 1) for i in range(0, len(spans), 2)]
            found.update((bits, cells) for cells in product(*ranges))
        return [
            (dict(zip(own_atoms, bits, strict=True)), dict(zip(errors, cells, strict=True)))
            for bits, cells in sorted(found)
        ]


def _cell_numbers(cuts: Array, values: Array) -> Array:
    """0 below the first cut, 1 at it, 2 between the first two, and so on."""
    left, right = np.searchsorted(cuts, values, side="left"), np.searchsorted(cuts, values, side="right")
    numbers: Array = left + right
    return numbers


def cell_of(cuts: Sequence[Fraction], value: Fraction) -> int:
    """The cell of one value."""
    return sum(c < value for c in cuts) + sum(c <= value for c in cuts)


def value_in(cuts: Sequence[Fraction], cell: int) -> Fraction:
    """A value in a cell: the cut, the middle between two, or one step outside."""
    if cell % 2:
        return cuts[cell // 2]
    if cell == 0:
        return cuts[0] - 1
    if cell == 2 * len(cuts):
        return cuts[-1] + 1
    return (cuts[cell // 2 - 1] + cuts[cell // 2]) / 2
