"""The laws F = E* g δⁿ q(δ) - F_ad solved for the deflection, compiled; see `law` and `power`.

Lengths only: c = E* g/k, a = F_ad/k, and the base at u = z - z0 gives δ + c δⁿ q = u + a,
d = c δⁿ q - a. q is 1 for the powers and read off a `law.Table` for all others.
"""

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
def log_ratio(x, rows, step):
    """ln q and d(ln q)/dx at x = √(δ/unit), by cubic Hermite interpolation of a table.

    Beyond the table it goes on straight; a doubt says that the law ends there.
    """
    last = rows.shape[0] - 1
    t = x / step
    i = int(t)
    if i >= last:
        slope = rows[last, 1]
        return rows[last, 0] + slope * (x - last * step), slope
    t -= i
    y0, y1 = rows[i, 0], rows[i + 1, 0]
    m0, m1 = rows[i, 1] * step, rows[i + 1, 1] * step
    b = 3.0 * (y1 - y0) - 2.0 * m0 - m1
    e = m0 + m1 - 2.0 * (y1 - y0)
    return y0 + t * (m0 + t * (b + t * e)), (m0 + t * (2.0 * b + 3.0 * t * e)) / step


@kernel
def power_of(s, n):
    """s^(2n), without a power function for the common exponents."""
    if n == 1.5:
        return s * s * s
    if n == 2.0:
        return s * s * s * s
    if n == 1.0:
        return s * s
    return s ** (2.0 * n)


@kernel
def shape_force(s, c, n, rows, step, unit):
    """c δⁿ q and its slope with respect to δ, at s = √δ > 0."""
    f = c * power_of(s, n)
    if rows.shape[0] == 0:
        return f, n * f / (s * s)
    scale = 1.0 / math.sqrt(unit)
    y, slope = log_ratio(s * scale, rows, step)
    f *= math.exp(y)
    return f, f * (n / (s * s) + 0.5 * slope * scale / s)


@kernel
def shape_depth(u, c, n, rows, step, unit, guess):
    """√δ where δ + c δⁿ q = u, u > 0: Newton's method on √δ, kept inside 0 .. √u."""
    if rows.shape[0] == 0:
        if n == 1.5:
            return root_of_depth(u, c, guess)
        if n == 1.0:
            return math.sqrt(u / (1.0 + c))
        if n == 2.0:
            return math.sqrt(2.0 * u / (1.0 + math.sqrt(1.0 + 4.0 * c * u)))
    low, high = 0.0, math.sqrt(u)
    s = guess if 0.0 < guess < high else high
    for _ in range(80):
        f, slope = shape_force(s, c, n, rows, step, unit)
        miss = s * s + f - u
        if miss > 0.0:
            high = s
        else:
            low = s
        change = miss / (2.0 * s * (1.0 + slope))
        after = s - change
        if not low < after < high:
            after = 0.5 * (low + high)
        if abs(after - s) <= 1e-5 * s:
            return after
        s = after
    return s


@kernel
def deflection(u, c, n, guess):
    """(√δ, δ, c δⁿ, its slope n c δⁿ⁻¹) where δ + c δⁿ = u, u = z - z0 + a; q = 1.

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
