"""A number of the maps against a condition: speed, time of annealing, composition.

A straight line through the maps' values, weighted by their own errors and by the scatter that is
left between maps about the line; the slope's interval is scaled by the residuals and taken with
Student's t (G. Knapp, J. Hartung, Stat. Med. 22 (2003) 2693, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .between import between, tau_interval

Array = np.ndarray
LEVEL = 0.05
CONDITIONS = 3
"""Fewer different conditions make no trend: a line through two of them always fits."""
SAME = 1e-9
POWER = 0.8
"""A slope is called visible that would be seen in this share of such series (common practice, no
source)."""


@dataclass(frozen=True)
class Trend:
    """A line against a condition.

    Attributes
    ----------
    count : maps with value, error and condition
    log : whether the condition is taken as ln
    slope, error, low, high : change of the value a unit of the condition (or of its ln), 95 %
    p : of a slope of zero
    at, level : mean condition (as taken), and the line's value there
    tau, tau_low, tau_high : standard deviation between maps about the line
    visible : slope that would have been seen in four of five such series
    reason : why there is no line
    """

    count: int
    log: bool
    slope: float = math.nan
    error: float = math.nan
    low: float = math.nan
    high: float = math.nan
    p: float = math.nan
    at: float = math.nan
    level: float = math.nan
    tau: float = math.nan
    tau_low: float = math.nan
    tau_high: float = math.nan
    visible: float = math.nan
    reason: str = ""

    @property
    def seen(self) -> bool:
        """Whether the slope differs from zero."""
        return self.p < LEVEL

    def words(self, what: str = "value", condition: str = "condition") -> str:
        """What the line says."""
        if self.reason:
            return f"No trend can be told: {self.reason}"
        per = f"a unit of ln {condition}" if self.log else f"a unit of the {condition}"
        figure = (f"{self.slope:.3g} {per}, 95 % from {self.low:.3g} to {self.high:.3g}, "
                  f"p = {self.p:.2g}")  # fmt: skip
        if self.seen:
            return f"{what} {'rises' if self.slope > 0 else 'falls'} by {figure}."
        return (f"No trend of {what} seen ({figure}); a slope of {self.visible:.3g} would have "
                "been, in four of five such series.")  # fmt: skip


def trend(
    values: Sequence[float] | Array, errors: Sequence[float] | Array,
    conditions: Sequence[float] | Array, log: bool = False,
) -> Trend:  # fmt: skip
    """Fit a line.

    Parameters
    ----------
    values, errors : (n,) of the maps and their local standard errors, on the scale of the answer
    conditions : (n,) one a map; above zero where `log`
    log : whether ln of the condition is taken

    Returns
    -------
    Trend : NaN with a reason with fewer than three maps or three different conditions
    """
    x, s, c = (np.asarray(one, float) for one in (values, errors, conditions))
    if log:
        if np.any(c[np.isfinite(c)] <= 0.0):
            return Trend(0, log, reason="a condition at or below zero has no logarithm.")
        c = np.log(c)
    used = np.isfinite(x) & np.isfinite(s) & (s >= 0.0) & np.isfinite(c)
    x, s, c = x[used], s[used], c[used]
    different = _different(c)
    if different < CONDITIONS:
        return Trend(int(x.size), log, reason=f"there are values at {different} different "
                     f"condition{'s' * (different != 1)}; {CONDITIONS} at least are "
                     "needed.")  # fmt: skip
    at = float(c.mean())
    design = np.stack([np.ones_like(c), c - at], axis=1)
    made = between(x, s, design)
    slope, error = float(made.coefficients[1]), math.sqrt(float(made.covariance[1, 1]))
    reach, p, visible = _judged(slope, error, made.degrees)
    low, high = tau_interval(x, s, design)
    return Trend(int(x.size), log, slope, error, slope - reach, slope + reach, p, at,
                 float(made.coefficients[0]), made.tau, low, high, visible)  # fmt: skip


def _different(conditions: Array) -> int:
    """How many different conditions."""
    if not conditions.size:
        return 0
    tolerance = SAME * max(float(np.abs(conditions).max()), 1e-300)
    return 1 + int(np.count_nonzero(np.diff(np.sort(conditions)) > tolerance))


def _judged(slope: float, error: float, degrees: int) -> tuple[float, float, float]:
    """Half width of the interval, p of no slope, and the slope that would have been seen."""
    from scipy.special import stdtr, stdtrit

    t = float(stdtrit(degrees, 0.975))
    p = 2.0 * float(stdtr(degrees, -abs(slope) / max(error, 1e-300)))
    return t * error, p, (t + float(stdtrit(degrees, POWER))) * error
