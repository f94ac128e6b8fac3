"""The works of both branches: what was put in under a positive force, what came back, the rest."""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import viscous as vs
from ..compiled import kernel
from .retract import area, jump_variance, under_line, zero_crossing
from .slow import area_walk


@kernel
def works_of_curve(za, da, na, zr, dr, nr, base, weights, row):
    """Works over k [nm²] of one curve (z rising, baselines taken off) into ``row``.

    W = ∫F dδ = ∫F dz - k d²/2 from zero force to the turn. What is gained between the branches at
    the turn (a hold with creep) counts as put in, so that the work put in less the work that comes
    back is the part of the closed loop with F > 0; the adhesive part is the area below zero of the
    retract less that of the approach (the jump on). Together they are ∮ F dz.
    """
    if na < 8 or nr < 8 or not (base[bl.B_NOISE] >= 0.0 and base[bl.RETRACT + bl.B_NOISE] >= 0.0):
        return
    below_a, above_a, zero_a, var_below_a, white_a, first_a, slow_a = split(
        za, da, na, base, bl.APPROACH, weights)  # fmt: skip
    below_r, above_r, zero_r, var_below_r, white_r, first_r, slow_r = split(
        zr, dr, nr, base, bl.RETRACT, weights)  # fmt: skip
    if first_a < 0 or first_r < 0:
        return
    there, back = da[na - 1], dr[nr - 1]
    held = 0.5 * (there + back) * (zr[nr - 1] - za[na - 1] - (back - there))
    row[vs.WORK_IN] = above_a - 0.5 * there * there + held
    row[vs.WORK_OUT] = above_r - 0.5 * back * back
    row[vs.VISCOUS] = row[vs.WORK_IN] - row[vs.WORK_OUT]
    row[vs.ADHESIVE] = below_r - below_a
    row[vs.VAR_ADHESIVE] = var_below_a + var_below_r
    row[vs.SLOW_ADHESIVE] = slow_a + slow_r
    var_a = white_a + under_line(base, bl.APPROACH, zero_a, za[na - 1])
    row[vs.VAR_VISCOUS] = var_a + white_r + line_work(base, zero_r, zr[nr - 1], 0.0)
    slow_a = area_walk(za, first_a, na, za[first_a] - zero_a, 0.0, 0.0, base, bl.APPROACH, weights)
    row[vs.SLOW_VISCOUS] = slow_a + area_walk(
        zr, first_r, nr, zr[first_r] - zero_r, 0.0, 0.0, base, bl.RETRACT, weights
    )
    if row[vs.WORK_IN] > 0.0:
        share = row[vs.WORK_OUT] / row[vs.WORK_IN]
        peak = (1.0 - share) * back
        row[vs.LOSS] = 1.0 - share
        var = share * share * var_a + white_r + line_work(base, zero_r, zr[nr - 1], peak)
        var += (peak * base[bl.RETRACT + bl.B_NOISE]) ** 2
        row[vs.VAR_LOSS] = var / row[vs.WORK_IN] ** 2
        slow = share * share * slow_a + area_walk(
            zr, first_r, nr, zr[first_r] - zero_r, 0.0, -peak, base, bl.RETRACT, weights
        )
        row[vs.SLOW_LOSS] = slow / row[vs.WORK_IN] ** 2


@kernel
def line_work(base, start, end, peak):
    """Variance of ∫ line dz - peak line(end), for the retract's baseline."""
    b = bl.RETRACT
    centre = base[b + bl.B_CENTRE]
    length = end - start - peak
    arm = 0.5 * ((end - centre) ** 2 - (start - centre) ** 2) - peak * (end - centre)
    return (length * length * base[b + bl.B_VAR_OFFSET] + arm * arm * base[b + bl.B_VAR_SLOPE]
            + 2.0 * length * arm * base[b + bl.B_COV])  # fmt: skip


@kernel
def split(z, d, count, base, branch, weights):
    """One branch's area below zero force (as positive) and above it.

    Returns both, the base position between them, the variance of the first, the variance that white
    noise gives the second, its first sample, and the slow variance of the first. NaN, and -1 for
    the sample, where nothing rises.
    """
    noise, rise = base[branch + bl.B_NOISE], base[branch + bl.B_RISE]
    if not rise >= 2.0 or not base[branch + bl.B_TOUCH] >= 0.0:
        return math.nan, math.nan, math.nan, math.nan, math.nan, -1, math.nan
    top = min(int(rise), count - 1)
    free = max(min(int(base[branch + bl.B_LAST]), top - 1), 0)
    at = free
    for i in range(free, top):
        if d[i] < d[at]:
            at = i
    dip = d[at] < -4.5 * noise
    if not dip:  # the positive part begins where contact does, and there is none below
        at = max(min(int(base[branch + bl.B_TOUCH]) - 1, top - 1), 0)
        free = at
    zero, zero_z = zero_crossing(z[:count], d[:count], at, top)
    total, squares = area(z, d, zero, count)
    low, low_squares = area(z, d, free, zero)
    below = -low - 0.5 * d[zero - 1] * (zero_z - z[zero - 1])
    var_below = (noise**2 * low_squares + under_line(base, branch, z[free], zero_z)
                 + jump_variance(z, d, at, free))  # fmt: skip
    slow = area_walk(z, free, zero, 0.0, zero_z - z[zero - 1], 0.0, base, branch, weights)
    if not dip:
        below, var_below, slow = 0.0, (noise * (z[zero] - z[zero - 1])) ** 2, 0.0
    return (below, total + 0.5 * d[zero] * (z[zero] - zero_z), zero_z, var_below,
            noise**2 * squares, zero, slow)  # fmt: skip
