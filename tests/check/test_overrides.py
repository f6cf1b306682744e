"""Overrides, groups and what a scheme's author has accepted."""

from __future__ import annotations

from tests.check.found import edited, findings, found, mended

HATCH = mended("override-without-rest")
RESCUE = mended("override-of-last-protection")


def test_the_rest_may_lie_anywhere_on_the_way_from_the_line_to_the_rule() -> None:
    late = edited(
        HATCH,
        ("clears: off for 15 min", "clears: off"),
        ("trips: active for 10 min, clears: clear,", "trips: active for 10 min, clears: clear for 15 min,"),
    )
    assert found(late) == []


def test_a_rule_that_the_same_line_overrides_gives_no_rest() -> None:
    text = edited(
        HATCH,
        ("clears: clear, blocks: shaft_drive}", "clears: clear, blocks: shaft_drive,\n                  "
         "overridden_by: service_key, override_at_most: 10 min}"),
    )  # fmt: skip
    assert ("override-without-rest", "hatch_stop") in found(text)


def test_a_rest_for_one_of_two_paths_is_told_for_the_other() -> None:
    text = edited(
        HATCH,
        ("blocks: shaft_drive,\n", "blocks: [shaft_drive, winch],\n"),
        ("  shaft_drive: {flow: discharge}", "  shaft_drive: {flow: discharge}\n  winch: {flow: none}"),
        ("runs_when: closed}", "runs_when: closed}\n  K2: {drives: winch, contact: normally_open, runs_when: closed}"),
    )
    (finding,) = findings(text)
    assert (finding.ident, finding.name) == ("override-without-rest", "hatch_stop")
    assert "nothing keeps `winch` stopped" in finding.message


def test_a_floor_that_another_line_overrides_is_still_there() -> None:
    other = edited(
        RESCUE,
        ("  rescue_button: external", "  rescue_button: external\n  bench_key: external"),
        ("above 20 % for 5 min, blocks: radio}", "above 20 % for 5 min, blocks: radio, overridden_by: bench_key}"),
    )
    assert found(other) == [("override-without-limit", "floor")]
    same = edited(other, ("overridden_by: bench_key}", "overridden_by: rescue_button}"))
    assert {i for i, _ in found(same)} == {"override-of-last-protection", "override-without-limit"}


PART = mended("group-partly-stopped")


def test_a_path_that_another_stopped_path_carries_is_stopped_with_it() -> None:
    text = edited(
        PART,
        ("blocks: thruster", "blocks: all"),
        ("  alternator: {flow: charge}", "  alternator: {flow: charge, behind: thruster}"),
    )
    assert found(text) == []


def test_unswitched_members_of_a_group_are_no_finding() -> None:
    text = edited(
        PART,
        ("blocks: thruster", "blocks: loads"),
        ("  alternator:", "  bilge_pump: {flow: discharge, unswitched: the last thing to stop}\n  alternator:"),
    )
    assert found(text) == []


def test_naming_a_path_that_must_run_is_meant() -> None:
    turbine = mended("blocks-what-must-run")
    assert found(edited(turbine, ("blocks: [turbine]", "blocks: [turbine, dump_load]"))) == []
    grouped = edited(
        turbine,
        ("blocks: [turbine]", "blocks: everything"),
        ("paths:", "groups: {everything: [turbine, dump_load]}\npaths:"),
    )
    assert found(grouped) == [("blocks-what-must-run", "hot_stop")]


def test_a_load_that_a_requirement_wants_running_in_good_times_may_be_blocked_as_a_load() -> None:
    text = edited(
        mended("no-empty-requirement"),
        ("requirements:", "requirements:\n  lamps_served: {never_stopped: lamps, while: {lowest_cell: above 3.2 V}, "
         "longer_than: 2 min}"),
    )  # fmt: skip
    assert found(text) == []
    always = edited(text, ("while: {lowest_cell: above 3.2 V}, longer_than: 2 min", "longer_than: 2 min"))
    assert found(always) == [("blocks-what-must-run", "empty_stop")]


# --- accepted findings

CHATTER = edited(mended("small-hysteresis"), ("clears: below 24 degC", "clears: below 29 degC"))


def accepting(ident: str, name: str) -> str:
    return f"{CHATTER}accepted:\n  {ident}:\n    {name}: the heater is slow enough\n"


def test_an_accepted_finding_is_left_out_for_the_part_it_names_only() -> None:
    assert found(CHATTER) == [("small-hysteresis", "too_warm")]
    assert found(accepting("small-hysteresis", "too_warm")) == []
    assert found(accepting("small-hysteresis", "probe")) == [
        ("small-hysteresis", "too_warm"),
        ("acceptance-unused", "probe"),
    ]


def test_an_acceptance_of_an_unknown_finding_lists_the_known_ones() -> None:
    *_, finding = findings(accepting("small-hysteresys", "too_warm"))
    assert finding.ident == "acceptance-unused"
    assert "there is no finding `small-hysteresys`" in finding.message
    assert "small-hysteresis" in finding.help


def test_findings_stand_in_the_order_of_the_file() -> None:
    from interlock.check.pages import examples, idents

    for ident in idents():
        places = [f.place for f in findings(examples(ident).found)]
        assert places == sorted(places)
    both = edited(CHATTER, ("trips: above 30 degC", "trips: above 33 degC"), ("below 29 degC", "below 32 degC"))
    assert [i for i, _ in found(both)] == ["error-over-limit", "small-hysteresis"]
