"""The compiled scan is the readable engine's equal: random schemes, random worlds, faults planted, scan by scan.

Seeds are fixed, so a failure names the scheme that shows it. INTERLOCK_RANDOM_SCHEMES=2000 compares more of them.
"""

from __future__ import annotations

import os
import random
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.records import replace
from interlock.scheme.read import loads
from tests.logic.exercised import FEWEST, WANTED
from tests.logic.twins import Comparison, Setup, faults_by_mode, worlds
from tests.support.profiles import BROAD, SMALL
from tests.support.random_schemes import random_scheme_text

SCHEMES = int(os.environ.get("INTERLOCK_RANDOM_SCHEMES", "120"))
CHUNKS = 2
RUNS, SCANS = 4, 125  # of each scheme: 500 scans
PROFILES = (SMALL, BROAD, replace(BROAD, name="slow", delay=(0, 30), overrides=(1, 30), contact_delay=(0, 12)))


def random_setup(rng: random.Random, number: int) -> Setup:
    """A random scheme with up to four faults and random options."""
    scheme = loads(random_scheme_text(rng, PROFILES[number % len(PROFILES)]))
    return Setup(
        scheme,
        faults_by_mode(rng, scheme, rng.randint(0, 4)),
        attended=rng.random() < 0.3,
        cycles=rng.random() < 0.3,
        switched=rng.random() < 0.3,
    )


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_both_compiled_forms_agree_with_the_readable_engine(chunk: int) -> None:
    counts: Counter[str] = Counter()
    numbers = range(chunk, SCHEMES, CHUNKS)
    for number in numbers:
        rng = random.Random(f"compiled {number}")
        setup = random_setup(rng, number)
        comparison = Comparison(setup, [list(worlds(rng, setup, SCANS)) for _ in range(RUNS)], f"scheme {number}")
        comparison.one_by_one()
        comparison.side_by_side()
        if number % 16 == chunk:
            comparison.interpreted()
        comparison.count(counts)
    print(f"{len(numbers)} schemes, {len(numbers) * RUNS * SCANS} scans; exercised:")
    print("\n".join(f"{counts[word]:>9} {word}" for word in WANTED))
    assert not [word for word in WANTED if counts[word] < FEWEST]


@settings(max_examples=30, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(0, len(PROFILES) - 1))
def test_no_scheme_and_no_run_of_worlds_tells_the_compiled_scan_apart(rng: random.Random, profile: int) -> None:
    setup = random_setup(rng, profile)
    comparison = Comparison(setup, [list(worlds(rng, setup, 20)) for _ in range(2)], "this scheme")
    comparison.one_by_one()
    comparison.side_by_side()
    comparison.interpreted()
