"""A hyperboloid: rounded with radius R at its apex, a cone of half-angle α far from it.

With ξ = R cot α/a:
    δ = a cot α arctan(1/ξ),  F = E* (a³/R) {ξ² + ξ (1-ξ²) arctan(1/ξ)}

(the form with π/2 + arctan(1/(2ξ) - ξ/2) is the same, since that is 2 arctan(1/ξ)). For large ξ
the bracket is a difference of large numbers and is summed as a series in y = 1/ξ²:
ξ arctan(1/ξ) = Σ (-y)^j/(2j+1).

Sneddon, Int. J. Eng. Sci. 3 (1965) 47; Sun, Akhremitchev & Walker, Langmuir 20 (2004) 5837 (both
from memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Law, radius_at

Array = np.ndarray


def profile(a: Array, radius: float, half_angle: float) -> tuple[Array, Array]:
    """δ [nm] and F/E* [nm²] at contact radii a (n,) [nm]; `half_angle` in degrees."""
    a = np.asarray(a, dtype=float)
    cot = 1.0 / math.tan(math.radians(half_angle))
    with np.errstate(divide="ignore", invalid="ignore"):
        xi = radius * cot / a
        turn = np.arctan(1.0 / xi)
        bracket = xi * xi + xi * (1.0 - xi * xi) * turn
    depth = a * cot * turn
    small = a < 0.2 * radius * cot
    y = np.where(small, (a / (radius * cot)) ** 2, 0.0)
    one, two = np.zeros_like(y), np.zeros_like(y)
    for j in range(14, -1, -1):
        sign = -1.0 if j % 2 else 1.0
        one = one * y + sign / (2 * j + 1)
        two = two * y + sign * (1.0 / (2 * j + 1) + 1.0 / (2 * j + 3))
    return (np.where(small, a * a / radius * one, depth),
            np.where(small, a**3 / radius * two, a**3 / radius * bracket))  # fmt: skip


def _contact_radius(depth: float, radius: float, half_angle: float) -> float:
    return float(radius_at(LAW, np.array([depth]), radius, half_angle)[0])


def _fault(radius: float, half_angle: float) -> str:
    if not radius > 0.0:
        return "the tip radius must be above zero."
    return "" if 0.0 < half_angle < 90.0 else "the half-angle must be between 0 and 90 degrees."


LAW = Law(
    "hyperboloid", "hyperboloid", 1.5, ("radius", "half_angle"),
    lambda radius, half_angle: 4.0 / 3.0 * math.sqrt(radius),
    _contact_radius,
    "δ = a cot α arctan(a tan α/R), F = E* (a³/R) {ξ² + ξ (1-ξ²) arctan(1/ξ)}, ξ = R cot α/a",
    "a rounded cone at any depth; the rounding goes over into the flank slowly",
    "Sneddon, Int. J. Eng. Sci. 3 (1965) 47 (from memory)",
    profile=profile,
    fault=_fault,
)  # fmt: skip
