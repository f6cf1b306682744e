"""What would show a fault without anyone looking for it: the alarm of a rule.

A fault raises an alarm for certain where, once it is there, the alarm can't stay silent for ever in any behaviour,
whatever the onset and whatever came before; without the fault it can. It raises one tellingly where without any fault
the alarm can never sound, the monitor of something that should never happen, and with the fault it can. An alarm sounds
while its rule is in force and its unit is neither dead nor frozen. What is not decided counts as not raised.
"""

from __future__ import annotations

from collections.abc import Iterator

from interlock.faults.support import support
from interlock.proof.cells import UnsupportedError
from interlock.proof.components import EVERYTHING
from interlock.proof.decide import ENDLESS, Answer, Decider
from interlock.proof.goal import Goal, Heard, of_alarm
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan
from interlock.scheme.model import Fault
from interlock.scheme.order import LoopError

BUDGET = 80  # zones: what raises an alarm does so at once, and there are many to be asked
SCANS = 3_000  # looked at for a real run in which an alarm sounds


def alarms_raised(index: Index, budget: int = BUDGET) -> dict[str, tuple[str, ...]]:
    """For each fault of the catalogue the rules whose alarm it raises, in the scheme's order; without those that raise
    none."""
    raised: dict[str, tuple[str, ...]] = {}
    for rule in (rule.name for rule in index.scheme.rules.values() if rule.alarm):
        for goal, fault in _asked(index, rule, budget):
            if _raised(index, goal, fault, budget):
                raised[fault.name] = (*raised.get(fault.name, ()), rule)
    return raised


def _asked(index: Index, rule: str, budget: int) -> Iterator[tuple[Goal, Fault]]:
    """The faults that can raise a rule's alarm, with what they are asked about: only a fault that the circuit without
    any asks about can change the answer."""
    sounds, silent, healthy = of_alarm(rule, Heard.SOUNDS), of_alarm(rule, Heard.SILENT), FaultPlan.of(())
    never = _answer(index, sounds, healthy, budget, 0)
    if never is None:
        return
    if never.upper == 0:
        goal, known = sounds, never.abstraction
    elif _endless(_answer(index, silent, healthy, budget, ENDLESS - 1)):
        goal, known = silent, EVERYTHING
    else:
        return
    near = support(index, goal, healthy, known)
    yield from ((goal, fault) for fault in index.scheme.faults.values() if near.touches(fault))


def _raised(index: Index, goal: Goal, fault: Fault, budget: int) -> bool:
    plan = FaultPlan.of([fault])
    try:
        if goal.heard is Heard.SILENT:
            answer = _answer(index, goal, plan, budget, ENDLESS - 1)
            return answer is not None and answer.upper < ENDLESS
        answer = _answer(index, goal, plan, budget, 0)
        return answer is not None and answer.lower > 0
    except (LoopError, ValueError):
        return False


def _endless(answer: Answer | None) -> bool:
    return answer is not None and answer.lower == ENDLESS


def _answer(index: Index, goal: Goal, plan: FaultPlan, budget: int, enough: int) -> Answer | None:
    """How long the alarm can go on so; only whether that is longer than `enough` matters. None where it is not
    decided."""
    decider = Decider(index, goal, plan, budget, 0)
    try:
        answer = decider.answer(enough)
        if goal.heard is Heard.SOUNDS:
            answer = decider.violated(answer, enough, SCANS)
    except UnsupportedError:
        return None
    return answer if answer.upper <= enough or answer.lower > enough else None
