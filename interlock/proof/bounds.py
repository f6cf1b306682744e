"""Systems of difference bounds `x - y <= b` in exact integers, kept closed; strict bounds take one unit of slack.

Values (whole millionths) are multiplied by SCALE, so that a strict bound is `SCALE * b - 1`: over the reals such a
system has a solution exactly when the scaled one has, as long as no simple cycle holds SCALE strict bounds. (Difference
bound matrices: Dill 1989, "Timing assumptions and verification of finite-state concurrent systems".)
"""

from __future__ import annotations

SCALE = 4096
INF = 1 << 80

# `x - y <= bound`, variables by index; index 0 is the constant zero.
Bound = tuple[int, int, int]


class Bounds:
    """A closed system over `size` variables, variable 0 being zero. `cells[i * size + j]` bounds x_i - x_j."""

    __slots__ = ("cells", "size")

    def __init__(self, size: int, cells: list[int] | None = None) -> None:
        self.size = size
        if cells is None:
            cells = [INF] * (size * size)
            for i in range(size):
                cells[i * size + i] = 0
        self.cells = cells

    def copy(self) -> Bounds:
        """An independent copy."""
        return Bounds(self.size, self.cells.copy())

    def add(self, i: int, j: int, bound: int) -> bool:
        """Add x_i - x_j <= bound and close again; False (and the system is void) where nothing satisfies it."""
        cells, size = self.cells, self.size
        if bound >= cells[i * size + j]:
            return True
        if bound + cells[j * size + i] < 0:
            return False
        row_j = cells[j * size : (j + 1) * size]
        for k in range(0, size * size, size):
            via = cells[k + i] + bound
            if via < INF // 2:
                for m in range(size):
                    cells[k + m] = min(cells[k + m], via + row_j[m])
        return True

    def add_all(self, bounds: tuple[Bound, ...]) -> bool:
        """Add several; False where nothing satisfies them all."""
        return all(self.add(i, j, b) for i, j, b in bounds)

    def widened(self, more: int) -> Bounds:
        """The same system with `more` free variables appended."""
        size, new = self.size, self.size + more
        cells = [INF] * (new * new)
        for i in range(size):
            cells[i * new : i * new + size] = self.cells[i * size : (i + 1) * size]
        for i in range(size, new):
            cells[i * new + i] = 0
        return Bounds(new, cells)

    def highest(self, i: int) -> int:
        """The least upper bound of x_i, scaled; INF where there is none."""
        return self.cells[i * self.size]

    def lowest(self, i: int) -> int:
        """The greatest lower bound of x_i, scaled; -INF where there is none."""
        return -self.cells[i]

    def solution(self) -> list[int]:
        """One solution, scaled: each variable in turn near the middle of what is left to it."""
        work = self.copy()
        values = [0] * self.size
        for i in range(1, self.size):
            low, high = work.lowest(i), work.highest(i)
            if low <= -INF // 2 and high >= INF // 2:
                value = 0
            elif low <= -INF // 2:
                value = high
            elif high >= INF // 2:
                value = low
            else:
                value = (low + high) // 2
            values[i] = value
            if not (
                work.add(i, 0, value) and work.add(0, i, -value)
            ):  # pragma: no cover - closed systems are consistent
                raise AssertionError("a closed system has a solution")
        return values


def at_most(value: int, strict: bool = False) -> int:
    """The scaled bound for `<= value` (`< value` where strict)."""
    return value * SCALE - strict
