"""The part of the page on faults: what each leads to, what helps and what shows it, one below the other."""

from __future__ import annotations

from interlock.explain.ways_out import told_ways_out
from interlock.faults.effects import Effect
from interlock.handbook.faults import single_words, singles
from interlock.handbook.html import coded
from interlock.handbook.words import english
from tests.faults.studies import bench


def test_a_schemes_own_words_stand_out_and_nothing_is_injected() -> None:
    assert coded("read as on (`undriven_reads: on`), it <b>") == (
        "read as on (<code>undriven_reads: on</code>), it &lt;b&gt;"
    )
    assert coded("`<script>`") == "<code>&lt;script&gt;</code>"


def test_a_backtick_without_a_partner_is_a_letter_like_others() -> None:
    assert coded("5 ` apart") == "5 ` apart"


def test_a_single_point_says_what_it_leads_to_then_what_helps_then_what_shows_it() -> None:
    scheme, study = bench()
    found = {effect.fault: (effect, said) for effect, said in singles(scheme, study, english(), installed=False)}
    assert set(found) == {
        e.fault for e in study.effects if e.effect is Effect.VIOLATES and not scheme.faults[e.fault].installation
    }
    effect, said = found["probe.stuck"]
    assert single_words(scheme, study, effect, said, english()) == (
        "If probe sticks at the reading it had, bench_charger may run for longer than 10 s while coldest_cell is below "
        "0 degC; lamp_circuit may run for longer than 10 s while hottest_cell is above 60 degC.",
        told_ways_out(scheme, study, effect),
        "It shows by: what should run being stopped (bench_charger).",
    )
