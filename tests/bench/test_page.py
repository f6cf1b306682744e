"""The bench's page as a person uses it, in a real browser: what is shown is what the readable engine says."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from interlock.bench.facts import facts
from interlock.bench.setting import resets, rest_world
from interlock.bench.tables import installation
from interlock.handbook.words import english
from interlock.logic.cases import CaseRun
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for
from interlock.logic.why import path_reasons
from interlock.records import replace
from interlock.scheme.model import Scheme
from tests.bench.driver import demo, page_of
from tests.draw.browser import browser
from tests.sheet.devtools import Browser

pytestmark = pytest.mark.skipif(browser() is None, reason="no chromium to open the page with")
HUT = "alpine_hut"
WORDS = english().under("bench")
STATES = {True: "running", False: "stopped", None: "may be either"}
SHOWN = "Object.fromEntries([...document.querySelectorAll('[data-state]')].map(e => [e.dataset.state, e.textContent]))"


@pytest.fixture(scope="module")
def hut(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with page_of(demo(HUT), tmp_path_factory.mktemp("hut")) as tab:
        yield tab


@pytest.fixture
def tab(hut: Browser) -> Browser:
    """The page at rest, time standing still."""
    address = hut.ask("location.href.split('#')[0]")
    hut.go("about:blank")
    hut.go(address)
    hut.click("#bench-run")
    hut.click("#bench-rest")
    return hut


def give(tab: Browser, reading: str, value: float) -> None:
    """A number typed into a sensor's field."""
    field = f'input[type=number][data-reading="{reading}"]'
    tab.ask(f"document.querySelector('{field}').value = ''")
    tab.type(field, str(value))
    tab.key("Enter", 13, "\r")


def scans(tab: Browser, count: int) -> None:
    for _ in range(count):
        tab.click("#bench-scan")


class Life:
    """The readable engine, from the same rest."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme, self.engine, self.world = scheme, Engine(scheme), rest_world(scheme)
        for _ in range(2):
            run_for(self.engine, self.world, 36_000)
            self.engine.scan(World(self.world.readings, dict(self.world.lines) | dict.fromkeys(resets(scheme), True)))
        self.seen: Seen = self.engine.scan(self.world)
        run_for(self.engine, self.world, 36_000)

    def give(self, scans: int = 1, faults: tuple[str, ...] = (), **readings: float) -> dict[str, str]:
        """Give readings, in base units, and run; what the page should show."""
        given = {name: int(value * 10**6) for name, value in readings.items()}
        present = frozenset(fault for name in faults if (fault := self.scheme.fault(name)))
        assert len(present) == len(faults)
        self.world = replace(self.world, readings={**self.world.readings, **given}, faults=present)
        for _ in range(scans):
            self.seen = self.engine.scan(self.world)
        return self.shown()

    def shown(self) -> dict[str, str]:
        return {path: STATES[self.seen.running(path)] for path in self.scheme.paths}


def test_at_rest_everything_that_may_run_runs(tab: Browser) -> None:
    life = Life(demo(HUT))
    assert tab.ask(SHOWN) == life.give(1)
    stopped = {path for path, words in life.shown().items() if words == "stopped"}
    assert stopped == {"generator_charger", "dump_load", "cell_heater"}  # not asked for, or the valley line is first


def test_a_slider_moved_by_keys_gives_the_new_states_and_why_the_generator_does_not_charge_in_the_cold(
    tab: Browser,
) -> None:
    life = Life(demo(HUT))
    life.give(1)
    tab.ask("document.querySelector('#bench-floor_probe').focus()")
    for half_degrees in range(29, -11, -1):  # a step of the slider
        tab.key("ArrowLeft", 37)
        life.give(1, floor_probe=half_degrees / 2)
    assert tab.ask("document.querySelector('#bench-floor_probe').value") == "-5"
    assert tab.ask("document.querySelector('#bench-floor_probe').getAttribute('aria-valuetext')") == "-5 degC"
    scans(tab, 20)
    states = life.give(20)
    assert states["generator_charger"] == states["roof_pv"] == "stopped"
    assert tab.ask(SHOWN) == states
    tab.click('[data-why="generator_charger"]')
    told = tab.ask("document.querySelector('#bench-why-generator_charger').innerText")
    assert told.split("\n\n")[:3] == [
        "generator_charger is stopped.",
        "What keeps it from running:",
        "cold_stop stops it.",
    ]
    for words in (
        "cold_stop stops it.",
        "Now coldest_reading reads -5 degC.",
        "Why: charging below 0 degC plates lithium",
        "It lets go once coldest_reading has read above 7 degC for 1 min.",
        "valley_first stops it.",
        "No rule asks for it. generator_call would, once shunt has read below 30 % for 15 min.",
        "Link by link",
        "its normally open contact is open",
    ):
        assert words in told, words
    assert tab.ask("document.querySelector('[data-drawing]:not([hidden])').dataset.drawing") == "generator_charger"
    lit = tab.ask("[...document.querySelectorAll('[data-drawing]:not([hidden]) [data-box].bench-acts')]"
                  ".map(e => e.dataset.box + ' ' + e.querySelector('.bench-badge').textContent)")  # fmt: skip
    assert lit == ["r:cold_stop tripped", "r:valley_first tripped", "r:valley_made dropping off"]


def test_a_running_delay_is_told_and_counts_down(tab: Browser) -> None:
    give(tab, "floor_probe", 2)
    scans(tab, 10)
    tab.click('[data-why="roof_pv"]')
    panel = "document.querySelector('#bench-why-roof_pv').innerText"
    assert "It acts in 1 s if this stays so." in tab.ask(panel)
    scans(tab, 1)
    assert "It acts in 900 ms if this stays so." in tab.ask(panel)
    assert tab.ask("document.querySelector('#bench-why-roof_pv progress').value") == 1_100_000


def test_the_next_change_is_found_and_said_politely_and_at_last_nothing_more_changes(tab: Browser) -> None:
    give(tab, "floor_probe", 2)
    life = Life(demo(HUT))
    life.give(1)
    life.give(1, floor_probe=2)
    now, seen = 2, []
    for _ in range(12):
        tab.click("#bench-next")
        seen.append(tab.ask("document.querySelector('#bench-said').textContent"))
        if seen[-1] == "Nothing more will change until you change something.":
            break
        before = told(life.seen)
        while told(life.seen) == before:
            life.give(1)
            now += 1
        assert tab.ask("interlockBench.bench.run.now") == now
    assert len(seen) > 5, seen
    assert seen[-1] == "Nothing more will change until you change something."
    assert any("charge_bus stopped" in words for words in seen), seen
    assert any("dump_load running" in words for words in seen), seen
    assert tab.ask("document.querySelector('#bench-said').getAttribute('aria-live')") == "polite"
    assert tab.ask(SHOWN) == life.give(400)


def told(seen: Seen) -> tuple[object, ...]:
    """What counts as a change: rules' states without their timers, lines, paths, alarms."""
    states = {name: state for name, (state, _) in seen.states.items()}
    return states, dict(seen.lines), dict(seen.may_run), dict(seen.may_stop), seen.alarms


def test_a_case_played_on_the_page_ends_each_step_as_its_author_expects(tab: Browser) -> None:
    """The shorter half of them by its buttons; the page's machine runs every one in `test_machine_agrees`."""
    scheme = demo(HUT)
    short = sorted(sum(step.scans for step in case.steps) for case in scheme.cases)[len(scheme.cases) // 2]
    count = 0
    for number, case in enumerate(scheme.cases):
        if sum(step.scans for step in case.steps) > short:
            continue
        tab.ask(f"document.querySelector('#bench-case').value = '{number}'")
        tab.click("#bench-play")
        run = CaseRun(scheme, case)
        for at, step in enumerate(case.steps):
            run.worlds(step)
            if at:
                tab.click("#bench-step")
            shown = tab.ask(SHOWN)
            wanted = {e.name: STATES[bool(e.wanted)] for e in step.expects if e.name in scheme.paths}
            assert {name: shown[name] for name in wanted} == wanted, (case.name, at + 1)
            count += len(wanted)
        assert tab.ask("document.querySelector('#bench-step').disabled")
    assert count > 30


def test_faults_are_planted_and_mended_and_reasons_name_them(tab: Browser) -> None:
    life = Life(demo(HUT))
    life.give(2)
    plant(tab, "K2", "K2.wire_broken,0")
    shown = life.give(1, faults=("K2.wire_broken",))
    assert tab.ask(SHOWN) == shown
    scans(tab, 4)
    assert tab.ask(SHOWN) == life.give(4, faults=("K2.wire_broken",))
    tab.click('[data-why="roof_pv"]')
    told = tab.ask("document.querySelector('#bench-why-roof_pv').innerText")
    assert "Planted: the wire from K2 to its device breaks." in told
    assert "the wire is broken" in told
    plant(tab, "board", "board.dead,0")
    assert tab.ask(SHOWN) == life.give(1, faults=("K2.wire_broken", "board.dead"))
    tab.click('#bench-planted button[aria-label="Mend K2.wire_broken"]')
    assert tab.ask("document.activeElement.id") == "bench-plant"
    assert tab.ask(SHOWN) == life.give(1, faults=("board.dead",))
    assert tab.ask("document.querySelector('#bench-planted').innerText").startswith("board.dead: board dies")


def plant(tab: Browser, part: str, option: str) -> None:
    tab.ask(
        f"(() => {{ const p = document.querySelector('#bench-part'); p.value = '{part}';"
        " p.dispatchEvent(new Event('change'));"
        f" document.querySelector('#bench-fault').value = '{option}'; }})()"
    )
    tab.click("#bench-plant")


def test_a_drifted_probe_reads_wrong_by_as_much_as_the_scheme_says(tab: Browser) -> None:
    plant(tab, "floor_probe", "floor_probe.drifted,-6000000")
    now = "document.querySelector('[data-now=floor_probe]').textContent"
    assert tab.ask(now) == "now reads 9 degC, because of a fault"
    options = tab.ask("[...document.querySelectorAll('#bench-fault option')].map(o => o.textContent)")
    assert "floor_probe has drifted: reads 6 K too high" in options


def test_two_exchanges_of_one_part_are_refused_in_words(tab: Browser) -> None:
    plant(tab, "K1", "K1~K2.swapped,0")
    plant(tab, "K1", "K1~K3.swapped,0")
    assert tab.ask("document.querySelector('#bench-said').textContent") == (
        "K1~K2.swapped and K1~K3.swapped share K1: an exchange of it is planted already."
    )
    assert tab.ask("document.querySelectorAll('#bench-planted li').length") == 1


def test_a_link_opened_elsewhere_shows_the_same_to_the_scan(tab: Browser) -> None:
    give(tab, "floor_probe", -5)
    scans(tab, 7)
    plant(tab, "K1", "K1.welded,0")
    tab.click('[data-press="reset_button"]')
    scans(tab, 15)
    tab.click('[data-why="charge_bus"]')
    tab.ask("interlockBench.bench.remember()")
    told = "['clock', 'why-charge_bus'].map(name => document.querySelector(`#bench-${name}`).innerText)"
    before = tab.ask(SHOWN), tab.ask(told), tab.ask("Array.from(interlockBench.bench.run.machine.slots)")
    address = tab.ask("document.querySelector('#bench-link').value")
    assert "floor_probe,-5000000" in address
    tab.go("about:blank")
    tab.go(address)
    assert (tab.ask(SHOWN), tab.ask(told), tab.ask("Array.from(interlockBench.bench.run.machine.slots)")) == before


@pytest.mark.parametrize("fragment", ["bench=00000000,rest,5,", "bench=MARK,rest,5,;0,r,no_such,1", "bench=MARK,x,5,"])
def test_a_link_of_another_scheme_is_refused_in_words(tab: Browser, fragment: str) -> None:
    mark = str(facts(demo(HUT), WORDS)["mark"])
    address = tab.ask("location.href.split('#')[0]")
    tab.go("about:blank")
    tab.go(f"{address}#{fragment.replace('MARK', mark)}")
    assert "begins at rest" in tab.ask("document.querySelector('#bench-link-said').textContent")
    assert tab.ask("interlockBench.bench.acts.length") == 0


def test_time_runs_by_itself_and_stands_still_when_stopped(tab: Browser) -> None:
    now = "interlockBench.bench.run.now"
    before = tab.ask(now)
    tab.ask(
        "(() => { const s = document.querySelector('#bench-speed'); s.value = '60';"
        " s.dispatchEvent(new Event('change')) })()"
    )
    tab.click("#bench-run")
    tab.ask("new Promise(done => setTimeout(done, 700))")
    tab.click("#bench-run")
    stopped = tab.ask(now)
    assert stopped - before > 200  # 60 times ten scans a second, less what a busy machine takes
    tab.ask("new Promise(done => setTimeout(done, 150))")
    assert tab.ask(now) == stopped


MEASURE = """
(() => {
  const slider = document.querySelector('#bench-floor_probe'), times = [];
  document.querySelector('[data-why="generator_charger"]').click();
  for (let i = 0; i < 60; i += 1) {
    slider.value = i % 2 ? 12 : -8 - i / 10;
    const before = performance.now();
    slider.dispatchEvent(new Event('input'));
    document.body.getBoundingClientRect();
    times.push(performance.now() - before);
  }
  return times.sort((a, b) => a - b);
})()
"""


def test_the_time_from_a_slider_to_new_states_is_measured(tab: Browser, shown: Callable[[str, str], None]) -> None:
    """From the slider's event to the new states laid out, reasons and drawing included. Measured, never tested."""
    tab.call("Emulation.setDeviceMetricsOverride", width=1200, height=900, deviceScaleFactor=1, mobile=False)
    times = tab.ask(MEASURE)
    assert len(times) == 60
    shown(
        "the bench in the browser",
        f"slider to new states on the hut: median {times[30]:.1f} ms, slowest {times[-1]:.1f} ms (goal: 16 ms)",
    )


UNNAMED = """
[...document.querySelectorAll('.bench input, .bench select, .bench button, .bench summary, .bench figure')].filter(e =>
  !e.getAttribute('aria-label') && !(e.labels && e.labels.length && e.labels[0].textContent.trim())
  && !e.hidden && !e.textContent.trim()).map(e => e.outerHTML)
"""
SMALL = """
[...document.querySelectorAll('.bench button, .bench select, .bench input[type=range], .bench input[type=number],'
  + '.bench-lines label')].filter(e => { const b = e.getBoundingClientRect(); return b.height && b.height < 43.5 })
  .map(e => e.outerHTML)
"""
WIDE = """
[...document.querySelectorAll('.bench *')].filter(e => !e.closest('figure') && e.getBoundingClientRect().width
  && e.getBoundingClientRect().right > 360.5).map(e => e.outerHTML)
"""


def test_on_a_small_phone_nothing_is_cut_off_and_everything_can_be_touched_and_has_a_name(tab: Browser) -> None:
    tab.call("Emulation.setDeviceMetricsOverride", width=360, height=740, deviceScaleFactor=2, mobile=True)
    plant(tab, "floor_probe", "floor_probe~wall_probe.swapped,0")
    for path in demo(HUT).paths:
        tab.click(f'[data-why="{path}"]')
    assert tab.ask("document.documentElement.scrollWidth") == 360
    assert tab.ask(WIDE) == []
    assert tab.ask(SMALL) == []
    assert tab.ask(UNNAMED) == []
    tab.call("Emulation.clearDeviceMetricsOverride")


def test_all_can_be_done_from_the_keyboard(tab: Browser) -> None:
    tab.ask("document.querySelector('[data-line=source_bus_live]').focus()")
    tab.key(" ", 32, " ")
    assert tab.ask("interlockBench.bench.run.world.lines.source_bus_live") is True
    tab.key("Tab", 9)
    assert tab.ask("document.activeElement.dataset.line") == "reset_button"
    tab.ask("document.querySelector('[data-why=dump_load]').focus()")
    tab.key("Enter", 13, "\r")
    assert tab.ask("document.querySelector('[data-why=dump_load]').getAttribute('aria-expanded')") == "true"
    tab.key("Enter", 13, "\r")
    assert tab.ask("document.querySelector('#bench-why-dump_load').hidden")


def test_the_words_of_every_reason_come_from_the_catalogue(tab: Browser) -> None:
    """A catalogue in another language reaches every reason: no word of a reason stands in a script."""
    turned = json.dumps({key: f"«{words}»" for key, words in WORDS.items()})
    tab.ask(f"(() => {{ Object.assign(interlockBench.bench.words, {turned}); interlockBench.bench.render() }})()")
    tab.click('[data-why="generator_charger"]')
    lines = tab.ask("[...document.querySelectorAll('#bench-why-generator_charger .bench-headline, "
                    "#bench-why-generator_charger .bench-cause')].map(e => e.textContent)")  # fmt: skip
    assert lines
    assert all("«" in line for line in lines)


def test_what_the_page_cannot_plant_is_listed() -> None:
    scheme = demo(HUT)
    known = facts(scheme, WORDS)
    assert known["unplantable"] == []
    assert len(installation(scheme)[1]) == len(scheme.faults)


def test_the_rest_of_the_page_is_the_engines(tmp_path: Path) -> None:
    """The launch: at rest as the readable engine is there, to the reasons for each path."""
    assert tmp_path.exists()
    scheme = demo("survey_launch")
    life = Life(scheme)
    life.give(1)
    with page_of(scheme, tmp_path) as tab:
        tab.click("#bench-run")
        tab.click("#bench-rest")
        assert tab.ask(SHOWN) == life.shown()
        for path in scheme.paths:
            assert tab.ask(f"interlockBench.bench.why.path('{path}')") == list(
                path_reasons(life.engine, life.seen, path)
            )


SITUATIONS = """
[...document.querySelectorAll('.bench-situations li')].map(row => [row.firstChild.textContent.trim(),
  row.querySelector('br + small').textContent, [...row.querySelectorAll('a')].map(a => a.hash)])
"""


def test_each_situation_leads_to_paths_that_are_stopped_and_to_the_rule_that_stops_them(tab: Browser) -> None:
    """Nothing is typed: one click, and the reason is in sight."""
    rows = tab.ask(SITUATIONS)
    assert len(rows) >= 6
    words = [said for said, _, _ in rows]
    assert "floor_probe and wall_probe read -5 degC" in words  # a frozen pack
    assert "high_tap reads 3.75 V" in words  # a full one, of which the monitor tells the board by a line
    tried: dict[str, set[str]] = {}
    for row, (said, rule, addresses) in enumerate(rows, 1):
        for number, address in enumerate(addresses, 1):
            start, now, path = address.split(";")[0].split(",")[1:]
            assert start == "rest"
            if int(now) > 100 or number not in (1, len(addresses)):
                continue  # a page takes seconds for minutes of scans
            tab.ask(f"document.querySelector('.bench-situations li:nth-child({row}) a:nth-of-type({number})').click()")
            tab.ask("new Promise(r => setTimeout(r, 300))")
            assert tab.ask(f"{SHOWN}['{path}']") == "stopped"
            panel = f"document.querySelector('[data-why=\"{path}\"]')"
            assert tab.ask(f"{panel}.getAttribute('aria-expanded')") == "true"
            assert f"{rule} it." in tab.ask(f"{panel}.closest('li, div').textContent")
            top = tab.ask(f"{panel}.getBoundingClientRect().top")
            assert 0 <= top < tab.ask("innerHeight") / 2
            assert "Time stands still" in tab.ask("document.querySelector('#bench-said').textContent")
            tried.setdefault(said, set()).add(path)
    assert len(tried) >= 4
