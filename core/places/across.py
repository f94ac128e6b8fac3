"""Across a profile: reading the maps, the mean, and how well it is known.

The places read across a line are closer than pixels and pixels are like their neighbours, so their
spread over the root of their number would be far too small an error. How alike two places are is
found from all points of the line together, as the correlation of what is left when each point's
mean is taken off; the number of independent ones follows from that.

What is wider than the line is the same at all places across it: it belongs to the profile and not
to its error. So the error tells how well the mean of this strip is known, and not how far the next
strip may differ where a map varies slowly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

Array = np.ndarray
ROUNDS = 30
ENOUGH = 250
"""Points of the line that the correlation across it is taken from; neighbours tell the same."""


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

    def interval(self) -> tuple[Array, Array]:
        """Ends of the 95 % interval of the mean, (n,) each; by Student's law where the error comes
        from the spread of a few independent pixels, else by the normal one."""
        from scipy.special import stdtrit

        freedom = np.where(self.from_spread, np.maximum(self.effective - 1.0, 0.2), 1e9)
        reach = stdtrit(freedom, 0.975) * self.errors
        return self.values - reach, self.values + reach


def steps_of(y: Array, x: Array) -> tuple[float, float]:
    """Distance between rows and between columns; of a single one that of the other, or 1."""
    found = [abs(float(a[-1] - a[0])) / (a.size - 1) if a.size > 1 else math.nan for a in (y, x)]
    known = [step for step in found if step > 0.0]
    rows, cols = (step if step > 0.0 else (known or [1.0])[0] for step in found)
    return rows, cols


def fractional(axis: Array, at: Array, step: float) -> Array:
    """Index of a coordinate on an axis of centres `step` apart (on average); NaN beyond the outer
    pixels' edges."""
    falls = axis[0] > axis[-1]
    rising = axis[::-1] if falls else axis
    even = axis.size < 2 or np.abs(np.diff(rising) - step).max() < 1e-6 * step
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
        down, right = steps_of(y, x)
        row, col = fractional(y, py, down), fractional(x, px, right)
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
            for index in [index for index, _ in self.corners] or [self.pixel]:
                self.use &= good[index]
        self.everywhere = bool(self.use.all())

    def _corners(self, row: Array, col: Array, rows: int) -> list[tuple[Array, Array]]:
        """Flat index and weight of the four pixels around each place; one without weight is not
        looked at. Between the outer centres and the edge of the map the outer pixel counts as it
        is."""
        row, col = np.clip(row, 0.0, rows - 1.0), np.clip(col, 0.0, self.cols - 1.0)
        r0 = np.minimum(row.astype(np.intp), max(rows - 2, 0))
        c0 = np.minimum(col.astype(np.intp), max(self.cols - 2, 0))
        r1, c1 = np.minimum(r0 + 1, rows - 1), np.minimum(c0 + 1, self.cols - 1)
        down, right = row - r0, col - c0
        four = ((r0, c0, (1.0 - down) * (1.0 - right)), (r0, c1, (1.0 - down) * right),
                (r1, c0, down * (1.0 - right)), (r1, c1, down * right))  # fmt: skip
        return [(np.where(weight == 0.0, self.pixel, r * self.cols + c), weight)
                for r, c, weight in four]  # fmt: skip

    def read(self, values: Array) -> Array:
        """A map at each place, (m, n); NaN where it is missing there."""
        flat = np.asarray(values, dtype=float).ravel()
        if self.corners:
            found = np.zeros(self.pixel.shape)
            for index, weight in self.corners:
                found += flat[index] * weight
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

    The correlation is taken lag by lag across the line, over its points together, each with its
    own variance taken out, and used up to where it first falls into its noise.
    """
    from ..uncertainty.effective import effective_number_of

    m = rest.shape[0]
    live = np.flatnonzero(variance > 0.0)
    if m < 2 or not live.size:
        return 1.0
    live = live[:: max(1, live.size // ENOUGH)]
    lags = _Lags(rest[:, live] / np.sqrt(variance[live]), there[:, live])
    found = float(m)
    for _ in range(ROUNDS):
        # n = m²/ΣΣρ with each ρ raised by (1 - ρ)/n has its solution in closed form
        raised = lags.down_to_noise(found)
        rho, twice = lags.known(raised.size), 2.0 * (m - np.arange(1.0, raised.size + 1.0))
        plain, lifted = m + float(twice @ rho), float(twice @ (1.0 - rho))
        before, found = found, min(max((m * m - lifted) / max(plain, 1.0), 1.0), float(m))
        if abs(found - before) < 0.005 * found:
            break
    final = np.concatenate([[1.0], rho + (1.0 - rho) / found, [0.0]])
    at = spacing * np.arange(final.size)
    number = effective_number_of(lambda h: np.interp(h, at, final), np.ones((m, 1), dtype=bool),
                                 (spacing, spacing))  # fmt: skip
    return min(max(number / m, 1.0 / m), 1.0)


class _Lags:
    """Correlation across the line, worked out only as far as it is asked for.

    Parameters
    ----------
    scaled : (m, n) what is left when each point's mean is taken off, each point's variance 1
    there : (m, n) bool
    """

    def __init__(self, scaled: Array, there: Array) -> None:
        self._scaled, self._there, self._full = scaled, there, bool(there.all())
        self._known: list[tuple[float, float]] = []

    def _lag(self, lag: int) -> tuple[float, float]:
        """ρ and the pairs behind it."""
        for next_lag in range(len(self._known), lag + 1):
            end = len(self._scaled) - next_lag
            one, other = self._scaled[next_lag:], self._scaled[:end]
            both = one.size if self._full else np.count_nonzero(
                self._there[next_lag:] & self._there[:end])  # fmt: skip
            total = float(np.einsum("ij,ij->", one, other))
            self._known.append((total / both if both else 0.0, float(both)))
        return self._known[lag]

    def known(self, count: int) -> Array:
        """ρ of the first lags."""
        return np.array([self._lag(lag)[0] for lag in range(1, count + 1)])

    def down_to_noise(self, effective: float) -> Array:
        """ρ from lag 1 on, raised by what taking off the mean has lowered it, as far as it stands
        out of its noise."""
        found: list[float] = []
        for lag in range(1, len(self._scaled)):
            rho, pairs = self._lag(lag)
            raised = rho + (1.0 - rho) / effective
            if not pairs or raised <= 1.0 / math.sqrt(pairs):
                break
            found.append(raised)
        return np.array(found)
