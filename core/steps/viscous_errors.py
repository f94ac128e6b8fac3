"""Uncertainties of a fitted relaxing solid: noise, baselines, a held pull, and noise that is slow.

What is reported (ln c after the loading time, the exponent, moduli at either end, a time) are
functions of the fitted parameters. Each has a gradient; its variance is that of the parameters
along it, and its slow variance is worked out from the weight that each sample of either branch has
in it. On each branch the weights add up to zero, a baseline having been taken off, so for a walk
the branches do not know of each other.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import viscous as vs
from ..compiled import kernel
from .contact_law import PARAMETERS
from .slow import walk_variance
from .solver import invert
from .viscous_model import (
    ARM,
    BY,
    COUNT,
    MODEL,
    ROWS,
    cost_of,
    derivatives,
    group_size,
    normal,
    predict,
)


@kernel
def carried(inverse, along, m, p):
    """H Jᵀv for parameter p."""
    value = 0.0
    for q in range(m):
        value += inverse[p, q] * along[q]
    return value


@kernel
def covariance(par, m, case, model, depth, t, z, turn, rows, w, grid, space, used, base, var_a,
               sums, inverse, cov, along, trial, row):  # fmt: skip
    """Covariance of the parameters into ``cov`` (4, 4); False if it is not positive.

    Noise gives s² (JᵀJ)⁻¹, s the baselines' noise or the residual's, whichever is larger by more
    than chance; the two baselines and the pull-off that were held shift the parameters, as in the
    elastic fit.
    """
    if not derivatives(par, m, case, model, depth, t, z, turn, rows, w, grid, space, used, trial):
        return False
    normal(space, used, m, sums)
    if not invert(sums, m, 0.0, inverse):
        return False
    inward, more = int(case[8]), ROWS - 1
    step = 1e-3 * depth
    case[3] += step
    fine = predict(par, m, case, model, t, z, turn, rows, w, grid, space, used, space[more])
    case[3] -= step
    along[:] = 0.0
    there = back = 0.0
    for g in range(used):
        by_pull = (space[more, g] - space[MODEL, g]) / step if fine and var_a > 0.0 else 0.0
        side = 0 if g < inward else 2
        if g < inward:
            there += space[COUNT, g]
        else:
            back += space[COUNT, g]
        for p in range(m):
            value = space[BY + p, g] * space[COUNT, g]
            along[side, p] += value
            along[side + 1, p] += value * space[ARM, g]
            along[4, p] += value * by_pull
    variance = cost_of(space, used, space[MODEL]) / max(used - m, 1)
    noise = (there * base[bl.B_NOISE] ** 2 + back * base[bl.RETRACT + bl.B_NOISE] ** 2) / (
        there + back
    )
    row[vs.RESIDUAL] = math.sqrt(variance)
    if variance > noise * (1.0 + 3.0 * math.sqrt(2.0 / max(used - m, 1))):
        noise = variance
    for p in range(m):
        for q in range(m):
            cov[p, q] = noise * inverse[p, q]
            for side in range(2):
                b = bl.RETRACT * side
                o = carried(inverse, along[2 * side], m, p), carried(inverse, along[2 * side], m, q)
                s = (carried(inverse, along[2 * side + 1], m, p),
                     carried(inverse, along[2 * side + 1], m, q))  # fmt: skip
                cov[p, q] += (o[0] * o[1] * base[b + bl.B_VAR_OFFSET]
                              + s[0] * s[1] * base[b + bl.B_VAR_SLOPE]
                              + (o[0] * s[1] + o[1] * s[0]) * base[b + bl.B_COV])  # fmt: skip
            cov[p, q] += var_a * carried(inverse, along[4], m, p) * carried(inverse, along[4], m, q)
    least = cov[0, 0]
    for p in range(1, m):
        least = min(least, cov[p, p])
    return least > 0.0


@kernel
def sum_up(gradient, m, cov, white, slow, branches, weights, inverse, along, space, base, za, zr,
           slow_a, row):  # fmt: skip
    """Variance along a gradient into the columns `white` and `slow` of ``row``.

    ``branches`` is first and last (exclusive) sample of the windows on approach and retract, and
    the approach's groups; `slow_a` the slow variance of the pull that was held. ``gradient`` is
    followed by as much work space.
    """
    row[white] = held = 0.0
    for p in range(m):
        held += gradient[p] * carried(inverse, along[4], m, p)
        gradient[PARAMETERS + p] = 0.0
        for q in range(m):
            row[white] += gradient[p] * gradient[q] * cov[p, q]
            gradient[PARAMETERS + p] += inverse[p, q] * gradient[q]
    row[slow] = held * held * slow_a
    for back in range(2):
        first, last = branches[2 * back], branches[2 * back + 1]
        size = group_size(last - first)
        for i in range(first, last):
            g = branches[4] + (last - 1 - i) // size if back == 1 else (i - first) // size
            weights[0, i] = 0.0
            for p in range(m):
                weights[0, i] += gradient[PARAMETERS + p] * space[BY + p, g]
        row[slow] += walk_variance(zr if back == 1 else za, weights, 0, first, last, base,
                                   bl.RETRACT * back, 0.0, 0.0)  # fmt: skip


@kernel
def report(par, m, model, cov, reference, loading, branches, weights, inverse, along, space, base,
           za, zr, slow_a, gradient, row):  # fmt: skip
    """What is reported of the parameters, with variances, into ``row``.

    ln c is that after the loading time; ``gradient`` is work space.
    """
    row[vs.LOADING] = loading
    row[vs.Z0] = par[m - 1]
    many = 3 if model == vs.POWER_LAW else 5
    later, by_ratio, by_time = math.log(loading / reference), 0.0, 0.0
    if model == vs.POWER_LAW:
        row[vs.LN_C], row[vs.BETA] = par[0] - par[1] * later, par[1]
        row[vs.COV] = cov[0, 1] - later * cov[1, 1]
    else:
        x = reference / math.exp(par[2])
        left = math.exp(-x)
        ratio = (math.exp(-par[1]) - left) / (1.0 - left)  # c∞/c₀
        row[vs.INSTANT] = par[0] + par[1]
        row[vs.RELAXED] = row[vs.INSTANT] + math.log(ratio)
        row[vs.TIME] = par[2]
        by_ratio = -left / (1.0 - left) / ratio
        by_time = math.expm1(-par[1]) / (1.0 - left) ** 2 * left * x / ratio
        rest = math.exp(-loading / math.exp(par[2]))
        row[vs.LN_C] = row[vs.INSTANT] + math.log(ratio + (1.0 - ratio) * rest)
        later = 0.0  # ln c is a parameter here, the loading time's own change is small
    for which in range(many):
        for p in range(PARAMETERS):
            gradient[p] = 0.0
        white, slow = vs.VAR_Z0, vs.SLOW_Z0
        if which == 0:
            gradient[0], gradient[1] = 1.0, -later
            white, slow = vs.VAR_LN_C, vs.SLOW_LN_C
        elif which == many - 1:
            gradient[m - 1] = 1.0
        elif model == vs.POWER_LAW:
            gradient[1] = 1.0
            white, slow = vs.VAR_BETA, vs.SLOW_BETA
        elif which == 1:
            gradient[0], gradient[1] = 1.0, 1.0
            white, slow = vs.VAR_INSTANT, vs.SLOW_INSTANT
        elif which == 2:
            gradient[0], gradient[1], gradient[2] = 1.0, by_ratio, by_time
            white, slow = vs.VAR_RELAXED, vs.SLOW_RELAXED
        else:
            gradient[2] = 1.0
            white, slow = vs.VAR_TIME, vs.SLOW_TIME
        sum_up(gradient, m, cov, white, slow, branches, weights, inverse, along, space, base, za,
               zr, slow_a, row)  # fmt: skip
