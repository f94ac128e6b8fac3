"""Adhesion within reach of the contact: Maugis-Dugdale, between DMT and JKR, solved directly.

A constant pull σ0 acts in a ring from the contact radius a to c = m a. In the units

    A = a/(πwR²/K)^(1/3),  P = F/(πwR),  Δ = δ/(π²w²R/K²)^(1/3),  λ = 2σ0 [R/(πwK²)]^(1/3):

    1 = (λA²/2) U + (4λ²A/3) V,     P = A³ - λA² W,     Δ = A² - (4/3) λ A t
    t = √(m²-1), θ = arcsec m = arctan t,
    U = t + (m²-2) θ,  V = t θ - m + 1,  W = t + m² θ

The first is a quadratic in A with one positive root, so A, P and Δ are explicit in t, and t from 0
(deep contact) to infinity (A = 0) is the whole curve, its unstable part included. Limits: λ → 0 is
DMT, P = A³ - 2, Δ = A²; λ → ∞ is JKR, P = A³ - A√(6A), Δ = A² - (2/3)√(6A).

Symbols: a contact radius [nm], R tip radius [nm], K = 4E*/3 [GPa], w work of adhesion [J/m²],
F force [nN], δ indentation [nm]. Validity: linear elastic paraboloid, a and c well below R.
Source: Maugis, J. Colloid Interface Sci. 150 (1992) 243 (form from memory, limits checked).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np

from .law import Array

SMALL = 0.3
"""Below this t the series of t - arctan t is used."""
DMT_PULL, JKR_PULL = -2.0, -1.5
"""Least P in the two limits."""
SOFTEST, STIFFEST = 1e3, 1e-3
"""λ beyond which `pull_off_read` takes the limit."""


def scales(modulus: float, radius: float, work: float) -> tuple[float, float, float]:
    """What P, A and Δ are measured in: πwR [nN], (πwR²/K)^(1/3) and (π²w²R/K²)^(1/3) [nm].

    Parameters
    ----------
    modulus : E* [GPa]
    radius : R [nm]
    work : w [J/m²], above 0
    """
    k = 4.0 / 3.0 * modulus
    load = math.pi * work * radius
    return load, (load * radius / k) ** (1.0 / 3.0), (load * load / (radius * k * k)) ** (1.0 / 3.0)


def ring(m: Array | float) -> Array:
    """t = √(m²-1) of the ratio m = c/a, 1 or more."""
    m = np.asarray(m, float)
    return np.sqrt((m - 1.0) * (m + 1.0))


def _integrals(t: Array | float) -> tuple[Array, Array, Array, Array, Array]:
    """t, θ, U, V, W; U = (t - θ) + t²θ, its first part a series at small t."""
    t = np.asarray(t, float)
    theta, t2 = np.arctan(t), t * t
    small, series = np.minimum(t2, SMALL**2), np.zeros_like(t)
    for k in range(17, 0, -1):
        series = small * (1.0 / (2 * k + 1) - series)
    lag = np.where(t < SMALL, t * series, t - theta)
    v = t * theta - t2 / (1.0 + np.sqrt(1.0 + t2))
    return t, theta, lag + t2 * theta, v, t + (1.0 + t2) * theta


def state(t: Array | float, lam: Array | float) -> tuple[Array, Array, Array]:
    """A, P and Δ at t = √(m²-1) above 0 (any shape) for λ above 0 (one, or of a shape that fits).

    From A = 2/[B + √(B² + 2λU)], B = (4/3) λ² V, the positive root without a difference.
    """
    t, _, u, v, w = _integrals(t)
    b = 4.0 / 3.0 * lam * lam * v
    a = 2.0 / (b + np.sqrt(b * b + 2.0 * lam * u))
    return a, a**3 - lam * a * a * w, a * a - 4.0 / 3.0 * lam * a * t


def slopes(t: Array | float, lam: Array | float) -> tuple[Array, Array, Array]:
    """Derivatives of A, P and Δ with respect to t; the contact stiffness is dP/dΔ, their ratio.

    In usual units dF/dδ = dP/dΔ πwR/(π²w²R/K²)^(1/3). Differentiated from the module's formulas:
    U' = 2tθ + 2t²/m², V' = θ + t/m² - t/m, W' = 2 + 2tθ.
    """
    t, theta, u, v, w = _integrals(t)
    m2 = 1.0 + t * t
    a = state(t, lam)[0]
    du = 2.0 * t * theta + 2.0 * t * t / m2
    dv = theta + t / m2 - t / np.sqrt(m2)
    reach = 4.0 / 3.0 * lam * lam
    da = -(0.5 * lam * du * a * a + reach * dv * a) / (lam * u * a + reach * v)
    dp = 3.0 * a * a * da - 2.0 * lam * a * da * w - lam * a * a * (2.0 + 2.0 * t * theta)
    return da, dp, 2.0 * a * da - 4.0 / 3.0 * lam * (da * t + a)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of a function of t between two t, sought in ln t."""
    from scipy.optimize import brentq

    found = brentq(lambda x: function(math.exp(x)), math.log(low), math.log(high), xtol=1e-14)
    return math.exp(found)


def ring_at(contact: float, lam: float) -> float:
    """The t at which A has a value above 0. A falls steadily from ∞ at t = 0 to 0 at t = ∞."""
    if not (contact > 0.0 and lam > 0.0):
        return math.nan
    low, high = 1.0, 1.0
    while float(state(low, lam)[0]) < contact:
        low /= 4.0
    while float(state(high, lam)[0]) > contact:
        high *= 4.0
    if low == high:
        return low
    return _root(lambda t: float(state(t, lam)[0]) - contact, low, high)


def _least(lam: Array | float) -> Array:
    """The t of the least load at each λ (any shape): a grid, then finer ones about its least.

    The grids are even in ln t; the last step is below 1e-7.
    """
    lam = np.asarray(lam, float)[..., None]
    low, high = np.log(1e-5 / (1.0 + lam)), np.log(1e7 * (1.0 + 1.0 / lam))
    for count in (401, 33, 33, 33, 33, 33):
        x = low + (high - low) * np.linspace(0.0, 1.0, count)
        best = np.argmin(state(np.exp(x), lam)[1], axis=-1)[..., None]
        low = np.take_along_axis(x, np.maximum(best - 1, 0), -1)
        high = np.take_along_axis(x, np.minimum(best + 1, count - 1), -1)
    return np.exp(np.take_along_axis(x, best, -1))[..., 0]


def pull_off(lam: float) -> float:
    """P at the largest pull, from -2 (λ = 0, DMT) to -3/2 (λ = ∞, JKR); NaN for λ below 0.

    The least P of the curve; it does not depend on the lever.
    """
    if not lam >= 0.0:
        return math.nan
    if lam in (0.0, math.inf):
        return JKR_PULL if lam else DMT_PULL
    return float(state(_least(lam), lam)[1])


def at_load(load: float, lam: float) -> tuple[float, float]:
    """A and Δ on the stable branch at a load P; NaN below the pull-off.

    λ = 0 and λ = ∞ are DMT and JKR in closed form.
    """
    if not (lam >= 0.0 and load >= pull_off(lam) - 1e-14):
        return math.nan, math.nan
    if lam == 0.0:
        return (load + 2.0) ** (1.0 / 3.0), (load + 2.0) ** (2.0 / 3.0)
    if lam == math.inf:
        a = (math.sqrt(1.5) + math.sqrt(max(load + 1.5, 0.0))) ** (2.0 / 3.0)
        return a, a * a - 2.0 / 3.0 * math.sqrt(6.0 * a)
    high = low = float(_least(lam))
    while float(state(low, lam)[1]) < load:
        low /= 2.0
    t = high if low == high else _root(lambda x: float(state(x, lam)[1]) - load, low, high)
    a, _, depth = state(t, lam)
    return float(a), float(depth)


def unloaded(lam: float) -> tuple[float, float]:
    """A and Δ at F = 0."""
    return at_load(0.0, lam)


@lru_cache(maxsize=1)
def _pull_off_table() -> tuple[Array, Array]:
    x = np.linspace(math.log(STIFFEST), math.log(SOFTEST), 281)
    lam = np.exp(x)
    values = state(_least(lam), lam)[1]
    x.flags.writeable = values.flags.writeable = False
    return x, values


def pull_off_read(lam: Array | float) -> Array:
    """`pull_off` of many λ (any shape), off a table made once; good to 1e-6, NaN for NaN.

    Below λ = 0.001 it runs on to -2 as λ^(3/2), above 1000 it is that of 1000.
    """
    from scipy.interpolate import CubicSpline

    x, values = _pull_off_table()
    lam = np.asarray(lam, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        read = CubicSpline(x, values)(np.clip(np.log(lam), x[0], x[-1]))
        low = DMT_PULL + (values[0] - DMT_PULL) * (lam / STIFFEST) ** 1.5
    return np.where(lam >= 0.0, np.where(lam < STIFFEST, low, read), np.nan)
