"""What is written otherwise and means the same is the same; what a mistake's construction dictates is found."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

from interlock.compare.verdict import Comparison, Meaning, PathVerdict
from interlock.logic.mutants import Mistake, mutants
from interlock.proof.prove import prove
from interlock.records import replace
from interlock.scheme.model import Condition, Delay, Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import Signal
from tests.support.bench import BENCH

RULES = Path(__file__).parents[2] / "rules"
HUT = RULES / "alpine_hut.yaml"
LAUNCH = RULES / "survey_launch.yaml"
LOOSER_OR_SAME = {Meaning.LOOSER, Meaning.SAME}
STRICTER_OR_SAME = {Meaning.STRICTER, Meaning.SAME}


def edited(text: str, old: str, new: str) -> Scheme:
    assert text.count(old) == 1, old
    return loads(text.replace(old, new))


def meanings(old: Scheme, new: Scheme) -> dict[str, str]:
    return {v.path: str(v.meaning) for v in Comparison(old, new).verdicts()}


@pytest.mark.parametrize("file", [HUT, LAUNCH], ids=lambda f: f.stem)
def test_a_scheme_compared_with_itself_is_the_same(file: Path) -> None:
    comparison = Comparison(load(file), load(file))
    assert comparison.merged.changed == frozenset()
    assert {v.meaning for v in comparison.verdicts()} == {Meaning.SAME}


def test_rules_in_another_order_are_the_same() -> None:
    text = HUT.read_text()
    before, rules, after = re.split(r"^(rules:\n.*?)(?=^\S)", text, maxsplit=1, flags=re.S | re.M)
    blocks = re.findall(r"^  \w+:\n(?:    .*\n|\n|  #.*\n)+", rules, re.M)
    assert len(blocks) == len(load(HUT).rules)
    turned = loads(before + "rules:\n" + "".join(reversed(blocks)) + after)
    assert list(turned.rules) != list(load(HUT).rules)
    assert set(meanings(load(HUT), turned).values()) == {"same"}


def test_a_rule_written_twice_is_the_same() -> None:
    line = (
        "  cold_stop:   {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}\n"
    )
    twice = edited(BENCH, line, line + line.replace("cold_stop:  ", "frost_stop: "))
    comparison = Comparison(loads(BENCH), twice)
    assert {v.meaning for v in comparison.verdicts()} == {Meaning.SAME}
    assert len(comparison.merged.scheme.rules) == len(loads(BENCH).rules)


def test_a_claim_is_the_same_question_only_where_all_it_depends_on_acts_alike() -> None:
    """What the command does not prove a second time: of a rule written as two, the verdicts are those of the old one;
    of anything else that a verdict may depend on, each claim is asked anew."""
    line = (
        "  cold_stop:   {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}\n"
    )
    old, twice = loads(BENCH), edited(BENCH, line, line + line.replace("cold_stop: ", "frost_stop:"))
    comparison = Comparison(old, twice)
    assert len(old.claims) == len(twice.claims) > 3
    for before, after in zip(old.claims, twice.claims, strict=True):
        assert comparison.same_claim(before, after)
        one, other = prove(old, before), prove(twice, after)
        assert (one.outcome, one.scans, one.margins) == (other.outcome, other.scans, other.margins)
    claim = old.claims[0]
    assert not comparison.same_claim(claim, replace(claim, longer_than=Delay(100_000, 1)))
    named = replace(claim, conditions=(Condition(Signal.RULE, "cold_stop", True),))
    assert not comparison.same_claim(named, named)
    for changed in (
        edited(BENCH, "below 3 degC for 2 s", "below 2 degC for 2 s"),
        replace(old, sensors={n: replace(s, measures=()) for n, s in old.sensors.items()}),
        replace(old, outputs={n: replace(o, stops_within=Delay(900_000, 9)) for n, o in old.outputs.items()}),
        loads(BENCH.replace("cold_stop", "frost_stop")),
    ):
        assert not Comparison(old, changed).same_claim(claim, claim)


def test_another_name_for_a_rule_is_the_same() -> None:
    assert set(meanings(loads(BENCH), loads(BENCH.replace("cold_stop", "frost_stop"))).values()) == {"same"}


def test_a_rule_that_another_one_makes_needless_is_the_same() -> None:
    """Nothing alike is in the two schemes but what they do: it takes the search to see it."""
    line = (
        "  cold_stop:   {watches: probe, trips: below 3 degC for 2 s, clears: above 5 degC for 60 s, blocks: sources}\n"
    )
    later = line.replace("cold_stop: ", "frost_stop:").replace("below 3 degC for 2 s", "below 1 degC for 5 s")
    more = edited(BENCH, line, line + later)
    comparison = Comparison(loads(BENCH), more)
    verdict = comparison.verdict("bench_charger")
    assert "bench_charger" not in comparison.merged.alike
    assert verdict.meaning is Meaning.SAME
    assert verdict.zones > 1


def test_a_lower_threshold_is_looser_with_a_history_that_shows_it() -> None:
    new = edited(BENCH, "trips: below 3 degC for 2 s", "trips: below 1 degC for 2 s")
    comparison = Comparison(loads(BENCH), new)
    verdict = comparison.verdict("bench_charger")
    assert verdict.meaning is Meaning.LOOSER
    (difference,) = verdict.differences
    assert difference.looks == ((Signal.SENSOR, "probe"),)
    assert difference.known
    assert difference.scans is None
    end = difference.trace[-1]
    assert 1_000_000 <= end.world.readings["probe"] < 3_000_000
    assert end.new.may_run["bench_charger"]
    assert not end.old.may_run["bench_charger"]
    assert comparison.verdict("lamp_circuit").meaning is Meaning.SAME


@pytest.mark.parametrize(
    ("limit", "grain"),
    [("2 degC", 1_000_000), ("2.5 degC", 500_000), ("2.98 degC", 10_000), ("2.9995 degC", 100), ("2.999995 degC", 1)],
)
def test_a_history_has_readings_of_as_few_digits_as_show_it(limit: str, grain: int) -> None:
    """What the old rule minds and the new one does not lies from the new limit to just below 3 degC. All readings are
    told in the coarsest of some grains in which a value lies there: 1, 0.5, 0.01, 0.0001 degC, or as they are."""
    new = edited(BENCH, "trips: below 3 degC for 2 s", f"trips: below {limit} for 2 s")
    comparison = Comparison(loads(BENCH), new)
    (difference,) = comparison.verdict("bench_charger").differences
    valid = comparison.merged.scheme.sensors["probe"].valid
    readings = [moment.world.readings["probe"] for moment in difference.trace]
    assert loads(BENCH).rules["cold_stop"].trips.test.value > readings[-1] >= new.rules["cold_stop"].trips.test.value  # type: ignore[union-attr]
    assert all(value % grain == 0 for value in readings if value in valid)
    assert any(value % (2 * grain) for value in readings) or grain in (1, 1_000_000)
    worlds = [moment.world for moment in difference.trace]
    assert all(one != other for one, other in pairwise(worlds))  # what stays as it is stands there once


def test_how_long_a_difference_lasts_is_told_to_the_scan() -> None:
    """Both stop at the scan at which the line goes off; the new rule lets go 5 scans before the old one."""
    line = "full_stop:   {watches: monitor_charge_ok,    trips: off, clears: on for "
    new = edited(BENCH, line + "1 s", line + "500 ms")
    (difference,) = Comparison(loads(BENCH), new).verdict("bench_charger").differences
    assert (difference.looser, difference.scans, difference.known) == (True, 5, True)


def test_one_change_each_way_is_different() -> None:
    text = BENCH.replace("trips: below 3 degC for 2 s", "trips: below 2 degC for 2 s")
    new = edited(text, "clears: above 5 degC for 60 s", "clears: above 6 degC for 60 s")
    verdict = Comparison(loads(BENCH), new).verdict("bench_charger")
    assert verdict.meaning is Meaning.DIFFERENT
    assert [d.looser for d in verdict.differences] == [True, False]


def test_two_that_do_not_scan_alike_are_not_compared() -> None:
    with pytest.raises(ValueError, match="scan"):
        Comparison(loads(BENCH), edited(BENCH, "scan: 100 ms", "scan: 200 ms"))


def dictated(scheme: Scheme, rule: str, verdict: PathVerdict, towards: int) -> set[Meaning]:
    """What may come of a rule that acts more often (+1) or less (-1)."""
    record = scheme.rules[rule]
    if verdict.path in record.starts:
        return LOOSER_OR_SAME if towards > 0 else STRICTER_OR_SAME
    return STRICTER_OR_SAME if towards > 0 else LOOSER_OR_SAME


def acts_alone(scheme: Scheme, rule: str) -> bool:
    """Nothing looks at what the rule does but the paths it blocks or starts, and no rule looks at those."""
    record = scheme.rules[rule]
    touched = {t.path for t in record.blocks} | set(record.starts)
    touched |= {p.name for p in scheme.paths.values() if p.behind in touched}
    others = list(scheme.rules.values())
    return not (
        any(rule in line.rules for line in scheme.lines.values())
        or any(r.watches is Signal.RULE and r.watched == rule for r in others)
        or any(r.watches is Signal.PATH and r.watched in touched for r in others)
        or any(c.name == rule or c.name in touched for r in others for c in r.only_while)
    )


@pytest.mark.parametrize("file", [HUT, LAUNCH], ids=lambda f: f.stem)
def test_a_mutant_gets_the_verdict_that_its_construction_dictates(file: Path) -> None:
    scheme = load(file)
    found = [m for m in mutants(scheme) if m.towards and acts_alone(scheme, m.rule)]
    seen: dict[Meaning, int] = dict.fromkeys(Meaning, 0)
    for mutant in found[::7]:
        rule = scheme.rules[mutant.rule]
        may = {t.path for t in rule.blocks} | set(rule.starts)
        may |= {p.name for p in scheme.paths.values() if p.behind in may}
        for verdict in Comparison(scheme, mutant.scheme).verdicts():
            seen[verdict.meaning] += 1
            allowed = dictated(scheme, mutant.rule, verdict, mutant.towards) if verdict.path in may else {Meaning.SAME}
            assert verdict.meaning in allowed, (mutant.what, verdict.path, verdict.meaning)
    print(f"{file.stem}: {len(found[::7])} of {len(found)} mutants, {seen}")
    assert seen[Meaning.LOOSER] >= 5
    assert seen[Meaning.STRICTER] >= 5
    assert not seen[Meaning.UNDECIDED]


def test_a_path_whose_only_starting_rule_is_left_out_is_looser() -> None:
    """It is then always wanted: a rule that starts something holds it back while it does not act."""
    scheme = load(HUT)
    for rule, path in (("generator_call", "generator_charger"), ("heat_wanted", "cell_heater")):
        mutant = next(m for m in mutants(scheme) if m.rule == rule and m.mistake is Mistake.REMOVED)
        assert mutant.towards == 0
        assert Comparison(scheme, mutant.scheme).verdict(path).meaning is Meaning.LOOSER


def test_a_dropped_block_is_looser_and_an_added_one_stricter_on_that_path_of_the_hut() -> None:
    scheme = load(HUT)
    for mutant in mutants(scheme):
        if mutant.rule != "hot_last_stop" or mutant.mistake not in (Mistake.BLOCK_DROPPED, Mistake.BLOCK_ADDED):
            continue
        path = mutant.what.split(": ")[1].split(" ")[0]
        found = Comparison(scheme, mutant.scheme).verdict(path).meaning
        if mutant.mistake is Mistake.BLOCK_DROPPED:
            assert found is Meaning.LOOSER, mutant.what
        else:  # the lockout stops as much already: it acts sooner and lets go later
            locked = {t.path for t in scheme.rules["hot_lockout"].blocks}
            assert found is (Meaning.SAME if path in locked else Meaning.STRICTER), mutant.what


EDITS = (
    ("    only_while: {source_bus_live: on}\n", "", "cell_heater", "looser"),
    ("override_at_most: 10 min", "override_at_most: 5 min", "rescue_radio", "stricter"),
    ("    overridden_by: rescue_button\n    override_at_most: 10 min\n", "", "rescue_radio", "stricter"),
    (
        "    only_while: {bus_closed: on}\n    power_up: clear\n",
        "    only_while: {bus_closed: on}\n",
        "dump_load",
        "stricter",
    ),
    ("reset_by: reset_button", "reset_by: rescue_button", "comfort_circuits", "different"),
    ("    starts: generator_charger\n", "    starts: cell_heater\n", "cell_heater", "looser"),
    (
        "comfort_circuits:   {flow: discharge}",
        "comfort_circuits:   {flow: discharge, behind: inverter}",
        "comfort_circuits",
        "stricter",
    ),
    (
        "K7:  {drives: [comfort_circuits],   contact: normally_open",
        "K7:  {drives: [comfort_circuits],   contact: normally_closed",
        "comfort_circuits",
        "different",
    ),
    ("trips: active for 10 min", "trips: active for 9 min", "smoke_detection", "stricter"),
    (
        "coldest_reading: {lowest_of: [floor_probe, wall_probe]}",
        "coldest_reading: {highest_of: [floor_probe, wall_probe]}",
        "roof_pv",
        "looser",
    ),
)


@pytest.mark.parametrize(("old", "new", "path", "meaning"), EDITS, ids=lambda x: x.strip()[:24])
def test_each_word_that_can_matter_is_seen_to_matter(old: str, new: str, path: str, meaning: str) -> None:
    changed = edited(HUT.read_text(), old, new)
    verdict = Comparison(load(HUT), changed).verdict(path)
    assert str(verdict.meaning) == meaning


# What each change leads to follows from the meaning of the words alone; every other path stays as it is.
SMALL = """
scheme: Small bench
revision: 1
scan: 1 s
quantities:
  cell: {span: 1 to 4 degC}
  tap: {span: 1 to 4 V}
sensors:
  one:  {measures: {cell: 0 to 0 K}, valid: 1 to 4 degC}
  two:  {measures: {cell: 0 to 0 K}, valid: 1 to 4 degC}
  high: {measures: {tap: 0 to 0 mV}, valid: 1 to 4 V}
readings:
  colder: {lowest_of: [one, two], needs: 1}
units: [board, monitor]
lines:
  button: external
  key: external
  permit: {low_when: [full]}
rules:
  full: {unit: monitor, watches: high, trips: above 3 V for 2 s, clears: below 2 V for 3 s}
  full_stop: {watches: permit, trips: off, clears: on, blocks: sources}
  cold: {watches: one, trips: below 2 degC for 2 s, clears: above 3 degC for 3 s, on_invalid: hold, power_up: clear,
         blocks: heater, only_while: {key: off}}
  cooler: {watches: colder, trips: below 2 degC for 2 s, clears: above 3 degC for 3 s,
           reset: manual, reset_by: button, blocks: lamp, overridden_by: key, override_at_most: 3 s}
  called: {watches: key, trips: on for 1 s, clears: off, alarm: called, starts: [pump, light]}
  warmed: {watches: heater, trips: stopped for 2 s, clears: running, power_up: clear, reset: manual, blocks: fan}
paths:
  charger: {flow: charge}
  inverter: {flow: {charge: {key: on}, discharge: {key: off}}}
  heater: {flow: none}
  lamp: {flow: discharge}
  pump: {flow: discharge}
  light: {flow: none}
  fan: {flow: none}
outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed}
  K2: {drives: [heater], contact: normally_open, runs_when: closed}
  K3: {drives: [lamp], contact: normally_open, runs_when: closed}
  K4: {drives: [pump, light], contact: normally_open, runs_when: closed}
  K5: {drives: [fan], contact: normally_open, runs_when: closed}
  K6: {drives: [inverter], contact: normally_open, runs_when: closed}
requirements:
  full_charge: {never_running: charger, while: {tap: above 3.5 V}, longer_than: 10 s}
"""
COLD_TRIP, COLD_CLEAR = "below 2 degC for 2 s, clears: above 3 degC for 3 s, on", "above 3 degC for 3 s, on"
ONE = "one:  {measures: {cell: 0 to 0 K}, valid: 1 to 4 degC}"
HIGH = "high: {measures: {tap: 0 to 0 mV}, valid: 1 to 4 V}"
SMALL_EDITS: tuple[tuple[str, str, dict[str, str]], ...] = (
    ("watches: one", "watches: two", {"heater": "different", "fan": "different"}),
    ("on_invalid: hold", "on_invalid: trip", {"heater": "stricter", "fan": "stricter"}),
    ("on_invalid: hold", "on_invalid: clear", {"heater": "looser", "fan": "looser"}),
    ("hold, power_up: clear", "hold, power_up: tripped", {"heater": "stricter", "fan": "stricter"}),
    (COLD_TRIP, COLD_TRIP.replace("2 s", "3 s"), {"heater": "looser", "fan": "looser"}),
    (COLD_TRIP, COLD_TRIP.replace("below", "at_or_below"), {"heater": "stricter", "fan": "stricter"}),
    (COLD_CLEAR, COLD_CLEAR.replace("3 s", "2 s"), {"heater": "looser", "fan": "looser"}),
    (COLD_CLEAR, COLD_CLEAR.replace("3 degC", "3.5 degC"), {"heater": "stricter", "fan": "stricter"}),
    # from 4 to 5 degC one reading stood still and the other tripped: now both clear
    (ONE, ONE.replace("4 degC", "5 degC"), {"heater": "looser", "fan": "looser", "lamp": "looser"}),
    ("needs: 1", "needs: 2", {"lamp": "stricter"}),
    ("lowest_of", "highest_of", {"lamp": "looser"}),
    ("[one, two], needs", "[one], needs", {"lamp": "different"}),
    ("low_when", "high_when", {"charger": "different", "inverter": "different"}),
    ("only_while: {key: off}", "only_while: {key: on}", {"heater": "different", "fan": "different"}),
    ("only_while: {key: off}", "only_while: {button: off}", {"heater": "different", "fan": "different"}),
    ("override_at_most: 3 s", "override_at_most: 4 s", {"lamp": "looser"}),
    ("overridden_by: key", "overridden_by: button", {"lamp": "different"}),
    ("reset_by: button", "reset_by: key", {"lamp": "different"}),
    ("           reset: manual, reset_by: button,", "          ", {"lamp": "looser"}),
    ("called: {watches: key", "called: {watches: button", {"pump": "different", "light": "different"}),
    ("starts: [pump, light]", "blocks: [pump, light]", {"pump": "different", "light": "different"}),
    (", starts: [pump, light]", "", {"pump": "looser", "light": "looser"}),
    # an output is on while anything that it drives is wanted, and stopped while a rule blocks anything that it drives
    ("starts: [pump, light]", "starts: pump", {"pump": "looser", "light": "looser"}),
    ("starts: [pump, light]", "starts: lamp", {"pump": "looser", "light": "looser", "lamp": "stricter"}),
    ("blocks: fan", "blocks: pump", {"fan": "looser", "pump": "stricter", "light": "stricter"}),
    (
        " reset: manual, blocks: fan",
        " blocks: fan",
        {"fan": "looser"},
    ),  # without a line nobody resets it
    ("watches: heater", "watches: lamp", {"fan": "different"}),
    ("charge: {key: on}", "charge: {button: on}", {"inverter": "different"}),
    ("lamp: {flow: discharge}", "lamp: {flow: discharge, behind: fan}", {"lamp": "stricter"}),
    (
        "K5: {drives: [fan], contact: normally_open",
        "K5: {drives: [fan], contact: normally_closed",
        {"fan": "different"},
    ),
)


@pytest.mark.parametrize(("old", "new", "changed"), SMALL_EDITS, ids=lambda x: str(x)[:24])
def test_each_word_changes_what_it_says_and_nothing_else(old: str, new: str, changed: dict[str, str]) -> None:
    before = loads(SMALL)
    assert meanings(before, edited(SMALL, old, new)) == {**dict.fromkeys(before.paths, "same"), **changed}


def test_a_sensor_of_one_name_that_measures_another_kind_is_another_sensor() -> None:
    """All numbers are the same: 3 V and 3 degC are not."""
    text = SMALL.replace(HIGH, "high: {measures: {cell: 0 to 0 K}, valid: 1 to 4 degC}")
    new = edited(text, "above 3 V for 2 s, clears: below 2 V", "above 3 degC for 2 s, clears: below 2 degC")
    found = meanings(loads(SMALL), new)
    assert {path for path, meaning in found.items() if meaning == "different"} == {"charger", "inverter"}
    assert {path for path, meaning in found.items() if meaning == "same"} == {"heater", "lamp", "pump", "light", "fan"}


def test_rules_of_two_units_that_say_the_same_are_not_one_rule() -> None:
    """Each acts through the outputs of its own unit alone."""
    rule = "  frost: {UNIT watches: two, trips: below 2 degC, clears: above 3 degC, blocks: PATH}\n"
    own = "  draught: {unit: monitor, watches: two, trips: below 2 degC, clears: above 3 degC, ACTS}\n"
    text = SMALL.replace("rules:\n", "rules:\n" + rule.replace("UNIT", "").replace("PATH", "fan") + own)
    text = text.replace("outputs:\n", "outputs:\n  K7: {unit: monitor, drives: [shutter], runs_when: closed,\n"
                        "       contact: normally_open}\n")  # fmt: skip
    text = text.replace("  fan: {flow: none}\n", "  fan: {flow: none}\n  shutter: {flow: none}\n")
    old, new = loads(text.replace("ACTS", "blocks: shutter")), loads(text.replace("ACTS", "alarm: cold"))
    assert meanings(old, new) == {**dict.fromkeys(old.paths, "same"), "shutter": "looser"}
    assert meanings(old, old) == dict.fromkeys(old.paths, "same")
