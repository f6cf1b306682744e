"""Durations as people read them."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.scheme.units import TIMES, lasted_text


@pytest.mark.parametrize(
    ("us", "text"),
    [
        (0, "0 s"),
        (100_000, "100 ms"),
        (2_200_000, "2.2 s"),
        (59_900_000, "59.9 s"),
        (60_000_000, "1 min"),
        (300_100_000, "5 min 0.1 s"),
        (330_000_000, "5 min 30 s"),
        (330_100_000, "5 min 30.1 s"),
        (3_600_100_000, "1 h 0.1 s"),
        (3_720_000_000, "1 h 2 min"),
        (7_265_500_000, "2 h 1 min 5.5 s"),
    ],
)
def test_what_lasted_is_told_in_the_units_in_which_limits_are_written(us: int, text: str) -> None:
    assert lasted_text(us) == text


@given(st.integers(0, 10**12))
def test_what_is_told_adds_up_to_what_lasted(us: int) -> None:
    parts = re.findall(r"([\d.]+) (h|min|s|ms)", lasted_text(us))
    assert sum(Decimal(number) * TIMES[unit] for number, unit in parts) == us
    assert all(Decimal(number) < 60 for number, unit in parts[1:])
