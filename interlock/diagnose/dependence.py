"""What of all that can be seen depends on which fault: whatever else is wrong, the rest can't be changed by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.logic.faultset import FaultSet
from interlock.logic.program import InputKind, Op, Program, setting_name
from interlock.plan.predict import stands
from interlock.plan.sights import SightKind, observed, sights
from interlock.plan.wrong import Slip, Wrong
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Mode, Part


class Dependence:
    """For each of what may be wrong, the names of the sights that depend on it while anything else may be wrong too.

    Two of them are judged `together` where one compiled scheme has both as inputs.
    """

    def __init__(self, scheme: Scheme, wrongs: Sequence[Wrong]) -> None:
        self._group: dict[Wrong, int] = {}
        self._names: dict[Wrong, dict[str, bool]] = {}
        looked_at = sights(scheme)
        for number, (stand, members) in enumerate(stands(scheme, [(w,) for w in wrongs], looked_at)):
            own = [wrongs[m] for m in members]
            feeds = _feeds(own)
            for wrong in own:
                self._group[wrong] = number
                self._names[wrong] = {}
            reached = _reached(stand.program)
            of = {(o.kind, o.name): reached[o.node] for o in stand.program.observations}
            for sight in looked_at:
                fed_by = [sight.name, *feeds.get(sight.name, ())] if sight.kind is SightKind.DEVICE else [sight.name]
                inputs: set[str] = set()
                for name in fed_by:
                    for kind, _ in observed([sight], FaultSet()):
                        inputs |= of.get((kind, name), frozenset())
                for wrong in own:
                    if _input(wrong) in inputs or _at_the_wire(wrong, sight.kind, fed_by):
                        self._names[wrong][sight.name] = True

    def of(self, wrong: Wrong) -> Mapping[str, bool]:
        """The names of the sights that depend on it."""
        return self._names[wrong]

    def together(self, one: Wrong, other: Wrong) -> bool:
        """Whether what was worked out for each holds beside the other."""
        return self._group[one] == self._group[other]


def _input(wrong: Wrong) -> str:
    return wrong.name if isinstance(wrong, Fault) else setting_name(wrong.rule, wrong.setting)


def _feeds(wrongs: Sequence[Wrong]) -> dict[str, set[str]]:
    """For each output those whose contacts may be exchanged with its own."""
    found: dict[str, set[str]] = {}
    for wrong in wrongs:
        for single in wrong.single() if isinstance(wrong, Fault) else ():
            if single.mode is Mode.SWAPPED and single.part is Part.OUTPUT:
                for one, other in (single.parts, single.parts[::-1]):
                    found.setdefault(one, set()).add(other)
    return found


def _at_the_wire(wrong: Wrong, kind: SightKind, fed_by: Sequence[str]) -> bool:
    """What changes a device's own input behind the contact: a broken wire, or the contact of another output."""
    if kind is not SightKind.DEVICE or isinstance(wrong, Slip):
        return False
    modes = (Mode.WIRE_BROKEN, Mode.SWAPPED)
    return any(
        s.mode in modes and s.part is Part.OUTPUT and not set(s.parts).isdisjoint(fed_by) for s in wrong.single()
    )


def _reached(program: Program) -> list[frozenset[str]]:
    """For each node the faults and settings on which it depends, at this scan or through the scans before."""
    found: list[frozenset[str]] = [frozenset()] * len(program.nodes)
    slots: list[frozenset[str]] = [frozenset()] * len(program.slots)
    while True:
        for number, node in enumerate(program.nodes):
            if node.op is Op.STATE:
                found[number] = slots[node.value]
            elif node.op is Op.INPUT:
                declared = program.inputs[node.value]
                own = declared.kind in (InputKind.FAULT, InputKind.SETTING)
                found[number] = frozenset({declared.name}) if own else frozenset()
            else:
                found[number] = frozenset().union(*(found[a] for a in node.args))
        following = [found[slot.next] for slot in program.slots]
        if following == slots:
            return found
        slots = following
