"""What a scheme with resolved names can still have wrong: limits out of range, triggers that overlap, no effect."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.scheme.build_logic import start_defaults
from interlock.scheme.draft import Draft
from interlock.scheme.keys import Section
from interlock.scheme.model import Interval, Limit, Line, Output, Quantity, Reading, Rule, Sensor, Target, Trigger
from interlock.scheme.source import Place
from interlock.scheme.tree import MappingNode
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import BUILT_IN_GROUPS, Combine, Signal


def judge_rules(
    draft: Draft,
    rules: Mapping[str, Rule],
    lines: Mapping[str, Line],
    outputs: Mapping[str, Output],
    groups: Mapping[str, tuple[Target, ...]],
) -> dict[str, Rule]:
    """Every rule held against its unit, its triggers and its effects; the rules with their own defaults."""
    sending = {name for line in lines.values() for name in line.rules}
    watched = {rule.watched for rule in rules.values() if rule.watches is Signal.RULE}
    watched |= {c.name for rule in rules.values() for c in rule.only_while if c.signal is Signal.RULE}
    complete = len(outputs) == len(draft.names(Section.OUTPUTS))
    driven = {(output.unit, path) for output in outputs.values() for path in output.drives}
    judged = {}
    for name, rule in rules.items():
        _judge_triggers(draft, rule)
        _judge_unit(draft, rule, rules, driven, groups, complete=complete)
        if not (rule.blocks or rule.starts or rule.alarm or name in sending or name in watched) and not _tried(
            draft, name
        ):
            draft.log.report(
                "rule-without-effect",
                f"`{name}` does nothing when it trips",
                rule.place,
                "give it `blocks`, `starts` or `alarm`, or name it in a line's `low_when`",
            )
        only_starts = rule.starts and not (rule.blocks or rule.alarm or name in sending)
        if only_starts:
            given = _given(draft, name)
            rule = start_defaults(  # noqa: PLW2901 (the judged rule is the one that is kept)
                rule, given_on_invalid="on_invalid" in given, given_power_up="power_up" in given
            )
        judged[name] = rule
    return judged


def _given(draft: Draft, name: str) -> set[str]:
    section = draft.root.get(str(Section.RULES))
    node = section.get(name) if isinstance(section, MappingNode) else None
    return {entry.key.text for entry in node.entries} if isinstance(node, MappingNode) else set()


def _tried(draft: Draft, name: str) -> bool:
    """Whether the rule names effects that could not be read: those are reported already."""
    return bool(_given(draft, name) & {"blocks", "starts", "alarm"})


def _judge_unit(
    draft: Draft,
    rule: Rule,
    rules: Mapping[str, Rule],
    driven: set[tuple[str, str]],
    groups: Mapping[str, tuple[Target, ...]],
    *,
    complete: bool,
) -> None:
    """A rule sees rules and commands of its own unit only, and acts only through that unit's outputs."""
    seen_rules = [(rule.watched, rule.place)] if rule.watches is Signal.RULE else []
    seen_rules += [(c.name, c.place) for c in rule.only_while if c.signal is Signal.RULE]
    for name, place in seen_rules:
        if name in rules and rules[name].unit != rule.unit:
            draft.log.report(
                "rule-of-another-unit",
                f"`{rule.name}` is evaluated by `{rule.unit}` and looks at `{name}`, a rule of `{rules[name].unit}`",
                place,
                f"let `{rules[name].unit}` send a line (low_when: [{name}]) and look at that",
                ((rules[name].place, f"`{name}` stands here"),),
            )
    if not complete:
        return
    seen_paths = [(rule.watched, rule.place, "watches")] if rule.watches is Signal.PATH else []
    seen_paths += [(c.name, c.place, "looks at") for c in rule.only_while if c.signal is Signal.PATH]
    seen_paths += [(t.path, rule.place, "blocks") for t in rule.blocks if not t.group]
    seen_paths += [(path, rule.place, "starts") for path in rule.starts]
    for path, place, verb in seen_paths:
        if (rule.unit, path) not in driven:
            _report_no_output(draft, rule, path, place, verb)
    for group in dict.fromkeys(t.group for t in rule.blocks if t.group):
        if not any((rule.unit, target.path) in driven for target in groups[group]):
            _report_no_output(draft, rule, group, rule.place, "blocks")


def _report_no_output(draft: Draft, rule: Rule, name: str, place: Place, verb: str) -> None:
    what = "drives any path of" if name in BUILT_IN_GROUPS or draft.declared[name][0] is Section.GROUPS else "drives"
    draft.log.report(
        "no-output-of-unit",
        f"`{rule.name}` {verb} `{name}`, and no output of its unit `{rule.unit}` {what} `{name}`",
        place,
        "send a line to the unit that has the output, and let a rule there watch it",
    )


def _judge_triggers(draft: Draft, rule: Rule) -> None:
    trips, clears = rule.trips, rule.clears
    if isinstance(trips.test, bool) or isinstance(clears.test, bool):
        if trips.test == clears.test:
            draft.log.report(
                "trip-and-clear-overlap",
                f"`{rule.name}` trips and clears on the same condition",
                clears.place,
                "let it clear on the opposite",
                ((trips.place, "trips here"),),
            )
        return
    wrong = _overlap(trips.test, clears.test)
    if wrong:
        kind, difference = draft.kinds[rule.watched], rule.watched in draft.differences
        at = [value_text(t.value, kind, difference=difference) for t in (trips.test, clears.test)]
        other = "above" if trips.test.compare.downward else "below"
        draft.log.report(
            "no-hysteresis" if "no gap" in wrong else "trip-and-clear-overlap",
            f"`{rule.name}` trips {trips.test.compare} {at[0]} and clears {clears.test.compare} {at[1]}: {wrong}",
            clears.place,
            f"let it clear {other} a limit on the safe side of {at[0]}",
            ((trips.place, "trips here"),),
        )


def _overlap(trips: Limit, clears: Limit) -> str:
    """What is wrong with a pair of limits; "" where nothing is."""
    if trips.compare.downward is clears.compare.downward:
        return "both on the same side"
    gap = clears.value - trips.value if trips.compare.downward else trips.value - clears.value
    return "" if gap > 0 else "no gap between them" if gap == 0 else "the two overlap"


def judge_limits(
    draft: Draft,
    rules: Mapping[str, Rule],
    quantities: Mapping[str, Quantity],
    sensors: Mapping[str, Sensor],
    readings: Mapping[str, Reading],
) -> None:
    """Every limit of a rule within what its sensors can validly read and their quantities can be."""
    for rule in rules.values():
        if rule.watches is Signal.SENSOR and rule.watched in sensors:
            of = [sensors[rule.watched]]
        elif rule.watches is Signal.READING and rule.watched in readings:
            reading = readings[rule.watched]
            of = [sensors[s] for s in reading.sensors if s in sensors]
            if reading.combine is Combine.DIFFERENCE_OF:
                width = max((s.valid.high - s.valid.low for s in of), default=0)
                for trigger in (rule.trips, rule.clears):
                    _within(draft, rule, trigger, Interval(0, width), "threshold-outside-valid", "can be")
                continue
        else:
            continue
        if not of:
            continue
        valid = Interval(min(s.valid.low for s in of), max(s.valid.high for s in of))
        spans = [quantities[e.quantity].span for s in of for e in s.measures if e.quantity in quantities]
        for trigger in (rule.trips, rule.clears):
            inside = _within(draft, rule, trigger, valid, "threshold-outside-valid", "is valid")
            if inside and spans:
                span = Interval(min(s.low for s in spans), max(s.high for s in spans))
                _within(draft, rule, trigger, span, "threshold-outside-span", "spans")


def _within(draft: Draft, rule: Rule, trigger: Trigger, allowed: Interval, ident: str, verb: str) -> bool:
    if not isinstance(trigger.test, Limit) or trigger.test.value in allowed:
        return True
    kind, difference = draft.kinds[rule.watched], rule.watched in draft.differences
    what = "what it measures" if ident == "threshold-outside-span" else f"`{rule.watched}`"
    draft.log.report(
        ident,
        f"{value_text(trigger.test.value, kind, difference=difference)} in `{rule.name}` is out of range: "
        f"{what} {verb} {range_text(allowed, kind, difference=difference)}",
        trigger.place,
        "move the threshold, or correct the range",
        ((draft.declared[rule.watched][1], "the range belongs to this"),),
    )
    return False


def range_text(interval: Interval, kind: Kind, *, difference: bool = False) -> str:
    """`-30 degC to 80 degC`."""
    low, high = (value_text(v, kind, difference=difference) for v in (interval.low, interval.high))
    return f"{low} to {high}"
