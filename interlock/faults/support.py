"""What a verdict rests on: the questions that building its abstract system asked of the fault set.

A claim was shown to hold on a circuit that was built for a set of faults. Whatever another fault does can only enter
through a question that was asked while it was built: is this part in that mode, whose place does it look at, may its
unit freeze or be power-cycled, what does this sensor's element give. A set of further faults none of which was asked
about gives the same circuit again, scan by scan and whatever their onsets, so the claim holds with it as well.

Nor does every answer hurt. Where a fault can do no more than make signals true, or false, for good, and the bad scan
hangs on each of them one way only, the other way (a broken coil wire, where running is what is bad), all that may
happen with the fault happens in a run without it that is at least as bad: the order of states by which a search leaves
out what another state can do everything for carries over from scan to scan. Such a fault's questions are said to help,
and any number of them together do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from interlock.logic.faultset import FaultSet
from interlock.proof.circuit import Circuit
from interlock.proof.components import Abstraction, Layout, Statement
from interlock.proof.expr import FALSE, TRUE, Expr, constant, var
from interlock.proof.goal import Goal, Resets
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan, circuits_of, take_signs_together
from interlock.scheme.model import Fault, Rule, Scheme
from interlock.scheme.words import MODES, Mode, Part, PowerUp, Signal

Question = tuple[Mode, str]  # whether that part is in that mode; of a swap, whether the part takes part in one


@dataclass(frozen=True)
class Support:
    """The questions asked, as (mode, part), and those of them whose answer could make the claim fail: all others help
    or change nothing."""

    questions: frozenset[Question] = frozenset()
    hurting: frozenset[Question] = frozenset()

    def touches(self, fault: Fault) -> bool:
        """Whether the fault, or one of a common cause's, would have answered one of the questions."""
        return _answers(fault, self.questions)

    def hurts(self, fault: Fault) -> bool:
        """Whether the fault could make the claim fail."""
        return _answers(fault, self.hurting)

    def __or__(self, other: Support) -> Support:
        return Support(self.questions | other.questions, self.hurting | other.hurting)


def _answers(fault: Fault, questions: frozenset[Question]) -> bool:
    return any((single.mode, part) in questions for single in fault.single() for part in single.parts)


@dataclass(frozen=True)
class _Listening(FaultSet):
    """A fault set that notes what it is asked; `only_marked`: what is asked while it is told that this counts apart."""

    heard: set[Question] = field(default_factory=set, compare=False, repr=False)
    only_marked: set[Question] = field(default_factory=set, compare=False, repr=False)
    _ears: list[set[Question]] = field(default_factory=list, compare=False, repr=False)

    @contextmanager
    def apart(self) -> Iterator[None]:
        """What is asked in between counts apart."""
        self._ears.append(self.only_marked)
        yield
        self._ears.pop()

    def _note(self, question: Question) -> None:
        (self._ears[-1] if self._ears else self.heard).add(question)

    def has(self, mode: Mode, part: str) -> bool:
        self._note((mode, part))
        return super().has(mode, part)

    def source(self, part: Part, name: str) -> str:
        self._note((Mode.SWAPPED, name))
        return super().source(part, name)

    def line_source(self, scheme: Scheme, unit: str, line: str) -> str:
        self._note((Mode.SWAPPED, line))
        return super().line_source(scheme, unit, line)


class _Units(frozenset[str]):
    """The units that a mode may befall at some scan; notes which are looked up."""

    def noting(self, mode: Mode, heard: set[Question]) -> _Units:
        self.mode, self.heard = mode, heard
        return self

    def __contains__(self, unit: object) -> bool:
        self.heard.add((self.mode, str(unit)))
        return super().__contains__(unit)


class _Marked(Circuit):
    """A circuit that marks the signals which a mode alone would make true or false for good. It is handed listening
    fault sets, which hear apart what is asked of such signals alone."""

    faults: _Listening

    def __init__(self, *args: Any, **options: Any) -> None:
        self.marks: list[tuple[Question, bool, Expr]] = []  # what is asked, what it would make of the signal
        super().__init__(*args, **options)

    def _unless(self, make: Callable[[], Expr], *by: tuple[Mode, str, bool]) -> Expr:
        for mode, part, value in by:
            with self.faults.apart():
                there = self.faults.has(mode, part)
            if there:
                self.faults.heard.add((mode, part))  # it may arise at another scan
                return constant(value)
        made = make()
        if made[0] not in ("0", "1", "v"):
            name = f"m{len(self.statements)}"
            self.statements.append(Statement(name, made))
            made = var(name)
        self.marks += [((mode, part), value, made) for mode, part, value in by]
        return made

    def _lives(self, rule: str) -> bool:
        # whether a component is worth following where nothing asks for it changes no behaviour
        with self.faults.apart():
            return super()._lives(rule)

    def hurting(self) -> Iterator[Question]:
        """What is asked of marked signals that could make the bad scan likelier; to be asked when signs are known."""
        for question, value, signal in self.marks:
            if signal in (TRUE, FALSE):
                hurts = signal != constant(value)  # the signal is no more, so how the bad scan hangs on it is not known
            else:
                hurts = self.one_sign(str(signal[1])) not in ((2, -1) if value else (2, 1))
            if hurts:
                yield question


def support(index: Index, goal: Goal, plan: FaultPlan, abstraction: Abstraction) -> Support:
    """The support of a verdict that was shown on this abstraction under this plan: the circuits are built once more, as
    the search's were, and listened to."""
    heard: set[Question] = set()
    apart: set[Question] = set()
    layout = Layout()
    circuits = circuits_of(
        index,
        goal,
        plan,
        abstraction,
        layout,
        fault_set=lambda faults: _Listening(frozenset(faults), heard, apart),
        units=lambda mode, names: _Units(names).noting(mode, heard),
        kind=_Marked,
    )
    take_signs_together(circuits)
    for circuit in circuits:
        heard.update(_sensor_questions(index.scheme, circuit, abstraction.loose))
        heard.update(_run_down_questions(index.scheme, circuit.faults, goal, abstraction))
        heard.update(circuit.hurting())
    heard.update(_lasting_questions(index.scheme, abstraction))
    free = _free_omissions(circuits, abstraction, layout)
    return Support(frozenset((heard | apart) - free), frozenset(heard - free))


def _sensor_questions(scheme: Scheme, circuit: Circuit, loose: frozenset[str]) -> Iterator[Question]:
    """What the cells ask: each input whose element it really looks at, each element how it fares, unless it may read
    anything."""
    for slot in circuit.slots:
        if slot[0] == "rule":
            found = _of_value(scheme, circuit.faults, scheme.rules[str(slot[1])])
            yield from ((mode, name) for mode, name in found if mode is Mode.SWAPPED or name not in loose)


def _of_value(scheme: Scheme, faults: FaultSet, rule: Rule) -> Iterator[Question]:
    inputs = (rule.watched,) if rule.watches is Signal.SENSOR else scheme.readings[rule.watched].sensors
    for name in inputs:
        yield Mode.SWAPPED, name
        element = faults.source(Part.SENSOR, name)
        yield from ((mode, element) for mode in MODES[Part.SENSOR])


def _run_down_questions(scheme: Scheme, faults: FaultSet, goal: Goal, abstraction: Abstraction) -> Iterator[Question]:
    """What it takes for free rules to run down in a bad run, or to act only with another: all they look at. A rule
    that is omitted has run down: that is asked only of what others act with, and where rules have to act for some
    time."""
    waiting = [r for s in abstraction.settled for r in s.rules] + [
        r for pair in abstraction.shadows.items() for r in pair
    ]
    yield from ((Mode.OMITTED, over) for over in abstraction.shadows.values())
    lasting = any(s.least for s in abstraction.settled)
    seen: set[str] = set()
    while waiting:
        rule = scheme.rules[waiting.pop()]
        if rule.name in seen:
            continue
        seen.add(rule.name)
        if lasting:
            yield Mode.OMITTED, rule.name
        yield from ((mode, rule.unit) for mode in MODES[Part.UNIT])
        if rule.reset_by and goal.resets is Resets.GIVEN:
            yield from ((mode, rule.reset_by) for mode in (Mode.BROKEN, Mode.SHORTED))
        match rule.watches:
            case Signal.SENSOR | Signal.READING:
                yield from _of_value(scheme, faults, rule)
            case Signal.RULE:
                waiting.append(rule.watched)
            case Signal.LINE:
                wire = faults.line_source(scheme, rule.unit, rule.watched)
                modes = (*MODES[Part.LINE], Mode.SWAPPED)
                yield from ((mode, line) for mode in modes for line in (rule.watched, wire))
                waiting += scheme.lines[wire].rules
                if scheme.lines[wire].unit:
                    yield from ((mode, scheme.lines[wire].unit) for mode in MODES[Part.UNIT])
            case Signal.PATH | Signal.QUANTITY:
                pass


def _lasting_questions(scheme: Scheme, abstraction: Abstraction) -> Iterator[Question]:
    """What it takes for rules followed as one to act from power-up on, and for their clear delays: all are there, and
    nothing clears them by and by."""
    for rule in (scheme.rules[name] for group in abstraction.groups for name in group):
        yield Mode.OMITTED, rule.name
        if rule.power_up is PowerUp.CLEAR:
            yield Mode.POWER_CYCLED, rule.unit


def _free_omissions(circuits: Iterable[Circuit], abstraction: Abstraction, layout: Layout) -> set[Question]:
    """Omissions of rules that are wholly free: such a rule may be inactive at every scan as it is, so its omission adds
    no behaviour. Rules that a component follows, alone or in a group, are not (a group is active at power-up)."""
    followed = {name for key in layout.place for name in key[1:]}
    followed.update(*abstraction.groups)
    free = {use.rule for circuit in circuits for use in circuit.free if abstraction.whole(use.rule)}
    return {(Mode.OMITTED, rule) for rule in free - followed - set(abstraction.fixed)}
