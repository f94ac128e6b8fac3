"""The profile of an edge: an error function, its width in the usual measures, and what limits it.

References
----------
D(12-88) of an edge: ISO 18516 (scope). Widths of the error function, from its inverse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = np.ndarray

WIDTH_10_90 = 2.563103131089
"""2·Φ⁻¹(0.9): distance from 10 to 90 % of an error-function edge in units of its σ."""
WIDTH_12_88 = 2.349973596
WIDTH_25_75 = 1.348979500
FEWEST = 5
SLIGHT = 3.0
"""A step below this many standard errors is none."""
NARROW = "narrower than the points are apart: an upper bound"
UNSURE = "less sure than it is wide: an upper bound at 95 %"
ONE_SIDED = 1.644854
"""Φ⁻¹(0.95)."""
PLACES, WIDTHS, BOUNDS = 60, 14, 60
"""How fine the grid is that the fit begins from."""


@dataclass(frozen=True)
class Edge:
    """An edge ½(a + b) + ½(b - a) erf((x - x₀)/(√2 σ)); NaN where it can't be told, and `reason`.

    Attributes
    ----------
    position, sigma : x₀ and σ in the unit of x, with their standard errors
    low, high : levels before and after the edge, in the unit of y (of y itself, also if `log`)
    log : whether ln y was fitted; then the levels meet half way in the logarithm
    resolved : False where σ is below half the distance of the points or no larger than its own
        error: `sigma` is then an upper bound (95 %, at least half that distance), without an error
    """

    position: float
    sigma: float
    low: float
    high: float
    position_error: float
    sigma_error: float
    low_error: float
    high_error: float
    log: bool
    resolved: bool
    reason: str = ""

    @property
    def width_10_90(self) -> float:
        return WIDTH_10_90 * self.sigma

    @property
    def width_12_88(self) -> float:
        return WIDTH_12_88 * self.sigma

    def at(self, x: Array) -> Array:
        """The fitted profile at places x."""
        levels = np.array([self.low, self.high])
        a, b = np.log(levels) if self.log else levels
        y = _profile(np.asarray(x, float), self.position, self.sigma, a, b)
        return np.exp(y) if self.log else y


def _profile(x: Array, position: float, sigma: float, a: float, b: float) -> Array:
    from scipy.special import ndtr

    return a + (b - a) * ndtr((x - position) / sigma)


def no_edge(reason: str, log: bool) -> Edge:
    """An edge that could not be told."""
    nan = math.nan
    return Edge(nan, nan, nan, nan, nan, nan, nan, nan, log, False, reason)


def fit_edge(x: Array, y: Array, errors: Array | None = None, *, log: bool = False) -> Edge:
    """Fit an edge to a profile.

    Parameters
    ----------
    x, y : (N,) places and values; pairs that are not finite are left out
    errors : (N,) standard uncertainties of y; equal ones, judged by the residuals, if None
    log : fit ln y, as fits a modulus; values that are not positive are then left out

    Returns
    -------
    Edge : with `reason` and NaN for fewer than five points, a fit that fails or no step
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    good = np.isfinite(x) & np.isfinite(y) & ((y > 0.0) if log else True)
    if errors is not None:
        good &= np.isfinite(errors) & (np.asarray(errors) > 0.0)
    if np.count_nonzero(good) < FEWEST:
        return no_edge(f"fewer than {FEWEST} points", log)
    order = np.argsort(x[good], kind="stable")
    x, v = x[good][order], (np.log(y[good]) if log else y[good])[order]
    s = np.ones_like(v)
    if errors is not None:
        s = np.asarray(errors, float)[good][order]
        s = s / y[good][order] if log else s
    found = fitted(x, v, s)
    if found is None:
        return no_edge("the fit did not settle", log)
    return _edge(found, x, v, s, errors is not None, log)


def fitted(x: Array, v: Array, s: Array, start: tuple[float, ...] | None = None) -> Any:
    """Scipy's answer with parameters x₀, ln σ, a, b, begun at the best of a grid unless `start` is
    given; None if it did not settle. x in rising order, v on the scale that is fitted, s its ±."""
    from scipy.optimize import least_squares

    reach, step = float(np.ptp(x)), float(np.median(np.diff(x))) or float(np.ptp(x)) / len(x)
    if not reach > 0.0:
        return None
    least, most = math.log(0.05 * step), math.log(2.0 * reach)
    position, wide, a, b = start or _start(x, v, s, least, most)
    position = min(max(position, x[0]), x[-1])
    wide = min(max(wide, least + 1e-6), most - 1e-6)
    size = max(abs(b - a), 1e-12)

    def off(p: Array) -> Array:
        return (_profile(x, p[0], math.exp(p[1]), p[2], p[3]) - v) / s

    def slopes(p: Array) -> Array:
        from scipy.special import ndtr

        t = (x - p[0]) / math.exp(p[1])
        fall = (p[2] - p[3]) * np.exp(-0.5 * t**2) / math.sqrt(2.0 * math.pi)
        share = ndtr(t)
        columns = (fall / math.exp(p[1]), fall * t, 1.0 - share, share)
        return np.column_stack(columns) / s[:, None]

    answer = least_squares(
        off, [position, wide, a, b], slopes, max_nfev=200, x_scale=[reach, 1.0, size, size],
        bounds=([x[0] - reach, least, -np.inf, -np.inf], [x[-1] + reach, most, np.inf, np.inf]),
    )  # fmt: skip
    return answer if answer.success else None


def _start(x: Array, v: Array, s: Array, least: float, most: float) -> tuple[float, ...]:
    """The best of a grid of places and widths; the levels, which enter linearly, are solved for."""
    places = np.linspace(x[0], x[-1], min(len(x), PLACES) + 2)[1:-1]
    widths = np.linspace(max(least, most - 6.0) + 0.5, most - 0.7, WIDTHS)
    middle, w, best = float(v.mean()), 1.0 / s**2, -math.inf
    found = (float(x[len(x) // 2]), float(widths[0]), middle, middle)
    for wide in widths:
        gain, low, high = _gains(x, v - middle, w, places, math.exp(wide))
        k = int(np.argmax(gain))
        if gain[k] > best:
            best = float(gain[k])
            found = float(places[k]), float(wide), float(low[k]) + middle, float(high[k]) + middle
    return found


def _gains(x: Array, v: Array, w: Array, places: Array, sigma: float) -> tuple[Array, ...]:
    """By how much the best levels lower Σ w v² for edges of one σ at some places, and the levels;
    -∞ where the levels can't be told apart."""
    from scipy.special import ndtr

    b = ndtr((x[None, :] - places[:, None]) / sigma)
    a = 1.0 - b
    aa, ab, bb = (a * a) @ w, (a * b) @ w, (b * b) @ w
    av, bv = a @ (w * v), b @ (w * v)
    under = aa * bb - ab**2
    with np.errstate(all="ignore"):
        low, high = (bb * av - ab * bv) / under, (aa * bv - ab * av) / under
        gain = np.where(under > 1e-9 * aa * bb, low * av + high * bv, -math.inf)
    return gain, low, high


def _bound(x: Array, v: Array, s: Array, position: float, least: float, scale: float) -> float:
    """The largest σ above `least` that the profile allows: where χ², over all else, has risen by
    what a one-sided 95 % of one quantity allows."""
    w, v = 1.0 / s**2, v - float(v.mean())
    reach = float(np.ptp(x))
    widths = np.geomspace(0.2 * least, max(reach, 2.0 * least), BOUNDS)
    best = np.array([
        _gains(x, v, w, position + np.linspace(-1.0, 1.0, 41) * (2.0 * least + wide), wide)[0].max()
        for wide in widths
    ])  # fmt: skip
    allowed = widths[best >= best.max() - ONE_SIDED**2 * scale]
    return max(least, float(allowed.max()))


def _edge(found: Any, x: Array, v: Array, s: Array, known: bool, log: bool) -> Edge:
    position, wide, a, b = found.x
    sigma, step = math.exp(wide), float(np.median(np.diff(x)))
    inverse = np.linalg.pinv(found.jac.T @ found.jac)
    scale = 1.0 if known else 2.0 * found.cost / max(len(x) - 4, 1)
    errors = np.sqrt(np.maximum(np.diag(inverse) * scale, 0.0))
    if abs(b - a) < SLIGHT * math.hypot(errors[2], errors[3]):
        return no_edge("no step stands out of the noise", log)
    if not x[0] <= position <= x[-1]:
        return no_edge("the edge lies beyond the profile", log)
    own, why = sigma * float(errors[1]), ""
    if sigma <= 0.5 * step or own >= sigma:
        why = NARROW if sigma <= 0.5 * step else UNSURE
        sigma, own = _bound(x, v, s, position, 0.5 * step, scale), math.nan
        if why == NARROW:  # it lies somewhere between two points: evenly likely
            errors[0] = max(errors[0], step / math.sqrt(12.0))
    low, high, slope = (math.exp(a), math.exp(b), True) if log else (a, b, False)
    return Edge(position, sigma, low, high, float(errors[0]), own,
                float(errors[2]) * (low if slope else 1.0),
                float(errors[3]) * (high if slope else 1.0), log, not why, why)  # fmt: skip
