"""Units, lines and rules."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.records import replace
from interlock.scheme.draft import SIGNAL_OF, Draft
from interlock.scheme.fields import Fields, Named
from interlock.scheme.grammar import WrittenTrigger
from interlock.scheme.keys import Section
from interlock.scheme.model import Line, Rule, Target, Trigger
from interlock.scheme.order import LoopError, in_order
from interlock.scheme.tree import Entry, Scalar, kind_of
from interlock.scheme.words import LineForm, OnInvalid, PowerUp, Reset

DEFAULT_UNIT = "controller"  # where a scheme names no units
WATCHABLE = (Section.SENSORS, Section.READINGS, Section.LINES, Section.PATHS, Section.RULES)


def build_units(draft: Draft) -> tuple[str, ...]:
    """The section `units`: a list of names, or a mapping with a `why` each."""
    for entry, _ in draft.entries(Section.UNITS):
        if not (isinstance(entry.value, Scalar) and not entry.value.text):
            fields = draft.fields(Section.UNITS, entry)
            if fields:
                fields.text("why")
    return tuple(draft.names(Section.UNITS)) or (DEFAULT_UNIT,)


def unit_of(draft: Draft, found: Fields, units: tuple[str, ...]) -> str:
    """The entry's unit, the first one where none is named; "" where it can't be read."""
    if not found.has("unit"):
        return units[0]
    return draft.find(found.named("unit"), Section.UNITS, also=() if draft.names(Section.UNITS) else units)


def build_lines(draft: Draft) -> dict[str, Line]:
    """The section `lines`. The sender of a sent line follows from its rules (`with_senders`)."""
    built = {}
    for entry, accepted in draft.entries(Section.LINES):
        line = _line(draft, entry)
        if line and accepted:
            built[line.name] = line
    return built


def _line(draft: Draft, entry: Entry) -> Line | None:
    name, place = entry.key.text, entry.key.place
    if isinstance(entry.value, Scalar):
        if entry.value.text == str(LineForm.EXTERNAL):
            return Line(name, LineForm.EXTERNAL, place=place)
        draft.log.report(
            "bad-value",
            f"`{name}` holds {kind_of(entry.value)}",
            entry.value.place,
            "expected `external`, or a mapping with low_when, high_when or confirms",
        )
        return None
    found = draft.fields(Section.LINES, entry)
    if found is None:
        return None
    given = [form for form in LineForm if found.has(str(form))]
    external = found.yes_no("external")
    rules: list[str] = []
    for key in (LineForm.LOW_WHEN, LineForm.HIGH_WHEN):
        rules += [rule for named in found.names(str(key)) if (rule := draft.find(named, Section.RULES))]
    output = draft.find(found.named("confirms"), Section.OUTPUTS)
    undriven = found.on_off("undriven_reads") or False
    texts = found.text("terminal"), found.text("wire"), found.text("why")
    if len(given) > 1:
        draft.log.report(
            "keys-exclude",
            f"`{name}` has " + " and ".join(f"`{g}`" for g in given),
            found.key_place(str(given[1])),
            "a line is external, or sent by rules, or confirms an output: keep one",
        )
        return None
    form = given[0] if given else LineForm.EXTERNAL
    if external is False:
        draft.log.report(
            "bad-value",
            f"`{name}` is not external and nothing else",
            found.value_place("external"),
            "say what sends it",
        )
        return None
    if (form.sent and not rules) or (form is LineForm.CONFIRMS and not output):
        return None
    return Line(name, form, tuple(rules), "", output, undriven, *texts, place)


def with_senders(draft: Draft, lines: Mapping[str, Line], rules: Mapping[str, Rule]) -> dict[str, Line]:
    """Sent lines with the unit that sends them: all their rules must be of one unit."""
    built = {}
    for name, line in lines.items():
        senders = {rules[r].unit: r for r in line.rules if r in rules}
        if len(senders) > 1:
            draft.log.report(
                "sent-by-two-units",
                f"`{name}` is sent by rules of " + " and ".join(f"`{u}`" for u in senders),
                line.place,
                "one unit drives a line: give each unit a line of its own",
                tuple((rules[r].place, f"`{r}` is a rule of `{u}`") for u, r in senders.items()),
            )
        built[name] = replace(line, unit=next(iter(senders), ""))
    return built


def build_rules(draft: Draft, units: tuple[str, ...], groups: Mapping[str, tuple[Target, ...]]) -> dict[str, Rule]:
    """The section `rules`; `groups` holds the built-in and the scheme's own, expanded."""
    built = {}
    for entry, accepted in draft.entries(Section.RULES):
        found = draft.fields(Section.RULES, entry)
        if found is None:
            continue
        rule = _rule(draft, found, units, groups)
        if rule and accepted:
            built[rule.name] = rule
    return built


def _rule(draft: Draft, found: Fields, units: tuple[str, ...], groups: Mapping[str, tuple[Target, ...]]) -> Rule | None:
    unit = unit_of(draft, found, units)
    watched = draft.find(found.named("watches"), *WATCHABLE)
    if watched == found.name:
        draft.log.report(
            "watches-itself", f"`{watched}` watches itself", found.value_place("watches"), "name what it looks at"
        )
        watched = ""
    trips, clears = _trigger(draft, found, "trips", watched), _trigger(draft, found, "clears", watched)
    on_invalid, power_up = found.word("on_invalid", OnInvalid), found.word("power_up", PowerUp)
    reset = found.word("reset", Reset) or Reset.AUTOMATIC
    reset_by = draft.find(found.named("reset_by"), Section.LINES)
    only_while = draft.conditions(found.conditions("only_while"), Section.LINES, Section.RULES, Section.PATHS)
    overridden_by = draft.find(found.named("overridden_by"), Section.LINES)
    at_most = found.time("override_at_most")
    blocks = tuple(target for named in found.names("blocks") for target in expand(draft, named, groups))
    starts = [path for named in found.names("starts") if (path := draft.find(named, Section.PATHS))]
    alarm, why = found.text("alarm"), found.text("why")
    _check_companions(draft, found, reset, at_most)
    if not watched or trips is None or clears is None or not unit:
        return None
    return Rule(
        found.name,
        unit,
        SIGNAL_OF[draft.declared[watched][0]],
        watched,
        trips,
        clears,
        on_invalid or OnInvalid.TRIP,
        power_up or PowerUp.TRIPPED,
        reset,
        reset_by,
        only_while,
        overridden_by,
        draft.delay(at_most) if at_most else None,
        merge_targets(blocks),
        tuple(starts),
        alarm,
        why,
        found.place,
    )


def _check_companions(draft: Draft, found: Fields, reset: Reset, at_most: int | None) -> None:
    """Keys that mean nothing without another."""
    if found.has("reset_by") and reset is not Reset.MANUAL:
        draft.log.report(
            "key-without-effect",
            f"`{found.name}` names a reset line and resets by itself",
            found.key_place("reset_by"),
            "add `reset: manual`, or remove `reset_by`",
        )
    if found.has("override_at_most") and not found.has("overridden_by"):
        draft.log.report(
            "key-without-effect",
            f"`{found.name}` limits an override it does not have",
            found.key_place("override_at_most"),
            "add `overridden_by: LINE`, or remove `override_at_most`",
        )
    if at_most == 0:
        draft.log.report(
            "bad-value",
            "an override of no time overrides nothing",
            found.value_place("override_at_most"),
            "give a time of at least one scan",
        )


def _trigger(draft: Draft, found: Fields, key: str, watched: str) -> Trigger | None:
    written: WrittenTrigger | None = found.trigger(key)
    if written is None or not watched:
        return None
    signal = SIGNAL_OF[draft.declared[watched][0]]
    test = draft.test(watched, signal, written.test, found.part(key, written.start, written.length))
    return None if test is None else Trigger(test, draft.delay(written.us), found.value_place(key))


def expand(draft: Draft, named: Named, groups: Mapping[str, tuple[Target, ...]]) -> tuple[Target, ...]:
    """A path or a group as targets."""
    if named.text in groups:
        return tuple(replace(target, group=named.text) for target in groups[named.text])
    own = tuple(draft.names(Section.GROUPS))
    if named.text in own:
        return ()  # reported where the group stands
    name = draft.find(named, Section.PATHS, also=tuple(groups))
    return (Target(name),) if name else ()


def merge_targets(targets: tuple[Target, ...]) -> tuple[Target, ...]:
    """Each path once: always, where one of its targets is; else while any of their modes holds."""
    merged: dict[str, Target] = {}
    for target in targets:
        known = merged.get(target.path)
        if known is None:
            merged[target.path] = target
        elif known.when and target.when:
            merged[target.path] = replace(known, when=tuple(dict.fromkeys((*known.when, *target.when))))
        elif known.when:
            merged[target.path] = target
    return tuple(merged.values())


def rule_order(draft: Draft, rules: Mapping[str, Rule], lines: Mapping[str, Line]) -> tuple[str, ...]:
    """The rules so that each stands after all it depends on within one scan; a loop is reported, rule by rule."""
    try:
        return in_order(rules, {name: line.rules for name, line in lines.items()})
    except LoopError as error:
        draft.log.report(
            "loop",
            f"rules wait for each other within one scan: {error}",
            rules[error.rules[0]].place,
            "let one of them watch a path or a confirming line: those are seen as of the scan before",
            tuple((rules[name].place, f"`{name}`") for name in error.rules[1:-1]),
        )
        return ()


def start_defaults(rule: Rule, *, given_on_invalid: bool, given_power_up: bool) -> Rule:
    """A rule whose only effect is to start something is safe when it does not: other defaults."""
    return replace(
        rule,
        on_invalid=rule.on_invalid if given_on_invalid else OnInvalid.CLEAR,
        power_up=rule.power_up if given_power_up else PowerUp.CLEAR,
    )
