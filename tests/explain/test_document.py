"""Every part of a scheme is explained, once, in a text that fits its width and in data that JSON can hold."""

from __future__ import annotations

import json
from itertools import combinations

import pytest

from interlock.explain.closed import Section
from interlock.explain.document import Document
from interlock.explain.phrases import Listing, Phrase, Value, sentence, text
from interlock.explain.render import NARROWEST, document_json, document_text
from interlock.explain.sentences import document
from interlock.explain.tables import TITLES
from interlock.explain.words import Say
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.explain.schemes import EVERYTHING, everything, own, random_schemes
from tests.explain.test_words import phrases_in

SCHEMES = (everything(), *own(), *random_schemes(20))


def names(explained: Document, section: Section) -> list[str]:
    """The names of a section's items, in order."""
    return [item.name for chapter in explained.chapters if chapter.section is section for item in chapter.items]


def words(scheme: Scheme, section: Section, name: str) -> str:
    """An item's sentences and points as one text."""
    for chapter in document(scheme).chapters:
        for item in chapter.items:
            if (chapter.section, item.name) == (section, name):
                return " ".join([*(sentence(s) for s in item.sentences), *(text(p) for p in item.points)])
    raise AssertionError(f"{section} has no {name}")


@pytest.mark.parametrize("scheme", SCHEMES, ids=lambda s: s.title)
def test_every_part_of_a_scheme_is_explained_once_and_in_its_order(scheme: Scheme) -> None:
    explained = document(scheme)
    for section, parts in (
        (Section.QUANTITIES, scheme.quantities),
        (Section.SENSORS, scheme.sensors),
        (Section.READINGS, scheme.readings),
        (Section.LINES, scheme.lines),
        (Section.RULES, scheme.rules),
        (Section.GROUPS, scheme.groups),
        (Section.PATHS, scheme.paths),
        (Section.OUTPUTS, scheme.outputs),
        (Section.DEVICES, scheme.devices),
        (Section.RATES, scheme.rates),
    ):
        assert names(explained, section) == list(parts)
    assert names(explained, Section.REQUIREMENTS) == list(dict.fromkeys(c.requirement for c in scheme.claims))
    assert names(explained, Section.NOT_PROTECTED) == [c.name for c in scheme.not_protected]
    assert names(explained, Section.CASES) == [c.name for c in scheme.cases]
    assert names(explained, Section.EXCLUDED) == [e.fault for e in scheme.excluded]
    assert names(explained, Section.ACCEPTED) == [f"{a.finding}/{a.name}" for a in scheme.accepted]


@pytest.mark.parametrize("scheme", SCHEMES, ids=lambda s: s.title)
def test_every_fault_of_the_catalogue_is_named_once(scheme: Scheme) -> None:
    found: list[str] = []
    for chapter in document(scheme).chapters:
        if chapter.section is Section.FAULTS:
            for item in chapter.items:
                listed = item.data.get("faults", [item.name])
                assert isinstance(listed, list)
                found += [str(name) for name in listed]
    assert sorted(found) == sorted(scheme.faults)


@pytest.mark.parametrize("width", [NARROWEST, 60, 100])
def test_no_line_of_the_text_is_wider_than_asked_unless_one_word_is(width: int) -> None:
    for scheme in SCHEMES:
        for line in document_text(document(scheme), width).splitlines():
            marker, *rest = line.split() or [""]
            one_word = not rest or (marker == "-" and len(rest) == 1)
            assert len(line) <= width or one_word, line
            assert line == line.rstrip()


def test_the_text_says_what_the_data_says() -> None:
    for scheme in SCHEMES:
        shown = " ".join(document_text(document(scheme), 10_000).split())
        data = json.loads(json.dumps(document_json(document(scheme))))
        for section in data["sections"]:
            for item in section["items"]:
                for words_of_it in [*item["sentences"], *item["points"]]:
                    assert words_of_it in shown


def test_the_data_is_json_and_stays_the_same() -> None:
    for scheme in SCHEMES:
        once = json.dumps(document_json(document(scheme)), allow_nan=False)
        assert once == json.dumps(document_json(document(scheme)), allow_nan=False)
        assert json.loads(once)["scheme"] == scheme.title


def test_every_section_has_a_title_and_none_is_empty() -> None:
    assert set(TITLES) == set(Section)
    for scheme in SCHEMES:
        for chapter in document(scheme).chapters:
            assert chapter.items
            assert all(item.sentences or item.points for item in chapter.items)


def test_the_scheme_with_every_word_fills_every_section() -> None:
    assert [chapter.section for chapter in document(everything()).chapters] == list(Section)


# --- what is said


def test_a_rule_is_read_aloud_as_a_practitioner_would() -> None:
    scheme = loads(
        """\
scheme: Hut shelf
scan: 100 ms
quantities: {cold: {span: -30 to 80 degC}}
sensors: {probe: {measures: {cold: -1 to 1 K}, valid: -35 to 90 degC}}
rules:
  cold_stop: {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}
paths: {charger: {flow: charge}, spare: {flow: charge}}
outputs: {K1: {drives: [charger, spare], contact: normally_open, runs_when: closed}}
"""
    )
    assert words(scheme, Section.RULES, "cold_stop") == (
        "When probe has read below 3 degC for 2 s it trips and stops every charge source (charger and spare); "
        "it clears by itself once probe has read above 5 degC for 1 min. "
        "If the reading is lost for 2 s it trips. After power-up it starts tripped."
    )


def test_a_manual_reset_names_its_button_and_that_holding_it_does_nothing() -> None:
    told = words(everything(), Section.RULES, "hot_lock")
    assert "it waits for a person, and a new press of button clears it" in told
    assert "A button held down does not count as a new press." in told
    assert "no line is there to reset it" in words(everything(), Section.RULES, "lost_lock")


def test_what_a_lost_reading_does_is_said_for_all_three_choices() -> None:
    assert "If the reading is lost for 250 ms (which takes 3 scans) it trips." in words(
        everything(), Section.RULES, "too_cold"
    )
    assert "While the reading is lost it stays as it is" in words(everything(), Section.RULES, "too_low")
    assert "A lost reading counts as nothing wrong" in words(everything(), Section.RULES, "hot_lock")


def test_a_rule_on_a_line_says_nothing_of_lost_readings() -> None:
    assert "lost" not in words(everything(), Section.RULES, "stop")


def test_errors_on_either_side_and_on_one_side_only_are_told_apart() -> None:
    scheme = everything()
    assert "It reads cold too high by 1 K to 2 K." in words(scheme, Section.SENSORS, "high_probe")
    assert "It reads cold too low by 1 K to 2 K." in words(scheme, Section.SENSORS, "low_probe")
    assert "It reads hot exactly." in words(scheme, Section.SENSORS, "exact_probe")
    assert "It reads hot up to 2 K too high, never too low." in words(scheme, Section.SENSORS, "upper_probe")
    assert "It reads hot up to 2 K too low, never too high." in words(scheme, Section.SENSORS, "lower_probe")
    assert "level up to 5 % too low or up to 5 % too high" in words(scheme, Section.SENSORS, "gauge")


def test_an_open_lead_whose_reading_is_valid_is_said_not_to_show() -> None:
    scheme = everything()
    assert "With an open lead it reads 95 degC, which counts as lost." in words(scheme, Section.SENSORS, "high_probe")
    assert "With a shorted lead it reads -20 degC, which is valid: the fault does not show." in words(
        scheme, Section.SENSORS, "high_probe"
    )


def test_a_path_by_mode_says_when_it_charges_and_when_it_draws() -> None:
    told = words(everything(), Section.PATHS, "by_mode")
    assert "It charges the pack while shore is on. It draws from the pack while shore is off." in told
    assert "stop, when permit has read off for 1 s, but only while shore reads on" in told


def test_an_unswitched_path_is_not_said_to_lack_a_rule() -> None:
    told = words(everything(), Section.PATHS, "pump")
    assert "nothing can stop it, and that is meant: it must never stop." in told
    assert "No rule stops it" not in told
    assert "No rule stops it" in words(everything(), Section.PATHS, "fan")


def test_a_requirement_without_a_time_allows_not_one_scan() -> None:
    told = words(everything(), Section.REQUIREMENTS, "no_heat")
    assert told == "heater must never run while charger is running and unread is on, not even for one scan."


def test_swaps_of_many_parts_are_told_in_few_words() -> None:
    assert "any two of K1, K2, K3, K4, K5 and K6. Faults of this kind: 15." in words(
        everything(), Section.FAULTS, "output.swapped"
    )


def test_swap_pairs_in_few_words_stand_for_each_pair_exactly_once() -> None:
    checked = 0
    for scheme in SCHEMES:
        for chapter in document(scheme).chapters:
            for item in chapter.items:
                if chapter.section is not Section.FAULTS or item.data.get("mode") != "swapped":
                    continue
                found = [pair for phrase in phrases_in(item.sentences[2]) for pair in pairs_of(phrase)]
                swaps = [f for f in scheme.faults.values() if not f.together and f.name.endswith(".swapped")]
                wanted = [frozenset(f.parts) for f in swaps if str(f.part) == item.data["part"]]
                assert sorted(map(sorted, found)) == sorted(map(sorted, wanted))
                checked += len(found)
    assert checked > 500


def pairs_of(phrase: Phrase) -> list[frozenset[str]]:
    """The pairs that one phrase of a pair list stands for."""

    def names_in(value: Value) -> list[str]:
        return [str(v) for v in value.items] if isinstance(value, Listing) else [str(value)]

    fields = dict(phrase.fields)
    if phrase.key is Say.PAIR_ANY_TWO:
        return [frozenset(pair) for pair in combinations(names_in(fields["parts"]), 2)]
    if phrase.key is Say.PAIR_WITH:
        return [frozenset((str(fields["part"]), other)) for other in names_in(fields["others"])]
    return []


def test_a_name_with_a_hyphen_is_never_cut() -> None:
    scheme = loads(
        "scheme: Hut shelf with a two-way heat-and-light circuit-board-mounted supply\n"
        + EVERYTHING.partition("\n")[2].replace("high_probe", "probe-at-the-upper-end-of-the-left-hand-shelf")
    )
    for width in range(NARROWEST, 90):
        for line in document_text(document(scheme), width).splitlines():
            assert not line.endswith("-") or set(line.strip()) == {"-"}, line
