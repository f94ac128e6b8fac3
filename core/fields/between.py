"""The scatter between maps, beyond what their own errors explain, by restricted likelihood.

Values x of n maps with known variances s² follow x = X b + u + e with u of variance τ² and e of
variance s². τ² is where the restricted likelihood is largest, from 0 upwards; b is the weighted
least-squares answer with weights 1/(s² + τ²). Its covariance is scaled by what the residuals show
and taken with Student's t, which keeps its promise with few maps.

References
----------
Restricted likelihood: D. A. Harville, J. Am. Stat. Assoc. 72 (1977) 320. Scaled covariance:
J. Hartung, Biom. J. 41 (1999) 901; K. Sidik, J. N. Jonkman, Stat. Med. 21 (2002) 3153; for
regressions G. Knapp, J. Hartung, Stat. Med. 22 (2003) 2693. Interval of τ from the profile of Q:
W. Viechtbauer, Stat. Med. 26 (2007) 37 (all from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

Array = np.ndarray
GRID = 80
"""Places of τ that are looked at before the best is refined."""


@dataclass(frozen=True, eq=False)
class Between:
    """What the maps say together.

    Attributes
    ----------
    coefficients : (k,) b
    covariance : (k, k) of b, scaled by the residuals
    plain : (k, k) of b if s and τ were known exactly
    tau : standard deviation between maps
    weights : (n,) 1/(s² + τ²)
    degrees : n - k
    """

    coefficients: Array
    covariance: Array
    plain: Array
    tau: float
    weights: Array
    degrees: int


def between(values: Array, errors: Array, design: Array) -> Between:
    """Fit b and τ.

    Parameters
    ----------
    values, errors : (n,) finite; errors are standard and not negative
    design : (n, 1) or (n, 2) of full rank, n > k

    Returns
    -------
    Between
    """
    x, variances = np.asarray(values, float), _variances(values, errors)
    scale = math.sqrt(float(np.var(x)) + float(variances.max()))
    grid = np.append(0.0, np.geomspace(1e-3, 10.0, GRID - 1)) * scale
    for _ in range(5):
        best = int(np.argmin(_cost(grid, x, variances, design)))
        tau = float(grid[best])
        grid = np.linspace(grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)], 21)
    nothing, found = _cost(np.array([0.0, tau]), x, variances, design)
    return at_tau(x, errors, design, 0.0 if nothing - found < 1e-9 else tau)


def at_tau(values: Array, errors: Array, design: Array, tau: float) -> Between:
    """b where τ is given."""
    x = np.asarray(values, float)
    weights = 1.0 / (_variances(values, errors) + tau**2)
    plain = np.linalg.inv((design.T * weights) @ design)
    coefficients = plain @ (design.T * weights) @ x
    rest = x - design @ coefficients
    degrees = x.size - design.shape[1]
    ratio = float(np.sum(weights * rest**2)) / degrees
    return Between(coefficients, ratio * plain, plain, tau, weights, degrees)


def _variances(values: Array, errors: Array) -> Array:
    """s², kept off zero so that a weight exists."""
    x = np.asarray(values, float)
    tiny = 1e-9 * max(float(np.ptp(x)), 1e-6 * float(np.abs(x).max()), 1e-150)
    return np.maximum(np.asarray(errors, float), tiny) ** 2


def _residuals(weights: Array, x: Array, design: Array) -> tuple[Array, Array]:
    """Residuals (t, n) for each row of weights (t, n), and ln of the normal matrix's determinant.

    One and two columns, the only ones in use, are solved in closed form.
    """
    if design.shape[1] == 1:
        c = design[:, 0]
        normal = weights @ c**2
        return x - np.outer(weights @ (c * x) / normal, c), np.log(normal)
    a, c = design[:, 0], design[:, 1]
    aa, ac, cc = weights @ a**2, weights @ (a * c), weights @ c**2
    ax, cx = weights @ (a * x), weights @ (c * x)
    whole = aa * cc - ac**2
    first, second = (cc * ax - ac * cx) / whole, (aa * cx - ac * ax) / whole
    return x - np.outer(first, a) - np.outer(second, c), np.log(whole)


def _cost(taus: Array, x: Array, variances: Array, design: Array) -> Array:
    """-2 ln of the restricted likelihood at each τ, but for a constant; (t,)."""
    weights = 1.0 / (variances[None, :] + np.square(taus)[:, None])
    rest, log_normal = _residuals(weights, x, design)
    return np.asarray(-np.log(weights).sum(1) + log_normal + (weights * rest**2).sum(1))


def misfits(values: Array, errors: Array, design: Array, taus: Array) -> Array:
    """Q, the weighted sum of squared residuals, at each τ, (t,); χ² of n - k at the true one."""
    x = np.asarray(values, float)
    weights = 1.0 / (_variances(values, errors)[None, :] + np.square(taus)[:, None])
    rest = _residuals(weights, x, design)[0]
    return np.asarray((weights * rest**2).sum(1))


def misfit(values: Array, errors: Array, design: Array, tau: float = 0.0) -> float:
    """Q at one τ."""
    return float(misfits(values, errors, design, np.array([tau]))[0])


def taus_at(values: Array, errors: Array, design: Array, parts: Array) -> Array:
    """The τ that lie at these parts of τ's distribution of confidence, (m,); 0 where Q is less
    than the χ² quantile even without any τ. Right to 1e-6 of the scatter of the values."""
    from scipy.special import chdtri

    wanted = chdtri(len(values) - design.shape[1], parts)
    low, high = np.zeros(len(wanted)), np.full(len(wanted), max(float(np.std(values)), 1e-150))
    none = misfit(values, errors, design) <= wanted
    for _ in range(60):
        more = ~none & (misfits(values, errors, design, high) > wanted)
        if not more.any():
            break
        high[more] *= 2.0
    for _ in range(27):
        middle = 0.5 * (low + high)
        above = misfits(values, errors, design, middle) > wanted
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(none, 0.0, 0.5 * (low + high))


def tau_interval(values: Array, errors: Array, design: Array, level: float = 0.95
                 ) -> tuple[float, float]:  # fmt: skip
    """Interval of τ: all τ at which Q lies between the χ² quantiles; (0, 0) if even τ = 0 is
    less scattered than that."""
    ends = np.array([0.5 * (1.0 - level), 0.5 * (1.0 + level)])
    low, high = taus_at(values, errors, design, ends)
    return float(low), float(high)
