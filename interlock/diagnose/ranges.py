"""A compiled scheme in many installations at once, every value known only to lie within a range.

Ranges are closed intervals of whole numbers (booleans: 0 to 1). What is worked out holds every value that any run
within the given ranges can have, whatever the machines' states were before; it may hold more, for ranges do not know
which values go together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interlock.logic.program import Node, Op, Program, SlotKind
from interlock.plan.columns import FOREVER, counting

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
MOST_EVENTS = 10_000  # after so many scans worked out one by one, what is known is left as it is


@dataclass(frozen=True)
class Range:
    """The least and the greatest value in each installation: arrays of shape (installations,), of booleans where the
    value is one."""

    low: Any
    high: Any

    def only(self, which: Any) -> Range:
        """These installations alone; one may be taken more than once."""
        return Range(self.low[which], self.high[which])


Forced = Mapping[int, Range]  # by node: what is known of it from elsewhere


@dataclass(frozen=True)
class Known:
    """What is known of each slot, and in which installations all that was given can be."""

    slots: tuple[Range, ...]
    possible: Bools

    def only(self, which: Any) -> Known:
        """These installations alone; one may be taken more than once."""
        return Known(tuple(slot.only(which) for slot in self.slots), self.possible[which])


def nothing_known(program: Program, count: int) -> Known:
    """Any state at all, in so many installations."""
    kinds = [bool if slot.boolean else np.int64 for slot in program.slots]
    slots = tuple(
        Range(np.full(count, s.low, kind), np.full(count, s.high, kind))
        for s, kind in zip(program.slots, kinds, strict=True)
    )
    return Known(slots, np.ones(count, bool))


@dataclass(frozen=True)
class Scanned:
    """What came of one scan: what is known afterwards, the ranges of the nodes asked for, and in which installations a
    forced range took something away from the one worked out."""

    known: Known
    nodes: Mapping[int, Range]
    narrowed: Bools


def scan(
    program: Program,
    known: Known,
    inputs: Sequence[Range],
    forced: Forced,
    chosen: Forced | None = None,
    wanted: tuple[int, ...] = (),
) -> Scanned:
    """One scan. Where a forced or chosen range and the one worked out have nothing in common, an installation is no
    longer possible."""
    possible = known.possible.copy()
    narrowed = np.zeros_like(possible)

    def force(number: int, low: Any, high: Any) -> tuple[Any, Any]:
        for by in (forced, chosen or {}):
            if number in by:
                least, most = np.maximum(low, by[number].low), np.minimum(high, by[number].high)
                if by is forced:
                    narrowed[(least != low) | (most != high)] = True
                possible[least > most] = False
                low, high = least, np.maximum(least, most)
        return low, high

    at = tuple(sorted({*forced, *(chosen or {})}))
    following, told = _scan_function(program, at, wanted)(known.slots, inputs, force)
    shape = possible.shape
    slots = tuple(
        Range(*(np.broadcast_to(np.asarray(end, bool if slot.boolean else np.int64), shape) for end in ends))
        for slot, ends in zip(program.slots, following, strict=True)
    )
    nodes = {
        number: Range(*(np.broadcast_to(end, shape) for end in ends)) for number, ends in zip(wanted, told, strict=True)
    }
    return Scanned(Known(slots, possible), nodes, narrowed)


Ends = tuple[Any, Any]
ScanFunction = Callable[
    [Sequence[Range], Sequence[Range], Callable[[int, Any, Any], Ends]], tuple[list[Ends], list[Ends]]
]


@lru_cache(maxsize=256)
def _scan_function(program: Program, forced: tuple[int, ...], wanted: tuple[int, ...]) -> ScanFunction:
    """One scan on ranges as a function: (slots, inputs, what forces a node) to (slots afterwards, nodes wanted)."""
    machines = _machines(program)
    lines = ["def scan(slots, inputs, force):"]
    for number, node in enumerate(program.nodes):
        low, high = f"l{number}", f"h{number}"
        if number in machines:
            lines += _moved(program, number, machines[number])
        elif node.op is Op.STATE:
            lines.append(f"{low}, {high} = slots[{node.value}].low, slots[{node.value}].high")
        elif node.op is Op.INPUT:
            lines.append(f"{low}, {high} = inputs[{node.value}].low, inputs[{node.value}].high")
            if not node.boolean:
                lines.append(
                    f"{low}, {high} = clip({low}, {node.low}, {node.high}), clip({high}, {node.low}, {node.high})"
                )
        else:
            lines.append(f"{low}, {high} = {_ends(node, [f'l{a}' for a in node.args], [f'h{a}' for a in node.args])}")
        if number in forced:
            lines.append(f"{low}, {high} = force({number}, {low}, {high})")
    slots = ", ".join(f"(l{slot.next}, h{slot.next})" for slot in program.slots)
    told = ", ".join(f"(l{number}, h{number})" for number in wanted)
    lines.append(f"return [{slots}], [{told}]")
    names: dict[str, Any] = {"minimum": np.minimum, "maximum": np.maximum, "where": np.where, "clip": np.clip}
    names |= {"yes": np.True_, "no": np.False_}
    exec(compile("\n    ".join(lines), "<ranges>", "exec"), names)  # our own numbers only
    found: ScanFunction = names["scan"]
    return found


def _ends(node: Node, lows: Sequence[str], highs: Sequence[str]) -> str:
    """A node's least and greatest value from those of its arguments."""
    match node.op:
        case Op.CONST:
            value = ("no", "yes")[node.value] if node.boolean else str(node.value)
            return f"{value}, {value}"
        case Op.NOT:
            return f"~{highs[0]}, ~{lows[0]}"
        case Op.AND:
            return f"{' & '.join(lows)}, {' & '.join(highs)}"
        case Op.OR:
            return f"{' | '.join(lows)}, {' | '.join(highs)}"
        case Op.MIN | Op.MAX:
            how = "minimum" if node.op is Op.MIN else "maximum"
            return f"{how}({lows[0]}, {lows[1]}), {how}({highs[0]}, {highs[1]})"
        case Op.ADD:
            return f"{lows[0]} + {lows[1]}, {highs[0]} + {highs[1]}"
        case Op.SCALE:
            ends = (lows[0], highs[0]) if node.value >= 0 else (highs[0], lows[0])
            return f"{ends[0]} * {node.value}, {ends[1]} * {node.value}"
        case Op.AT_MOST:
            return f"{highs[0]} <= {lows[1]}, {lows[0]} <= {highs[1]}"
        case Op.EQUAL:
            same = f"({lows[0]} == {highs[0]}) & ({lows[1]} == {highs[1]}) & ({lows[0]} == {lows[1]})"
            return f"{same}, ({lows[0]} <= {highs[1]}) & ({lows[1]} <= {highs[0]})"
        case Op.SELECT:
            (always, a, b), (may, c, d) = lows, highs
            low = f"where({always}, {a}, where({may}, minimum({a}, {b}), {b}))"
            return f"{low}, where({always}, {c}, where({may}, maximum({c}, {d}), {d}))"
        case Op.INPUT | Op.STATE:
            raise AssertionError(f"{node.op} has no arguments")


@dataclass(frozen=True, slots=True)
class _Machine:
    """The nodes that lead from a rule's level, in `slot`, to its level after a scan, in order."""

    slot: int
    nodes: tuple[int, ...]


def _machines(program: Program) -> Mapping[int, _Machine]:
    """By the node of the level after a scan. A machine moves a higher level to one that is not lower, whatever it sees
    (`logic/levels.py`): so the ends of a range go to the ends of the next, which ranges alone could not know."""
    found: dict[int, _Machine] = {}
    own = {slot.next: i for i, slot in enumerate(program.slots) if slot.kind is SlotKind.LEVEL}
    for last, slot in own.items():
        depends: set[int] = set()
        for number, node in enumerate(program.nodes[: last + 1]):
            if (node.op is Op.STATE and node.value == slot) or not depends.isdisjoint(node.args):
                depends.add(number)
        wanted, waiting = set(), [last]
        while waiting:
            number = waiting.pop()
            if number in depends and number not in wanted:
                wanted.add(number)
                waiting.extend(program.nodes[number].args)
        if wanted:
            found[last] = _Machine(slot, tuple(sorted(wanted)))
    return found


def _moved(program: Program, last: int, machine: _Machine) -> Iterator[str]:
    """Lines that work a machine out from each end of its level's range by itself."""
    for end, of in (("a", "low"), ("b", "high")):
        for number in machine.nodes:
            node = program.nodes[number]
            names = [f"l{end}{number}", f"h{end}{number}"]
            if node.op is Op.STATE and node.value == machine.slot:
                yield f"{names[0]} = {names[1]} = slots[{machine.slot}].{of}"
                continue
            own = [end if a in machine.nodes else "" for a in node.args]
            lows = [f"l{e}{a}" for e, a in zip(own, node.args, strict=True)]
            highs = [f"h{e}{a}" for e, a in zip(own, node.args, strict=True)]
            yield f"{names[0]}, {names[1]} = {_ends(node, lows, highs)}"
    slot = program.slots[machine.slot]
    yield f"l{last} = clip(minimum(la{last}, lb{last}), {slot.low}, {slot.high})"
    yield f"h{last} = clip(maximum(ha{last}, hb{last}), {slot.low}, {slot.high})"


def lasting(program: Program, known: Known, inputs: Sequence[Range], forced: Forced, scans: int) -> Known:
    """So many scans with the same inputs and the same knowledge. Between two events only counters move: these scans are
    taken in one step (`plan/columns.py` says why they may be)."""
    runs = [counting(program, slot) for slot in program.slots]
    done = 0
    for _ in range(MOST_EVENTS):
        if done >= scans:
            break
        after = scan(program, known, inputs, forced).known
        done += 1
        room = FOREVER
        steps: list[Ends] = []
        for slot, (least, most, highest, lowest), was, now in zip(
            program.slots, runs, known.slots, after.slots, strict=True
        ):
            ends = []
            for before, end in ((was.low, now.low), (was.high, now.high)):
                moving = end != before
                step: Any = 0
                if moving.any():
                    step = 0 if slot.boolean else end - before
                    if slot.boolean:
                        room = 0
                    else:
                        up = (step == 1) & (before >= least) & (end <= most)
                        down = (step == -1) & (before <= highest) & (end >= lowest)
                        each = np.where(up, most - end, np.where(down, end - lowest, np.where(moving, 0, FOREVER)))
                        room = min(room, int(each.min()))
                ends.append(step)
            steps.append((ends[0], ends[1]))
        if (after.possible != known.possible).any():
            room = 0
        if room >= FOREVER:
            return after
        on = min(room, scans - done)
        slots = tuple(
            now if not on or slot.boolean else Range(now.low + low * on, now.high + high * on)
            for slot, now, (low, high) in zip(program.slots, after.slots, steps, strict=True)
        )
        known = Known(slots, after.possible)
        done += on
    return known
