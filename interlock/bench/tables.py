"""A compiled program as plain data, for `machine.js`: whole millionths throughout, as everywhere else."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable

from interlock.bench.words import Words
from interlock.logic.compiled import compile_scheme
from interlock.logic.program import Op, Program
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.units import value_text

Plain = dict[str, object]

# A browser counts in doubles: whole numbers up to here are exact (ECMA-262, Number.MAX_SAFE_INTEGER).
SAFE = 2**53 - 1
OPS = tuple(Op)


class TooWideError(ValueError):
    """A scheme whose values are so large that a browser would round them."""


def installation(scheme: Scheme) -> tuple[Program, tuple[Fault, ...]]:
    """The whole scheme with every fault of its catalogue as an input, those that only its cases plant too, and the
    faults that are.

    Exchanges of lines that no common order of the rules can serve are left out, the last of the catalogue first.
    """
    in_cases = [fault for case in scheme.cases for step in case.steps for fault in step.faults]
    faults = list({fault.name: fault for fault in (*scheme.faults.values(), *in_cases)}.values())
    while True:
        try:
            return compile_scheme(scheme, faults, switched=True, swaps=True, cycles=True), tuple(faults)
        except LoopError:
            exchanges = [f for f in faults if f.exchanges_lines]
            if not exchanges:
                raise
            faults.remove(exchanges[-1])


def program_table(program: Program) -> Plain:
    """Nodes as [operator, value, arguments…], inputs, slots, observations and the coding of each rule's levels.

    Raises TooWideError where a value may be beyond what a browser counts exactly.
    """
    for node in program.nodes:
        if max(abs(node.low), abs(node.high), abs(node.value)) > SAFE:
            widest = max(
                (i for i in program.inputs if not i.boolean), key=lambda i: max(abs(i.low), abs(i.high)), default=None
            )
            at = f": {widest.name} may read up to {max(abs(widest.low), abs(widest.high)) // 10**6}" if widest else ""
            raise TooWideError(
                f"the page counts exactly up to {SAFE // 10**6} base units, and sums or multiples of this scheme's "
                f"readings may be larger{at}; give sensors the valid range that their inputs really have"
            )
    place = {op: i for i, op in enumerate(OPS)}
    return {
        "ops": [str(op) for op in OPS],
        "nodes": [[place[n.op], n.value, *n.args] for n in program.nodes],
        "inputs": [[str(i.kind), i.name, i.low, i.high, list(i.singles)] for i in program.inputs],
        "slots": [[str(s.kind), s.name, s.initial, s.next, s.unit] for s in program.slots],
        "told": [[str(o.kind), o.name, o.node] for o in program.observations],
        "levels": {name: [x.trip_scans, x.clear_scans] for name, x in program.levels.items()},
    }


def mark(table: Plain) -> str:
    """A short digest of a table: a link to a setting says with it for which scheme it is."""
    return hashlib.sha256(json.dumps(table, sort_keys=True).encode()).hexdigest()[:8]


def shifts(fault: Fault) -> tuple[int, ...]:
    """By how much a drifted or misplaced sensor can read wrong at its worst, one way and the other, in millionths:
    where all that it measures has one value. () for any other fault."""
    found: dict[int, None] = {}
    for single in fault.single():
        if single.error:
            ends = max(e.interval.low for e in single.error), min(e.interval.high for e in single.error)
            found.update((end, None) for end in ends if end)
    return tuple(found)


def shift_words(scheme: Scheme, words: Words, sensor: str, shift: int) -> str:
    """`reads 6 K too low`."""
    kind = scheme.sensors[sensor].kind
    return words["shift_high" if shift > 0 else "shift_low"].format(value=value_text(abs(shift), kind, difference=True))


def shifted(fault: Fault) -> Iterable[str]:
    """The sensors that a fault of drift or place is about."""
    return [single.parts[0] for single in fault.single() if single.error]
