"""The lines of a scan in the order in which they were taken, and steps from one line to the next.

A step is looked for in differences of the same column across a line: a component that goes on
across it changes nothing there, whatever its number is. The location of the differences over the
columns is that of their fullest heap (a redescending mean that starts at the mode), so that domains
which begin or end at the line do not pull it. How much it varies by chance is read off the map
itself: off the other lines, and off the same differences taken across columns, where a tip that
changes from line to line leaves no trace. Both know how the surface is correlated.

Reference: shortest half and biweight are from memory (Rousseeuw & Leroy, Robust Regression and
Outlier Detection, 1987; Mosteller & Tukey, Data Analysis and Regression, 1977).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..forcemap import ForceMap

Array = np.ndarray
WINDOWS = (1, 2, 4)
"""Lines on either side that are compared."""
FAR = 400
"""Bins of half a width on either side of no step."""
BIWEIGHT = 4.685
"""Where a redescending mean stops to count a value, in standard deviations."""


@dataclass(frozen=True)
class Scan:
    """How a map was scanned: `axis` 0 if its rows are the lines, 1 if its columns are; `backwards`
    if the last one was taken first."""

    axis: int
    backwards: bool

    @classmethod
    def of(cls, fmap: ForceMap) -> Scan:
        """From the order of the curves: the slow direction is the one that moves less."""
        pixel = fmap.pixel
        if len(pixel) < 2:
            return cls(0, False)
        moves = np.abs(np.diff(pixel, axis=0)).mean(axis=0)
        axis = int(moves[1] < moves[0])
        half = len(pixel) // 2
        backwards = pixel[:half, axis].mean() > pixel[-half:, axis].mean()
        return cls(axis, bool(backwards))

    def turned(self, values: Array) -> Array:
        """A map (rows, cols) as (lines, across), the line taken first at the top."""
        lines = values if self.axis == 0 else values.T
        return lines[::-1] if self.backwards else lines

    def number(self, line: int, lines: int) -> int:
        """Row or column of the map that a line is."""
        return lines - 1 - line if self.backwards else line

    @property
    def word(self) -> str:
        return ("row", "column")[self.axis]


def pair_width(values: Array) -> float:
    """Standard deviation of one difference between neighbouring lines, without what crosses an
    edge: the shortest half's length of each line, the median over the lines."""
    v = np.sort(np.where(np.isfinite(values), values, np.inf), axis=1)
    count = np.isfinite(v).sum(axis=1)
    half = count // 2 + 1
    place = np.arange(v.shape[1])
    upper = np.minimum(place + half[:, None] - 1, v.shape[1] - 1)
    with np.errstate(invalid="ignore"):
        length = np.take_along_axis(v, upper, axis=1) - v
    length[(place + half[:, None] > count[:, None]) | (count < 4)[:, None]] = np.inf
    shortest = length.min(axis=1, initial=np.inf)
    known = shortest[np.isfinite(shortest)]
    return float(np.median(known)) / 1.349 if known.size else math.nan


def location(values: Array, width: float) -> Array:
    """Where the fullest heap of each row (m, n) lies; NaN of fewer than 4 values.

    `width` is the standard deviation of one value within a heap. The heap is found on a histogram
    smoothed by that width, and its mean by a redescending weight.
    """
    known = np.isfinite(values)
    rows, filled = values.shape[0], np.where(known, values, 0.0)
    bins = np.clip(np.rint(filled / (0.5 * width)), -FAR, FAR).astype(np.int64) + FAR
    bins += np.arange(rows)[:, None] * (2 * FAR + 1)
    counts = np.bincount(bins[known], minlength=rows * (2 * FAR + 1)).reshape(rows, -1)
    smooth = np.zeros(counts.shape)
    for shift in range(-5, 6):
        smooth += math.exp(-0.125 * shift**2) * np.roll(counts, shift, axis=1)
    at = 0.5 * width * (np.argmax(smooth, axis=1) - FAR)
    for _ in range(5):
        u = (filled - at[:, None]) / (BIWEIGHT * width)
        weight = np.where(known & (np.abs(u) < 1.0), (1.0 - u**2) ** 2, 0.0)
        total = weight.sum(axis=1)
        at = (weight * filled).sum(axis=1) / np.where(total > 0.0, total, np.nan)
    return np.where(known.sum(axis=1) >= 4, at, np.nan)


def differences(y: Array, w: int, gap: int = 0) -> Array:
    """Lines behind a line less lines before it, (lines + 1, pairs); each of w with each of w, and
    eight pairs at most. Row l is the step between the lines l - 1 and l + gap, those between are
    left out; NaN beyond the map."""
    lines, across = y.shape
    pairs = [(i, (i + k) % w) for k in range(min(w, max(8 // w, 1))) for i in range(w)]
    wide = np.full((lines + 2 * w + gap, across), np.nan)
    wide[w : lines + w] = y
    at = np.arange(lines + 1) + w
    out = np.concatenate([wide[at + gap + j] - wide[at - 1 - i] for i, j in pairs], axis=1)
    out[:w], out[lines - w - gap + 1 :] = np.nan, np.nan
    return out


def spread(values: Array) -> float:
    """1.4826 times the median absolute deviation of finite values; NaN of fewer than 4."""
    v = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(v - np.median(v)))) if v.size >= 4 else math.nan


@dataclass(frozen=True, eq=False)
class Series:
    """The steps of one channel at each line for one window.

    Attributes
    ----------
    at : (lines + 1,) location of the step at each line, the map's median step taken off
    chance : standard deviation of `at` where nothing changes
    """

    at: Array
    chance: float


def series_of(y: Array, w: int, width: float, gap: int = 0) -> Series:
    """Steps from line to line, and how much of them is chance."""
    at = location(differences(y, w, gap), width)
    other = location(differences(y.T, w, gap), width)
    at = at - (np.median(at[np.isfinite(at)]) if np.isfinite(at).any() else 0.0)
    least = width * math.sqrt(1.1 / max(w * y.shape[1], 1))
    return Series(at, float(np.nanmax([spread(at), spread(other), least])))
