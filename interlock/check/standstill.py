"""Rules that can never trip, never clear, never act, or never be reset."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.chains import condition_text, limit_text, test_text
from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.movement import Mover
from interlock.check.reach import reach
from interlock.scheme.findings import Finding
from interlock.scheme.model import Condition, Limit, Rule, Trigger
from interlock.scheme.words import LineForm, Signal


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family. What only follows from a rule that stands still is not reported again."""
    mover = Mover(facts)
    still = {r.name for r in facts.scheme.rules.values() if not mover.resettable(r)}
    still |= {r.name for r in facts.scheme.rules.values() if r.watches.numeric and _stuck(mover, r)}
    for name in facts.scheme.order:
        rule = facts.scheme.rules[name]
        stuck = _stuck(mover, rule)
        if rule.watches.numeric:
            yield from (_out_of_reach(mover, rule, *one) for one in stuck)
        elif stuck and not _caused(mover, rule.watches, rule.watched, still):
            yield from (_constant(mover, rule, *one) for one in stuck)
        still |= {name} if stuck else set()
    for rule in facts.scheme.rules.values():
        yield from _never_in_force(mover, rule, still)
        if not mover.resettable(rule):
            yield from _reset_without_button(mover, rule, still)


def _caused(mover: Mover, signal: Signal, name: str, still: set[str]) -> bool:
    """Whether a signal stands still because of a rule that is known to."""
    if signal is Signal.RULE:
        return name in still
    if signal is Signal.PATH:
        return not still.isdisjoint(mover.facts.chains.depends_on(name))
    line = mover.scheme.lines[name]
    if line.form is LineForm.CONFIRMS:
        drives = mover.scheme.outputs[line.output].drives
        return any(_caused(mover, Signal.PATH, path, still) for path in drives)
    return not still.isdisjoint(line.rules)


_Stuck = tuple[Trigger, Ident, str]


def _stuck(mover: Mover, rule: Rule) -> list[_Stuck]:
    """The triggers of a rule that can never hold."""
    found: list[_Stuck] = []
    if rule.watches.numeric:
        if not mover.reads(rule, rule.trips.test):
            found.append((rule.trips, Ident.NEVER_TRIPS, "trip"))
    elif not mover.meets(rule, rule.trips.test, trips=True):
        found.append((rule.trips, Ident.NEVER_TRIPS, "trip"))
    if not mover.meets(rule, rule.clears.test, trips=False):
        found.append((rule.clears, Ident.NEVER_CLEARS, "clear"))
    return found


def _out_of_reach(mover: Mover, rule: Rule, trigger: Trigger, ident: Ident, verb: str) -> Finding:
    scheme = mover.scheme
    lost = ident is Ident.NEVER_TRIPS and mover.meets(rule, rule.trips.test, trips=True)
    also = "; only an invalid reading makes it act" if lost else ""
    test = trigger.test
    assert isinstance(test, Limit)
    found = reach(mover.facts.truths, rule.watches, rule.watched)
    said = test_text(scheme, rule.watches, rule.watched, test)
    if found.empty:
        can = "has no valid reading at all"
    else:
        low, high = (
            limit_text(scheme, rule.watches, rule.watched, Limit(test.compare, round(v)))
            for v in (found.low, found.high)
        )
        can = f"validly reads {low} to {high}"
    of = scheme.sensors if rule.watches is Signal.SENSOR else scheme.readings
    return finding(
        ident,
        rule.name,
        trigger.place,
        f"`{rule.name}` can never {verb}: it {verb}s {said}, and `{rule.watched}` {can}{also}",
        "move the threshold into what the sensor can read, or correct the span, the error or the valid range",
        ((of[rule.watched].place, "what it can read follows from this"),),
    )


def _constant(mover: Mover, rule: Rule, trigger: Trigger, ident: Ident, verb: str) -> Finding:
    said = test_text(mover.scheme, rule.watches, rule.watched, trigger.test)
    other = test_text(mover.scheme, rule.watches, rule.watched, not trigger.test)
    return finding(
        ident,
        rule.name,
        trigger.place,
        f"`{rule.name}` can never {verb}: it {verb}s when `{rule.watched}` is {said}, and that is always {other}",
        f"look at what decides `{rule.watched}`{_decides(mover, rule)}",
    )


def _decides(mover: Mover, rule: Rule) -> str:
    if rule.watches is not Signal.LINE:
        return ""
    line = mover.scheme.lines[rule.watched]
    if line.form is LineForm.CONFIRMS:
        return f": output `{line.output}`"
    return f": {listed(line.rules)}"


# --- effects


def _never_in_force(mover: Mover, rule: Rule, still: set[str]) -> Iterator[Finding]:
    for condition in rule.only_while:
        if not mover.holds(rule.unit, condition) and not _caused(mover, condition.signal, condition.name, still):
            yield _suspended(mover, rule, condition, "which can never be")
            return
    clash = _clash(mover, rule)
    if clash:
        yield _suspended(mover, rule, clash[0], clash[1])


def _clash(mover: Mover, rule: Rule) -> tuple[Condition, str] | None:
    """Two conditions, or one and the rule's being active, that ask the opposite of one rule."""
    asked: dict[str, tuple[bool, str]] = {rule.name: (True, f"`{rule.name}` itself is active")}
    for c in rule.only_while:
        for name, wanted in _rules_behind(mover, c):
            known = asked.setdefault(name, (wanted, f"`{condition_text(mover.scheme, c)}`"))
            if known[0] is not wanted:
                return c, f"which excludes that {known[1]}"
    return None


def _rules_behind(mover: Mover, condition: Condition) -> list[tuple[str, bool]]:
    """The states of rules that a condition comes to, where it comes to that."""
    wanted = bool(condition.test)
    if condition.signal is Signal.RULE:
        return [(condition.name, wanted)]
    if condition.signal is not Signal.LINE or not mover.scheme.lines[condition.name].form.sent:
        return []
    line = mover.scheme.lines[condition.name]
    active = wanted is (line.form is LineForm.HIGH_WHEN)
    return [(r, active) for r in line.rules] if not active or len(line.rules) == 1 else []


def _suspended(mover: Mover, rule: Rule, condition: Condition, why: str) -> Finding:
    return finding(
        Ident.NEVER_IN_FORCE,
        rule.name,
        condition.place,
        f"`{rule.name}` never acts: only while `{condition_text(mover.scheme, condition)}`, {why}",
        "correct the condition or remove it",
        ((rule.place, "the rule"),),
    )


# --- resets


def _reset_without_button(mover: Mover, rule: Rule, still: set[str]) -> Iterator[Finding]:
    if not rule.reset_by:
        why, what = "no line is named that could reset it", "add `reset_by: LINE` with an external line for the button"
    elif _caused(mover, Signal.LINE, rule.reset_by, still):
        return
    else:
        always = "on" if True in mover.can.lines[rule.reset_by] else "off"
        why, what = f"`{rule.reset_by}` is always {always}", "name the line of a button: an external one"
    yield finding(
        Ident.RESET_WITHOUT_BUTTON,
        rule.name,
        rule.place,
        f"`{rule.name}` waits for a person to reset it, and nobody can: {why}",
        what,
    )
