"""What a drawn permit map says is what the map says."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.draw.patches import patches, told
from interlock.draw.permit import FILL, WORDS, draw_permits, marks
from interlock.logic.permits import PermitMap, Standing, permit_map, planes
from interlock.scheme.read import load

RULES = Path(__file__).parents[2] / "rules"
HUT, LAUNCH = load(RULES / "alpine_hut.yaml"), load(RULES / "survey_launch.yaml")
SVG = "{http://www.w3.org/2000/svg}"


@cache
def maps(name: str) -> tuple[PermitMap, ...]:
    scheme = {"hut": HUT, "launch": LAUNCH}[name]
    return tuple(permit_map(scheme, x, y) for x, y in planes(scheme))


@pytest.mark.parametrize("name", ["hut", "launch"])
def test_areas_cover_each_open_cell_once_and_as_it_is(name: str) -> None:
    for found in maps(name):
        for panel in found.panels:
            covered: dict[tuple[int, int], Standing] = {}
            for patch in patches(panel):
                for i in range(patch.columns[0], patch.columns[1] + 1):
                    for j in range(patch.rows[0], patch.rows[1] + 1):
                        if not panel.xs[i].point and not panel.ys[j].point:
                            assert (i, j) not in covered
                            covered[i, j] = patch.standing
            assert covered == {
                (i, j): told(cell)
                for i, column in enumerate(panel.cells)
                for j, cell in enumerate(column)
                if not panel.xs[i].point and not panel.ys[j].point
            }


def test_the_cold_edge_of_the_hut_stands_where_its_rule_has_it() -> None:
    """By hand from rules/alpine_hut.yaml: cold_stop trips below 3 and clears above 7 degC; a source is forbidden to run
    below 0 degC, where a probe may read from -1 K to +2 K beside the coldest cell."""
    found = maps("hut")[0]
    panel = next(p for p in found.panels if any(s.path == "roof_pv" for s in p.subjects))
    edges = [p.low / 1e6 for p in panel.xs if p.point]
    assert edges == [-41, 3, 7, 34, 40, 81]
    cold = next(m for m in marks(HUT, found.x, panel.subjects) if "frozen_charge" in m.names)
    assert (cold.value, cold.band.low / 1e6, cold.band.high / 1e6, cold.harm) == (0, -1, 2, True)


def test_a_claim_of_one_mode_is_marked_in_that_mode_only() -> None:
    """The launch may not charge below 0 degC; its inverter-charger, alongside no shore, draws there."""
    found = maps("launch")[0]
    drawing = next(p for p in found.panels if any(s.path == "branch_converter" for s in p.subjects))
    charging = next(p for p in found.panels if any(s.path == "alternator" for s in p.subjects))
    assert not any("frozen_charge" in m.names for m in marks(LAUNCH, found.x, drawing.subjects))
    assert any("frozen_charge" in m.names for m in marks(LAUNCH, found.x, charging.subjects))


def test_every_standing_differs_in_word_and_pattern() -> None:
    assert len(set(WORDS.values())) == len(Standing)
    assert len(set(FILL.values())) == len(Standing)


def test_who_does_not_see_the_map_is_told_its_areas() -> None:
    sheets = draw_permits(HUT, maps("hut")[0])
    root = ElementTree.fromstring(str(sheets[0].svg))
    said = root.findtext(f"{SVG}desc") or ""
    assert "roof_pv" in said
    assert "may run where temperature is above 7 degC and below 34 degC and voltage is below 3.4 V" in said
    assert "as it was where temperature is above 3 degC and below 40 degC" in said


@pytest.mark.parametrize("name", ["hut", "launch"])
def test_the_key_below_a_panel_is_whole(name: str) -> None:
    """Every rule of every panel with both its limits, however many lines that takes."""
    scheme = {"hut": HUT, "launch": LAUNCH}[name]
    for found in maps(name):
        said = " ".join(
            "".join(t.itertext())
            for sheet in draw_permits(scheme, found)
            for t in ElementTree.fromstring(str(sheet.svg)).iter(f"{SVG}text")
        )
        for rule in {r for p in found.panels if p.uniform is None for r in p.rules}:
            assert re.search(rf"{rule} trips [^;]+, clears ", said), rule
        last = [panel for panel in found.panels if panel.uniform is None][-1]
        assert said.count(f"{last.rules[-1]} trips") >= 1
        assert not re.search(r"(trips|clears|while)[^;]*…", said)
