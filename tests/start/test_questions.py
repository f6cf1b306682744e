"""Answers are read one by one with clear errors, and judged together, all faults at once."""

from __future__ import annotations

import pytest

from interlock.start.answers import AnswersError
from interlock.start.chemistry import PRESETS, Chemistry
from interlock.start.devices import FACTS, Device, LoadKind, SourceKind
from interlock.start.questions import AnswerError, Question, answers_from, questions

BY_KEY = {q.key: q for q in questions()}


def problems(**options: str) -> list[tuple[str, str]]:
    """(question, message) of each problem."""
    with pytest.raises(AnswersError) as caught:
        answers_from(options)
    return [(p.question, p.message) for p in caught.value.problems]


@pytest.mark.parametrize("question", questions(), ids=lambda q: q.key)
def test_every_default_is_an_answer(question: Question) -> None:
    question.parse(question.default)
    assert question.text.endswith("?")
    assert question.help


GOOD: list[tuple[str, str, object]] = [
    ("title", "  An  alpine hut ", "An alpine hut"),
    ("chemistry", "lfp", Chemistry.LFP),
    ("chemistry", " LTO", Chemistry.LTO),
    ("series", "1", 1),
    ("series", "400", 400),
    ("scan", "10 ms", 10),
    ("scan", "1 s", 1000),
    ("probes", "8", 8),
    ("probe_error", "0.1 K", 100_000),
    ("probe_error", "5 K", 5_000_000),
    ("probe_offset", "0 K", 0),
    ("monitor", "Yes", True),
    ("monitor", "n", False),
    ("sources", "solar", (Device("solar", SourceKind.SOLAR, True, False),)),
    ("sources", "", ()),
    (
        "sources",
        "solar, solar:contactor roof=solar:remote:contactor",
        (
            Device("solar_1", SourceKind.SOLAR, True, False),
            Device("solar_2", SourceKind.SOLAR, False, True),
            Device("roof", SourceKind.SOLAR, True, True),
        ),
    ),
    ("sources", "hydro", (Device("hydro_turbine", SourceKind.HYDRO, False, True),)),
    ("loads", "radio=dc_branch:essential", (Device("radio", LoadKind.DC_BRANCH, False, True, True),)),
]


@pytest.mark.parametrize(("key", "text", "value"), GOOD)
def test_a_good_answer_is_read(key: str, text: str, value: object) -> None:
    assert BY_KEY[key].parse(text) == value


BAD = [
    ("title", "", "a title is one line"),
    ("title", "x" * 81, "a title is one line"),
    ("title", "a\x07b", "a title is one line"),
    ("chemistry", "lead", "`lead` has no usual limits here"),
    ("series", "0", "`0` is no whole number from 1 to 400"),
    ("series", "401", "`401` is no whole number"),
    ("series", "-3", "`-3` is no whole number"),
    ("series", "٣", "is no whole number"),
    ("series", "1e9", "is no whole number"),
    ("scan", "100", "`100` has no unit"),
    ("scan", "9 ms", "is not from 10 ms to 1 s"),
    ("scan", "1.001 s", "is not from 10 ms to 1 s"),
    ("scan", "10.5 ms", "is not from 10 ms to 1 s"),
    ("scan", "-1 s", "is a negative time"),
    ("probes", "9", "from 1 to 8"),
    ("probe_error", "1", "`1` has no unit"),
    ("probe_error", "1 degC", "is no temperature difference"),
    ("probe_error", "10 mV", "is no temperature difference"),
    ("probe_error", "0 K", "is not from 0.1 K to 5 K"),
    ("probe_error", "0.05 K", "in tenths"),
    ("probe_offset", "11 K", "is not from 0 K to 10 K"),
    ("monitor", "maybe", "`maybe` is neither yes nor no"),
    ("shunt", "", "is neither yes nor no"),
    ("sources", "solr", "`solr` is no kind there is here"),
    ("sources", "inverter", "`inverter` is no kind there is here"),
    ("sources", "=solar", "has no name before `=`"),
    ("loads", "inverter:remot", "`remot` says nothing about `inverter`"),
    ("loads", "inverter:", "`` says nothing about `inverter`"),
]


@pytest.mark.parametrize(("key", "text", "message"), BAD)
def test_a_bad_answer_is_refused_saying_what_is_wrong(key: str, text: str, message: str) -> None:
    with pytest.raises(AnswerError) as caught:
        BY_KEY[key].parse(text)
    assert message in caught.value.message


def test_every_question_is_seen_accepting_and_refusing() -> None:
    assert {key for key, _, _ in GOOD} | {"reset_button", "shunt", "one_at_a_time"} == set(BY_KEY)
    assert {key for key, _, _ in BAD} | {"reset_button", "one_at_a_time"} == set(BY_KEY)


def test_a_misspelt_kind_is_answered_with_the_nearest() -> None:
    with pytest.raises(AnswerError) as caught:
        BY_KEY["sources"].parse("sollar")
    assert "did you mean `solar`?" in caught.value.help


# --- together


def test_all_problems_come_at_once_and_in_the_questions_order() -> None:
    found = problems(titel="x", sources="sollar", series="0", loads="K1=inverter, x=heater, x=heater", scan="9 s")
    assert [question for question, _ in found] == ["series", "scan", "sources", "loads", "loads", "titel"]


def test_an_answer_that_could_not_be_read_raises_no_second_problem() -> None:
    assert [q for q, _ in problems(sources="sollar", one_at_a_time="yes")] == ["sources"]
    assert [q for q, _ in problems(probe_offset="none", probe_error="5 K")] == ["probe_offset"]


@pytest.mark.parametrize(
    ("options", "question", "message"),
    [
        ({"sources": ""}, "sources", "no sources are named"),
        ({"loads": " , "}, "loads", "no loads are named"),
        ({"loads": "9a=heater"}, "loads", "can't be a name"),
        ({"loads": f"{'a' * 41}=heater"}, "loads", "can't be a name"),
        ({"loads": "a.b=heater"}, "loads", "can't be a name"),
        ({"loads": "probe=heater"}, "loads", "the scheme needs the name `probe` for itself"),
        ({"loads": "probe_3=heater"}, "loads", "the scheme needs the name `probe_3` for itself"),
        ({"loads": "R12=heater"}, "loads", "the scheme needs the name `R12` for itself"),
        ({"loads": "all=heater"}, "loads", "the scheme needs the name `all` for itself"),
        ({"loads": "solar_live=heater"}, "loads", "the scheme may need the name `solar_live` for a part of `solar`"),
        ({"loads": "x=heater, x=inverter"}, "loads", "`x` is named 2 times"),
        ({"sources": "x=solar", "loads": "x=inverter"}, "sources", "`x` is named 2 times"),
        ({"sources": "hydro:remote"}, "sources", "would leave it unloaded"),
        ({"sources": "solar:essential"}, "sources", "only a load can be essential"),
        ({"sources": "wind", "scan": "300 ms"}, "scan", "a scan of 300 ms is too slow for `wind_turbine`"),
        ({"probe_error": "5 K", "probe_offset": "10 K"}, "probe_error", "leave 0 K between too cold and too hot"),
        ({"probe_offset": "6 K", "loads": "heater"}, "probe_error", "no temperature at which a heater surely helps"),
        (
            {"chemistry": "LTO", "probe_error": "2 K", "probe_offset": "3 K", "loads": "heater"},
            "probe_error",
            "no temperature at which a heater surely helps",
        ),
        ({"one_at_a_time": "yes"}, "one_at_a_time", "here are 0 and 0"),
        ({"one_at_a_time": "yes", "sources": "shore, shore, generator"}, "one_at_a_time", "here are 2 and 1"),
    ],
)
def test_answers_that_do_not_go_together_are_refused(options: dict[str, str], question: str, message: str) -> None:
    found = problems(**options)
    assert [q for q, _ in found] == [question]
    assert message in found[0][1]


def test_nothing_can_be_left_without_a_way_to_stop_it() -> None:
    for kind in (*SourceKind, *LoadKind):
        facts = FACTS[kind]
        assert not facts.usually_remote or facts.remote


def test_the_interlock_is_asked_for_only_with_one_shore_charger_and_one_generator() -> None:
    asked = BY_KEY["one_at_a_time"].only_with

    def sources(text: str) -> dict[str, object]:
        return {"sources": BY_KEY["sources"].parse(text)}

    assert asked(sources("shore, generator, solar"))
    assert not asked(sources("shore, solar"))
    assert not asked(sources("shore, generator, second=generator"))
    assert not asked({})
    assert all(q.only_with({}) for q in questions() if q.key != "one_at_a_time")


def test_a_chemistry_s_limits_stand_in_their_order() -> None:
    for preset in PRESETS.values():
        low, high = preset.span
        order = [low, preset.drained, preset.empty, preset.empty_again, preset.resting - 10]
        order += [preset.resting + 10, preset.full_again, preset.full, preset.overfull, high]
        assert order == sorted(set(order))
        assert preset.valid[0] < low < high < preset.valid[1]
        assert preset.draw_cold <= preset.charge_cold < preset.charge_hot <= preset.draw_hot


def test_the_usual_limits_of_lfp_are_those_of_the_trade() -> None:
    # Common practice, no source: charging from 0 to 45 degC, drawing from -20 to 60 degC, 2.5 to 3.65 V a cell.
    lfp = PRESETS[Chemistry.LFP]
    assert (lfp.charge_cold, lfp.charge_hot, lfp.draw_cold, lfp.draw_hot) == (0, 45, -20, 60)
    assert (lfp.drained, lfp.overfull) == (2500, 3650)
