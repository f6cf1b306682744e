"""What a bad run does to rules by itself: worked out from the scheme alone, before any search.

While a claim's conditions hold, many a rule can no longer trip, because its sensor reads within its error of a truth
they bound or its line is the one they name. Such a rule can only run down, and so can what follows it. Knowing that
much of a rule is often enough, and costs one small component instead of all that the rule looks at.
"""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from interlock.proof.cells import HOLDS, NEITHER, TRIPS, Limits, grouped, slot_needs
from interlock.proof.components import SlotKey
from interlock.proof.goal import Resets
from interlock.proof.system import System
from interlock.scheme.model import Line, Output, Rule
from interlock.scheme.words import MODES, Contact, EnergisedWhen, LineForm, Mode, Part, PowerUp, Signal


class Settling(Struct, frozen=True):
    """How a rule (or any of several) can be active in a row of scans in which a claim's conditions hold.

    `scans`: in the first so many at most; None: not bounded. `falls`: once inactive it stays so. `sources`: the rules
    that watch values this rests on.
    """

    scans: int | None
    falls: bool
    sources: frozenset[str] = frozenset()


QUIET = Settling(0, True)


def together(found: list[Settling]) -> Settling:
    """Any of several."""
    bounds = [s.scans for s in found]
    scans = max((b for b in bounds if b is not None), default=0) if None not in bounds else None
    return Settling(scans, all(s.falls for s in found), frozenset[str]().union(*(s.sources for s in found)))


class Settler:
    """Answers for one goal's whole cone, its limits moved or not. Parts that a fault of the set can touch are left out,
    unless the fault is there from the start or keeps a line on its harmless side. `by_contacts`: what watches a contact
    or a command settles by what lets go of that; such a bound is coarse, and now and then less is known with it."""

    def __init__(self, full: System, limits: Limits, *, by_contacts: bool = True) -> None:
        self.by_contacts = by_contacts
        self.full = full.with_limits(limits)
        self.index, self.scheme, self.goal = full.index, full.index.scheme, full.goal
        self._touched = set(full.plan.arising(*Mode))
        self._units = {*full.plan.arising(*MODES[Part.UNIT]), *full.plan.cycled}
        self._known: dict[str, Settling | None] = {}
        self._truths: list[SlotKey] = [("truth", *truths) for truths in self.index.truths(self.goal.conditions)]
        self._levels = {c.name: bool(c.test) for c in self.goal.conditions if c.signal is Signal.LINE}

    def settling(self, name: str) -> Settling | None:
        """Of a rule; None where nothing is known."""
        if name not in self._known:
            self._known[name] = None
            self._known[name] = self._settling(self.scheme.rules[name])
        return self._known[name]

    def _settling(self, rule: Rule) -> Settling | None:
        if rule.unit in self._units:
            return None
        if self.full.fault_sets[0].has(Mode.OMITTED, rule.name):
            return QUIET
        watched = self._watched(rule)
        if watched is None:
            return None
        never_trips = watched.scans == 0 or (watched.scans is None and rule.watches.numeric)
        scans = None if watched.scans is None else watched.scans + rule.clears.delay.scans
        if rule.manual and scans is not None:
            scans = scans + 1 if self._reset_is_given(rule) else None
        falls = watched.falls and (never_trips or rule.trips.delay.scans == 0)
        return Settling(scans, falls, watched.sources)

    def _reset_is_given(self, rule: Rule) -> bool:
        line = rule.reset_by
        if self.goal.resets is not Resets.GIVEN or not line or line in self._touched:
            return False
        faults = self.full.fault_sets[0]
        return not faults.has(Mode.BROKEN, line) and not faults.has(Mode.SHORTED, line)

    def _watched(self, rule: Rule) -> Settling | None:
        """How what the rule watches can be on its tripping side."""
        trips = rule.trips.test
        match rule.watches:
            case Signal.SENSOR | Signal.READING:
                return self._value(rule)
            case Signal.RULE:
                return self.settling(rule.watched) if trips is True else None
            case Signal.LINE:
                return self._line(rule)
            case Signal.PATH:
                return None if trips is True else self._off(rule.unit, self.scheme.drives(rule.unit, rule.watched))
            case Signal.QUANTITY:
                raise AssertionError("no rule sees the truth")

    def _line(self, rule: Rule) -> Settling | None:
        """Of a line: a break or a short that holds it on the side that does not trip takes nothing from this."""
        faults, wire = self.full.fault_sets[0], self._wire(rule)
        line = self.scheme.lines[wire]
        trips = bool(rule.trips.test) is not faults.has(Mode.INVERTED, rule.watched)  # what the wire then carries
        forced = [(Mode.BROKEN, wire, line.undriven_reads), (Mode.SHORTED, wire, not line.undriven_reads)]
        if line.form is LineForm.CONFIRMS:
            forced.append((Mode.WELDED, line.output, True))
        for mode, part, level in forced:
            if faults.has(mode, part):
                return QUIET if level is not trips else None
            if level is trips and part in self.full.plan.arising(mode):
                return None
        if line.form is LineForm.EXTERNAL:
            return QUIET if self._levels.get(line.name, trips) is not trips else None
        if line.form is LineForm.CONFIRMS:
            output = self.scheme.outputs[line.output]
            return self._off(output.unit, (output.name,)) if self._closed_while_on(output) is not trips else None
        if not self._sent_by_rules(line) or trips is not (line.form is LineForm.HIGH_WHEN):
            return None
        found = [self.settling(sender) for sender in line.rules]
        return None if any(s is None for s in found) else together([s for s in found if s is not None])

    def _closed_while_on(self, output: Output) -> bool:
        """Whether an output's contact is closed while its unit lets the path run."""
        turned = self.full.fault_sets[0].has(Mode.WRONG_CONTACT, output.name)
        while_energised = (output.contact is Contact.NORMALLY_CLOSED) is turned
        return while_energised is (output.energised_when is EnergisedWhen.RUNS)

    def _off(self, unit: str, outputs: Iterable[str]) -> Settling | None:
        """How any of a unit's outputs can stop what it drives, as seen at the next scan."""
        if not self.by_contacts or unit in self._units or self.full.fault_sets[0].has(Mode.DEAD, unit):
            return None
        found = [QUIET]
        for output in outputs:
            if any(self.scheme.paths[path].started_by == unit for path in self.scheme.outputs[output].drives):
                return None
            for blocker, _ in self.index.blockers[output]:
                known = self.settling(blocker)
                if known is None:
                    return None
                found.append(known)
        off = together(found)
        return off if off.scans is None else Settling(off.scans + 1, off.falls, off.sources)

    def _sent_by_rules(self, line: Line) -> bool:
        """Whether a unit that no fault touches sends what its rules say."""
        return line.form.sent and line.unit not in self._units and not self.full.fault_sets[0].has(Mode.DEAD, line.unit)

    def _value(self, rule: Rule) -> Settling | None:
        """Of a reading: the codes that go with the conditions' truths."""
        system = self.full
        slot: SlotKey = ("rule", rule.name)
        neither = False
        for arisen, faults in enumerate(system.fault_sets):
            if any(name in system.sensors for _, name in slot_needs(self.index, slot, faults)):
                return None  # a stuck reading is not held by any truth
            view = system.unstuck(arisen)
            for group in grouped(self.index, [slot, *self._truths], view):
                if slot not in group.slots:
                    continue
                mine = group.slots.index(slot)
                held = [(i, (1,)) for i, s in enumerate(group.slots) if s[0] == "truth"]
                if group.first([*held, (mine, (TRIPS,))]) is not None:
                    return None
                neither |= group.first([*held, (mine, (NEITHER, HOLDS))]) is not None
        return Settling(None if neither else 0, True, frozenset({rule.name}))

    def least(self, name: str) -> int:
        """The scans that the rule, once active, at least goes on to be so after the first; from power-up on as well."""
        rule = self.scheme.rules[name]
        if rule.unit in self._units or rule.power_up is PowerUp.CLEAR:
            return 0
        senders: tuple[str, ...] = ()
        if rule.watches is Signal.RULE and rule.trips.test is True:
            senders = (rule.watched,)
        elif rule.watches is Signal.LINE:
            line = self.scheme.lines[self._wire(rule)]
            if (
                not self._faulty(rule)
                and self._sent_by_rules(line)
                and rule.trips.test is (line.form is LineForm.HIGH_WHEN)
            ):
                senders = line.rules
        before = min((self.least(s) for s in senders), default=0)
        return max(0, before - rule.trips.delay.scans) + rule.clears.delay.scans

    def _wire(self, rule: Rule) -> str:
        """The line that a rule really reads: two may be exchanged."""
        return self.full.fault_sets[0].line_source(self.scheme, rule.unit, rule.watched)

    def _faulty(self, rule: Rule) -> bool:
        """Whether a fault of the set lies between a rule and the line it reads."""
        ends, faults = {self._wire(rule), rule.watched}, self.full.fault_sets[0]
        return bool(ends & self._touched) or any(faults.has(m, p) for m in MODES[Part.LINE] for p in ends)

    def shadows(self, name: str) -> tuple[str, ...]:
        """Rules that are active whenever this one is: it lets go at once of what makes them trip at once."""
        rule = self.scheme.rules[name]
        if rule.manual or rule.clears.delay.scans or rule.unit in self._units:
            return ()
        if rule.watches is Signal.RULE and rule.trips.test is True:
            return (rule.watched,)
        if rule.watches is not Signal.LINE:
            return ()
        return tuple(
            other.name
            for other in self.scheme.rules.values()
            if other is not rule
            and other.unit == rule.unit
            and other.watches is Signal.LINE
            and other.watched == rule.watched
            and other.trips.test is rule.trips.test
            and other.trips.delay.scans == 0
            and not self.full.fault_sets[0].has(Mode.OMITTED, other.name)
        )

    def looks_at(self, rules: Iterable[str]) -> list[list[SlotKey]]:
        """The slots whose common vectors decide how these rules settle, a list for each reading."""
        found = [s for s in map(self.settling, rules) if s is not None]
        return [[("rule", name), *self._truths] for name in sorted(together(found).sources)]
