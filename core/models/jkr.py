"""JKR: a paraboloid on an elastic half-space with adhesion inside the contact only.

With K = 4E*/3, w the work of adhesion [nN/nm = J/m²] and a the contact radius:

    F = K a³/R - √(6πwK a³),    δ = a²/R - (2/3) √(6πw a/K)
    F1 = (3/2) πwR,  a1³ = F1 R/K,  δ1 = a1²/(3R)

and with x = a/a1: F/F1 = x³ - 2 x^(3/2), δ/δ1 = 3x² - 4 x^(1/2). Valid for soft samples, large
tips and strong, short-ranged adhesion (Tabor parameter above about 5), and while the contact stays
narrow: w/(E* R) < 0.0088 keeps the contact at zero load below half the radius.

Johnson, Kendall & Roberts, Proc. R. Soc. A 324 (1971) 301; Maugis, Contact, Adhesion and Rupture
of Elastic Solids (2000) (from memory). Two points: the form of ISO 21222:2020, equation numbers
not seen.
"""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray

TWO_POINT = ((1.0 + 16.0 ** (1.0 / 3.0)) / 3.0) ** 1.5
"""K = TWO_POINT F1/√(R (δ0 - δ1)³), with δ0 at zero force and δ1 at the minimum."""
WIDEST = 0.0088
"""w/(E* R) up to which the contact at zero load is below half the tip radius."""


def reduced_force(x: Array) -> Array:
    """F/F1 at x = a/a1."""
    return x**3 - 2.0 * x**1.5


def reduced_indentation(x: Array) -> Array:
    """δ/δ1 at x = a/a1."""
    return 3.0 * x**2 - 4.0 * np.sqrt(x)


def force(a: Array, reduced_modulus: float, radius: float, work: float) -> Array:
    """F [nN] at a contact radius [nm], for E* [GPa], R [nm], w [nN/nm]."""
    stiff = 4.0 / 3.0 * reduced_modulus
    return stiff * a**3 / radius - np.sqrt(6.0 * math.pi * work * stiff * a**3)


def indentation(a: Array, reduced_modulus: float, radius: float, work: float) -> Array:
    """δ [nm] at a contact radius [nm]."""
    stiff = 4.0 / 3.0 * reduced_modulus
    return a**2 / radius - 2.0 / 3.0 * np.sqrt(6.0 * math.pi * work * a / stiff)


def stiffness(a: Array, reduced_modulus: float, radius: float, work: float) -> Array:
    """dF/dδ [N/m] = (3/2) K a (y - 1)/(y - 1/3), y = (a/a1)^(3/2)."""
    y = (a / scales(reduced_modulus, radius, work)[1]) ** 1.5
    return 2.0 * reduced_modulus * a * (y - 1.0) / (y - 1.0 / 3.0)


def scales(reduced_modulus: float, radius: float, work: float) -> tuple[float, float, float]:
    """F1 [nN], a1 [nm], δ1 [nm] (both positive)."""
    pull = 1.5 * math.pi * work * radius
    a1 = (pull * radius / (4.0 / 3.0 * reduced_modulus)) ** (1.0 / 3.0)
    return pull, a1, a1 * a1 / (3.0 * radius)


def contact_radius(load: Array, reduced_modulus: float, radius: float, work: float) -> Array:
    """a [nm] on the stable branch at a force [nN] above -F1; NaN below it."""
    pull = 3.0 * math.pi * work * radius
    with np.errstate(invalid="ignore"):
        inside = load + pull + np.sqrt(2.0 * pull * load + pull * pull)
    return np.cbrt(radius / (4.0 / 3.0 * reduced_modulus) * inside)


def jump_off(stiffness_ratio: float) -> float:
    """x where a lever lets go: S(a) = -k; `stiffness_ratio` is k/(K a1).

    Between 3^(-2/3) (rigid grips) and 1 (a very soft lever). The curve's minimum, F = -F1 at x = 1,
    is passed before it whatever the lever, so only the minimum tells the work of adhesion.
    """
    from scipy.optimize import brentq

    def balance(x: float) -> float:
        y = x**1.5
        return 1.5 * x * (y - 1.0) + stiffness_ratio * (y - 1.0 / 3.0)

    return float(brentq(balance, 3.0 ** (-2.0 / 3.0), 1.0, xtol=1e-15))


def two_point_modulus(pull: float, apart: float, radius: float) -> tuple[float, float]:
    """E* [GPa] and w [nN/nm] from the pull-off force [nN] and δ0 - δ1 [nm]."""
    stiff = TWO_POINT * pull / math.sqrt(radius * apart**3)
    return 0.75 * stiff, 2.0 * pull / (3.0 * math.pi * radius)


def zero_load_radius(reduced_modulus: float, radius: float, work: float) -> float:
    """Contact radius at zero force over the tip radius, (6πw/(K R))^(1/3)."""
    return (6.0 * math.pi * work / (4.0 / 3.0 * reduced_modulus * radius)) ** (1.0 / 3.0)
