"""Medians over curves, and the ± of the difference between two windows.

Windows overlap, so their moduli share most of their noise, and a difference is known better than
the two moduli apart.

Many curves: the differences are paired. Each curve gives one; their median is taken, and its ± from
their own scatter (1.4826 MAD, times 1.2533/√n: the median of a normal sample). That holds whatever
the windows share. Neighbouring pixels count as independent here: a sample lies scattered.

One curve: of two least-squares fits to windows A and B, the information that they share is that of
the samples in both, so cov(A, B) = C_A C_AB⁻¹ C_B with C_AB the covariance of a fit to the samples
in both. Where B lies inside A that is C_A, and var(A - B) = var(B) - var(A): Hausman, Econometrica
46 (1978) 1251 (from memory). Windows without samples in common are independent.
"""

from __future__ import annotations

import math

import numpy as np

from .grid import Grid
from .runs import Windows

Array = np.ndarray
SIGMA, MEDIAN = 1.482602, 1.253314
"""MAD of a normal sample to its standard deviation; ± of its median over that of its mean."""
ENOUGH = 0.8
"""Share of the curves that must have an answer: a median over fewer is one of other curves."""
SURELY = 1e-4
"""Relative ± of a difference below which nothing is told apart."""


def median_of(values: Array) -> tuple[Array, Array, Array]:
    """Median, its ± and the robust standard deviation along the last axis; NaN left out.

    Where fewer than `ENOUGH` of the values are there, all three are NaN. One value alone is its
    own median and has no ±.
    """
    n = values.shape[-1]
    count = np.isfinite(values).sum(axis=-1)
    middle = _middle(values, count)
    spread = SIGMA * _middle(np.abs(values - middle[..., None]), count)
    few = count < max(1, ENOUGH * n)
    middle, spread = np.where(few, np.nan, middle), np.where(few | (count < 3), np.nan, spread)
    return middle, MEDIAN * spread / np.sqrt(np.maximum(count, 1)), spread


def _middle(values: Array, count: Array) -> Array:
    """Median along the last axis without NaN; NaN sorts to the end."""
    ordered = np.sort(values, axis=-1)
    lower, upper = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, values.shape[-1] - 1)
    low = np.take_along_axis(ordered, lower[..., None], -1)[..., 0]
    high = np.take_along_axis(ordered, upper[..., None], -1)[..., 0]
    return np.where(count > 0, 0.5 * (low + high), np.nan)


def paired(value: Array, at: int) -> tuple[Array, Array]:
    """ln E of all windows minus that of window `at`, (w,), and its ±: for (w, n) curves."""
    middle, error, _ = median_of(value - value[at])
    return middle, np.maximum(error, SURELY)


def alone(windows: Windows, grid: Grid, cells: list[tuple[int, int]], at: int, held: bool
          ) -> tuple[Array, Array]:  # fmt: skip
    """As `paired`, for one curve."""
    i, j = np.array(cells).T
    place = np.full((grid.lows.size, grid.highs.size), -1)
    place[i, j] = np.arange(len(cells))
    both = place[np.maximum(i, i[at]), np.minimum(j, j[at])]
    covariance = windows.covariance[:, 0]
    if held:
        covariance = covariance[:, :1, :1]
    white = covariance[:, 0, 0]
    shared = np.where((both >= 0)[:, None, None], covariance[both], np.nan)
    with np.errstate(all="ignore"):
        common = (covariance[at] @ _inverse(shared) @ covariance)[:, 0, 0]
        # rounding and what the baseline adds must not make a narrower window the better one
        common = np.clip(common, 0.0, np.minimum(white, white[at]))
        rho = np.nan_to_num(common / np.sqrt(white * white[at]))
    own = windows.error[:, 0]  # with slow noise, of which the windows share as much as of the other
    var = own**2 + own[at] ** 2 - 2.0 * rho * own * own[at]
    change = windows.value[:, 0] - windows.value[at, 0]
    return change, np.maximum(np.sqrt(np.maximum(var, 0.0)), SURELY)


def _inverse(matrix: Array) -> Array:
    if matrix.shape[-1] == 1:
        return 1.0 / matrix
    (a, b), (c, d) = np.moveaxis(matrix, 0, -1)
    return np.moveaxis(np.array([[d, -b], [-c, a]]) / (a * d - b * c), -1, 0)


def percent(change: float) -> float:
    """A difference of logarithms in per cent."""
    return 100.0 * math.expm1(change)
