"""The fit of a contact law in the fit window, made where the noise is.

The noise is in the deflection d; the base position z is known. So d is fitted as a function of z
(see ``models/power.py``), never force against indentation, which both carry the noise and bias the
modulus low. Free parameters are ln c, with c = C/k, and the contact point z0; the pull-off
deflection a and the baseline are given, and their uncertainty is carried into the covariance.
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    APPROACH,
    B_CENTRE,
    B_COV,
    B_KEPT,
    B_NOISE,
    B_TOUCH,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    PEAK_D,
    PEAK_Z,
    VAR_PEAK,
)
from ..columns.fit import (
    COV,
    FIRST_Z,
    GOOD,
    LAST_Z,
    LN_C,
    NO_CONTACT,
    NOT_CONVERGED,
    NOT_POSITIVE,
    PULL,
    RESIDUAL,
    SAMPLES,
    SCALE,
    STATE,
    TOO_FEW,
    VAR_DEPTH,
    VAR_LN_C,
    VAR_Z0,
    WINDOW_CUT,
    Z0,
)
from ..compiled import kernel
from ..models.forward import deflection
from .baseline import peak_share

MOST_STEPS = 40


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
def window_by_depth(z, count, c, z0, a, n, low, high):
    """Samples between the two base positions at which the law reaches these indentations.

    At the indentation δ the base stands at z0 + δ + c δⁿ - a. Read off the law and not off single
    samples, whose noise would choose which of them are fitted.
    """
    start, end = z0 + low + c * low**n - a, z0 + high + c * high**n - a
    first = 0
    while first < count and z[first] < start:
        first += 1
    last = first
    while last < count and z[last] <= end:
        last += 1
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
        y = f if n == 1.0 else (math.sqrt(f) if n == 2.0 else f ** (2.0 / 3.0))
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
        y = top if n == 1.0 else (math.sqrt(top) if n == 2.0 else top ** (2.0 / 3.0))
        slope = y / x
        return slope**n, z[last - 1] - d[last - 1] - x
    z0 = origin - (sy - slope * sx) / sw / slope
    return slope**n, z0


@kernel
def normal_sums(z, d, first, last, ln_c, z0, n, a, out):
    """Sums of squares at one parameter point.

    Fills ``out`` with Σr², JᵀJ (ln c ln c, ln c z0, z0 z0), Jᵀr (2).
    """
    c = math.exp(ln_c)
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
    out[0], out[1], out[2], out[3], out[4], out[5] = cost, j00, j01, j11, g0, g1


@kernel
def minimise(z, d, first, last, ln_c, z0, n, a, sums):
    """Levenberg-Marquardt from a start. Returns ln c, z0, steps taken (-1: no convergence)."""
    normal_sums(z, d, first, last, ln_c, z0, n, a, sums)
    damping = 0.0
    for step in range(MOST_STEPS):
        cost, j00, j01, j11, g0, g1 = sums[0], sums[1], sums[2], sums[3], sums[4], sums[5]
        h00, h11 = j00 * (1.0 + damping), j11 * (1.0 + damping)
        determinant = h00 * h11 - j01 * j01
        if not determinant > 1e-14 * h00 * h11:
            return ln_c, z0, -1
        by_c = (h11 * g0 - j01 * g1) / determinant
        by_z = (h00 * g1 - j01 * g0) / determinant
        if abs(by_c) > 1.0:
            by_z /= abs(by_c)
            by_c = math.copysign(1.0, by_c)
        if by_c * by_c * j00 + by_z * by_z * j11 <= 1e-8 * cost / (last - first) + 1e-24:
            return ln_c + by_c, z0 + by_z, step
        normal_sums(z, d, first, last, ln_c + by_c, z0 + by_z, n, a, sums)
        if sums[0] <= cost:
            ln_c += by_c
            z0 += by_z
            damping = damping * 0.1 if damping > 1e-6 else 0.0
        else:
            damping = max(damping * 8.0, 1e-3)
            if damping > 1e12:
                return ln_c, z0, -1
            sums[0], sums[1], sums[2] = cost, j00, j01
            sums[3], sums[4], sums[5] = j11, g0, g1
    return ln_c, z0, -1


@kernel
def covariance(z, d, first, last, n, base, branch, var_a, row):
    """Covariance of (ln c, z0) into ``row``: noise, baseline and pull-off.

    With J the derivatives of the model, H = (JᵀJ)⁻¹: noise gives s² H; an error e of a quantity
    that was held shifts the parameters by H Jᵀ(dd/dquantity) e. The noise s is the baseline's,
    raised to the residual's when that is larger than chance allows (3 standard deviations).
    """
    ln_c, z0, a = row[LN_C], row[Z0], row[PULL]
    c = math.exp(ln_c)
    centre = base[branch + B_CENTRE]
    cost = j00 = j01 = j11 = o0 = o1 = s0 = s1 = a0 = a1 = 0.0
    for i in range(first, last):
        _, _, f, slope = deflection(z[i] - z0 + a, c, n, -1.0)
        share = 1.0 / (1.0 + slope)
        to_c, to_z0 = f * share, -slope * share
        r = d[i] - f + a
        cost += r * r
        j00 += to_c * to_c
        j01 += to_c * to_z0
        j11 += to_z0 * to_z0
        o0 += to_c
        o1 += to_z0
        s0 += to_c * (z[i] - centre)
        s1 += to_z0 * (z[i] - centre)
        a0 += to_c * share
        a1 += to_z0 * share
    count = last - first
    variance = cost / max(count - 2, 1)
    row[RESIDUAL] = math.sqrt(variance)
    noise = base[branch + B_NOISE] ** 2
    if variance > noise * (1.0 + 3.0 * math.sqrt(2.0 / max(count - 2, 1))):
        noise = variance
    row[SCALE] = math.sqrt(noise)
    determinant = j00 * j11 - j01 * j01
    if not (determinant > 1e-12 * j00 * j11 and noise >= 0.0):
        row[STATE] = NOT_POSITIVE
        return
    h00, h01, h11 = j11 / determinant, -j01 / determinant, j00 / determinant
    oc, oz = h00 * o0 + h01 * o1, h01 * o0 + h11 * o1
    sc, sz = h00 * s0 + h01 * s1, h01 * s0 + h11 * s1
    ac, az = h00 * a0 + h01 * a1, h01 * a0 + h11 * a1
    vo, vs, vos = base[branch + B_VAR_OFFSET], base[branch + B_VAR_SLOPE], base[branch + B_COV]
    row[VAR_LN_C] = noise * h00 + oc * oc * vo + sc * sc * vs + 2 * oc * sc * vos + ac * ac * var_a
    row[VAR_Z0] = noise * h11 + oz * oz * vo + sz * sz * vs + 2 * oz * sz * vos + az * az * var_a
    row[COV] = (noise * h01 + oc * oz * vo + sc * sz * vs + (oc * sz + oz * sc) * vos
                + ac * az * var_a)  # fmt: skip
    reach = base[PEAK_Z] - centre
    own_peak = peak_share(int(base[B_KEPT])) * base[B_NOISE] ** 2
    if branch == APPROACH:  # the same baseline lies under the contact point and the peak
        to, ts = 1.0 + oz, reach + sz
        line = to * to * vo + ts * ts * vs + 2 * to * ts * vos
        row[VAR_DEPTH] = noise * h11 + az * az * var_a + own_peak + line
    else:
        row[VAR_DEPTH] = row[VAR_Z0] + base[VAR_PEAK]
    if not (row[VAR_LN_C] > 0.0 and row[VAR_Z0] > 0.0):
        row[STATE] = NOT_POSITIVE


@kernel
def fit_of_curve(z, d, count, base, branch, a, var_a, n, by, low, high, sums, row):
    """Fit one branch (z rising, baseline taken off) and fill ``row`` (COLUMNS,).

    Parameters
    ----------
    base, branch : the baseline stage's row, and where the branch stands in it
    a, var_a : pull-off deflection [nm] and its variance; 0 without adhesion
    n : exponent of the law
    by : 0 window by share of the peak deflection, 1 by deflection [nm], 2 by indentation [nm]
    low, high : the ends of the window; it never begins before the first sample in contact
    """
    row[:] = math.nan
    row[PULL] = a
    noise, peak = base[branch + B_NOISE], base[PEAK_D]
    row[STATE] = NO_CONTACT
    if count < 8 or not peak > 5.0 * noise or not a >= 0.0:
        return
    start_low, start_high = low, high
    if by == 0:
        start_low, start_high = low * peak, high * peak
    elif by == 2:
        start_low, start_high = 0.05 * peak, peak
    first, last = window_by_deflection(d, count, start_low, start_high)
    touch = int(base[branch + B_TOUCH]) if base[branch + B_TOUCH] >= 0.0 else 0
    row[WINDOW_CUT] = 1.0 if first < touch else 0.0
    first = max(first, touch)
    row[STATE] = TOO_FEW
    rounds = 4 if by == 2 else 1
    for turn in range(rounds):
        if last - first < 4:
            row[SAMPLES] = max(last - first, 0)
            return
        c, z0 = first_guess(z, d, first, last, n, a)
        ln_c, z0, steps = minimise(z, d, first, last, math.log(c), z0, n, a, sums)
        if turn == rounds - 1:
            break
        again = window_by_depth(z, count, math.exp(ln_c), z0, a, n, low, high)
        row[WINDOW_CUT] = 1.0 if again[0] < touch else 0.0
        again = max(again[0], touch), again[1]
        if again[0] == first and again[1] == last and turn > 0:
            break
        first, last = again
    row[SAMPLES] = last - first
    row[FIRST_Z], row[LAST_Z] = z[first], z[last - 1]
    row[LN_C], row[Z0] = ln_c, z0
    if steps < 0 or not math.isfinite(ln_c + z0):
        row[STATE] = NOT_CONVERGED
        return
    row[STATE] = GOOD
    covariance(z, d, first, last, n, base, branch, var_a, row)
