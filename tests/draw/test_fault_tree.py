"""A drawn fault tree shows exactly its cut sets: read back from its lines, sheet by sheet."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from interlock.draw.faulttree import SHEETS, BasicEvent, FaultTree, fault_tree
from interlock.draw.gates import GATE_HEIGHT, GATE_WIDTH, RADIUS
from interlock.draw.metrics import text_width
from interlock.draw.page import Drawing
from interlock.draw.style import A4_LONG, A4_SHORT, MARGIN, SMALL
from interlock.faults.cutsets import minimal, minimal_cut_sets
from interlock.faults.tree import TreeError
from interlock.scheme.model import Scheme
from interlock.scheme.read import load
from tests.draw.fault_trees import HOSTILE, NAMES, SAYS, random_family, sample_trees, three, tree, twelve
from tests.draw.read_tree import SVG, DrawnSheet, Segment, read_sheet, read_tree

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="module")
def hut() -> Scheme:
    return load(RULES / "alpine_hut.yaml")


def family(of: FaultTree) -> set[frozenset[str]]:
    return {frozenset(s) for s in minimal([e.name for e in cut_set] for cut_set in of.cut_sets)}


def texts(drawing: Drawing) -> str:
    return " ".join("".join(t.itertext()) for t in ET.fromstring(str(drawing.svg)).iter(f"{SVG}text"))


@pytest.mark.parametrize("number", [i for i, t in enumerate(sample_trees()) if t.cut_sets and t.cut_sets != ((),)])
def test_the_sheets_together_show_exactly_the_cut_sets(hut: Scheme, number: int) -> None:
    sample = sample_trees()[number]
    drawings = fault_tree(hut, sample)
    drawn, counted = read_tree(str(d.svg) for d in drawings)
    shown = {frozenset(s) for s in minimal_cut_sets(drawn)}
    wanted = family(sample)
    assert shown <= wanted
    assert len(shown) + counted == len(wanted)
    assert not counted or len(drawings) > SHEETS / 2  # nothing is left out for want of room that is there


@pytest.mark.parametrize("seed", range(25))
def test_random_trees_read_back_as_they_were(hut: Scheme, seed: int) -> None:
    sample = random_family(seed, seed % 4, 5 + 3 * seed, 2 + seed % 4)
    drawn, counted = read_tree(str(d.svg) for d in fault_tree(hut, sample))
    shown, wanted = {frozenset(s) for s in minimal_cut_sets(drawn)}, family(sample)
    assert shown <= wanted
    assert len(shown) + counted == len(wanted)


def test_small_trees_stand_on_one_sheet_and_each_fits_a4(hut: Scheme) -> None:
    for sample in (three(), twelve()):
        (drawing,) = fault_tree(hut, sample)
        assert drawing.name == "fault_tree_frozen_charge_roof_pv"
        assert drawing.svg.height <= A4_SHORT
    for sample in sample_trees():
        for drawing in fault_tree(hut, sample):
            assert drawing.svg.width == A4_LONG
            assert drawing.svg.height <= A4_SHORT or "print it on A3" in texts(drawing)


def test_every_fault_has_its_words_where_it_stands_first(hut: Scheme) -> None:
    (drawing,) = fault_tree(hut, twelve())
    said = texts(drawing)
    for cut_set in twelve().cut_sets:
        for event in cut_set:
            assert event.name in said
            assert event.words in said
    (again,) = fault_tree(hut, tree([("K1.welded", "a.stuck"), ("a.stuck", "b.stuck"), ("b.stuck", "c.stuck")]))
    assert texts(again).count("the same fault as above") == 1


def test_a_large_family_goes_on_on_numbered_sheets_that_lead_to_each_other(hut: Scheme) -> None:
    drawings = fault_tree(hut, random_family(3, 14, 46, 2))
    assert 1 < len(drawings) <= SHEETS
    assert [d.name[-2:] for d in drawings] == [f"_{i}" for i in range(1, len(drawings) + 1)]
    led_to = set()
    for number, drawing in enumerate(drawings, 1):
        assert f"sheet {number} of {len(drawings)}" in texts(drawing)
        for title in read_sheet(str(drawing.svg), number).elsewhere:
            target = int(title.partition(" on sheet ")[2].partition(":")[0])
            assert re.search(rf"(?:Goes on from|Leads to) sheet {number}\.", texts(drawings[target - 1]))
            led_to.add(target)
    assert led_to == set(range(2, len(drawings) + 1))


def test_a_part_of_its_own_says_of_what_it_is_a_part(hut: Scheme) -> None:
    drawings = fault_tree(hut, tree([*((a, b) for a in NAMES[:25] for b in NAMES[25:50]), ("K9.welded",)]))
    boxes = [read_sheet(str(d.svg), i).box_text for i, d in enumerate(drawings, 1)]
    assert boxes[0].startswith("frozen_charge/roof_pv: roof_pv may run")
    assert boxes[1:] == ["Part A: of frozen_charge/roof_pv"]


def test_no_more_of_a_large_part_stands_elsewhere_than_has_to(hut: Scheme) -> None:
    drawings = fault_tree(hut, tree([("K9.welded",), *((a, b) for a in NAMES[:24] for b in NAMES[24:32])]))
    first = read_sheet(str(drawings[0].svg), 1)
    assert len(drawings) == 2
    assert len(first.sources) == 26
    assert next(iter(first.elsewhere)).endswith("part A on sheet 2: any one of 8")


def boxes(sheet: DrawnSheet) -> list[Segment]:
    """What the symbols and the claim cover. Lines may come into a hollow back."""
    left, top, right, bottom = sheet.box
    found = [(left, top, right, bottom)]
    for gate in sheet.gates:
        (x, y), tip = gate.back, gate.tip[0]
        found.append((x, y - GATE_HEIGHT / 2, tip, y + GATE_HEIGHT / 2))
    for x, y in sheet.sources.values():
        found.append((x - 2 * RADIUS, y - RADIUS, x, y + RADIUS))
    return found


@pytest.mark.parametrize("number", range(len(sample_trees())))
def test_no_symbol_touches_another_and_no_line_crosses_one(hut: Scheme, number: int) -> None:
    for i, drawing in enumerate(fault_tree(hut, sample_trees()[number]), 1):
        sheet = read_sheet(str(drawing.svg), i)
        covered = boxes(sheet)
        for one, other in combinations(covered, 2):
            assert not overlap(one, other), (drawing.name, one, other)
        for segment in sheet.segments:
            assert MARGIN - 1 <= segment[0] <= segment[2] <= A4_LONG - MARGIN + 1
            assert not any(overlap(segment, box) for box in covered), (drawing.name, segment)
        assert sheet.box[2] <= A4_LONG - MARGIN + 1
        for gate in sheet.gates:
            assert text_width(gate.word, SMALL) <= GATE_WIDTH - 9, gate.word


def overlap(one: Segment, other: Segment) -> bool:
    """Whether two areas, or a line and an area, share more than an edge."""
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across > 0.2 and down > -0.2 if one[1] == one[3] else across > -0.2 and down > 0.2


def test_what_is_not_drawn_is_counted_by_size(hut: Scheme) -> None:
    sample = random_family(8, 2, 700, 2)
    drawings = fault_tree(hut, sample)
    assert len(drawings) <= SHEETS
    drawn, counted = read_tree(str(d.svg) for d in drawings)
    assert counted > 100
    assert f"and {counted:,} more" in texts(drawings[0])
    assert f"sets that are not drawn: {counted:,} of 2 faults" in texts(drawings[0])
    assert len(minimal_cut_sets(drawn)) + counted == len(family(sample))
    assert all(f"{name}" in texts(drawings[0]) for name in NAMES[:2])  # the singles are never left out


@pytest.mark.parametrize(
    ("sets", "order", "says"),
    [
        ([], 1, "No single fault violates it."),
        ([], 2, "No set of up to 2 faults violates it."),
        ([], None, "No set of faults violates it."),
        ([()], 2, "It is violated without any fault."),
        ([("a.stuck",)], 1, "Known for single faults; larger ones were not looked at."),
        ([("a.stuck",)], None, "Known for all sets of faults."),
    ],
)
def test_it_says_what_is_known(hut: Scheme, sets: list[tuple[str, ...]], order: int | None, says: str) -> None:
    (drawing,) = fault_tree(hut, tree(sets, order))
    assert says in texts(drawing)


def test_hostile_words_are_text_and_cut_words_end_in_an_ellipsis(hut: Scheme) -> None:
    events = (BasicEvent("K1.welded", HOSTILE * 3 + "<script>alert(1)</script>"), BasicEvent("K2.welded", "\x01\x1b"))
    (drawing,) = fault_tree(hut, FaultTree("a/b", HOSTILE * 4, (events,), 2, (HOSTILE,)))
    root = ET.fromstring(str(drawing.svg))
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {
        "svg", "title", "desc", "defs", "pattern", "rect", "line", "text", "g", "polygon", "path",
    }  # fmt: skip
    assert texts(drawing).count("…") == 2
    titles = [t.text or "" for t in root.iter(f"{SVG}title")]
    assert any("<script>" in t for t in titles)  # the whole of it for readers of the title


def test_sets_that_hold_another_one_are_left_out(hut: Scheme) -> None:
    (drawing,) = fault_tree(hut, tree([("a.stuck",), ("a.stuck", "b.stuck")]))
    assert "b.stuck" not in texts(drawing)


def test_a_fault_with_the_name_of_the_claim_is_refused(hut: Scheme) -> None:
    with pytest.raises(TreeError, match="has the name of a gate"):
        fault_tree(hut, FaultTree("a/b", SAYS, ((BasicEvent("a/b"), BasicEvent("c.stuck")),), 2))


def test_two_runs_give_the_same_bytes(hut: Scheme) -> None:
    one, other = ([str(d.svg) for t in sample_trees() for d in fault_tree(hut, t)] for _ in range(2))
    assert one == other
