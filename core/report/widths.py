"""How wide the columns of a table are in the PDF, so that it takes as few lines as can be."""

from __future__ import annotations

import numpy as np

from .faces import width_of
from .parts import Table, together

Array = np.ndarray
PADDING = 6.0
"""Of a cell, left and right together [pt]."""
LONGEST_WORD = 95.0
"""A longer word is broken [pt]."""
STEP = 6.0
"""In which room is given away [pt]."""


def widths_of(table: Table, size: float, room: float) -> list[float]:
    """Widths of the columns [pt], never wider together than the room.

    Each column has room for its longest word; what is left goes, step by step, to the column where
    it saves most lines.
    """
    texts = _texts(table)
    whole = np.array([[width_of(cell, size, row == 0 or at == 0 and table.short_heads)
                       for at, cell in enumerate(cells)] for row, cells in enumerate(texts)])
    words = np.array([max(width_of(word, size, True) for cells in texts
                          for word in cells[at].split(" ")) for at in range(len(table.columns))])
    want = whole.max(0) + PADDING + 1.0
    widths = np.minimum(np.minimum(words, LONGEST_WORD) + PADDING, want)
    if widths.sum() >= room:
        return [float(w) for w in widths * room / widths.sum()]
    left = room - float(widths.sum())
    while left > 0.0 and (widths < want).any():
        at = _best(whole, widths, want, min(STEP, left))
        given = min(STEP, left, float(want[at] - widths[at]))
        widths[at] += given
        left -= given
    return [float(w) for w in widths]


def _texts(table: Table) -> list[list[str]]:
    """All cells with the head, numbers whole."""
    rows = [[together(cell) if column.number else cell
             for column, cell in zip(table.columns, row, strict=True)] for row in table.rows]
    return [[column.head for column in table.columns], *rows]


def _best(whole: Array, widths: Array, want: Array, step: float) -> int:
    """The column that saves most lines with a step more: of the table, else of its cells; where
    none saves any, the one that lacks most."""
    lines = _lines(whole, widths)
    high = lines.max(1)
    scores = []
    for at in np.flatnonzero(widths < want):
        more = widths.copy()
        more[at] += step
        column = _lines(whole[:, at], more[at])
        others = np.delete(lines, at, axis=1).max(1, initial=1.0)
        rows = float((high - np.maximum(others, column)).sum())
        scores.append((rows, float((lines[:, at] - column).sum()), float(want[at] - widths[at]),
                       int(at)))  # fmt: skip
    return max(scores)[3]


def _lines(whole: Array, widths: Array) -> Array:
    """How many lines each cell takes, in parts of one: broken lines are not filled to their end."""
    return np.maximum(1.0, 1.06 * whole / np.maximum(widths - PADDING, 1.0))
