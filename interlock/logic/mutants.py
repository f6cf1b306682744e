"""Small mistakes that a rule can be written with, one at a time: what a change, or a test, is weighed against.

(Mutation testing: DeMillo, Lipton and Sayward 1978, "Hints on test data selection".)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct

from interlock.records import replace
from interlock.scheme.model import Delay, Limit, Reading, Rule, Scheme, Target, Trigger
from interlock.scheme.order import LoopError, in_order
from interlock.scheme.units import MICRO
from interlock.scheme.words import Combine, Compare, LineForm, OnInvalid, Reset, Signal, Word


class Mistake(Word):
    """What is wrong in a mutant."""

    THRESHOLD = "threshold moved by one step"
    COMPARISON = "comparison turned"
    STRICTNESS = "limit itself counted or not"
    DELAY = "delay one scan longer or shorter"
    BLOCK_DROPPED = "block dropped"
    BLOCK_ADDED = "block added"
    START_DROPPED = "start dropped"
    RESET = "reset kind changed"
    LOWEST_FOR_HIGHEST = "lowest for highest"
    ON_INVALID = "invalid reading taken otherwise"
    REMOVED = "rule removed"


class Mutant(Struct, frozen=True):
    """A scheme with one mistake. `rule`: where it is ("" in a derived reading); `what` tells it in a few words.

    `towards`: for a mistake that moves the moment at which the rule acts one way only: +1 it acts at least as often at
    every scan, -1 at most as often, 0 where that is not so or not known.
    """

    scheme: Scheme
    mistake: Mistake
    rule: str
    what: str
    towards: int = 0


def mutants(
    scheme: Scheme, unit: str = "", step: int = MICRO // 1000, steps: Mapping[str, int] | None = None
) -> Iterator[Mutant]:
    """All mutants of a scheme, in the order of its rules; of one unit's rules where that is given. `step`: how far
    thresholds are moved, in millionths of the base unit; `steps`: by sensor, where one is read in steps of its own."""
    for rule in scheme.rules.values():
        if unit and rule.unit != unit:
            continue
        seen = scheme.readings[rule.watched].sensors if rule.watches is Signal.READING else (rule.watched,)
        own = max((steps[name] for name in seen if name in steps), default=step) if steps else step
        for mutant in _of_rule(scheme, rule, own):
            if _can_be(mutant.scheme):
                yield mutant
    for reading in scheme.readings.values():
        used = [r for r in scheme.rules.values() if r.watches is Signal.READING and r.watched == reading.name]
        if used and (not unit or any(r.unit == unit for r in used)):
            other = _OTHER_END.get(reading.combine)
            if other is not None and len(reading.sensors) > 1:
                yield Mutant(
                    _with_reading(scheme, replace(reading, combine=other)),
                    Mistake.LOWEST_FOR_HIGHEST,
                    "",
                    f"{reading.name}: {other} for {reading.combine}",
                )


_OTHER_END: Mapping[Combine, Combine] = {
    Combine.LOWEST_OF: Combine.HIGHEST_OF,
    Combine.HIGHEST_OF: Combine.LOWEST_OF,
}


def _of_rule(scheme: Scheme, rule: Rule, step: int) -> Iterator[Mutant]:
    def changed(mistake: Mistake, what: str, altered: Rule, towards: int = 0) -> Mutant:
        return Mutant(_with_rule(scheme, altered), mistake, rule.name, f"{rule.name}: {what}", towards)

    for field, trigger, acts in (("trips", rule.trips, 1), ("clears", rule.clears, -1)):
        test, delay = trigger.test, trigger.delay

        def other(trigger: Trigger, field: str = field) -> Rule:
            return replace(rule, trips=trigger) if field == "trips" else replace(rule, clears=trigger)

        if isinstance(test, Limit):
            for by in (step, -step):
                wider = (by > 0) is test.compare.downward  # the trigger is met more often
                moved = other(replace(trigger, test=Limit(test.compare, test.value + by)))
                towards = acts if wider else -acts
                yield changed(Mistake.THRESHOLD, f"{field} threshold moved by {by}", moved, towards)
            counted = Limit(_STRICT[test.compare], test.value)
            towards = acts if test.compare.strict else -acts
            said = f"{field} {counted.compare} for {test.compare}"
            yield changed(Mistake.STRICTNESS, said, other(replace(trigger, test=counted)), towards)
        for by in (1, -1):
            if delay.scans + by >= 0:
                later = Delay(max(0, delay.us + by * scheme.scan_us), delay.scans + by)
                altered = other(replace(trigger, delay=later))
                yield changed(Mistake.DELAY, f"{field} {by:+d} scan", altered, -acts * by)
    turned = replace(
        rule, trips=replace(rule.trips, test=rule.clears.test), clears=replace(rule.clears, test=rule.trips.test)
    )
    yield changed(Mistake.COMPARISON, "trips where it should clear, and the reverse", turned)
    blocked = {t.path for t in rule.blocks}
    for target in rule.blocks:
        rest = tuple(t for t in rule.blocks if t != target)
        yield changed(Mistake.BLOCK_DROPPED, f"{target.path} not blocked", replace(rule, blocks=rest))
    for path in scheme.paths.values():
        if path.name not in blocked and scheme.drives(rule.unit, path.name):
            more = (*rule.blocks, Target(path.name))
            yield changed(Mistake.BLOCK_ADDED, f"{path.name} blocked too", replace(rule, blocks=more))
    for name in rule.starts:
        rest_of = tuple(s for s in rule.starts if s != name)
        yield changed(Mistake.START_DROPPED, f"{name} not started", replace(rule, starts=rest_of))
    if rule.manual:
        yield changed(Mistake.RESET, "resets by itself", replace(rule, reset=Reset.AUTOMATIC, reset_by=""), -1)
    else:
        lines = [x for x in scheme.lines.values() if x.form is LineForm.EXTERNAL]
        button = next((r.reset_by for r in scheme.rules.values() if r.reset_by and r.unit == rule.unit), "")
        if button or lines:
            manual = replace(rule, reset=Reset.MANUAL, reset_by=button or lines[0].name)
            yield changed(Mistake.RESET, "needs a reset", manual, 1)
    if rule.watches in (Signal.SENSOR, Signal.READING):
        order = (OnInvalid.CLEAR, OnInvalid.HOLD, OnInvalid.TRIP)
        for taken in OnInvalid:
            if taken is not rule.on_invalid:
                towards = 1 if order.index(taken) > order.index(rule.on_invalid) else -1
                said = f"invalid: {taken} for {rule.on_invalid}"
                yield changed(Mistake.ON_INVALID, said, replace(rule, on_invalid=taken), towards)
    if not any(_needs(x, rule.name) for x in scheme.rules.values()):
        others = {path for other in scheme.rules.values() if other.name != rule.name for path in other.starts}
        # a path that no rule starts any more is always wanted: then its rule does not just act less often
        towards = -1 if set(rule.starts) <= others else 0
        yield Mutant(_without(scheme, rule.name), Mistake.REMOVED, rule.name, f"{rule.name}: left out", towards)


_STRICT = {
    Compare.BELOW: Compare.AT_OR_BELOW,
    Compare.ABOVE: Compare.AT_OR_ABOVE,
    Compare.AT_OR_BELOW: Compare.BELOW,
    Compare.AT_OR_ABOVE: Compare.ABOVE,
}


def _needs(rule: Rule, name: str) -> bool:
    watches = rule.watches is Signal.RULE and rule.watched == name
    return watches or any(c.signal is Signal.RULE and c.name == name for c in rule.only_while)


def _with_rule(scheme: Scheme, rule: Rule) -> Scheme:
    return _ordered(replace(scheme, rules={n: rule if n == rule.name else r for n, r in scheme.rules.items()}))


def _with_reading(scheme: Scheme, reading: Reading) -> Scheme:
    readings = {n: reading if n == reading.name else r for n, r in scheme.readings.items()}
    return replace(scheme, readings=readings)


def _without(scheme: Scheme, name: str) -> Scheme:
    rules = {n: r for n, r in scheme.rules.items() if n != name}
    lines = {
        n: replace(line, rules=tuple(r for r in line.rules if r != name)) if name in line.rules else line
        for n, line in scheme.lines.items()
    }
    paths = scheme.paths
    for path in scheme.rules[name].starts:
        if not any(path in r.starts for r in rules.values()):
            paths = {n: replace(p, started_by="") if n == path else p for n, p in paths.items()}
    return _ordered(replace(scheme, rules=rules, lines=lines, paths=paths))


def _ordered(scheme: Scheme) -> Scheme:
    senders = {n: line.rules for n, line in scheme.lines.items() if line.form.sent}
    try:
        return replace(scheme, order=in_order(scheme.rules, senders))
    except LoopError:
        return replace(scheme, order=())


def _can_be(scheme: Scheme) -> bool:
    """Whether the mistake leaves a scheme with a meaning: an order within a scan, triggers that exclude each other, and
    no line that nothing sends."""
    if len(scheme.order) != len(scheme.rules):
        return False
    if any(line.form.sent and not line.rules for line in scheme.lines.values()):
        return False
    return all(_apart(r.trips, r.clears) for r in scheme.rules.values())


def _apart(trips: Trigger, clears: Trigger) -> bool:
    a, b = trips.test, clears.test
    if isinstance(a, Limit) and isinstance(b, Limit):
        if a.compare.downward is b.compare.downward:
            return False
        low, high = (a, b) if a.compare.downward else (b, a)
        return low.value < high.value or (low.value == high.value and low.compare.strict and high.compare.strict)
    return a is not b
