"""The first half of a random scheme: quantities, sensors and derived readings, all on coarse grids."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from interlock.scheme.units import MICRO, decimal_text
from tests.support.profiles import Profile, Span


@dataclass(frozen=True)
class Grid:
    """One kind of quantity on its grid: words of its unit and differences, a step in millionths, the span in steps."""

    unit: str
    difference: str
    step: int
    low: int
    high: int
    names: tuple[str, ...]

    def span(self, *, narrow: bool) -> Span:
        """A quantity's span in steps."""
        middle = (self.low + self.high) // 2
        return (middle - 12, middle + 12) if narrow else (self.low, self.high)

    def value(self, micro: int) -> str:
        return f"{decimal_text(micro)} {self.unit}"

    def diff(self, micro: int) -> str:
        return f"{decimal_text(micro)} {self.difference}"

    def diff_interval(self, low: int, high: int) -> str:
        if self.unit == "V":
            return f"{decimal_text(low * 1000)} to {decimal_text(high * 1000)} mV"
        return f"{decimal_text(low)} to {decimal_text(high)} {self.difference}"


_GRIDS = (
    Grid("degC", "K", MICRO, -30, 80, ("coldest_cell", "hottest_cell", "busbar_heat")),
    Grid("V", "V", 50_000, 30, 84, ("lowest_cell", "highest_cell", "pack_tap")),
    Grid("%", "%", MICRO, 0, 100, ("charge_left", "charge_counted", "tank_level")),
)


@dataclass
class Quantity:
    name: str
    grid: Grid
    low: int
    high: int
    tied_to: str = ""
    least: int | None = None  # difference to the other, millionths
    most: int | None = None


@dataclass
class Watchable:
    """A sensor or derived reading: the open interval its thresholds are drawn from; `difference` for difference_of."""

    name: str
    grid: Grid
    low: int
    high: int
    difference: bool = False


class ValueWriter:
    """Draws and writes what can be measured; keeps what the rest of the scheme refers to."""

    def __init__(self, rng: random.Random, profile: Profile) -> None:
        self.rng, self.profile = rng, profile
        self.scan_ms = rng.choice(profile.scans_ms)
        self.quantities: list[Quantity] = []
        self.watchables: list[Watchable] = []
        self.sensor_bounds: dict[str, tuple[Grid, int, int]] = {}
        self.errors: dict[str, list[tuple[str, int, int]]] = {}  # of each sensor: quantity, least and most error
        self.error_source: dict[str, tuple[Grid, list[tuple[str, int, int]], Quantity | None]] = {}  # of `other_error`
        self.members: dict[str, list[str]] = {}  # of each sensor and derived reading: the sensors in it
        self.out: dict[str, list[str]] = {}  # section: its lines

    # --- drawing

    def count(self, span: Span) -> int:
        return self.rng.randint(*span)

    def maybe(self, chance: float | None = None) -> bool:
        return self.rng.random() < (self.profile.odd if chance is None else chance)

    def duration(self, span: Span, *, zero: str = "") -> str:
        """A time of that many scans; sometimes written so that it must be rounded up. `zero` stands for none."""
        scans = self.count(span)
        if not scans:
            return zero
        ms = scans * self.scan_ms - (self.rng.randint(1, self.scan_ms - 1) if self.maybe(0.15) else 0)
        return f"{ms} ms" if ms % 1000 or self.maybe(0.2) else f"{ms // 1000} s"

    def delayed(self, condition: str) -> str:
        wait = self.duration(self.profile.delay, zero="0 s" if self.maybe(0.1) else "")
        return f"{condition} for {wait}" if wait else condition

    def subset(self, items: Sequence[str], least: int = 1, most: int = 3) -> list[str]:
        return self.rng.sample(list(items), min(len(items), self.rng.randint(least, most)))

    def steps(self, grid: Grid, low: float, high: float) -> int:
        """A difference of `low` to `high` grid steps, now and then on a half step, in millionths."""
        half = 0.5 if self.maybe(0.1) else 0
        return round((self.rng.randint(round(low), round(high)) + half) * grid.step)

    # --- quantities, sensors, derived readings

    def write_quantities(self) -> None:
        lines = self.out.setdefault("quantities", [])
        for grid in self.rng.sample(_GRIDS, self.count(self.profile.kinds)):
            own: list[Quantity] = []
            for name in grid.names[: self.count(self.profile.quantities)]:
                low, high = grid.span(narrow=self.profile.narrow)
                quantity = Quantity(name, grid, low * grid.step, high * grid.step)
                text = f"span: {decimal_text(quantity.low)} to {grid.value(quantity.high)}"
                if own and self.maybe(0.7):
                    text += self.tie(quantity, self.rng.choice(own))
                own.append(quantity)
                lines.append(f"{name}: {{{text}}}")
            self.quantities += own

    def tie(self, quantity: Quantity, other: Quantity) -> str:
        grid, text = quantity.grid, ""
        quantity.tied_to = other.name
        at_least, at_most = self.rng.choice([(True, False), (False, True), (True, True), (True, True)])
        if at_least:
            quantity.least = self.rng.choice([0, 0, 0, -2, 1]) * grid.step
            text += f", at_least: {other.name}{self.offset(grid, quantity.least)}"
        if at_most:
            floor = (quantity.least or 0) // grid.step
            quantity.most = (floor + self.rng.randint(1, 6)) * grid.step
            text += f", at_most: {other.name}{self.offset(grid, quantity.most)}"
        return text

    @staticmethod
    def offset(grid: Grid, micro: int) -> str:
        return f" {'-' if micro < 0 else '+'} {grid.diff(abs(micro))}" if micro else ""

    def write_sensors(self) -> None:
        lines = self.out.setdefault("sensors", [])
        for i in range(self.count(self.profile.sensors)):
            first = self.rng.choice(self.quantities)
            tied = [q for q in self.quantities if q.tied_to == first.name and q.grid is first.grid]
            loose = [q for q in self.quantities if q is not first and q.grid is first.grid and not q.tied_to]
            partner = None
            if tied and self.maybe(0.6):
                partner = self.rng.choice(tied)
            elif loose and not first.tied_to and self.maybe(0.1):
                partner = self.rng.choice(loose)  # an assumption that the ties do not declare
            lines.append(self.sensor(f"{'probe' if first.grid.unit == 'degC' else 'tap'}{i + 1}", first, partner))

    def error(self, grid: Grid) -> tuple[int, int]:
        low, high = -self.steps(grid, 0, 3), self.steps(grid, 0, 3)
        if self.maybe(0.1):  # a bias: the true value is never read
            shift = self.steps(grid, -3, 3)
            return low + shift, high + shift
        return low, high

    def sensor(self, name: str, first: Quantity, partner: Quantity | None) -> str:
        grid = first.grid
        errors = [(first.name, *self.error(grid))]
        if partner:
            errors.append((partner.name, *self.partner_error(partner, errors[0])))
        possible = (first.low + errors[0][1], first.high + errors[0][2])
        low = possible[0] + self.rng.choice([-5, -5, 0, 2, 6]) * grid.step
        high = possible[1] + self.rng.choice([5, 5, 0, -2, -6]) * grid.step
        self.sensor_bounds[name] = (grid, low, high)
        self.errors[name], self.members[name] = errors, [name]
        self.error_source[name] = (grid, errors, partner)
        inner = (max(low, first.low) + grid.step, min(high, first.high) - grid.step)
        self.watchables.append(Watchable(name, grid, *inner))
        parts = [f"measures: {{{self.errors_text(grid, errors)}}}"]
        parts.append(f"valid: {decimal_text(low)} to {grid.value(high)}")
        for word in ("drifts", "misplaced"):
            if self.maybe(0.5):
                parts.append(f"{word}: {self.other_error(grid, errors, partner)}")
        if self.maybe():
            parts.append(f"open_reads: {grid.value(self.element(grid, low, high))}")
        if self.maybe():
            parts.append(f"shorted_reads: {grid.value(self.element(grid, low, high))}")
        if self.maybe(0.4):
            parts.append(f"stale_after: {self.duration((1, max(2, min(self.profile.delay[1], 40))))}")
        return f"{name}: {{{', '.join(parts)}}}"

    def element(self, grid: Grid, low: int, high: int) -> int:
        """What an open or shorted element may read: within the valid range, at its ends, or outside."""
        return self.rng.choice([low, high, low - grid.step, high + grid.step, self.rng.randrange(low, high, grid.step)])

    def partner_error(self, partner: Quantity, first: tuple[str, int, int]) -> tuple[int, int]:
        """An error of the second quantity. The least difference of the two is always measurable, so that truths are
        left; mostly every difference that the ties allow is, else the sensor implies an assumption."""
        _, low1, high1 = first
        least = partner.least if partner.least is not None else min(partner.most or 0, 0)
        low, high = self.error(partner.grid)
        low, high = min(low, high1 - least), max(high, low1 - least)
        if partner.most is not None and self.maybe(0.8):
            low = min(low, high1 - partner.most)
        return low, high

    def errors_text(self, grid: Grid, errors: Sequence[tuple[str, int, int]]) -> str:
        return ", ".join(f"{name}: {grid.diff_interval(low, high)}" for name, low, high in errors)

    def other_error(self, grid: Grid, errors: list[tuple[str, int, int]], partner: Quantity | None) -> str:
        """A drifted or misplaced error that admits every truth the healthy one admits."""
        if partner is None:
            low, high = self.error(grid)
            wider = self.steps(grid, 0, 6)
            return grid.diff_interval(low - wider, high + wider)
        (_, low1, high1), (_, low2, high2) = errors
        farthest = max(abs(low1 - high2), abs(high1 - low2))  # of the differences that the sensor admits
        if self.maybe(0.3):
            half = farthest + self.steps(grid, 0, 3)
            return grid.diff_interval(-half, half)
        shift = self.steps(grid, -4, 4)
        moved = [
            (name, low + shift - self.steps(grid, 0, 3), high + shift + self.steps(grid, 0, 3))
            for name, low, high in errors
        ]
        return f"{{{self.errors_text(grid, moved)}}}"

    def write_readings(self) -> None:
        lines: list[str] = []
        words = ["lowest_of", "highest_of", "median_of", "difference_of", "average_of"]
        for i in range(self.count(self.profile.readings)):
            grid = self.rng.choice([grid for grid, _, _ in self.sensor_bounds.values()])
            same = [name for name, (g, _, _) in self.sensor_bounds.items() if g is grid]
            if len(same) < 2:
                continue
            sensors, word = self.subset(same, 2, 3), self.rng.choice(words)
            own = [w for w in self.watchables if w.name in sensors]
            low, high = max(w.low for w in own), min(w.high for w in own)
            if word == "difference_of":
                low, high = 0, 12 * grid.step
            name = f"combined{i + 1}"
            self.members[name] = sensors
            self.watchables.append(Watchable(name, grid, low, high, word == "difference_of"))
            needs = f", needs: {self.rng.randint(1, len(sensors))}" if self.maybe(0.7) else ""
            lines.append(f"{name}: {{{word}: [{', '.join(sensors)}]{needs}}}")
        self.out["readings"] = lines
