"""A claim's scans as constrained Horn clauses, for z3's Spacer: the states that power-up leads to, as a fixed point.

A. Komuravelli, A. Gurfinkel, S. Chaki, SMT-based model checking for recursive programs, CAV 2014.
"""

from __future__ import annotations

from enum import Enum

import z3

from interlock.scheme.model import Claim, Scheme
from tests.support.z3_parts import Dial, Formula, Memory, Plan, at_start, memory_at
from tests.support.z3_scan import Scan

_SECONDS = 20


class Half(Enum):
    """What a scan is asked for: that the conditions hold, that the path may do what it must not, or both."""

    MET = "met"
    MAY = "may"
    BAD = "bad"


def of_scan(scan: Scan, half: Half) -> Formula:
    """That a scan is so."""
    match half:
        case Half.MET:
            return scan.met
        case Half.MAY:
            return scan.may
        case Half.BAD:
            return z3.And(scan.met, scan.may)


def can_run(scheme: Scheme, claim: Claim, plan: Plan, half: Half, scans: int) -> bool | None:
    """Whether that many consecutive scans can be so, over all behaviours; None: not told in time."""
    memories: dict[str, Memory] = {}
    scan = Scan(scheme, claim, plan, 0, memories)
    now, after = _flat(memories, 0), _flat(memories, 1)
    run, longer = ([z3.Bool(f"run of {k + 1}@{i}") for k in range(scans)] for i in (0, 1))
    so = of_scan(scan, half)
    counted = [new == z3.And(so, old) for new, old in zip(longer, [z3.BoolVal(True), *run[:-1]], strict=True)]
    body = z3.And(*scan.constraints, *counted)
    reach = z3.Function("reach", *(x.sort() for x in (*now, *run)), z3.BoolSort())
    found = z3.Function("found", z3.BoolSort())
    horn = z3.Fixedpoint()
    horn.set(engine="spacer", timeout=_SECONDS * 1000)
    horn.register_relation(reach)
    horn.register_relation(found)
    horn.declare_var(*{x.get_id(): x for x in (*now, *run, *after, *longer, *_constants(body))}.values())
    start = [f for name, memory in memories.items() for f in at_start(name, memory, 0)]
    horn.rule(reach(*now, *run), z3.And(*start, *(z3.Not(r) for r in run)))
    horn.rule(reach(*after, *longer), [reach(*now, *run), body])
    horn.rule(found(), [reach(*now, *run), run[-1]])
    try:
        answer = horn.query(found())
    except z3.Z3Exception as error:
        if "canceled" in str(error):
            return None
        raise
    return None if answer == z3.unknown else bool(answer == z3.sat)


def _flat(memories: dict[str, Memory], i: int) -> list[Formula]:
    """All memories before scan i, as plain variables."""
    flat: list[Formula] = []
    for name, memory in memories.items():
        value = memory_at(name, memory, i)
        flat += value if isinstance(memory, Dial) else [value]
    return flat


def _constants(formula: Formula) -> list[Formula]:
    """The constants that stand in a formula."""
    seen: set[int] = set()
    found: list[Formula] = []
    waiting = [formula]
    while waiting:
        one = waiting.pop()
        if one.get_id() not in seen:
            seen.add(one.get_id())
            if z3.is_const(one) and one.decl().kind() == z3.Z3_OP_UNINTERPRETED:
                found.append(one)
            waiting += one.children()
    return found
