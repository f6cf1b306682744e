"""A test sheet in words: what is done, how long is waited, where one looks; and a page that fits its scheme."""

from __future__ import annotations

import json
import re
from html import unescape

import pytest

from interlock.plan.sheet import Sheet, Step
from interlock.records import replace
from interlock.scheme.read import loads
from interlock.sheet.cautions import CAUTIONS, TESTING
from interlock.sheet.step_page import step_page
from interlock.sheet.step_words import clock_words, sheet_words
from tests.sheet.samples import hut_sheet
from tests.support.bench import edited


def test_every_stimulus_is_told_with_the_place_where_it_is_given() -> None:
    first, second, third, fourth, last = sheet_words(*hut_sheet()).steps
    # By the beta formula: 10 kohm * exp(3435 * (1/285.15 - 1/298.15)) = 16.909 kohm.
    assert first.does[0] == "pretend 12 degC at floor_probe (X1.1, W1): put 16.909 kohm"
    assert first.does[2] == "pretend 3.29 V at low_tap: put 3.29 V"
    assert first.does[4] == "pretend 75 % at shunt (X1.5, W3)"  # what counts charge has no element
    assert first.does[-2:] == (
        "set source_bus_live (X2.8, W18) off",
        "then power the installation up: everything above must be set before",
    )
    assert first.waits == "wait 10 min 1 s, then look"
    assert second.does == ("press reset_button (X2.9, W19) for a second and let go",)
    assert third.hurry == "It stays so: no hurry."
    assert fourth.does == ("change nothing: only wait and look again",)
    assert "3 s only" in fourth.hurry
    assert last.does == ("open the lead of floor_probe (X1.1, W1)",)


def test_the_stopwatch_of_a_step_that_sets_nothing_is_that_of_the_step_before() -> None:
    """By hand: it was started with step 3, whose look was due after 4 s; step 4 looks again at once."""
    steps = sheet_words(*hut_sheet()).steps
    assert [(s.counts_from, s.look_s) for s in steps] == [(1, 601), (2, 31), (3, 4), (3, 4), (5, 6)]


def test_each_thing_is_looked_at_where_it_can_be_seen() -> None:
    rows = {e.name: e for told in sheet_words(*hut_sheet()).steps for e in told.expected}
    assert rows["roof_pv"].looked_at == (
        "path, at the device's own input: R2 (X3.2, W22) closed to run, K2 (X3.3, W23) closed to run"
    )
    assert rows["charge_permit"].looked_at == "line, as cell_monitor sends it, at its terminal (X2.1, W11)"
    assert rows["hot_lockout"].looked_at.startswith("alarm: ")
    assert not rows["hot_lockout"].measurable
    assert "valid" in rows["floor_probe"].looked_at
    assert rows["K1"].words == ("closed", "open")
    assert rows["K1"].looked_at.endswith("at the end of the wire (X3.1, W21)")


def test_what_is_pretended_and_switched_is_among_the_tools() -> None:
    tools = " / ".join(sheet_words(*hut_sheet()).tools)
    assert "in place of the element of floor_probe, wall_probe" in tools
    assert "in place of the tap of low_tap, high_tap" in tools
    assert "source_bus_live, reset_button" in tools
    assert "meter" in tools


def test_the_clock_shows_what_a_stopwatch_does() -> None:
    assert [clock_words(s) for s in (0, 31, 60, 601, 3900)] == ["0 s", "31 s", "1 min", "10 min 1 s", "1 h 5 min"]


@pytest.mark.parametrize(
    ("step", "says"),
    [
        (Step({"no_probe": "3 degC"}, 1, {}), "sets `no_probe`"),
        (Step({}, 1, {"no_path": "running"}), "looks at `no_path`"),
        (Step({}, 1, {"roof_pv": "closed"}), "`roof_pv` to be `closed`"),
    ],
)
def test_a_sheet_of_another_scheme_is_refused(step: Step, says: str) -> None:
    scheme, sheet = hut_sheet()
    with pytest.raises(ValueError, match=says):
        step_page(scheme, replace(sheet, steps=(step,)))


def test_cautions_come_before_the_first_step_and_what_cannot_be_found_is_said() -> None:
    scheme, sheet = hut_sheet()
    page = unescape(step_page(scheme, sheet))
    for caution in (*TESTING, *CAUTIONS):
        assert caution.says in page
        assert page.index(caution.says) < page.index("Tools needed") < page.index("Step 1 of 5")
    assert "floor_probe.drifted, wall_probe.drifted: a value put in" in page
    assert "shunt.stuck: it takes more steps than were looked at (that there is none" in page


def test_the_page_may_load_nothing_and_names_no_address() -> None:
    page = step_page(*hut_sheet())
    assert "default-src 'none'" in page
    assert re.findall(r"https?:", page) == []
    assert re.findall(r"""(?:src|href)=["']([^"']*)""", page) == ["#results"]
    assert not re.search(r"@import|url\(", page)


NASTY = '</script><script>alert(1)</script> \\" & <b> ]]>'


def test_hostile_words_stay_words() -> None:
    quoted = NASTY.replace("'", "''")
    scheme = loads(
        edited(
            ("Tool-crib battery bench", f"'{quoted}'"),
            ("stops_within: 100 ms}", f"stops_within: 100 ms, terminal: '{quoted}', wire: '{quoted}'}}"),
        )
    )
    page = step_page(scheme, Sheet(scheme.title, "0" * 64, (Step({}, 1, {"bench_charger": "stopped"}),), ()))
    assert len(re.findall("<script", page)) == 2
    data = re.search(r'<script type="application/json" id="sheet">(.*?)</script>', page, re.S)
    assert data
    assert json.loads(data[1])["scheme"] == scheme.title


def test_each_step_says_what_has_changed_since_the_look_before() -> None:
    steps = sheet_words(*hut_sheet()).steps
    told = [{e.name: e.changed for e in step.expected} for step in steps]
    assert told[0]["roof_pv"]
    assert told[1]["roof_pv"]
    assert not told[1]["rescue_radio"]
    assert not told[4]["roof_pv"]  # stopped in step 3 already, and not looked at in step 4
    assert told[4]["inverter"]
