"""The bench's markup: every control with its label, before any script runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, cast

from interlock.bench.drawings import lit_drawings
from interlock.bench.tables import Plain
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Combine, Signal

Rows = Sequence[Mapping[str, Any]]

INTRO = (
    "Move a slider, flip a switch, press a button or plant a fault, and see what runs, what stops, and why. It is a "
    "model of this scheme that runs in the page alone: it is connected to nothing, and trying it does not replace a "
    "test of the installation."
)
TRY = "First try: move {slider} until it reads {limit}, wait {time}, and open a path that has stopped to see why."


def markup(scheme: Scheme, known: Plain, *, portable: bool = False) -> str:
    """All of the bench. `known`: the scheme's `facts`. Raises NoRendererError."""
    return (
        '<section class="bench" id="bench" aria-labelledby="bench-title">\n<h2 id="bench-title">Try it</h2>\n'
        f"<p>{escape(INTRO)}</p>\n"
        '<noscript><p class="bench-warning">The bench needs this page\'s own script.</p></noscript>\n'
        f'<div class="bench-live">\n{_time()}<div class="bench-columns">\n'
        f'<div class="bench-set">\n{_readings(scheme, _rows(known, "sensors"))}{_lines(_rows(known, "lines"))}</div>\n'
        f'<div class="bench-see">\n{_paths(_rows(known, "paths"))}{_rules(_rows(known, "rules"))}</div>\n'
        f'<div class="bench-more">\n{_faults(known)}{_cases(_rows(known, "cases"))}</div>\n</div>\n'
        f"{_drawings(lit_drawings(scheme, portable=portable))}{_history()}{_share()}{_said()}</div>\n</section>\n"
    )


def _rows(known: Plain, name: str) -> Rows:
    return cast(Rows, known[name])


def _time() -> str:
    speeds = "".join(f'<option value="{n}">{words}</option>' for n, words in SPEEDS)
    return (
        '<div class="bench-time" role="group" aria-label="Time">\n<span id="bench-clock" class="bench-clock"></span>\n'
        '<button type="button" id="bench-run"></button>\n'
        f'<label>Speed <select id="bench-speed">{speeds}</select></label>\n'
        '<button type="button" id="bench-scan">One scan</button>\n'
        '<button type="button" id="bench-next">To the next change</button>\n'
        '<button type="button" id="bench-settle">Until it rests</button>\n'
        '<button type="button" id="bench-rest">Start anew, at rest</button>\n'
        '<button type="button" id="bench-power">Start anew, at power-up</button>\n</div>\n'
    )


SPEEDS = ((1, "as it is"), (10, "10 times"), (60, "60 times"), (600, "600 times"))


def _readings(scheme: Scheme, sensors: Rows) -> str:
    groups: dict[tuple[str, ...], str] = {}
    for reading in scheme.readings.values():
        if reading.combine is not Combine.DIFFERENCE_OF and len(reading.sensors) > 1:
            groups.setdefault(reading.sensors, "")
    together = "".join(_together(members, sensors) for members in groups)
    single = "".join(_reading(scheme, s) for s in sensors)
    return f"<h3>What the sensors read</h3>\n{_first_try(scheme)}{together}{single}"


def _first_try(scheme: Scheme) -> str:
    """What someone who has never seen the page may do first: the first rule that holds a value against a limit."""
    for rule in scheme.rules.values():
        limit = rule.trips.test
        if isinstance(limit, Limit) and rule.blocks and not rule.manual and rule.watches is not Signal.QUANTITY:
            reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
            if reading and reading.combine is Combine.DIFFERENCE_OF:
                continue
            sensors = reading.sensors if reading else (rule.watched,)
            slider = " and ".join(sensors) + (" together" if len(sensors) > 1 else "")
            kind = scheme.sensors[sensors[0]].kind
            asked = f"{str(limit.compare).replace('_', ' ')} {value_text(limit.value, kind)}"
            waited = time_text(rule.trips.delay.us + scheme.scan_us)
            return f'<p class="bench-hint">{escape(TRY.format(slider=slider, limit=asked, time=waited))}</p>\n'
    return ""


def _together(members: Sequence[str], sensors: Rows) -> str:
    first = next(s for s in sensors if s["name"] == members[0])
    name = " and ".join(members)
    return _slider("+".join(members), f"{name} together", "all of them given the same", first, "")


def _reading(scheme: Scheme, sensor: Mapping[str, Any]) -> str:
    name, kind = sensor["name"], scheme.sensors[sensor["name"]].kind
    limits = "".join(
        f"<li>{escape(_limit(scheme, one['rule'], trips=one['trips'], value=value_text(one['value'], kind)))}</li>"
        for one in sensor["limits"]
    )
    more = f"<details><summary>Limits on {escape(name)}</summary><ul>{limits}</ul></details>" if limits else ""
    return _slider(name, name, "measures " + ", ".join(sensor["measures"]), sensor, more)


def _limit(scheme: Scheme, rule: str, *, trips: bool, value: str) -> str:
    found = scheme.rules[rule]
    test = (found.trips if trips else found.clears).test
    assert not isinstance(test, bool)
    return f"{rule} {'trips' if trips else 'clears'} {str(test.compare).replace('_', ' ')} {value}"


def _slider(key: str, name: str, says: str, sensor: Mapping[str, Any], more: str) -> str:
    """A slider and a field for the same value, in base units."""
    low, high, step = (_decimal(sensor[k]) for k in ("low", "high", "step"))
    ident = "bench-" + key.replace("+", "-and-")
    unit = sensor["unit"]
    shared = f'min="{low}" max="{high}" data-reading="{escape(key)}"'
    return (
        f'<div class="bench-reading" data-row="{escape(key)}"><label for="{ident}"><b>{escape(name)}</b> '
        f"<small>{escape(says)}</small></label>\n"
        f'<div class="bench-value"><input type="range" id="{ident}" {shared} step="{step}">\n'
        f'<span><input type="number" {shared} step="any" aria-label="{escape(name)}, in {unit}"> {unit}</span></div>\n'
        f'<p class="bench-now" data-now="{escape(key)}"></p>{more}</div>\n'
    )


def _decimal(micro: int) -> str:
    return f"{micro / 10**6:.6f}".rstrip("0").rstrip(".")


def _lines(lines: Rows) -> str:
    rows = "".join(_line(line) for line in lines if line["form"] == "external")
    return f'<h3>Signals from outside</h3>\n<ul class="bench-lines">{rows}</ul>\n' if rows else ""


def _line(line: Mapping[str, Any]) -> str:
    name = escape(line["name"])
    press = (
        f' <button type="button" data-press="{name}" aria-label="Press {name} for one scan">Press</button>'
        if line["button"]
        else ""
    )
    return (
        f'<li><label><input type="checkbox" role="switch" data-line="{name}"> <b>{name}</b> '
        f'<span data-line-state="{name}"></span></label>{press}</li>\n'
    )


def _faults(known: Plain) -> str:
    parts: dict[str, dict[str, list[Mapping[str, Any]]]] = {}
    for fault in _rows(known, "faults"):
        for part in fault["parts"]:
            parts.setdefault(fault["part"], {}).setdefault(part, []).append(fault)
    groups = "".join(
        f'<optgroup label="{escape(kind)}">'
        + "".join(f"<option>{escape(name)}</option>" for name in names)
        + "</optgroup>"
        for kind, names in parts.items()
    )
    cycles = "".join(
        f'<button type="button" data-cycle="{escape(u)}">Cycle the power of {escape(u)}</button> '
        for u in cast(Sequence[str], known["units"])
    )
    return (
        '<h3>Faults</h3>\n<div class="bench-faults"><label>Part '
        f'<select id="bench-part">{groups}</select></label>\n'
        '<label>What is wrong with it <select id="bench-fault"></select></label>\n'
        '<button type="button" id="bench-plant">Plant this fault</button></div>\n'
        '<p id="bench-means" class="bench-hint"></p>\n'
        '<ul id="bench-planted" class="bench-planted" aria-label="Planted faults"></ul>\n'
        f'<p class="bench-cycles">{cycles}</p>\n'
    )


def _cases(cases: Rows) -> str:
    if not cases:
        return ""
    options = "".join(f'<option value="{i}">{escape(case["name"])}</option>' for i, case in enumerate(cases))
    return (
        '<h3>Cases of the scheme</h3>\n<div class="bench-faults"><label>Case '
        f'<select id="bench-case">{options}</select></label>\n'
        '<button type="button" id="bench-play">Start this case</button> '
        '<button type="button" id="bench-step" disabled>Its next step</button></div>\n'
        '<p id="bench-case-said" class="bench-hint"></p>\n'
    )


def _paths(paths: Rows) -> str:
    groups = (
        ("Charge sources", [p for p in paths if p["charges"]]),
        ("Loads", [p for p in paths if p["draws"] and not p["charges"]]),
        ("Other paths", [p for p in paths if not p["draws"] and not p["charges"]]),
    )
    lists = "".join(
        f'<h4>{title}</h4>\n<ul class="bench-paths">{"".join(_path(p["name"]) for p in members)}</ul>\n'
        for title, members in groups
        if members
    )
    return (
        '<h3>What runs</h3>\n<p class="bench-hint">Open a path to see why.</p>\n'
        f'<p id="bench-alarms" class="bench-alarms"></p>\n{lists}'
    )


def _path(name: str) -> str:
    name = escape(name)
    return (
        f'<li data-path="{name}"><button type="button" aria-expanded="false" aria-controls="bench-why-{name}" '
        f'data-why="{name}"><b>{name}</b> <span class="bench-state" data-state="{name}"></span></button>\n'
        f'<div id="bench-why-{name}" class="bench-why" role="region" aria-label="Why: {name}" hidden></div></li>\n'
    )


def _rules(rules: Rows) -> str:
    rows = "".join(
        f'<li data-rule="{escape(r["name"])}"><b>{escape(r["name"])}</b> <span data-rule-state="{escape(r["name"])}">'
        "</span></li>\n"
        for r in rules
    )
    return f'<details class="bench-rules"><summary>All rules and their states</summary><ul>{rows}</ul></details>\n'


def _drawings(drawings: Mapping[str, str]) -> str:
    options = "".join(
        f'<option value="{escape(name)}">{escape(f"Logic of {name}" if name else "Overview")}</option>'
        for name in drawings
    )
    figures = "".join(
        f'<figure class="bench-drawing" data-drawing="{escape(name)}" tabindex="0" role="group" '
        f'aria-label="Drawing: {escape(f"logic of {name}" if name else "overview")}"{" hidden" if name else ""}>{svg}'
        "</figure>\n"
        for name, svg in drawings.items()
    )
    return (
        '<h3>On the drawing</h3>\n<p class="bench-hint">Heavy and marked: what acts now. Each box says its state.</p>\n'
        f'<p><label>Drawing <select id="bench-drawing">{options}</select></label></p>\n{figures}'
    )


def _history() -> str:
    spans = "".join(f'<option value="{s}">{words}</option>' for s, words in SPANS)
    return (
        "<h3>What happened</h3>\n"
        f'<p><label>Shown <select id="bench-span">{spans}</select></label></p>\n'
        '<figure class="bench-chart" id="bench-chart" tabindex="0" role="group" aria-label="Strip chart"></figure>\n'
        '<details><summary>In words</summary><ol id="bench-log" class="bench-log"></ol></details>\n'
    )


SPANS = ((60, "the last minute"), (600, "the last 10 min"), (3600, "the last hour"), (0, "all of it"))


def _share() -> str:
    return (
        '<h3>Pass it on</h3>\n<p class="bench-share"><label for="bench-link">Link to this setting</label> '
        '<input type="text" id="bench-link" readonly> '
        '<button type="button" id="bench-copy">Copy the link</button></p>\n'
        '<p id="bench-link-said" class="bench-hint" role="status"></p>\n'
    )


def _said() -> str:
    return (
        '<div class="bench-bar"><p id="bench-said" role="status" aria-live="polite"></p>'
        '<button type="button" id="bench-why-last" hidden></button></div>\n'
    )
