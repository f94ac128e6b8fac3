"""The exact sphere on a half-space.

    δ = (a/2) ln[(R+a)/(R-a)],   F = E* {[(a²+R²)/2] ln[(R+a)/(R-a)] - a R}

With t = a/R: δ = a artanh t, F = E* R² [(1+t²) artanh t - t]. Near t = 0 the second is summed as
R² Σ t^(2k+1) 4k/(4k²-1), k = 1, 2 ..., because artanh t - t loses its digits there.

Symbols: δ indentation, F force, E* reduced modulus, R radius, a contact radius (below R).
Validity: linear elastic, half-space, rigid tip, no friction, no adhesion; the sphere's own shape is
kept, the slopes of the sample are still taken as small. Source: Sneddon, Int. J. Eng. Sci. 3 (1965)
47 (from memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Array, Law, fault_of, radius_at

SMALL = 0.3
"""Below this a/R the series is used: its 20th term is under 1e-21."""
TERMS = 20


def profile(a: Array, radius: float) -> tuple[Array, Array]:
    """Indentation [nm] and F/E* [nm²] at contact radii [nm]; infinite at the radius itself.

    Parameters
    ----------
    a : contact radii [nm], any shape, from 0 to R
    radius : R [nm]
    """
    t = np.asarray(a, float) / radius
    with np.errstate(divide="ignore", invalid="ignore"):
        arc = np.arctanh(t)
    t2, series = t * t, np.zeros_like(t)
    for k in range(TERMS, 0, -1):
        series = t2 * (4.0 * k / (4.0 * k * k - 1.0) + series)
    shape = np.where(t < SMALL, t * series, (1.0 + t2) * arc - t)
    return radius * t * arc, radius * radius * shape


LAW: Law = Law(
    "sphere", "sphere (exact)", 1.5, ("radius",),
    lambda radius: 4.0 / 3.0 * math.sqrt(radius),
    lambda delta, radius: float(radius_at(LAW, np.array([float(delta)]), radius)[0]),
    "δ = (a/2) ln[(R+a)/(R-a)], F = E* {[(a²+R²)/2] ln[(R+a)/(R-a)] - a R}",
    "a sphere at any depth with a below R, while the slopes of the sample are small",
    "Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (from memory)",
    profile=profile, widest=lambda radius: radius, fault=fault_of("radius"),
)  # fmt: skip
