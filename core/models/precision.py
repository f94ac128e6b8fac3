"""How well a modulus and a contact point can be known at all, and what a wrong one costs.

Closed forms for F = C (δ - δ0)ⁿ with white noise σ in the force and N samples even in depth from
0 to δmax. Nothing here looks at a curve; an algorithm can be held against it.

References
----------
The bound: Kay, Fundamentals of Statistical Signal Processing (1993), chapter 3 (from memory). With
x = δ/δmax the derivatives of F/Fmax to ln C and δ0/δmax are xⁿ and -n xⁿ⁻¹, so the information is
N (Fmax/σ)² [[1/(2n+1), -1/2], [-1/2, n²/(2n-1)]]. The others follow from the law itself.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np


class Floor(NamedTuple):
    """The smallest possible standard uncertainties (Cramér-Rao).

    Attributes
    ----------
    modulus_known : of ln E where the contact point is known
    modulus : of ln E where the contact point is fitted too; 2n times as large
    contact : of the contact point, in the unit of the depth that was given
    correlation : of ln E and the contact point when both are fitted, √(1 - 1/(4n²)); positive: a
        contact point that is too late goes with a modulus that is too high
    """

    modulus_known: float
    modulus: float
    contact: float
    correlation: float


def contact_floor(n: float, noise: float, peak: float, samples: int, depth: float = 1.0) -> Floor:
    """The floor for a law of exponent n.

    Parameters
    ----------
    noise, peak : standard deviation of the force and the largest force, in one unit
    samples : in contact, evenly spaced in depth
    depth : the largest depth [nm]; 1 gives the contact point as a share of it
    """
    share = noise / (peak * math.sqrt(samples))
    known = share * math.sqrt(2.0 * n + 1.0)
    return Floor(known, 2.0 * n * known, 2.0 * math.sqrt(2.0 * n - 1.0) * share * depth,
                 math.sqrt(1.0 - 0.25 / (n * n)))  # fmt: skip


def late_contact_factor(n: float, share: float) -> float:
    """Apparent over true modulus from one point, contact taken `share` of the depth too late.

    (1 - share)⁻ⁿ; negative where it is taken too early; NaN from 1 on. For small shares n·share.
    """
    return (1.0 - share) ** -n if share < 1.0 else math.nan


def late_contact_bias(n: float, share: float, *, least_squares: bool = True) -> float:
    """Relative error of the modulus when contact is held at a wrong place.

    Parameters
    ----------
    n : exponent of the law
    share : how much too late, over the largest depth; negative if too early
    least_squares : of a fit over the whole depth (for small shares (2n+1)/2 · share); else of the
        last point alone (n · share)

    Returns
    -------
    float : 0.1 means that the modulus reads 10 % too high; NaN if share is 1 or more
    """
    if not share < 1.0:
        return math.nan
    if not least_squares:
        return late_contact_factor(n, share) - 1.0
    # C = ∫ δⁿ (δ - s)ⁿ / ∫ (δ - s)²ⁿ over the depths that both reach; t = δ - s
    low, high = max(-share, 0.0), 1.0 - share
    node, weight = np.polynomial.legendre.leggauss(80)
    root = math.sqrt(low) + 0.5 * (node + 1.0) * (math.sqrt(high) - math.sqrt(low))
    t = root * root  # even in √t, where the integrand is smooth at contact
    total = float(np.sum(weight * root * (t * np.maximum(t + share, 0.0)) ** n))
    total *= math.sqrt(high) - math.sqrt(low)
    return total * (2.0 * n + 1.0) / (high ** (2.0 * n + 1.0) - low ** (2.0 * n + 1.0)) - 1.0


def threshold_delay(m_sigma: float, stiffness: float, n: float) -> float:
    """How deep the tip already is where the force first reaches a threshold, (mσ/C)^(1/n) [nm].

    Parameters
    ----------
    m_sigma : the threshold [nN], or as a deflection [nm] with c = C/k as `stiffness`
    stiffness : C in F = C δⁿ; soft samples have a small one and are found the later
    """
    return (m_sigma / stiffness) ** (1.0 / n)
