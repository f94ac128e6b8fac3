"""The fit of a relaxing solid to approach and retract together.

Free are, for a power-law solid, ln c after the loading time (the contact's time on the way in, as
first guessed) and β; for a standard linear solid ln c after the loading time, the log of c₀ over
that, and ln τ (of c₀, c∞ and τ a curve may know little one by one); and for both the contact
point. A measured pull is taken as constant.

A parameter that ends at a bound, a fit that does not move or whose covariance is not positive has a
state of its own, and its numbers are NaN.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import viscous as vs
from ..compiled import kernel
from .fit import first_guess, window_by_deflection
from .relaxing import contact_time
from .solver import gain_of, invert
from .viscous_errors import covariance, report
from .viscous_model import (
    LEAST_BETA,
    MODEL,
    MOST_BETA,
    ROWS,
    cost_of,
    derivatives,
    group,
    normal,
    predict,
    record_of,
)

LOADS = 28
MOST_STEPS = 40
STILL = 30.0
"""Derivatives are kept after a step of less than some five standard errors, while they serve."""
MOST_RATIO = math.log(1e3)
LEAST_RELAXED = 1e-4
"""c∞/c₀ of a standard solid that is taken for none."""


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
            gain, largest = gain_of(sums, inverse, m, step), 1.0
            for p in range(m - 1):
                largest = max(largest, abs(step[p]))
            for p in range(m):
                trial[p] = par[p] + step[p] / largest
            outside = bounded(trial, bounds, m, model, case[0])
            if gain <= 1e-4 * cost / used and damping < 0.1 and not outside:
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
                 low, t, z, w, grid, space, small, weights, row):  # fmt: skip
    """Fit one curve (both branches with z rising, baselines taken off) and fill ``row``.

    Parameters
    ----------
    ta, tr : number of each sample in its branch, in measured order
    pull : pull-off deflection [nm], its variance, its slow variance; 0 without adhesion
    timing : see `record_of`
    model : see ``columns/viscous.py``
    n, rows, step, unit : the law, see ``models/forward.py``
    by, low : lower end of the window, as in the elastic fit; the upper end is the turn
    t, z, w, grid, space, small, weights : work space
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
    late = length - nr  # place of the first sample of the retract
    inward = group(t, first, da, za, first, na - first, True, base[bl.B_CENTRE], 0, space)
    used = group(t, late, dr, zr, nr - 1, nr - far, False, base[bl.RETRACT + bl.B_CENTRE], inward,
                 space)  # fmt: skip
    c, z0 = first_guess(za, da, first, na, n, a)
    turn = na - 1
    depth = max(za[turn] - z0 - peak, 0.05 * (za[turn] - za[first]), 1e-3)
    branches = (first, na, far, nr, inward)
    row[vs.STATE] = solve(c, z0, a, pull, depth, model, n, rows, step, unit, timing[2],
                          t[late + nr - far - 1], used, t, z, turn, base, w, grid, space, small,
                          branches, za, zr, weights, row)  # fmt: skip


@kernel
def solve(c, z0, a, pull, depth, model, n, rows, step, unit, hold, end, used, t, z, turn, base, w,
          grid, space, small, branches, za, zr, weights, row):  # fmt: skip
    """The fit of the groups in ``space`` from an elastic guess; fills ``row``, returns a state.

    ``branches`` is first and last (exclusive) sample of either window, and the approach's groups.
    """
    start = contact_time(t, z, turn, z0 - a)
    loading = t[turn] - start
    if not (loading > 0.0 and c > 0.0):
        return vs.NOT_CONVERGED
    par, trial, case = small[0, :4], small[1:3, :4], small[3, :9]
    bounds, sums, inverse = small[4:6, :4], small[6, :25], small[7:11, :4]
    cov, along = small[11:15, :4], small[15:20, :4]
    case[0], case[1], case[2], case[3] = loading, hold, end, a
    case[4] = steps_in(loading, end - t[turn] - hold)
    case[5], case[6], case[7], case[8] = n, step, unit, branches[4]
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
                      pull[1], sums, inverse, cov, along, trial[0], row):  # fmt: skip
        return vs.NOT_POSITIVE
    lasted = t[turn] - contact_time(t, z, turn, par[m - 1] - a)
    report(par, m, model, cov, loading, lasted, branches, weights, inverse, along, space, base, za,
           zr, pull[2], small[0, 5:15], row)  # fmt: skip
    return vs.GOOD if row[vs.VAR_LN_C] > 0.0 else vs.NOT_POSITIVE
