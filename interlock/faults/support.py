"""What a verdict rests on: the questions that building its abstract system asked of the fault set.

A claim was shown to hold on a circuit that was built for a set of faults. Whatever another fault does can only enter
through a question that was asked while it was built: is this part in that mode, whose place does it look at, may its
unit freeze or be power-cycled, what does this sensor's element give. A set of further faults none of which was asked
about gives the same circuit again, scan by scan and whatever their onsets, so the claim holds with it as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from interlock.logic.faultset import FaultSet
from interlock.proof.circuit import Circuit
from interlock.proof.components import Abstraction, Layout
from interlock.proof.goal import Goal
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan, circuits_of
from interlock.scheme.model import Fault, Rule, Scheme
from interlock.scheme.words import MODES, Mode, Part, Signal

Question = tuple[Mode, str]  # whether that part is in that mode; of a swap, whether the part takes part in one


@dataclass(frozen=True)
class Support:
    """The questions asked, as (mode, part)."""

    questions: frozenset[Question]

    def touches(self, fault: Fault) -> bool:
        """Whether the fault, or one of a common cause's, would have answered one of the questions."""
        return any((single.mode, part) in self.questions for single in fault.single() for part in single.parts)

    def __or__(self, other: Support) -> Support:
        return Support(self.questions | other.questions)


@dataclass(frozen=True)
class _Listening(FaultSet):
    """A fault set that notes what it is asked."""

    heard: set[Question] = field(default_factory=set, compare=False, repr=False)

    def has(self, mode: Mode, part: str) -> bool:
        self.heard.add((mode, part))
        return super().has(mode, part)

    def source(self, part: Part, name: str) -> str:
        self.heard.add((Mode.SWAPPED, name))
        return super().source(part, name)

    def line_source(self, scheme: Scheme, unit: str, line: str) -> str:
        self.heard.add((Mode.SWAPPED, line))
        return super().line_source(scheme, unit, line)


class _Units(frozenset[str]):
    """The units that a mode may befall at some scan; notes which are looked up."""

    def noting(self, mode: Mode, heard: set[Question]) -> _Units:
        self.mode, self.heard = mode, heard
        return self

    def __contains__(self, unit: object) -> bool:
        self.heard.add((self.mode, str(unit)))
        return super().__contains__(unit)


def support(index: Index, goal: Goal, plan: FaultPlan, abstraction: Abstraction) -> Support:
    """The support of a verdict that was shown on this abstraction under this plan: the circuits are built once more, as
    the search's were, and listened to."""
    heard: set[Question] = set()
    layout = Layout()
    circuits = circuits_of(
        index,
        goal,
        plan,
        abstraction,
        layout,
        fault_set=lambda faults: _Listening(frozenset(faults), heard),
        units=lambda mode, names: _Units(names).noting(mode, heard),
    )
    for circuit in circuits:
        heard.update(_sensor_questions(index.scheme, circuit))
        heard.update(_run_down_questions(index.scheme, circuit.faults, abstraction))
    return Support(frozenset(heard - _free_omissions(circuits, abstraction, layout)))


def _sensor_questions(scheme: Scheme, circuit: Circuit) -> Iterator[Question]:
    """What the cells ask: each input whose element it really looks at, each element how it fares."""
    for slot in circuit.slots:
        if slot[0] == "rule":
            yield from _of_value(scheme, circuit.faults, scheme.rules[str(slot[1])])


def _of_value(scheme: Scheme, faults: FaultSet, rule: Rule) -> Iterator[Question]:
    inputs = (rule.watched,) if rule.watches is Signal.SENSOR else scheme.readings[rule.watched].sensors
    for name in inputs:
        yield Mode.SWAPPED, name
        element = faults.source(Part.SENSOR, name)
        yield from ((mode, element) for mode in MODES[Part.SENSOR])


def _run_down_questions(scheme: Scheme, faults: FaultSet, abstraction: Abstraction) -> Iterator[Question]:
    """What it takes for free rules to run down in a bad run, or to act only with another: all they look at."""
    waiting = [r for s in abstraction.settled for r in s.rules] + [
        r for pair in abstraction.shadows.items() for r in pair
    ]
    seen: set[str] = set()
    while waiting:
        rule = scheme.rules[waiting.pop()]
        if rule.name in seen:
            continue
        seen.add(rule.name)
        yield Mode.OMITTED, rule.name
        yield from ((mode, rule.unit) for mode in MODES[Part.UNIT])
        match rule.watches:
            case Signal.SENSOR | Signal.READING:
                yield from _of_value(scheme, faults, rule)
            case Signal.RULE:
                waiting.append(rule.watched)
            case Signal.LINE | Signal.PATH | Signal.QUANTITY:
                pass
        for read in dict.fromkeys(n for n in (rule.watched, rule.reset_by) if n in scheme.lines):
            wire = faults.line_source(scheme, rule.unit, read)
            yield from ((mode, line) for mode in (*MODES[Part.LINE], Mode.SWAPPED) for line in (read, wire))
            waiting += scheme.lines[wire].rules
            if scheme.lines[wire].unit:
                yield from ((mode, scheme.lines[wire].unit) for mode in MODES[Part.UNIT])


def _free_omissions(circuits: Iterable[Circuit], abstraction: Abstraction, layout: Layout) -> set[Question]:
    """Omissions of rules that are wholly free: such a rule may be inactive at every scan as it is, so its omission adds
    no behaviour. Rules that a component follows, alone or in a group, are not (a group is active at power-up)."""
    followed = {name for key in layout.place for name in key[1:]}
    followed.update(*abstraction.groups)
    free = {use.rule for circuit in circuits for use in circuit.free if abstraction.whole(use.rule)}
    return {(Mode.OMITTED, rule) for rule in free - followed - set(abstraction.fixed)}
