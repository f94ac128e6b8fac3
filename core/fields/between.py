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
    design : (n, k) of full rank, n > k

    Returns
    -------
    Between
    """
    from scipy.optimize import minimize_scalar

    x, variances = np.asarray(values, float), _variances(values, errors)
    scale = math.sqrt(float(np.var(x)) + float(variances.max()))
    grid = np.append(0.0, np.geomspace(1e-3, 10.0, GRID - 1)) * scale
    cost = _cost(grid, x, variances, design)
    best = int(np.argmin(cost))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, GRID - 1)]
    found = minimize_scalar(
        lambda tau: float(_cost(np.array([tau]), x, variances, design)[0]),
        bounds=(low, high), method="bounded", options={"xatol": 1e-7 * scale},
    )  # fmt: skip
    tau = float(found.x) if found.fun < cost[best] else float(grid[best])
    return at_tau(x, errors, design, tau)


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


def _cost(taus: Array, x: Array, variances: Array, design: Array) -> Array:
    """-2 ln of the restricted likelihood at each τ, but for a constant; (t,)."""
    weights = 1.0 / (variances[None, :] + np.square(taus)[:, None])
    normal = np.einsum("ti,ij,ik->tjk", weights, design, design)
    right = np.einsum("ti,ij,i->tj", weights, design, x)
    b = np.linalg.solve(normal, right[..., None])[..., 0]
    rest = x[None, :] - b @ design.T
    return np.asarray(
        -np.log(weights).sum(1) + np.linalg.slogdet(normal)[1] + (weights * rest**2).sum(1)
    )


def misfit(values: Array, errors: Array, design: Array, tau: float = 0.0) -> float:
    """Q: the weighted sum of squared residuals at a τ; χ² of n - k where τ is the true one."""
    made = at_tau(values, errors, design, tau)
    rest = np.asarray(values, float) - design @ made.coefficients
    return float(np.sum(made.weights * rest**2))


def tau_interval(values: Array, errors: Array, design: Array, level: float = 0.95
                 ) -> tuple[float, float]:  # fmt: skip
    """Interval of τ: all τ at which Q lies between the χ² quantiles; (0, 0) if even τ = 0 is
    less scattered than that."""
    from scipy.optimize import brentq
    from scipy.stats import chi2

    degrees = len(values) - design.shape[1]
    ends = []
    for part in (0.5 * (1.0 + level), 0.5 * (1.0 - level)):
        wanted = float(chi2.ppf(part, degrees))
        if misfit(values, errors, design) <= wanted:
            ends.append(0.0)
            continue
        high = max(float(np.std(values)), 1e-150)
        while misfit(values, errors, design, high) > wanted:
            high *= 2.0
        ends.append(
            float(brentq(lambda t, w=wanted: misfit(values, errors, design, t) - w, 0.0, high))
        )
    return ends[0], ends[1]
