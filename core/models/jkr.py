"""Adhesion inside the contact of a paraboloid: Johnson, Kendall and Roberts.

    F = K a³/R - √(6π w K a³),   δ = a²/R - (2/3) √(6π w a/K),   K = 4 E*/3

With x = a/a1, a1³ = (3/2)π w R²/K, F in units of F1 = (3/2)π w R and δ in units of
|δ1| = a1²/(3R):

    f(x) = x³ - 2 x^(3/2),   g(x) = 3 x² - 4 √x

Largest pull F = -F1 at x = 1; with a rigid lever the tip lets go at x = 3^(-2/3), F = -(5/9) F1,
g = -9^(1/3); F = 0 at x = 4^(1/3). Beyond x = 1 the contact is stable under any lever, between
3^(-2/3) and 1 only under one that is stiff enough, below it never.

Symbols: F force [nN], δ indentation [nm], a contact radius [nm], R tip radius [nm], E* reduced
modulus [GPa], w work of adhesion [nN/nm = J/m²], k lever stiffness [N/m].
Validity: linear elastic, paraboloid, a well below R, Tabor parameter above about 5, and
w/(E* R) below `DOMAIN`. Source: Johnson, Kendall & Roberts, Proc. R. Soc. A 324 (1971) 301; Maugis,
Contact, Adhesion and Rupture of Elastic Solids (2000) (from memory). Two points: ISO 21222:2020
(its equations were not seen; derived here).
"""

from __future__ import annotations

import math

import numpy as np

from .law import Array

TWO_POINT = ((1.0 + 16.0 ** (1.0 / 3.0)) / 3.0) ** 1.5
"""K √(R (δ0 - δ1)³) / F1, from δ0 = a0²/(3R), δ1 = -2^(-4/3) δ0, K = 4 F1 R/a0³."""
RIGID = 3.0 ** (-2.0 / 3.0)
"""x at which a tip on a rigid lever lets go (dδ/dx = 0)."""
UNLOADED = 4.0 ** (1.0 / 3.0)
"""x at F = 0."""
LEVEL = (4.0 / 3.0) ** (2.0 / 3.0)
"""x at δ = 0; the tip jumps on to it when it touches (rigid lever)."""
DOMAIN = 0.0088
"""Largest w/(E* R): there the contact radius at F = 0 is half the tip radius,
a0/R = (6π w/(K R))^(1/3) = 1/2, so w/(E* R) = 1/(36π) (derived here)."""


def _half(x: float) -> float:
    """Work ∫ f dg from 0 to x, in F1 |δ1|: (6/5) x⁵ - 4 x^(7/2) + 2 x²."""
    return 1.2 * x**5 - 4.0 * x**3.5 + 2.0 * x * x


CYCLE = _half(RIGID) - _half(LEVEL)
"""Work lost by jumping on at δ = 0 and letting go at x = 3^(-2/3) (rigid lever), in F1 |δ1|.

From the point that was jumped on to up to the turn the tip goes back along the way it came, so what
is left is ∫ F dδ from that point to the jump off. In other units it is 0.972962 π w a1²."""
DETACHMENT = _half(RIGID) - _half(UNLOADED)
"""Work that takes an unloaded contact (F = 0) to its end on a rigid lever, in F1 |δ1|."""


def scales(modulus: float, radius: float, work: float) -> tuple[float, float, float]:
    """Largest pull F1 [nN], its contact radius a1 [nm] and depth |δ1| [nm].

    F1 = (3/2)π w R, a1³ = (3/2)π w R²/K, |δ1| = a1²/(3R).

    Parameters
    ----------
    modulus : E* [GPa]
    radius : R [nm]
    work : w [J/m²], above 0
    """
    pull = 1.5 * math.pi * work * radius
    a1 = (pull * radius / (4.0 / 3.0 * modulus)) ** (1.0 / 3.0)
    return pull, a1, a1 * a1 / (3.0 * radius)


def force_at(x: Array | float) -> Array:
    """F/F1 at x = a/a1 (any shape, from 0): x³ - 2 x^(3/2). JKR 1971."""
    root = np.sqrt(x)
    return root**3 * (root**3 - 2.0)


def depth_at(x: Array | float) -> Array:
    """δ/|δ1| at x = a/a1 (any shape, from 0): 3 x² - 4 √x. JKR 1971."""
    root = np.sqrt(x)
    return root * (3.0 * root**3 - 4.0)


def stiffness_at(x: Array | float) -> Array:
    """dF/dδ over K a1 at x = a/a1: (3/2) x (x^(3/2) - 1)/(x^(3/2) - 1/3).

    Infinite at x = 3^(-2/3), where the depth is least. JKR 1971 (from memory).
    """
    power = np.asarray(x, float) ** 1.5
    with np.errstate(divide="ignore"):
        return 1.5 * x * (power - 1.0) / (power - 1.0 / 3.0)


def force(a: Array | float, modulus: float, radius: float, work: float) -> Array:
    """F [nN] at contact radii a [nm] (any shape): K a³/R - √(6π w K a³); w may be 0."""
    k = 4.0 / 3.0 * modulus
    return k * a**3 / radius - np.sqrt(6.0 * math.pi * work * k * a**3)


def indentation(a: Array | float, modulus: float, radius: float, work: float) -> Array:
    """δ [nm] at contact radii a [nm] (any shape): a²/R - (2/3) √(6π w a/K); w may be 0."""
    k = 4.0 / 3.0 * modulus
    return a * a / radius - 2.0 / 3.0 * np.sqrt(6.0 * math.pi * work * a / k)


def stiffness(a: Array | float, modulus: float, radius: float, work: float) -> Array:
    """dF/dδ [N/m] at contact radii a [nm] (any shape), w above 0."""
    a1 = scales(modulus, radius, work)[1]
    return 4.0 / 3.0 * modulus * a1 * stiffness_at(np.asarray(a, float) / a1)


def contact_radius(load: Array | float, modulus: float, radius: float, work: float) -> Array:
    """a [nm] of the stable branch at forces [nN] (any shape); NaN below -F1.

    a³ = (R/K) [F + 3πwR + √(6πwRF + (3πwR)²)] = (R/K) F1 [1 + √(1 + F/F1)]²: no digits are lost at
    the pull-off. With w = 0 it is the paraboloid's (R F/K)^(1/3). JKR 1971.
    """
    pull, load = 1.5 * math.pi * work * radius, np.asarray(load, float)
    inside = np.where(load + pull >= 0.0, load + pull, np.nan)
    root = math.sqrt(pull) + np.sqrt(inside)
    return np.cbrt(radius / (4.0 / 3.0 * modulus) * root * root)


def jump_off(lever: float) -> float:
    """x = a/a1 at which a lever lets go on the retract, from 3^(-2/3) (rigid) to 1 (soft).

    There the contact is as stiff as the lever, S(a) = -k: the root of
    (3/2) x (x^(3/2) - 1) + κ (x^(3/2) - 1/3) = 0. The curve's minimum, -F1, was passed before it:
    the minimum is the pull-off force, not this point.

    Parameters
    ----------
    lever : κ = k/(K a1), 0 or more; infinite for a rigid one
    """
    from scipy.optimize import brentq

    if not lever >= 0.0:
        return math.nan
    if lever == math.inf:
        return RIGID
    soft, stiff = 1.0 / (1.0 + lever), lever / (1.0 + lever)  # both sides over 1 + κ

    def short(x: float) -> float:
        return soft * 1.5 * x * (x**1.5 - 1.0) + stiff * (x**1.5 - 1.0 / 3.0)

    return float(brentq(short, 0.9 * RIGID, 1.0, xtol=1e-15, rtol=1e-14))


def jump_on(lever: float) -> float:
    """x = a/a1 that a tip jumps to on approach, when it first touches (δ = 0, F = 0).

    The base stands still and the lever gives way: F = -k δ, so f(x) + (κ/3) g(x) = 0 (because
    F1 = 3 K a1 |δ1|). A rigid lever goes to δ = 0, a soft one to F = 0.

    Parameters
    ----------
    lever : κ = k/(K a1), 0 or more; infinite for a rigid one
    """
    from scipy.optimize import brentq

    if not lever >= 0.0:
        return math.nan
    if lever == math.inf:
        return LEVEL
    soft, stiff = 1.0 / (1.0 + lever), lever / (1.0 + lever)

    def short(x: float) -> float:
        return float(soft * force_at(x) + stiff * depth_at(x) / 3.0)

    return float(brentq(short, 0.99 * LEVEL, 1.01 * UNLOADED, xtol=1e-15, rtol=1e-14))


def two_point_modulus(pull: float, unloading: float, radius: float) -> float:
    """E* [GPa] from two points of the retract; no contact point is needed.

    K = ((1 + 16^(1/3))/3)^(3/2) F1/√(R (δ0 - δ1)³), E* = (3/4) K. Valid where JKR is. Its relative
    change is that of F1, -1/2 that of R and -3/2 that of δ0 - δ1. The point where the tip jumps
    off may not stand for the minimum. ISO 21222:2020 (equations not seen), derived here.

    Parameters
    ----------
    pull : F1 [nN], the curve's minimum as a positive number
    unloading : δ0 - δ1 [nm], from the minimum to F = 0
    radius : R [nm]

    Returns
    -------
    NaN unless all three are above 0
    """
    if not (pull > 0.0 and unloading > 0.0 and radius > 0.0):
        return math.nan
    return 0.75 * TWO_POINT * pull / math.sqrt(radius * unloading**3)


def work_of_adhesion(pull: float, radius: float) -> float:
    """w [J/m²] from the largest pull F1 [nN]: 2 F1/(3πR); NaN for a radius that is not above 0."""
    return 2.0 * pull / (3.0 * math.pi * radius) if radius > 0.0 else math.nan


def domain(modulus: float, radius: float, work: float) -> float:
    """w/(E* R); the law may be used below `DOMAIN` (a0 < R/2). NaN if E* R is not above 0."""
    product = modulus * radius
    return work / product if product > 0.0 else math.nan


def unloaded_radius(modulus: float, radius: float, work: float) -> float:
    """Contact radius a0 [nm] at F = 0: (6π w R²/K)^(1/3) = 4^(1/3) a1."""
    return UNLOADED * scales(modulus, radius, work)[1]
