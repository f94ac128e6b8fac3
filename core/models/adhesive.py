"""JKR and Maugis-Dugdale solved for the deflection, compiled, in lengths only.

With c = K √R/k as for the paraboloid (K = 4E*/3) and a = F_ad/k the pull-off deflection, neither
law knows the tip radius by itself:

JKR (Johnson, Kendall & Roberts, Proc. R. Soc. A 324 (1971) 301), with s² = (contact radius)/a₁:
    d = a f,  f = s⁶ - 2 s³;    δ = h g,  g = 3 s⁴ - 4 s,  h = (a/c)^(2/3)/3

Maugis-Dugdale (Maugis, J. Colloid Interface Sci. 150 (1992) 243; form from memory), with
W = π w R/k, H = (W/c)^(2/3), λ = l H/ε and ε the distance at rest:
    d = W P(φ, λ),  δ = H Δ(φ, λ),  cos φ = 1/m, m the adhesive zone's radius over the contact's.
With φ as the parameter A, P and Δ are explicit; a = W |P_min(λ)| is what a retract shows, and
|P_min| comes in as a table of ln λ.

A base at u = z - z0 gives δ + d = u. Where the lever lets the tip go (du/d(contact) = 0) the
branch ends; before it there is no contact.
"""

from __future__ import annotations

import math

import numpy as np

from ..compiled import kernel
from .forward import log_ratio

STRENGTH = 2.0 / math.pi * 16.0 / (9.0 * math.sqrt(3.0))
"""l in λ = l H/ε: the peak stress of a Lennard-Jones attraction, σ₀ = 16 w/(9√3 ε)."""


MOST_PHI = 1.5706
"""φ stays below π/2: beyond, the contact is a point."""


@kernel
def jkr_travel(s, h, a):
    """u(s), du/ds."""
    cube = s * s * s
    return (h * (3.0 * cube * s - 4.0 * s) + a * (cube * cube - 2.0 * cube),
            h * (12.0 * cube - 4.0) + a * (6.0 * cube * s * s - 6.0 * s * s))  # fmt: skip


@kernel
def jkr_fold(h, a):
    """s where the lever lets the tip go: du/ds = 0, between 3^(-1/3) and 1."""
    low, high = 0.693361274350634, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if jkr_travel(middle, h, a)[1] < 0.0:
            low = middle
        else:
            high = middle
        if high - low < 1e-9:
            break
    return high


@kernel
def jkr_solve(u, h, a, fold, guess):
    """s on the stable branch where u(s) = u; the fold itself where the tip has let go."""
    if u <= jkr_travel(fold, h, a)[0]:
        return fold
    s = guess
    if not s > fold:
        s = 1.5
    for _ in range(60):  # from the right of the root, where the function is convex
        if jkr_travel(s, h, a)[0] >= u:
            break
        s *= 1.2
    for _ in range(60):
        value, slope = jkr_travel(s, h, a)
        change = (value - u) / slope
        s = max(s - change, 0.5 * (s + fold))
        if abs(change) <= 1e-7 * s:
            break
    return s


@kernel
def jkr_point(u, c, a, h, fold, guess, out):
    """d and its derivatives by ln c, z0 and a into ``out`` (0..3); returns s."""
    s = jkr_solve(u, h, a, fold, guess)
    cube = s * s * s
    f, g = cube * cube - 2.0 * cube, cube * s * 3.0 - 4.0 * s
    out[0] = a * f
    if s <= fold:
        out[1], out[2], out[3] = 0.0, 0.0, f
        return s
    per_s = a * (6.0 * cube * s * s - 6.0 * s * s)
    ratio = per_s / jkr_travel(s, h, a)[1]
    out[1] = ratio * 2.0 / 3.0 * h * g
    out[2] = -ratio
    out[3] = f - ratio * (2.0 / 3.0 * h / a * g + f)
    return s


POINT = 14
"""Numbers that a point of Maugis-Dugdale's law leaves in its work space."""


@kernel
def maugis_shape(phi, lam, out):
    """A, P, Δ and their derivatives by φ into ``out`` (0..5), and from 9 on what `by_lambda` needs.

    Series for small φ, where the closed forms cancel.
    """
    t = math.tan(phi)
    sec = math.sqrt(1.0 + t * t)
    square = phi * phi
    if phi < 0.02:
        q1 = phi * square * (4.0 / 3.0 + square * (0.8 + square * 0.4317460317460317))
        q2 = square * (0.5 + square * (0.125 + square * 0.04861111111111111))
    else:
        q1 = t - phi + phi * t * t
        q2 = phi * t - sec + 1.0
    d1 = 2.0 * t * t + 2.0 * phi * t * sec * sec
    d2 = t + phi * sec * sec - sec * t
    b = 4.0 / 3.0 * lam * lam * q2
    radius = 2.0 / (b + math.sqrt(b * b + 2.0 * lam * q1))
    below = lam * q1 * radius + b
    a_phi = -(0.5 * lam * d1 * radius * radius + 4.0 / 3.0 * lam * lam * d2 * radius) / below
    pull = t + phi * sec * sec
    pull_phi = 2.0 * sec * sec * (1.0 + phi * t)
    square = radius * radius
    out[0] = radius
    out[1] = square * radius - lam * square * pull
    out[2] = square - 4.0 / 3.0 * lam * radius * t
    out[3] = a_phi
    out[4] = 3.0 * square * a_phi - lam * (2.0 * radius * a_phi * pull + square * pull_phi)
    out[5] = 2.0 * radius * a_phi - 4.0 / 3.0 * lam * (a_phi * t + radius * sec * sec)
    out[9], out[10], out[11], out[12], out[13] = t, q1, q2, below, pull


@kernel
def by_lambda(lam, out):
    """A_λ, P_λ, Δ_λ into ``out`` (6..8) after `maugis_shape`."""
    radius, t, q1, q2, below, pull = out[0], out[9], out[10], out[11], out[12], out[13]
    square = radius * radius
    a_lam = -(0.5 * q1 * square + 8.0 / 3.0 * lam * q2 * radius) / below
    out[6] = a_lam
    out[7] = 3.0 * square * a_lam - square * pull - 2.0 * lam * radius * a_lam * pull
    out[8] = 2.0 * radius * a_lam - 4.0 / 3.0 * t * (radius + lam * a_lam)


@kernel
def maugis_point(phi, lam, out):
    """A, P, Δ and their derivatives by φ and λ into ``out`` (POINT,): A, P, Δ, A_φ, P_φ, Δ_φ, A_λ,
    P_λ, Δ_λ, and what they are made from."""
    maugis_shape(phi, lam, out)
    by_lambda(lam, out)


@kernel
def fill_pull_off(start, step, rows):
    """The table that `weakest` reads: (nodes, 2), ln|P_min| and its slope over ln λ.

    P_min is where dP/dφ = 0 (or at the end of φ for a weak attraction, where the contact shrinks
    to a point); the slope λ P_λ/P there follows from the envelope theorem.
    """
    out = np.empty(POINT)
    for i in range(rows.shape[0]):
        lam = math.exp(start + step * i)
        low, high = 1e-6, MOST_PHI
        for _ in range(100):
            middle = math.sqrt(low * high)
            maugis_point(middle, lam, out)
            if out[4] < 0.0:
                low = middle
            else:
                high = middle
        maugis_point(low, lam, out)
        rows[i, 0], rows[i, 1] = math.log(-out[1]), lam * out[7] / out[1]


@kernel
def weakest(lam, rows, step, start):
    """|P_min| and d ln|P_min|/d ln λ from the table of ln|P_min| over ln λ = start, +step ..."""
    x = min(max(math.log(lam) - start, 0.0), (rows.shape[0] - 1.000001) * step)
    y, slope = log_ratio(x, rows, step)
    return math.exp(y), slope


@kernel
def maugis_scales(c, a, distance, rows, step, start):
    """W, H, λ and dlnW/dlnc, dlnW/dlna for a given pull-off deflection."""
    w = a / 1.7
    slope = least = 0.0
    for _ in range(30):
        least, slope = weakest(STRENGTH * (w / c) ** (2.0 / 3.0) / distance, rows, step, start)
        change = math.log(a / (w * least)) / (1.0 + 2.0 / 3.0 * slope)
        w *= math.exp(change)
        if abs(change) < 1e-12:
            break
    h = (w / c) ** (2.0 / 3.0)
    return (w, h, STRENGTH * h / distance, 2.0 / 3.0 * slope / (1.0 + 2.0 / 3.0 * slope),
            1.0 / (1.0 + 2.0 / 3.0 * slope))  # fmt: skip


@kernel
def fall(phi, w, h, lam, out):
    """du/dφ over the sum of its two parts' sizes: between -1 and 1, so that it is near a line."""
    maugis_shape(phi, lam, out)
    return (h * out[5] + w * out[4]) / (h * abs(out[5]) + w * abs(out[4]))


@kernel
def maugis_fold(w, h, lam, out):
    """φ where the lever lets the tip go: the smallest u; MOST_PHI if u falls all the way.

    By a false position that does not keep one end (Illinois).
    """
    low, high = 1e-4, MOST_PHI
    left, right = fall(low, w, h, lam, out), fall(high, w, h, lam, out)
    if right <= 0.0:
        return high
    side = 0
    middle = low
    for _ in range(60):
        middle = (low * right - high * left) / (right - left)
        if not low < middle < high:
            middle = 0.5 * (low + high)
        value = fall(middle, w, h, lam, out)
        if value < 0.0:
            low, left = middle, value
            right *= 0.5 if side == -1 else 1.0
            side = -1
        else:
            high, right = middle, value
            left *= 0.5 if side == 1 else 1.0
            side = 1
        if high - low < 1e-5 * low or abs(value) < 1e-8:
            break
    return middle


@kernel
def maugis_prepare(c, a, distance, rows, step, start, pre, work):
    """What `maugis_deflection` needs to know of c and a, into ``pre`` (8,)."""
    pre[0], pre[1], pre[2], pre[3], pre[4] = maugis_scales(c, a, distance, rows, step, start)
    pre[5], pre[6] = maugis_fold(pre[0], pre[1], pre[2], work), a
    maugis_shape(pre[5], pre[2], work)
    pre[7] = pre[1] * work[2] + pre[0] * work[1]


@kernel
def maugis_solve(u, w, h, lam, fold, edge, guess, out):
    """φ on the stable branch where H Δ + W P = u; the fold where the tip has let go.

    Newton's method on ln φ inside a shrinking bracket: u falls as φ grows. `guess` is 1/φ,
    which runs nearly straight from sample to sample; one that is not positive is none. `edge` is u
    at the fold.
    """
    if u <= edge:
        maugis_shape(fold, lam, out)
        return fold
    low, high = 1e-6, fold
    phi = 1.0 / guess if guess > 0.0 else 0.5 * fold
    if not low < phi < fold:
        phi = 0.5 * fold
    for _ in range(80):
        maugis_shape(phi, lam, out)
        miss = h * out[2] + w * out[1] - u
        if miss > 0.0:
            low = phi
        else:
            high = phi
        change = min(max(miss / (phi * (h * out[5] + w * out[4])), -1.5), 1.5)
        after = phi * (2.0 - change) / (2.0 + change)  # e^-change
        if not low < after < high:
            after = math.sqrt(low * high)
        if abs(after - phi) <= 1e-5 * phi:  # one more step: straight on, right to 1e-9
            out[1] += out[4] * (after - phi)
            out[2] += out[5] * (after - phi)
            return after
        phi = after
    return phi


@kernel
def maugis_deflection(u, pre, guess, out, work):
    """d and its derivatives by ln c, z0 and a into ``out`` (0..3); returns 1/φ.

    ``pre`` is W, H, λ, dlnW/dlnc, dlnW/dlna, fold, a, u at the fold.
    """
    w, h, lam, by_c, by_a, fold, a = pre[0], pre[1], pre[2], pre[3], pre[4], pre[5], pre[6]
    phi = maugis_solve(u, w, h, lam, fold, pre[7], guess, work)
    by_lambda(lam, work)
    p, delta = work[1], work[2]
    out[0] = w * p
    if phi >= fold:
        out[1], out[2], out[3] = 0.0, 0.0, w * p * by_a / a
        return 1.0 / phi
    ratio = w * work[4] / (h * work[5] + w * work[4])
    # by ln H at fixed φ and W (λ moves with H), and by ln W at fixed φ and H
    u_h, d_h = h * delta + (h * work[8] + w * work[7]) * lam, w * work[7] * lam
    by_h, by_w = d_h - ratio * u_h, w * p * (1.0 - ratio)
    out[1] = by_h * 2.0 / 3.0 * (by_c - 1.0) + by_w * by_c
    out[2] = -ratio
    out[3] = (by_h * 2.0 / 3.0 + by_w) * by_a / a
    return 1.0 / phi
