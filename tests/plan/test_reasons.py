"""Why a fault is not found, in sentences that agree with how many things they speak of."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.plan.reasons import Reasons
from interlock.plan.stimuli import Stimuli
from interlock.scheme.read import load

HUT = Path(__file__).parents[2] / "rules" / "alpine_hut.yaml"


@pytest.mark.parametrize(
    ("fault", "because"),
    [
        ("R2.ignored", "roof_pv stops all the same, because K2 and charge_bus always stop it too"),
        ("K3.ignored", "turbine_charging stops all the same, because charge_bus always stops it too"),
    ],
)
def test_a_device_that_does_not_heed_its_input_and_what_else_stops_it(fault: str, because: str) -> None:
    scheme = load(HUT)
    told = Reasons(Stimuli(scheme), 1000).why(fault, scheme.faults[fault])
    assert (told.because, told.proved) == (because, True)
