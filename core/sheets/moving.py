"""Moving panels about the grid: each act is a function that gives another sheet.

What would lie on a panel changes places with it, or moves down; rows and columns that nothing
covers go away. Rows grow downwards, since the width of a sheet is given and its height is not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..errors import SettingsError
from .sheet import LIMIT, Panel, Sheet

ACROSS = 2
"""Columns that a sheet gets by adding panels alone."""
LEAST = 0.15
"""Share of two neighbouring columns, or rows, that each keeps at least."""
FULL = f"there is no room: a sheet has {LIMIT} rows and {LIMIT} columns at most."


def panel_at(sheet: Sheet, row: int, col: int) -> int | None:
    """Number of the panel that covers a cell; None if it is free."""
    found = (at for at, panel in enumerate(sheet.panels) if panel.covers(row, col))
    return next(found, None)


def moved(sheet: Sheet, at: int, row: int, col: int) -> Sheet:
    """Panel `at` on another cell. It changes places and sizes with the panel that lies there; on a
    free cell it keeps as much of its size as fits. Raises SettingsError off the largest grid."""
    panel = sheet.panels[at]
    other = panel_at(sheet, row, col)
    if other == at:
        return sheet
    if other is not None:
        return swapped(sheet, at, other)
    if not (0 <= row < LIMIT and 0 <= col < LIMIT):
        raise SettingsError("panel", FULL)
    others = sheet.without(at).panels
    rows, cols = _room(others, row, col, panel.rows, panel.cols)
    return compact(sheet.with_panel(at, replace(panel, row=row, col=col, rows=rows, cols=cols)))


def stepped(sheet: Sheet, at: int, drow: int, dcol: int) -> Sheet:
    """Panel `at` one step further, past all the cells that it covers itself; at the left and upper
    edge it stays. Where nothing else is beyond it, it opens a row or column of its own."""
    panel = sheet.panels[at]
    row = panel.row + (panel.rows if drow > 0 else drow)
    col = panel.col + (panel.cols if dcol > 0 else dcol)
    if min(row, col) < 0:
        return sheet
    return moved(sheet, at, row, col)


def swapped(sheet: Sheet, at: int, other: int) -> Sheet:
    """Two panels, each in the cells of the other."""
    one, two = sheet.panels[at], sheet.panels[other]
    panels = list(sheet.panels)
    panels[at], panels[other] = _into(one, two), _into(two, one)
    return replace(sheet, panels=tuple(panels))


def spanned(sheet: Sheet, at: int, rows: int, cols: int) -> Sheet:
    """Panel `at` over more or fewer cells; what is in the way moves down. Raises SettingsError if
    it does not fit on the largest grid."""
    panel = sheet.panels[at]
    rows = min(max(rows, 1), LIMIT - panel.row)
    cols = min(max(cols, 1), LIMIT - panel.col)
    return compact(_settled(sheet, at, replace(panel, rows=rows, cols=cols)))


def inserted(sheet: Sheet, panel: Panel) -> tuple[Sheet, int]:
    """The sheet with one more panel on the first free cells along the rows, and the number of the
    new panel. Raises SettingsError if the sheet is full."""
    rows, cols = sheet.grid
    cols = max(cols, min(ACROSS, LIMIT)) if sheet.panels else cols
    for row in range(min(rows + 1, LIMIT)):
        for col in range(max(cols - panel.cols, 0) + 1):
            there = replace(panel, row=row, col=col) if _fits(panel, row, col) else None
            if there is not None and not any(there.meets(other) for other in sheet.panels):
                return replace(sheet, panels=(*sheet.panels, there)), len(sheet.panels)
    raise SettingsError("panel", FULL)


def removed(sheet: Sheet, at: int) -> Sheet:
    """Without panel `at`, and without the rows and columns that only it covered."""
    return compact(sheet.without(at))


def compact(sheet: Sheet) -> Sheet:
    """Without the rows and columns that no panel covers; the others keep their relative sizes."""
    rows, cols = sheet.grid
    keep_rows = [r for r in range(rows) if any(_has(p.row, p.rows, r) for p in sheet.panels)]
    keep_cols = [c for c in range(cols) if any(_has(p.col, p.cols, c) for p in sheet.panels)]
    if not sheet.panels:
        return replace(sheet, widths=(), heights=())
    panels = tuple(replace(p, row=keep_rows.index(p.row), col=keep_cols.index(p.col))
                   for p in sheet.panels)  # fmt: skip
    return replace(sheet, panels=panels, widths=_kept(sheet.widths, keep_cols),
                   heights=_kept(sheet.heights, keep_rows))  # fmt: skip


def shares(sizes: Iterable[float], count: int) -> tuple[float, ...]:
    """Relative sizes of `count` columns or rows: those that are given, then equal ones."""
    given = tuple(sizes)[:count]
    return (*given, *(1.0 for _ in range(count - len(given))))


def line_moved(sheet: Sheet, across: bool, line: int, share: float) -> Sheet:
    """The line between two columns (`across`) or rows moved: the one before it gets `share` of the
    sizes of both together.

    Parameters
    ----------
    line : 1 for the line behind the first column or row
    share : 0 to 1; each of the two keeps at least `LEAST`
    """
    rows, cols = sheet.grid
    sizes = list(shares(sheet.widths if across else sheet.heights, cols if across else rows))
    if not 0 < line < len(sizes):
        raise SettingsError("panel", "there is no line to move here.")
    both = sizes[line - 1] + sizes[line]
    first = round(both * min(max(share, LEAST), 1.0 - LEAST), 3)
    sizes[line - 1 : line + 1] = [max(first, 0.05), max(round(both - first, 3), 0.05)]
    made = tuple(sizes)
    return replace(sheet, widths=made) if across else replace(sheet, heights=made)


def even(sheet: Sheet) -> Sheet:
    """All columns and all rows of equal size."""
    return replace(sheet, widths=(), heights=())


def fresh_name(names: Iterable[str], wanted: str) -> str:
    """The wanted name, or with the first number behind it that no sheet has."""
    there, stem = set(names), wanted.strip()[:70] or "Figure"
    if stem not in there:
        return stem
    head, _, number = stem.rpartition(" ")
    start, counts = (head, int(number)) if head and number.isdecimal() else (stem, 1)
    while f"{start} {counts + 1}" in there:
        counts += 1
    return f"{start} {counts + 1}"


# ---- pieces


def _settled(sheet: Sheet, at: int, wanted: Panel) -> Sheet:
    """Panel `at` as wanted; all others that are in the way of what stands already move down."""
    placed: list[Panel] = [wanted]
    made: dict[int, Panel] = {at: wanted}
    for number in (n for n in sheet.order if n != at):
        panel = sheet.panels[number]
        while any(panel.meets(other) for other in placed):
            if panel.row + panel.rows >= LIMIT:
                raise SettingsError("panel", FULL)
            panel = replace(panel, row=panel.row + 1)
        placed.append(panel)
        made[number] = panel
    return replace(sheet, panels=tuple(made[n] for n in range(len(sheet.panels))))


def _room(others: Iterable[Panel], row: int, col: int, rows: int, cols: int) -> tuple[int, int]:
    """How many of the wanted cells from a free one on can be had without lying on another."""
    every = tuple(others)
    rows, cols = min(rows, LIMIT - row), min(cols, LIMIT - col)

    def free(height: int, width: int) -> bool:
        return not any(p.covers(r, c) for p in every for r in range(row, row + height)
                       for c in range(col, col + width))  # fmt: skip

    while cols > 1 and not free(1, cols):
        cols -= 1
    while rows > 1 and not free(rows, cols):
        rows -= 1
    return rows, cols


def _into(panel: Panel, cells: Panel) -> Panel:
    return replace(panel, row=cells.row, col=cells.col, rows=cells.rows, cols=cells.cols)


def _fits(panel: Panel, row: int, col: int) -> bool:
    return row + panel.rows <= LIMIT and col + panel.cols <= LIMIT


def _has(start: int, count: int, at: int) -> bool:
    return start <= at < start + count


def _kept(sizes: tuple[float, ...], keep: list[int]) -> tuple[float, ...]:
    return tuple(sizes[at] for at in keep if at < len(sizes))
