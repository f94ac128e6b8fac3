"""The exact sphere: a paraboloid's law with the sphere's own profile.

With t = a/R and L = ln[(1+t)/(1-t)]:  δ = (a/2) L,  F = E* {[(a²+R²)/2] L - a R}.

For small t both are differences of large numbers, so they are summed as series:
δ = (a²/R) Σ t^(2j)/(2j+1),  F = E* R² t³ Σ t^(2j) [1/(2j+1) + 1/(2j+3)].

Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (from memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Law, radius_at

Array = np.ndarray


def profile(a: Array, radius: float) -> tuple[Array, Array]:
    """δ [nm] and F/E* [nm²] at contact radii a (n,) [nm] below `radius` [nm]."""
    a = np.asarray(a, dtype=float)
    t = a / radius
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log1p(t) - np.log1p(-t)
        depth = 0.5 * a * log
        area = 0.5 * (a * a + radius * radius) * log - a * radius
    small = t < 0.2
    x = np.where(small, t * t, 0.0)
    one, two = np.zeros_like(x), np.zeros_like(x)
    for j in range(14, -1, -1):
        one = one * x + 1.0 / (2 * j + 1)
        two = two * x + 0.5 * (1.0 / (2 * j + 1) + 1.0 / (2 * j + 3)) * 2.0
    return (np.where(small, a * t * one, depth),
            np.where(small, radius * radius * t**3 * two, area))  # fmt: skip


def _contact_radius(depth: float, radius: float) -> float:
    return float(radius_at(LAW, np.array([depth]), radius)[0])


LAW = Law(
    "sphere", "sphere (exact)", 1.5, ("radius",),
    lambda radius: 4.0 / 3.0 * math.sqrt(radius),
    _contact_radius,
    "δ = (a/2) ln[(R+a)/(R-a)], F = E* {[(a²+R²)/2] ln[(R+a)/(R-a)] - aR}",
    "a sphere at any depth while the contact is narrower than it (a < R); small slopes are assumed "
    "all the same, so it is an estimate above a = R/2",
    "Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (from memory)",
    profile=profile,
    widest=lambda radius: radius,
    fault=lambda radius: "" if radius > 0.0 else "the tip radius must be above zero.",
)  # fmt: skip
