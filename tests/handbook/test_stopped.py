"""What has stopped? Each path has all rules that stop it, what to look at, and a link to see it happen."""

from __future__ import annotations

import re
from html import unescape

import pytest

from interlock.handbook.stopped import stopped
from interlock.handbook.words import english
from interlock.scheme.model import Scheme
from interlock.scheme.read import load, loads
from tests.handbook.pages import ROOT, handbook, hostile, visited

NAMES = ["alpine_hut", "survey_launch", "hostile"]


def scheme(name: str) -> Scheme:
    return loads(hostile()) if name == "hostile" else load(ROOT / "rules" / f"{name}.yaml")


def folds(markup: str) -> dict[str, str]:
    """By the name of its path, what stands in each fold."""
    return dict(re.findall(r'<details class="stopped" id="stopped-([^"]+)">(.*?)</details>', markup, re.DOTALL))


@pytest.mark.parametrize("name", NAMES)
def test_each_path_has_every_rule_that_stops_it_once_and_nothing_else(name: str) -> None:
    own = scheme(name)
    found = folds(stopped(own, english(), {}).body)
    sources = [p.name for p in own.paths.values() if p.flow.charge is not None]
    assert list(found)[: len(sources)] == sources
    assert set(found) == set(own.paths)
    for path, markup in found.items():
        told = re.findall(r'<li><a href="#rule-([^"]+)">', markup)
        assert sorted(told) == sorted(r.name for r in own.rules.values() if any(t.path == path for t in r.blocks))
        assert bool(own.paths[path].behind) is ("It is behind" in markup)
        assert bool(own.paths[path].started_by) is ("It runs only while a rule asks for it" in markup)


def test_by_hand_what_is_looked_at_when_the_huts_generator_does_not_charge() -> None:
    markup = folds(stopped(scheme("alpine_hut"), english(), {}).body)["generator_charger"]
    text = " ".join(unescape(re.sub(r"<[^>]+>", "", markup)).replace("\u200b", "").split())
    assert "It is behind charge_bus" in text
    assert "asks for it (generator_call: shunt below 30 % for 15 min)" in text
    assert (
        "cold_stop: coldest_reading is below 3 degC for 2 s, or its reading is lost. Look at floor_probe (X1.1), "
        "wall_probe (X1.3). Ends once above 7 degC for 1 min."
    ) in text
    assert (
        "charge_permit is off. cell_full decides over charge_permit: high_tap above 3.55 V for 1 s. Look at "
        "charge_permit (X2.1), cell_full, high_tap."
    ) in text
    assert text.index("cold_stop") < text.index("valley_first"), "what follows another rule is looked at last"
    assert "follow the wire from K5 to the device" in text


def test_modes_in_which_a_rule_stops_a_path_are_told_as_alternatives() -> None:
    found = folds(stopped(scheme("survey_launch"), english(), {}).body)
    assert "Only while shore_live on or shore_gone on." in found["inverter_charger"].replace("<wbr>", "")


def test_every_rule_that_is_seen_to_stop_something_on_the_bench_has_its_link() -> None:
    links = {("cold_stop", "roof_pv"): "bench=1,rest,25,roof_pv;0,r,floor_probe,-5000000"}
    markup = stopped(scheme("alpine_hut"), english(), links).body
    assert markup.count("bench=1") == 1
    assert "bench=1" in folds(markup)["roof_pv"]


def test_from_the_top_of_the_page_three_touches_lead_to_the_reason_on_the_bench() -> None:
    with visited(handbook("alpine_hut"), 390) as tab:
        tab.click('.try a[href="#stopped"]')
        tab.click("#stopped-generator_charger summary")
        lines = "[...document.querySelectorAll('#stopped-generator_charger li')]"
        link = f"{lines}.find(li => li.textContent.startsWith('cold_stop')).querySelector('a[href^=\"#bench=\"]')"
        tab.ask(f"{link}.click()")
        tab.ask("new Promise(r => setTimeout(r, 400))")
        row = "document.querySelector('[data-path=\"generator_charger\"]')"
        assert tab.ask(f"{row}.dataset.is") == "stopped"
        assert "cold_stop stops it." in tab.ask(f"{row}.textContent")
        assert 0 <= tab.ask(f"{row}.getBoundingClientRect().top") < 400
        assert tab.complaints() == []
