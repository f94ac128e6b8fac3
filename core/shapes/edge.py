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


@dataclass(frozen=True)
class Edge:
    """An edge ½(a + b) + ½(b - a) erf((x - x₀)/(√2 σ)); NaN where it can't be told, and `reason`.

    Attributes
    ----------
    position, sigma : x₀ and σ in the unit of x, with their standard errors
    low, high : levels before and after the edge, in the unit of y (of y itself, also if `log`)
    log : whether ln y was fitted; then the levels meet half way in the logarithm
    resolved : False where σ is below half the distance of the points: `sigma` is then an upper
        bound
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
    found = _fitted(x, v, s)
    if found is None:
        return no_edge("the fit did not settle", log)
    return _edge(found, x, v, s, errors is not None, log)


def _fitted(x: Array, v: Array, s: Array) -> Any:
    """The best of some starts: scipy's answer with parameters x₀, ln σ, a, b."""
    from scipy.optimize import least_squares

    reach, step = float(np.ptp(x)), float(np.median(np.diff(x))) or float(np.ptp(x)) / len(x)
    fifth = max(len(v) // 5, 1)
    a, b = float(np.median(v[:fifth])), float(np.median(v[-fifth:]))
    half = x[int(np.argmin(np.abs(v - 0.5 * (a + b))))]
    least, most = math.log(0.05 * step), math.log(2.0 * reach)
    best = None
    for width in (0.7 * step, 0.08 * reach, 0.25 * reach):
        start = [half, min(max(math.log(width), least + 1e-6), most - 1e-6), a, b]
        answer = least_squares(
            lambda p: (_profile(x, p[0], math.exp(p[1]), p[2], p[3]) - v) / s, start,
            bounds=([x[0] - reach, least, -np.inf, -np.inf],
                    [x[-1] + reach, most, np.inf, np.inf]),
            x_scale=[reach, 1.0, max(abs(b - a), 1e-12), max(abs(b - a), 1e-12)],
        )  # fmt: skip
        if best is None or answer.cost < best.cost:
            best = answer
    return best if best is not None and best.success else None


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
    own = sigma * float(errors[1])
    resolved = sigma > 0.5 * step and own < sigma
    if not resolved:  # known as a bound only, so without an error
        sigma, own = max(sigma if own < sigma else 0.0, 0.5 * step), math.nan
    low, high, slope = (math.exp(a), math.exp(b), True) if log else (a, b, False)
    why = "" if resolved else "narrower than the points are apart: an upper bound"
    return Edge(position, sigma, low, high, float(errors[0]), own,
                float(errors[2]) * (low if slope else 1.0),
                float(errors[3]) * (high if slope else 1.0), log, resolved, why)  # fmt: skip


def true_width(sigma: float, contact_radius: float) -> tuple[float, str]:
    """What is left of a measured σ when the contact's own width is taken off: (upper bound, words).

    The contact averages over a disc of radius a. Weighed by Hertz's pressure it blurs an edge by a
    σ of a/√5 = 0.447 a, flat by a/2, and the stress reaches further. The least is
    taken off, so what is left is an upper bound; none is left where the contact explains all.
    """
    if not (math.isfinite(sigma) and math.isfinite(contact_radius)):
        return sigma, "the contact radius is not known, so the width holds the contact's own"
    left = sigma**2 - contact_radius**2 / 5.0
    if left <= 0.0:
        return 0.0, (f"the contact (radius {contact_radius:.3g}) explains the whole width: the "
                     "interface is sharper than it can show")  # fmt: skip
    return math.sqrt(left), (f"an upper bound: the contact (radius {contact_radius:.3g}) blurs by "
                             "0.45 of its radius at least")  # fmt: skip
