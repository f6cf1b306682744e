"""Truths and readings that go together: exact against listing all of them, and what is picked is always one of them."""

from __future__ import annotations

import random
from itertools import product

import pytest

from interlock.fuzz.region import ZERO, Region, Style, TruthError, opposite, possible, roundest, within
from interlock.logic.readings import compare
from interlock.scheme.model import Interval, Limit, SensorError
from interlock.scheme.read import loads
from interlock.scheme.words import Compare
from tests.support.bench import edited


def members(bounds: list[tuple[str, str, int]], names: list[str], reach: int) -> set[tuple[int, ...]]:
    """All points of the box that meet the bounds."""
    points = set()
    for point in product(range(-reach, reach + 1), repeat=len(names)):
        at = {ZERO: 0, **dict(zip(names, point, strict=True))}
        if all(at[left] - at[right] <= most for left, right, most in bounds):
            points.add(point)
    return points


def test_ranges_and_emptiness_are_exact_on_random_bounds() -> None:
    rng = random.Random(7)
    names, reach = ["a", "b", "c"], 4
    refused = narrowed = 0
    for _ in range(400):
        region = Region(names)
        kept = [b for n in names for b in ((n, ZERO, reach), (ZERO, n, reach))]
        assert region.add_all(kept)
        for _ in range(rng.randint(1, 6)):
            left, right = rng.sample([ZERO, *names], 2)
            bound = (left, right, rng.randint(-5, 5))
            left_over = members([*kept, bound], names, reach)
            assert region.add(*bound) is bool(left_over)
            refused += not left_over
            kept += [bound] if left_over else []
            points = members(kept, names, reach)
            for i, name in enumerate(names):
                column = [p[i] for p in points]
                assert region.range(name) == (min(column), max(column))
                narrowed += 1
    print(f"{narrowed} ranges, {refused} bounds that left nothing")
    assert refused > 100


@pytest.mark.parametrize("style", list(Style))
def test_what_is_picked_lies_in_the_region_and_at_the_end_its_style_asks_for(style: Style) -> None:
    rng = random.Random(f"pick {style}")
    names = ["a", "b", "c"]
    for _ in range(200):
        region = Region(names)
        bounds = [b for n in names for b in ((n, ZERO, 50), (ZERO, n, 50))]
        region.add_all(bounds)
        for _ in range(4):
            left, right = rng.sample([ZERO, *names], 2)
            bound = (left, right, rng.randint(-30, 60))
            bounds += [bound] if region.add(*bound) else []
        before = {name: rng.randint(-80, 80) for name in names}
        low, high = region.range("a")
        got = region.copy().pick(names, style, before)
        at = {ZERO: 0, **got}
        assert all(at[left] - at[right] <= most for left, right, most in bounds)
        match style:
            case Style.LOWEST:
                assert got["a"] == low
            case Style.HIGHEST:
                assert got["a"] == high
            case Style.PLAIN:
                assert got["a"] == before["a"] or not low <= before["a"] <= high


def test_a_plain_value_is_the_roundest_near_to_what_it_was() -> None:
    degree = 1_000_000
    assert roundest(-30 * degree, -1, 20 * degree) == -25 * degree
    assert roundest(-2 * degree, -1, 20 * degree) == -1 * degree
    assert roundest(-300_000, -1, 20 * degree) == -250_000
    assert roundest(5 * degree + 1, 5 * degree + 3, 0) == 5 * degree + 1
    assert roundest(0, 10 * degree, 7_654_321) == 7_654_321


@pytest.mark.parametrize("word", list(Compare))
def test_a_limit_and_its_opposite_part_the_whole_numbers_as_the_comparison_does(word: Compare) -> None:
    limit = Limit(word, 3)
    for value in range(7):
        one, other = Region(["x"]), Region(["x"])
        for region in (one, other):
            region.add_all([("x", ZERO, value), (ZERO, "x", -value)])
        assert one.add(*within(limit, "x")) is compare(value, limit)
        assert other.add(*within(opposite(limit), "x")) is not compare(value, limit)


def test_a_drifted_sensor_never_lets_truth_go_where_health_would_not() -> None:
    """No tie is declared, but in health one reading can be both only where the hottest cell is at most 6 K above the
    coldest (2 K + 4 K); a probe that drifts by 20 K either way reads anything, and truth stays where it was."""
    text = edited(
        (", at_least: coldest_cell, at_most: coldest_cell + 6 K", ""), ("drifts: -6 to 6 K", "drifts: -20 to 20 K")
    )
    scheme = loads(text)
    for errors in (scheme.sensors["probe"].measures, scheme.sensors["probe"].drifts):
        region = possible(scheme, ["coldest_cell", "hottest_cell"], ["probe"], {"probe": errors})
        assert region.add_all([("coldest_cell", ZERO, 0), (ZERO, "coldest_cell", 0)])
        assert region.range("hottest_cell") == (-1_000_000, 6_000_000)
    assert region.range("probe") == (-20_000_000, 20_000_000)


def test_no_truth_at_all_is_an_error() -> None:
    """Two sensors of one quantity agree, but two quantities of one sensor can't be apart as far as a tie wants them."""
    text = edited(("at_least: coldest_cell, at_most: coldest_cell + 6 K", "at_least: coldest_cell + 5 K"))
    scheme = loads(text)
    narrow = (SensorError("coldest_cell", Interval(0, 0)), SensorError("hottest_cell", Interval(0, 0)))
    with pytest.raises(TruthError):
        possible(scheme, ["coldest_cell", "hottest_cell"], ["probe"], {"probe": narrow})
