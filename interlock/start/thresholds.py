"""Temperatures at which rules trip and clear, from a chemistry's limits and what the probes can be trusted for.

A probe reads within `error` of its own place, and the coldest and the hottest cell are within `offset` of that place.
So its reading is at most `error + offset` above the coldest cell and as much below the hottest: a threshold keeps that
much and a margin inside the limit. With the truth at rest the reading still wanders by `2 error + offset`: the
hysteresis is wider than that.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.scheme.units import MICRO
from interlock.start.chemistry import PRESETS, Chemistry

MARGIN = MICRO  # K, kept beyond the probe's error
NARROWEST = 5 * MICRO  # K between too cold and too hot: less is no charging at all on most days
STEP = MICRO // 2  # thresholds stand on half kelvins
HEATER_LIMIT = 35  # degC; a heater that goes on there has failed (common practice, no source)


@dataclass(frozen=True, slots=True)
class Pair:
    """Where a rule trips and where it clears, in millionths of a degree."""

    trips: int
    clears: int


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Millionths of a degree or kelvin. `above` and `below` of a service: the coldest cell warmer, the hottest cooler
    than this, and everything that temperature stops has surely cleared."""

    error: int
    offset: int
    cold: Pair  # charging
    hot_charge: Pair
    frost: Pair  # drawing
    hot: Pair
    heat: Pair  # the heater asked for, and no longer
    heater_hot: Pair
    apart: Pair  # two probes
    charge_above: int
    charge_below: int
    draw_above: int
    draw_below: int
    heat_below: int  # the coldest cell below this: the heater is surely asked for
    heat_above: int  # the hottest cell above this: drawing is surely allowed

    @property
    def off(self) -> int:
        """How far a reading may be on the wrong side of the coldest or the hottest cell."""
        return self.error + self.offset

    @property
    def window(self) -> int:
        """Between too cold and too hot for charging to be sure."""
        return self.charge_below - self.charge_above

    @property
    def heat_room(self) -> int:
        """How much room a heater has: where it is surely asked for while drawing is surely allowed, and between where
        it is no longer asked for and where it has failed."""
        asked = self.heat_below + 2 * self.offset - self.heat_above  # the hottest cell is at most that much warmer
        return min(asked - MARGIN, self.heater_hot.clears - self.heat.clears - NARROWEST)


def thresholds(chemistry: Chemistry, error: int, offset: int) -> Thresholds:
    """All thresholds for probes with that error and offset (millionths of a kelvin)."""
    preset = PRESETS[chemistry]
    off, wander = error + offset, 2 * error + offset

    def low(limit: int) -> Pair:
        trips = _up(limit * MICRO + off + MARGIN)
        return Pair(trips, _up(trips + wander + MARGIN))

    def high(limit: int, cool: int = 0) -> Pair:
        trips = _down(limit * MICRO - off - MARGIN)
        return Pair(trips, _down(trips - wander - MARGIN - cool))

    cold, frost = low(preset.charge_cold), low(preset.draw_cold)
    hot_charge, hot = high(preset.charge_hot), high(preset.draw_hot, 3 * MICRO)
    return Thresholds(
        error=error,
        offset=offset,
        cold=cold,
        hot_charge=hot_charge,
        frost=frost,
        hot=hot,
        # Ends above where charging comes back, so that heating always leads to charging.
        heat=Pair(cold.trips + MARGIN, cold.clears + MARGIN),
        heater_hot=high(HEATER_LIMIT),
        apart=Pair(_up(wander + 3 * MICRO), _up(wander + MARGIN)),
        charge_above=_up(cold.clears + error + MARGIN),
        charge_below=_down(hot_charge.clears - error - MARGIN),
        draw_above=_up(frost.clears + error + MARGIN),
        draw_below=_down(hot.clears - error - MARGIN),
        heat_below=_down(cold.trips - off),
        heat_above=_up(frost.clears + off + MARGIN),
    )


def _up(micro: int) -> int:
    return -(-micro // STEP) * STEP


def _down(micro: int) -> int:
    return micro // STEP * STEP
