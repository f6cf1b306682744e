"""What a rule, line or output can never become, the readable engine never shows: random schemes, random inputs."""

from __future__ import annotations

import random

import pytest

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.movement import Mover
from interlock.check.run import check
from interlock.logic.scan import Engine
from interlock.scheme.read import loads
from interlock.scheme.words import LineForm
from tests.check.found import edited, found, mended
from tests.support.profiles import BROAD, SMALL
from tests.support.random_schemes import random_scheme_text
from tests.support.random_worlds import random_worlds

SCHEMES, SCANS = 150, 60


def test_nothing_happens_that_is_said_to_be_impossible() -> None:
    said = {Ident.NEVER_TRIPS: 0, Ident.NEVER_CLEARS: 0, Ident.NEVER_IN_FORCE: 0}
    still = 0
    for seed in range(SCHEMES):
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng, BROAD if seed % 3 else SMALL))
        can = Mover(Facts(scheme)).can
        named: dict[str, set[str]] = {}
        for finding in check(scheme):
            named.setdefault(finding.ident, set()).add(finding.name)
        for ident in said:
            said[ident] += len(named.get(str(ident), ()))
        still += sum(len(values) < 2 for values in can.active.values())
        engine = Engine(scheme)
        for world in random_worlds(rng, scheme, (), SCANS):
            seen = engine.scan(world)
            for rule, (state, _) in seen.states.items():
                assert state.active in can.active[rule], (seed, rule, state)
            for line, level in seen.lines.items():
                if scheme.lines[line].form is not LineForm.EXTERNAL:
                    assert level in can.lines[line], (seed, line, level)
            for output, on in seen.on.items():
                assert on in can.on[output], (seed, output, on)
            assert not seen.in_force & named.get(str(Ident.NEVER_IN_FORCE), set()), seed
    assert still > 20, "some rules must really stand still, or this shows nothing"
    print(f"{SCHEMES} schemes, {SCANS} scans each; rules that can't change: {still}; findings: {said}")


TWO = """
scheme: Two rules in a row
scan: 100 ms
quantities: {cell: {span: 0 to 50 degC}}
sensors: {probe: {measures: {cell: 0 to 0 K}, valid: -10 to 60 degC}}
lines: {cool: {low_when: [first]}}
rules:
  first:  {watches: probe, trips: above 50 degC, clears: below 40 degC, power_up: clear, on_invalid: clear}
  second: {watches: cool, trips: off, clears: on, power_up: clear, blocks: fan}
  third:  {watches: second, trips: active, clears: clear, blocks: fan}
paths: {fan: {flow: none}}
outputs: {K1: {drives: fan, contact: normally_open, runs_when: closed}}
"""


def test_what_follows_from_a_rule_that_stands_still_is_not_reported_again() -> None:
    assert found(TWO) == [("never-trips", "first")]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("on_invalid: clear}", "on_invalid: trip}", [("never-trips", "first")]),  # only an invalid reading makes it act
        ("above 50 degC", "at_or_above 50 degC", []),  # the end of the span itself can be read
        ("above 50 degC", "above 49.999999 degC", []),
        ("{cell: 0 to 0 K}", "{cell: 0 to 0.000001 K}", []),
    ],
)
def test_the_last_millionth_decides_whether_a_rule_can_trip(old: str, new: str, expected: list[object]) -> None:
    assert found(edited(TWO, (old, new))) == expected


def test_a_drifted_sensor_may_reach_what_a_healthy_one_cannot() -> None:
    assert found(edited(TWO, ("valid: -10 to 60 degC}", "valid: -10 to 60 degC, drifts: -5 to 5 K}"))) == []


def test_an_output_that_a_rule_blocks_for_good_is_never_on() -> None:
    text = edited(
        mended("never-clears"),
        ("clears: above 55 %, alarm: the battery is full", "clears: above 100 %, blocks: fan"),
        ("rules:", "lines: {fan_closed: {confirms: K1}}\nrules:\n"
                   "  fan_runs: {watches: fan_closed, trips: on, clears: off, alarm: the fan runs}"),
    )  # fmt: skip
    assert Mover(Facts(loads(text))).can.on["K1"] == {False}
    assert found(text) == [("never-clears", "vent_on_full")]  # that the fan never runs follows from it
    overridden = edited(text, ("blocks: fan", "blocks: fan, only_while: {fan_closed: off}"))
    assert Mover(Facts(loads(overridden))).can.on["K1"] == {False, True}


def test_a_reset_line_that_only_its_own_rule_could_change_resets_nothing() -> None:
    text = edited(
        mended("reset-without-button"),
        ("  reset_button: external", "  reset_button: {high_when: [stuck]}"),
        ("rules:", "rules:\n  stuck: {watches: probe, trips: above 80 degC, clears: below 70 degC, power_up: clear,\n"
                   "          on_invalid: clear}"),
    )  # fmt: skip
    text = edited(text, ("hottest_cell: -2 to 2 K", "hottest_cell: -2 to 0 K"))
    assert found(text) == [("never-trips", "stuck")]  # the reset follows from it
    assert Mover(Facts(loads(text))).can.active["lockout"] == {True}
