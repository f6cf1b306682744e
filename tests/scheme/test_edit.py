"""Edits of a scheme's text: what was asked for is there, and everything else stands as it was written."""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
import yaml

from interlock.scheme.edit import EditError, SchemeText, changed_lines, diff, quoted, written
from interlock.scheme.read import loads
from tests.support.bench import BENCH

RULES = Path(__file__).parents[2] / "rules"
SCHEMES = {"bench": BENCH, **{name: (RULES / f"{name}.yaml").read_text() for name in ("alpine_hut", "survey_launch")}}
Keys = tuple[str | int, ...]

BY_LINE = """a:
  x:       # first
    one: 1   # the last one

  # about y
  y: {one: 1}
"""


def data(text: str) -> Any:
    """What an independent reader makes of it: PyYAML's, with every scalar as a word."""
    return yaml.load(text, Loader=yaml.CBaseLoader)


def comments(text: str) -> Counter[str]:
    return Counter(line[line.index("#") :] for line in text.splitlines() if "#" in line)


def at(root: Any, keys: Keys) -> Any:
    for key in keys:
        root = root[key]
    return root


def places(node: Any, here: Keys = ()) -> Iterator[tuple[Keys, Any]]:
    """Every mapping and list of a scheme below its top."""
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in pairs:
        if isinstance(value, dict | list) and value:
            yield (*here, key), value
        yield from places(value, (*here, key))


@pytest.mark.parametrize("name", SCHEMES)
def test_a_key_or_name_added_anywhere_changes_nothing_else(name: str) -> None:
    text, source = SCHEMES[name], SchemeText(SCHEMES[name])
    before, said, seen = data(text), comments(text), 0
    for keys, value in islice(places(before), 0, None, 1 if name == "bench" else 3):
        if isinstance(value, list) and isinstance(value[0], dict):
            continue
        wanted = copy.deepcopy(before)
        if isinstance(value, dict):
            after = source.edit().add_key(keys, "extra", "[5 s, x]").text
            at(wanted, keys)["extra"] = ["5 s", "x"]
        else:
            after = source.edit().add_name(keys, "extra").text
            at(wanted, keys).append("extra")
        assert data(after) == wanted, keys
        assert comments(after) == said, keys
        assert max(map(len, after.splitlines())) <= 120, keys
        assert sum(sign[0] == "-" for _, sign in changed_lines(text, after)) <= 1, keys
        seen += 1
    assert seen > 30


@pytest.mark.parametrize("name", SCHEMES)
def test_an_entry_stands_behind_its_neighbour_and_is_written_like_it(name: str) -> None:
    text, source = SCHEMES[name], SchemeText(SCHEMES[name])
    before = data(text)
    for section in ("sensors", "rules", "outputs", "paths", "requirements"):
        for neighbour in before[section]:
            fields = {"one": "1", "long": quoted("a text, with what needs quotes: " + "x" * 60), "last": "[a, b]"}
            after = source.edit().add_entries(section, {"extra": fields, "more": {"k": "v"}}, after=neighbour).text
            names = list(data(after)[section])
            place = names.index(neighbour)
            assert names[place + 1 : place + 3] == ["extra", "more"]
            kept = data(after)
            assert kept[section].pop("extra") == {**data("{" + ", ".join(f"{k}: {v}" for k, v in fields.items()) + "}")}
            del kept[section]["more"]
            assert kept == before
            assert list(kept[section]) == list(before[section])
            assert comments(after) == comments(text)
            assert not [row for _, row in changed_lines(text, after) if row[0] == "-"]


@pytest.mark.parametrize(
    ("before", "keys", "after"),
    [
        ("a: {x: 1}   # c\n", ("a",), "a: {x: 1, k: v}   # c\n"),
        ("a: {}\n", ("a",), "a: {k: v}\n"),
        ("a: {x: 1,}\n", ("a",), "a: {x: 1, k: v,}\n"),
        ("a: {x: 1,   # c\n    y: 2   # d\n   }\n", ("a",), "a: {x: 1,   # c\n    y: 2, k: v   # d\n   }\n"),
        (BY_LINE, ("a", "x"), BY_LINE.replace("# the last one\n", "# the last one\n    k: v\n")),
        (BY_LINE, ("a",), BY_LINE + "  k: v\n"),
        ("a:\n  x: 1", ("a",), "a:\n  x: 1\n  k: v"),
        ("a:\r\n  x: 1   # c\r\nb: 2\r\n", ("a",), "a:\r\n  x: 1   # c\r\n  k: v\r\nb: 2\r\n"),
        ("a:\r  x: 1\rb: 2\r", ("a",), "a:\r  x: 1\r  k: v\rb: 2\r"),
        (
            "a:\n  x: |\n    several\n    lines\n\nb: 2\n",
            ("a",),
            "a:\n  x: |\n    several\n    lines\n  k: v\n\nb: 2\n",
        ),
        (
            "a:\n  x:\n  - 1\n  - 2 # c\n\n# about b\nb: 2\n",
            ("a",),
            "a:\n  x:\n  - 1\n  - 2 # c\n  k: v\n\n# about b\nb: 2\n",
        ),
        ("é\N{BATTERY}: ü\na: {x: 'µ, ß'}\n", ("a",), "é\N{BATTERY}: ü\na: {x: 'µ, ß', k: v}\n"),
        ("a:\n  - {x: 1}\n", ("a", 0), "a:\n  - {x: 1, k: v}\n"),
        ("a: {x: " + "1" * 109 + "}\n", ("a",), "a: {x: " + "1" * 109 + ",\n    k: v}\n"),
        ("a: {x: " + "1" * 106 + "}\n", ("a",), "a: {x: " + "1" * 106 + ", k: v}\n"),
    ],
)
def test_a_key_goes_where_a_person_would_write_it(before: str, keys: Keys, after: str) -> None:
    assert SchemeText(before).edit().add_key(keys, "k", "v").text == after
    wanted = data(before)
    at(wanted, keys)["k"] = "v"
    assert data(after) == wanted


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("a: x   # c\n", "a: [x, n]   # c\n"),
        ("a: [x]\n", "a: [x, n]\n"),
        ("a: []\n", "a: [n]\n"),
        ("a:\n  - x   # c\nb: 1\n", "a:\n  - x   # c\n  - n\nb: 1\n"),
        ("a:\n- x\n# about b\nb: 1\n", "a:\n- x\n- n\n# about b\nb: 1\n"),
        ("a: 'x, y'\n", 'a: ["x, y", n]\n'),
    ],
)
def test_a_name_joins_a_list_or_makes_one(before: str, after: str) -> None:
    assert SchemeText(before).edit().add_name(("a",), "n").text == after


@pytest.mark.parametrize(
    ("before", "section", "after"),
    [
        ("a: {x: {one: 1}}\n", "a", "a: {x: {one: 1}, n: {k: v}}\n"),
        ("a:\n  x: {one: 1}   # c\n\nb: 1\n", "a", "a:\n  x: {one: 1}   # c\n  n: {k: v}\n\nb: 1\n"),
        ("a:\n    x:\n        one: 1\n", "a", "a:\n    x:\n        one: 1\n    n:\n        k: v\n"),
        ("a:\n  x: 1   # c\n\n# about b\nb: 1\n", "new", "a:\n  x: 1   # c\n\nnew:\n  n: {k: v}\n\n# about b\nb: 1\n"),
    ],
)  # fmt: skip
def test_an_entry_or_a_section_goes_where_a_person_would_write_it(before: str, section: str, after: str) -> None:
    assert SchemeText(before).edit().add_entries(section, {"n": {"k": "v"}}, near="a").text == after


def test_a_new_section_without_a_neighbour_ends_the_file() -> None:
    edit = SchemeText("a: 1\n# the end\n").edit().add_entries("new", {"n": {"k": "v"}, "m": {"k": "w"}})
    assert edit.text == "a: 1\n# the end\n\nnew:\n  n: {k: v}\n  m: {k: w}\n"


def test_several_changes_at_one_place_stand_in_their_order() -> None:
    edit = SchemeText("a: {x: 1}\n").edit().add_key(("a",), "k", "v").add_key(("a",), "l", "w").replace(("a", "x"), "2")
    assert edit.text == "a: {x: 2, k: v, l: w}\n"


@pytest.mark.parametrize(
    ("text", "edit", "said"),
    [
        ("a: {x: 1}\n", lambda e: e.add_key(("a",), "x", "2"), "`a` has `x` already"),
        ("a: {x: 1}\n", lambda e: e.add_key(("b",), "x", "2"), "the scheme has no `b`"),
        ("a: &n {x: 1}\nb: *n\n", lambda e: e.add_key(("b",), "k", "v"), "stands in several places"),
        ("a: &n {x: 1}\nb: *n\n", lambda e: e.add_key(("a",), "k", "v"), "stands in several places"),
        ("a: &n {x: 1}\nb: {y: *n}\n", lambda e: e.add_key(("b",), "k", "v"), "an alias"),
        ("a: {x: 1}\n", lambda e: e.add_name(("a",), "n"), "no list"),
        ("a: {x: 1}\n", lambda e: e.replace(("a",), "n"), "no single word"),
        ("a: {x: 1}\n", lambda e: e.add_entries("a", {"n": {}}, after="y"), "`a` has no `y`"),
        ("a:\nb: 1\n", lambda e: e.add_entries("a", {"n": {}}), "a mapping was expected"),
        ("{a: 1}\n", lambda e: e.add_entries("n", {"n": {}}), "in braces"),
    ],
)  # fmt: skip
def test_a_change_without_a_place_is_refused(text: str, edit: Any, said: str) -> None:
    with pytest.raises(EditError, match=said):
        edit(SchemeText(text).edit())


@pytest.mark.parametrize(
    "text",
    ["plain", "-0.5 to 2 K", "°C", "a, b", "a: b", "#1", "x #1", "[x", "", " x ", 'say "so"', "two\nlines", "\x07",
     "\x85", "- x", "x:", "*x", "it's", "'x", "50 %", "%x", "@x"],
)  # fmt: skip
def test_a_text_reads_back_as_it_was_in_braces(text: str) -> None:
    assert data(f"{{k: {quoted(text)}, l: 1}}") == {"k": text, "l": "1"}


def test_a_value_is_written_on_one_line_with_the_same_meaning() -> None:
    for text in SCHEMES.values():
        source, whole = SchemeText(text), data(text)
        for keys, value in places(whole):
            assert data(f"{{k: {written(source.at(*keys))}}}")["k"] == value


def test_a_diff_shows_the_lines_that_differ() -> None:
    after = SchemeText(BENCH).edit().add_key(("sensors", "low_tap"), "stale_after", "1 s").text
    assert changed_lines(BENCH, after) == [
        (16, "-  low_tap:  {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}"),
        (16, "+  low_tap:  {measures: {lowest_cell: -10 to 10 mV}, valid: 1 to 4.5 V, stale_after: 1 s}"),
    ]
    assert diff(BENCH, after, "b.yaml").startswith("--- b.yaml\n+++ b.yaml\n@@ -15,3 +15,3 @@\n")
    assert loads(after).sensors["low_tap"].stale_after is not None
