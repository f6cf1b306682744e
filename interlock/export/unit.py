"""One unit of a scheme ready to be written in another language: its program, cut into parts that trace to names."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from interlock.export.steps import Steps, in_steps
from interlock.logic.builder import Builder
from interlock.logic.lower import compile_scheme
from interlock.logic.program import InputKind, Observe, Op, Program, Slot, SlotKind
from interlock.logic.rebuild import remade
from interlock.scheme.model import Scheme
from interlock.scheme.words import Signal, Word

VALUE = (Observe.VALID, Observe.NUMERATOR, Observe.DENOMINATOR)


class About(Word):
    """What a part of the step works out."""

    SENSOR = "sensor"
    READING = "reading"
    RULE = "rule"
    LINE = "line"
    EFFECT = "effect"  # whether a rule's effects are in force, and its alarm
    OUTPUT = "output"
    MEMORY = "memory"


@dataclass(frozen=True, slots=True)
class Part:
    """Nodes worked out for one thing, in an order in which each stands after its arguments; earlier parts may have
    worked out some of what it needs."""

    about: About
    name: str
    nodes: tuple[int, ...]


class NothingToDoError(ValueError):
    """The unit has no rules and no outputs."""


class TooWideError(ValueError):
    """The scheme's numbers need more than 64 bits."""


@dataclass(frozen=True)
class UnitCode:
    """What is written for one unit. `file` is how comments name the scheme's file."""

    scheme: Scheme
    unit: str
    steps: Steps
    program: Program
    file: str

    @property
    def sensors(self) -> tuple[str, ...]:
        """The sensors it reads, in the scheme's order."""
        return tuple(i.name for i in self.program.inputs if i.kind is InputKind.ELEMENT)

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines that arrive at it, in the scheme's order."""
        return tuple(i.name for i in self.program.inputs if i.kind is InputKind.LINE)

    @property
    def outputs(self) -> tuple[str, ...]:
        """Its outputs, in the scheme's order."""
        return tuple(o.name for o in self.program.observations if o.kind is Observe.ENERGISED)

    @property
    def sent(self) -> tuple[str, ...]:
        """The lines it sends, in the scheme's order."""
        return tuple(o.name for o in self.program.observations if o.kind is Observe.LINE)

    @property
    def alarms(self) -> tuple[str, ...]:
        """Its rules that raise an alarm, in the scheme's order."""
        return tuple(o.name for o in self.program.observations if o.kind is Observe.ALARM)

    @property
    def told(self) -> tuple[tuple[Observe, str], ...]:
        """Everything a step tells: outputs, then sent lines, then alarms."""
        groups = ((Observe.ENERGISED, self.outputs), (Observe.LINE, self.sent), (Observe.ALARM, self.alarms))
        return tuple((kind, name) for kind, names in groups for name in names)

    @cached_property
    def bits(self) -> int:
        """Width of its integers: 32 where they do, else 64. Raises TooWideError where that is not enough either."""
        for bits in (32, 64):
            if all(-(2 ** (bits - 1)) < n.low and n.high < 2 ** (bits - 1) for n in self.program.nodes):
                return bits
        raise TooWideError(
            f"{self.unit}: its readings need more than 64 bits: narrow the valid ranges of its sensors, or do without "
            "steps of a millionth"
        )

    @cached_property
    def fingerprint(self) -> int:
        """32 bits that change with the rules: what was kept under other rules is not believed (CRC-32, ISO-HDLC)."""
        program = self.program
        return zlib.crc32(repr((program.nodes, program.slots, program.inputs, program.observations)).encode())

    @cached_property
    def kept(self) -> tuple[int, ...]:
        """The slots that a power cycle must not lose: those that the scan after it still looks at."""
        return tuple(sorted(_seen_when_cycled(self.program)))

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """All that a step works out, in order."""
        return tuple(_parts(self))


def unit_code(scheme: Scheme, unit: str, file: str, *, exact: bool = False) -> UnitCode:
    """What is to be written for a unit. Raises NothingToDoError where it has nothing to do."""
    steps = in_steps(scheme, exact=exact)
    rules = [rule for rule in scheme.rules.values() if rule.unit == unit]
    outputs = [output.name for output in scheme.outputs.values() if output.unit == unit]
    if not rules and not outputs:
        raise NothingToDoError(f"{unit} has no rules and no outputs: there is nothing to write for it")
    wanted = {(Observe.LEVEL, rule.name) for rule in rules} | {(Observe.IN_FORCE, rule.name) for rule in rules}
    watched = {rule.watched for rule in rules if rule.watches in (Signal.SENSOR, Signal.READING)}
    watched |= {s for name in watched if name in scheme.readings for s in scheme.readings[name].sensors}
    wanted |= {(kind, name) for name in watched for kind in VALUE}
    wanted |= {(Observe.ALARM, rule.name) for rule in rules if rule.alarm}
    wanted |= {(Observe.ENERGISED, name) for name in outputs}
    wanted |= {(Observe.LINE, line.name) for line in scheme.lines.values() if line.form.sent and line.unit == unit}
    program = compile_scheme(steps.scheme, unit=unit, cycles=True)
    return UnitCode(scheme, unit, steps, _without_idle(program.restricted(wanted)), file)


_NAMED_ONLY = frozenset({*VALUE, Observe.IN_FORCE})  # observed for its name: a variable where something depends on it


def _without_idle(program: Program) -> Program:
    """Without what is observed for its name alone and nothing depends on."""
    told = [(o.kind, o.name) for o in program.observations if o.kind not in _NAMED_ONLY]
    live: set[int] = set()
    reached = [o.node for o in program.observations if o.kind not in _NAMED_ONLY]
    while reached:
        number = reached.pop()
        if number not in live:
            live.add(number)
            node = program.nodes[number]
            reached += [*node.args, *([program.slots[node.value].next] if node.op is Op.STATE else [])]
    named = [(o.kind, o.name) for o in program.observations if o.kind in _NAMED_ONLY and o.node in live]
    return program.restricted([*told, *named])


def slot_name(slot: Slot) -> tuple[str, ...]:
    """The words that name a slot."""
    match slot.kind:
        case SlotKind.LEVEL:
            return (slot.name,)
        case SlotKind.OVERRIDE:
            return (slot.name, "override")
        case SlotKind.SEEN_OFF:
            return (slot.name, "was_off")
        case SlotKind.ON:
            return (slot.name, "was_on")
        case kind:
            raise AssertionError(f"a unit without faults keeps no {kind}")


def _seen_when_cycled(program: Program) -> set[int]:
    """The slots on which a scan depends at which the unit powers up, found by working the program out for that scan."""
    b = Builder()
    at = remade(
        b,
        program,
        lambda _b, _number, made: made,
        lambda b, declared: b.true if declared.kind is InputKind.CYCLE else b.input(declared),
    )
    old = [node.value for node in program.nodes if node.op is Op.STATE]
    reached = [at[o.node] for o in program.observations] + [at[slot.next] for slot in program.slots]
    live: set[int] = set()
    while reached:
        number = reached.pop()
        if number not in live:
            live.add(number)
            reached.extend(b.nodes[number].args)
    return {old[b.nodes[n].value] for n in live if b.nodes[n].op is Op.STATE}


def _parts(code: UnitCode) -> Iterator[Part]:
    program, scheme = code.program, code.scheme
    node_of = {(o.kind, o.name): o.node for o in program.observations}
    done: set[int] = set()

    def part(about: About, name: str, roots: Iterable[int]) -> Iterator[Part]:
        new: set[int] = set()
        reached = list(roots)
        while reached:
            number = reached.pop()
            if number not in done and number not in new:
                new.add(number)
                reached.extend(program.nodes[number].args)
        done.update(new)
        yield Part(about, name, tuple(sorted(new)))

    for name in (*scheme.sensors, *scheme.readings):
        if any((kind, name) in node_of for kind in VALUE):
            about = About.SENSOR if name in scheme.sensors else About.READING
            yield from part(about, name, [node_of[kind, name] for kind in VALUE if (kind, name) in node_of])
    for name in scheme.order:
        if (Observe.LEVEL, name) in node_of:
            yield from part(About.RULE, name, [node_of[Observe.LEVEL, name]])
    for name in code.sent:
        yield from part(About.LINE, name, [node_of[Observe.LINE, name]])
    for name in scheme.rules:
        if name in code.program.levels and scheme.rules[name].unit == code.unit:
            roots = [node_of[k, name] for k in (Observe.IN_FORCE, Observe.ALARM) if (k, name) in node_of]
            roots += [s.next for s in program.slots if s.kind is SlotKind.OVERRIDE and s.name == name]
            yield from part(About.EFFECT, name, roots)
    for name in code.outputs:
        yield from part(About.OUTPUT, name, [node_of[Observe.ENERGISED, name]])
    yield from part(About.MEMORY, "", [slot.next for slot in program.slots])
