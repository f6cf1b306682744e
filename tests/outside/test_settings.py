"""The demo schemes' settings held against what LFP cells do, and the band of a setting against plain sampling.

Open-circuit voltage of an LFP cell by state of charge: PyBaMM 26.10, parameter set `Prada2013` (2.3 Ah, 25 degC), read
from the library: 0.05: 2.7853 V, 0.99: 3.4150 V, 1: 3.6000 V. LFP cells work from 2.5 to 3.65 V: common practice, no
source.
"""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest

from interlock.scheme.read import load, loads
from interlock.scheme.words import OwnLimit
from tests.check.found import mended

RULES = Path(__file__).parents[2] / "rules"
AT_5_PERCENT, AT_99_PERCENT, LOWEST, HIGHEST = 2_785_300, 3_415_000, 2_500_000, 3_650_000  # microvolts


@pytest.mark.parametrize("name", ["alpine_hut", "survey_launch"])
def test_chargers_fill_a_pack_and_spare_it_and_loads_stop_before_it_is_empty(name: str) -> None:
    seen = 0
    for device in load(RULES / f"{name}.yaml").devices.values():
        absorption, low = device.limit(OwnLimit.ABSORPTION), device.limit(OwnLimit.LOW_CUT_OFF)
        if absorption:
            assert AT_99_PERCENT < absorption.truth.low <= absorption.truth.high < HIGHEST
            seen += 1
        if low:
            assert low.truth.low > AT_5_PERCENT
            assert low.truth.low > LOWEST
            seen += 1
    assert seen >= 4


@pytest.mark.parametrize("seed", range(20))
def test_the_band_of_a_setting_holds_every_cell_voltage_that_can_be_and_no_more(seed: int) -> None:
    """The device reads the pack's volts plus its error; the cell is their mean plus its imbalance: sampled forward."""
    rng = random.Random(seed)
    cells, value = rng.randrange(1, 17), rng.randrange(20, 60) * 100_000
    error = sorted(rng.randrange(-300_000, 300_001) for _ in range(2))
    apart = sorted(rng.randrange(-90_000, 90_001) for _ in range(2)) if cells > 1 else [0, 0]
    text = mended("source-above-trip").replace("span: 1.5 to 4.2 V", "span: 0 to 90 V")
    text = text.replace("    float: {highest_cell: 53.6 V}\n", "").replace("cells: 16", f"cells: {cells}")
    text = text.replace("-0.2 to 0.2 V", f"{error[0]} to {error[1]} uV").replace("55.2 V", f"{value} uV")
    text = text.replace("0 to 40 mV", f"{apart[0]} to {apart[1]} uV")
    limit = loads(text).devices["roof_pv"].limit(OwnLimit.ABSORPTION)
    assert limit is not None
    sampled = [
        Fraction(value - e, cells) + a
        for e in (*error, rng.randint(*error))
        for a in (*apart, rng.randint(*apart))
    ]  # fmt: skip
    assert all(limit.truth.low <= cell <= limit.truth.high for cell in sampled)
    assert min(sampled) - limit.truth.low < 1
    assert limit.truth.high - max(sampled) < 1
