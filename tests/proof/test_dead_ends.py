"""Dead ends: found where they are, excluded where they are not, as an exhaustive search of small schemes has them."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

from interlock.proof.deadends import DeadEnd, Ending, Free, Undecided, dead_ends
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import State
from tests.support.bench import BENCH, edited
from tests.support.brute_ends import Ends
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import INTERLOCKS, TINY, Profile
from tests.support.random_schemes import random_scheme_text

RULES = Path(__file__).parents[2] / "rules"


def of_file(name: str) -> tuple[Scheme, tuple[Ending, ...]]:
    scheme = loads((RULES / name).read_text(encoding="utf-8"), name)
    return scheme, dead_ends(scheme)


def ends(text: str) -> dict[tuple[str, bool, str], Ending]:
    return {(e.path, e.attended, e.called_by): e for e in dead_ends(loads(text, "edited.yaml"))}


@pytest.mark.parametrize("name", ["alpine_hut.yaml", "survey_launch.yaml"])
def test_with_a_person_at_the_reset_neither_scheme_has_a_dead_end(name: str) -> None:
    scheme, found = of_file(name)
    assert {e.path for e in found} == {p.name for p in scheme.paths.values() if p.outputs}
    assert [e for e in found if e.attended and not isinstance(e, Free)] == []
    assert [e for e in found if isinstance(e, Undecided)] == []


@pytest.mark.parametrize(
    ("name", "lockout", "held"),
    [
        (
            "alpine_hut.yaml",
            "hot_lockout",
            {"charge_bus", "roof_pv", "turbine_charging", "generator_charger", "valley_charger"}
            | {"comfort_circuits", "inverter_precharge", "inverter"},
        ),
        (
            "survey_launch.yaml",
            "cell_hot",
            {"pack_contactor", "alternator", "roof_pv", "inverter_charger", "branch_converter", "bow_thruster"},
        ),
    ],
)
def test_without_a_person_only_what_the_lockout_stops_stays_stopped(name: str, lockout: str, held: set[str]) -> None:
    _, found = of_file(name)
    dead = [e for e in found if isinstance(e, DeadEnd)]
    assert {e.path for e in dead} == held
    assert {e.manual for e in dead} == {(lockout,)}
    assert all(not e.attended for e in dead)


def test_a_heater_behind_the_bus_that_waits_for_its_warmth_is_a_dead_end() -> None:
    _, found = of_file("flawed/hut_heater_dead_end.yaml")
    dead = [e for e in found if isinstance(e, DeadEnd) and e.attended]
    assert [(e.path, e.called_by, e.held_by) for e in dead] == [("cell_heater", "heat_wanted", ("cold_stop",))]
    last = dead[0].trace[-1]
    assert last.last is not None
    assert last.last.states["heat_wanted"][0] is State.TRIPPED
    assert not last.last.may_run["cell_heater"]
    assert last.world.readings["floor_probe"] < 3_000_000 or last.world.readings["wall_probe"] < 3_000_000
    assert last.world.lines["source_bus_live"]


def test_on_the_bench_a_person_gets_everything_going_and_nobody_else_does() -> None:
    found = ends(BENCH)
    assert {key: type(e) for key, e in found.items()} == {
        ("bench_charger", True, ""): Free,
        ("bench_charger", False, ""): DeadEnd,
        ("lamp_circuit", True, ""): Free,
        ("lamp_circuit", False, ""): DeadEnd,
    }
    dead = found["lamp_circuit", False, ""]
    assert isinstance(dead, DeadEnd)
    assert dead.held_by == dead.manual == ("hot_stop",)


def test_a_lockout_without_a_reset_line_is_a_dead_end_for_everyone() -> None:
    found = ends(edited(("reset: manual, reset_by: reset_button,", "reset: manual,")))
    assert {type(e) for e in found.values()} == {DeadEnd}


def test_a_lockout_that_starts_clear_is_a_dead_end_once_it_has_tripped() -> None:
    found = ends(edited(("reset: manual, reset_by: reset_button,", "reset: manual, power_up: clear,")))
    dead = found["lamp_circuit", True, ""]
    assert isinstance(dead, DeadEnd)
    assert dead.trace[-1].last is not None
    assert dead.trace[-1].last.states["hot_stop"][0].active
    probe = dead.trace[-1].world.readings["probe"]
    assert probe > 55_000_000 or probe < -35_000_000


WAITING = """
  charger_first: {watches: bench_charger, trips: stopped, clears: running, blocks: lamp_circuit}
  lamp_first:    {watches: lamp_circuit,  trips: stopped, clears: running, blocks: bench_charger%s}
"""


def waiting(more: str) -> dict[tuple[str, bool, str], Ending]:
    return ends(edited(("\npaths: ", (WAITING % more) + "\npaths: ")))


def test_two_rules_that_wait_for_each_others_path_are_a_dead_end() -> None:
    found = waiting("")
    dead = found["lamp_circuit", True, ""]
    assert isinstance(dead, DeadEnd)
    assert {"charger_first", "lamp_first"} & set(dead.held_by)
    assert isinstance(found["bench_charger", True, ""], DeadEnd)


def test_they_are_none_where_one_of_them_can_be_overridden() -> None:
    found = waiting(", overridden_by: reset_button, override_at_most: 1 s")
    assert isinstance(found["lamp_circuit", True, ""], Free)
    assert isinstance(found["bench_charger", True, ""], Free)


def test_an_override_whose_line_needs_the_path_itself_does_not_help() -> None:
    lamp_made = ("  reset_button: external", "  reset_button: external\n  lamp_made: {confirms: K2}")
    rule = """
  made_first: {watches: lamp_made, trips: off, clears: on, blocks: lamp_circuit%s}
"""
    stuck = edited(lamp_made, ("\npaths: ", rule % ", overridden_by: lamp_made" + "\npaths: "))
    helped = edited(lamp_made, ("\npaths: ", rule % ", overridden_by: reset_button" + "\npaths: "))
    assert isinstance(ends(stuck)["lamp_circuit", True, ""], DeadEnd)
    assert isinstance(ends(helped)["lamp_circuit", True, ""], Free)


@pytest.mark.parametrize(
    ("profile", "seeds", "most"),
    [(TINY, range(40), 3_000), (INTERLOCKS, range(304, 319), 3_000)],
    ids=["tiny", "interlocks"],
)
def test_random_schemes_have_the_dead_ends_that_all_their_states_show(
    profile: Profile, seeds: range, most: int
) -> None:
    seen: Counter[str] = Counter()
    for seed in seeds:
        scheme = loads(random_scheme_text(random.Random(seed), profile), "random.yaml")
        brute: dict[str, Ends] = {}
        for ending in dead_ends(scheme, budget=4_000):
            try:
                if ending.path not in brute:
                    brute[ending.path] = Ends(scheme, ending.path, most)
            except OutOfReach:
                seen["out of brute force's reach"] += 1
                continue
            if isinstance(ending, Undecided):
                seen["undecided"] += 1
                continue
            mine = brute[ending.path]
            calls = mine.calls(ending.called_by) if ending.called_by else [{}]
            assert calls, f"seed {seed}: {ending}"
            stranded = any(mine.stranded(ending.attended, held) for held in calls)
            assert stranded is isinstance(ending, DeadEnd), f"seed {seed}: {ending}"
            seen[type(ending).__name__] += 1
            seen["called for"] += bool(ending.called_by)
    print(dict(seen))
    assert seen["Free"] >= 20
    assert seen["DeadEnd"] >= 10
    assert seen["undecided"] <= (seen["Free"] + seen["DeadEnd"]) // 10
