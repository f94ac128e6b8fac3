"""Propagation of uncertainty on the logarithm (JCGM 100), and the one-point coefficients.

A modulus is a product of powers, so its logarithm is nearly a sum: ln E is propagated and the
interval is exp(ln E ± 1.96 u). A symmetric interval E ± 1.96 u E is wrong as soon as u exceeds some
15 %.

References
----------
JCGM 100:2008, equations 10 (independent inputs), 13 and 16 (correlated ones) (numbers from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

Array = np.ndarray
Pair = tuple[int, int]
COVERAGE = 1.959963984540054
"""Φ⁻¹(0.975): half the width of a 95 % interval of a normal law."""


def correlation_matrix(count: int, correlations: Mapping[Pair, float]) -> Array:
    """The matrix (count, count) of coefficients given for some pairs (i, j).

    Raises ValueError if no quantities can be correlated so.
    """
    matrix = np.eye(count)
    for (i, j), r in correlations.items():
        if i == j or not abs(r) <= 1.0:
            raise ValueError(f"a correlation of {r:g} between inputs {i} and {j} is impossible")
        matrix[i, j] = matrix[j, i] = r
    if count and float(np.linalg.eigvalsh(matrix)[0]) < -1e-9:
        raise ValueError("these correlations are impossible together")
    return matrix


def propagate(
    sensitivities: Sequence[float], errors: Sequence[float],
    correlations: Mapping[Pair, float] | None = None,
) -> tuple[Array, float]:  # fmt: skip
    """Contributions and combined standard uncertainty of ln E.

    Parameters
    ----------
    sensitivities : (n,) ∂ ln E/∂x, or ∂ ln E/∂ ln x
    errors : (n,) standard uncertainty of x, or the relative one
    correlations : {(i, j): r}, pairs left out are independent

    Returns
    -------
    contributions : (n,) |∂ ln E/∂x| u(x); they add in squares where nothing is correlated
    total : u(ln E) = √(ΣΣ cᵢ cⱼ uᵢ uⱼ rᵢⱼ), relative; NaN if an input is

    Raises
    ------
    ValueError : a negative uncertainty, or correlations that are impossible together
    """
    signed = np.asarray(sensitivities, dtype=float) * np.asarray(errors, dtype=float)
    if (np.asarray(errors, dtype=float) < 0.0).any():
        raise ValueError("a standard uncertainty can't be negative")
    matrix = correlation_matrix(signed.size, correlations or {})
    variance = float(signed @ matrix @ signed)
    return np.abs(signed), math.sqrt(max(variance, 0.0)) if variance == variance else math.nan


def interval(value: float, total: float) -> tuple[float, float]:
    """95 % interval of a positive quantity from u(ln value): value · exp(∓1.96 u)."""
    return value * math.exp(-COVERAGE * total), value * math.exp(COVERAGE * total)


def half_angle_sensitivity(degrees: float) -> float:
    """∂ ln E/∂ ln α = -2α/sin 2α of a cone or pyramid: E ∝ 1/tan α."""
    angle = math.radians(degrees)
    return -2.0 * angle / math.sin(2.0 * angle)


def poisson_sensitivity(ratio: float) -> float:
    """∂ ln E/∂ ln ν = -2ν²/(1-ν²) of E = E*(1-ν²)."""
    return -2.0 * ratio**2 / (1.0 - ratio**2)


def point_sensitivities(
    exponent: float, deflection: float, indentation: float, poisson_ratio: float, *,
    thermal: bool = False, half_angle: float = math.nan, layer_gain: float = 0.0,
) -> dict[str, float]:  # fmt: skip
    """What each input does to a modulus read off one point of a curve.

    E = F (1-ν²)/(g δⁿ C), F = k s V, δ = z - z₀ - s V, g ∝ R^(2-n), with C the ratio of a layer of
    thickness h, a function of χ ∝ R^(2-n) δ^(n-1)/h (paraboloid, cone and punch).

    Parameters
    ----------
    exponent : n: 3/2 paraboloid, 2 cone, 1 punch
    deflection, indentation : d and δ at the point [nm]
    thermal : k was found from thermal noise, so that k ∝ s⁻²
    half_angle : of a cone [deg]
    layer_gain : G = d ln C/d ln χ; 0 without a layer

    Returns
    -------
    ∂ ln E/∂ ln x by name: spring_constant, deflection_sensitivity, signal, radius, half_angle
    (NaN if not given), poisson_ratio, thickness; and contact_point, ∂ ln E/∂z₀ [1/nm]
    """
    n, gain = exponent, layer_gain
    by_depth = n + (n - 1.0) * gain
    lever = by_depth * deflection / indentation
    angle = half_angle_sensitivity(half_angle) * (1.0 + gain) if n == 2.0 else math.nan
    return {
        "spring_constant": 1.0,
        "deflection_sensitivity": (-1.0 if thermal else 1.0) + lever,
        "signal": 1.0 + lever,
        "radius": -(2.0 - n) * (1.0 + gain),
        "half_angle": angle,
        "poisson_ratio": poisson_sensitivity(poisson_ratio),
        "thickness": gain,
        "contact_point": by_depth / indentation,
    }


def fitted_contact_sensitivity(exponent: float, deepest: float) -> float:
    """∂ ln E/∂z₀ [1/nm] of a least-squares fit over 0 to `deepest` [nm] with z₀ held: (2n+1)/2 over
    it; 2 for the sphere, 2.5 for the cone, against n at one point."""
    return 0.5 * (2.0 * exponent + 1.0) / deepest
