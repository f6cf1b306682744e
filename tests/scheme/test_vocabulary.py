"""One vocabulary: the reader, the JSON Schema, the reference and the package's own schemes agree."""

from __future__ import annotations

import random
import re
from pathlib import Path

import jsonschema
import pytest
import yaml

from interlock.scheme.keys import KEYS, NESTED, TOP, Form, Section
from interlock.scheme.read import loads
from interlock.scheme.reference import reference
from interlock.scheme.schema import json_schema
from interlock.scheme.units import UNITS
from interlock.scheme.words import (
    BUILT_IN_GROUPS,
    MODES,
    Combine,
    Compare,
    Contact,
    DeviceInput,
    ElementType,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    Part,
    PlatinumClass,
    PowerUp,
    Reset,
    State,
)
from tests.scheme.test_reader_findings import EDITS
from tests.support.bench import BENCH, edited
from tests.support.random_schemes import random_scheme_text

SCHEMA = json_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
RULES = sorted((Path(__file__).parents[2] / "rules").rglob("*.yaml"))

# What the JSON Schema can see by itself: keys, words and the forms of values; not what a name stands for.
SEEN_BY_SCHEMA = {"unknown-key", "missing-section", "unknown-word", "missing-unit", "negative-time"}
SEEN = [(e[0], e[1]) for e in EDITS if e[0] in SEEN_BY_SCHEMA and "lamp_circuit: on" not in e[1][0][1]]


def test_the_schema_is_a_valid_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", RULES, ids=lambda p: p.stem)
def test_the_schema_accepts_what_the_reader_accepts(path: Path) -> None:
    assert not list(VALIDATOR.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8"))))


@pytest.mark.parametrize("seed", range(40))
def test_the_schema_accepts_random_schemes(seed: int) -> None:
    text = random_scheme_text(random.Random(seed))
    loads(text)
    assert not list(VALIDATOR.iter_errors(yaml.safe_load(text)))


@pytest.mark.parametrize(("ident", "replacements"), SEEN)
def test_the_schema_refuses_unknown_keys_words_and_forms(ident: str, replacements: list[tuple[str, str]]) -> None:
    assert list(VALIDATOR.iter_errors(yaml.safe_load(edited(*replacements)))), ident


def test_every_form_is_used_by_a_key() -> None:
    assert {key.form for keys in (*KEYS.values(), *NESTED.values()) for key in keys} == set(Form)


def test_the_reference_names_every_key_word_unit_and_mode() -> None:
    page = reference()
    words = (
        [key.name for keys in (*KEYS.values(), *NESTED.values()) for key in keys]
        + [name for name, _, _ in TOP]
        + list(BUILT_IN_GROUPS)
    )
    for closed in (
        Combine, Compare, Contact, DeviceInput, EnergisedWhen, LineForm, Mode, Must, OnInvalid, PowerUp, Reset, State,
        ElementType, PlatinumClass,
    ):  # fmt: skip
        words += [str(word) for word in closed]
    missing = [w for w in (*words, *UNITS) if not re.search(rf"(?<!\w){re.escape(w)}(?!\w)", page)]
    assert not missing


def test_the_reference_shows_the_bench_itself() -> None:
    assert BENCH in reference()


def test_every_part_has_modes_and_every_mode_a_part() -> None:
    assert set(MODES) == set(Part)
    assert {mode for modes in MODES.values() for mode in modes} | {Mode.SWAPPED} == set(Mode)


def test_the_top_of_a_file_names_every_section() -> None:
    assert {str(section) for section in Section} <= {name for name, _, _ in TOP}
