"""Figures compared by their digits alone."""

from __future__ import annotations

from typing import Any

import pytest


def near(value: float, rel: float = 1e-6) -> Any:
    """Equal but for that part of the value. pytest's own tolerance of 1e-12 would let small chances pass as equal."""
    return pytest.approx(value, rel=rel, abs=0)
