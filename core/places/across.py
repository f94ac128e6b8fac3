"""Across a profile: reading the maps, the mean, and how well it is known.

The places read across a line are closer than pixels and pixels are like their neighbours, so their
spread over the root of their number would be far too small an error. How alike two places are is
found from all points of the line together, as the correlation of what is left when each point's
mean is taken off; the number of independent ones follows from that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

Array = np.ndarray
ROUNDS = 30


@dataclass(frozen=True, eq=False)
class Line:
    """One channel along a profile, each (n,).

    Attributes
    ----------
    values : mean across the width; NaN where no pixel is used
    errors : standard error of the mean. From the spread across the width where two or more pixels
        stand behind it, with their effective number; from the pixel's own local uncertainty where
        one does. NaN where neither tells
    pixels : how many stand behind each point
    effective : how many independent ones; NaN where there are none
    from_spread : bool, whether the error comes from the spread across the width
    """

    values: Array
    errors: Array
    pixels: Array
    effective: Array
    from_spread: Array


def fractional(axis: Array, at: Array) -> Array:
    """Index of a coordinate on an axis of centres; NaN beyond the outer pixels' edges."""
    if axis.size == 1:
        return np.where(np.isfinite(at), 0.0, np.nan)
    falls = axis[0] > axis[-1]
    rising = axis[::-1] if falls else axis
    step = (rising[-1] - rising[0]) / (axis.size - 1)
    even = np.abs(np.diff(rising) - step).max() < 1e-6 * step
    if even:
        index = (at - rising[0]) / step
    else:
        ends = rising[0] - (rising[1] - rising[0]), rising[-1] + (rising[-1] - rising[-2])
        index = np.interp(at, [ends[0], *rising, ends[1]], np.arange(-1.0, axis.size + 1.0))
    index = np.where((index >= -0.5) & (index < axis.size - 0.5), index, np.nan)
    return axis.size - 1.0 - index if falls else index


class Lookup:
    """Where a profile reads its maps: worked out once for all channels.

    Parameters
    ----------
    px, py : (m, n), m places across each of n points
    x, y : centres of the pixels
    usable : bool (rows, cols) or None
    method : "nearest" or "linear"

    Attributes
    ----------
    inside : (m, n) bool, on the map
    use : (m, n) bool, on the map and all of its pixels usable
    pixel : (m, n), flat index of the pixel each place lies in
    """

    def __init__(self, px: Array, py: Array, x: Array, y: Array, usable: Array | None,
                 method: str) -> None:  # fmt: skip
        self.cols = x.size
        row, col = fractional(y, py), fractional(x, px)
        self.inside = np.isfinite(row) & np.isfinite(col)
        row, col = np.where(self.inside, row, 0.0), np.where(self.inside, col, 0.0)
        # half way between two centres is the later pixel's: np.rint would take the even one
        nearest = np.floor(row + 0.5).astype(np.intp), np.floor(col + 0.5).astype(np.intp)
        self.pixel = nearest[0] * self.cols + nearest[1]
        self.corners: list[tuple[Array, Array]] = []
        if method == "linear":
            self.corners = self._corners(row, col, y.size)
        self.use = self.inside.copy()
        if usable is not None:
            good = np.asarray(usable, dtype=bool).ravel()
            for index, weight in self.corners or [(self.pixel, None)]:
                self.use &= good[index] if weight is None else good[index] | (weight == 0.0)
        self.everywhere = bool(self.use.all())

    def _corners(self, row: Array, col: Array, rows: int) -> list[tuple[Array, Array]]:
        """Flat index and weight of the four pixels around each place. Between the outer centres
        and the edge of the map the outer pixel counts as it is."""
        row, col = np.clip(row, 0.0, rows - 1.0), np.clip(col, 0.0, self.cols - 1.0)
        r0 = np.minimum(row.astype(np.intp), max(rows - 2, 0))
        c0 = np.minimum(col.astype(np.intp), max(self.cols - 2, 0))
        r1, c1 = np.minimum(r0 + 1, rows - 1), np.minimum(c0 + 1, self.cols - 1)
        down, right = row - r0, col - c0
        return [(r0 * self.cols + c0, (1.0 - down) * (1.0 - right)),
                (r0 * self.cols + c1, (1.0 - down) * right),
                (r1 * self.cols + c0, down * (1.0 - right)),
                (r1 * self.cols + c1, down * right)]  # fmt: skip

    def read(self, values: Array) -> Array:
        """A map at each place, (m, n); NaN where it is missing there."""
        flat = np.asarray(values, dtype=float).ravel()
        if self.corners:
            found = np.zeros(self.pixel.shape)
            for index, weight in self.corners:
                part = flat[index] * weight
                found += np.where(weight == 0.0, 0.0, part)
        else:
            found = flat[self.pixel]
        if not self.everywhere:
            found[~self.use] = np.nan
        return found

    @cached_property
    def first(self) -> Array:
        """(m, n) bool: places whose pixel is not that of the place before. A straight line meets
        a pixel in one piece, so these count the pixels."""
        found = np.ones(self.pixel.shape, dtype=bool)
        found[1:] = self.pixel[1:] != self.pixel[:-1]
        return found

    def pixels(self, there: Array) -> Array:
        """Pixels behind each point, (n,), of the places that are there."""
        fresh = self.first & there
        fresh[1:] |= there[1:] & ~there[:-1] & ~self.first[1:]
        return np.count_nonzero(fresh, axis=0)

    def majority(self, labels: Array) -> Array:
        """The label that most used places of each point have, (n,); -1 where none has one."""
        found = np.where(self.use, np.asarray(labels).ravel()[self.pixel], -1)
        best = np.full(found.shape[1], -1)
        most = np.zeros(found.shape[1], dtype=int)
        for label in np.unique(found[found >= 0]):
            count = np.count_nonzero(found == label, axis=0)
            better = count > most
            best[better], most[better] = label, count[better]
        return best


def line_of(lookup: Lookup, values: Array, own: Array | None, spacing: float) -> Line:
    """One channel along the profile.

    Parameters
    ----------
    values, own : (rows, cols), the map and its local uncertainty (or None)
    spacing : between the places across, for the correlation
    """
    read = lookup.read(values)
    there = np.isfinite(read)
    count = np.count_nonzero(there, axis=0)
    read[~there] = 0.0
    with np.errstate(all="ignore"):
        mean = np.where(count > 0, read.sum(axis=0) / count, np.nan)
        rest = np.where(there, read - mean, 0.0)
        variance = np.einsum("ij,ij->j", rest, rest) / count
    pixels = lookup.pixels(there)
    share = _independent(rest, there, variance, spacing)
    effective = np.where(count > 0, np.clip(share * count, 1.0, np.maximum(pixels, 1)), np.nan)
    many = pixels >= 2
    with np.errstate(all="ignore"):
        # taking off the mean has cost one independent pixel
        errors = np.where(many & (effective > 1.2), np.sqrt(variance / (effective - 1.0)), np.nan)
    if own is not None:
        errors = np.where(many, errors, _own(lookup, own, there))
    return Line(mean, errors, pixels, effective, many & np.isfinite(errors))


def _own(lookup: Lookup, own: Array, there: Array) -> Array:
    """The uncertainty of the one pixel behind a point: of any of its places, the first."""
    place = np.argmax(there, axis=0)
    points = np.arange(there.shape[1])
    found = np.asarray(own, dtype=float).ravel()[lookup.pixel[place, points]]
    return np.where(there[place, points], found, np.nan)


def _independent(rest: Array, there: Array, variance: Array, spacing: float) -> float:
    """Independent pixels behind a full width, as a share of the places across it.

    The correlation is taken lag by lag across the line, over all its points together, each with
    its own variance taken out, and used up to where it first falls into its noise.
    """
    from ..uncertainty.effective import effective_number_of

    m = rest.shape[0]
    live = (variance > 0.0) & np.isfinite(variance)
    if m < 2 or not live.any():
        return 1.0
    scaled = rest[:, live] / np.sqrt(variance[live])
    rho, pairs = _lags(scaled, there[:, live])
    if len(rho) < 2:
        return 1.0
    lags, column, found = spacing * np.arange(m), np.ones((m, 1), dtype=bool), float(m)
    for _ in range(ROUNDS):
        raised = rho + (1.0 - rho) / found  # what taking off the mean has lowered
        below = np.flatnonzero(raised <= 1.0 / np.sqrt(np.maximum(pairs, 1.0)))
        used = np.zeros(m)
        used[: below[0] if below.size else len(rho)] = raised[: below[0] if below.size else None]
        before = found
        number = effective_number_of(lambda h, u=used: np.interp(h, lags, u, right=0.0), column,
                                     (spacing, 1.0))  # fmt: skip
        found = min(max(number, 1.0), float(m))
        if abs(found - before) < 1e-3 * found:
            break
    return found / m


def _lags(scaled: Array, there: Array) -> tuple[Array, Array]:
    """ρ and pairs at each lag across, from 0 to a little beyond where ρ has fallen below zero."""
    m, full = len(scaled), bool(there.all())
    rho, pairs = [1.0], [float(np.count_nonzero(there))]
    total = float(np.vdot(scaled, scaled)) / max(pairs[0], 1.0)
    for lag in range(1, m):
        one, other = scaled[lag:], scaled[:-lag]
        count = float(one.size if full else np.count_nonzero(there[lag:] & there[:-lag]))
        if not count:
            break
        rho.append(float(np.vdot(one, other)) / count / total)
        pairs.append(count)
        if rho[-1] < -1.0 / math.sqrt(m) and lag >= 2:
            break
    return np.array(rho), np.array(pairs)
