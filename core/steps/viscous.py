"""The fit of a relaxing solid to approach and retract together, and the works of both branches.

As in the elastic fit the noise is in the deflection and the base position is known, so d(t) is
fitted, predicted by the model's own history (`relaxing`) and not from the measured indentation.
Free are, for a power-law solid, ln c after the loading time (the contact's time on the way in, as
first guessed) and β; for a standard linear solid ln c after the loading time, the log of c₀ over
that, and ln τ (of c₀, c∞ and τ a curve may know little one by one); and for both the contact
point. A measured pull is taken as constant. Neighbouring samples are averaged into at most
`GROUPS` a branch.

A parameter that ends at a bound, a fit that does not move or whose covariance is not positive has a
state of its own, and its numbers are NaN.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import viscous as vs
from ..compiled import kernel
from . import relaxing as rx
from .fit import PARAMETERS, G, first_guess, invert, window_by_deflection
from .relaxing import contact_time, march, read_off
from .tools import convert

GROUPS = 96
LOADS = 28
MOST_STEPS = 40
STILL = 30.0
"""Derivatives are kept after a step of less than some five standard errors, while they serve."""
LEAST_BETA, MOST_BETA = 0.0, 0.9
MOST_RATIO = math.log(1e3)
LEAST_RELAXED = 1e-4
"""c∞/c₀ of a standard solid that is taken for none."""
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
def group(t, place, d, z, first, count, forwards, centre, at, space):
    """Average neighbouring samples of a branch into groups from `at` on; returns the next place.

    The samples are `first` and the following, or the preceding ones if not `forwards`; their times
    follow each other in ``t`` from `place` on.
    """
    size = max(1, (count + GROUPS - 1) // GROUPS)
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


@kernel
def bounded(trial, bounds, m, model, reference):
    """Move a trial into the bounds; whether it was outside. c∞ stays above `LEAST_RELAXED` c₀."""
    out = False
    for p in range(m):
        if not bounds[0, p] < trial[p] < bounds[1, p]:
            out = True
            trial[p] = min(max(trial[p], bounds[0, p]), bounds[1, p])
    if model == vs.STANDARD_SOLID and trial[1] > 0.0:
        left = (math.exp(-trial[1]) - LEAST_RELAXED) / (1.0 - LEAST_RELAXED)
        longest = math.log(-reference / math.log(left))
        if trial[2] > longest:
            out = True
            trial[2] = longest
    return out


@kernel
def minimise(par, m, bounds, case, model, depth, t, z, turn, rows, w, grid, space, used, sums,
             inverse, room):  # fmt: skip
    """Levenberg-Marquardt from ``par``, in place. Returns a state of ``columns.viscous``."""
    step, trial, value = room[0], room[1], space[ROWS - 1]
    if not predict(par, m, case, model, t, z, turn, rows, w, grid, space, used, space[MODEL]):
        return vs.NOT_CONVERGED
    cost = cost_of(space, used, space[MODEL])
    damping, moved, held, fresh = 1e-3, False, 0, False
    for _ in range(MOST_STEPS):
        if not fresh and not derivatives(par, m, case, model, depth, t, z, turn, rows, w, grid,
                                         space, used, trial):  # fmt: skip
            return vs.NOT_CONVERGED
        normal(space, used, m, sums)
        better = False
        while not better:
            if not invert(sums, m, damping, inverse):
                damping = max(8.0 * damping, 1e-3)
                if damping > 1e9:
                    return vs.NOT_POSITIVE
                continue
            gain, largest = 0.0, 1.0
            for p in range(m):
                step[p] = 0.0
                for q in range(m):
                    step[p] += inverse[p, q] * sums[G + q]
                gain += step[p] * sums[G + p]
                if p < m - 1:
                    largest = max(largest, abs(step[p]))
            for p in range(m):
                trial[p] = par[p] + step[p] / largest
            outside = bounded(trial, bounds, m, model, case[0])
            if gain <= 1e-5 * cost / used and damping < 0.1 and not outside:
                par[:] = trial
                return vs.GOOD
            better = predict(trial, m, case, model, t, z, turn, rows, w, grid, space, used, value)
            better = better and cost_of(space, used, value) <= cost
            if not better and fresh:  # derivatives of an earlier place do not serve here
                fresh = False
                break
            if better:
                held = held + 1 if outside else 0
                if held >= 4:
                    par[:] = trial
                    return vs.AT_BOUND
                damping = damping * 0.05 if damping > 1e-7 else 0.0
            else:
                damping = max(8.0 * damping, 1e-3)
                if damping > 1e9:
                    if outside:
                        return vs.AT_BOUND
                    return vs.NOT_CONVERGED if moved else vs.NOT_MOVED
        if not better:
            continue
        moved = True
        fresh = (
            not fresh and gain < STILL * cost / used and largest == 1.0
        )  # derivatives serve once more
        par[:] = trial
        cost = cost_of(space, used, value)
        for g in range(used):
            space[MODEL, g] = value[g]
    return vs.AT_BOUND if held else vs.NOT_CONVERGED


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
def report(par, m, model, cov, reference, loading, row):
    """Parameters and variances into the row; ln c is that after the loading time."""
    row[vs.LOADING] = loading
    row[vs.Z0], row[vs.VAR_Z0] = par[m - 1], cov[m - 1, m - 1]
    if model == vs.POWER_LAW:
        later = math.log(loading / reference)
        row[vs.LN_C] = par[0] - par[1] * later
        row[vs.VAR_LN_C] = cov[0, 0] - 2.0 * later * cov[0, 1] + later * later * cov[1, 1]
        row[vs.BETA], row[vs.VAR_BETA] = par[1], cov[1, 1]
        row[vs.COV] = cov[0, 1] - later * cov[1, 1]
        return
    x = reference / math.exp(par[2])
    left = math.exp(-x)
    ratio = (math.exp(-par[1]) - left) / (1.0 - left)  # c∞/c₀
    row[vs.INSTANT] = par[0] + par[1]
    row[vs.VAR_INSTANT] = cov[0, 0] + cov[1, 1] + 2.0 * cov[0, 1]
    row[vs.RELAXED] = row[vs.INSTANT] + math.log(ratio)
    by_ratio = -left / (1.0 - left) / ratio
    by_time = math.expm1(-par[1]) / (1.0 - left) ** 2 * left * x / ratio
    row[vs.VAR_RELAXED] = (cov[0, 0] + by_ratio**2 * cov[1, 1] + by_time**2 * cov[2, 2]
                           + 2.0 * by_ratio * cov[0, 1] + 2.0 * by_time * cov[0, 2]
                           + 2.0 * by_ratio * by_time * cov[1, 2])  # fmt: skip
    row[vs.TIME], row[vs.VAR_TIME] = par[2], cov[2, 2]
    later = math.exp(-loading / math.exp(par[2]))
    row[vs.LN_C] = row[vs.INSTANT] + math.log(ratio + (1.0 - ratio) * later)
    row[vs.VAR_LN_C] = cov[0, 0]


@kernel
def start_of(par, model, number, ln_c, z0, loading, n, span, bounds):
    """Where a fit begins: start number `number` of the model, and the bounds."""
    bounds[0, :], bounds[1, :] = -80.0, 80.0
    if model == vs.POWER_LAW:
        par[1] = 0.15 if number == 0 else (0.45 if number == 1 else 0.03)
        par[0], par[2] = ln_c - 1.5 * par[1], z0
        bounds[0, 1], bounds[1, 1] = LEAST_BETA, MOST_BETA
        m = 3
    else:
        par[2] = math.log(loading * (0.3 if number == 0 else (0.05 if number == 1 else 2.0)))
        par[0], par[1], par[3] = ln_c - 0.2, 0.3, z0
        bounds[0, 1], bounds[1, 1] = 0.0, MOST_RATIO
        bounds[0, 2], bounds[1, 2] = math.log(1e-3 * span), math.log(100.0 * span)
        m = 4
    bounds[0, m - 1], bounds[1, m - 1] = -math.inf, math.inf
    return m


@kernel
def steps_in(loading, unloading):
    """Steps of the way in: both branches together stay within the room."""
    if unloading > 2.0 * loading:
        return max(6, int(2.0 * LOADS * loading / unloading))
    if unloading < 0.5 * loading:
        return min(2 * LOADS, int(0.5 * LOADS * loading / unloading))
    return LOADS


@kernel
def fit_relaxing(za, da, ta, na, zr, dr, tr, nr, base, pull, timing, model, n, rows, step, unit, by,
                 low, t, z, w, grid, space, small, row):  # fmt: skip
    """Fit one curve (both branches with z rising, baselines taken off) and fill ``row``.

    Parameters
    ----------
    ta, tr : number of each sample in its branch, in measured order
    pull : pull-off deflection [nm] and its variance; 0 without adhesion
    timing : see `record_of`
    model : see ``columns/viscous.py``
    n, rows, step, unit : the law, see ``models/forward.py``
    by, low : lower end of the window, as in the elastic fit; the upper end is the turn
    t, z, w, grid, space, small : work space
    """
    noise, peak, a = base[bl.B_NOISE], base[bl.PEAK_D], pull[0]
    row[vs.PULL] = a
    row[vs.STATE] = vs.NO_CONTACT
    if na < 8 or nr < 8 or not peak > 5.0 * noise or not a >= 0.0:
        return
    row[vs.STATE] = vs.UNTIMED
    if not (timing[0] > 0.0 and timing[1] > 0.0 and timing[2] >= 0.0):
        return
    level = low * peak if by == 0 else (low if by == 1 else 0.1 * peak)
    level = max(level, 0.02 * peak)
    first, _ = window_by_deflection(da, na, level, math.inf)
    first = max(first, int(base[bl.B_TOUCH]) if base[bl.B_TOUCH] >= 0.0 else 0)
    far, _ = window_by_deflection(dr, nr, level, math.inf)
    row[vs.STATE] = vs.TOO_FEW
    row[vs.SAMPLES] = max(na - first, 0) + max(nr - far, 0)
    if na - first < 5 or nr - far < 5:
        return
    length = record_of(za, ta, na, zr, tr, nr, timing, t, z)
    t, z = t, z
    late = length - nr  # place of the first sample of the retract
    inward = group(t, first, da, za, first, na - first, True, base[bl.B_CENTRE], 0, space)
    used = group(t, late, dr, zr, nr - 1, nr - far, False, base[bl.RETRACT + bl.B_CENTRE], inward,
                 space)  # fmt: skip
    c, z0 = first_guess(za, da, first, na, n, a)
    turn = na - 1
    depth = max(za[turn] - z0 - peak, 0.05 * (za[turn] - za[first]), 1e-3)
    row[vs.STATE] = solve(c, z0, a, pull[1], depth, model, n, rows, step, unit, timing[2],
                          t[late + nr - far - 1], inward, used, t, z, turn, base, w, grid, space,
                          small, row)  # fmt: skip


@kernel
def solve(c, z0, a, var_a, depth, model, n, rows, step, unit, hold, end, inward, used, t, z, turn,
          base, w, grid, space, small, row):  # fmt: skip
    """The fit of the groups in ``space`` from an elastic guess; fills ``row``, returns a state."""
    start = contact_time(t, z, turn, z0 - a)
    loading = t[turn] - start
    if not (loading > 0.0 and c > 0.0):
        return vs.NOT_CONVERGED
    par, trial, case = small[0, :4], small[1:3, :4], small[3, :9]
    bounds, sums, inverse = small[4:6, :4], small[6, :25], small[7:11, :4]
    cov, along = small[11:15, :4], small[15:20, :4]
    case[0], case[1], case[2], case[3] = loading, hold, end, a
    case[4] = steps_in(loading, end - t[turn] - hold)
    case[5], case[6], case[7], case[8] = n, step, unit, inward
    state, m = vs.NOT_CONVERGED, 3
    for number in range(3):
        m = start_of(par, model, number, math.log(c), z0, loading, n, end - start, bounds)
        state = minimise(par, m, bounds, case, model, depth, t, z, turn, rows, w, grid, space,
                         used, sums, inverse, trial)  # fmt: skip
        if state == vs.GOOD:
            break
    if state != vs.GOOD:
        return state
    if not predict(par, m, case, model, t, z, turn, rows, w, grid, space, used, space[MODEL]):
        return vs.NOT_CONVERGED
    if not covariance(par, m, case, model, depth, t, z, turn, rows, w, grid, space, used, base,
                      var_a, sums, inverse, cov, along, trial[0], row):  # fmt: skip
        return vs.NOT_POSITIVE
    report(par, m, model, cov, loading, t[turn] - contact_time(t, z, turn, par[m - 1] - a), row)
    return vs.GOOD if row[vs.VAR_LN_C] > 0.0 else vs.NOT_POSITIVE
