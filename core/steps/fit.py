"""The fit of a contact law in the fit window: which samples, from where, and what came of it.

The law is fitted by `solver`, its uncertainties are worked out by `fit_errors`.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns.law import DEEPEST, EXPONENT, EXPONENT_START, LN_C, PULL, UNIT, Z0
from ..compiled import kernel
from .contact_law import WORK, depth_at, prepare
from .fit_errors import covariance
from .solver import COARSE, FINE, SUMS, is_plain, minimise

COARSELY = 12
"""Samples that a first, coarse fit of a law takes at least."""
LEAST_PULL = 1e-3
"""A fitted pull-off below so many noises is none."""
RIGID = 1e4
"""Slope of force against indentation over the lever's spring constant from which on a contact can't
be told from a rigid one."""
SPACE = 22
"""Rows of SUMS numbers that a fit needs as work space."""


@kernel
def window_by_deflection(d, count, low, high):
    """Samples whose deflection lies between `low` and `high`, as one unbroken stretch.

    Read back from the peak on the mean of three samples, so that the noise of single samples does
    not choose which of them are fitted (that would bias the fit).
    """
    last = count
    while last >= 3 and d[last - 1] + d[last - 2] + d[last - 3] > 3.0 * high:
        last -= 1
    if last < count:
        last -= 1
    first = min(last, count - 1) - 1
    while first >= 1 and d[first - 1] + d[first] + d[first + 1] > 3.0 * low:
        first -= 1
    return max(first + 1, 0), last


@kernel
def window_by_depth(z, count, par, law, rows, pre, low, high, out, work):
    """Samples between the two base positions at which the law reaches these indentations.

    Read off the law and not off single samples, whose noise would choose which of them are fitted.
    The law's indentation grows with z, so the ends are found by halving.
    """
    ends = (low, high)
    first = last = 0
    for which in range(2):
        left, right = 0, count
        while left < right:
            middle = (left + right) // 2
            depth = depth_at(z[middle], par, law, rows, pre, out, work)
            if depth < ends[which] or (which == 1 and depth == ends[which]):
                left = middle + 1
            else:
                right = middle
        if which == 0:
            first = left
        else:
            last = left
    return first, last


@kernel
def first_guess(z, d, first, last, n, a):
    """c and z0 from the straight line (d + a)^(1/n) = c^(1/n) (z - d - z0).

    Weighted by the inverse variance that the noise gives the left side; some 24 samples serve.
    """
    sw = sx = sy = sxx = sxy = 0.0
    origin = z[first]
    top = d[last - 1] + a
    for i in range(first, last, max(1, (last - first) // 24)):
        f = d[i] + a
        if f <= 0.02 * top:
            continue
        y = f if n == 1.0 else (math.sqrt(f) if n == 2.0 else f ** (1.0 / n))
        w = (f / y) ** 2
        x = z[i] - d[i] - origin
        sw += w
        sx += w * x
        sy += w * y
        sxx += w * x * x
        sxy += w * x * y
    determinant = sw * sxx - sx * sx
    slope = (sw * sxy - sx * sy) / determinant if determinant > 0.0 else math.nan
    if not slope > 0.0:  # indentation does not grow with force: start as stiff as can be seen
        x = max(z[last - 1] - z[first], 1e-3) * 0.05
        y = top if n == 1.0 else (math.sqrt(top) if n == 2.0 else top ** (1.0 / n))
        slope = y / x
        return slope**n, z[last - 1] - d[last - 1] - x
    z0 = origin - (sy - slope * sx) / sw / slope
    return slope**n, z0


@kernel
def start_window(z, d, count, by, low, high, peak):
    """The first window: by share of the peak, by deflection, or a guess for one by indentation."""
    if by == 0:
        return window_by_deflection(d, count, low * peak, high * peak)
    if by == 1:
        return window_by_deflection(d, count, low, high)
    if by == 3:  # from the release to a third of the pull above zero
        return 0, window_by_deflection(d, count, -math.inf, high)[1]
    return window_by_deflection(d, count, 0.05 * peak, peak)


@kernel
def may_be_fitted(count, base, branch, pull, contact, free, row):
    """Whether there is anything to fit; if not, the row's STATE says why."""
    row[ft.STATE] = ft.NO_CONTACT
    noise, peak = base[branch + bl.B_NOISE], base[bl.PEAK_D]
    if count < 8 or not peak > 5.0 * noise or not pull[0] >= 0.0:
        return False
    row[ft.STATE] = ft.NO_POINT
    return (free.size > 1 and free[1] == Z0) or contact[0] == contact[0]


@kernel
def fit_window(z, d, first, last, floor, par, free, law, rows, pre, sums, out, work, inverse,
               room):  # fmt: skip
    """Fit the samples of a window from ``par``, in place; returns a state.

    A law that is dear to ask is first fitted to a few of the samples with ln c and z0 free, which
    every law has first. (Not with more: few samples can lead a weakly known parameter far away.)
    """
    if not is_plain(par, free, law, rows):
        ln_c, z0 = par[LN_C], par[Z0]
        stride = max(1, (last - first) // COARSELY)
        if free.size > 2 or stride > 1:
            minimise(z, d, first, last, stride, floor, COARSE, par, free[:2], law, rows, pre, sums,
                     out, work, inverse, room)  # fmt: skip
        if not math.isfinite(par[LN_C] + par[Z0]):
            par[LN_C], par[Z0] = ln_c, z0
    return minimise(z, d, first, last, 1, floor, FINE, par, free, law, rows, pre, sums, out, work,
                    inverse, room)  # fmt: skip


@kernel
def judged(state, z, last, par, law, rows, pre, unit, out, work, row):
    """The state in the light of how deep the law says the tip went; BEYOND into the row."""
    if state != ft.GOOD:
        return state
    if not (math.isfinite(par[LN_C] + par[Z0]) and prepare(par, law, rows, pre, work)):
        return ft.NOT_CONVERGED
    depth = depth_at(z[last - 1], par, law, rows, pre, out, work)
    row[ft.BEYOND] = depth / (law[DEEPEST] * unit)
    stiff = par[EXPONENT] * (out[0] + par[PULL]) > RIGID * max(depth, 0.0)
    return ft.AT_BOUND if stiff else state


@kernel
def fit_of_curve(z, d, count, base, branch, pull, contact, law, rows, unit, by, low, high, free,
                 space, jac, row):
    """Fit one branch (z rising, baseline taken off) and fill ``row`` (COLUMNS,).

    Parameters
    ----------
    base, branch : the baseline stage's row, and where the branch stands in it
    pull : pull-off deflection [nm], its variance, its slow variance; 0 without adhesion
    contact : a contact point to hold [nm] and its variance; NaN to fit it
    law, rows, unit : see ``columns/law.py``; the table; the table's unit for this curve
    by : 0 window by share of the peak deflection, 1 by deflection [nm], 2 by indentation [nm],
        3 from the release to `high` [nm]
    low, high : the ends of the window; it never begins before the first sample in contact
    free : indices of the free parameters, ln c first
    space, jac : work space, (SPACE, SUMS) and (4, samples)
    """
    row[:] = math.nan
    par, pre, out, work = space[0, :4], space[1, :8], space[2, :5], space[3, :WORK]
    sums, room, inverse = space[4, :SUMS], space[5:9, :SUMS], space[9:13, :4]
    along, by_cause, held = space[13:17, :4], space[17:21, :4], space[21, :3]
    a, peak = pull[0], base[bl.PEAK_D]
    row[ft.PULL] = a
    if not may_be_fitted(count, base, branch, pull, contact, free, row):
        return
    law[UNIT] = unit
    held[0], held[1], held[2] = pull[1], 0.0, pull[2]
    if contact[0] == contact[0]:
        held[1] = contact[1]
    floor = LEAST_PULL * base[branch + bl.B_NOISE]
    start = a
    for p in range(free.size):
        if free[p] == PULL:
            held[0] = held[2] = 0.0
            start = max(a, 10.0 * floor)
    first, last = start_window(z, d, count, by, low, a / 3.0 if by == 3 else high, peak)
    touch = int(base[branch + bl.B_TOUCH]) if base[branch + bl.B_TOUCH] >= 0.0 else 0
    row[ft.WINDOW_CUT] = 1.0 if first < touch and by != 3 else 0.0
    first = max(first, touch)
    n, state = law[EXPONENT_START], ft.TOO_FEW
    row[ft.STATE] = state
    for turn in range(4 if by == 2 else 1):
        if last - first < 2 + free.size:
            row[ft.SAMPLES] = max(last - first, 0)
            return
        c, z0 = first_guess(z, d, first, last, n, start)
        par[LN_C], par[Z0], par[PULL], par[EXPONENT] = math.log(c), z0, start, n
        if contact[0] == contact[0]:
            par[Z0] = contact[0]
        state = fit_window(z, d, first, last, floor, par, free, law, rows, pre, sums, out, work,
                           inverse, room)  # fmt: skip
        if by != 2 or turn == 3 or not math.isfinite(par[LN_C] + par[Z0]):
            break
        if not prepare(par, law, rows, pre, work):
            break
        again = window_by_depth(z, count, par, law, rows, pre, low, high, out, work)
        row[ft.WINDOW_CUT] = 1.0 if again[0] < touch else 0.0
        again = max(again[0], touch), again[1]
        if again[0] == first and again[1] == last and turn > 0:
            break
        first, last = again
    row[ft.SAMPLES] = last - first
    row[ft.FIRST_Z], row[ft.LAST_Z] = z[first], z[last - 1]
    row[ft.LN_C], row[ft.Z0] = par[LN_C], par[Z0]
    row[ft.PULL], row[ft.EXPONENT], row[ft.UNIT] = par[PULL], par[EXPONENT], unit
    row[ft.STATE] = judged(state, z, last, par, law, rows, pre, unit, out, work, row)
    if row[ft.STATE] == ft.GOOD:
        covariance(z, d, first, last, par, free, law, rows, pre, base, branch, held, sums, out,
                   work, inverse, along, by_cause, jac, row)  # fmt: skip
