"""The hyperboloid of revolution: a rounded apex that runs smoothly into a cone.

    δ = a cot α arctan(1/ξ),   F = (E* a³/R) {ξ² + ξ (1-ξ²) arctan(1/ξ)},   ξ = R cot α / a

With u = a/(R cot α): F = E* (a R cot² α) [1 + (u - 1/u) arctan u]. Near u = 0 the bracket is summed
as Σ (-1)^(k+1) u^2k 4k/(4k²-1), k = 1, 2 ..., because it loses its digits there.

The tip's own profile is f(r) = R cot² α [√(1 + (r/(R cot α))²) - 1].

Symbols: δ indentation, F force, E* reduced modulus, R radius of the apex, α half-angle of the
asymptotic cone from the axis, a contact radius. Validity: linear elastic, small slopes, half-space,
rigid tip, no friction, no adhesion. Source: Sneddon, Int. J. Eng. Sci. 3 (1965) 47; Sun,
Akhremitchev & Walker, Langmuir 20 (2004) 5837 (both from memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Array, Law, fault_of, radius_at

SMALL = 0.3
"""Below this u the series is used: its 20th term is under 1e-21."""
TERMS = 20


def profile(a: Array, radius: float, half_angle: float) -> tuple[Array, Array]:
    """Indentation [nm] and F/E* [nm²] at contact radii [nm].

    Parameters
    ----------
    a : contact radii [nm], any shape, from 0
    radius : of the apex [nm]
    half_angle : α [deg], between 0 and 90
    """
    cot = 1.0 / math.tan(math.radians(half_angle))
    u = np.asarray(a, float) / (radius * cot)
    arc, u2, series = np.arctan(u), u * u, np.zeros_like(u)
    small = np.minimum(u2, SMALL**2)
    for k in range(TERMS, 0, -1):
        series = small * (4.0 * k / (4.0 * k * k - 1.0) - series)
    with np.errstate(divide="ignore", invalid="ignore"):
        bracket = np.where(u < SMALL, series, 1.0 + (u - 1.0 / u) * arc)
    return radius * cot * cot * u * arc, radius * radius * cot**3 * u * bracket


LAW: Law = Law(
    "hyperboloid", "hyperboloid", 1.5, ("radius", "half_angle"),
    lambda radius, angle: 4.0 / 3.0 * math.sqrt(radius),
    lambda delta, radius, angle: float(radius_at(LAW, np.array([float(delta)]), radius, angle)[0]),
    "δ = a cot α arctan(1/ξ), F = (E* a³/R) {ξ² + ξ (1-ξ²) arctan(1/ξ)}, ξ = R cot α / a",
    "a rounded apex that runs smoothly into a cone; small slopes of the sample",
    "Sneddon, Int. J. Eng. Sci. 3 (1965) 47; Sun, Akhremitchev & Walker, Langmuir 20 (2004) 5837 "
    "(both from memory)",
    profile=profile, fault=fault_of("radius", "half_angle"),
)  # fmt: skip
