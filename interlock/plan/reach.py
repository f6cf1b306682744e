"""Which sights a fault can change at all: those that two compiled programs do not work out in the same way."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.logic.faultset import FaultSet
from interlock.logic.program import Op, Program
from interlock.plan.sights import Sight, cut, observed

_ANY_ORDER = frozenset({Op.AND, Op.OR, Op.ADD, Op.EQUAL, Op.MIN, Op.MAX})


def touched(healthy: Program, faulty: Program, looked_at: Sequence[Sight], faults: FaultSet) -> tuple[Sight, ...]:
    """The sights that may differ. Those left out are the same at every scan of every run.

    Nodes of both programs are put into classes, first all slots of one name together, then apart as long as what they
    are given for the next scan is not in one class (the coarsest partition that is stable: nodes of one class have
    the same value as long as all inputs are the same).
    """
    slots = {key: n for n, key in enumerate(dict.fromkeys(k for p in (healthy, faulty) for k in _slots(p)))}
    of = [[slots[key] for key in _slots(p)] for p in (healthy, faulty)]
    while True:
        table: dict[tuple[object, ...], int] = {}
        nodes = [_classes(p, classes, table) for p, classes in zip((healthy, faulty), of, strict=True)]
        finer: dict[tuple[int, int], int] = {}
        before = len({c for classes in of for c in classes})
        of = [
            [finer.setdefault((c, classes[slot.next]), len(finer)) for c, slot in zip(old, program.slots, strict=True)]
            for program, classes, old in zip((healthy, faulty), nodes, of, strict=True)
        ]
        if len(finer) == before:
            break
    told = [
        {(o.kind, o.name): classes[o.node] for o in program.observations}
        for program, classes in zip((healthy, faulty), nodes, strict=True)
    ]

    def differs(sight: Sight) -> bool:
        pairs = zip(observed([sight], FaultSet()), observed([sight], faults), strict=True)
        return any(told[0][one] != told[1][other] for one, other in pairs) or cut(sight, faults)

    return tuple(filter(differs, looked_at))


def _slots(program: Program) -> list[tuple[object, ...]]:
    return [(s.kind, s.name, s.unit, s.low, s.high, s.initial) for s in program.slots]


def _classes(program: Program, slots: Sequence[int], table: dict[tuple[object, ...], int]) -> list[int]:
    found: list[int] = []
    for node in program.nodes:
        match node.op:
            case Op.STATE:
                key: tuple[object, ...] = (Op.STATE, slots[node.value])
            case Op.INPUT:
                key = (Op.INPUT, program.inputs[node.value])
            case op:
                args = [found[a] for a in node.args]
                key = (op, node.value, node.boolean, *(sorted(args) if op in _ANY_ORDER else args))
        found.append(table.setdefault(key, len(table)))
    return found
