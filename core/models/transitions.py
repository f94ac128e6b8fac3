"""Closed fits to the transition between DMT and JKR, for comparison only.

The program fits Maugis-Dugdale itself (`maugis.py`); these are what the literature uses instead.
Each has a parameter α from 0 (DMT) to 1 (JKR), and they do not mean the same by it.

Symbols: a contact radius, a0 that at F = 0 [nm]; F force, F_ad largest pull (positive) [nN]; R tip
radius [nm]; E* reduced modulus [GPa], K = 4E*/3; w work of adhesion [J/m²]; λ of Maugis; bars mean
units of (πwR²/K)^(1/3) and πwR.
"""

from __future__ import annotations

import math

import numpy as np

from .law import Array

ALPHA_END = 1.0 / 1.02
"""The α at which λ(α) becomes infinite; α = 1 is set by hand."""


# Carpick, Ogletree & Salmeron, J. Colloid Interface Sci. 211 (1999) 395 (from memory). Against
# Maugis-Dugdale: a within 1 % for λ from 0.05 to 10 and loads from 0 to 30 πwR (checked); near the
# pull-off several per cent off, and by a quarter for λ below 0.1.


def generalised_radius(load: Array | float, pull: float, unloaded: float, alpha: float) -> Array:
    """a [nm] = a0 [(α + √(1 + F/F_ad))/(1 + α)]^(2/3); NaN below -F_ad.

    Carpick, Ogletree & Salmeron 1999 (from memory). Parameters: forces [nN], F_ad [nN], a0 [nm], α.
    """
    ratio = 1.0 + np.asarray(load, float) / pull
    root = np.sqrt(np.where(ratio >= 0.0, ratio, np.nan))
    return unloaded * ((alpha + root) / (1.0 + alpha)) ** (2.0 / 3.0)


def lambda_of(alpha: float) -> float:
    """λ = -0.924 ln(1 - 1.02 α); infinite from α = 1/1.02 on. COS 1999 (from memory)."""
    return -0.924 * math.log(1.0 - 1.02 * alpha) if alpha < ALPHA_END else math.inf


def alpha_of(lam: float) -> float:
    """The α of a λ, the inverse of `lambda_of`; it ends at 1/1.02."""
    return (1.0 - math.exp(-lam / 0.924)) / 1.02


def unloaded_of(lam: float) -> float:
    """ā0 = 1.54 + 0.279 (2.28 λ^1.3 - 1)/(2.28 λ^1.3 + 1), within 1.7 %. COS 1999 (from memory)."""
    x = 2.28 * lam**1.3
    return 1.54 + 0.279 * (x - 1.0) / (x + 1.0)


def pull_off_of(lam: float) -> float:
    """P_min = -7/4 + (4.04 λ^1.4 - 1)/[4 (4.04 λ^1.4 + 1)], within 1.7 %. COS 1999 (memory)."""
    x = 4.04 * lam**1.4
    return -1.75 + 0.25 * (x - 1.0) / (x + 1.0)


# Schwarz, J. Colloid Interface Sci. 261 (2003) 99 (equations derived again here, limits checked).
# It splits the work into a short-ranged and a long-ranged part, which Maugis-Dugdale does not: at
# equal α the pull-off differs.


def split_alpha(pull: float, radius: float, work: float) -> float:
    """α = √(B/F_ad), B = 6πwR - 3 F_ad; NaN unless F_ad is between 1.5 and 2 πwR. Schwarz 2003.

    Parameters
    ----------
    pull : F_ad [nN]
    radius : R [nm]
    work : w [J/m²]
    """
    part = 6.0 * math.pi * work * radius - 3.0 * pull
    if not (pull > 0.0 and -1e-12 * pull <= part <= pull * (1.0 + 1e-12)):
        return math.nan
    return math.sqrt(max(part, 0.0) / pull)


def split_pull(alpha: float) -> float:
    """F_ad/(πwR) = 6/(3 + α²). Schwarz 2003."""
    return 6.0 / (3.0 + alpha * alpha)


def split_contact(
    load: Array | float, pull: float, modulus: float, radius: float, work: float
) -> tuple[Array, Array]:
    """a [nm] and δ [nm] on the stable branch at forces [nN]; NaN below -F_ad.

    a³ = (R/K)[√B + √(F + F_ad)]², δ = a²/R - (4/3)√(B a/(R K)), B = 6πwR - 3 F_ad. Schwarz 2003.

    Parameters
    ----------
    load : F [nN], any shape
    pull : F_ad [nN], from 1.5 to 2 πwR
    modulus : E* [GPa]
    radius : R [nm]
    work : w [J/m²]
    """
    part, k = split_alpha(pull, radius, work) ** 2 * pull, 4.0 / 3.0 * modulus
    above = np.asarray(load, float) + pull
    root = math.sqrt(part) + np.sqrt(np.where(above >= 0.0, above, np.nan))
    a = np.cbrt(radius / k * root * root)
    return a, a * a / radius - 4.0 / 3.0 * np.sqrt(part * a / (radius * k))


# Piétrement & Troyon, J. Colloid Interface Sci. 226 (2000) 166 (from memory). Against
# Maugis-Dugdale: up to 0.06 in Δ at small loads, 3 % at loads of 20 to 30 πwR for α from 0.4 to
# 0.7. S goes to 0 only as α^0.019: below α = 0.01 it is not accurate.


def fitted_constants(alpha: float) -> tuple[float, float, float, float]:
    """S, β, ā0 and F̄_ad at an α from 0 to 1. Piétrement & Troyon 2000 (from memory)."""
    s = -2.160 * alpha**0.019 + 2.7531 * alpha**0.064 + 0.073 * alpha**1.919
    beta = 0.516 * alpha**4 - 0.683 * alpha**3 + 0.235 * alpha**2 + 0.429 * alpha
    unloaded = -0.451 * alpha**4 + 1.417 * alpha**3 - 1.365 * alpha**2 + 0.950 * alpha + 1.264
    return s, beta, unloaded, 0.267 * alpha**2 - 0.767 * alpha + 2.0


def fitted_depth(
    load: Array | float, pull: float, unloaded: float, radius: float, alpha: float
) -> Array:
    """δ [nm] = (a0²/R)[X^(4/3) - S X^(2β/3)], X = (α + √(1 + F/F_ad))/(1 + α); NaN below -F_ad.

    Piétrement & Troyon 2000 (from memory). Parameters: forces [nN], F_ad [nN], a0 [nm], R [nm], α.
    """
    s, beta = fitted_constants(alpha)[:2]
    x = generalised_radius(load, pull, 1.0, alpha) ** 1.5
    return unloaded**2 / radius * (x ** (4.0 / 3.0) - s * x ** (2.0 * beta / 3.0))
