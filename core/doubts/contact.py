"""Figures that tell of the contact: fit, slope, lever."""

from __future__ import annotations

import numpy as np

from ..channels import CHANNELS
from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import retract as rt
from ..columns import stiffness as st
from .case import Array, Case, Figure
from .samples import correlation


def fitted(column: int) -> Figure:
    return lambda c: c.tables.fit[:, column]


def fit_state(c: Case) -> Array:
    return c.tables.fit[:, ft.STATE]


def residual(c: Case) -> Array:
    return c.tables.fit[:, ft.RESIDUAL] / c.tables.base[:, bl.B_NOISE]


def structure(c: Case) -> Array:
    """How sure it is that the residuals are not the baseline's noise, in standard errors.

    Correlation of neighbours beyond the noise's own (standard error 1/√n), and variance beyond the
    noise's (√(2/n + 2/m), m samples of baseline), added and divided by √2; a lack of either counts
    nothing. Few samples tell by their size, many by their order.
    """
    f, b = c.tables.fit, c.tables.base
    n, m = f[:, ft.SAMPLES], b[:, bl.B_LAST] - b[:, bl.B_FIRST]
    alike = (f[:, ft.ALIKE] - correlation(c)) * np.sqrt(n)
    excess = (residual(c) ** 2 - 1.0) / np.sqrt(2.0 / n + 2.0 / m)
    both = (np.maximum(alike, 0.0) + np.maximum(excess, 0.0)) / np.sqrt(2.0)
    return np.where(fit_state(c) == ft.GOOD, both, np.nan)


def from_one(c: Case) -> Array:
    """By how many standard errors the slope in contact is below one; NaN without a contact."""
    s = c.tables.slope
    return (1.0 - s[:, st.SLOPE]) / np.sqrt(s[:, st.VAR_SLOPE])


def slope_excess(c: Case) -> Array:
    """By how many standard errors the slope in contact exceeds one."""
    s = c.tables.slope
    own = s[:, st.VAR_SLOPE] + c.tables.walk * s[:, st.SLOW_SLOPE]
    return (s[:, st.SLOPE] - 1.0) / np.sqrt(own)


def slope_fall(c: Case) -> Array:
    """By how many per cent the slope of the uppermost quarter is below that of the half under
    it; NaN within 5 standard errors, or where a flat top explains it."""
    p = c.tables.pull
    fall = 1.0 - p[:, rt.TOP]
    told = (fall > 5.0 * np.sqrt(p[:, rt.VAR_TOP])) & ~(c.tables.base[:, bl.FLAT_TOP] >= 1.0)
    return np.where(told, 100.0 * fall, np.nan)


def zero_load_contact(c: Case) -> Array:
    """JKR's contact radius at zero load over the tip radius; NaN with another adhesion.

    a0³ = 4 a1³ and a1³ = F1 R/K, so with c = K √R/k and a = F1/k it is (4 a/(c R^(3/2)))^(1/3).
    """
    t = c.tables
    if t.adhesion not in ("jkr", "two_point"):
        return c.filled(np.nan)
    stiff = np.exp(t.fit[:, ft.LN_C])
    return np.cbrt(4.0 * t.fit[:, ft.PULL] / (stiff * t.radius**1.5))


def modulus_error(c: Case) -> Array:
    """Local standard uncertainty of ln E in per cent; NaN without a modulus."""
    t = c.tables
    own = t.fit[:, ft.VAR_LN_C] + t.walk * t.fit[:, ft.SLOW_LN_C]
    return np.where(fit_state(c) == ft.GOOD, 100.0 * np.sqrt(own), np.nan)


def indentation(c: Case) -> Array:
    """Indentation at the peak [nm]; NaN without a fit, or where there is none."""
    found = CHANNELS["indentation"].value(c.tables)
    return np.where(found > 0.0, found, np.nan)


def contact_error(c: Case) -> Array:
    """± of the contact point in per cent of the indentation; NaN without a fit."""
    t = c.tables
    own = t.fit[:, ft.VAR_Z0] + t.walk * t.fit[:, ft.SLOW_Z0]
    return 100.0 * np.sqrt(own) / indentation(c)


def bend_over_depth(c: Case) -> Array:
    """d/δ at the peak."""
    return c.tables.base[:, bl.PEAK_D] / indentation(c)


def feeble_peak(c: Case) -> Array:
    """Peak deflection in noises; NaN where it is no peak at all."""
    found = c.tables.base[:, bl.PEAK_D] / c.tables.base[:, bl.B_NOISE]
    return np.where(found > 5.0, found, np.nan)


def branches_apart(c: Case) -> Array:
    """Base positions of the two branches at equal force in contact: their distance in per cent of
    the indentation; NaN within 5 standard errors."""
    p = c.tables.pull
    size = np.abs(p[:, rt.APART])
    told = size > 5.0 * np.sqrt(p[:, rt.VAR_APART])
    return np.where(told, 100.0 * size / indentation(c), np.nan)


def pull_seen(c: Case) -> Array:
    return c.tables.pull[:, rt.SEEN]


def second_pull_share(c: Case) -> Array:
    """Prominence of a second pull in per cent of the largest; NaN within eight noises."""
    p, b = c.tables.pull, c.tables.base
    noise = np.fmin(b[:, bl.B_NOISE], b[:, bl.RETRACT + bl.B_NOISE])
    told = p[:, rt.SECOND] > 8.0 * noise
    return np.where(told, 100.0 * p[:, rt.SECOND] / np.maximum(p[:, rt.PULL], noise), np.nan)


def neck_length(c: Case) -> Array:
    """Way from the lowest point to the end of the pull, over that from zero force to it."""
    return c.tables.pull[:, rt.NECK]
