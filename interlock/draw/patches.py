"""The areas of a permit map as few rectangles, for drawing and for telling."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.logic.permits import Cell, Panel, Standing


@dataclass(frozen=True, slots=True)
class Patch:
    """A rectangle of pieces, both ends included, in which a path stands alike. Its edges are lines of the plane that
    belong to one side or the other; only areas are told."""

    standing: Standing
    columns: tuple[int, int]
    rows: tuple[int, int]


def told(cell: Cell) -> Standing:
    """What is told of a cell: not known where no history shows what it is taken to be."""
    return cell.standing if cell.sure else Standing.UNKNOWN


def patches(panel: Panel) -> tuple[Patch, ...]:
    """Rectangles that cover the open cells without overlap: always the largest that is left, measured in cells."""
    xs = [i for i, piece in enumerate(panel.xs) if not piece.point]
    ys = [j for j, piece in enumerate(panel.ys) if not piece.point]
    grid = [[told(panel.cells[i][j]) for j in ys] for i in xs]
    left = {(i, j) for i in range(len(xs)) for j in range(len(ys))}
    found = []
    while left:
        i1, i2, j1, j2 = _largest(grid, left)
        found.append(Patch(grid[i1][j1], (xs[i1], xs[i2]), (ys[j1], ys[j2])))
        left -= {(i, j) for i in range(i1, i2 + 1) for j in range(j1, j2 + 1)}
    return tuple(found)


def _largest(grid: list[list[Standing]], left: set[tuple[int, int]]) -> tuple[int, int, int, int]:
    """The rectangle of one standing with the most cells; of several the first."""
    best, size = (0, 0, 0, 0), 0
    for i1, j1 in sorted(left):
        most = len(grid[0]) - 1
        i2 = i1
        while i2 < len(grid) and (i2, j1) in left and grid[i2][j1] is grid[i1][j1]:
            j2 = j1
            while j2 < most and (i2, j2 + 1) in left and grid[i2][j2 + 1] is grid[i1][j1]:
                j2 += 1
            most = min(most, j2)
            area = (i2 - i1 + 1) * (most - j1 + 1)
            if area > size:
                best, size = (i1, i2, j1, most), area
            i2 += 1
    return best
