"""Which dangers a path must have a requirement for: by flow, by what the scheme can tell, by side of the limit."""

from __future__ import annotations

import pytest

from interlock.check.coverage import Danger, danger
from interlock.scheme.units import Kind
from tests.check.found import edited, found, mended

PACK = """
scheme: A pack
scan: 100 ms
quantities:
  cell: {span: -30 to 80 degC}
  highest: {span: 1.5 to 4.2 V}
paths:
  carrier: {flow: FLOW}
outputs: {K1: {drives: carrier, contact: normally_open, runs_when: closed}}
lines: {shore_live: {external: yes, undriven_reads: on}}
rules: {stop: {watches: shore_live, trips: off, clears: on, blocks: carrier}}
"""


def uncovered(text: str) -> set[str]:
    return {i.split("-")[1] for i, n in found(text) if i.startswith("no-") and n == "carrier"}


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        ("charge", {"cold", "full", "hot"}),
        ("discharge", {"empty", "hot"}),
        ("both", {"cold", "full", "empty", "hot"}),
        ("none", set()),
        ("{charge: {shore_live: on}}", {"cold", "full", "hot"}),
        ("{charge: {shore_live: on}, discharge: {shore_live: off}}", {"cold", "full", "empty", "hot"}),
    ],
)
def test_each_direction_has_its_dangers(flow: str, expected: set[str]) -> None:
    assert uncovered(edited(PACK, ("FLOW", flow))) == expected


CHARGE = edited(PACK, ("FLOW", "charge"))


@pytest.mark.parametrize(
    ("quantities", "expected"),
    [
        ("  cell: {span: -30 to 80 degC}\n", {"cold", "hot"}),
        ("  cell: {span: 0 to 80 degC}\n", {"hot"}),  # never frozen
        ("  cell: {span: -0.000001 to 80 degC}\n", {"cold", "hot"}),
        ("  left: {span: 0 to 100 %}\n", {"full"}),
        ("  current: {span: 0 to 100 A}\n", set()),
    ],
)
def test_only_what_the_scheme_can_tell_of_is_asked_for(quantities: str, expected: set[str]) -> None:
    text = edited(CHARGE, ("  cell: {span: -30 to 80 degC}\n  highest: {span: 1.5 to 4.2 V}\n", quantities))
    assert uncovered(text) == expected


def test_a_tie_that_keeps_a_quantity_above_freezing_counts_as_its_span() -> None:
    warm = "  room: {span: 5 to 30 degC}\n  cell: {span: -30 to 80 degC, at_least: room - 5 K}\n"
    assert uncovered(edited(CHARGE, ("  cell: {span: -30 to 80 degC}\n", warm))) == {"full", "hot"}


@pytest.mark.parametrize(
    ("condition", "covers"),
    [
        ("cell: below 0 degC", {"cold"}),
        ("cell: at_or_below 2 degC", {"cold"}),
        ("cell: above 45 degC", {"hot"}),
        ("highest: above 3.65 V", {"full"}),
        ("highest: below 2.5 V", set()),  # empty is no danger to what charges
        ("shore_live: off", set()),
    ],
)
def test_the_side_of_the_limit_says_which_danger_a_requirement_speaks_of(condition: str, covers: set[str]) -> None:
    text = f"{CHARGE}requirements: {{r: {{never_running: carrier, while: {{{condition}}}, longer_than: 1 s}}}}\n"
    assert uncovered(text) == {"cold", "full", "hot"} - covers


def test_a_requirement_on_what_the_path_is_behind_speaks_for_it() -> None:
    behind = edited(
        CHARGE,
        ("  carrier: {flow: charge}", "  bus: {flow: none}\n  carrier: {flow: charge, behind: bus}"),
        ("outputs: {", "outputs: {K2: {drives: bus, contact: normally_open, runs_when: closed}, "),
    )
    assert uncovered(behind) == {"cold", "full", "hot"}
    frozen = "requirements: {r: {never_running: bus, while: {cell: below 0 degC}, longer_than: 1 s}}\n"
    assert uncovered(behind + frozen) == {"full", "hot"}


def test_a_requirement_on_sources_says_nothing_of_the_other_mode() -> None:
    text = edited(PACK, ("FLOW", "{charge: {shore_live: on}, discharge: {shore_live: off}}"))
    requirements = "requirements:\n" + "".join(
        f"  r{i}: {{never_running: {group}, while: {{cell: above {limit} degC}}, longer_than: 1 s}}\n"
        for i, (group, limit) in enumerate((("sources", 45), ("loads", 60)))
    )
    both = text + requirements
    assert "hot" not in uncovered(both)
    assert "hot" in uncovered(edited(both, ("never_running: loads", "never_running: sources")))


def test_paths_that_must_run_and_unswitched_ones_are_left_out() -> None:
    turbine = mended("blocks-what-must-run")
    assert found(turbine) == []  # the dump load needs no requirement for hot
    energised = edited(
        turbine, ("normally_closed, runs_when: closed, energised_when: stops", "normally_open, runs_when: closed")
    )
    assert ("no-hot-requirement", "dump_load") in found(energised)
    pump = edited(turbine, ("  dump_load:", "  bilge_pump: {flow: discharge, unswitched: it has a fuse}\n  dump_load:"))
    assert found(pump) == []


def test_every_kind_of_quantity_has_its_side_or_none() -> None:
    sides = {kind: (danger(kind, downward=True), danger(kind, downward=False)) for kind in Kind}
    assert sides[Kind.TEMPERATURE] == (Danger.COLD, Danger.HOT)
    stored = {kind for kind, side in sides.items() if side == (Danger.EMPTY, Danger.FULL)}
    assert stored == {Kind.VOLTAGE, Kind.PERCENT, Kind.CAPACITY, Kind.ENERGY}
    assert {side for kind, side in sides.items() if kind not in {*stored, Kind.TEMPERATURE}} == {(None, None)}
