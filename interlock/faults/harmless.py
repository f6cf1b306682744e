"""Faults that are proved to change no running path in any behaviour, alone or with any one other fault.

What may run and what may be stopped are worked out from circuits that follow every rule. A fault that none of them asks
about leaves them as they are. Beside another fault the circuits may ask about other parts, but only where that fault
sends a question elsewhere, and only an exchange of two parts does: every other mode replaces what a part does by a
constant, its opposite or its last state, at most leaving questions out. So it is enough to ask the healthy circuits,
and those under each exchange.
"""

from __future__ import annotations

from interlock.faults.support import Support, support
from interlock.proof.components import EVERYTHING
from interlock.proof.goal import Goal, Moves
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.words import MODES, Mode


def harmless(index: Index) -> frozenset[str]:
    """The catalogue's faults that are proved to be harmless, by name."""
    scheme = index.scheme
    asked = _asked(index, FaultPlan.of(()))
    for fault in scheme.faults.values():
        if asked.touches(fault) and _redirects(fault, asked):
            try:
                asked |= _asked(index, FaultPlan.of([fault]))
            except LoopError:
                continue
    return frozenset(name for name, fault in scheme.faults.items() if not asked.touches(fault))


def _asked(index: Index, plan: FaultPlan) -> Support:
    found = Support()
    for path in _ends(index.scheme):
        for moves in (Moves.RUN, Moves.STOP):
            found |= support(index, Goal(moves, path), plan, EVERYTHING)
    return found


def _ends(scheme: Scheme) -> list[str]:
    """The paths that no other is behind: what lies before them is asked about with them."""
    before = {p.behind for p in scheme.paths.values()}
    return [name for name in scheme.paths if name not in before]


def _redirects(fault: Fault, asked: Support) -> bool:
    """Whether an exchange sends a question to a part about which not all was asked yet."""
    return any(
        (mode, part) not in asked.questions
        for single in fault.single()
        if single.mode is Mode.SWAPPED
        for part in single.parts
        for mode in MODES[single.part]
    )
