"""Which adhesion model: Tabor parameter, work of adhesion from a pull-off, zones of the map.

    μ = [R w²/(E*² z0³)]^(1/3)
    λ = 2σ0 [R/(πwK²)]^(1/3) = 1.157012 μ for σ0 = 16 w/(9√3 z0), the peak of the Lennard-Jones law

DMT below λ = 0.1, JKR above λ = 5, neither between (authors differ by using the same figures for
μ).
The map has λ across and the load F/(πwR) upwards. Its upper edge is where adhesion is 5 % of the
load that the contact feels (Hertz above it); its lower left corner is where the indentation stays
below 5 % of z0 (a rigid contact).

Symbols: R tip radius [nm], w work of adhesion [J/m² = nN/nm], E* reduced modulus [GPa], K = 4E*/3,
z0 range of the attraction [nm]: 0.16 to 0.2 as used with surface energies, up to 0.4; μ goes as
1/z0. Validity: as Maugis-Dugdale. Source: Tabor, J. Colloid Interface Sci. 58 (1977) 2 (from
memory; the same form in Greenwood, Proc. R. Soc. A 453 (1997) 1277); limits from Maugis, J. Colloid
Interface Sci. 150 (1992) 243; the idea of the zones and the 5 % from Johnson & Greenwood, J.
Colloid Interface Sci. 192 (1997) 326 (from memory; the edges are computed here from the models).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from . import maugis
from .law import Array

RANGE = 0.16
"""z0 [nm] if nothing else is said: the cut-off used with surface energies (from memory)."""
PEAK = 16.0 / (9.0 * math.sqrt(3.0))
"""σ0 z0/w of the Lennard-Jones law."""
LAMBDA_PER_MU = 2.0 * PEAK * (9.0 / (16.0 * math.pi)) ** (1.0 / 3.0)
"""λ/μ = 1.157012 (from K = 4E*/3)."""
DMT_BELOW, JKR_ABOVE = 0.1, 5.0
"""Limits of λ (Maugis 1992)."""
SHARE = 0.05
"""Of adhesion in the load (Hertz), of z0 in the indentation (rigid)."""
ZONES = ("rigid", "Hertz", "DMT", "Maugis", "JKR")
"""Names of the zones; `zone` gives the place in this list."""
MODELS = ("dmt", "jkr", "maugis")


def tabor(
    modulus: Array | float, radius: float, work: Array | float, reach: float = RANGE
) -> Array:
    """μ = [R w²/(E*² z0³)]^(1/3), of any shape; NaN where E* or w is not above 0. Tabor 1977.

    Parameters
    ----------
    modulus : E* [GPa]
    radius : R [nm]
    work : w [J/m²]
    reach : z0 [nm]
    """
    modulus, work = np.asarray(modulus, float), np.asarray(work, float)
    good = (modulus > 0.0) & (work > 0.0) & (radius > 0.0) & (reach > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(good, np.cbrt(radius * (work / modulus) ** 2) / reach, np.nan)


def maugis_lambda(
    modulus: Array | float, radius: float, work: Array | float, reach: float = RANGE
) -> Array:
    """λ = 1.157012 μ, as `tabor`."""
    return LAMBDA_PER_MU * tabor(modulus, radius, work, reach)


def work_from_pull_off(
    pull: Array | float,
    radius: float,
    model: str,
    modulus: Array | float = math.nan,
    reach: float = RANGE,
) -> Array:
    """w [J/m²] from the largest pull [nN], of any shape.

    DMT: F/(2πR). JKR: 2F/(3πR). Maugis-Dugdale: the w whose own λ gives that pull,
    F = -P_min(λ) π w R, between the two; only this one needs E* and z0.

    Parameters
    ----------
    pull : largest pull [nN], positive
    radius : R [nm]
    model : "dmt", "jkr" or "maugis"
    modulus : E* [GPa]
    reach : z0 [nm]

    Returns
    -------
    NaN where the pull is below 0 or an input is impossible

    Raises
    ------
    KeyError : for another model
    """
    if model not in MODELS:
        raise KeyError(f"no adhesion model {model!r}; known: {', '.join(MODELS)}")
    pull, modulus = np.asarray(pull, float), np.asarray(modulus, float)
    if not radius > 0.0:
        return np.full(np.broadcast(pull, modulus).shape, np.nan)
    unit = np.where(pull >= 0.0, pull, np.nan) / (math.pi * radius)
    if model != "maugis":
        return unit / (2.0 if model == "dmt" else 1.5)
    low, high = unit / 2.0 * np.ones_like(modulus), unit / 1.5 * np.ones_like(modulus)
    for _ in range(48):
        middle = 0.5 * (low + high)
        lam = maugis_lambda(modulus, radius, middle, reach)
        short = -maugis.pull_off_read(lam) * middle < unit
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(np.isfinite(modulus) & (modulus > 0.0), 0.5 * (low + high), np.nan)


def hertz_load(lam: float) -> float:
    """P = F/(πwR) above which adhesion is less than 5 % of the load that the contact feels.

    The contact at A feels A³ = P + adhesion, so the edge is at adhesion = 0.05 A³: P = 38 for
    DMT, 2280 for JKR (computed here; the 5 % from Johnson & Greenwood, from memory).
    """
    if not lam >= 0.0:
        return math.nan
    if lam == 0.0:
        return 2.0 / SHARE - 2.0
    if lam == math.inf:
        return (1.0 - SHARE) * 6.0 / SHARE**2
    from scipy.optimize import brentq

    def above(x: float) -> float:
        a, load, _ = maugis.state(math.exp(x), lam)
        return float((a**3 - load) / a**3 - SHARE)

    low, high = math.log(1e-8 / (1.0 + lam)), math.log(1e8 * (1.0 + 1.0 / lam))
    a, load, _ = maugis.state(math.exp(brentq(above, low, high, xtol=1e-13)), lam)
    return float(load)


def rigid_load(lam: float) -> float:
    """P = F/(πwR) below which the indentation is less than 5 % of z0; -2 if it never is.

    In DMT, where this corner lies: Δ = (P + 2)^(2/3) and δ/z0 = (9π²/16)^(1/3) μ Δ.
    """
    if not lam >= 0.0:
        return math.nan
    if lam == 0.0:
        return math.inf
    per = (9.0 * math.pi**2 / 16.0) ** (1.0 / 3.0) * lam / LAMBDA_PER_MU
    return (SHARE / per) ** 1.5 - 2.0


@lru_cache(maxsize=1)
def hertz_edge() -> tuple[Array, Array]:
    """log10 λ from -4 to 4, and log10 of `hertz_load` there; made once."""
    x = np.linspace(-4.0, 4.0, 161)
    y = np.log10([hertz_load(10.0**v) for v in x])
    x.flags.writeable = y.flags.writeable = False
    return x, y


def zone(lam: Array | float, load: Array | float) -> Array:
    """Place in `ZONES` of points of the map, of any shape; -1 for a λ or load that is NaN.

    Parameters
    ----------
    lam : λ
    load : F/(πwR), the largest load of a curve
    """
    lam, load = np.broadcast_arrays(np.asarray(lam, float), np.asarray(load, float))
    known = np.isfinite(lam) & np.isfinite(load) & (lam > 0.0)
    safe = np.where(known, lam, 1.0)
    edge = np.interp(np.log10(safe), *hertz_edge())
    rigid = np.array([rigid_load(float(v)) for v in safe.ravel()]).reshape(safe.shape)
    which = np.where(safe < DMT_BELOW, 2, np.where(safe > JKR_ABOVE, 4, 3))
    which = np.where(load > 10.0**edge, 1, which)
    which = np.where((safe < DMT_BELOW) & (load < rigid), 0, which)
    return np.where(known, which, -1)
