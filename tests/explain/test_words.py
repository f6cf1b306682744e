"""The sentences are complete: every word of a scheme has its words, and no template is there for nothing."""

from __future__ import annotations

import string
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

import pytest

from interlock.explain import tables
from interlock.explain.closed import complete
from interlock.explain.failure_modes import CLASSES, COLUMNS, failure_modes
from interlock.explain.injection import consequence
from interlock.explain.measured import quantities
from interlock.explain.phrases import Listing, Phrase, Value, listing, say, sentence, text
from interlock.explain.proof_tests import begins, told
from interlock.explain.sentences import document
from interlock.explain.suggestions import backing, backings, change_sentences
from interlock.explain.template import Template
from interlock.explain.trace import names_that_matter, story
from interlock.explain.ways_out import ways_out
from interlock.explain.words import ENGLISH, TEMPLATES, Say
from interlock.faults.changes import Change, ChangeKind, changes
from interlock.logic.scan import Seen, World
from interlock.records import replace
from interlock.scheme.edit import SchemeText
from interlock.scheme.read import loads
from interlock.scheme.units import Kind
from interlock.scheme.words import Contact, Must
from tests.explain.schemes import everything, own, random_schemes
from tests.explain.studies import made_up, made_up_tests
from tests.support.bench import BENCH


def keys_in(value: Value) -> Iterator[Template]:
    """Every template in a phrase."""
    if isinstance(value, Phrase):
        yield value.key
        for _, field in value.fields:
            yield from keys_in(field)
    elif isinstance(value, Listing):
        yield from (value.last, value.comma)
        for item in value.items:
            yield from keys_in(item)


def phrases_in(value: Value) -> Iterator[Phrase]:
    """Every phrase in a phrase."""
    if isinstance(value, Phrase):
        yield value
        for _, field in value.fields:
            yield from phrases_in(field)
    elif isinstance(value, Listing):
        for item in value.items:
            yield from phrases_in(item)


def said() -> Iterator[Value]:
    """Every heading, sentence and point of every scheme at hand."""
    for scheme in (everything(), *own(), *random_schemes(30)):
        for chapter in document(scheme).chapters:
            for item in chapter.items:
                yield item.heading
                yield from item.sentences
                yield from item.points
        for fault in scheme.faults.values():
            yield consequence(scheme, [fault], scheme.claims)
            for claim in scheme.claims:  # no other fault is on the list, then all of them are
                yield from ways_out(scheme, fault.name, [claim.name], ())
            yield from ways_out(scheme, fault.name, [c.name for c in scheme.claims], scheme.faults)
    for scheme in (everything(), *own(), *random_schemes(3)):
        for study in made_up(scheme):
            for row in failure_modes(scheme, study):
                for value in row.cells.values():
                    yield from value if isinstance(value, tuple) else (value,)
    for scheme in (everything(), *own()):
        for found, fault in made_up_tests(scheme):
            yield from told(found, fault)
        yield begins(found)
    yield from suggested()
    yield from stories()
    yield from of_every_kind()


def of_every_kind() -> Iterator[Value]:
    """A quantity of each kind of value, whether or not a scheme at hand has one."""
    scheme = own()[0]
    name, quantity = next(iter(scheme.quantities.items()))
    for kind in Kind:
        for item in quantities(replace(scheme, quantities={name: replace(quantity, kind=kind)})):
            yield from item.sentences


@dataclass
class Stretch:
    """A while of a made-up run."""

    world: World
    scans: int
    bad: bool
    truth: dict[str, int]
    last: Seen | None = None


def stories() -> Iterator[Value]:
    """A made-up run in which all that a story tells of happens, told of each claim."""
    for scheme in (everything(), *own()):
        for claim in scheme.claims:
            named = names_that_matter(scheme, claim)
            lines = dict.fromkeys(named & set(scheme.lines), True)
            readings = dict.fromkeys(named & set(scheme.sensors), 20_000_000)
            truth = dict.fromkeys(named & set(scheme.quantities), 20_000_000)
            fault = next(iter(scheme.faults.values()))
            cycled = World(readings, lines, frozenset({fault}), frozenset(scheme.units))
            yield from story(
                scheme, claim, [Stretch(World(readings, lines), 9, False, truth), Stretch(cycled, 2, True, truth)]
            )


def suggested() -> Iterator[Value]:
    """What is said of every kind of change, as if each fault of the bench were a single point of failure."""
    for scheme in (everything(), *own()):
        yield from (phrase for name in scheme.faults if (phrase := backing(scheme, name)))
    bench = loads(BENCH)
    points = dict.fromkeys(bench.faults, tuple(c.name for c in bench.claims if c.must is Must.NEVER_RUNNING))
    by_its_own = Change(ChangeKind.SECOND_CHANNEL, "K1", "", ("K1b",), "cell_monitor", ("cell_full",), paths=("lamp",))
    for change in (by_its_own, *changes(bench, SchemeText(BENCH), points, backings(bench, points))):
        yield from change_sentences(bench, change)


def test_every_template_is_said_by_some_scheme() -> None:
    used = {key for value in said() for key in keys_in(value)} | set(tables.TITLES.values())
    used |= {*COLUMNS.values(), *(means for _, means in CLASSES.values())}
    used |= {Say.TABLE_TITLE, Say.TABLE_ALONE, Say.TABLE_CLASSES, Say.TABLE_REQUIREMENTS}  # of the renderers
    unused = set(TEMPLATES) - used
    assert not unused, sorted(key.name for key in unused)


def test_each_phrase_fills_exactly_the_fields_of_its_template() -> None:
    seen = 0
    for value in said():
        for phrase in phrases_in(value):
            wanted = {name for _, name, _, _ in string.Formatter().parse(phrase.key.value) if name}
            assert {name for name, _ in phrase.fields} == wanted, phrase.key
            seen += 1
    assert seen > 10_000


def test_a_table_that_misses_a_word_fails_naming_it() -> None:
    with pytest.raises(TypeError, match=r"contacts in words misses Contact\.DRIVEN$"):
        complete({Contact.NORMALLY_OPEN: 1, Contact.NORMALLY_CLOSED: 2}, Contact, "contacts in words")


def test_a_complete_table_is_given_back() -> None:
    table = dict.fromkeys(Contact, 1)
    assert complete(table, Contact, "contacts") is table


def test_every_table_of_words_holds_templates_only() -> None:
    def leaves(found: object) -> Iterator[object]:
        if isinstance(found, dict):
            for inner in found.values():
                yield from leaves(inner)
        elif isinstance(found, tuple):
            for inner in found:
                yield from leaves(inner)
        else:
            yield found

    found = {
        name: table
        for name, table in vars(tables).items()
        if name.isupper() and isinstance(table, dict) and all(isinstance(key, Enum) for key in table)
    }
    assert len(found) > 15
    for name, table in found.items():
        for leaf in leaves(table):
            assert leaf is None or isinstance(leaf, Template | str), f"{name}: {leaf!r}"


def test_one_two_and_three_things_are_joined_as_in_speech() -> None:
    assert text(listing(["a"])) == "a"
    assert text(listing(["a", "b"])) == "a and b"
    assert text(listing(["a", "b", "c"])) == "a, b and c"
    assert text(listing(["a", "b", "c"], Say.OR)) == "a, b or c"


def test_a_sentence_starts_with_a_large_letter_but_a_name_keeps_its_own() -> None:
    assert sentence(say(Say.CHAIN, cause="if it breaks", links="x", result="y")).startswith("if it breaks")
    assert sentence(say(Say.READING_NEEDS_ALL)) == "If one of them is lost, it is lost."
    assert sentence(say(Say.MUST_NOT_RUN_AT_ALL, paths="lamp")) == "lamp must never run."


def test_control_characters_never_reach_a_terminal() -> None:
    assert text("a\x1b[31mb\u202ec") == "a\N{REPLACEMENT CHARACTER}[31mb\N{REPLACEMENT CHARACTER}c"
    assert text("two\n  lines") == "two lines"


def test_braces_in_a_schemes_own_texts_stay_braces() -> None:
    assert text(say(Say.WHY, why="{why} {0} {}")) == "Why: {why} {0} {}."


def test_another_catalogue_says_the_same_in_its_own_words() -> None:
    german = {**ENGLISH, Say.AND: " und ", Say.GROUP_HOLDS: "Steht für {paths}."}
    assert text(say(Say.GROUP_HOLDS, paths=listing(["a", "b"])), german) == "Steht für a und b."
