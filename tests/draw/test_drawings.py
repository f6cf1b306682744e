"""Drawings say what the scheme says: numbers read back out of the SVG; nothing injected; the same bytes every time."""

from __future__ import annotations

import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from interlock.draw.everything import DrawingKind, draw, index_page
from interlock.draw.ladder import claim_rungs, device_rungs, draw_ladders, rule_rungs, spread
from interlock.draw.layout import NoRendererError, renderer
from interlock.draw.machine import arrows_of, draw_machine
from interlock.draw.matrix import draw_matrix
from interlock.draw.metrics import fitted, text_width, wrapped
from interlock.draw.svg import clean, escaped, quoted
from interlock.scheme.model import Limit, Scheme
from interlock.scheme.read import load, loads
from interlock.scheme.words import Signal, State
from tests.draw.test_in_browser import NASTY
from tests.support.bench import BENCH, edited

ROOT = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def hut() -> Scheme:
    return load(ROOT / "rules" / "alpine_hut.yaml")


def texts(svg: str) -> list[str]:
    return ["".join(t.itertext()) for t in ET.fromstring(svg).iter(f"{SVG}text")]


def words(svg: str) -> str:
    return " ".join(texts(svg))


def test_the_matrix_marks_exactly_what_each_rule_stops_and_starts(hut: Scheme) -> None:
    stops = starts = 0
    for drawing in draw_matrix(hut):
        stops += texts(str(drawing.svg)).count("stops")
        starts += texts(str(drawing.svg)).count("starts")
    assert stops == sum(len(rule.blocks) for rule in hut.rules.values())
    assert starts == sum(len(rule.starts) for rule in hut.rules.values())


def test_each_row_of_the_matrix_has_its_rules_thresholds_and_marks(hut: Scheme) -> None:
    rows: dict[str, str] = {}
    for drawing in draw_matrix(hut):
        for group in ET.fromstring(str(drawing.svg)).iter(f"{SVG}g"):
            if group.get("id", "").startswith("row-"):
                rows[group.get("id", "")[4:]] = " ".join("".join(t.itertext()) for t in group.iter(f"{SVG}text"))
    assert list(rows) == list(hut.rules)
    for name, rule in hut.rules.items():
        assert rows[name].count("stops") == len(rule.blocks)
        for trigger in (rule.trips, rule.clears):
            if isinstance(trigger.test, Limit):
                figure = f"{trigger.test.value / 1e6:g}"
                assert re.search(rf"(?<![\d.]){re.escape(figure)}(?![\d.])", rows[name]), (name, figure)


def test_a_ladder_places_higher_values_higher_and_to_scale(hut: Scheme) -> None:
    quantity = hut.quantities["hottest_cell"]
    drawing = next(d for d in draw_ladders(hut) if d.name == "ladder_hottest_cell")
    root = ET.fromstring(str(drawing.svg))
    heights: dict[float, float] = {}
    for group in root.iter(f"{SVG}g"):
        said = " ".join("".join(t.itertext()) for t in group.iter(f"{SVG}text"))
        found = re.search(r"(?:above|below) (-?[\d.]+) degC", said)
        lines = [e for e in group.iter(f"{SVG}line") if e.get("y1") == e.get("y2")]
        if found and lines:
            heights[float(found[1])] = float(lines[0].get("y1", "0"))
    rungs = (*rule_rungs(hut, quantity), *device_rungs(hut, quantity), *claim_rungs(hut, quantity))
    limits = {r.value / 1e6 for r in rungs}
    assert set(heights) == limits
    values = sorted(heights)
    assert [heights[v] for v in values] == sorted(heights.values(), reverse=True)
    slopes = [(heights[a] - heights[b]) / (b - a) for a, b in pairwise(values)]
    assert max(slopes) - min(slopes) < 0.05


def test_the_band_of_a_rung_is_where_the_truth_can_be_by_hand() -> None:
    """cold_stop trips below 3 degC; the probe reads -0.5 to 2 K from the coldest cell, which is then 1 to 3.5 degC."""
    bench = loads(BENCH)
    rung = next(r for r in rule_rungs(bench, bench.quantities["coldest_cell"]) if "cold_stop trips" in r.words)
    assert rung.truth is not None
    assert (rung.truth.low, rung.truth.high) == (1_000_000, 3_500_000)


def test_a_machine_shows_the_rules_own_numbers_and_states(hut: Scheme) -> None:
    said = words(str(draw_machine(hut, hut.rules["hot_lockout"]).svg))
    for expected in ("above 53 degC", "for 5 s", "below 45 degC", "for 5 min", "reset_button goes from off to on"):
        assert expected in said
    states = {a.source for a in arrows_of(hut, hut.rules["hot_lockout"])}
    assert states == set(State)
    assert State.AWAITING_RESET not in {a.target for a in arrows_of(hut, hut.rules["cold_stop"])}


def test_what_is_quoted_is_read_back_as_it_was() -> None:
    for text in ('he said "stop" & went', "the hut's <K1>", "one\ttwo\nthree", "\x00"):
        read = ET.fromstring(f"<g title={quoted(text)}>{escaped(text)}</g>")
        assert read.get("title") == clean(text)
        assert read.text == clean(text)


def test_labels_are_escaped_and_nothing_is_injected() -> None:
    quoted = NASTY.replace("'", "''")
    scheme = loads(edited(("Tool-crib battery bench", f"'{quoted}<script>alert(1)</script>'")))
    drawings = list(draw(scheme, portable=True))
    for drawing in drawings:
        root = ET.fromstring(str(drawing.svg))
        assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {
            "svg", "title", "desc", "defs", "pattern", "rect", "line", "text", "g", "a", "polygon", "polyline", "path",
            "circle",
        }  # fmt: skip
        assert "<script>" in (root.findtext(f"{SVG}title") or "")
    assert "<script>" not in index_page(scheme, drawings)


def test_control_characters_never_reach_the_drawing() -> None:
    scheme = loads(edited(("Tool-crib battery bench", '"a \\x01\\x1b bench"')))
    for drawing in draw(scheme, (DrawingKind.MATRIX,)):
        ET.fromstring(str(drawing.svg))


def test_two_runs_give_the_same_bytes(hut: Scheme) -> None:
    one, other = ([(d.name, str(d.svg)) for d in draw(hut, portable=True)] for _ in range(2))
    assert one == other
    assert len({name for name, _ in one}) == len(one)


def test_every_drawing_has_a_title_a_description_and_links_that_lead_somewhere(hut: Scheme) -> None:
    drawings = {f"{d.name}.svg": str(d.svg) for d in draw(hut, portable=True)}
    linked = 0
    for svg in drawings.values():
        root = ET.fromstring(svg)
        assert (root.findtext(f"{SVG}title") or "").strip()
        assert len(root.findtext(f"{SVG}desc") or "") > 20
        for a in root.iter(f"{SVG}a"):
            linked += 1
            assert a.get("href") in drawings
    assert linked > 20


def test_without_dot_the_portable_renderer_is_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert renderer().endswith("graphviz-pure")
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    with pytest.raises(NoRendererError, match="pip install graphviz-pure"):
        renderer()


def test_a_png_is_written_on_request(tmp_path: Path) -> None:
    scheme = tmp_path / "bench.yaml"
    scheme.write_text(BENCH, encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "interlock",
        "draw",
        str(scheme),
        "--to",
        str(tmp_path / "out"),
        "--only",
        "matrix",
        "--png",
    ]
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
    data = (tmp_path / "out" / "matrix.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == round(842 / 72 * 144)


def test_labels_keep_their_order_and_never_overlap() -> None:
    middles = spread([10, 11, 12, 60], [10, 10, 10, 10], 0, 70)
    assert middles == sorted(middles)
    assert all(b - a >= 10 - 1e-9 for a, b in pairwise(middles))
    assert middles[0] >= 5
    assert middles[-1] <= 65


@pytest.mark.parametrize("text", ["hot_charge_stop and more", "x" * 200, NASTY, "", "3 degC or 4 degC"])
def test_wrapped_lines_fit_and_lose_no_letter(text: str) -> None:
    lines = wrapped(text, 60, 9)
    assert all(text_width(line, 9) <= 60 for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert text_width(fitted(text, 60, 9), 9) <= 60


def test_a_number_and_its_unit_stay_together() -> None:
    assert all("degC" not in line or re.search(r"\d degC", line) for line in wrapped("below 3 degC for 2 s", 30, 7.5))


def test_every_kind_is_drawn(hut: Scheme) -> None:
    for kind in DrawingKind:
        assert list(draw(hut, (kind,), portable=True)), kind


def test_a_quantity_without_limits_has_no_ladder() -> None:
    scheme = loads(edited(("lowest_cell:  {span", "idle: {span: 0 to 1 V}\n  lowest_cell:  {span")))
    assert "ladder_idle" not in {d.name for d in draw_ladders(scheme)}
    assert all(r.watches is not Signal.QUANTITY for r in scheme.rules.values())


def test_labels_that_are_pushed_up_by_the_foot_push_those_before_them() -> None:
    heights = [10.0] * 4
    middles = spread([20.0, 78.0, 95.0, 95.0], heights, 0.0, 100.0)
    assert all(b - a >= 10.0 - 1e-9 for a, b in pairwise(middles)), middles
    assert middles[-1] <= 95.0


def test_what_is_set_inside_devices_stands_on_the_ladder_by_the_cell(hut: Scheme) -> None:
    rungs = device_rungs(hut, hut.quantities["highest_cell"])
    assert len(rungs) == sum(
        limit.quantity == "highest_cell" for device in hut.devices.values() for limit in device.limits
    )
    assert any(r.value == 3_450_000 and "55.2 V, 3.45 V a cell" in r.words for r in rungs)
    drawing = next(d for d in draw_ladders(hut) if d.name == "ladder_highest_cell")
    assert "above 3.8 V: damage" in str(drawing.svg)


def arrow_titles(svg: str) -> list[str]:
    """The title of each arrow: a group with a title and a curve, and no words but those beside it."""
    groups = [g for g in ET.fromstring(svg).iter(f"{SVG}g") if g.get("id") is None]
    return [g.findtext(f"{SVG}title", "") for g in groups if g.find(f"{SVG}path") is not None]


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_an_arrows_title_says_in_words_what_it_stands_for(name: str) -> None:
    scheme = load(ROOT / "rules" / f"{name}.yaml")
    known = {
        *scheme.rules,
        *scheme.paths,
        *scheme.outputs,
        *scheme.sensors,
        *scheme.readings,
        *scheme.lines,
        "the pack",
    }
    count = 0
    for drawing in draw(scheme, kinds=(DrawingKind.LOGIC, DrawingKind.OVERVIEW), portable=True):
        for title in arrow_titles(str(drawing.svg)):
            count += 1
            assert not re.search(r"\b[a-z]:\w", title), title  # an ident of a box
            assert sum(bool(re.search(rf"(?<!\w){re.escape(n)}(?!\w)", title)) for n in known) >= 2, title
        assert arrow_titles(drawing.svg.live()) == arrow_titles(str(drawing.svg))
    assert count > 50


def test_arrows_of_the_hut_in_the_trades_words(hut: Scheme) -> None:
    titles = set()
    for drawing in draw(hut, kinds=(DrawingKind.LOGIC, DrawingKind.OVERVIEW), portable=True):
        titles |= set(arrow_titles(str(drawing.svg)))
    assert titles >= {
        "cold_stop stops turbine_charging through K3",
        "heat_wanted starts cell_heater through K12",
        "K3 switches turbine_charging",
        "cold_stop watches coldest_reading",
        "floor_probe goes into coldest_reading",
        "turbine_on_pack acts only while bus_closed is on",
        "rescue_button overrides last_shed, for 10 min at most",
        "charge_permit is off while cell_full is active",
        "turbine_charging runs only while charge_bus runs",
        "charge_bus charges the pack",
        "comfort_circuits draws from the pack",
    }


def test_a_rule_that_stops_all_that_one_output_drives_has_one_arrow_to_it() -> None:
    scheme = loads(
        edited(
            ("drives: [bench_charger]", "drives: [bench_charger, lamp_circuit]"),
            ("  K2: {drives: [lamp_circuit],  contact: normally_open, runs_when: closed, stops_within: 100 ms}\n", ""),
        )
    )
    (drawing,) = (d for d in draw(scheme, kinds=(DrawingKind.LOGIC,), portable=True) if d.name == "logic_lamp_circuit")
    titles = arrow_titles(str(drawing.svg))
    assert titles.count("hot_stop stops bench_charger and lamp_circuit through K1") == 1
    assert len([t for t in titles if t.startswith("hot_stop stops")]) == 1


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_no_text_has_a_space_before_what_separates_it(name: str) -> None:
    for drawing in draw(load(ROOT / "rules" / f"{name}.yaml"), portable=True):
        for element in ET.fromstring(str(drawing.svg)).iter():
            assert not re.search(r"\s[;,.](\s|$)", element.text or ""), (drawing.name, element.text)


def test_what_the_huts_terminals_are_stands_on_one_line_each(hut: Scheme) -> None:
    (drawing,) = (d for d in draw(hut, kinds=(DrawingKind.WIRING,)) if d.name == "wiring_board")
    notes = [t for t in texts(str(drawing.svg)) if "broken wire" in t or "energised" in t]
    assert notes.count("signal; a broken wire reads off") == 8
    assert notes.count("signal; a broken wire reads on") == 2
    assert notes.count("normally closed, energised to stop") == 1
    assert len(notes) == 10 + len(hut.outputs)
