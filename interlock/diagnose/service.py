"""Diagnosis from what was seen in service, whatever came before.

A set of faults explains a moment when some run with these faults, all of them there for the whole moment, shows every
statement of it at every scan. What the machines' states were before the moment is not known, so they may have been any;
readings and lines of which nothing is said may have been anything within what is said. Ranges (`ranges`) and cases
(`cases`) hold every such run, and may hold a little more: a set is never left out that explains what was seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from interlock.diagnose.cases import choices, possible
from interlock.diagnose.moments import IDENT, Moment, Of, Statement
from interlock.diagnose.ranges import Bools, Forced, Known, Range, lasting, nothing_known
from interlock.logic.compiled import compile_scheme
from interlock.logic.program import InputKind, Observe, Program, SlotKind
from interlock.plan.predict import stands
from interlock.plan.sights import sights
from interlock.plan.wrong import Wrong
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.model import Fault, Interval, Scheme
from interlock.scheme.source import NOWHERE
from interlock.scheme.truth import ZERO, Bounds, closed, declared_bounds, merged, reading_bounds, tighten
from interlock.scheme.words import Mode, Part

FAR = 10**17  # beyond every value of a scheme
MOST_SETS = 1_000
MOST_COLUMNS = 4_000
MOST_BUTTONS = 3  # tried both ways; further ones may be pressed at any time
SETTLES = 2  # scans until a button that keeps still gives no rising edge any more

# What a program tells of each kind of statement about one thing, and the side that is meant when it is true.
_TOLD: Mapping[Of, tuple[Observe, Observe]] = {
    Of.PATH: (Observe.MAY_RUN, Observe.MAY_STOP),
    Of.LINE: (Observe.LINE, Observe.LINE),
    Of.ALARM: (Observe.ALARM, Observe.ALARM),
    Of.RULE: (Observe.LEVEL, Observe.LEVEL),
    Of.VALID: (Observe.VALID, Observe.VALID),
    Of.READING: (Observe.NUMERATOR, Observe.NUMERATOR),
    Of.DEVICE: (Observe.CLOSED, Observe.CLOSED),
}


@dataclass(frozen=True)
class _Group:
    """Sets of faults that one program serves: `members` are their places among all sets."""

    program: Program
    sets: tuple[tuple[Fault, ...], ...]
    members: tuple[int, ...]


class Service:
    """Sets of faults weighed against moments in service. Raises SchemeError for truths that can't be together."""

    def __init__(self, scheme: Scheme, sets: Sequence[tuple[Wrong, ...]]) -> None:
        self.scheme = scheme
        self.sets = [tuple(w for w in wrongs if isinstance(w, Fault)) for wrongs in sets]
        self.groups = []
        for stand, members in stands(scheme, self.sets, sights(scheme)[:1]):
            faults = [w for w in stand.wrong if isinstance(w, Fault)]
            program = compile_scheme(scheme, faults, switched=True, swaps=True)
            self.groups.append(_Group(program, tuple(self.sets[m] for m in members), tuple(members)))

    def explain(self, moments: Sequence[Moment]) -> Bools:
        """Which sets explain every moment, as an array of booleans in the order of the sets.

        Where nothing wrong explains all of them already, the others are only weighed roughly: which of them go beyond
        what they can show says little then.
        """
        found = np.ones(len(self.sets), bool)
        for moment in moments:
            self._weigh(moment, found, lambda _: True, rough=True)
        self._each(moments, found, lambda wrongs: not wrongs)
        if not any(found[i] for i, wrongs in enumerate(self.sets) if not wrongs):
            self._each(moments, found, bool)
        return found

    def _each(self, moments: Sequence[Moment], found: Bools, of: Callable[[tuple[Fault, ...]], bool]) -> None:
        for moment in moments:
            self._weigh(moment, found, of, rough=False)

    def _weigh(self, moment: Moment, found: Bools, of: Callable[[tuple[Fault, ...]], bool], *, rough: bool) -> None:
        """Take out of `found` what the moment rules out, among the sets of that kind."""
        bounds = truths(self.scheme, moment)
        for group in self.groups:
            program = group.program.restricted(told_of(self.scheme, group.program, moment.statements))
            shared: dict[tuple[Fault, ...], list[int]] = {}  # what makes no difference here is left out
            for member, wrongs in zip(group.members, group.sets, strict=True):
                if found[member] and of(wrongs):
                    key = tuple(f for f in wrongs if _matters(f, program, moment))
                    shared.setdefault(key, []).append(member)
            sets = list(shared)
            for at in range(0, len(sets), MOST_SETS):
                part = sets[at : at + MOST_SETS]
                asked = _Asked(self.scheme, program, part, moment, bounds, rough=rough)
                for wrongs, fits in zip(part, asked.explains().tolist(), strict=True):
                    found[shared[wrongs]] &= fits

    def also(self, moment: Moment, extras: Sequence[Statement]) -> dict[Statement, Bools]:
        """For each further statement, which sets explain it together with the moment, looked at once at its end."""
        bounds = truths(self.scheme, moment)
        answers = {extra: np.zeros(len(self.sets), bool) for extra in extras}
        for group in self.groups:
            program = group.program.restricted(told_of(self.scheme, group.program, (*moment.statements, *extras)))
            asked = _Asked(self.scheme, program, list(group.sets), moment, bounds, rough=False)
            for extra, fits in zip(extras, asked.explains_each(extras), strict=True):
                answers[extra][list(group.members)] = fits
        return answers


def told_of(scheme: Scheme, program: Program, statements: Iterable[Statement]) -> set[tuple[Observe, str]]:
    """What the program has to tell for these statements, and for the contacts that may feed a device instead."""
    wanted: set[tuple[Observe, str]] = set()
    for statement in statements:
        if statement.of is Of.DEVICE:
            wanted |= {(Observe.CLOSED, name) for name in scheme.outputs}
        elif isinstance(statement.value, Interval) and statement.of is Of.READING:
            wanted |= {(Observe.VALID, statement.name), (Observe.NUMERATOR, statement.name)}
        elif statement.of is not Of.QUANTITY:
            wanted |= {(kind, statement.name) for kind in _TOLD[statement.of]}
    return wanted & {(o.kind, o.name) for o in program.observations}


def _matters(fault: Fault, program: Program, moment: Moment) -> bool:
    """Whether anything that the moment tells of depends on the fault."""
    given = {(declared.kind, declared.name) for declared in program.inputs}
    named = {s.name for s in moment.statements if s.of in (Of.DEVICE, Of.RULE)}
    if (InputKind.FAULT, fault.name) in given:
        return True
    for single in fault.single():
        if single.part is Part.OUTPUT and any(s.of is Of.DEVICE for s in moment.statements):
            return True
        for part in single.parts:
            kind = InputKind.CYCLE if single.part is Part.UNIT else InputKind.ELEMENT
            if part in named or (kind, part) in given:
                return True
    return False


def truths(scheme: Scheme, moment: Moment) -> Bounds:
    """What the statements leave of the truth, closed. Raises SchemeError where nothing is left."""
    said: Bounds = {}
    for statement in moment.statements:
        if statement.of is Of.QUANTITY and isinstance(statement.value, Interval):
            tighten(said, statement.name, ZERO, statement.value.high)
            tighten(said, ZERO, statement.name, -statement.value.low)
    healthy = [reading_bounds(sensor.measures) for sensor in scheme.sensors.values()]
    found = closed(merged(declared_bounds(scheme.quantities), *healthy, said))
    if found is None:
        first = next((s for s in moment.statements if s.of is Of.QUANTITY), None)
        raise SchemeError(
            [
                Finding(
                    IDENT,
                    "these quantities cannot be so together",
                    first.place if first else NOWHERE,
                    "the scheme ties them by `at_least`, `at_most` and the sensors' errors",
                )
            ]
        )
    return found


class _Asked:
    """One moment asked of several sets of faults side by side."""

    def __init__(
        self,
        scheme: Scheme,
        program: Program,
        sets: Sequence[tuple[Fault, ...]],
        moment: Moment,
        bounds: Bounds,
        *,
        rough: bool,
    ) -> None:
        self.scheme, self.program, self.moment = scheme, program, moment
        named = {s.name for s in moment.statements if s.of is Of.LINE}
        used = {button for rule in scheme.rules.values() for button in (rule.reset_by, rule.overridden_by)}
        lines = [d.name for d in program.inputs if d.kind is InputKind.LINE]
        self.buttons = () if rough else tuple(n for n in lines if n in used - named)[:MOST_BUTTONS]
        self.held = [dict(zip(self.buttons, on, strict=True)) for on in product((0, 1), repeat=len(self.buttons))]
        self.sets = [wrongs for _ in self.held for wrongs in sets]
        self.count = len(self.sets)
        self.at = {(o.kind, o.name): o.node for o in program.observations}
        self.singles = [[single for fault in wrongs for single in fault.single()] for wrongs in self.sets]
        self.possible = np.ones(self.count, bool)
        self.inputs = self._inputs(bounds)
        self.forced = self._forced(moment.statements)
        self.known = self._lasted(rough=rough)

    def explains(self) -> Bools:
        """Which sets leave room for the moment."""
        return self._either(possible(self.program, self.known, self.inputs, self.forced))

    def explains_each(self, extras: Sequence[Statement]) -> Iterator[Bools]:
        """Which sets leave room for the moment and one more statement at its last scan, for each such statement."""
        at_once = max(1, MOST_COLUMNS // self.count)
        for first in range(0, len(extras), at_once):
            yield from self._several(extras[first : first + at_once])

    def _several(self, extras: Sequence[Statement]) -> Iterator[Bools]:
        possible_, each = [], []
        moment_alone = self.possible
        for extra in extras:
            self.possible = moment_alone.copy()
            each.append(self._forced((*self.moment.statements, extra)))
            possible_.append(self.known.possible & self.possible)
        self.possible = moment_alone
        nodes = sorted({node for forced in each for node in forced})
        wide = {n: self._whole(n) for n in nodes}
        parts = {n: [forced.get(n, wide[n]) for forced in each] for n in nodes}
        forced = {
            n: Range(np.concatenate([r.low for r in parts[n]]), np.concatenate([r.high for r in parts[n]]))
            for n in nodes
        }
        options = choices(self.program, tuple(nodes))
        own = [set(choices(self.program, tuple(f))) for f in each]
        relevant = np.array([[option in of for option in options] for of in own], bool)
        which = np.tile(np.arange(self.count), len(extras))
        known = Known(self.known.only(which).slots, np.concatenate(possible_))
        found = possible(
            self.program,
            known,
            [each_.only(which) for each_ in self.inputs],
            forced,
            np.repeat(relevant, self.count, axis=0),
        )
        for part in found.reshape(len(extras), self.count):
            yield self._either(part)

    def _whole(self, number: int) -> Range:
        node = self.program.nodes[number]
        kind = bool if node.boolean else np.int64
        return Range(np.full(self.count, node.low, kind), np.full(self.count, node.high, kind))

    def _either(self, found: Bools) -> Bools:
        """Whichever way the buttons were held."""
        either: Bools = np.logical_or.reduce(found.reshape(len(self.held), -1), axis=0)
        return either

    def _lasted(self, *, rough: bool) -> Known:
        """What is known before the moment's last scan. But roughly, a rule that waits for a person and may have been
        active or not soon after the moment began is tried both ways: what then can't have lasted is left out."""
        scans = max(1, self.moment.us // self.scheme.scan_us) - 1
        begun = nothing_known(self.program, self.count)
        begun = Known(begun.slots, begun.possible & self.possible)
        first = min(scans, SETTLES)
        begun = lasting(self.program, begun, self.inputs, self.forced, first)
        known = lasting(self.program, begun, self.inputs, self.forced, scans - first)
        if rough or scans <= first:
            return known
        open_ = [
            (place, below)
            for place, slot in enumerate(self.program.slots)
            if slot.kind is SlotKind.LEVEL and self.scheme.rules[slot.name].manual
            for below in (self.program.levels[slot.name].trip_scans,)
            if (known.possible & (known.slots[place].low <= below) & (known.slots[place].high > below)).any()
        ]
        slots = list(begun.slots)
        alive = known.possible.copy()
        at_once = max(1, MOST_COLUMNS // (2 * self.count))
        for at in range(0, len(open_), at_once):
            for (place, below), (lower, upper) in self._tried(begun, open_[at : at + at_once], scans - first):
                least = np.where(lower, slots[place].low, np.maximum(slots[place].low, below + 1))
                most = np.where(upper, slots[place].high, np.minimum(slots[place].high, below))
                alive &= (lower | upper) & (least <= most)
                slots[place] = Range(np.minimum(least, most), most)
        if not open_:
            return known
        return lasting(self.program, Known(tuple(slots), alive), self.inputs, self.forced, scans - first)

    def _tried(
        self, begun: Known, halves: Sequence[tuple[int, int]], scans: int
    ) -> Iterator[tuple[tuple[int, int], tuple[Bools, Bools]]]:
        """For each of these slots, where it can have been at most at its bound, and where above it."""
        which = np.tile(np.arange(self.count), 2 * len(halves))
        twice = begun.only(which)
        slots, can = list(twice.slots), twice.possible.copy()
        for number, (place, below) in enumerate(halves):
            low, high = slots[place].low.copy(), slots[place].high.copy()
            lower = slice(2 * number * self.count, (2 * number + 1) * self.count)
            upper = slice((2 * number + 1) * self.count, (2 * number + 2) * self.count)
            high[lower], low[upper] = np.minimum(high[lower], below), np.maximum(low[upper], below + 1)
            can = can & (low <= high)
            slots[place] = Range(np.minimum(low, high), high)
        inputs = [each.only(which) for each in self.inputs]
        forced = {node: each.only(which) for node, each in self.forced.items()}
        lasted = lasting(self.program, Known(tuple(slots), can), inputs, forced, scans)
        parts = lasted.possible.reshape(len(halves), 2, self.count)
        yield from zip(halves, parts, strict=True)

    # --- what is given

    def _has(self, mode: Mode, part: str) -> Bools:
        return np.array([any(s.mode is mode and part in s.parts for s in singles) for singles in self.singles], bool)

    def _inputs(self, bounds: Bounds) -> list[Range]:
        lines = {s.name: int(s.value is True) for s in self.moment.statements if s.of is Of.LINE}
        found: list[Range] = []
        for declared in self.program.inputs:
            match declared.kind:
                case InputKind.ELEMENT:
                    found.append(self._element(declared.name, bounds))
                case InputKind.LINE:
                    said = lines.get(declared.name)
                    found.append(self._held(declared.name) if said is None else self._flags(said, said))
                case InputKind.FAULT:
                    there = np.array([any(f.name == declared.name for f in wrongs) for wrongs in self.sets], bool)
                    found.append(Range(there, there))
                case InputKind.CYCLE:
                    may = self._has(Mode.POWER_CYCLED, declared.name)
                    found.append(Range(np.zeros_like(may), may))
                case InputKind.SETTING:
                    found.append(self._all(declared.usual, declared.usual))
        return found

    def _all(self, low: int, high: int) -> Range:
        return Range(np.full(self.count, low, np.int64), np.full(self.count, high, np.int64))

    def _held(self, line: str) -> Range:
        """An external line of which nothing is said: a button keeps still for the moment, another may do anything."""
        if line not in self.buttons:
            return self._flags(0, 1)
        each = len(self.sets) // len(self.held)
        on = np.repeat([held[line] for held in self.held], each).astype(bool)
        return Range(on, on)

    def _flags(self, low: int, high: int) -> Range:
        return Range(np.full(self.count, low, bool), np.full(self.count, high, bool))

    def _element(self, name: str, bounds: Bounds) -> Range:
        """What the element gives: the truth, give or take the error that each set leaves it."""
        sensor = self.scheme.sensors[name]
        ranges = []
        for singles in self.singles:
            errors = sensor.measures
            for mode in (Mode.MISPLACED, Mode.DRIFTED):  # drifted wins over misplaced
                errors = next((s.error for s in singles if s.mode is mode and name in s.parts), errors)
            low = max((-bounds[ZERO, e.quantity] + e.interval.low for e in errors), default=-FAR)
            high = min((bounds[e.quantity, ZERO] + e.interval.high for e in errors), default=FAR)
            ranges.append((low, high))
        least, most = (np.array(ends, np.int64) for ends in zip(*ranges, strict=True))
        self.possible &= least <= most
        return Range(least, np.maximum(least, most))

    # --- what is seen

    def _forced(self, statements: Sequence[Statement]) -> Forced:
        found: dict[int, Range] = {}
        for statement in statements:
            if statement.of is not Of.QUANTITY:
                for node, narrower in self._says(statement):
                    known = found.get(node, narrower)
                    found[node] = Range(np.maximum(known.low, narrower.low), np.minimum(known.high, narrower.high))
        crossed = [each.low > each.high for each in found.values()]
        for each in crossed:
            self.possible &= ~each
        kind = {node: bool if self.program.nodes[node].boolean else np.int64 for node in found}
        return {
            node: Range(each.low.astype(kind[node]), np.maximum(each.low, each.high).astype(kind[node]))
            for node, each in found.items()
        }

    def _says(self, statement: Statement) -> Iterator[tuple[int, Range]]:
        of, name, value = statement.of, statement.name, statement.value
        if isinstance(value, Interval):
            yield self.at[Observe.VALID, name], self._all(1, 1)
            yield self.at[Observe.NUMERATOR, name], self._all(value.low, value.high)
        elif of is Of.PATH:
            yield self.at[_TOLD[of][0 if value else 1], name], self._all(1, 1)
        elif of is Of.RULE:
            yield from self._rule(name, active=value)
        elif of is Of.DEVICE:
            yield from self._device(name, closed_=value)
        else:
            yield self.at[_TOLD[of][0], name], self._all(int(value), int(value))

    def _rule(self, name: str, *, active: bool) -> Iterator[tuple[int, Range]]:
        """A rule that is not there is never active, whatever its level."""
        omitted = self._has(Mode.OMITTED, name)
        levels = self.program.levels[name]
        node = self.at.get((Observe.LEVEL, name))
        if active:
            self.possible &= ~omitted
        if node is not None:
            low = np.where(omitted | (not active), -FAR, levels.awaiting)
            high = np.where(omitted | active, FAR, levels.trip_scans)
            yield node, Range(low.astype(np.int64), high.astype(np.int64))

    def _device(self, name: str, *, closed_: bool) -> Iterator[tuple[int, Range]]:
        """At the end of the wire there is the contact of whichever output feeds it, or nothing where that is broken."""
        fed_by = [name] * self.count
        for column, singles in enumerate(self.singles):
            for single in singles:
                if single.mode is Mode.SWAPPED and single.part is Part.OUTPUT and name in single.parts:
                    fed_by[column] = next(part for part in single.parts if part != name)
        cut = np.array(
            [
                any(s.mode is Mode.WIRE_BROKEN and of in s.parts for s in singles)
                for of, singles in zip(fed_by, self.singles, strict=True)
            ],
            bool,
        )
        if closed_:
            self.possible &= ~cut
        for of in dict.fromkeys(fed_by):
            own = np.array([each == of for each in fed_by], bool) & ~cut
            low = np.where(own, int(closed_), 0)
            high = np.where(own, int(closed_), 1)
            yield self.at[Observe.CLOSED, of], Range(low.astype(np.int64), high.astype(np.int64))
