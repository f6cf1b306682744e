"""A circuit as one Python function: `step(L, E, X)`, places and inputs in, places out.

L: the place of each component. E: bit i set where component i's running delay ends at this scan (if it goes on). X: the
inputs, in the order of `inputs`. Returns the new places, the bits asked of E, the bits of timers started again in the
same place, the bits of timers standing still, whether the scan is bad, and (where asked for) the rules' activity and
force.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Any, NamedTuple

from interlock.proof.circuit import Circuit
from interlock.proof.components import Kind, Statement
from interlock.proof.expr import FALSE, TRUE, text
from interlock.scheme.words import PowerUp

Places = tuple[int, ...]
Result = tuple[Places, int, int, int, bool, tuple[bool, ...]]
Step = Callable[[Places, int, tuple[int, ...]], Result]


@dataclass(frozen=True)
class Compiled:
    """The function, its inputs in order (slots, then booleans), and where the probes stand in its last result."""

    step: Step
    inputs: tuple[str, ...]
    probes: Mapping[tuple[str, str], int]  # ("act" | "force", rule)
    source: str


def compiled(circuit: Circuit, *, probe: bool = False) -> Compiled:
    """Print and compile a circuit. The layout must be complete: circuits that share it are all built before."""
    layout = circuit.layout
    inputs = (*circuit.slots.values(), *(n for n in circuit.bools.values() if n not in circuit.alias))
    lines: list[str] = []
    if inputs:
        lines.append(f"{', '.join(inputs)}, = X")
    lines += [f"{name} = {known}" for name, known in circuit.alias.items()]
    count = len(layout.comps)
    if count:
        lines.append(f"{', '.join(f'l{i}' for i in range(count))}, = L")
    lines.append("q = r = 0")
    moved: set[int] = set()
    tables: list[RuleTable] = []
    for i in circuit.nexts:
        lines.append(f"p{i} = l{i} == 1")
    for statement in circuit.statements:
        if statement.comp < 0:
            lines.append(f"{statement.name} = {text(statement.expr)}")
            continue
        moved.add(statement.comp)
        match layout.comps[statement.comp].kind:
            case Kind.RULE:
                more, table = _rule(statement, statement.comp, count, layout.comps[statement.comp].delays)
                tables.append(table)
                lines += more
            case Kind.WITHIN:
                lines += _within(statement)
            case _:
                lines += _others(circuit, statement)
    for i, e in circuit.nexts.items():
        moved.add(i)
        lines.append(f"n{i} = 1 if {text(e)} else 0")
    for i in range(count):
        if i not in moved:
            kept = layout.comps[i].kind is Kind.STUCK
            lines.append(f"n{i} = l{i}" if kept else f"n{i} = 0")
    probes: list[tuple[str, str]] = []
    values: list[str] = []
    if probe:
        for what in ("active", "force"):
            for key, e in circuit._memo.items():
                if key[0] == what:
                    probes.append(("act" if what == "active" else "force", key[1]))
                    values.append(text(e))
    places = "(" + "".join(f"n{i}, " for i in range(count)) + ")"
    shown = "(" + "".join(f"{v}, " for v in values) + ")"
    asked, still = (f"q & {(1 << count) - 1}", f"q >> {count}") if any(t.coded for t in tables) else ("q", "0")
    lines.append(f"return {places}, {asked}, r, {still}, {text(circuit.bad)}, {shown}")
    source = "def step(L, E, X):\n    " + "\n    ".join(lines) + "\n"
    return Compiled(_step(source, tuple(tables)), inputs, {p: i for i, p in enumerate(probes)}, source)


@lru_cache(maxsize=2048)
def _step(source: str, tables: tuple[RuleTable, ...]) -> Step:
    scope: dict[str, Any] = {table.name: _moves_of(table) for table in tables} | {"WITHIN": _WITHIN}
    exec(compile(source, "<scan>", "exec"), scope)  # only names and operators printed above, never text of a scheme
    step: Step = scope["step"]
    return step


def _others(circuit: Circuit, statement: Statement) -> list[str]:
    i = statement.comp
    comp = circuit.layout.comps[i]
    match comp.kind:
        case Kind.SETTLING:
            return _settling(circuit, statement, i)
        case Kind.OVERRIDE:
            return _override(statement, i, comp.delays[2])
        case Kind.RULE | Kind.WITHIN | Kind.LATCH | Kind.STUCK:
            raise AssertionError("these have tables, or are no statements")


# By the place (0: it holds, 1: it did within the time, 2: not), whether it holds now and whether the time ends: the
# next place, and whether the time's end was asked.
_WITHIN = tuple(
    (0, 0) if now else (1, 0) if place == 0 else (1 + ends, 1) if place == 1 else (2, 0)
    for place, now, ends in product(range(3), (0, 1), (0, 1))
)


def _within(statement: Statement) -> list[str]:
    i = statement.comp
    return [
        f"n{i}, t = WITHIN[l{i} << 2 | {text(statement.expr)} << 1 | E >> {i} & 1]",
        f"q |= t << {i}",
        f"a{i} = n{i} != 2",
    ]


def _settling(circuit: Circuit, statement: Statement, i: int) -> list[str]:
    """Of rules that act for a least time the signal is another component's, and this one's says whether it can be."""
    settled, signal = circuit.settling[i][1], text(statement.expr)
    checks = settled.least > 0
    inactive = f"not {signal}" if checks else "False"
    may_act = "True" if checks or settled.falls else signal
    lines = [f"if not {circuit.phase}: n{i} = 0; a{i} = {signal}"]  # no bad scan: nothing asks whether it can be
    if settled.scans == 0:
        return [*lines, f"else: n{i} = 2; a{i} = {inactive}"]
    lines.append(f"elif l{i} == 2: n{i} = 2; a{i} = {inactive}")
    if settled.falls:
        lines.append(f"elif not {signal}: n{i} = 2; a{i} = {inactive}")
    if settled.scans:
        lines += [
            f"elif l{i} == 1:",
            f"    q |= {1 << i}",
            f"    if E & {1 << i}: n{i} = 2; a{i} = {inactive}",
            f"    else: n{i} = 1; a{i} = {may_act}",
        ]
    return [*lines, f"else: n{i} = 1; a{i} = {may_act}"]


def _override(statement: Statement, i: int, most: int) -> list[str]:
    assert statement.rule is not None
    limited = statement.rule.override_at_most is not None
    first = 3 if limited and most == 0 else 2
    lines: list[str] = []
    start = "if"
    if statement.cycle != FALSE:
        lines.append(f"if {text(statement.cycle)}: n{i} = 0")
        start = "elif"
    lines += [
        f"{start} not {text(statement.expr)}: n{i} = 1",
        f"elif l{i} == 0: n{i} = 0",
        f"elif l{i} == 1: n{i} = {first}",
        f"elif l{i} == 2:",
    ]
    lines += [f"    q |= {1 << i}", f"    n{i} = 3 if E & {1 << i} else 2"] if limited else [f"    n{i} = 2"]
    return [*lines, f"else: n{i} = 3", f"a{i} = n{i} == 2"]


class RuleTable(NamedTuple):
    """What a table of a rule's moves depends on: its component, the number of all components, where it comes to by
    tripping and by clearing, where it rests once cleared, and whether a reset lets it go there (2: it is asked)."""

    comp: int
    comps: int
    coded: bool
    on_trip: int
    on_clear: int
    cleared: int
    reset: int

    @property
    def name(self) -> str:
        """Two tables of one name are alike."""
        return "R" + "_".join(str(int(field)) for field in self)


@lru_cache(maxsize=4096)
def _moves_of(rule: RuleTable) -> tuple[tuple[int, int], ...]:
    """Place, whether it is reset (where that is asked), what it sees and whether its delay ends, to its next place and
    the bits of it: asked of E, and standing still `comps` bits above."""
    asked, still = 1 << rule.comp, 1 << rule.comp + rule.comps

    def move(place: int, reset: int, trips: bool, clears: bool, ends: int) -> tuple[int, int]:
        match place:
            case 0:
                return (rule.on_trip if trips else 0), 0
            case 1:
                return ((2 if ends else 1), asked) if trips else (0, 0)
            case 2:
                return (rule.on_clear if clears else 2), 0
            case 3:
                return ((rule.cleared if ends else 3), asked) if clears else (2, 0)
            case _:
                return ((0 if reset else 4) if clears else 2), 0

    def seen(place: int, reset: int, sight: int, ends: int) -> tuple[int, int]:
        if not rule.coded:
            return move(place, reset, sight >= 2, bool(sight & 1), ends)
        if sight == 3:
            return place, still if place in (1, 3) else 0
        return move(place, reset, sight == 2, sight == 0, ends)

    resets = (0, 1) if rule.reset == 2 else (rule.reset,)
    return tuple(seen(*at) for at in product(range(5), resets, range(4), (0, 1)))


def _rule(statement: Statement, i: int, count: int, delays: Sequence[int]) -> tuple[list[str], RuleTable]:
    """A rule's next place is looked up: an `if` for each place takes far longer to compile."""
    rule = statement.rule
    assert rule is not None
    lines: list[str] = []
    indent = ""
    if statement.cycle != FALSE:
        lines.append(f"if {text(statement.cycle)}:")
        if rule.power_up is PowerUp.AS_LEFT:
            lines += [f"    n{i} = l{i}", f"    if l{i} == 1 or l{i} == 3: r |= {1 << i}"]
        else:
            lines.append(f"    n{i} = {0 if rule.power_up is PowerUp.CLEAR else 2}")
        lines.append("else:")
        indent = "    "
    cleared = 4 if rule.manual else 0
    reset = int(statement.edge == TRUE) if statement.edge in (TRUE, FALSE) else 2
    on_trip, on_clear = 1 if delays[1] else 2, 3 if delays[3] else cleared
    table = RuleTable(i, count, bool(statement.code), on_trip, on_clear, cleared, reset)
    place = f"l{i} << 4 | {text(statement.edge)} << 3" if reset == 2 else f"l{i} << 3"
    sight = statement.code or f"({text(statement.expr)} << 1 | {text(statement.clears)})"
    lines += [
        f"{indent}n{i}, t = {table.name}[{place} | {sight} << 1 | E >> {i} & 1]",
        f"{indent}q |= t",
        f"a{i} = n{i} >= 2",
    ]
    return lines, table
