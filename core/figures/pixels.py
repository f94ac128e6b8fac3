"""Pixels of maps for paper: enlarged by whole factors, never smoothed, and hatched where excluded.

Excluded pixels carry stripes of two greys, since one grey alone is found in every colour map once
it is printed without colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .parts import Style

if TYPE_CHECKING:
    from ..analysis import Analysis

Array = np.ndarray
LIGHT, DARK = (235, 235, 235), (95, 95, 95)
"""The two greys of the stripes."""
PERIOD = 0.42
"""From one stripe to the next, in heights of small text."""
MOST = 8192
"""Pixels of an enlarged map along one side."""
LEFT, EMPTY, NONE = "left out", "no value", "no curve"
OVER = "over"
HATCHES = {LEFT: (1, 1), EMPTY: (1, -1), NONE: (0, 1)}
"""Kind of an excluded pixel -> way of its stripes: (columns, rows) weights."""


@dataclass(frozen=True, eq=False)
class Excluded:
    """Pixels without a colour.

    Attributes
    ----------
    masks : kind of `HATCHES` -> bool (rows, cols); they don't overlap
    reasons : words and count of each reason, for the caption
    kept : pixels that are not to be used and have a colour all the same
    """

    masks: dict[str, Array]
    reasons: tuple[tuple[str, int], ...] = ()
    kept: int = 0

    @property
    def counts(self) -> dict[str, int]:
        """Kinds that occur, with how many pixels have each."""
        found = {kind: int(np.count_nonzero(mask)) for kind, mask in self.masks.items()}
        return {kind: count for kind, count in found.items() if count}

    @property
    def words(self) -> str:
        """Which pixels are excluded and why, a phrase; "" if none is."""
        return ", ".join(f"{count} {reason}" for reason, count in self.reasons if count)


def excluded(analysis: Analysis, values: Array, trusted: bool) -> Excluded:
    """Which pixels of a channel have no colour, and why.

    Parameters
    ----------
    values : the channel, (rows, cols)
    trusted : whether distrusted pixels are left out as well
    """
    curve = analysis.map.index_map >= 0
    by_hand = analysis.review.left_out.mask(analysis.map.shape)
    severe = analysis.severe & ~by_hand
    out = curve & ~analysis.trusted if trusted else np.zeros(values.shape, bool)
    empty = curve & ~out & ~np.isfinite(values)
    reasons = (("left out by hand", int((out & by_hand).sum())),
               ("with a severe doubt", int((out & severe).sum())),
               ("without a value", int(empty.sum())),
               ("without a curve", int((~curve).sum())))  # fmt: skip
    kept = curve & ~analysis.trusted & ~out & np.isfinite(values)
    return Excluded({LEFT: out, EMPTY: empty, NONE: ~curve}, reasons, int(kept.sum()))


OVER_WAY = (1, 1)
OVER_COLOUR = (255, 255, 255)
"""Stripes of boundary zones."""


def factor_for(cells: int, points: float, dpi: int) -> int:
    """By how much to enlarge `cells` map pixels that take `points`, to reach at least the dpi."""
    wanted = int(np.ceil(points / 72.0 * dpi / max(cells, 1)))
    return max(1, min(wanted, MOST // max(cells, 1)))


def enlarged(grid: Array, factor: int) -> Array:
    """Every pixel as a square of `factor` by `factor` equal ones."""
    return np.repeat(np.repeat(grid, factor, axis=0), factor, axis=1)


def stripes(shape: tuple[int, int], way: tuple[int, int], period: int) -> Array:
    """Where stripes lie, bool of a shape, three tenths of it; `way` are the weights of column and
    row."""
    thick = max(1, round(0.3 * period))
    rows, cols = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    return np.asarray((way[0] * cols + way[1] * rows) % max(period, 2) < thick)


def hatch_into(picture: Array, mask: Array, kind: str, factor: int, period: int) -> None:
    """Draw the stripes of a kind of excluded pixels into an enlarged picture.

    Parameters
    ----------
    picture : uint8 (rows, cols, 3), changed
    mask : bool of the map's own shape
    period : from `period_of`
    """
    large = enlarged(mask, factor)
    dark = stripes(large.shape, HATCHES[kind], period)
    picture[large] = LIGHT
    picture[large & dark] = DARK


def stripe_over(picture: Array, mask: Array, factor: int, period: int) -> None:
    """Lay light stripes over some pixels of an enlarged picture that keep their colour between
    them; as `hatch_into`."""
    large = enlarged(mask, factor)
    picture[large & stripes(large.shape, OVER_WAY, period)] = OVER_COLOUR


def period_of(factor: int, points: float, style: Style) -> int:
    """Period of stripes in enlarged pixels: a whole share of a large map pixel, so that each has
    its stripe, or several small ones.

    Parameters
    ----------
    factor : enlarged pixels along one map pixel
    points : width of one map pixel on paper [pt]
    """
    wanted = PERIOD * style.small
    if points >= wanted:
        return max(2, round(factor / max(1, round(points / wanted))))
    return max(2, round(wanted * factor / max(points, 1e-9)))


def edge_lines(labels: Array) -> list[Array]:
    """Lines along pixel edges between different labels, in columns and rows counted from the lower
    left corner of the map; (2, 2) each, runs joined. Pixels below zero make no boundary."""
    lines: list[Array] = []
    for across in (False, True):
        grid = labels if across else labels.T
        # between neighbours along the second axis of `grid`
        differ = (grid[:, 1:] != grid[:, :-1]) & (grid[:, 1:] >= 0) & (grid[:, :-1] >= 0)
        for edge in np.nonzero(differ.any(axis=0))[0]:
            flat = np.diff(np.concatenate([[0], differ[:, edge].astype(np.int8), [0]]))
            for start, stop in zip(np.nonzero(flat == 1)[0], np.nonzero(flat == -1)[0],
                                   strict=True):  # fmt: skip
                at = float(edge + 1)
                line = [(at, start), (at, stop)] if across else [(start, at), (stop, at)]
                lines.append(np.array(line, float))
    return lines
