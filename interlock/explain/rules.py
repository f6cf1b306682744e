"""Rules and the on/off signals between them, in words."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.explain.conditions import (
    plain_conditions,
    plain_test,
    plain_time,
    seen,
    seen_all,
    seen_any,
    time,
)
from interlock.explain.document import Item, Plain
from interlock.explain.measured import labels, why
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import ENDS, LINE_FORMS, LOST, POWER_UPS
from interlock.explain.words import Say
from interlock.scheme.model import Line, Rule, Scheme, Target
from interlock.scheme.words import ALL, LOADS, SOURCES, LineForm, Signal

_GROUPS = {SOURCES: Say.GROUP_SOURCES, LOADS: Say.GROUP_LOADS, ALL: Say.GROUP_ALL}


def rules(scheme: Scheme) -> list[Item]:
    """Each rule: when it trips, what it does, how it clears, a lost reading, power-up, conditions and overrides."""
    return [_rule(scheme, rule) for rule in scheme.rules.values()]


def _rule(scheme: Scheme, rule: Rule) -> Item:
    trips = seen(scheme, rule.watches, rule.watched, rule.trips.test, rule.trips.delay)
    effects = _effects(scheme, rule)
    ending = _ends(scheme, rule)
    sentences = [
        say(Say.RULE_DOES, trips=trips, effects=listing(effects), clears=ending)
        if effects
        else say(Say.RULE_ONLY_TRIPS, trips=trips, clears=ending)
    ]
    watchers = [r.name for r in scheme.rules.values() if r.watches is Signal.RULE and r.watched == rule.name]
    if watchers:
        sentences.append(say(Say.RULE_WATCHED_BY, rules=listing(watchers)))
    if rule.manual and rule.reset_by:
        sentences.append(say(Say.RULE_HELD_BUTTON))
    sentences += _conditions(scheme, rule)
    if rule.watches in (Signal.SENSOR, Signal.READING):
        sentences.append(_lost(scheme, rule))
    sentences.append(say(POWER_UPS[rule.power_up]))
    heading = say(Say.HEADING_RULE, name=rule.name, unit=rule.unit)
    return Item(rule.name, heading, (*sentences, *why(rule.why)), data=_facts(scheme, rule))


def _ends(scheme: Scheme, rule: Rule) -> Phrase:
    plain, other = ENDS[rule.reset]
    clears = seen(scheme, rule.watches, rule.watched, rule.clears.test, rule.clears.delay)
    if rule.manual:
        return say(other, clears=clears, line=rule.reset_by) if rule.reset_by else say(plain, clears=clears)
    return say(other if rule.clears.delay.us else plain, clears=clears)


def _lost(scheme: Scheme, rule: Rule) -> Phrase:
    at_once, after = LOST[rule.on_invalid]
    if rule.trips.delay.us and after is not at_once:
        return say(after, time=time(scheme, rule.trips.delay))
    return say(at_once)


def _conditions(scheme: Scheme, rule: Rule) -> list[Phrase]:
    found = []
    if rule.only_while:
        found.append(say(Say.RULE_ONLY_WHILE, conditions=seen_all(scheme, rule.only_while)))
    if rule.overridden_by and rule.override_at_most:
        limit = time(scheme, rule.override_at_most)
        found.append(say(Say.RULE_OVERRIDE_LIMITED, line=rule.overridden_by, time=limit))
    elif rule.overridden_by:
        found.append(say(Say.RULE_OVERRIDE_UNLIMITED, line=rule.overridden_by))
    return found


def _effects(scheme: Scheme, rule: Rule) -> list[Value]:
    """What a rule does when it trips, as verbs."""
    found: list[Value] = []
    if rule.blocks:
        found.append(say(Say.STOPS, targets=listing(_targets(scheme, rule.blocks))))
    if rule.starts:
        found.append(say(Say.STARTS, targets=listing(rule.starts)))
    for form, key in ((LineForm.LOW_WHEN, Say.TURNS_OFF), (LineForm.HIGH_WHEN, Say.TURNS_ON)):
        lines = [x.name for x in scheme.lines.values() if x.form is form and rule.name in x.rules]
        if lines:
            found.append(say(key, lines=listing(lines)))
    if rule.alarm:
        found.append(say(Say.RAISES_ALARM, words=rule.alarm))
    return found


def _targets(scheme: Scheme, targets: Iterable[Target]) -> list[Value]:
    """Blocked paths, those of one group together."""
    by_group: dict[str, list[Target]] = {}
    for target in targets:
        by_group.setdefault(target.group, []).append(target)
    found: list[Value] = []
    for group, members in by_group.items():
        paths = [target_words(scheme, target) for target in members]
        if not group:
            found += paths
        elif group in _GROUPS:
            found.append(say(_GROUPS[group], paths=listing(paths)))
        else:
            found.append(say(Say.GROUP_OTHER, group=group, paths=listing(paths)))
    return found


def target_words(scheme: Scheme, target: Target) -> Value:
    """A blocked path, with the modes in which the block counts."""
    if not target.when:
        return target.path
    return say(Say.TARGET_WHILE, path=target.path, conditions=seen_any(scheme, target.when))


def _facts(scheme: Scheme, rule: Rule) -> dict[str, Plain]:
    def trigger(which: str) -> dict[str, Plain]:
        part = rule.trips if which == "trips" else rule.clears
        return {**plain_test(scheme, rule.watches, rule.watched, part.test), "for": plain_time(part.delay)}

    data: dict[str, Plain] = {
        "unit": rule.unit,
        "watches": {"signal": str(rule.watches), "name": rule.watched},
        "trips": trigger("trips"),
        "clears": trigger("clears"),
        "on_invalid": str(rule.on_invalid),
        "power_up": str(rule.power_up),
        "reset": str(rule.reset),
        "reset_by": rule.reset_by,
        "only_while": plain_conditions(scheme, rule.only_while),
        "overridden_by": rule.overridden_by,
        "override_at_most": plain_time(rule.override_at_most) if rule.override_at_most else None,
        "blocks": [
            {"path": t.path, "group": t.group, "when": [plain_conditions(scheme, a) for a in t.when]}
            for t in rule.blocks
        ],
        "starts": [*rule.starts],
        "turns_off": [x.name for x in scheme.lines.values() if x.form is LineForm.LOW_WHEN and rule.name in x.rules],
        "turns_on": [x.name for x in scheme.lines.values() if x.form is LineForm.HIGH_WHEN and rule.name in x.rules],
        "alarm": rule.alarm,
        "why": rule.why,
    }
    return data


# --- lines


def lines(scheme: Scheme) -> list[Item]:
    """Each line: who drives it, and what follows from a broken wire."""
    return [_line(scheme, line) for line in scheme.lines.values()]


def _line(scheme: Scheme, line: Line) -> Item:
    one, several = LINE_FORMS[line.form]
    fields: dict[str, Value] = {}
    if line.form.sent:
        fields = {"unit": line.unit, "rules": listing(line.rules, Say.OR)}
    elif line.form is LineForm.CONFIRMS:
        fields = {"output": line.output}
    source = say(several if len(line.rules) > 1 else one, **fields)
    value = say(Say.ON if line.undriven_reads else Say.OFF)
    consequences = _consequences(scheme, line)
    follows = listing(consequences, comma=Say.SEMICOLON) if consequences else say(Say.LINE_UNREAD)
    if line.form.sent:
        broken = say(Say.LINE_BROKEN_OR_DEAD, unit=line.unit, value=value, consequences=follows)
    else:
        broken = say(Say.LINE_BROKEN, value=value, consequences=follows)
    data: dict[str, Plain] = {
        "form": str(line.form),
        "sender": line.unit,
        "rules": [*line.rules],
        "output": line.output,
        "undriven_reads": "on" if line.undriven_reads else "off",
        "terminal": line.terminal,
        "wire": line.wire,
        "read_by": [u for u in scheme.units if line.name in scheme.reads(u)],
    }
    return Item(line.name, line.name, (source, broken, *labels(line.terminal, line.wire), *why(line.why)), data=data)


def _consequences(scheme: Scheme, line: Line) -> list[Value]:
    """What a broken wire does to each rule that reads the line."""
    found: list[Value] = []
    reads = line.undriven_reads
    for rule in scheme.rules.values():
        if rule.watches is Signal.LINE and rule.watched == line.name:
            found.append(_watched_broken(scheme, rule, reads))
        if rule.reset_by == line.name:
            found.append(say(Say.LINE_NO_RESET, rule=rule.name))
        if rule.overridden_by == line.name:
            found.append(_override_broken(scheme, rule, reads))
        for condition in rule.only_while:
            if condition.signal is Signal.LINE and condition.name == line.name:
                key = Say.LINE_ACTS_ALWAYS if condition.test is reads else Say.LINE_ACTS_NEVER
                found.append(say(key, rule=rule.name))
        for target in rule.blocks:
            found += _mode_broken(rule, target, line.name, reads)
    return found


def _watched_broken(scheme: Scheme, rule: Rule, reads: bool) -> Phrase:
    if rule.trips.test is not reads:
        return say(Say.LINE_NEVER_TRIPS, rule=rule.name)
    effects = _effects(scheme, rule)
    fields: dict[str, Value] = {"rule": rule.name}
    if effects:
        fields["effects"] = listing(effects)
    if rule.trips.delay.us:
        fields["time"] = time(scheme, rule.trips.delay)
        return say(Say.LINE_TRIPS_AFTER if effects else Say.LINE_ONLY_TRIPS_AFTER, **fields)
    return say(Say.LINE_TRIPS if effects else Say.LINE_ONLY_TRIPS, **fields)


def _override_broken(scheme: Scheme, rule: Rule, reads: bool) -> Phrase:
    if not reads:
        return say(Say.LINE_NO_OVERRIDE, rule=rule.name)
    if rule.override_at_most:
        return say(Say.LINE_OVERRIDES_ONCE, rule=rule.name, time=time(scheme, rule.override_at_most))
    return say(Say.LINE_OVERRIDES, rule=rule.name)


def _mode_broken(rule: Rule, target: Target, line: str, reads: bool) -> list[Value]:
    tests = [c.test for alternative in target.when for c in alternative if c.name == line]
    if not tests:
        return []
    key = Say.LINE_MODE_COVERED if reads in tests else Say.LINE_MODE_MISSED
    return [say(key, rule=rule.name, path=target.path)]
