"""Two corners of installations and the bench with short delays: small enough to be judged under every fault by a model
checker and a solver."""

from __future__ import annotations

from tests.support.bench import BENCH

HEATER = """\
scheme: Heater of an alpine hut
revision: 1
scan: 100 ms
quantities:
  coldest_cell: {span: -30 to 60 degC}
sensors:
  floor_probe: {measures: {coldest_cell: -1 to 1 K}, valid: -35 to 65 degC, drifts: -5 to 5 K}
  wall_probe:  {measures: {coldest_cell: -1 to 1 K}, valid: -35 to 65 degC, stale_after: 300 ms}
readings:
  coldest_reading: {lowest_of: [floor_probe, wall_probe]}
lines:
  bus_live: {external: yes}
  pv_closed: {confirms: K1, undriven_reads: on}
rules:
  cold_stop:   {watches: coldest_reading, trips: below 2 degC for 200 ms, clears: above 4 degC for 300 ms,
                blocks: roof_pv}
  heat_wanted: {watches: coldest_reading, trips: below 5 degC for 200 ms, clears: above 7 degC, starts: cell_heater,
                only_while: {bus_live: on}}
  pv_first:    {watches: pv_closed, trips: on, clears: off for 200 ms, blocks: cell_heater}
paths:
  roof_pv:     {flow: charge}
  cell_heater: {flow: none, why: fed from the source bus}
outputs:
  K1: {drives: [roof_pv],     contact: normally_open, runs_when: closed, stops_within: 100 ms}
  K2: {drives: [cell_heater], contact: normally_open, runs_when: closed, stops_within: 100 ms}
requirements:
  frozen_charge: {never_running: roof_pv,     while: {coldest_cell: below 0 degC}, longer_than: 500 ms}
  one_of_two:    {never_running: cell_heater, while: {roof_pv: running},           longer_than: 500 ms}
  bus_dead:      {never_running: cell_heater, while: {bus_live: off},              longer_than: 300 ms}
"""

ALTERNATOR = """\
scheme: Alternator of a survey launch
revision: 1
scan: 100 ms
quantities:
  highest_cell: {span: 1.5 to 4.2 V}
sensors:
  high_tap: {measures: {highest_cell: -10 to 10 mV}, valid: 1 to 4.5 V}
units: [board, cell_monitor]
lines:
  charge_permit: {low_when: [cell_full], undriven_reads: off}
  contactor_closed: {confirms: K1, undriven_reads: off}
  reset_button: external
rules:
  cell_full: {unit: cell_monitor, watches: high_tap, trips: above 3.55 V for 200 ms, clears: below 3.40 V for 300 ms}
  full_stop: {watches: charge_permit, trips: off, clears: on for 200 ms, blocks: alternator}
  full_open: {watches: charge_permit, trips: off for 400 ms, clears: on, blocks: pack_contactor, reset: manual,
              reset_by: reset_button}
  contactor_first: {watches: contactor_closed, trips: off, clears: on for 200 ms, blocks: alternator}
paths:
  pack_contactor: {flow: none, why: only a contactor; the current is counted behind it}
  alternator:     {flow: charge, behind: pack_contactor}
outputs:
  K1: {drives: [pack_contactor], contact: normally_open, runs_when: closed, stops_within: 100 ms}
  K2: {drives: [alternator],     contact: normally_open, runs_when: closed, stops_within: 100 ms}
requirements:
  overfull_charge: {never_running: alternator, while: {highest_cell: above 3.65 V},  longer_than: 500 ms}
  field_first:     {never_running: alternator, while: {pack_contactor: stopped},     longer_than: 300 ms}
  charging_served: {never_stopped: alternator, while: {highest_cell: below 3.35 V},  longer_than: 2 s}
"""

_SHORTER = (
    ("for 60 s", "for 500 ms"),
    ("for 30 s", "for 400 ms"),
    ("for 5 min", "for 700 ms"),
    ("for 3 s,", "for 300 ms,"),
    ("for 2 s,", "for 200 ms,"),
    ("for 1 s,", "for 100 ms,"),
    ("longer_than: 10 s", "longer_than: 700 ms"),
    ("longer_than: 5 s", "longer_than: 600 ms"),
    ("longer_than: 6 min", "longer_than: 1500 ms"),
)


def short_bench() -> str:
    """The reference's bench with delays of some scans, in the same order of length."""
    text = BENCH
    for long, short in _SHORTER:
        assert long in text, f"the bench has no {long!r}"
        text = text.replace(long, short)
    return text
