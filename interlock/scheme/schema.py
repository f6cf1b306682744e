"""The JSON Schema of a scheme file, for editors: made from the same keys and words the reader uses.

It says what an editor can say: keys, words, and the shape of every value. Names, units that fit, and all that takes the
whole file are the reader's.
"""

from __future__ import annotations

from typing import Any

from interlock.scheme.keys import KEYS, NESTED, TOP, Form, Key, Nested, Section
from interlock.scheme.units import ALIASES, TIMES, UNITS
from interlock.scheme.words import Compare, FlowWord, State

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_NUMBER = r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?"
_UNIT = "(" + "|".join(sorted((*UNITS, *ALIASES), key=lambda u: (-len(u), u))) + ")"
_TIME = rf"{_NUMBER.removeprefix('[+-]?')}\s*(" + "|".join(sorted(TIMES, key=lambda u: (-len(u), u))) + ")"
_VALUE = rf"{_NUMBER}\s*{_UNIT}"
_SPAN = rf"^\s*{_NUMBER}\s*({_UNIT}\s+)?to\s+{_VALUE}\s*$"
_NAME = r"[^\W\d_][\w-]*"
_TEST = rf"(({'|'.join(str(c) for c in Compare)})\s+{_VALUE}|on|off|running|stopped|active|clear)"
_PART = r"[^\W\d_%°℃µμΩ]+(\s*[/*]\s*[^\W\d_]+)*|[%°℃µμΩ][^\W\d_]*"
_RATED = rf"^\s*{_NUMBER}\s*({_PART})(\s*(within|±)\s*{_NUMBER}\s*({_PART}))?\s*$"
_SCALAR = ["string", "number", "boolean", "null"]  # an editor's YAML may turn a word into any of these


def _text(pattern: str = "") -> dict[str, Any]:
    return {"type": "string", "pattern": pattern} if pattern else {"type": "string", "minLength": 1}


def _words(*words: str) -> dict[str, Any]:
    """One of these words; `on`, `off`, `yes` and `no` may reach an editor as true and false."""
    values: list[Any] = list(words)
    values += [True] if {"on", "yes"} & set(words) else []
    values += [False] if {"off", "no"} & set(words) else []
    return {"enum": values}


def _list_of(one: dict[str, Any]) -> dict[str, Any]:
    return {"oneOf": [one, {"type": "array", "items": one, "minItems": 1, "uniqueItems": True}]}


def _mapping_of(one: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "additionalProperties": one, "minProperties": 1}


_CONDITION: dict[str, Any] = {"anyOf": [_text(rf"^\s*{_TEST}\s*$"), {"type": "boolean"}]}
_ANY_NAME: dict[str, Any] = {"type": _SCALAR}

_FORMS: dict[Form, dict[str, Any]] = {
    Form.TEXT: {"type": _SCALAR},
    Form.NAME: _ANY_NAME,
    Form.NAMES: _list_of(_ANY_NAME),
    Form.VALUE: _text(rf"^\s*{_VALUE}\s*$"),
    Form.SPAN: _text(_SPAN),
    Form.ERRORS: {"oneOf": [_text(_SPAN), _mapping_of(_text(_SPAN))]},
    Form.MEASURES: {"oneOf": [_mapping_of(_text(_SPAN)), *_list_of(_ANY_NAME)["oneOf"]]},
    Form.TIME: _text(rf"^\s*{_TIME}\s*$"),
    Form.TIE: _text(rf"^\s*{_NAME}(\s*[+\-−]\s*{_VALUE})?\s*$"),
    Form.TRIGGER: {"anyOf": [_text(rf"^\s*{_TEST}(\s+for\s+{_TIME})?\s*$"), {"type": "boolean"}]},
    Form.CONDITIONS: _mapping_of(_CONDITION),
    Form.WHILE: {
        "oneOf": [_mapping_of(_CONDITION), {"type": "array", "items": _mapping_of(_CONDITION), "minItems": 1}]
    },
    Form.WORD: {},  # its words are the key's own
    Form.YES_NO: _words("yes", "no", "true", "false"),
    Form.ON_OFF: _words("on", "off"),
    Form.COUNT: {"type": "integer", "minimum": 1},
    Form.RATE: _text(r"^\d+(\.\d+)?([eE][+-]?\d{1,2})? per h$"),
    Form.FLOW: {
        "oneOf": [
            _words(*(str(w) for w in FlowWord)),
            {
                "type": "object",
                "properties": {"charge": _mapping_of(_CONDITION), "discharge": _mapping_of(_CONDITION)},
                "additionalProperties": False,
                "minProperties": 1,
            },
        ]
    },
    Form.FAULTS: _list_of(_text()),
    Form.CHARGES_TO: _mapping_of(_text(rf"^\s*{_VALUE}\s*$")),
    Form.ACTS_AT: _mapping_of(_text(rf"^\s*{_TEST}(\s+for\s+{_TIME})?\s*$")),
    Form.SETTINGS: _mapping_of({"anyOf": [_text(rf"^\s*({_VALUE}|on|off)\s*$"), {"type": "boolean"}]}),
    Form.ELEMENT: {},  # those of the nested keys are their own
    Form.INPUT: {},
    Form.CURVE: {},
    Form.RATED: _text(_RATED),
    Form.COEFFICIENTS: {
        "type": "array",
        "items": {"anyOf": [{"type": "number"}, _text(rf"^\s*{_NUMBER}\s*$")]},
        "minItems": 3,
        "maxItems": 4,
    },
    Form.ROWS: {
        "type": "object",
        "propertyNames": {"pattern": rf"^\s*{_VALUE}\s*$"},
        "additionalProperties": _text(_RATED),
        "minProperties": 2,
    },
    Form.EXPECTATIONS: _mapping_of(_words("running", "stopped", "on", "off", "active", *(str(s) for s in State))),
}
assert set(_FORMS) == set(Form), set(Form) - set(_FORMS)


_NESTED = {Form.ELEMENT: Nested.ELEMENT, Form.INPUT: Nested.INPUT, Form.CURVE: Nested.CURVE}


def _key(key: Key) -> dict[str, Any]:
    if key.form in _NESTED:
        return {"description": key.says, **_entry(NESTED[_NESTED[key.form]])}
    form = _words(*(str(w) for w in key.words)) if key.words else _FORMS[key.form]
    return {"description": key.says, **form}


def _entry(keys: tuple[Key, ...]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {key.name: _key(key) for key in keys},
        "required": [key.name for key in keys if key.required],
        "additionalProperties": False,
    }


def _section(section: Section) -> dict[str, Any]:
    entry = _entry(KEYS[section])
    match section:
        case Section.UNITS:
            return {"oneOf": [_list_of(_text())["oneOf"][1], _mapping_of({"anyOf": [{"type": "null"}, entry]})]}
        case Section.LINES:
            return _mapping_of({"anyOf": [{"const": "external"}, entry]})
        case Section.GROUPS:
            return _mapping_of({"anyOf": [_list_of(_text()), entry]})
        case Section.STEPS:
            return _mapping_of({"type": "array", "items": entry, "minItems": 1})
        case _:
            return _mapping_of(entry)


def json_schema() -> dict[str, Any]:
    """The schema as plain data, in the order of the keys."""
    sections = {str(section): _section(section) for section in Section}
    texts = {"scheme": _text(), "revision": {"type": _SCALAR}, "scan": _FORMS[Form.TIME], "why": {"type": _SCALAR}}
    accepted = {"accepted": _mapping_of(_mapping_of({"type": _SCALAR}))}
    shapes = {**texts, **sections, **accepted}
    return {
        "$schema": DIALECT,
        "title": "A scheme: one installation's protection logic and interlocks",
        "type": "object",
        "properties": {name: {"description": says, **shapes[name]} for name, _, says in TOP},
        "required": [name for name, required, _ in TOP if required],
        "additionalProperties": False,
    }
