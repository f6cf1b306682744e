"""A test sheet as one page: it prints on A4, and on a phone it takes the results by touch, offline."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable
from html import escape
from importlib.resources import files

from interlock.plan.results import FORMAT
from interlock.plan.sheet import EITHER, Sheet
from interlock.scheme.model import Scheme
from interlock.sheet.cautions import CAUTIONS, NO_CERTIFICATE, TESTING
from interlock.sheet.step_style import STEPS
from interlock.sheet.step_words import Expected, Told, Words, sheet_words
from interlock.sheet.style import STYLE, css_string

UNPROVED = " (that there is none is not proved)"
SHORT = 12  # hexadecimal digits of a digest that people compare by eye


def step_page(scheme: Scheme, sheet: Sheet) -> str:
    """The page, with nothing to be fetched from anywhere. Raises ValueError where sheet and scheme do not fit."""
    words = sheet_words(scheme, sheet)
    script = (files("interlock") / "sheet" / "page.js").read_text(encoding="utf-8")
    title = f"Test sheet: {escape(sheet.scheme)}"
    revision = f"revision {scheme.revision}, " if scheme.revision else ""
    facts = f"{revision}{len(sheet.steps)} steps, {sheet.minutes:g} min of waiting"
    digests = f"scheme {sheet.scheme_digest[:SHORT]}…, sheet {sheet.digest[:SHORT]}…"
    style = (
        STYLE.replace("FOOT", css_string(f"{sheet.scheme}, {digests}. {NO_CERTIFICATE}"))
        + STEPS.replace("HEAD", css_string(f"Test sheet: {sheet.scheme}, {facts}"))
    )  # fmt: skip
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(script)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f"{_lost()}<h1>{title}</h1>\n<p>{escape(facts)}<br><small>{escape(digests)}</small></p>\n"
        f"{_cautions()}{_before(sheet)}{_tools(words)}{_where(words)}{_who()}"
        + "".join(_step(told, len(words.steps)) for told in words.steps)
        + f"{_results()}{_limits(sheet)}{_bar()}"
        f'<script type="application/json" id="sheet">{_data(sheet, words)}</script>\n'
        f"<script>{script}</script>\n</body>\n</html>\n"
    )


def _policy(script: str) -> str:
    """What the page may load: its own script and its own style, and nothing else from anywhere."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; base-uri 'none'; "
        "form-action 'none'"
    )


def _data(sheet: Sheet, words: Words) -> str:
    """What the script has to know. No text in it can end the element it stands in."""
    data = {
        "format": FORMAT,
        "scheme": sheet.scheme,
        "scheme_digest": sheet.scheme_digest,
        "sheet_digest": sheet.digest,
        "steps": [
            {
                "step": told.number,
                "counts_from": told.counts_from,
                "look_s": told.look_s,
                "expect": {e.name: e.expected for e in told.expected},
                "words": {e.name: e.words for e in told.expected},
            }
            for told in words.steps
        ],
    }
    return json.dumps(data, ensure_ascii=False).replace("<", "\\u003c")


def _lost() -> str:
    return (
        '<p class="warning screen" id="lost" role="alert" hidden>This browser keeps nothing for this page: what you '
        "enter is LOST when the page is closed or reloaded. Take the results file or copy the text before you leave "
        "it, or open the page in another browser.</p>\n"
        '<noscript><p class="warning">Without its script this page takes no results: print it, or allow the script.'
        "</p></noscript>\n"
    )


def _cautions() -> str:
    items = "".join(f"<li><b>{escape(c.word)}.</b> {escape(c.says)}</li>" for c in (*TESTING, *CAUTIONS))
    return (
        f'<section class="cautions" aria-labelledby="cautions"><h2 id="cautions">Cautions: read before step 1</h2>'
        f"<ul>{items}</ul><p>{escape(NO_CERTIFICATE)}</p></section>\n"
    )


def _before(sheet: Sheet) -> str:
    return f'<section class="before"><h2>Before step 1</h2><ul>{_list(sheet.before)}</ul></section>\n'


def _list(items: Iterable[str]) -> str:
    return "".join(f"<li>{escape(item)}</li>" for item in items)


def _tools(words: Words) -> str:
    return f'<section class="tools"><h2>Tools needed</h2><ul>{_list(words.tools)}</ul></section>\n'


def _where(words: Words) -> str:
    """Where each thing is looked at: once for paper, where a step has room for names only."""
    places = dict.fromkeys((e.name, e.looked_at) for told in words.steps for e in told.expected)
    rows = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{escape(looked_at)}</td></tr>' for name, looked_at in places
    )
    return (
        '<section class="where"><h2>Where to look</h2><p>Each step says of each thing whether it must still be as it '
        f"was at the look before, or now be otherwise. Look at all of it.</p><table>{rows}</table></section>\n"
    )


def _who() -> str:
    return (
        '<section class="who-page"><label>Tested by <input type="text" data-field="by" autocomplete="name"></label>'
        '<label>Date <input type="date" data-field="when" required></label>'
        '<span class="paper">Signature</span></section>\n'
    )


def _step(told: Told, count: int) -> str:
    n = told.number
    start = (
        f'<button type="button" class="screen" data-start="{n}">Start the stopwatch of step {n}</button> '
        if told.counts_from == n and told.look_s
        else ""
    )
    timer = f'<output class="screen timer" data-timer="{n}" role="timer"></output>' if told.look_s else ""
    rows = f'<div class="rows">{"".join(_row(n, expected) for expected in told.expected)}</div>'
    passed = "".join(
        _verdict(n, value, word) for value, word in (("true", "pass"), ("false", "FAIL"), ("null", "open"))
    )
    return (
        f'<section class="step" id="step-{n}" tabindex="-1" aria-labelledby="title-{n}">'
        f'<h2 id="title-{n}">Step {n} of {count}</h2>\n<ul class="does">{_list(told.does)}</ul>\n'
        f'<p class="wait"><b>{escape(told.waits[:1].upper() + told.waits[1:])}.</b> {escape(told.hurry)} {start}{timer}'
        f"</p>\n{rows}"
        f'<div class="verdict"><span role="radiogroup" aria-label="step {n}, judged" class="choices">{passed}</span>'
        f'<label>initials <input type="text" class="initials" maxlength="8" data-field="initials" data-step="{n}">'
        f'</label><label class="note">note <input type="text" data-field="note" data-step="{n}"></label></div>'
        "</section>\n"
    )


def _verdict(n: int, value: str, word: str) -> str:
    """One of the choices for a step as a whole; on paper two will do."""
    still_open = ' class="screen"' if value == "null" else ""
    checked = " checked" if value == "null" else ""
    return (
        f'<label{still_open}><input type="radio" name="passed-{n}" value="{value}" data-field="passed" '
        f'data-step="{n}"{checked}> {word}</label>'
    )


def _row(n: int, expected: Expected) -> str:
    name = escape(expected.name)
    measured = (
        f'<label class="measured">measured <input type="text" data-field="measured" data-step="{n}" '
        f'data-name="{name}" aria-label="{name}, measured value"></label>'
        if expected.measurable
        else "<span></span>"
    )
    choices = "".join(
        f'<label><input type="radio" name="seen-{n}-{name}" value="{word}" data-field="seen" data-step="{n}" '
        f'data-name="{name}"> {word}</label>'
        for word in expected.words
    )
    return (
        f'<div class="row" role="radiogroup" aria-labelledby="row-{n}-{name}"><div class="what" id="row-{n}-{name}">'
        f"<b>{name}</b> <small>{escape(expected.looked_at)}</small>"
        f'<div class="expected">{_wanted(expected)}</div></div>'
        f'<div class="choices">{choices}<button type="button" class="screen" data-clears="{n}" data-name="{name}" '
        f'aria-label="{name}: not looked at">not looked</button></div>'
        f"{measured}"
        f'<div class="mark" data-differs="{n}" data-name="{name}" role="status"></div></div>\n'
    )


def _wanted(expected: Expected) -> str:
    word = escape(expected.expected)
    if expected.expected == EITHER:
        return "may be either; say which"
    return f"now <b>{word}</b>" if expected.changed else f"still {word}"


def _results() -> str:
    return (
        '<section class="screen results" id="results" tabindex="-1" aria-labelledby="results-title">'
        '<h2 id="results-title">Results</h2>\n'
        '<p><button type="button" id="download">Take the results file</button> '
        '<button type="button" id="copy">Copy the results as text</button> <span id="given" role="status"></span></p>\n'
        '<label for="results-text">Results, to copy where no file can be taken</label>'
        '<textarea id="results-text" readonly rows="6"></textarea>\n'
        "<h3>Go on with results from elsewhere</h3>\n"
        '<p><label>Results file <input type="file" id="results-file" accept=".json,application/json"></label></p>\n'
        '<label for="given-text">or its text</label><textarea id="given-text" rows="3"></textarea>\n'
        '<p><button type="button" id="take-text">Take this text over</button> '
        '<button type="button" id="undo" hidden>Undo: as it was before</button> '
        '<span id="taken" role="status"></span></p></section>\n'
    )


def _limits(sheet: Sheet) -> str:
    """What the sheet shows, and what no step of it can."""
    because: dict[tuple[str, bool], list[str]] = {}
    for one in sheet.cannot_find:
        because.setdefault((one.because, one.proved), []).append(one.fault)
    items = "".join(
        f"<li>{escape(', '.join(faults))}: {escape(reason)}{'' if proved else UNPROVED}</li>"
        for (reason, proved), faults in because.items()
    )
    off = "".join(f"<li>{escape(name)}: {escape(by)}</li>" for name, by in sheet.off_by.items())
    mistyped = (
        f"<p>Settings are found where they are mistyped by at least this much:</p><ul>{off}</ul>\n" if off else ""
    )
    left = f"<p>These it cannot show:</p><ul>{items}</ul>\n" if items else ""
    return (
        f'<section class="limits"><h2>What this sheet can find</h2><p>A sheet passed in every step rules out, one at a '
        f"time, {len(sheet.finds)} faults of wiring, parts and settings.</p>\n{left}{mistyped}</section>\n"
    )


def _bar() -> str:
    return (
        '<nav class="screen bar" aria-label="progress"><span id="progress" role="status"></span> '
        '<button type="button" id="next">Next open step</button> <a href="#results">Results</a> '
        '<small id="kept"></small></nav>\n'
    )
