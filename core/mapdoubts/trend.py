"""A straight trend through the lines of a scan, and its error where lines go together.

Slow noise looks like a trend: neighbouring lines are alike, and the line that is fitted takes away
most of what would show it. So the correlation of neighbours is not read off the residuals as it is:
what is left of it, and of the variance, after a line was fitted is worked out for noise of the form
ρ^|i - j| (AR(1)), and a ρ at the upper end of what the residuals admit is taken. Scatter of each
line on its own hides the slow noise from neighbours, not from means of many lines: the largest
error of those of groups of 1, 2, 4, ... lines counts.
"""

from __future__ import annotations

import math

import numpy as np

from .lines import Array

FEWEST = 8
"""Lines without which no trend is looked for."""
DOUBT = 2.0
"""Standard errors of the correlation by which it is taken larger than it is found. With trends told
from four of their ± on, about 2 % of maps with slow noise alone raise one (ρ of 0.9 to 1, 32 and
128 lines, with and without what lines scatter on their own; tests/test_mapdoubts_drift.py)."""
LEAST = 12
"""Groups of lines without which none are formed."""
CORRELATIONS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98,
                0.99, 0.999)  # fmt: skip
"""ρ that are tried; the last is a random walk."""


def trend(y: Array) -> tuple[float, float, Array]:
    """Change of a quantity from the first to the last line, its error, and each line's median."""
    enough = np.isfinite(y).sum(axis=1) >= 4
    middle = np.full(y.shape[0], np.nan)
    middle[enough] = np.nanmedian(y[enough], axis=1)
    at = np.flatnonzero(enough)
    if at.size < FEWEST:
        return math.nan, math.nan, middle
    x = at / max(y.shape[0] - 1, 1) - 0.5
    slope, offset = np.polyfit(x, middle[at], 1)
    off = middle[at] - slope * x - offset
    errors = []
    size = 1
    while size == 1 or off.size // size >= LEAST:
        n = off.size // size * size
        errors.append(_error(off[:n].reshape(-1, size).mean(axis=1),
                             x[:n].reshape(-1, size).mean(axis=1)))  # fmt: skip
        size *= 2
    return float(slope), max(errors), middle


def _error(off: Array, x: Array) -> float:
    """± of the slope of a line whose residuals are `off`."""
    off = off - np.polyval(np.polyfit(x, off, 1), x)
    power = float(off @ off)
    if not power > 0.0:
        return 0.0
    r = float(off[1:] @ off[:-1]) / power
    r += DOUBT * math.sqrt(max(1.0 - r * r, 0.0) / off.size)
    at = np.arange(off.size)
    seen, variance = np.array([_left(at, x, rho) for rho in CORRELATIONS]).T
    return math.sqrt(power * float(np.interp(r, seen, variance)))


def _left(at: Array, x: Array, rho: float) -> tuple[float, float]:
    """For noise of neighbours' correlation ρ: what that is in the residuals of a fitted line, and
    the variance of the line's slope over the residuals' sum of squares."""
    own = rho ** np.abs(np.subtract.outer(at, at))
    q, _ = np.linalg.qr(np.column_stack([np.ones(x.size), x]))
    part = own @ q
    both = q.T @ part
    total = float(x.size - np.trace(both))
    near = float(np.diagonal(own, 1).sum() - np.sum(q[:-1] * part[1:])
                 - np.sum(part[:-1] * q[1:]) + np.sum((q[:-1] @ both) * q[1:]))  # fmt: skip
    centred = x - x.mean()
    return near / total, float(centred @ own @ centred) / float(centred @ centred) ** 2 / total
