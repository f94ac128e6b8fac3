"""The fit of a contact law in the fit window, made where the noise is.

The noise is in the deflection d; the base position z is known. So d is fitted as a function of z
(see ``models/power.py``), never force against indentation, which both carry the noise and bias the
modulus low. Parameters are ln c, with c = C/k, the contact point z0, the pull-off deflection a and
the exponent n; which of them are free is the caller's choice. What is held (a measured pull-off, a
contact point found beforehand) and the baseline have uncertainties of their own, which are carried
into the covariance.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns.law import DEEPEST, EXPONENT, EXPONENT_START, KIND, LN_C, PULL, SHAPE, UNIT, Z0
from ..compiled import kernel
from ..models.forward import deflection
from .baseline import peak_share
from .contact_law import PARAMETERS, ask, depth_at, prepare
from .slow import walk_variance

MOST_STEPS = 40
LEAST_EXPONENT, MOST_EXPONENT = 0.5, 6.0
G, COST = 16, 24  # where Jᵀr and the cost stand in `sums`, behind JᵀJ
SUMS = 25

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
def power_sums(z, d, first, last, c, z0, n, a, sums):
    """`normal_sums` for ln c and z0 of a pure power: the commonest case, without the detours."""
    cost = j00 = j01 = j11 = g0 = g1 = 0.0
    guess = -1.0
    before = 0.0
    for i in range(first, last):
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
def normal_sums(z, d, first, last, par, free, law, rows, pre, sums, out, work):
    """Cost, JᵀJ and Jᵀr over the free parameters at one parameter point, into ``sums``.

    JᵀJ stands in ``sums[0:16]`` (4 x 4, row by row, upper triangle), Jᵀr at G, Σr² at COST.
    Returns False where the law is impossible.
    """
    m = free.size
    sums[:] = 0.0
    if not prepare(par, law, rows, pre, work):
        return False
    if is_plain(par, free, law, rows):
        power_sums(z, d, first, last, pre[0], par[Z0], par[EXPONENT], par[PULL], sums)
        return math.isfinite(sums[COST])
    guess = before = -1.0
    for i in range(first, last):
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
def clipped(par, free, step, trial):
    """``par`` moved by a step that is not allowed to run away, into ``trial``."""
    largest = 1.0
    for p in range(free.size):
        which = free[p]
        if which == LN_C:
            largest = max(largest, abs(step[p]))
        elif which == EXPONENT:
            largest = max(largest, abs(step[p]) / 0.3)
        elif which == PULL:
            largest = max(largest, -2.0 * step[p] / max(par[PULL], 1e-6))
    trial[:] = par
    for p in range(free.size):
        trial[free[p]] += step[p] / largest
    if trial[EXPONENT] < LEAST_EXPONENT:
        trial[EXPONENT] = LEAST_EXPONENT
    if trial[EXPONENT] > MOST_EXPONENT:
        trial[EXPONENT] = MOST_EXPONENT
    return largest


@kernel
def minimise(z, d, first, last, par, free, law, rows, pre, sums, out, work, inverse, room):
    """Levenberg-Marquardt from ``par``, in place.

    ``room`` is (3, PARAMETERS) work space. Returns a state of ``columns.fit``: GOOD,
    NOT_CONVERGED, NOT_MOVED, AT_BOUND or NOT_POSITIVE.
    """
    m = free.size
    step, trial, kept = room[0], room[1], room[2]
    if not normal_sums(z, d, first, last, par, free, law, rows, pre, sums, out, work):
        return ft.NOT_CONVERGED
    damping, moved, gain = 0.0, False, math.inf
    for _ in range(MOST_STEPS):
        cost = sums[COST]
        if not invert(sums, m, damping, inverse):
            damping = max(damping * 8.0, 1e-3)
            if damping > 1e12:
                return ft.NOT_POSITIVE
            continue
        gain = 0.0
        for p in range(m):
            step[p] = 0.0
            for q in range(m):
                step[p] += inverse[p, q] * sums[G + q]
        for p in range(m):
            gain += step[p] * sums[G + p]
        largest = clipped(par, free, step, trial)
        if gain <= 1e-6 * cost / (last - first) + 1e-24 and largest == 1.0:
            par[:] = trial
            if par[EXPONENT] <= LEAST_EXPONENT or par[EXPONENT] >= MOST_EXPONENT:
                return ft.AT_BOUND
            return ft.GOOD
        kept[:] = par
        par[:] = trial
        good = normal_sums(z, d, first, last, par, free, law, rows, pre, sums, out, work)
        if good and sums[COST] <= cost:
            moved = True
            damping = damping * 0.1 if damping > 1e-6 else 0.0
            continue
        par[:] = kept
        damping = max(damping * 8.0, 1e-3)
        if damping > 1e12:
            break
        normal_sums(z, d, first, last, par, free, law, rows, pre, sums, out, work)
    edge = par[EXPONENT] <= LEAST_EXPONENT or par[EXPONENT] >= MOST_EXPONENT
    if edge or (par[PULL] < 1e-9 and law[KIND] != SHAPE):
        return ft.AT_BOUND
    if gain <= 1e-4 * sums[COST] / (last - first):  # nothing left to gain but rounding
        return ft.GOOD
    return ft.NOT_CONVERGED if moved else ft.NOT_MOVED


@kernel
def shift_of(inverse, along, m, p):
    """H Jᵀv for parameter p, ``along`` being Jᵀv."""
    value = 0.0
    for q in range(m):
        value += inverse[p, q] * along[q]
    return value


@kernel
def covariance(z, d, first, last, par, free, law, rows, pre, base, branch, held, sums, out, work,
               inverse, along, jac, row):
    """Covariance of the parameters into ``row``: noise, baseline, and what was held.

    With J the derivatives of the model, H = (JᵀJ)⁻¹: noise gives s² H; an error e of a quantity
    that was held shifts the parameters by H Jᵀ(dd/dquantity) e. The noise s is the baseline's,
    raised to the residual's when that is larger than chance allows (3 standard deviations).

    ``held`` is the variance of a held pull-off and of a held contact point; ``along`` (4, 4) and
    ``jac`` (4, samples) are work space. On return ``jac`` holds, for each sample of the window, its
    weight in ln c, in z0 and in the indentation at the peak.
    """
    m = free.size
    centre = base[branch + bl.B_CENTRE]
    along[:] = 0.0
    sums[:] = 0.0
    prepare(par, law, rows, pre, work)
    guess = before = -1.0
    for i in range(first, last):
        now = ask(z[i] - par[Z0], par, law, rows, pre, guess, out, work)
        guess, before = (2.0 * now - before if before > 0.0 else now), now
        sums[COST] += (d[i] - out[0]) ** 2
        for p in range(m):
            value = out[1 + free[p]]
            jac[p, i] = value
            for q in range(p + 1):
                sums[PARAMETERS * q + p] += value * jac[q, i]
            along[0, p] += value
            along[1, p] += value * (z[i] - centre)
            along[2, p] += value * out[1 + PULL]
            along[3, p] += value * out[1 + Z0]
    count = last - first
    variance = sums[COST] / max(count - m, 1)
    row[ft.RESIDUAL] = math.sqrt(variance)
    noise = base[branch + bl.B_NOISE] ** 2
    if variance > noise * (1.0 + 3.0 * math.sqrt(2.0 / max(count - m, 1))):
        noise = variance
    row[ft.SCALE] = math.sqrt(noise)
    if not (invert(sums, m, 0.0, inverse) and noise >= 0.0):
        row[ft.STATE] = ft.NOT_POSITIVE
        return
    vo, vs = base[branch + bl.B_VAR_OFFSET], base[branch + bl.B_VAR_SLOPE]
    vos = base[branch + bl.B_COV]
    by = work  # shifts of ln c and z0 by offset, slope, held pull, held contact
    by[:] = 0.0
    own = 0.0
    for p in range(m):
        if free[p] == LN_C or free[p] == Z0:
            for which in range(4):
                by[4 * free[p] + which] = shift_of(inverse, along[which], m, p)
        if free[p] == Z0:
            own = noise * inverse[p, p]
            row[ft.COV] = noise * inverse[0, p]
        if free[p] == PULL:
            row[ft.VAR_PULL] = noise * inverse[p, p]
        if free[p] == EXPONENT:
            row[ft.VAR_EXPONENT] = noise * inverse[p, p]
    if m == 1 or free[1] != Z0:  # the contact point is held
        by[7], row[ft.COV] = -1.0, 0.0
    o0, s0, a0, c0 = by[0], by[1], by[2], by[3]
    o1, s1, a1, c1 = by[4], by[5], by[6], by[7]
    row[ft.VAR_LN_C] = (noise * inverse[0, 0] + o0 * o0 * vo + s0 * s0 * vs + 2 * o0 * s0 * vos
                        + a0 * a0 * held[0] + c0 * c0 * held[1])  # fmt: skip
    row[ft.VAR_Z0] = (own + o1 * o1 * vo + s1 * s1 * vs + 2 * o1 * s1 * vos + a1 * a1 * held[0]
                      + c1 * c1 * held[1])  # fmt: skip
    row[ft.COV] += (o0 * o1 * vo + s0 * s1 * vs + (o0 * s1 + o1 * s0) * vos + a0 * a1 * held[0]
                    + c0 * c1 * held[1])  # fmt: skip
    reach = base[bl.PEAK_Z] - centre
    own_peak = peak_share(int(base[bl.B_KEPT])) * base[bl.B_NOISE] ** 2
    if branch == bl.APPROACH:  # the same baseline lies under the contact point and the peak
        to, ts = 1.0 + o1, reach + s1
        line = to * to * vo + ts * ts * vs + 2 * to * ts * vos
        row[ft.VAR_DEPTH] = own + a1 * a1 * held[0] + c1 * c1 * held[1] + own_peak + line
    else:
        row[ft.VAR_DEPTH] = row[ft.VAR_Z0] + base[bl.VAR_PEAK]
    slow_weights(first, last, free, inverse, jac)
    row[ft.SLOW_LN_C] = walk_variance(z, jac, 0, first, last, base, branch, 0.0, 0.0)
    row[ft.SLOW_LN_C] += a0 * a0 * held[2]
    row[ft.SLOW_Z0] = walk_variance(z, jac, 1, first, last, base, branch, 0.0, 0.0)
    row[ft.SLOW_Z0] += a1 * a1 * held[2]
    if branch == bl.APPROACH:
        row[ft.SLOW_DEPTH] = walk_variance(z, jac, 2, first, last, base, branch, base[bl.PEAK_Z],
                                           -1.0) + a1 * a1 * held[2]  # fmt: skip
    else:
        row[ft.SLOW_DEPTH] = row[ft.SLOW_Z0] + base[bl.SLOW_PEAK]
    if not (row[ft.VAR_LN_C] > 0.0 and row[ft.VAR_Z0] > 0.0):
        row[ft.STATE] = ft.NOT_POSITIVE


@kernel
def slow_weights(first, last, free, inverse, jac):
    """Turn the derivatives in ``jac`` into each sample's weight in ln c, z0 and the indentation."""
    m = free.size
    with_z0 = m > 1 and free[1] == Z0
    for i in range(first, last):
        in_c = in_z = 0.0
        for q in range(m):
            in_c += inverse[0, q] * jac[q, i]
            if with_z0:
                in_z += inverse[1, q] * jac[q, i]
        jac[0, i], jac[1, i], jac[2, i] = in_c, in_z, -in_z


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
    space, jac : work space, see `work_space`
    """
    row[:] = math.nan
    par, pre, out, work = space[0, :4], space[1, :8], space[2, :5], space[3, :9]
    sums, room = space[4, :SUMS], space[5:8, :4]
    inverse, along, held = space[8:12, :4], space[12:16, :4], space[16, :3]
    a = pull[0]
    row[ft.PULL] = a
    noise, peak = base[branch + bl.B_NOISE], base[bl.PEAK_D]
    row[ft.STATE] = ft.NO_CONTACT
    if count < 8 or not peak > 5.0 * noise or not a >= 0.0:
        return
    if (free.size == 1 or free[1] != Z0) and contact[0] != contact[0]:
        row[ft.STATE] = ft.NO_POINT
        return
    law[UNIT] = unit
    held[0], held[1], held[2] = pull[1], 0.0, pull[2]
    if contact[0] == contact[0]:
        held[1] = contact[1]
    for p in range(free.size):
        if free[p] == PULL:
            held[0] = held[2] = 0.0
    first, last = start_window(z, d, count, by, low, a / 3.0 if by == 3 else high, peak)
    touch = int(base[branch + bl.B_TOUCH]) if base[branch + bl.B_TOUCH] >= 0.0 else 0
    row[ft.WINDOW_CUT] = 1.0 if first < touch and by != 3 else 0.0
    first = max(first, touch)
    row[ft.STATE] = ft.TOO_FEW
    n = law[EXPONENT_START]
    state = ft.TOO_FEW
    for turn in range(4 if by == 2 else 1):
        if last - first < 3 + free.size - 1:
            row[ft.SAMPLES] = max(last - first, 0)
            return
        c, z0 = first_guess(z, d, first, last, n, a)
        par[LN_C], par[Z0], par[PULL], par[EXPONENT] = math.log(c), z0, a, n
        if contact[0] == contact[0]:
            par[Z0] = contact[0]
        if free.size > 2:  # the two that every law has first: it is nearer then, and cheaper
            minimise(z, d, first, last, par, free[:2], law, rows, pre, sums, out, work, inverse,
                     room)  # fmt: skip
            if not math.isfinite(par[LN_C] + par[Z0]):
                par[LN_C], par[Z0] = math.log(c), z0
        state = minimise(z, d, first, last, par, free, law, rows, pre, sums, out, work, inverse,
                         room)  # fmt: skip
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
    if state == ft.GOOD and not math.isfinite(par[LN_C] + par[Z0]):
        state = ft.NOT_CONVERGED
    row[ft.STATE] = state
    if state != ft.GOOD:
        return
    deepest = depth_at(z[last - 1], par, law, rows, pre, out, work)
    row[ft.BEYOND] = deepest / (law[DEEPEST] * unit)
    covariance(z, d, first, last, par, free, law, rows, pre, base, branch, held, sums, out, work,
               inverse, along, jac, row)  # fmt: skip
