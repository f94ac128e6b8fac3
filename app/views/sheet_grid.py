"""Where the cells of a drawn sheet lie: lines between columns and rows, as shares of the sheet.

Worked out from the boxes of the panels, so it holds whatever the drawing gave each of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.sheets.moving import shares

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class SheetGrid:
    """The grid of a sheet as it is seen.

    Attributes
    ----------
    x, y : lines between columns, from the left, and between rows, from above; 0 to 1; one more
        than there are columns and rows
    boxes : (left, upper, right, lower) of each panel
    cells : (row, col, rows, cols) of each panel
    """

    x: tuple[float, ...]
    y: tuple[float, ...]
    boxes: tuple[Box, ...]
    cells: tuple[tuple[int, int, int, int], ...]

    def panel_at(self, x: float, y: float) -> int | None:
        """Number of the panel at a place; None beside them."""
        row, col = self.cell_at(x, y)
        for at, (r, c, rows, cols) in enumerate(self.cells):
            if r <= row < r + rows and c <= col < c + cols:
                return at
        return None

    def cell_at(self, x: float, y: float) -> tuple[int, int]:
        """Row and column at a place; beyond the last line is the next one."""
        return _place(self.y, y), _place(self.x, x)

    def rect(self, row: int, col: int, rows: int, cols: int) -> Box:
        """The place of some cells; those beyond the last line are as narrow as a margin."""
        return (_line(self.x, col), _line(self.y, row), _line(self.x, col + cols),
                _line(self.y, row + rows))  # fmt: skip

    def outline(self, at: int) -> Box:
        """The cells of a panel."""
        return self.rect(*self.cells[at])


BEYOND = 0.12
"""A row or column that is not there yet is shown so wide, as a share of the sheet."""


def grid_of(sheet: Any, boxes: Sequence[Box]) -> SheetGrid:
    """The grid of a sheet with panels at `boxes`, (left, bottom, right, top) as Matplotlib counts,
    from below."""
    rows, cols = sheet.grid
    flipped = tuple((left, 1.0 - top, right, 1.0 - bottom) for left, bottom, right, top in boxes)
    cells = tuple((p.row, p.col, p.rows, p.cols) for p in sheet.panels)
    x = _lines(shares(sheet.widths, cols), [(c, c + n) for _, c, _, n in cells],
               [(b[0], b[2]) for b in flipped])  # fmt: skip
    y = _lines(shares(sheet.heights, rows), [(r, r + n) for r, _, n, _ in cells],
               [(b[1], b[3]) for b in flipped])  # fmt: skip
    return SheetGrid(x, y, flipped, cells)


def grid_by_sizes(sheet: Any) -> SheetGrid:
    """The grid of a sheet that is not drawn yet, by its relative sizes alone."""
    rows, cols = sheet.grid
    x, y = _sums(shares(sheet.widths, cols)), _sums(shares(sheet.heights, rows))
    boxes = [(x[p.col], 1.0 - y[p.row + p.rows], x[p.col + p.cols], 1.0 - y[p.row])
             for p in sheet.panels]  # fmt: skip
    return grid_of(sheet, boxes)


def _sums(sizes: Sequence[float]) -> tuple[float, ...]:
    return tuple(float(v) for v in np.concatenate([[0.0], np.cumsum(sizes)]) / sum(sizes))


def _lines(sizes: Sequence[float], spans: Sequence[tuple[int, int]],
           ends: Sequence[tuple[float, float]]) -> tuple[float, ...]:  # fmt: skip
    """The lines: the middle of the panels' ends where there are any, else by the relative sizes."""
    usual = np.array(_sums(sizes))
    known: dict[int, list[float]] = {0: [0.0], len(sizes): [1.0]}
    for (first, last), (low, high) in zip(spans, ends, strict=True):
        for line, at in ((first, low), (last, high)):
            if 0 < line < len(sizes):
                known.setdefault(line, []).append(at)
    fixed = sorted(known)
    places = [float(np.mean(known[line])) for line in fixed]
    # what no panel tells lies between its neighbours as the sizes say
    made = np.interp(usual, usual[fixed], np.maximum.accumulate(places))
    return tuple(float(v) for v in made)


def _place(lines: Sequence[float], at: float) -> int:
    return int(min(max(np.searchsorted(lines, at, side="right") - 1, 0), len(lines) - 1))


def _line(lines: Sequence[float], number: int) -> float:
    last = len(lines) - 1
    return lines[number] if number <= last else lines[last] + BEYOND * (number - last)


__all__ = ["Box", "SheetGrid", "grid_by_sizes", "grid_of"]
