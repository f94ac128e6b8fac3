"""The laws F = C δⁿ - F_ad solved for the deflection, compiled; see `power` for the symbols."""

from __future__ import annotations

import math

from ..compiled import kernel


@kernel
def root_of_depth(u, c, guess):
    """√δ that solves δ + c δ^(3/2) = u, u > 0: Newton's method on a convex cubic.

    `guess` is a start (the value of the neighbouring sample makes two steps enough); one that is
    not between 0 and √u is replaced by √u. The last step is below 1e-5, so the error after it is
    of the order 1e-10.
    """
    top = math.sqrt(u)
    s = guess if 0.0 < guess < top else top
    for _ in range(60):
        cs = c * s
        step = (s * s * (1.0 + cs) - u) / (s * (2.0 + 3.0 * cs))
        s = min(s - step, top)
        if abs(step) <= 1e-5 * s:
            break
    return s


@kernel
def deflection(u, c, n, guess):
    """(√δ, δ, c δⁿ, its slope n c δⁿ⁻¹) where δ + c δⁿ = u, u = z - z0 + a; n = 1, 3/2 or 2.

    All zero before contact. `guess` is a start for √δ at n = 3/2.
    """
    if u <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    if n == 1.5:
        root = root_of_depth(u, c, guess)
        delta = root * root
        cs = c * root
        return root, delta, cs * delta, 1.5 * cs
    if n == 1.0:
        delta = u / (1.0 + c)
        return 0.0, delta, c * delta, c
    delta = 2.0 * u / (1.0 + math.sqrt(1.0 + 4.0 * c * u))
    return 0.0, delta, c * delta * delta, 2.0 * c * delta
