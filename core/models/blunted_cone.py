"""The blunted cone: a paraboloid z = r²/(2R) up to r = b, a cone beyond.

    a ≤ b:  δ = a²/R,   F = (4/3) E* a³/R
    a > b:  δ = (a/R)[a - √(a²-b²)] + (a/tan α)[π/2 - arcsin(b/a)]
            F = 2 E* {a δ - (a²/(2 tan α))[π/2 - arcsin(b/a)] - a³/(3R)
                      + √(a²-b²)[b/(2 tan α) + (a²-b²)/(3R)]}

It is computed with c = √(a²-b²), a - c = b²/(a+c), a³ - c³ = b²(a²+ac+c²)/(a+c) and
π/2 - arcsin(b/a) = arctan(c/b): no digits are lost at large a.

Symbols: δ indentation, F force, E* reduced modulus, R radius of the end, α half-angle from the
axis, b where the end meets the flank, from the axis ("rounding"), a contact radius. b = R cot α
makes them meet without a corner, and is meant by b = 0; b = R cos α is where a sphere of that
radius would meet the flank, and leaves a corner. A larger b than R cot α would leave a shoulder
that touches before its surroundings: the formula does not hold then. The choice of b is worth
several per cent of the force. Validity: linear elastic, small slopes, half-space, rigid tip, no
friction, no adhesion. Source: Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from
memory).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Array, Law, fault_of, radius_at

LEAST = 0.01
"""Smallest b over R cot α: below it the end is no paraboloid and the tip a plain cone."""


def meeting(radius: float, half_angle: float, rounding: float) -> float:
    """The b in use [nm]: the given one, or R cot α for 0."""
    return rounding if rounding > 0.0 else radius / math.tan(math.radians(half_angle))


def profile(
    a: Array, radius: float, half_angle: float, rounding: float = 0.0
) -> tuple[Array, Array]:
    """Indentation [nm] and F/E* [nm²] at contact radii [nm].

    Parameters
    ----------
    a : contact radii [nm], any shape, from 0
    radius : of the end [nm]
    half_angle : α [deg], between 0 and 90
    rounding : b [nm]; 0 means R cot α
    """
    a = np.asarray(a, float)
    tan, b = math.tan(math.radians(half_angle)), meeting(radius, half_angle, rounding)
    wide = np.maximum(a, b)
    c = np.sqrt((wide - b) * (wide + b))
    turn = np.arctan2(c, b)
    lost = b * b / (wide + c)  # a - c
    depth = wide / radius * lost + wide / tan * turn
    half = (
        wide * depth
        - wide * wide * turn / (2.0 * tan)
        + b * c / (2.0 * tan)
        - lost * (wide * wide + wide * c + c * c) / (3.0 * radius)
    )
    inside = a <= b
    return (
        np.where(inside, a * a / radius, depth),
        np.where(inside, 4.0 * a**3 / (3.0 * radius), 2.0 * half),
    )


def fault(radius: float, half_angle: float, rounding: float = 0.0) -> str:
    """A sentence if no tip has these sizes, else ""."""
    alone = fault_of("radius", "half_angle", "rounding")(radius, half_angle, rounding)
    if alone:
        return alone
    most = meeting(radius, half_angle, 0.0)
    if rounding > most * (1.0 + 1e-9):
        return (
            f"The rounding ({rounding:g} nm) must not be above R cot α = {most:.4g} nm: "
            "the end would be steeper than the flank where they meet."
        )
    if 0.0 < rounding < LEAST * most:
        return (
            f"The rounding ({rounding:g} nm) is below {LEAST:g} R cot α = {LEAST * most:.2g} nm: "
            "this tip is a cone; choose that law, or 0 for an end that meets the flank smoothly."
        )
    return ""


LAW: Law = Law(
    "blunted_cone", "blunted cone", 1.5, ("radius", "half_angle", "rounding"),
    lambda radius, angle, rounding: 4.0 / 3.0 * math.sqrt(radius),
    lambda delta, *sizes: float(radius_at(LAW, np.array([float(delta)]), *sizes)[0]),
    "paraboloid below a = b; beyond: δ = (a/R)[a-√(a²-b²)] + (a/tan α)[π/2-arcsin(b/a)], "
    "F = 2 E* {aδ - (a²/(2 tan α))[π/2-arcsin(b/a)] - a³/(3R) "
    "+ √(a²-b²)[b/(2 tan α) + (a²-b²)/(3R)]}",
    "a paraboloid up to b, a cone beyond; b = 0 means R cot α (no corner), R cos α is a sphere's; "
    "small slopes of the sample",
    "Briscoe, Sebastian & Adams, J. Phys. D 27 (1994) 1156 (form from memory)",
    profile=profile, fault=fault, kink=meeting,
)  # fmt: skip
