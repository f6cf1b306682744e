"""A circuit as one Python function: `step(L, E, X)`, places and inputs in, places out.

L: the place of each component. E: bit i set where component i's running delay ends at this scan (if it goes on). X: the
inputs, in the order of `inputs`. Returns the new places, the bits asked of E, the bits of timers started again in the
same place, the bits of timers standing still, whether the scan is bad, and (where asked for) the rules' activity and
force.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from itertools import product
from typing import Any

from msgspec import Struct

from interlock.proof.circuit import Circuit
from interlock.proof.components import Kind, Statement
from interlock.proof.expr import FALSE, TRUE, neg, text
from interlock.scheme.words import PowerUp

Places = tuple[int, ...]
Result = tuple[Places, int, int, int, bool, tuple[bool, ...]]
Step = Callable[[Places, int, tuple[int, ...]], Result]


class Compiled(Struct, frozen=True):
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
    lines.append("q = r = s = 0")
    moved: set[int] = set()
    for i in circuit.nexts:
        lines.append(f"p{i} = l{i} == 1")
    for statement in circuit.statements:
        if statement.comp < 0:
            lines.append(f"{statement.name} = {text(statement.expr)}")
            continue
        moved.add(statement.comp)
        lines += _moves(circuit, statement)
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
    lines.append(f"return {places}, q, r, s, {text(circuit.bad)}, {shown}")
    source = "def step(L, E, X):\n    " + "\n    ".join(lines) + "\n"
    return Compiled(_step(source), inputs, {p: i for i, p in enumerate(probes)}, source)


@lru_cache(maxsize=2048)
def _step(source: str) -> Step:
    scope: dict[str, Any] = dict(_TABLES)
    exec(compile(source, "<scan>", "exec"), scope)  # only names and operators printed above, never text of a scheme
    step: Step = scope["step"]
    return step


def _moves(circuit: Circuit, statement: Statement) -> list[str]:
    i = statement.comp
    comp = circuit.layout.comps[i]
    match comp.kind:
        case Kind.WITHIN:
            return [f"n{i}, y, a{i} = W[l{i}][{text(statement.expr)}][E >> {i} & 1]", f"q |= y << {i}"]
        case Kind.SETTLING:
            return _settling(circuit, statement, i)
        case Kind.OVERRIDE:
            return _override(statement, i, comp.delays[2])
        case Kind.RULE:
            return _rule(statement, i, comp.delays)
        case Kind.LATCH | Kind.STUCK:
            raise AssertionError("these are no statements")


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


def _rule(statement: Statement, i: int, delays: Sequence[int]) -> list[str]:
    rule = statement.rule
    assert rule is not None
    bit = 1 << i
    cleared = 4 if rule.manual else 0
    if statement.code:
        c = statement.code
        trips, clears = f"{c} == 2", f"{c} == 0"
    else:
        trips, clears = text(statement.expr), text(statement.clears)
    on_trip = 1 if delays[1] else 2
    on_clear = 3 if delays[3] else cleared
    lines: list[str] = []
    if statement.cycle == FALSE and (statement.code or statement.clears == neg(statement.expr)):
        return _by_table(statement, i, delays, manual=rule.manual)
    start = "if"
    if statement.cycle != FALSE:
        lines.append(f"if {text(statement.cycle)}:")
        if rule.power_up is PowerUp.AS_LEFT:
            lines += [f"    n{i} = l{i}", f"    if l{i} == 1 or l{i} == 3: r |= {bit}"]
        else:
            lines.append(f"    n{i} = {0 if rule.power_up is PowerUp.CLEAR else 2}")
        start = "elif"
    if statement.code:
        lines += [f"{start} {statement.code} == 3:", f"    n{i} = l{i}", f"    if l{i} == 1 or l{i} == 3: s |= {bit}"]
        start = "elif"
    edge = text(statement.edge)
    reset = "4" if statement.edge == FALSE else "0" if statement.edge == TRUE else f"0 if {edge} else 4"
    lines += [
        f"{start} l{i} == 0: n{i} = {on_trip} if {trips} else 0",
        f"elif l{i} == 1:",
        f"    if {trips}:",
        f"        q |= {bit}",
        f"        n{i} = 2 if E & {bit} else 1",
        f"    else: n{i} = 0",
        f"elif l{i} == 2: n{i} = {on_clear} if {clears} else 2",
        f"elif l{i} == 3:",
        f"    if {clears}:",
        f"        q |= {bit}",
        f"        n{i} = {cleared} if E & {bit} else 3",
        f"    else: n{i} = 2",
        f"elif {clears}: n{i} = {reset}",
        f"else: n{i} = 2",
        f"a{i} = n{i} >= 2",
    ]
    return lines


def _by_table(statement: Statement, i: int, delays: Sequence[int], *, manual: bool) -> list[str]:
    """The same as one look into a table, which takes a fraction of the time to compile: by place, what is seen, whether
    the delay ends, whether the reset is given."""
    runs = bool(delays[1] or delays[3])
    table = _table_name(bool(delays[1]), bool(delays[3]), manual, coded=bool(statement.code))
    seen = statement.code or text(statement.expr)
    ends = f"E >> {i} & 1" if runs else "0"
    edge = "0" if statement.edge == FALSE else "1" if statement.edge == TRUE else text(statement.edge)
    lines = [f"n{i}, y, z, a{i} = {table}[l{i}][{seen}][{ends}][{edge}]"]
    if runs:
        lines.append(f"q |= y << {i}")
        if statement.code:
            lines.append(f"s |= z << {i}")
    return lines


def _table_name(picks_up: bool, drops_off: bool, manual: bool, *, coded: bool) -> str:
    return f"{'C' if coded else 'B'}{picks_up:d}{drops_off:d}{manual:d}"


def _next_place(place: int, seen: int, ends: int, edge: int, picks_up: bool, drops_off: bool, manual: bool) -> int:
    """A rule's place after a scan (`_rule` as a function)."""
    cleared = 4 if manual else 0
    trips, clears = seen == 2, seen == 0
    if seen == 3:
        return place
    match place:
        case 0:
            return (1 if picks_up else 2) if trips else 0
        case 1:
            return (2 if ends else 1) if trips else 0
        case 2:
            return (3 if drops_off else cleared) if clears else 2
        case 3:
            return (cleared if ends else 3) if clears else 2
        case _:
            return (0 if edge else 4) if clears else 2


def _table(picks_up: bool, drops_off: bool, manual: bool, *, coded: bool) -> tuple[object, ...]:
    """A rule's places as nested tuples: by place, what is seen (a code: 0 clear, 1 neither, 2 trip, 3 hold; or whether
    it trips), whether the delay ends, whether the reset is given. An entry: the new place, whether the end of a running
    delay is asked for, whether it stands still, whether the rule is active."""

    def entry(place: int, seen: int, ends: int, edge: int) -> tuple[int, int, int, bool]:
        new = _next_place(place, seen, ends, edge, picks_up, drops_off, manual)
        asked, still = (place, seen) in ((1, 2), (3, 0)), place in (1, 3) and seen == 3
        return new, int(asked), int(still), new >= 2

    codes = (0, 1, 2, 3) if coded else (0, 2)
    return tuple(
        tuple(tuple(tuple(entry(p, seen, ends, edge) for edge in (0, 1)) for ends in (0, 1)) for seen in codes)
        for p in range(5)
    )


_TABLES: dict[str, tuple[object, ...]] = {
    _table_name(*rule, coded=coded): _table(*rule, coded=coded)
    for rule in product((False, True), repeat=3)
    for coded in (False, True)
}
# what was told to run (or to stop): by its place, whether it is told so now, whether its time ends: as above, but for
# standing still, and with whether it may still do so
_TABLES["W"] = tuple(
    tuple(
        tuple(
            (new, int(place == 1 and not told), new != 2)
            for new in (0 if told else (1, end, 2)[place] for end in (1, 2))
        )
        for told in (False, True)
    )
    for place in range(3)
)
