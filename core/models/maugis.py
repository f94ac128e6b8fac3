"""Maugis-Dugdale: a paraboloid with a constant attraction in a ring around the contact.

With m the outer radius of the ring over the contact's, A = a/(πwR²/K)^(1/3), P = F/(πwR),
Δ = δ/(π²w²R/K²)^(1/3):

    1 = (λA²/2) [√(m²-1) + (m²-2) arcsec m] + (4λ²A/3) [√(m²-1) arcsec m - m + 1]
    P = A³ - λA² [√(m²-1) + m² arcsec m],    Δ = A² - (4/3) λA √(m²-1)

The first is a quadratic in A, so everything is explicit in m. λ -> 0 is DMT, λ -> ∞ JKR.
Maugis, J. Colloid Interface Sci. 150 (1992) 243 (form from memory). The same in the kernels'
parameter stands in `adhesive`; this one is for people and for tests.
"""

from __future__ import annotations

import numpy as np

Array = np.ndarray


def of_ring(m: Array | float, lam: float) -> tuple[Array, Array, Array]:
    """A, P and Δ at ring ratios m > 1 (n,)."""
    m = np.asarray(m, dtype=float)
    root, angle = np.sqrt(m * m - 1.0), np.arccos(1.0 / m)
    one, two = root + (m * m - 2.0) * angle, root * angle - m + 1.0
    big = 4.0 / 3.0 * lam**2 * two
    a = 2.0 / (big + np.sqrt(big**2 + 2.0 * lam * one))
    return (a, a**3 - lam * a**2 * (root + m * m * angle),
            a**2 - 4.0 / 3.0 * lam * a * root)  # fmt: skip


def ring_at(radius: float, lam: float) -> float:
    """m at a contact radius A, by root finding."""
    from scipy.optimize import brentq

    return 1.0 + float(np.exp(brentq(
        lambda e: float(of_ring(1.0 + np.exp(e), lam)[0]) - radius, -25.0, 20.0, xtol=1e-14,
    )))  # fmt: skip


def pull_off(lam: float) -> float:
    """The lowest P along the curve (negative): -2 for λ -> 0, -1.5 for λ -> ∞."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(lambda e: float(of_ring(1.0 + np.exp(e), lam)[1]),
                            bounds=(-16.0, 12.0), method="bounded",
                            options={"xatol": 1e-10})  # fmt: skip
    return float(found.fun)


def at_zero_load(lam: float) -> tuple[float, float]:
    """A and Δ where P = 0."""
    from scipy.optimize import brentq

    e = brentq(lambda e: float(of_ring(1.0 + np.exp(e), lam)[1]), -16.0, 5.0, xtol=1e-14)
    a, _, delta = of_ring(1.0 + np.exp(e), lam)
    return float(a), float(delta)
