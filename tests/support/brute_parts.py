"""What the brute force knows before any scan: rule machines as numbers, fault sets, what can matter to a claim."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from interlock.scheme.model import Fault, Rule, Scheme
from interlock.scheme.words import Mode, Part, PowerUp, Signal

Array = npt.NDArray[Any]  # numbers or truth values, of shape (S, I), (S, 1), (1, I) or (1, 1)
Key = tuple[str, ...]

# What a rule sees at one scan.
NEITHER, TRIPS, CLEARS, HOLDS, CLEARS_WITH_EDGE = range(5)

NO = np.zeros((1, 1), dtype=bool)
YES = np.ones((1, 1), dtype=bool)


class OutOfReach(Exception):  # noqa: N818 - no error of the scheme: this explorer declines
    """The brute force can't judge this one: too large, or a construct it leaves to others. Never a verdict."""


# --- the rule machine, as numbers


def machine_codes(rule: Rule) -> tuple[int, int, int]:
    """(tripped, awaiting reset, how many codes): 0 clear; then picking up by timer; tripped; dropping off by timer."""
    tripped = rule.trips.delay.scans + 1
    awaiting = tripped + rule.clears.delay.scans + 1
    return tripped, awaiting, awaiting + 1


def machine_table(rule: Rule) -> Array:
    """The next code by code and by what is seen."""
    pick, drop = rule.trips.delay.scans, rule.clears.delay.scans
    tripped, awaiting, size = machine_codes(rule)
    done = awaiting if rule.manual else 0
    table = np.zeros((size, 5), dtype=np.int64)
    for code in range(size):
        for seen in range(5):
            trips, clears = seen == TRIPS, seen in (CLEARS, CLEARS_WITH_EDGE)
            if seen == HOLDS:
                after = code
            elif code == 0:
                after = 0 if not trips else tripped if pick == 0 else 1
            elif code < tripped:  # picking up, this is scan number `code` after the one that started it
                after = 0 if not trips else tripped if code == pick else code + 1
            elif code == tripped:
                after = tripped if not clears else done if drop == 0 else tripped + 1
            elif code < awaiting:
                after = tripped if not clears else done if code - tripped == drop else code + 1
            elif not clears:
                after = tripped
            else:
                after = 0 if seen == CLEARS_WITH_EDGE else awaiting
            table[code, seen] = after
    return table


def power_up_codes(rule: Rule) -> tuple[int, Array]:
    """The code before scan 0, and for each code the one that a power cycle leaves."""
    tripped, awaiting, size = machine_codes(rule)
    if rule.power_up is PowerUp.CLEAR:
        return 0, np.zeros(size, dtype=np.int64)
    if rule.power_up is PowerUp.TRIPPED:
        return tripped, np.full(size, tripped, dtype=np.int64)
    kept = np.arange(size, dtype=np.int64)
    kept[1:tripped] = 1
    kept[tripped + 1 : awaiting] = tripped + 1
    return tripped, kept


_KNOWN: dict[tuple[int, int, bool, PowerUp], tuple[Array, Array]] = {}


def machine_tables(rule: Rule) -> tuple[Array, Array]:
    """The machine's table and what a power cycle leaves, once for all rules that agree in these."""
    key = (rule.trips.delay.scans, rule.clears.delay.scans, rule.manual, rule.power_up)
    if key not in _KNOWN:
        _KNOWN[key] = (machine_table(rule), power_up_codes(rule)[1])
    return _KNOWN[key]


# --- the fault set


@dataclass(frozen=True)
class Present:
    """The single faults there at one scan."""

    has: frozenset[tuple[Mode, str]]
    partner: Mapping[tuple[Part, str], str]
    errors: Mapping[tuple[Mode, str], Fault]

    def __call__(self, mode: Mode, part: str) -> bool:
        return (mode, part) in self.has


class Plan:
    """A fault set: what is installed, what arises (one entry for each that arises on its own), which units cycle.

    The members of a common cause that arise in service come at one scan.
    """

    def __init__(self, faults: Iterable[Fault], relevant: frozenset[str] | None = None) -> None:
        self.installed: list[Fault] = []
        self.arising: list[tuple[Fault, ...]] = []
        cycled: list[str] = []
        for fault in faults:
            singles = [
                f
                for f in (fault.together or (fault,))
                if relevant is None or relevant & set(f.parts) or f.mode is Mode.OMITTED
            ]
            self.installed += [f for f in singles if f.mode.installation]
            cycled += [p for f in singles if f.mode is Mode.POWER_CYCLED for p in f.parts]
            later = tuple(f for f in singles if not f.mode.installation and f.mode is not Mode.POWER_CYCLED)
            if later:
                self.arising.append(later)
        self.cycled = tuple(dict.fromkeys(cycled))
        self._present: dict[int, Present] = {}

    def present(self, arisen: int) -> Present:
        """What is there once the entries whose bits are set in `arisen` have come."""
        if arisen not in self._present:
            singles = list(self.installed)
            for i, entry in enumerate(self.arising):
                if arisen >> i & 1:
                    singles += entry
            partner: dict[tuple[Part, str], str] = {}
            for f in singles:
                if f.mode is Mode.SWAPPED:
                    a, b = f.parts
                    if (f.part, a) in partner or (f.part, b) in partner:
                        raise OutOfReach("two swaps share a part")
                    partner[f.part, a], partner[f.part, b] = b, a
            errors: dict[tuple[Mode, str], Fault] = {}
            for f in singles:
                if f.error:
                    key = (f.mode, f.parts[0])
                    if errors.setdefault(key, f).error != f.error:
                        raise OutOfReach("one sensor with two errors of one mode")
            has = frozenset((f.mode, part) for f in singles for part in f.parts)
            self._present[arisen] = Present(has, partner, errors)
        return self._present[arisen]

    def may(self, mode: Mode, part: str) -> bool:
        """Whether the set holds that fault at all."""
        return self.present((1 << len(self.arising)) - 1)(mode, part)


# --- what matters to a claim


@dataclass(frozen=True)
class Cone:
    """What can matter: rules, those whose effects matter too, outputs, the devices judged, lines, sensors, paths."""

    rules: tuple[str, ...]
    acting: frozenset[str]
    outputs: tuple[str, ...]
    devices: tuple[str, ...]
    lines: tuple[str, ...]
    sensors: tuple[str, ...]  # inputs, and the elements they may be fed from
    paths: tuple[str, ...]

    def parts(self, units: Sequence[str]) -> frozenset[str]:
        """The names of all parts whose faults can matter."""
        return frozenset((*self.rules, *self.outputs, *self.lines, *self.sensors, *self.paths, *units))


def lines_read(scheme: Scheme, unit: str) -> frozenset[str]:
    """The lines a unit's rules look at in any way."""
    names: set[str] = set()
    for rule in scheme.rules.values():
        if rule.unit == unit:
            names |= {rule.watched} if rule.watches is Signal.LINE else set()
            names |= {rule.reset_by, rule.overridden_by} - {""}
            names |= {c.name for c in rule.only_while if c.signal is Signal.LINE}
            names |= {c.name for target in rule.blocks for alternative in target.when for c in alternative}
    return frozenset(names)


def whole(scheme: Scheme) -> Cone:
    """Everything."""
    return Cone(
        tuple(scheme.rules),
        frozenset(scheme.rules),
        tuple(scheme.outputs),
        tuple(scheme.outputs),
        tuple(scheme.lines),
        tuple(scheme.sensors),
        tuple(scheme.paths),
    )


def cone_of(scheme: Scheme, paths: Iterable[str], lines: Iterable[str], plan: Plan) -> Cone:
    """Backward from the judged paths and lines to all that can reach them."""
    partner = plan.present(0).partner
    seen: set[tuple[str, str]] = set()
    waiting = [("path", p) for p in paths] + [("line", x) for x in lines]
    while waiting:
        item = waiting.pop()
        if item in seen or (item[0] in ("rule", "acting") and plan.may(Mode.OMITTED, item[1])):
            continue
        seen.add(item)
        waiting += _nearer(scheme, item, partner)

    def named(kind: str, order: Iterable[str]) -> tuple[str, ...]:
        return tuple(name for name in order if (kind, name) in seen)

    return Cone(
        tuple(r for r in scheme.rules if ("rule", r) in seen),
        frozenset(named("acting", scheme.rules)),
        named("output", scheme.outputs),
        tuple(o for o in scheme.outputs if any(p in scheme.outputs[o].drives for p in named("path", scheme.paths))),
        named("line", scheme.lines),
        named("sensor", scheme.sensors),
        named("path", scheme.paths),
    )


def _nearer(scheme: Scheme, item: tuple[str, str], partner: Mapping[tuple[Part, str], str]) -> list[tuple[str, str]]:
    kind, name = item
    match kind:
        case "path":
            path = scheme.paths[name]
            return [("output", o) for o in path.outputs] + ([("path", path.behind)] if path.behind else [])
        case "output":
            output = scheme.outputs[name]
            acting = [
                rule
                for rule in scheme.rules.values()
                if rule.unit == output.unit and ({t.path for t in rule.blocks} | set(rule.starts)) & set(output.drives)
            ]
            other = partner.get((Part.OUTPUT, name))
            return [("acting", r.name) for r in acting] + ([("output", other)] if other else [])
        case "acting":
            rule = scheme.rules[name]
            near = [("rule", name)] + ([("line", rule.overridden_by)] if rule.overridden_by else [])
            for c in (*rule.only_while, *(c for t in rule.blocks for alternative in t.when for c in alternative)):
                near += _watched(scheme, rule.unit, c.signal, c.name)
            return near
        case "rule":
            rule = scheme.rules[name]
            reset = [("line", rule.reset_by)] if rule.reset_by else []
            return reset + _watched(scheme, rule.unit, rule.watches, rule.watched)
        case "line":
            line = scheme.lines[name]
            other = partner.get((Part.LINE, name))
            near = [("rule", r) for r in line.rules] + ([("output", line.output)] if line.output else [])
            return near + ([("line", other)] if other else [])
        case _:
            other = partner.get((Part.SENSOR, name))
            return [("sensor", other)] if other else []


def _watched(scheme: Scheme, unit: str, signal: Signal, name: str) -> list[tuple[str, str]]:
    match signal:
        case Signal.PATH:
            return [("output", o) for o in scheme.paths[name].outputs if scheme.outputs[o].unit == unit]
        case Signal.READING:
            return [("sensor", s) for s in scheme.readings[name].sensors]
        case Signal.SENSOR:
            return [("sensor", name)]
        case Signal.LINE:
            return [("line", name)]
        case Signal.RULE:
            return [("rule", name)]
        case Signal.QUANTITY:
            raise AssertionError("no unit sees the truth")
