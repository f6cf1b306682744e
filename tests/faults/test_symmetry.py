"""Claims that are the same but for names: which are, and that what is said of the one is what is found of the other."""

from __future__ import annotations

from itertools import pairwise

import pytest

import interlock.faults.inject as injecting
from interlock.faults.court import Court
from interlock.faults.cutsets_search import CutSets
from interlock.faults.inject import inject
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Here
from interlock.faults.symmetry import exchanges, mirrors
from interlock.records import replace
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.support.bench import edited

# Three loads on one contact each: nothing tells the second and the third from the first.
PATHS = "  lamp_circuit:  {flow: discharge}"
OUTPUT = "  K2: {drives: [lamp_circuit],  contact: normally_open, runs_when: closed, stops_within: 100 ms}"
CASES = "cases:"
MORE = (
    (PATHS, f"{PATHS}\n  fan_circuit: {{flow: discharge}}\n  lift_circuit: {{flow: discharge}}"),
    (
        OUTPUT,
        f"{OUTPUT}\n  K3: {{drives: [fan_circuit], contact: normally_open, runs_when: closed, stops_within: 100 ms}}"
        "\n  K4: {drives: [lift_circuit], contact: normally_open, runs_when: closed, stops_within: 100 ms, wire: W9}",
    ),
)
REQUIREMENTS = "requirements:"
FAN = "K3: {drives: [fan_circuit], contact: normally_open, runs_when: closed, stops_within: 100 ms}"


def scheme_of(*edits: tuple[str, str]) -> Scheme:
    return loads(edited(*MORE, *edits), "bench.yaml")


def stood_for(scheme: Scheme) -> dict[str, str]:
    """By name, the claims that another stands for."""
    return {scheme.claims[other].name: scheme.claims[m.claim].name for other, m in mirrors(scheme).items()}


def test_loads_alike_are_judged_once() -> None:
    scheme = scheme_of()
    assert stood_for(scheme) == {
        f"{requirement}/{path}": f"{requirement}/lamp_circuit"
        for requirement in ("empty_discharge", "hot_discharge")
        for path in ("fan_circuit", "lift_circuit")
    }
    place = {claim.name: number for number, claim in enumerate(scheme.claims)}
    faults = mirrors(scheme)[place["hot_discharge/lift_circuit"]].faults
    assert faults["K2.welded"] == "K4.welded"
    assert faults["lamp_circuit.bypassed"] == "lift_circuit.bypassed"
    assert faults["K3~K4.swapped"] == "K2~K3.swapped", "a swap has its parts in the order of the scheme"
    assert faults["K2~K4.swapped"] == "K2~K4.swapped"
    assert faults["probe.stuck"] == "probe.stuck"
    assert all(faults[other] == name for name, other in faults.items())


LIFT = {f"{name}/lift_circuit": f"{name}/lamp_circuit" for name in ("empty_discharge", "hot_discharge")}
APART_TOO = (
    "behind: lift_circuit",
    "blocks: lift_circuit",
    "blinking",
    "drives: [lamp_circuit, lift",
)  # what tells the lift from the lamp as well


@pytest.mark.parametrize(
    "edit",
    [
        (FAN, FAN.replace("stops_within: 100 ms", "stops_within: 200 ms")),
        (FAN, FAN.replace("stops_within: 100 ms", "stops_within: 100 ms, starts_within: 100 ms")),
        (FAN, FAN.replace("normally_open, runs_when: closed", "normally_closed, runs_when: closed")),
        (FAN, FAN.replace("runs_when: closed", "runs_when: open")),
        (FAN, FAN.replace("K3: {", "K3: {unit: cell_monitor, ")),
        (FAN, FAN.replace("contact: normally_open", "contact: normally_closed, energised_when: stops")),
        ("fan_circuit: {flow: discharge}", "fan_circuit: {flow: discharge, behind: lift_circuit}"),
        ("fan_circuit: {flow: discharge}", "fan_circuit: {flow: {discharge: {reset_button: on}}}"),
        ("clears: on for 1 s, blocks: loads}", "clears: on for 1 s, blocks: [lamp_circuit, lift_circuit]}"),
        (
            "\npaths:",
            "\n  fan_first: {watches: fan_circuit, trips: stopped, clears: running, blocks: lift_circuit}\n\npaths:",
        ),
        (
            "\npaths:",
            "\n  calling: {watches: probe, trips: above 30 degC for 1 s, clears: below 20 degC for 1 s,"
            " starts: fan_circuit}\n\npaths:",
        ),
        ("blocks: loads}", "only_while: {fan_circuit: stopped}, blocks: loads}"),
        (
            "\npaths:",
            "  blinking: {watches: probe, trips: above 30 degC, clears: below 10 degC, starts: fan_circuit}\n"
            "  lit: {watches: probe, trips: above 31 degC, clears: below 10 degC, starts: lamp_circuit}\n\npaths:",
        ),
        ("drives: [lamp_circuit]", "drives: [lamp_circuit, lift_circuit]"),
        ("  reset_button: external", "  reset_button: external\n  fan_closed: {confirms: K3}"),
        (CASES, 'faults:\n  K3.welded: {excluded: "an example"}\n\ncases:'),
        (CASES, "faults:\n  a_hot_day: {together: [K3.welded, probe.drifted]}\n\ncases:"),
        (REQUIREMENTS, "  K5: {drives: [fan_circuit], contact: normally_open, runs_when: closed}\n\nrequirements:"),
    ],
    ids=lambda edit: edit[1][:60],
)
def test_what_tells_two_loads_apart(edit: tuple[str, str]) -> None:
    """Each makes the fan another load than the lamp, which nothing tells from the lift (but where that is touched)."""
    scheme = scheme_of(edit)
    found = stood_for(scheme)
    assert not any("fan_circuit" in name for pair in found.items() for name in pair), found
    lift = {} if any(what in edit[1] for what in APART_TOO) else LIFT
    assert found == lift
    if any("fan_circuit" in exchange for exchange in exchanges(scheme)):
        assert "faults:" in edit[1], "the catalogue alone tells them apart"


def test_claims_that_ask_for_something_else_are_judged_each() -> None:
    scheme = scheme_of((REQUIREMENTS, "requirements:\n  no_draught: {never_running: fan_circuit, "
                        "while: {coldest_cell: below 5 degC}, longer_than: 1 h}"))  # fmt: skip
    assert "no_draught/fan_circuit" not in stood_for(scheme)
    assert stood_for(scheme)["hot_discharge/fan_circuit"] == "hot_discharge/lamp_circuit"


def test_a_condition_on_a_path_is_exchanged_with_it() -> None:
    one = "{never_running: [fan_circuit, lift_circuit], while: {lamp_circuit: running}, longer_than: 1 s}"
    found = stood_for(scheme_of((REQUIREMENTS, f"requirements:\n  alone: {one}")))
    assert found["alone/lift_circuit"] == "alone/fan_circuit"
    assert "alone/fan_circuit" not in found, "there is no such claim on the lamp"


def test_one_requirement_may_ask_for_different_things_of_paths_alike() -> None:
    one = "{never_running: [lamp_circuit, fan_circuit], while: {lamp_circuit: running}, longer_than: 1 s}"
    found = stood_for(scheme_of((REQUIREMENTS, f"requirements:\n  alone: {one}")))
    assert "hot_discharge/fan_circuit" in found
    assert "alone/fan_circuit" not in found, "the lamp's is about itself"


def test_what_is_said_of_the_other_is_what_judging_it_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    common = "faults:\n  a_hot_day: {together: [K2.welded, K3.welded, K4.welded]}\n\ncases:"
    scheme = scheme_of((CASES, common))

    def found() -> tuple[CutSets, ...]:
        return inject(scheme, 2, Here(Court(scheme, BUDGET))).cut_sets

    said = found()
    monkeypatch.setattr(injecting, "mirrors", lambda _: {})
    judged = found()
    assert [replace(c, judged=0) for c in said] == [replace(c, judged=0) for c in judged]
    mine = [c for c, claim in zip(said, scheme.claims, strict=True) if claim.requirement == "hot_discharge"]
    assert [c.judged > 0 for c in mine] == [True, False, False]
    assert all(len(c.minimal) > 8 for c in mine)
    assert all(one.minimal != other.minimal for one, other in pairwise(mine)), "each is said in its own names"
