"""How much a pixel differs from all pixels around it, without knowing components.

A pixel that belongs to a thin domain has one or two of its kind within two pixels; one on a
boundary measures something between its neighbours. A pixel that has neither company nor lies
between its neighbours stands alone.
"""

from __future__ import annotations

import numpy as np

Array = np.ndarray
REACH = 2
"""Pixels on each side that count as around."""
COMPANY = 2
"""Like pixels around that make a pixel not alone."""
FEWEST = 8
"""Pixels with a value around, without which nothing is said."""
BINS = 12
"""Levels for each of which the usual difference of neighbours is worked out."""


def loneliness(maps: list[Array], errors: list[Array]) -> Array:
    """How far each pixel is from company, (rows, cols) in usual differences of neighbours.

    The second smallest difference (the larger one of the channels) to the pixels around, and no
    more than how far the pixel lies outside what its eight direct neighbours show, but for the
    lowest and highest of them. NaN where too little is known.

    Parameters
    ----------
    maps, errors : logarithms of channels and their own standard uncertainties; NaN where missing
    """
    scaled = [_scaled(y, error) for y, error in zip(maps, errors, strict=True)]
    shape = maps[0].shape
    nearest = np.full((COMPANY, *shape), np.inf, np.float32)
    known = np.zeros(shape, np.int16)
    outside = np.zeros(shape, np.float32)
    for rows, cols in _around(REACH):
        apart = np.zeros(shape, np.float32)
        for y, width in scaled:
            away = np.abs(_shifted(y, rows, cols) - y) / width
            apart = np.fmax(apart, away)  # a channel that one of the two lacks says nothing
        there = np.isfinite(_shifted(scaled[0][0], rows, cols))
        for y, _ in scaled[1:]:
            there |= np.isfinite(_shifted(y, rows, cols))
        known += there
        _keep(nearest, np.where(there, apart, np.inf))
    for y, width in scaled:
        outside = np.fmax(outside, _outside(y) / width)
    has = np.logical_or.reduce([np.isfinite(y) for y, _ in scaled])
    found = np.minimum(nearest[COMPANY - 1], outside).astype(float)
    return np.where(has & (known >= FEWEST), found, np.nan)


def _around(reach: int) -> list[tuple[int, int]]:
    steps = range(-reach, reach + 1)
    return [(r, c) for r in steps for c in steps if (r, c) != (0, 0)]


def _shifted(y: Array, rows: int, cols: int) -> Array:
    """What lies some rows and columns further; NaN beyond the edge."""
    out = np.full(y.shape, np.nan, y.dtype)
    high, wide = y.shape
    if abs(rows) < high and abs(cols) < wide:
        out[max(-rows, 0) : high - max(rows, 0), max(-cols, 0) : wide - max(cols, 0)] = y[
            max(rows, 0) : high - max(-rows, 0), max(cols, 0) : wide - max(-cols, 0)
        ]
    return out


def _keep(nearest: Array, apart: Array) -> None:
    """Keep the smallest values, sorted, in place."""
    for rank in range(nearest.shape[0]):
        lower = np.minimum(nearest[rank], apart)
        apart = np.maximum(nearest[rank], apart)
        nearest[rank] = lower


def _outside(y: Array) -> Array:
    """How far a pixel lies outside the second lowest to second highest direct neighbour."""
    low, high = (np.full((2, *y.shape), np.inf, y.dtype) for _ in range(2))
    for rows, cols in _around(1):
        other = _shifted(y, rows, cols)
        _keep(low, np.where(np.isfinite(other), other, np.inf))
        _keep(high, np.where(np.isfinite(other), -other, np.inf))
    with np.errstate(invalid="ignore"):
        out = np.maximum(np.maximum(low[1] - y, y + high[1]), 0.0)
    return np.where(np.isfinite(out), out, 0.0)


def _scaled(y: Array, error: Array) -> tuple[Array, Array]:
    """A channel and what its neighbours usually differ by: of pixels of about that level, and with
    the pixel's own error."""
    y = np.where(np.isfinite(y), y, np.nan).astype(np.float32)
    width = np.full(y.shape, np.nan, np.float32)
    has = np.isfinite(y)
    apart = np.full(y.shape, np.inf, np.float32)
    for rows, cols in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        apart = np.fmin(apart, np.abs(_shifted(y, rows, cols) - y))
    good = has & np.isfinite(apart)
    if np.count_nonzero(good) < BINS:
        return y, width
    edges = np.quantile(y[good], np.linspace(0.0, 1.0, BINS + 1)[1:-1])
    level = np.digitize(y, edges)
    # of four differences of normal values from one, the smallest has the median 0.297 σ
    usual = np.array([_median(apart[good & (level == k)]) for k in range(BINS)]) / 0.297
    usual = np.fmax(usual, _median(apart[good]) / 0.297)
    own = np.where(np.isfinite(error), error, 0.0)
    width[has] = np.hypot(usual[level[has]], own[has])
    return y, np.where(width > 0.0, width, np.nan).astype(np.float32)


def _median(values: Array) -> float:
    return float(np.median(values)) if values.size else np.nan
