"""Each rule of the scheme: its sentences, its numbers, its machine."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.draw.everything import DrawingKind
from interlock.draw.page import Drawing
from interlock.draw.words import condition_text, trigger_text
from interlock.explain.phrases import text
from interlock.explain.rules import rules as told
from interlock.handbook.html import Html, Part, element, joined, pairs, paragraph, plain
from interlock.handbook.inline import strip
from interlock.handbook.installation import item_html
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.units import time_text
from interlock.scheme.words import LineForm, OnInvalid, PowerUp

_LOST = {OnInvalid.TRIP: "rules.lost_trip", OnInvalid.CLEAR: "rules.lost_clear", OnInvalid.HOLD: "rules.lost_hold"}
assert set(_LOST) == set(OnInvalid), set(OnInvalid) - set(_LOST)

_POWER_UP = {
    PowerUp.TRIPPED: "rules.power_up_tripped",
    PowerUp.CLEAR: "rules.power_up_clear",
    PowerUp.AS_LEFT: "rules.power_up_as_left",
}
assert set(_POWER_UP) == set(PowerUp), set(PowerUp) - set(_POWER_UP)


def rules(material: Material, words: Catalogue) -> Part:
    """All rules in the scheme's order."""
    machines = {d.name: d for d in material.drawings.get(DrawingKind.MACHINE, ())}
    sentences = {item.name: item for item in told(material.scheme)}
    body = [paragraph(words("rules.says"))]
    for rule in material.scheme.rules.values():
        item = sentences[rule.name]
        own = [
            element("h3", text(item.heading, words.phrases)),
            item_html(words, item, ""),
            pairs(numbers(material.scheme, rule, words)),
            _machine(words, machines.get(f"machine_{rule.name}")),
        ]
        body.append(Html(f'<article class="rule" id="rule-{plain(rule.name)}">{joined(own)}</article>\n'))
    return Part("rules", words("rules.title"), joined(body), "wide")


def _machine(words: Catalogue, drawing: Drawing | None) -> Html:
    return strip(words, drawing) if drawing else Html("")


def numbers(scheme: Scheme, rule: Rule, words: Catalogue) -> Iterator[tuple[str, str]]:
    """A rule's own numbers, name by name."""
    yield words("rules.watches"), rule.watched
    yield words("rules.trips"), trigger_text(scheme, rule, rule.trips)
    yield words("rules.clears"), trigger_text(scheme, rule, rule.clears)
    if rule.manual:
        yield (
            words("rules.resets"),
            words("rules.by_hand", line=rule.reset_by) if rule.reset_by else words("rules.by_nobody"),
        )
    else:
        yield words("rules.resets"), words("rules.by_itself")
    for condition in rule.only_while:
        yield words("rules.only_while"), condition_text(scheme, condition)
    if rule.overridden_by:
        limit = rule.override_at_most
        yield (
            words("rules.overridden"),
            words("rules.override_limit", line=rule.overridden_by, time=time_text(limit.us))
            if limit
            else words("rules.override_free", line=rule.overridden_by),
        )
    if rule.watches.numeric:
        yield words("rules.lost"), words(_LOST[rule.on_invalid])
    yield words("rules.power_up"), words(_POWER_UP[rule.power_up])
    does = list(_effects(scheme, rule, words))
    if does:
        yield words("rules.does"), "; ".join(does)


def _effects(scheme: Scheme, rule: Rule, words: Catalogue) -> Iterator[str]:
    if rule.blocks:
        yield words("rules.stops", paths=", ".join(dict.fromkeys(t.path for t in rule.blocks)))
    if rule.starts:
        yield words("rules.starts", paths=", ".join(rule.starts))
    sent = [
        f"{line.name} {words('rules.on') if line.form is LineForm.HIGH_WHEN else words('rules.off')}"
        for line in scheme.lines.values()
        if rule.name in line.rules
    ]
    if sent:
        yield words("rules.sends", lines=", ".join(sent))
    if rule.alarm:
        yield words("rules.alarm", words=rule.alarm)
