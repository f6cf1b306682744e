"""Schemes for the explanation's tests: the project's own, random ones, and one with every word of the rarer kind."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from tests.support.random_schemes import BROAD, random_scheme_text

RULES = Path(__file__).parents[2] / "rules"

EVERYTHING = """\
scheme: Bench of everything
revision: 3
scan: 100 ms
why: it holds what the other schemes leave out.
quantities:
  cold: {span: -30 to 80 degC}
  hot: {span: -30 to 80 degC, at_least: cold - 1 K, at_most: cold + 6 K, why: measured once with a camera}
  level: {span: 0 to 100 %, damaged_below: 2 %, damaged_above: 99 %}
  spare: {span: 0 to 10 V}
  current: {span: -100 to 100 A}
sensors:
  high_probe: {measures: {cold: 1 to 2 K}, valid: -35 to 90 degC, drifts: -3 to 3 K, misplaced: 0 to 8 K,
               open_reads: 95 degC, shorted_reads: -20 degC, terminal: X1, wire: W1}
  low_probe: {measures: {cold: -2 to -1 K}, valid: -35 to 90 degC, open_reads: -20 degC, shorted_reads: -40 degC}
  exact_probe: {measures: {hot: 0 to 0 K}, valid: -35 to 90 degC, stale_after: 250 ms}
  upper_probe: {measures: {hot: 0 to 2 K}, valid: -35 to 90 degC}
  lower_probe: {measures: {hot: -2 to 0 K}, valid: -35 to 90 degC}
  table_probe:
    measures: {hot: -9 to 9 K}
    placed: {hot: -1 to 0 K}
    valid: -35 to 90 degC
    element: {type: ntc, tolerance: 1 %, table: {-40 degC: 188.5 kohm, 0 degC: 27.28 kohm, 25 degC: 10 kohm,
              45 degC: 4.911 kohm, 60 degC: 3.02 kohm, 95 degC: 1.1 kohm}}
    input: {pull_down: 10 kohm, supply: 3.3 V within 1 %, reference: 3.3 V, leads: 0 to 1 ohm, bits: 12,
            converts_by: {r25: 10 kohm, beta: 3435 K}}
  beta_probe: {measures: hot, valid: -35 to 90 degC, input: {pull_up: 10 kohm, reference: 3.3 V, bits: 12},
               element: {type: ntc, r25: 10 kohm within 1 %, beta: 3435 K within 1 %, dissipates: 2 mW/K}}
  polynomial_probe: {measures: hot, valid: -35 to 90 degC, input: {pull_up: 10 kohm}, element: {type: ntc, r25: 10 kohm,
                     polynomial: [3.354016e-3, 2.569850e-4, 2.620131e-6, 6.383091e-8], tolerance: 0.2 K}}
  steinhart_probe: {measures: hot, valid: -35 to 90 degC, input: {pull_up: 10 kohm, bits: 10},
                    element: {type: ntc, steinhart_hart: [1.40e-3, 2.37e-4, 9.90e-8], tolerance: 1 %}}
  platinum_probe: {measures: hot, valid: -35 to 90 degC, input: {pull_up: 2.2 kohm within 0.1 %, bits: 16},
                   element: {type: pt1000, class: B}}
  divided: {measures: spare, valid: 0 to 11 V, element: {type: divider, top: 47 kohm, bottom: 10 kohm within 1 %},
            input: {reference: 2.5 V, bits: 12}}
  shunt: {measures: current, valid: -110 to 110 A, open_reads: 0 A,
          input: {reference: 2.5 V, gain: 20 V/V, zero: 1.25 V},
          element: {type: shunt, rated_current: 100 A, rated_voltage: 60 mV within 0.5 %}}
  gauge: {measures: {level: -5 to 5 %}, valid: 0 to 100 %}
readings:
  lowest: {lowest_of: [high_probe, low_probe], needs: 1}
  highest: {highest_of: [high_probe, low_probe]}
  middle: {median_of: [exact_probe, upper_probe, lower_probe]}
  mean: {average_of: [exact_probe, upper_probe]}
  spread: {difference_of: [exact_probe, upper_probe], why: tells of a probe gone astray}
units: [board, monitor]
lines:
  permit: {low_when: [too_cold, too_low], why: "one wire for two reasons, to save a core"}
  alarm_line: {high_when: [too_cold]}
  any_alarm: {high_when: [too_cold, too_low], undriven_reads: on}
  single: {low_when: [too_low], undriven_reads: on}
  confirmed: {confirms: K1}
  shore: {external: yes, undriven_reads: on}
  button: external
  bypass: external
  held_bypass: {external: yes, undriven_reads: on}
  unread: external
rules:
  too_cold: {unit: monitor, watches: lowest, trips: at_or_below 3 degC for 250 ms, clears: above 5 degC}
  too_low: {unit: monitor, watches: gauge, trips: below 10 %, clears: at_or_above 20 % for 1 s, on_invalid: hold}
  stop: {watches: permit, trips: off for 1 s, clears: on, blocks: sources, alarm: "stopped"}
  told: {watches: alarm_line, trips: on, clears: off, alarm: "cold"}
  seen: {watches: any_alarm, trips: off, clears: on, alarm: "fine"}
  silent: {watches: single, trips: on for 1 s, clears: off}
  silent_now: {watches: single, trips: on, clears: off}
  chained: {watches: silent, trips: active, clears: clear for 1 s, blocks: everything, power_up: as_left}
  chained_too: {watches: silent_now, trips: active, clears: clear, blocks: loads, overridden_by: bypass}
  hot_lock: {watches: highest, trips: above 50 degC, clears: below 40 degC, blocks: all, reset: manual,
             reset_by: button, on_invalid: clear, overridden_by: held_bypass}
  lost_lock: {watches: middle, trips: above 60 degC, clears: below 50 degC, blocks: lamp, reset: manual}
  busy: {watches: heater, trips: running for 1 s, clears: stopped for 2 s, blocks: heater,
         overridden_by: held_bypass, override_at_most: 1 min}
  warm: {watches: mean, trips: below 5 degC, clears: above 9 degC, starts: heater, only_while: {shore: on}}
  warm_too: {watches: mean, trips: below 2 degC, clears: above 4 degC, starts: [heater, fan, second_fan],
             only_while: {shore: off, warm: active}}
  apart: {watches: spread, trips: above 3 K, clears: below 2 K, blocks: charger, only_while: {confirmed: on}}
groups:
  everything: [sources, loads, heater]
paths:
  charger: {flow: charge, behind: bus}
  bus: {flow: none}
  both_ways: {flow: both}
  by_mode: {flow: {charge: {shore: on}, discharge: {shore: off}}}
  by_half: {flow: {charge: {bypass: on}, discharge: {bypass: off}}, behind: bus}
  lamp: {flow: discharge}
  heater: {flow: none}
  fan: {flow: none}
  second_fan: {flow: none}
  pump: {flow: discharge, unswitched: "it must never stop."}
outputs:
  K1: {drives: [charger], contact: normally_open, runs_when: closed, stops_within: 150 ms, starts_within: 1 s}
  K2: {drives: [bus, both_ways, by_mode, by_half], contact: normally_closed, runs_when: open}
  K3: {drives: [lamp], contact: driven, runs_when: low, energised_when: stops}
  K4: {drives: [heater], contact: driven, runs_when: high}
  K5: {drives: [lamp], contact: normally_closed, runs_when: closed, energised_when: stops}
  K6: {drives: [fan, second_fan], contact: normally_open, runs_when: closed, wire: W6, terminal: X6}
devices:
  charger:
    what: a charger.
    cells: 4
    error: {spare: -0.1 to 0.1 V, hot: -1 to 1 K, cold: -1 to 1 K}
    imbalance: {spare: 0 to 20 mV}
    absorption: {spare: 14.2 V}
    float: {spare: 13.6 V}
    high_cut_off: {spare: above 14.6 V for 1 s}
    high_reconnect: {spare: below 13.8 V for 1 min}
    hot_cut_off: {hot: at_or_above 45 degC}
    hot_reconnect: {hot: below 40 degC}
    cold_cut_off: {cold: below 8 degC}
    cold_reconnect: {cold: above 11 degC}
    remote_enabled: yes
    verified_at: "its menu, page 4."
  lamp: {low_cut_off: {level: below 20 % for 5 s}, low_reconnect: {level: above 30 %}, remote_enabled: yes}
  heater: {remote_enabled: no, why: it is an old one}
requirements:
  no_cold: {never_running: sources, while: {cold: below 0 degC}, longer_than: 10 s}
  no_heat: {never_running: heater, while: {charger: running, unread: on}, longer_than: 0 s}
  never_fan: {never_running: fan, longer_than: 0 s}
  bus_always: {never_stopped: bus, longer_than: 0 s}
  bus_warm: {never_stopped: bus, while: {hot: above 10 degC}, longer_than: 0 s}
  short_fan: {never_running: fan, longer_than: 1 min}
  lamp_served: {never_stopped: lamp, attended: no, longer_than: 1 h}
  pump_served: {never_running: pump, while: {level: below 5 %}, longer_than: 1 min}
cases:
  all words:
    - {set: {high_probe: 4 degC, low_probe: 4 degC, exact_probe: 6 degC, upper_probe: 6 degC, lower_probe: 6 degC,
             gauge: 50 %, shore: on}, for: 1 s, expect: {too_cold: clear, lamp: stopped, permit: on}}
    - {press: button, expect: {hot_lock: tripped}, why: "nothing moves yet."}
    - {fault: K1.welded, for: 1 s}
    - {repair: K1.welded, for: 250 ms, expect: {silent: tripped}}
    - {expect: {silent: active}}
    - {for: 0 s}
faults:
  K1.ignored: {excluded: "the charger was tested on the bench."}
  high_probe.dropped: {like: misplaced, error: -9 to 0 K}
  wet: {together: [high_probe.open, K1.wire_broken]}
  K2.welded: {rate: 2e-7 per h, source: "a maker's table"}
accepted:
  path-not-covered: {heater: "warms from outside"}
"""


@cache
def everything() -> Scheme:
    """The scheme with every rarer word."""
    return loads(EVERYTHING, "everything.yaml")


@cache
def own() -> tuple[Scheme, ...]:
    """The project's own schemes, flawed ones included."""
    return tuple(load(path) for path in sorted(RULES.rglob("*.yaml")))


@cache
def random_schemes(count: int) -> tuple[Scheme, ...]:
    """Random schemes with every construct."""
    return tuple(loads(random_scheme_text(random.Random(seed), BROAD)) for seed in range(count))
