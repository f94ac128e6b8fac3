"""Levenberg-Marquardt for a contact law, made where the noise is.

The noise is in the deflection d; the base position z is known. So d is fitted as a function of z
(see ``models/power.py``), never force against indentation, which both carry the noise and bias the
modulus low. Parameters are ln c, with c = C/k, the contact point z0, the pull-off deflection a and
the exponent n; which of them are free is the caller's choice.

A fit is good only where the undamped step has nothing left to gain. One that gets no further while
there is something to gain has not converged, or never moved; one that ends at a bound says so.
"""

from __future__ import annotations

import math

from ..columns import fit as ft
from ..columns.law import EXPONENT, KIND, LN_C, PULL, SHAPE, Z0
from ..compiled import kernel
from ..models.forward import deflection
from .contact_law import PARAMETERS, ask, prepare

MOST_STEPS = 80
LEAST_EXPONENT, MOST_EXPONENT = 0.5, 6.0
MOST_FALL, MOST_RISE = 1.5, 0.7
"""Most that the logarithm of a pull-off may change in a step."""
G, COST = 16, 24  # where Jᵀr and the cost stand in `sums`, behind JᵀJ
SUMS = 25
FINE, COARSE = 1e-5, 1e-2
"""What a last step may still gain, in units of the variance of one sample: all digits, or a start
for a finer fit."""


@kernel
def power_sums(z, d, first, last, stride, c, z0, n, a, sums):
    """`normal_sums` for ln c and z0 of a pure power: the commonest case, without the detours."""
    cost = j00 = j01 = j11 = g0 = g1 = 0.0
    guess = -1.0
    before = 0.0
    for i in range(first, last, stride):
        root, _, f, slope = deflection(z[i] - z0 + a, c, n, guess)
        guess = 2.0 * root - before if before > 0.0 else root * 1.02
        before = root
        share = 1.0 / (1.0 + slope)
        to_c = f * share
        to_z0 = -slope * share
        r = d[i] - f + a
        cost += r * r
        j00 += to_c * to_c
        j01 += to_c * to_z0
        j11 += to_z0 * to_z0
        g0 += to_c * r
        g1 += to_z0 * r
    sums[0], sums[1], sums[5], sums[G], sums[G + 1], sums[COST] = j00, j01, j11, g0, g1, cost


@kernel
def is_plain(par, free, law, rows):
    """Whether `power_sums` serves: a power 1, 3/2 or 2 with ln c and z0 free."""
    n = par[EXPONENT]
    return (law[KIND] == SHAPE and rows.shape[0] == 0 and free.size == 2 and free[1] == Z0
            and (n == 1.5 or n == 2.0 or n == 1.0))  # fmt: skip


@kernel
def normal_sums(z, d, first, last, stride, par, free, law, rows, pre, sums, out, work):
    """Cost, JᵀJ and Jᵀr over the free parameters at one parameter point, into ``sums``.

    Every `stride`-th sample serves.

    JᵀJ stands in ``sums[0:16]`` (4 x 4, row by row, upper triangle), Jᵀr at G, Σr² at COST.
    Returns False where the law is impossible.
    """
    m = free.size
    sums[:] = 0.0
    if not prepare(par, law, rows, pre, work):
        return False
    if is_plain(par, free, law, rows):
        power_sums(z, d, first, last, stride, pre[0], par[Z0], par[EXPONENT], par[PULL], sums)
        return math.isfinite(sums[COST])
    guess = before = -1.0
    for i in range(first, last, stride):
        now = ask(z[i] - par[Z0], par, law, rows, pre, guess, out, work)
        guess, before = (2.0 * now - before if before > 0.0 else now), now
        r = d[i] - out[0]
        sums[COST] += r * r
        for p in range(m):
            left = out[1 + free[p]]
            sums[G + p] += left * r
            for q in range(p, m):
                sums[PARAMETERS * p + q] += left * out[1 + free[q]]
    return math.isfinite(sums[COST])


@kernel
def invert(sums, m, damping, inverse):
    """Inverse of JᵀJ with its diagonal raised by (1 + damping), into ``inverse`` (4, 4).

    By Cholesky after scaling the diagonal to one; False if it is not safely positive.
    """
    lower = inverse
    for p in range(m):
        if not sums[PARAMETERS * p + p] > 0.0:
            return False
    for p in range(m):
        for q in range(p + 1):
            value = sums[PARAMETERS * q + p] / math.sqrt(
                sums[PARAMETERS * p + p] * sums[PARAMETERS * q + q]
            )
            if p == q:
                value *= 1.0 + damping
            for j in range(q):
                value -= lower[p, j] * lower[q, j]
            if p == q:
                if not value > 1e-12:
                    return False
                lower[p, p] = math.sqrt(value)
            else:
                lower[p, q] = value / lower[q, q]
    for p in range(m):  # the inverse of the triangle, in place
        lower[p, p] = 1.0 / lower[p, p]
        for q in range(p):
            value = 0.0
            for j in range(q, p):
                value -= lower[p, j] * lower[j, q]
            lower[p, q] = value * lower[p, p]
    for p in range(m):  # times its transpose, and the scaling undone
        for q in range(p, m):
            value = 0.0
            for j in range(q, m):
                value += lower[j, p] * lower[j, q]
            inverse[p, q] = value / math.sqrt(
                sums[PARAMETERS * p + p] * sums[PARAMETERS * q + q]
            )
    for p in range(m):
        for q in range(p):
            inverse[p, q] = inverse[q, p]
    return True


@kernel
def along_the_valley(par, step_c, step_z, step_n, top, trial):
    """A step in ln c, z0 and the exponent, taken so that the cost's curved valley is followed.

    With a free exponent the three go together along a bent line. Nearly straight are the base
    position at which the law reaches the force c δⁿ = `top`, the logarithm of its slope there, and
    1/n: the step is turned into those by their derivatives, made, and turned back.
    """
    n = par[EXPONENT]
    depth = math.exp((math.log(top) - par[LN_C]) / n)
    by_depth = -(step_c + math.log(depth) * step_n) / n  # step of ln depth
    m = 1.0 / n - step_n / (n * n)
    m = min(max(m, 1.0 / MOST_EXPONENT), 1.0 / LEAST_EXPONENT)
    slope = math.log(depth / n) + by_depth - step_n / n
    after = math.exp(slope) / m
    trial[Z0] = par[Z0] + depth * (1.0 + by_depth) + step_z - after
    trial[LN_C] = math.log(top) - math.log(after) / m
    trial[EXPONENT] = 1.0 / m


@kernel
def by_ratio(par, free, step, inverse, which, floor, trial):
    """Turn a step of the pull-off, free parameter number `which`, into one of its logarithm.

    Along the valley in which the cost hardly changes, ln c goes with the logarithm of the pull-off
    and z0 with the pull-off itself. What the step holds of that is made anew for the pull-off that
    the trial really has.
    """
    change = step[which]
    s = min(max(change / par[PULL], -MOST_FALL), MOST_RISE)
    trial[PULL] = max(par[PULL] * math.exp(s), floor)
    for p in range(free.size):
        along = inverse[p, which] / inverse[which, which]
        if free[p] == LN_C:
            trial[LN_C] += along * (par[PULL] * math.log(trial[PULL] / par[PULL]) - change)
        elif free[p] == Z0:
            trial[Z0] += along * (trial[PULL] - par[PULL] - change)
    return s == change / par[PULL]


@kernel
def clipped(par, free, step, inverse, floor, top, trial):
    """``par`` moved by a step that is not allowed to run away, into ``trial``.

    Returns by how much the step was shortened: 1 if not at all.
    """
    largest = 1.0
    for p in range(free.size):
        which = free[p]
        if which == LN_C:
            largest = max(largest, abs(step[p]))
        elif which == EXPONENT:
            largest = max(largest, abs(step[p]) / 0.3)
    trial[:] = par
    by_n = 0.0
    for p in range(free.size):
        step[p] /= largest
        trial[free[p]] += step[p]
    for p in range(free.size):
        if free[p] == PULL and not by_ratio(par, free, step, inverse, p, floor, trial):
            largest = max(largest, 2.0)
        if free[p] == EXPONENT:
            by_n = step[p]
    if by_n != 0.0 and top > 0.0:
        along_the_valley(par, trial[LN_C] - par[LN_C], trial[Z0] - par[Z0], by_n, top, trial)
    return largest


@kernel
def gain_of(sums, inverse, m, step):
    """The step H Jᵀr into ``step`` and what it gains by the linear model; H is in ``inverse``."""
    gain = 0.0
    for p in range(m):
        step[p] = 0.0
        for q in range(m):
            step[p] += inverse[p, q] * sums[G + q]
        gain += step[p] * sums[G + p]
    return gain


@kernel
def at_bound(par, free, floor):
    """Whether a free exponent or pull-off stands at the end of its range."""
    for p in range(free.size):
        if free[p] == PULL and par[PULL] <= floor:
            return True
        if free[p] == EXPONENT and not LEAST_EXPONENT < par[EXPONENT] < MOST_EXPONENT:
            return True
    return False


@kernel
def eased(damping, kept):
    """The damping after a step that kept this share of what the linear model promised."""
    if kept < 0.25:
        return damping * 2.0
    if kept < 0.75:
        return damping
    return damping * 0.1 if damping > 1e-6 else 0.0


@kernel
def stopped(sums, inverse, m, step, limit, moved):
    """The state of a fit that gets no further: good if the undamped step gains nothing."""
    if not invert(sums, m, 0.0, inverse):
        return ft.NOT_POSITIVE
    if gain_of(sums, inverse, m, step) <= limit:
        return ft.GOOD
    return ft.NOT_CONVERGED if moved else ft.NOT_MOVED


@kernel
def minimise(z, d, first, last, stride, floor, least, par, free, law, rows, pre, sums, out, work,
             inverse, room):  # fmt: skip
    """Levenberg-Marquardt from ``par``, in place.

    Parameters
    ----------
    stride : every so many samples serve; 1 for all
    floor : the least pull-off deflection that is one [nm]
    least : FINE or COARSE
    room : (4, SUMS) work space

    Returns a state of ``columns.fit``: GOOD, NOT_CONVERGED, NOT_MOVED, AT_BOUND or NOT_POSITIVE.
    """
    m, count = free.size, (last - first + stride - 1) // stride
    top = d[last - 1] + par[PULL]
    step, trial, kept, before = room[0], room[1, :PARAMETERS], room[2, :PARAMETERS], room[3]
    if not normal_sums(z, d, first, last, stride, par, free, law, rows, pre, sums, out, work):
        return ft.NOT_CONVERGED
    damping, moved, held = 0.0, False, 0
    for _ in range(MOST_STEPS):
        cost = sums[COST]
        if not invert(sums, m, damping, inverse):
            damping = max(damping * 8.0, 1e-3)
            if damping > 1e12:
                return ft.NOT_POSITIVE
            continue
        gain = gain_of(sums, inverse, m, step)
        largest = clipped(par, free, step, inverse, floor, top, trial)
        if damping < 0.1 and gain <= least * cost / count + 1e-24 and largest == 1.0:
            par[:] = trial
            return ft.AT_BOUND if at_bound(par, free, floor) else ft.GOOD
        kept[:] = par
        before[:] = sums
        par[:] = trial
        good = normal_sums(z, d, first, last, stride, par, free, law, rows, pre, sums, out, work)
        if good and sums[COST] <= cost:
            moved = True
            damping = eased(damping, (cost - sums[COST]) / max(gain, 1e-300))
            held = held + 1 if at_bound(par, free, floor) else 0
            if held == 3:
                return ft.AT_BOUND
            continue
        par[:] = kept
        sums[:] = before
        damping = max(damping * 8.0, 1e-5)
        if damping > 1e12:
            break
    if at_bound(par, free, floor):
        return ft.AT_BOUND
    return stopped(sums, inverse, m, step, 1e-4 * sums[COST] / count + 1e-24, moved)
