"""The parts of a circuit: state-bearing components, the steps of a scan, and which rules an abstraction follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import IntEnum

from msgspec import Struct, field

from interlock.proof.expr import FALSE, TRUE, Expr
from interlock.scheme.model import Rule


class Kind(IntEnum):
    """The kinds of state-bearing component, with their places (`loc`) as small integers."""

    RULE = 0  # 0 clear, 1 picking up, 2 tripped, 3 dropping off, 4 awaiting reset
    OVERRIDE = 1  # 0 must first be seen off, 1 off, 2 overriding, 3 used up
    WITHIN = 2  # 0 the condition holds, 1 it did within the time, 2 not
    LATCH = 3  # 0 or 1: a signal of the scan before
    STUCK = 4  # 0 not stuck, or for good; 1 until it goes stale, 2 stale
    SETTLING = 5  # 0 at will (no bad run), 1 may still be active, 2 inactive until the bad run ends


# A rule's uses: "act" (lines and rules that look at it), "block:OUTPUT", "start:OUTPUT".
Use = str
ACT: Use = "act"

CLEAR, PICKING_UP, TRIPPED, DROPPING_OFF, AWAITING = range(5)


class Comp(Struct, frozen=True):
    """A component. `delays[loc]` is the number of scans its timer runs in that place; 0 where none runs."""

    kind: Kind
    key: tuple[str, ...]
    start: int
    delays: tuple[int, ...]


class Running(dict[tuple[int, ...], tuple[tuple[int, int], ...]]):
    """For places of all components those whose timer runs there, each with its delay in scans; looked up once."""

    def __init__(self, comps: Sequence[Comp]) -> None:
        super().__init__()
        self._delays = [comp.delays for comp in comps]

    def __missing__(self, places: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
        each = enumerate(zip(self._delays, places, strict=True))
        found = self[places] = tuple((i, d[p]) for i, (d, p) in each if d[p])
        return found


class Layout(Struct):
    """The components of a search, shared by its circuits (one for each set of faults present)."""

    comps: list[Comp] = field(default_factory=list)
    place: dict[tuple[str, ...], int] = field(default_factory=dict)

    def of(self, kind: Kind, key: tuple[str, ...], start: int, delays: tuple[int, ...]) -> int:
        """The number of the component of that key, new or not."""
        if key not in self.place:
            self.place[key] = len(self.comps)
            self.comps.append(Comp(kind, key, start, delays))
        return self.place[key]


class Settled(Struct, frozen=True):
    """Free rules followed as one signal that in a bad run is active in the first `scans` scans at most (0: never, None:
    not bounded) and, where it `falls`, stays inactive once it is. `least`: whenever it is active it is so for that many
    scans and one more at least, in a bad run or not."""

    rules: tuple[str, ...]
    uses: tuple[Use, ...]
    scans: int | None
    falls: bool
    least: int = 0


class Abstraction(Struct, frozen=True):
    """Which rules are followed exactly, and for which of their uses; what is not is free.

    A rule not in `exact` is free as a whole: all its effects come and go together. A rule in it has only the uses named
    followed, the others are free each for itself. `everything`: no rule is free.

    `settled`: free rules that in a bad run can only run down, each group as one signal. `shadows`: free rules that are
    active only while another one is.

    `groups`: free rules that act in the same places, followed as one that may trip at any scan and then acts for at
    least the shortest of their clear delays. `fixed`: rules taken to be active or not for good; that leaves behaviours
    out, so it serves to look for real runs only. `loose`: outputs whose devices may do as they like, whatever they are
    told, sensors that may read anything or nothing, and lines that may be read as anything.
    """

    exact: Mapping[str, frozenset[Use]] = field(default_factory=dict)
    everything: bool = False
    groups: tuple[tuple[str, ...], ...] = ()
    fixed: Mapping[str, bool] = field(default_factory=dict)
    settled: tuple[Settled, ...] = ()
    shadows: Mapping[str, str] = field(default_factory=dict)
    loose: frozenset[str] = frozenset()

    def key(self) -> tuple[object, ...]:
        """Equal for equal abstractions."""
        uses = tuple((rule, tuple(sorted(found))) for rule, found in sorted(self.exact.items()))
        fixed, shadows = tuple(sorted(self.fixed.items())), tuple(sorted(self.shadows.items()))
        return uses, self.everything, self.groups, fixed, self.settled, shadows, tuple(sorted(self.loose))

    def settling(self, rule: str) -> Settled | None:
        """The free rules that this one settles with, if it is followed so."""
        return next((s for s in self.settled if rule in s.rules), None)

    def group(self, rule: str) -> tuple[str, ...]:
        """The free rules that this one is followed as one with, () if it is not."""
        return next((g for g in self.groups if rule in g), ())

    def whole(self, rule: str) -> bool:
        """Whether the rule is free as a whole."""
        return not self.everything and rule not in self.exact

    def follows(self, rule: str, use: Use) -> bool:
        """Whether that use of the rule is followed exactly."""
        return self.everything or use in self.exact.get(rule, ())


EVERYTHING = Abstraction(everything=True)


class Statement(Struct, frozen=True):
    """A step of the scan: a named signal (`expr`), or a component with what moves it.

    Rules: `code` names an integer input (0 clear, 1 neither, 2 trip, 3 hold), else `expr` is the trip condition and
    `clears` the clear condition. `edge`: the reset. `cycle`: the unit's power cycle. `delays`: as in Comp.
    """

    name: str
    expr: Expr = TRUE
    comp: int = -1
    code: str = ""
    clears: Expr = FALSE
    edge: Expr = FALSE
    cycle: Expr = FALSE
    rule: Rule | None = None


class FreeUse(Struct, frozen=True):
    """A free input stands for this rule and use."""

    name: str
    rule: str
    use: Use


SlotKey = tuple[object, ...]  # ("rule", name) or ("truth", condition, …)
