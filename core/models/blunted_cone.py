"""A cone of half-angle α whose end is a paraboloid of radius R up to the distance b from its axis.

For a <= b it is the paraboloid; beyond, with s = √(a²-b²) and ψ = π/2 - arcsin(b/a):
    δ = (a/R)(a - s) + (a/tan α) ψ
    F = 2 E* {a δ - (a²/(2 tan α)) ψ - a³/(3R) + s [b/(2 tan α) + (a²-b²)/(3R)]}

b = R cot α makes the end run smoothly into the flank; b = R cos α is where a circle of radius R
would. The choice is worth several per cent, so it is a setting.

Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Law, radius_at

Array = np.ndarray


def rounding_of(radius: float, half_angle: float, rounding: float) -> float:
    """b [nm]: as given, or R cot α where it is 0."""
    return rounding if rounding > 0.0 else radius / math.tan(math.radians(half_angle))


def profile(a: Array, radius: float, half_angle: float, rounding: float = 0.0
            ) -> tuple[Array, Array]:  # fmt: skip
    """δ [nm] and F/E* [nm²] at contact radii a (n,) [nm]; `half_angle` in degrees."""
    a = np.asarray(a, dtype=float)
    tan = math.tan(math.radians(half_angle))
    b = rounding_of(radius, half_angle, rounding)
    wide = np.maximum(a, b)
    s = np.sqrt(np.maximum(wide * wide - b * b, 0.0))
    psi = np.arctan2(s, b)
    depth = wide / radius * (wide - s) + wide / tan * psi
    area = 2.0 * (wide * depth - wide * wide / (2.0 * tan) * psi - wide**3 / (3.0 * radius)
                  + s * (b / (2.0 * tan) + s * s / (3.0 * radius)))  # fmt: skip
    return (np.where(a <= b, a * a / radius, depth),
            np.where(a <= b, 4.0 / 3.0 * a**3 / radius, area))  # fmt: skip


def _contact_radius(depth: float, radius: float, half_angle: float, rounding: float = 0.0
                    ) -> float:  # fmt: skip
    return float(radius_at(LAW, np.array([depth]), radius, half_angle, rounding)[0])


def _fault(radius: float, half_angle: float, rounding: float = 0.0) -> str:
    if not radius > 0.0:
        return "the tip radius must be above zero."
    if not 0.0 < half_angle < 90.0:
        return "the half-angle must be between 0 and 90 degrees."
    if rounding_of(radius, half_angle, rounding) > 1.001 * radius / math.tan(
        math.radians(half_angle)
    ):
        return ("the rounding ends beyond R cot α, where the end would be steeper than the flank: "
                "make it smaller.")  # fmt: skip
    return ""


LAW = Law(
    "blunted_cone", "blunted cone", 1.5, ("radius", "half_angle", "rounding"),
    lambda radius, half_angle, rounding=0.0: 4.0 / 3.0 * math.sqrt(radius),
    _contact_radius,
    "paraboloid up to a = b, then δ = (a/R)(a - √(a²-b²)) + (a/tan α)(π/2 - arcsin(b/a))",
    "a rounded cone at any depth; where the rounding ends is worth several per cent",
    "Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from memory)",
    profile=profile,
    fault=_fault,
)  # fmt: skip
