"""Permit maps: for two steady readings, where each path may run, must not, or depends on where one came from.

The plane of the readings is cut at every threshold of the rules that decide over a path, so that within a cell, an edge
or a corner no rule can tell one point from another: each is decided once, and the edges are exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import combinations, product
from typing import ClassVar

from msgspec import Struct, field

from interlock.logic.histories import vectors
from interlock.logic.settled import Cone, Ending, TooManyError, bits_at, cone_of
from interlock.logic.steady import Alike, Piece, alike, limits_of, pieces, sensors_of
from interlock.records import Aside, replace
from interlock.scheme.model import Condition, Rule, Scheme
from interlock.scheme.words import LineForm, Signal, Word

MOST_LINES = 10
MOST_SETTINGS = 1 << 14  # of outside lines and other readings, for one cell


class Standing(Word):
    """What a path may do at a point, once everything else is as favourable to it as it can be.

    RUNS: it ends up running, wherever one came from. TURNS: it never stays stopped, and may run and stop by turns.
    DEPENDS: it may end up running, but under no setting of everything else whatever went before. STOPPED: it ends up
    stopped, whatever else is set and whatever went before. UNKNOWN: too much acts on each other to be gone through.
    """

    RUNS = "runs"
    TURNS = "turns"
    DEPENDS = "depends"
    STOPPED = "stopped"
    UNKNOWN = "unknown"


class Cell(Aside, frozen=True, eq=False):
    """A point, an edge or an open rectangle of the plane, decided. `sure`: of `depends` and `turns`, that histories
    are known that show it; the other two are sure by themselves. `best`: the outside lines and the other readings under
    which it is decided; None where it is stopped under all."""

    standing: Standing
    sure: bool
    best: Setting | None = None
    aside: ClassVar[tuple[str, ...]] = ("best",)


class Setting(Struct, frozen=True):
    """All that stands still: where each group of sensors is, by its name, and the outside lines that matter."""

    places: Mapping[str, Piece]
    lines: Mapping[str, bool]


class Subject(Struct, frozen=True):
    """A path, in one of its modes where it has some: `mode` must be met for it to count."""

    path: str
    mode: tuple[Condition, ...] = ()


class Panel(Struct, frozen=True):
    """Subjects that stand alike over a plane. `cells[i][j]`: where x is in its piece i and y in its piece j. `rules`:
    those on one of the two readings that decide over them."""

    subjects: tuple[Subject, ...]
    xs: tuple[Piece, ...]
    ys: tuple[Piece, ...]
    cells: tuple[tuple[Cell, ...], ...]
    rules: tuple[str, ...]

    @property
    def uniform(self) -> Standing | None:
        """What it is everywhere; None where it differs, or is not sure."""
        found = {(cell.standing, cell.sure) for column in self.cells for cell in column}
        standing, sure = next(iter(found))
        return standing if len(found) == 1 and sure else None


class PermitMap(Struct, frozen=True):
    """The plane of two groups of sensors. `untouched`: subjects that neither of the two decides anything over."""

    x: Alike
    y: Alike
    panels: tuple[Panel, ...]
    untouched: tuple[Subject, ...]


def subjects(scheme: Scheme) -> list[Subject]:
    """Every path; one with modes in each of them."""
    found: list[Subject] = []
    for path in scheme.paths.values():
        modes = [side for side in (path.flow.charge, path.flow.discharge) if side]
        found += [Subject(path.name, mode) for mode in modes] or [Subject(path.name)]
    return found


class Atlas(Struct, dict=True):
    """All maps of a scheme; what they have in common is worked out once."""

    scheme: Scheme

    def __post_init__(self) -> None:
        self.groups = alike(self.scheme)
        known: _Vectors = {}
        self.views = [
            View(self.scheme, cone_of(self.scheme, one.path), one, self.groups, known) for one in subjects(self.scheme)
        ]
        group_of = {sensor: group.name for group in self.groups for sensor in group.sensors}
        self.decides = [
            {group_of[s] for name in view.cone.on_values for s in view.sensors(name) if s in group_of}
            for view in self.views
        ]

    def planes(self) -> list[tuple[Alike, Alike]]:
        """Every two readings that together decide over some path, in the scheme's order."""
        return [
            (x, y) for x, y in combinations(self.groups, 2) if any({x.name, y.name} <= found for found in self.decides)
        ]

    def map(self, x: Alike, y: Alike) -> PermitMap:
        """The map over two groups of sensors."""
        panels: dict[object, Panel] = {}
        untouched = []
        for view, decides in zip(self.views, self.decides, strict=True):
            if not decides & {x.name, y.name}:
                untouched.append(view.subject)
                continue
            panel = _simplest(self.scheme, view.panel(x, y))
            edges = [tuple((piece.low, piece.high) for piece in axis) for axis in (panel.xs, panel.ys)]
            key = (*edges, panel.cells, panel.rules)
            same = panels.get(key)
            panels[key] = panel if same is None else replace(same, subjects=(*same.subjects, view.subject))
        return PermitMap(x, y, tuple(panels.values()), tuple(untouched))


def planes(scheme: Scheme) -> list[tuple[Alike, Alike]]:
    """`Atlas.planes`."""
    return Atlas(scheme).planes()


def permit_map(scheme: Scheme, x: Alike, y: Alike) -> PermitMap:
    """`Atlas.map`, for one map alone."""
    return Atlas(scheme).map(x, y)


def _simplest(scheme: Scheme, panel: Panel) -> Panel:
    """The panel without cuts on both sides of which, and at which, all is alike, nor rules that make none."""
    columns = list(panel.cells)
    xs, columns = _joined(panel.xs, columns)
    rows = [tuple(column[j] for column in columns) for j in range(len(panel.ys))]
    ys, rows = _joined(panel.ys, rows)
    cells = tuple(tuple(row[i] for row in rows) for i in range(len(xs)))
    found = Panel(panel.subjects, xs, ys, cells, panel.rules)
    return replace(found, rules=tuple(rule for rule in panel.rules if _cuts(scheme, rule, found)))


def _joined(
    cuts: Sequence[Piece], lines: Sequence[tuple[Cell, ...]]
) -> tuple[tuple[Piece, ...], list[tuple[Cell, ...]]]:
    kept, cells = [cuts[0]], [lines[0]]
    for i in range(1, len(cuts)):
        between = not cuts[i].point and len(kept) > 2 and kept[-1].point and not kept[-2].point
        if between and lines[i] == cells[-1] == cells[-2]:
            kept[-2:] = [Piece(kept[-2].low, cuts[i].high, kept[-2].at)]
            cells[-2:] = [cells[-2]]
        else:
            kept.append(cuts[i])
            cells.append(lines[i])
    return tuple(kept), cells


def _cuts(scheme: Scheme, rule: str, panel: Panel) -> bool:
    """Whether one of the rule's limits is an edge of the panel."""
    inner = {p.low for axis in (panel.xs, panel.ys) for p in axis[1:-1] if p.point}
    return bool(inner & set(limits_of(scheme, scheme.rules[rule])))


_Vectors = dict[tuple[str, tuple[str, ...], Piece], list[tuple[bool, ...]]]


class View(Struct, dict=True):
    """One subject looked at over planes. `known`: ways in which rules may be active that were worked out before."""

    scheme: Scheme
    cone: Cone
    subject: Subject
    groups: Sequence[Alike]
    known: _Vectors = field(default_factory=dict)
    _others: dict[tuple[str, ...], list[dict[str, Piece]]] = field(default_factory=dict)

    def panel(self, x: Alike, y: Alike) -> Panel:
        """This subject over the plane."""
        xs, ys = self.cuts(x), self.cuts(y)
        cells = tuple(tuple(self.cell(x, px, y, py) for py in ys) for px in xs)
        rules = [n for n in self.cone.on_values if set(self.sensors(n)) & {*x.sensors, *y.sensors}]
        return Panel((self.subject,), xs, ys, cells, tuple(n for n in self.scheme.rules if n in rules))

    def sensors(self, rule: str) -> tuple[str, ...]:
        """The sensors a rule's value comes from."""
        return sensors_of(self.scheme, self.scheme.rules[rule])

    def rules_on(self, group: Alike) -> list[Rule]:
        """The rules of the cone that see this group."""
        return [self.scheme.rules[n] for n in self.cone.on_values if set(self.sensors(n)) & set(group.sensors)]

    def cuts(self, group: Alike) -> tuple[Piece, ...]:
        """The group's pieces, as the cone's rules cut it."""
        return pieces(self.scheme, group, self.rules_on(group))

    def cell(self, x: Alike, px: Piece, y: Alike, py: Piece) -> Cell:
        """One cell decided."""
        try:
            return self._cell({x.name: px, y.name: py})
        except TooManyError:
            return Cell(Standing.UNKNOWN, sure=False)

    def _cell(self, at: Mapping[str, Piece]) -> Cell:
        found: list[tuple[frozenset[Ending], Setting]] = []
        for places, lines in product(self.others(tuple(at)), self.lines):
            setting = Setting({**at, **places}, lines)
            endings = self.cone.endings(self.bits(setting.places), lines)
            if endings == {Ending.RUNS}:
                return Cell(Standing.RUNS, sure=True, best=setting)
            found.append((endings, setting))
        never_stopped = [setting for endings, setting in found if Ending.STOPPED not in endings]
        if never_stopped:
            sure = any(Ending.TURNS in self.shown(setting) for setting in never_stopped)
            return Cell(Standing.TURNS, sure, best=never_stopped[0])
        may_run = [setting for endings, setting in found if endings != {Ending.STOPPED}]
        if not may_run:
            return Cell(Standing.STOPPED, sure=True)
        real = [self.shown(setting) for setting in may_run]
        best = next((one for one, endings in zip(may_run, real, strict=True) if endings - {Ending.STOPPED}), None)
        sure = best is not None and all(Ending.STOPPED in endings for endings in real)
        return Cell(Standing.DEPENDS, sure, best=best or may_run[0])

    def bits(self, places: Mapping[str, Piece]) -> dict[str, bool | None]:
        """How the cone's rules on a value end up there."""
        return bits_at(self.scheme, self.cone.on_values, places, self.groups)

    def others(self, but: tuple[str, ...]) -> list[dict[str, Piece]]:
        """Every setting of the other groups that the cone can tell from another."""
        if but not in self._others:
            self._others[but] = self._settings(but)
        return self._others[but]

    def _settings(self, but: tuple[str, ...]) -> list[dict[str, Piece]]:
        choices: list[list[tuple[str, Piece]]] = []
        count = len(self.lines)
        for group in self.groups:
            rules = self.rules_on(group)
            if group.name in but or not rules:
                continue
            apart = {
                tuple(bits_at(self.scheme, [r.name for r in rules], {group.name: p}, (group,)).values()): p
                for p in self.cuts(group)
            }
            choices.append([(group.name, piece) for piece in apart.values()])
            count *= len(apart)
        if count > MOST_SETTINGS:
            raise TooManyError
        return [dict(chosen) for chosen in product(*choices)]

    @cached_property
    def lines(self) -> list[dict[str, bool]]:
        """Every state of the outside lines in which the subject's mode is met and no line overrides for ever."""
        names = self.cone.lines
        if len(names) > MOST_LINES:
            raise TooManyError
        wanted = {c.name: c.test for c in self.subject.mode if c.signal is Signal.LINE}
        kept_off = held_for_ever(self.scheme) - wanted.keys()
        states = [dict(zip(names, state, strict=True)) for state in product((False, True), repeat=len(names))]
        return [
            s
            for s in states
            if all(s.get(name, test) is test for name, test in wanted.items())
            and not any(s[name] for name in names if name in kept_off)
        ]

    def shown(self, setting: Setting) -> frozenset[Ending]:
        """The endings that histories are known for."""
        bits = self.bits(setting.places)
        free: list[list[dict[str, bool]]] = []
        for group in self.groups:
            names = [rule.name for rule in self.rules_on(group)]
            if names and group.name in setting.places:
                known = self._vectors(group, setting.places[group.name])
                free.append([dict(zip(names, vector, strict=True)) for vector in known])
        found: set[Ending] = set()
        for chosen in product(*free):
            exact = {**bits, **{name: bit for one in chosen for name, bit in one.items()}}
            endings = self.cone.endings(exact, setting.lines)
            if len(endings) == 1:
                found |= endings
        return frozenset(found)

    def _vectors(self, group: Alike, place: Piece) -> list[tuple[bool, ...]]:
        rules = self.rules_on(group)
        key = (group.name, tuple(rule.name for rule in rules), place)
        if key not in self.known:
            self.known[key] = list(vectors(self.scheme, group, rules, place))
        return self.known[key]


def held_for_ever(scheme: Scheme) -> frozenset[str]:
    """The outside lines by which a rule would be overridden without limit: nobody does."""
    return frozenset(
        rule.overridden_by
        for rule in scheme.rules.values()
        if rule.overridden_by
        and rule.override_at_most is None
        and scheme.lines[rule.overridden_by].form is LineForm.EXTERNAL
    )


def unsure(found: PermitMap) -> Iterator[tuple[Panel, int, int]]:
    """The cells of a map for which no history is known that shows what they are said to be."""
    for panel in found.panels:
        for i, column in enumerate(panel.cells):
            for j, cell in enumerate(column):
                if not cell.sure:
                    yield panel, i, j
