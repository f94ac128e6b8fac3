"""What a hand can take hold of on a sheet, and what becomes of it where the hand is."""

from __future__ import annotations

from dataclasses import dataclass

from ...core.sheets.moving import LEAST
from .sheet_grid import Box, SheetGrid

PANEL, RIGHT, LOWER, COLUMNS, ROWS = "panel", "right", "lower", "columns", "rows"
REACH, HANDLE = 4.0, 8.0
"""How near a line or a handle has to be [px]."""


@dataclass(frozen=True)
class Hold:
    """What is held: a panel, its right or lower edge, or a line between columns or rows.

    Attributes
    ----------
    what : PANEL, RIGHT, LOWER, COLUMNS or ROWS
    number : of the panel, or of the line (1 is the one behind the first column or row)
    """

    what: str
    number: int


@dataclass(frozen=True)
class Landing:
    """Where what is held would come to lie.

    Attributes
    ----------
    row, col, rows, cols : cells of the panel; zero for a line
    other : number of the panel that it changes places with, None for none
    share : of the line: which part of both sizes goes before it
    """

    row: int = 0
    col: int = 0
    rows: int = 0
    cols: int = 0
    other: int | None = None
    share: float = 0.0


def handles(grid: SheetGrid, chosen: int) -> dict[str, tuple[float, float]]:
    """Where the handles of a chosen panel are, as shares of the sheet."""
    left, upper, right, lower = grid.outline(chosen)
    return {RIGHT: (right, 0.5 * (upper + lower)), LOWER: (0.5 * (left + right), lower)}


def hold_at(grid: SheetGrid, x: float, y: float, size: tuple[float, float],
            chosen: int | None) -> Hold | None:  # fmt: skip
    """What lies at a place: handles of the chosen panel first, then lines, then panels.

    Parameters
    ----------
    x, y : shares of the sheet
    size : of the sheet on the screen [px]
    """
    wide, high = size
    if chosen is not None:
        for what, (hx, hy) in handles(grid, chosen).items():
            if abs(x - hx) * wide <= HANDLE and abs(y - hy) * high <= HANDLE:
                return Hold(what, chosen)
    if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
        return None
    return _line_at(grid, x, y, size) or _panel_at(grid, x, y)


def _line_at(grid: SheetGrid, x: float, y: float, size: tuple[float, float]) -> Hold | None:
    for what, lines, at, long in ((COLUMNS, grid.x, x, size[0]), (ROWS, grid.y, y, size[1])):
        for number, line in enumerate(lines[1:-1], 1):
            if abs(at - line) * long > REACH:
                continue
            aside = REACH / long
            before = grid.panel_at(*((line - aside, y) if what == COLUMNS else (x, line - aside)))
            behind = grid.panel_at(*((line + aside, y) if what == COLUMNS else (x, line + aside)))
            if before is None or before != behind:  # not in the middle of a panel
                return Hold(what, number)
    return None


def _panel_at(grid: SheetGrid, x: float, y: float) -> Hold | None:
    found = grid.panel_at(x, y)
    return None if found is None else Hold(PANEL, found)


def landing(grid: SheetGrid, hold: Hold, x: float, y: float) -> Landing:
    """Where what is held comes to lie when the hand is at a place."""
    if hold.what in (COLUMNS, ROWS):
        lines, at = (grid.x, x) if hold.what == COLUMNS else (grid.y, y)
        low, high = lines[hold.number - 1], lines[hold.number + 1]
        share = (at - low) / (high - low) if high > low else 0.5
        return Landing(share=min(max(share, LEAST), 1.0 - LEAST))
    row, col = grid.cell_at(x, y)
    r, c, rows, cols = grid.cells[hold.number]
    if hold.what == RIGHT:
        return Landing(r, c, rows, max(_cells(grid.x, x) - c, 1))
    if hold.what == LOWER:
        return Landing(r, c, max(_cells(grid.y, y) - r, 1), cols)
    if r <= row < r + rows and c <= col < c + cols:
        return Landing(r, c, rows, cols)
    other = grid.panel_at(x, y)
    if other is not None:
        return Landing(*grid.cells[other], other)
    return Landing(row, col, 1, 1)


def _cells(lines: tuple[float, ...], at: float) -> int:
    """The line that is nearest to a place, or the one beyond the last."""
    last = len(lines) - 1
    if at > 1.0 + 0.04:
        return last + 1
    return min(range(last + 1), key=lambda n: abs(lines[n] - at))


def line_box(grid: SheetGrid, hold: Hold, share: float) -> Box:
    """Where a line that is dragged would lie."""
    lines = grid.x if hold.what == COLUMNS else grid.y
    low, high = lines[hold.number - 1], lines[hold.number + 1]
    at = low + share * (high - low)
    return (at, 0.0, at, 1.0) if hold.what == COLUMNS else (0.0, at, 1.0, at)
