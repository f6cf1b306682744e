"""How long rules go by an input after it is as at rest again: delays along chains of rules, by the compiled scheme."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interlock.logic.compiled import compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.logic.program import InputKind, Op, Program, SlotKind
from interlock.plan.sights import Sight, observed
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import LineForm


def chains(scheme: Scheme, active: Mapping[str, bool]) -> dict[str, int]:
    """For each sensor and external line the longest chain of delays of the rules that go by it, each by the one before,
    in scans. `active`: which rules are tripped at rest. Round trips are counted once."""
    external = (n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL)
    return _longest(scheme, (*scheme.sensors, *external), active)


def tails(scheme: Scheme) -> dict[str, int]:
    """For each rule, sensor and external line the longest chain of delays of the rules that go by it, each by the one
    before, in scans, whichever way they go."""
    external = (n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL)
    return _longest(scheme, (*scheme.rules, *scheme.sensors, *external), {})


def _longest(scheme: Scheme, names: Sequence[str], active: Mapping[str, bool]) -> dict[str, int]:
    program = compile_scheme(scheme)
    levels = {slot.next: slot.name for slot in program.slots if slot.kind is SlotKind.LEVEL}
    by_rule = {slot.name: _goes_by(program, slot.next, levels) for slot in program.slots if slot.kind is SlotKind.LEVEL}
    after: dict[str, list[str]] = {}
    for rule, sources in by_rule.items():
        for name in sources:
            after.setdefault(name, []).append(rule)
    delays = {name: _back(rule, active.get(name)) for name, rule in scheme.rules.items()}
    known: dict[str, int] = {}
    passing: set[str] = set()

    def longest(name: str) -> int:
        if name not in known:
            passing.add(name)
            beyond = (delays[rule] + longest(rule) for rule in after.get(name, ()) if rule not in passing)
            known[name] = max(beyond, default=0)
            passing.discard(name)
        return known[name]

    return {name: longest(name) for name in names}


def _goes_by(program: Program, root: int, levels: Mapping[int, str]) -> set[str]:
    """The rules, sensors and external lines by which a rule goes, with no other rule between."""
    found: set[str] = set()
    seen: set[int] = set()
    waiting = list(program.nodes[root].args)
    while waiting:
        number = waiting.pop()
        if number in seen:
            continue
        seen.add(number)
        node = program.nodes[number]
        if number in levels:
            found.add(levels[number])
        elif node.op is Op.STATE:
            slot = program.slots[node.value]
            if slot.kind is SlotKind.LEVEL:
                found.add(slot.name)
            else:
                waiting.append(slot.next)
        elif node.op is Op.INPUT and program.inputs[node.value].kind in (InputKind.ELEMENT, InputKind.LINE):
            found.add(program.inputs[node.value].name)
        else:
            waiting.extend(node.args)
    return found


def reached(program: Program, looked_at: Sequence[Sight]) -> dict[Sight, frozenset[str]]:
    """The rules on whose levels each sight depends, at this scan or through the scans before."""
    levels = {slot.next: slot.name for slot in program.slots if slot.kind is SlotKind.LEVEL}
    found: list[frozenset[str]] = [frozenset()] * len(program.nodes)
    slots: list[frozenset[str]] = [
        frozenset({slot.name}) if slot.kind is SlotKind.LEVEL else frozenset() for slot in program.slots
    ]
    while True:
        for number, node in enumerate(program.nodes):
            own = frozenset({levels[number]}) if number in levels else frozenset()
            before = slots[node.value] if node.op is Op.STATE else frozenset()
            found[number] = frozenset().union(own, before, *(found[a] for a in node.args))
        following = [found[slot.next] for slot in program.slots]
        if following == slots:
            break
        slots = following
    told = {(o.kind, o.name): found[o.node] for o in program.observations}
    return {s: frozenset().union(*(told[key] for key in observed([s], FaultSet()))) for s in looked_at}


def _back(rule: Rule, active: bool | None) -> int:
    """The scans after which a rule is as at rest, what it goes by being so."""
    if active is None:
        return max(rule.trips.delay.scans, rule.clears.delay.scans)
    return (rule.trips if active else rule.clears).delay.scans
