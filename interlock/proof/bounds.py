"""Systems of difference bounds `x - y <= b` in exact integers, kept closed; strict bounds take one unit of slack.

Values (whole millionths) are multiplied by SCALE, so that a strict bound is `SCALE * b - 1`: over the reals such a
system has a solution exactly when the scaled one has, as long as no simple cycle holds SCALE strict bounds. (Difference
bound matrices: Dill 1989, "Timing assumptions and verification of finite-state concurrent systems".)
"""

from __future__ import annotations

from msgspec import Struct

SCALE = 4096
INF = 1 << 80

# `x - y <= bound`, variables by index; index 0 is the constant zero.
Bound = tuple[int, int, int]


class Sum(Struct, frozen=True):
    """low <= sum of some variables <= high, scaled; None: open that way. (Averages need more than differences.)"""

    items: tuple[int, ...]
    low: int | None
    high: int | None


Constraint = Bound | Sum


class Bounds:
    """A closed system over `size` variables, variable 0 being zero. `cells[i * size + j]` bounds x_i - x_j. `sums` hold
    beside it."""

    __slots__ = ("cells", "size", "sums")

    def __init__(self, size: int, cells: list[int] | None = None, sums: tuple[Sum, ...] = ()) -> None:
        self.size, self.sums = size, sums
        if cells is None:
            cells = [INF] * (size * size)
            for i in range(size):
                cells[i * size + i] = 0
        self.cells = cells

    def copy(self) -> Bounds:
        """An independent copy."""
        return Bounds(self.size, self.cells.copy(), self.sums)

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
            if via < INF // 2 and via < cells[k + j]:  # else nothing in this row shrinks: it is closed already
                for m, bound_m in enumerate(row_j, k):
                    if via + bound_m < cells[m]:  # noqa: PLR1730 (an innermost loop: a call costs)
                        cells[m] = via + bound_m
        return True

    def add_all(self, constraints: tuple[Constraint, ...]) -> bool:
        """Add several; False where nothing satisfies them all."""
        for c in constraints:
            if isinstance(c, Sum):
                self.sums = (*self.sums, c)
            elif not self.add(*c):
                return False
        return not self.sums or self._range(self.sums[0].items[0]) is not None

    def _range(self, i: int) -> tuple[int, int] | None:
        """The range of a variable with the sums in force, by eliminating the others (Fourier 1827; the differences with
        variables in no sum are closed already); None where nothing satisfies all."""
        names = sorted({v for s in self.sums for v in s.items} | {i})
        rows: list[tuple[dict[int, int], int]] = []
        for a in (0, *names):
            for b in (0, *names):
                bound = self.cells[a * self.size + b]
                if a != b and bound < INF // 2:
                    rows.append(({v: k for v, k in ((a, 1), (b, -1)) if v}, bound))
        for s in self.sums:
            if s.high is not None:
                rows.append((dict.fromkeys(s.items, 1), s.high))
            if s.low is not None:
                rows.append((dict.fromkeys(s.items, -1), -s.low))
        for v in names:
            if v != i:
                rows = _eliminated(rows, v)
        low, high = -INF, INF
        for coefficients, bound in rows:
            k = coefficients.get(i, 0)
            if k > 0:
                high = min(high, bound // k)
            elif k < 0:
                low = max(low, -(bound // -k))
            elif bound < 0:
                return None
        return (low, high) if low <= high else None

    def widened(self, more: int) -> Bounds:
        """The same system with `more` free variables appended."""
        size, new = self.size, self.size + more
        cells = [INF] * (new * new)
        for i in range(size):
            cells[i * new : i * new + size] = self.cells[i * size : (i + 1) * size]
        for i in range(size, new):
            cells[i * new + i] = 0
        return Bounds(new, cells, self.sums)

    def highest(self, i: int) -> int:
        """The least upper bound of x_i, scaled; INF where there is none."""
        found = self._range(i) if self.sums else None
        return found[1] if found else self.cells[i * self.size]

    def lowest(self, i: int) -> int:
        """The greatest lower bound of x_i, scaled; -INF where there is none."""
        found = self._range(i) if self.sums else None
        return found[0] if found else -self.cells[i]

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


def _eliminated(rows: list[tuple[dict[int, int], int]], v: int) -> list[tuple[dict[int, int], int]]:
    """The rows `sum of coefficient * x <= bound` without variable v, with all that follows from it."""
    above = [r for r in rows if r[0].get(v, 0) > 0]
    below = [r for r in rows if r[0].get(v, 0) < 0]
    kept: dict[tuple[tuple[int, int], ...], int] = {}

    def keep(coefficients: dict[int, int], bound: int) -> None:
        key = tuple(sorted((x, k) for x, k in coefficients.items() if k))
        kept[key] = min(bound, kept.get(key, bound))

    for coefficients, bound in rows:
        if not coefficients.get(v):
            keep(coefficients, bound)
    for up, up_bound in above:
        for down, down_bound in below:
            a, b = -down[v], up[v]
            joined = {x: a * up.get(x, 0) + b * down.get(x, 0) for x in (*up, *down) if x != v}
            keep(joined, a * up_bound + b * down_bound)
    return [(dict(key), bound) for key, bound in kept.items()]
