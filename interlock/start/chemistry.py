"""Cell chemistries and their usual limits.

All figures are common practice, no source: the cell's own datasheet rules. They are what a first scheme starts from,
and every one of them stands in the written file with that remark.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.scheme.words import Word


class Chemistry(Word):
    """The chemistries there are usual limits for."""

    LFP = "LFP"
    NMC = "NMC"
    LTO = "LTO"


@dataclass(frozen=True, slots=True)
class Preset:
    """A chemistry's usual limits: voltages of one cell in mV, temperatures in degC.

    `overfull` and `drained` do harm; `full` and `empty` are where charging and drawing stop, `full_again` and
    `empty_again` where they may begin again. `resting` is a half-charged cell at rest, `nominal` what the cell is sold
    as. Charging belongs between `charge_cold` and `charge_hot`, drawing between `draw_cold` and `draw_hot`.
    """

    says: str
    nominal: int
    resting: int
    overfull: int
    full: int
    full_again: int
    empty_again: int
    empty: int
    drained: int
    span: tuple[int, int]
    valid: tuple[int, int]
    charge_cold: int
    charge_hot: int
    draw_cold: int
    draw_hot: int
    cold_harm: str


PRESETS: dict[Chemistry, Preset] = {
    Chemistry.LFP: Preset(
        says="lithium iron phosphate (LFP)",
        nominal=3200,
        resting=3300,
        overfull=3650,
        full=3550,
        full_again=3400,
        empty_again=3000,
        empty=2800,
        drained=2500,
        span=(1500, 4200),
        valid=(1000, 4500),
        charge_cold=0,
        charge_hot=45,
        draw_cold=-20,
        draw_hot=60,
        cold_harm="charging a frozen cell plates lithium, which does not come off again",
    ),
    Chemistry.NMC: Preset(
        says="lithium nickel manganese cobalt oxide (NMC)",
        nominal=3600,
        resting=3700,
        overfull=4250,
        full=4180,
        full_again=4050,
        empty_again=3400,
        empty=3100,
        drained=2750,
        span=(1500, 5000),
        valid=(1000, 5500),
        charge_cold=0,
        charge_hot=45,
        draw_cold=-20,
        draw_hot=60,
        cold_harm="charging a frozen cell plates lithium, which does not come off again",
    ),
    Chemistry.LTO: Preset(
        says="lithium titanate (LTO)",
        nominal=2300,
        resting=2350,
        overfull=2850,
        full=2700,
        full_again=2550,
        empty_again=2100,
        empty=1800,
        drained=1500,
        span=(500, 3600),
        valid=(200, 4000),
        charge_cold=-20,
        charge_hot=50,
        draw_cold=-30,
        draw_hot=60,
        cold_harm="a titanate cell does not plate, but below this nearly every maker forbids charging",
    ),
}
assert set(PRESETS) == set(Chemistry), set(Chemistry) - set(PRESETS)
