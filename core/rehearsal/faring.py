"""How measured numbers fare against a truth: bias, scatter, and what the stated ± holds.

References
----------
Exact interval of a share: Clopper & Pearson, Biometrika 26 (1934) 404, by quantiles of the beta
distribution. Standard error of a median √(π/2) σ/√n and of a standard deviation σ/√(2(n-1)): any
handbook of statistics, for normal numbers. Standard error of the robust deviation: 1.167 σ/√n, the
efficiency of 37 % of the median absolute deviation (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..steps.tools import MAD_TO_SIGMA, MEDIAN_COST

Array = np.ndarray
ONE_SIGMA, TWO_SIGMA = 0.6826894921370859, 0.95
"""Shares that a normal number has within 1 and 1.959964 standard uncertainties."""
WIDE = 1.959963984540054
ROBUST_COST = 1.167


@dataclass(frozen=True)
class Ratio:
    """A counted share with its exact interval of 95 %; NaN if nothing was counted."""

    hits: int
    of: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.hits / self.of if self.of else math.nan

    def holds(self, share: float) -> bool:
        """Whether a share is in the interval."""
        return self.low <= share <= self.high


def ratio(hits: int, of: int, level: float = TWO_SIGMA) -> Ratio:
    """A share and its Clopper-Pearson interval, of 95 % unless another level is given."""
    from scipy.special import betaincinv

    if of == 0:
        return Ratio(0, 0, math.nan, math.nan)
    tail = 0.5 * (1.0 - level)
    low = float(betaincinv(hits, of - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, of - hits, 1.0 - tail)) if hits < of else 1.0
    return Ratio(hits, of, low, high)


@dataclass(frozen=True)
class Fared:
    """One quantity at one modulus: measured less true. A modulus is compared by its logarithm.

    Attributes
    ----------
    quantity, unit : channel name; the unit is "" where the numbers are relative
    curves : with a value, and without a severe doubt
    bias, bias_error : median of the differences, and its standard error from these few curves
    scatter, scatter_error : robust standard deviation (1.4826 times the median absolute one)
    deviation : plain standard deviation
    stated : median of the curves' own standard uncertainty; NaN if the channel keeps none
    held : share of the truths within one stated standard uncertainty, 68.3 % by right
    held_wide : within 1.96 of them, 95 % by right
    """

    quantity: str
    unit: str
    curves: int
    bias: float
    bias_error: float
    scatter: float
    scatter_error: float
    deviation: float
    stated: float
    held: Ratio
    held_wide: Ratio

    @property
    def relative(self) -> bool:
        """Whether the numbers are of a logarithm."""
        return not self.unit

    @property
    def shown(self) -> tuple[float, float]:
        """Bias and its standard error as people read them: in the unit, or in per cent of the truth
        where the comparison is one of logarithms."""
        if not self.relative:
            return self.bias, self.bias_error
        return 100.0 * math.expm1(self.bias), 100.0 * math.exp(self.bias) * self.bias_error


def fared(quantity: str, unit: str, off: Array, stated: Array) -> Fared:
    """Statistics of differences (n,) and of the uncertainties stated for them; NaN is left out."""
    known = np.isfinite(off)
    off, stated = off[known], stated[known]
    n = off.size
    if n < 2:
        none, gone = math.nan, ratio(0, 0)
        return Fared(quantity, unit, n, none, none, none, none, none, none, gone, gone)
    bias = float(np.median(off))
    scatter = float(MAD_TO_SIGMA * np.median(np.abs(off - bias)))
    told = np.isfinite(stated)
    away = np.abs(off[told])
    held = ratio(int(np.count_nonzero(away <= stated[told])), away.size)
    wide = ratio(int(np.count_nonzero(away <= WIDE * stated[told])), away.size)
    own = float(np.median(stated[told])) if told.any() else math.nan
    return Fared(quantity, unit, n, bias, MEDIAN_COST * scatter / math.sqrt(n), scatter,
                 ROBUST_COST * scatter / math.sqrt(n), float(np.std(off, ddof=1)), own, held, wide)


@dataclass(frozen=True)
class Contrast:
    """Whether two samples of one modulus that pull differently are told apart.

    Attributes
    ----------
    planted : difference of their pull-offs [nN]
    found, error : difference of the medians of the measured adhesion [nN], standard error
    single : how often, of one pixel of each, the stickier one reads higher; 0.5 is chance
    pixels : of each that are needed for a difference of three standard errors
    """

    planted: float
    found: float
    error: float
    single: float
    pixels: float

    @property
    def told(self) -> bool:
        """Whether these curves tell the two apart, at three standard errors."""
        return self.found > 3.0 * self.error


def contrast(values: Array, stronger: Array, planted: float) -> Contrast:
    """Measured adhesion (n,) of two samples, `stronger` saying which is the stickier one's."""
    known = np.isfinite(values)
    a, b = values[known & ~stronger], values[known & stronger]
    if min(a.size, b.size) < 2:
        return Contrast(planted, *([math.nan] * 4))
    spread = [MAD_TO_SIGMA * float(np.median(np.abs(v - np.median(v)))) for v in (a, b)]
    error = MEDIAN_COST * math.hypot(spread[0] / math.sqrt(a.size), spread[1] / math.sqrt(b.size))
    higher = np.mean(np.sign(b[:, None] - a[None, :]) + 1.0) / 2.0
    needed = (3.0 * MEDIAN_COST / planted) ** 2 * (spread[0] ** 2 + spread[1] ** 2)
    return Contrast(planted, float(np.median(b) - np.median(a)), error, float(higher),
                    max(math.ceil(needed), 1))  # fmt: skip
