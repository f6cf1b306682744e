"""The bench's markup: every control with its label, before any script runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, cast

from interlock.bench.drawings import lit_drawings
from interlock.bench.situations import situations
from interlock.bench.tables import Plain
from interlock.bench.words import Words
from interlock.draw.words import limit_text
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Combine, Signal

Rows = Sequence[Mapping[str, Any]]


def markup(scheme: Scheme, known: Plain, words: Words, *, portable: bool = False) -> str:
    """All that stands under the bench's title. `known`: the scheme's `facts`. Raises NoRendererError."""
    say = _Say(words)
    return (
        f"<p>{say('intro')}</p>\n"
        f'<noscript><p class="bench-warning">{say("no_script")}</p></noscript>\n'
        f'<div class="bench-live">\n{situations(scheme, known, say)}{_time(say)}<div class="bench-columns">\n'
        f'<div class="bench-set">\n{_readings(scheme, known, say)}{_lines(known, say)}</div>\n'
        f'<div class="bench-see">\n{_paths(known, say)}{_rules(known, say)}</div>\n'
        f'<div class="bench-more">\n{_faults(known, say)}{_cases(known, say)}</div>\n</div>\n'
        f"{_drawings(lit_drawings(scheme, portable=portable), say)}{_history(say)}{_share(say)}{_said()}</div>\n"
    )


class _Say:
    """The words of a text, its fields filled, as text inside HTML."""

    def __init__(self, words: Words) -> None:
        self.words = words

    def __call__(self, key: str, /, **fields: object) -> str:
        return escape(self.words[key].format(**fields))

    def options(self, prefix: str, values: Sequence[int]) -> str:
        """Choices whose words differ by a number."""
        return "".join(f'<option value="{n}">{self(f"{prefix}_{n}")}</option>' for n in values)


def _rows(known: Plain, name: str) -> Rows:
    return cast(Rows, known[name])


def _time(say: _Say) -> str:
    return (
        f'<div class="bench-time" role="group" aria-label="{say("time")}">\n'
        '<span id="bench-clock" class="bench-clock"></span>\n'
        '<button type="button" id="bench-run"></button>\n'
        f'<label>{say("speed")} <select id="bench-speed">{say.options("speed", SPEEDS)}</select></label>\n'
        f'<button type="button" id="bench-scan">{say("one_scan")}</button>\n'
        f'<button type="button" id="bench-next">{say("to_next")}</button>\n'
        f'<button type="button" id="bench-settle">{say("until_rest")}</button>\n'
        f'<button type="button" id="bench-rest">{say("anew_rest")}</button>\n'
        f'<button type="button" id="bench-power">{say("anew_power")}</button>\n</div>\n'
    )


SPEEDS = (1, 10, 60, 600)


def _readings(scheme: Scheme, known: Plain, say: _Say) -> str:
    sensors = _rows(known, "sensors")
    groups: dict[tuple[str, ...], str] = {}
    for reading in scheme.readings.values():
        if reading.combine is not Combine.DIFFERENCE_OF and len(reading.sensors) > 1:
            groups.setdefault(reading.sensors, "")
    together = "".join(_together(members, sensors, say) for members in groups)
    single = "".join(_reading(scheme, s, say) for s in sensors)
    return f"<h3>{say('sensors')}</h3>\n{_first_try(scheme, say)}{together}{single}"


def _first_try(scheme: Scheme, say: _Say) -> str:
    """What someone who has never seen the page may do first: the first rule that holds a value against a limit."""
    for rule in scheme.rules.values():
        limit = rule.trips.test
        if isinstance(limit, Limit) and rule.blocks and not rule.manual and rule.watches is not Signal.QUANTITY:
            reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
            if reading and reading.combine is Combine.DIFFERENCE_OF:
                continue
            sensors = reading.sensors if reading else (rule.watched,)
            slider = _joint(sensors, say) if len(sensors) > 1 else sensors[0]
            kind = scheme.sensors[sensors[0]].kind
            asked = limit_text(limit.compare, value_text(limit.value, kind))
            waited = time_text(rule.trips.delay.us + scheme.scan_us)
            return f'<p class="bench-hint">{say("try", slider=slider, limit=asked, time=waited)}</p>\n'
    return ""


def _joint(members: Sequence[str], say: _Say) -> str:
    listed = f"{', '.join(members[:-1])} {say.words['and']} {members[-1]}"
    return say.words["together"].format(sensors=listed)


def _together(members: Sequence[str], sensors: Rows, say: _Say) -> str:
    first = next(s for s in sensors if s["name"] == members[0])
    return _slider("+".join(members), _joint(members, say), say.words["together_means"], first, "", say)


def _reading(scheme: Scheme, sensor: Mapping[str, Any], say: _Say) -> str:
    name, kind = sensor["name"], scheme.sensors[sensor["name"]].kind
    limits = "".join(
        f"<li>{_limit(scheme, one['rule'], say, trips=one['trips'], value=value_text(one['value'], kind))}</li>"
        for one in sensor["limits"]
    )
    more = f"<details><summary>{say('limits_on', name=name)}</summary><ul>{limits}</ul></details>" if limits else ""
    measures = say.words["measures"].format(quantities=", ".join(sensor["measures"]))
    return _slider(name, name, measures, sensor, more, say)


def _limit(scheme: Scheme, rule: str, say: _Say, *, trips: bool, value: str) -> str:
    found = scheme.rules[rule]
    test = (found.trips if trips else found.clears).test
    assert not isinstance(test, bool)
    return say(f"limit_{'trips' if trips else 'clears'}", rule=rule, limit=limit_text(test.compare, value))


def _slider(key: str, name: str, says: str, sensor: Mapping[str, Any], more: str, say: _Say) -> str:
    """A slider and a field for the same value, in base units."""
    low, high, step = (_decimal(sensor[k]) for k in ("low", "high", "step"))
    ident = "bench-" + key.replace("+", "-and-")
    unit = sensor["unit"]
    shared = f'min="{low}" max="{high}" data-reading="{escape(key)}"'
    return (
        f'<div class="bench-reading" data-row="{escape(key)}"><label for="{ident}"><b>{escape(name)}</b> '
        f"<small>{escape(says)}</small></label>\n"
        f'<div class="bench-value"><input type="range" id="{ident}" {shared} step="{step}">\n'
        f'<span><input type="number" {shared} step="any" aria-label="{say("field", name=name, unit=unit)}"> {unit}'
        "</span></div>\n"
        f'<p class="bench-now" data-now="{escape(key)}"></p>{more}</div>\n'
    )


def _decimal(micro: int) -> str:
    return f"{micro / 10**6:.6f}".rstrip("0").rstrip(".")


def _lines(known: Plain, say: _Say) -> str:
    rows = "".join(_line(line, say) for line in _rows(known, "lines") if line["form"] == "external")
    return f'<h3>{say("outside")}</h3>\n<ul class="bench-lines">{rows}</ul>\n' if rows else ""


def _line(line: Mapping[str, Any], say: _Say) -> str:
    name = escape(line["name"])
    label = say("press_label", name=line["name"])
    press = (
        f' <button type="button" data-press="{name}" aria-label="{label}">{say("press")}</button>'
        if line["button"]
        else ""
    )
    return (
        f'<li><label><input type="checkbox" role="switch" data-line="{name}"> <b>{name}</b> '
        f'<span data-line-state="{name}"></span></label>{press}</li>\n'
    )


def _faults(known: Plain, say: _Say) -> str:
    parts: dict[str, dict[str, list[Mapping[str, Any]]]] = {}
    for fault in _rows(known, "faults"):
        for part in fault["parts"]:
            parts.setdefault(fault["part"], {}).setdefault(part, []).append(fault)
    groups = "".join(
        f'<optgroup label="{say("part_" + kind)}">'
        + "".join(f"<option>{escape(name)}</option>" for name in names)
        + "</optgroup>"
        for kind, names in parts.items()
    )
    cycles = "".join(
        f'<button type="button" data-cycle="{escape(u)}">{say("cycle", unit=u)}</button> '
        for u in cast(Sequence[str], known["units"])
    )
    names = cast(Sequence[str], known["unplantable"])
    left_out = f'<p class="bench-hint">{say("unplantable", faults=", ".join(names))}</p>\n' if names else ""
    return (
        f'<h3>{say("faults")}</h3>\n<div class="bench-faults"><label>{say("part")} '
        f'<select id="bench-part">{groups}</select></label>\n'
        f'<label>{say("wrong")} <select id="bench-fault"></select></label>\n'
        f'<button type="button" id="bench-plant">{say("plant")}</button></div>\n'
        '<p id="bench-means" class="bench-hint"></p>\n'
        f'<ul id="bench-planted" class="bench-planted" aria-label="{say("planted")}"></ul>\n'
        f'<p class="bench-cycles">{cycles}</p>\n{left_out}'
    )


def _cases(known: Plain, say: _Say) -> str:
    cases = _rows(known, "cases")
    if not cases:
        return ""
    options = "".join(f'<option value="{i}">{escape(case["name"])}</option>' for i, case in enumerate(cases))
    return (
        f'<h3>{say("cases")}</h3>\n<div class="bench-faults"><label>{say("case")} '
        f'<select id="bench-case">{options}</select></label>\n'
        f'<button type="button" id="bench-play">{say("case_start")}</button> '
        f'<button type="button" id="bench-step" disabled>{say("case_step")}</button></div>\n'
        '<p id="bench-case-said" class="bench-hint"></p>\n'
    )


def _paths(known: Plain, say: _Say) -> str:
    paths = _rows(known, "paths")
    groups = (
        ("sources", [p for p in paths if p["charges"]]),
        ("loads", [p for p in paths if p["draws"] and not p["charges"]]),
        ("others", [p for p in paths if not p["draws"] and not p["charges"]]),
    )
    lists = "".join(
        f'<h4>{say(title)}</h4>\n<ul class="bench-paths">{"".join(_path(p["name"], say) for p in members)}</ul>\n'
        for title, members in groups
        if members
    )
    return (
        f'<h3>{say("runs")}</h3>\n<p class="bench-hint">{say("open_path")}</p>\n'
        f'<p id="bench-alarms" class="bench-alarms"></p>\n{lists}'
    )


def _path(name: str, say: _Say) -> str:
    label = say("why_of", path=name)
    name = escape(name)
    return (
        f'<li data-path="{name}"><button type="button" aria-expanded="false" aria-controls="bench-why-{name}" '
        f'data-why="{name}"><b>{name}</b> <span class="bench-state" data-state="{name}"></span></button>\n'
        f'<div id="bench-why-{name}" class="bench-why" role="region" aria-label="{label}" hidden></div></li>\n'
    )


def _rules(known: Plain, say: _Say) -> str:
    rules = _rows(known, "rules")
    rows = "".join(
        f'<li data-rule="{escape(r["name"])}"><b>{escape(r["name"])}</b> <span data-rule-state="{escape(r["name"])}">'
        "</span></li>\n"
        for r in rules
    )
    return f'<details class="bench-rules"><summary>{say("rules")}</summary><ul>{rows}</ul></details>\n'


def _drawings(drawings: Mapping[str, str], say: _Say) -> str:
    titles = {name: say("logic_of", path=name) if name else say("overview") for name in drawings}
    options = "".join(f'<option value="{escape(name)}">{titles[name]}</option>' for name in drawings)
    figures = "".join(
        f'<figure class="bench-drawing" data-drawing="{escape(name)}" tabindex="0" role="group" '
        f'aria-label="{say.words["drawing_of"].format(name=titles[name])}"{" hidden" if name else ""}>{svg}'
        "</figure>\n"
        for name, svg in drawings.items()
    )
    return (
        f'<h3>{say("on_drawing")}</h3>\n<p class="bench-hint">{say("lit")}</p>\n'
        f'<p><label>{say("drawing")} <select id="bench-drawing">{options}</select></label></p>\n{figures}'
    )


def _history(say: _Say) -> str:
    return (
        f"<h3>{say('happened')}</h3>\n"
        f'<p><label>{say("shown")} <select id="bench-span">{say.options("span", SPANS)}</select></label></p>\n'
        f'<figure class="bench-chart" id="bench-chart" tabindex="0" role="group" aria-label="{say("strip")}">'
        "</figure>\n"
        f'<details><summary>{say("in_words")}</summary><ol id="bench-log" class="bench-log"></ol></details>\n'
    )


SPANS = (60, 600, 3600, 0)  # seconds; 0 for all of it


def _share(say: _Say) -> str:
    return (
        f'<h3>{say("pass_on")}</h3>\n<p class="bench-share"><label for="bench-link">{say("link")}</label> '
        '<input type="text" id="bench-link" readonly> '
        f'<button type="button" id="bench-copy">{say("copy")}</button></p>\n'
        '<p id="bench-link-said" class="bench-hint" role="status"></p>\n'
    )


def _said() -> str:
    return (
        '<div class="bench-bar"><p id="bench-said" role="status" aria-live="polite"></p>'
        '<button type="button" id="bench-why-last" hidden></button></div>\n'
    )
