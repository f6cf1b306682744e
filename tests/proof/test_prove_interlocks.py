"""The classical interlocks, whose rules watch each other through long delays, are decided."""

from __future__ import annotations

import pytest

from interlock.proof.prove import Outcome, prove, prove_all
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads

HEAD = """
scheme: interlock
scan: 100 ms
quantities: {level: {span: 0 to 100 %}}
sensors: {shunt: {measures: {level: -2 to 2 %}, valid: -10 to 110 %}}
"""

SUPPLIES = (
    HEAD
    + """
lines:
  genset_closed: {confirms: KG, undriven_reads: on}
  valley_closed: {confirms: KV, undriven_reads: on}
  valley_live: external
rules:
  call: {watches: shunt, trips: below 30 % for 15 min, clears: above 60 % for 5 min, starts: genset}
  valley_dead: {watches: valley_live, trips: off for 2 s, clears: on for 5 min, blocks: valley}
  valley_first: {watches: valley_dead, trips: clear, clears: active for 2 s, blocks: genset}
  valley_made: {watches: valley_closed, trips: on, clears: off for 2 s, blocks: genset}
  genset_made: {watches: genset_closed, trips: on, clears: off for BREAK, blocks: valley}
paths: {genset: {flow: charge}, valley: {flow: charge}}
outputs:
  KG: {drives: [genset], contact: normally_open, runs_when: closed, stops_within: 300 ms}
  KV: {drives: [valley], contact: normally_open, runs_when: closed, stops_within: 300 ms}
requirements:
  one_supply: {never_running: genset, while: {valley: running}, longer_than: 0 s}
"""
)

PRECHARGE = (
    HEAD
    + """
rules:
  low: {watches: shunt, trips: below 20 % for 5 min, clears: above 30 % for 15 min, blocks: loads}
  filled: {watches: precharge, trips: stopped, clears: running for 3 s, blocks: inverter}
paths: {precharge: {flow: discharge}, inverter: {flow: discharge}}
outputs:
  KP: {drives: [precharge], contact: normally_open, runs_when: closed}
  KI: {drives: [inverter], contact: normally_open, runs_when: closed, stops_within: 200 ms, starts_within: 1 s}
requirements:
  filled_first: {never_running: inverter, while: {precharge: stopped}, longer_than: ALLOWED}
"""
)

FIELD = (
    HEAD
    + """
lines: {closed: {confirms: KB}, loop: external}
rules:
  stop_field: {watches: loop, trips: off, clears: on for 1 s, blocks: alternator}
  open: {watches: stop_field, trips: active for WAIT, clears: clear, blocks: bus}
  closed_first: {watches: closed, trips: off, clears: on for 1 s, blocks: alternator}
paths: {bus: {flow: none}, alternator: {flow: charge}}
outputs:
  KB: {drives: [bus], contact: normally_open, runs_when: closed}
  KF: {drives: [alternator], contact: normally_open, runs_when: closed, stops_within: 1 s}
requirements:
  field_first: {never_running: alternator, while: {bus: stopped}, longer_than: 0 s}
"""
)

THRUSTER = (
    HEAD
    + """
lines: {lever: external}
rules:
  call: {watches: lever, trips: on, clears: off, starts: thruster}
  busy: {watches: thruster, trips: running, clears: stopped for 30 s, alarm: busy}
  limit: {watches: busy, trips: active for 3 min, clears: clear for 270 s, blocks: thruster}
paths: {thruster: {flow: discharge}}
outputs:
  K: {drives: [thruster], contact: normally_open, runs_when: closed, stops_within: 200 ms}
requirements:
  duty: {never_running: thruster, longer_than: 185 s}
"""
)


def scheme(text: str, **words: str) -> Scheme:
    for word, value in words.items():
        text = text.replace(word, value)
    return loads(text, "interlock.yaml")


@pytest.mark.parametrize(
    "text", [SUPPLIES.replace("BREAK", "2 s"), FIELD.replace("WAIT", "2 s")], ids=["supplies", "field"]
)
def test_exclusive_supplies_and_field_before_contactor_hold_without_a_single_scan(text: str) -> None:
    (verdict,) = prove_all(scheme(text))
    assert verdict.outcome is Outcome.HOLDS
    assert verdict.scans == 0


def test_a_field_that_outlasts_the_wait_is_found_and_shown() -> None:
    # told to stop at scan 0, the field may run up to scan 9; the contactor opens at scan 5
    (verdict,) = prove_all(scheme(FIELD, WAIT="500 ms"))
    assert verdict.outcome is Outcome.VIOLATED
    assert verdict.scans == 5
    assert verdict.trace


def test_contact_before_break_is_found() -> None:
    text = SUPPLIES.replace("off for BREAK, blocks: valley", "off for 2 s, alarm: the genset has not let go")
    assert text != SUPPLIES
    (verdict,) = prove_all(scheme(text))
    assert verdict.outcome is Outcome.VIOLATED
    assert verdict.trace


@pytest.mark.parametrize(("allowed", "outcome"), [("200 ms", Outcome.HOLDS), ("100 ms", Outcome.VIOLATED)])
def test_precharge_comes_first(allowed: str, outcome: Outcome) -> None:
    # both go in the same scan; the inverter may run for its 200 ms after that
    (verdict,) = prove_all(scheme(PRECHARGE, ALLOWED=allowed))
    assert verdict.outcome is outcome
    assert verdict.scans == 2


def test_a_running_time_limit_is_exact_to_the_scan() -> None:
    s = scheme(THRUSTER)
    verdict = prove(s, s.claims[0])
    assert verdict.outcome is Outcome.HOLDS
    # seen running at scan 1; busy from then; 1800 scans of it; then 200 ms to stop
    assert verdict.scans == 1 + 1800 + 2
