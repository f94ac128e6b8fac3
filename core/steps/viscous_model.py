"""A relaxing solid under a curve's own motion: the samples in groups, and the model at their times.

As in the elastic fit the noise is in the deflection and the base position is known, so d(t) is
predicted by the model's own history (`relaxing`) and not from the measured indentation.
Neighbouring samples are averaged into at most `GROUPS` a branch.
"""

from __future__ import annotations

import math

from ..columns import viscous as vs
from ..compiled import kernel
from . import relaxing as rx
from .contact_law import PARAMETERS
from .relaxing import march, read_off
from .solver import G
from .tools import convert

GROUPS = 96
LEAST_BETA, MOST_BETA = 0.0, 0.9
# rows of the groups' work space: time, deflection, samples, base position from the baseline's
# centre, model, and the derivatives by the parameters and by the pull
TIME, DEFLECTION, COUNT, ARM, MODEL, BY = 0, 1, 2, 3, 4, 5
ROWS = BY + PARAMETERS + 1


@kernel
def load_timed(z_raw, d_raw, first, count, backwards, scale, z, d, t):
    """As `tools.load_branch`, with the number of each sample in the branch, in measured order."""
    convert(z_raw, first, count, backwards, scale[0], scale[1], z)
    convert(d_raw, first, count, backwards, scale[2], scale[3], d)
    kept = 0
    for i in range(count):
        if math.isfinite(z[i]) and math.isfinite(d[i]):
            z[kept], d[kept] = z[i], d[i]
            t[kept] = count - 1 - i if backwards else i
            kept += 1
    return kept


@kernel
def record_of(za, ta, na, zr, tr, nr, timing, t, z):
    """The base over time into t, z: approach, the end of a hold, retract. Returns the length.

    ``timing`` is (s a sample on the approach, on the retract, length of the hold). The last sample
    of the approach is the turn; the retract's first is one sample after that, or after the hold.
    """
    for i in range(na):
        t[i], z[i] = ta[i] * timing[0], za[i]
    at, back = na, t[na - 1] + timing[2]
    if timing[2] > 0.0:
        t[at], z[at] = back, zr[nr - 1]
        if nr > 1 and tr[nr - 2] > tr[nr - 1]:
            pace = (zr[nr - 1] - zr[nr - 2]) / (tr[nr - 2] - tr[nr - 1])
            z[at] += pace * (tr[nr - 1] + 1.0)
        at += 1
    for i in range(nr - 1, -1, -1):
        t[at], z[at] = back + (tr[i] + 1.0) * timing[1], zr[i]
        at += 1
    return at


@kernel
def group_size(count):
    """Samples that are averaged into one group."""
    return max(1, (count + GROUPS - 1) // GROUPS)


@kernel
def group(t, place, d, z, first, count, forwards, centre, at, space):
    """Average neighbouring samples of a branch into groups from `at` on; returns the next place.

    The samples are `first` and the following, or the preceding ones if not `forwards`; their times
    follow each other in ``t`` from `place` on.
    """
    size = group_size(count)
    i = 0
    while i < count:
        many = min(size, count - i)
        s_t = s_d = s_z = 0.0
        for j in range(i, i + many):
            k = first + j if forwards else first - j
            s_t += t[place + j]
            s_d += d[k]
            s_z += z[k]
        space[TIME, at], space[DEFLECTION, at] = s_t / many, s_d / many
        space[COUNT, at], space[ARM, at] = many, s_z / many - centre
        at += 1
        i += many
    return at


@kernel
def predict(par, m, case, model, t, z, turn, rows, w, grid, space, used, out):
    """Deflections of the model at the groups' times; False if it is impossible.

    ``case`` is (reference, hold, end, a, steps in, n, table step, table unit, groups in).
    """
    z0, a, inward = par[m - 1], case[3], int(case[8])
    loads = int(case[4])
    plain = w[rx.PLAIN]
    plain[:PARAMETERS] = par
    if model == vs.STANDARD_SOLID:
        left = math.exp(-case[0] / math.exp(par[2]))
        ratio = (math.exp(-par[1]) - left) / (1.0 - left)  # c∞/c₀
        if not ratio > 0.0:
            return False
        plain[0], plain[1] = par[0] + par[1] + math.log(ratio), -math.log(ratio)
    if not march(plain, z0, model, case[0], t, z, turn, case[1], case[2], a, loads, case[5], rows,
                 case[6], case[7], w, grid):  # fmt: skip
        return False
    beta = par[1] if model == vs.POWER_LAW else 0.0
    read_off(space[TIME, :used], inward, beta, w, loads, grid, out)
    total = 0.0
    for g in range(used):
        out[g] -= a
        total += out[g]
    return math.isfinite(total)


@kernel
def cost_of(space, used, out):
    """Σ samples (measured - model)²."""
    total = 0.0
    for g in range(used):
        r = space[DEFLECTION, g] - out[g]
        total += space[COUNT, g] * r * r
    return total


@kernel
def nudge(par, p, m, model, depth):
    """The small step by which a derivative is taken, away from a bound."""
    if p == m - 1:
        return 2e-4 * depth
    if p == 1 and model == vs.POWER_LAW and par[1] > 0.5 * MOST_BETA:
        return -2e-4
    if p > 0 and model == vs.STANDARD_SOLID:
        return -2e-4
    return 2e-4


@kernel
def derivatives(par, m, case, model, depth, t, z, turn, rows, w, grid, space, used, trial):
    """∂d/∂parameter at the groups into their rows, by differences; False if impossible."""
    for p in range(m):
        trial[:] = par
        step = nudge(par, p, m, model, depth)
        trial[p] += step
        if not predict(trial, m, case, model, t, z, turn, rows, w, grid, space, used,
                       space[BY + p]):  # fmt: skip
            return False
        for g in range(used):
            space[BY + p, g] = (space[BY + p, g] - space[MODEL, g]) / step
    return True


@kernel
def normal(space, used, m, sums):
    """JᵀJ and Jᵀr with each group counting for its samples; laid out as in the elastic fit."""
    sums[:] = 0.0
    for g in range(used):
        r = space[DEFLECTION, g] - space[MODEL, g]
        for p in range(m):
            left = space[BY + p, g] * space[COUNT, g]
            sums[G + p] += left * r
            for q in range(p, m):
                sums[PARAMETERS * p + q] += left * space[BY + q, g]
