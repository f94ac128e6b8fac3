"""The contact point of one curve found by other ways than as a free parameter of the fit.

z0 is where an undeflected tip would meet the undeformed surface. At a sample with no indentation
the tip stands at the surface, so z0 = z - d there (baseline taken off). With a constant pull a the
law begins at z0 - a, where d = -a.

- threshold: where the deflection leaves the baseline by LEVEL times the noise for good; at a tip
  that jumped on, the place that it jumped to.
- ratio of variances: where the variance of the next samples is the largest multiple of the
  variance of the previous ones.
- goodness of fit: trial contact points; baseline before, contact law after, the modulus the best
  for each; the least sum of squares, by a parabola through the minimum.
- change point: the same sums as a posterior over the contact point, the modulus integrated out;
  its mean and its variance.

The last two take the baseline as it was found. Between the place where the law begins and z0 the
tip may have been off the surface still, so each trial also chooses where it jumped on.

References
----------
Ratio of variances: Gavara, Sci. Rep. 6 (2016) 21267 (from memory). Sequential fit: Lin, Dimitriadis
& Horkay, J. Biomech. Eng. 129 (2007) 430; with adhesion 904 (from memory). Change point: Rudoy,
Yuen, Howe & Wolfe, Appl. Statist. 59 (2010) part 5, arXiv 0909.5438.
"""

from __future__ import annotations

import math

import numpy as np

from ..columns.baseline import (
    APPROACH,
    B_CENTRE,
    B_COV,
    B_LAST,
    B_NOISE,
    B_RISE,
    B_TOUCH,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    PEAK_D,
    RETRACT,
)
from ..columns.contact import CHANGE_POINT, GOODNESS, THRESHOLD, VARIANCE_RATIO
from ..compiled import kernel
from ..models.forward import deflection
from .baseline import line_variance, take_off
from .tools import line_sums, load_branch, middle_of_three, solve_line

LEVEL = 3.0
"""Threshold in standard deviations of the noise."""
NEAR, FAR = 80, 20  # nodes around contact, and from there to the upper end
NODES = NEAR + FAR
COARSE, FINE, LAST = 24, 7, 17  # trial positions of the three scans
TRIALS = max(COARSE, FINE, LAST)
SCRATCH = 3 * NODES + 2 * TRIALS + 8
"""Length of the work space of `contact_of_curve`."""
ROUGH, SMALL = 0.1, 0.03  # steps of ln c that end a trial
SHARE = 0.7  # of the height of the ratio's peak, where its width is taken
UPPER = 0.95  # the samples near the turning point are left out, as in the fit


@kernel
def spacing_at(z, count, i):
    """Mean distance of the samples around one [nm]."""
    low, high = max(i - 3, 0), min(i + 3, count - 1)
    return (z[high] - z[low]) / max(high - low, 1)


@kernel
def tip_at(z, d, count, i):
    """z - d at sample i, with d read off a line through five samples from there on.

    Returns it and the share of one sample's variance in it.
    """
    m = min(5, count - i)
    if m < 3:
        return z[i] - d[i], 1.0
    n, sx, sy, sxx, sxy = line_sums(z, d, i, i + m, z[i])
    value, _ = solve_line(n, sx, sy, sxx, sxy, True)
    return z[i] - value, (4.0 * m - 2.0) / (m * (m + 1.0))


@kernel
def jumped(d, base, branch):
    """Whether the branch dips by more than five noises where contact begins: a jump."""
    return d[int(base[branch + B_TOUCH])] < -5.0 * base[branch + B_NOISE]


@kernel
def contact_at(z, d, count, base, branch, i):
    """z0 and its variance if sample i is the first in contact, without indentation.

    The variance is spacing²/12, the noise of the line that d is read off, and the baseline's.
    """
    z0, share = tip_at(z, d, count, i)
    step, noise = spacing_at(z, count, i), base[branch + B_NOISE]
    return z0, step * step / 12.0 + share * noise * noise + line_variance(base, branch, z[i])


@kernel
def by_threshold(z, d, count, base, branch):
    """Contact by threshold: z0 and its variance.

    With a dip of more than five noises the tip has jumped on: the first sample below half of the
    dip is in contact. The variance is spacing²/12, the noise of the line through five samples and
    the baseline's. Else the last sample (by the median of three) below LEVEL times the noise is
    sought back from the peak, and the crossing read off a line through the samples around it, as
    far as twice the threshold. The variance is spacing²/12 and the noise of that line and of the
    baseline, over the slope squared. The delay of the method is a bias and not in it.
    """
    noise, touch = base[branch + B_NOISE], int(base[branch + B_TOUCH])
    limit = LEVEL * noise
    if jumped(d, base, branch):
        i = touch
        while i > 1 and d[i - 1] < 0.5 * d[touch]:
            i -= 1
        return contact_at(z, d, count, base, branch, i)
    i = count - 2
    while i > 1 and middle_of_three(d[i - 1], d[i], d[i + 1]) > limit:
        i -= 1
    if i <= 1 or i >= count - 3:
        return math.nan, math.nan
    up = i + 1
    while up < count - 2 and middle_of_three(d[up - 1], d[up], d[up + 1]) < 2.0 * limit:
        up += 1
    reach = min(up - i - 1, i, count - 2 - i)
    first, last = i - reach, i + reach + 2
    n, sx, sy, sxx, sxy = line_sums(z, d, first, last, z[i])
    middle, slope = sx / n, math.nan
    if n * sxx > sx * sx:
        slope = (n * sxy - sx * sy) / (n * sxx - sx * sx)
    if not slope > 0.0:
        return math.nan, math.nan
    crossing = z[i] + middle + (limit - sy / n) / slope
    crossing = min(max(crossing, z[first]), z[last - 1])
    step = spacing_at(z, count, i)
    variance = (noise * noise / n + line_variance(base, branch, crossing)) / (slope * slope)
    return crossing - limit, variance + step * step / 12.0


@kernel
def window_of(count):
    """Samples on each side in the ratio of variances: a 24th of the branch, 8 to 60."""
    return min(max(8, count // 24), 60)


@kernel
def ratio_at(d, i, m, floor):
    """var(next m) / var(previous m) at sample i; `floor` keeps a dead quiet stretch finite."""
    a = b = aa = bb = 0.0
    for j in range(m):
        after, before = d[i + j] - d[i], d[i - 1 - j] - d[i]
        a += after
        aa += after * after
        b += before
        bb += before * before
    return (aa - a * a / m + floor) / (bb - b * b / m + floor)


@kernel
def by_variance_ratio(z, d, count, base, branch):
    """Contact by the ratio of variances: z0 and its variance.

    Sought from the end of the free part to where the deflection has risen by a tenth. Where the
    tip jumped on (a dip of more than five noises), the ratio is largest somewhere within N samples
    before the jump: contact is the sample after the largest step down among the next N.

    The variance is that of `contact_at`; without a jump also width²/12 of the peak of the ratio at
    SHARE of its height.
    """
    m = window_of(count)
    noise = base[branch + B_NOISE]
    first = max(m, int(base[branch + B_LAST]) - m)
    last = min(count - m, int(base[branch + B_RISE]) + m)
    floor = 0.01 * m * noise * noise
    best, at = 0.0, -1
    for i in range(first, last):
        value = ratio_at(d, i, m, floor)
        if value > best:
            best, at = value, i
    if at <= first or at >= last - 1:
        return math.nan, math.nan
    if jumped(d, base, branch):
        jump = at
        for i in range(at, min(at + m + 1, count)):
            if d[i] - d[i - 1] < d[jump] - d[jump - 1]:
                jump = i
        return contact_at(z, d, count, base, branch, jump)
    low = high = at
    while low > first and ratio_at(d, low - 1, m, floor) > SHARE * best:
        low -= 1
    while high < last - 1 and ratio_at(d, high + 1, m, floor) > SHARE * best:
        high += 1
    z0, variance = contact_at(z, d, count, base, branch, at)
    return z0, variance + (z[high] - z[low]) ** 2 / 12.0


@kernel
def put_means(z, d, first, last, most, room, k):
    """Means of z and d over at most `most` even stretches of [first, last), with their numbers."""
    m = max(1, (last - first + most - 1) // most)
    for start in range(first, last, m):
        end = min(start + m, last)
        sz = sd = 0.0
        for i in range(start, end):
            sz += z[i]
            sd += d[i]
        number = end - start
        room[k], room[NODES + k], room[2 * NODES + k] = sz / number, sd / number, number
        k += 1
    return k


@kernel
def profile(room, nodes, z0, ln_c, n, a, small, found):
    """The best modulus for a given contact point, and the sum of squares that is left.

    The far nodes are the law's (exact d(z)); before the tip jumped on they are the baseline's. It
    jumped on between z0 - a and z0, where the sum is least; the node there is left out, since it
    may have been caught half-way. Gauss-Newton steps in ln c until one is `small`.

    Fills ``found``: sum of squares, ln c, JᵀJ (ln c ln c, ln c z0, z0 z0), nodes used, the law's
    first node. The sum is infinite if there is no such law.
    """
    spare = 1 if a > 0.0 else 0
    for _ in range(8):
        c = math.exp(ln_c)
        law = j00 = j01 = j11 = g0 = gain = quiet = 0.0
        for k in range(nodes):
            quiet += room[2 * NODES + k] * room[NODES + k] ** 2
        found[0] = math.inf
        root = -1.0
        k = nodes - 1  # the nodes above k are the law's
        while True:
            u = room[k] - z0 + a if k >= 0 else -1.0
            if u <= a and k < nodes - 3:
                left = law + quiet
                if spare == 1 and k >= 0:
                    left -= room[2 * NODES + k] * room[NODES + k] ** 2
                if left < found[0]:
                    found[0], found[2], found[3], found[4] = left, j00, j01, j11
                    found[5], found[6], gain = nodes - spare, k + 1.0, g0
            if u <= 0.0:
                break
            w, d = room[2 * NODES + k], room[NODES + k]
            root, _, f, slope = deflection(u, c, n, root)
            share = 1.0 / (1.0 + slope)
            to_c, to_z0, r = f * share, -slope * share, d - f + a
            law += w * r * r
            quiet -= w * d * d
            j00 += w * to_c * to_c
            j01 += w * to_c * to_z0
            j11 += w * to_z0 * to_z0
            g0 += w * to_c * r
            k -= 1
        found[1] = ln_c
        if not (found[0] < math.inf and found[2] > 0.0):
            found[0] = math.inf
            return
        step = gain / found[2]
        found[1] = ln_c + min(max(step, -1.0), 1.0)
        if abs(step) < small:
            found[0] -= step * gain  # what the last small step still gains
            return
        ln_c = found[1]


@kernel
def scan(room, nodes, low, step, number, ln_c, n, a, small, found):
    """Profile at `number` even trial positions from `low` on.

    ln c starts where the last position's derivative leads. The sums of squares go to the room
    after the nodes, and JᵀJ of ln c after them.

    Returns the index of the least sum (-1: none) and ln c there.
    """
    at, best = -1, math.inf
    best_ln_c = ln_c
    for i in range(number):
        profile(room, nodes, low + i * step, ln_c, n, a, small, found)
        room[3 * NODES + i], room[3 * NODES + TRIALS + i] = found[0], found[2]
        ln_c = found[1]
        if found[0] < best:
            at, best, best_ln_c = i, found[0], ln_c
        if found[0] > 100.0 * best:  # far behind the minimum, where the law turns rigid
            room[3 * NODES + i + 1 : 3 * NODES + number] = math.inf
            break
        if found[0] < math.inf:
            ln_c += min(max(-step * found[3] / found[2], -1.0), 1.0)
    return at, best_ln_c


@kernel
def gather(z, d, count, base, branch, a, reach, room):
    """Fill the nodes; returns how many, and the ends of the range of trial contact points.

    Around contact as many samples as there is room for stand alone; else even stretches are
    averaged, which loses nothing where the law is smooth.
    """
    touch = z[int(base[branch + B_TOUCH])]
    low, high = touch - a - reach, touch + a + reach
    start = 0
    while start < count and z[start] < low - a:
        start += 1
    start = max(start - 2, 0)
    last = count
    while last > 3 and d[last - 1] + d[last - 2] + d[last - 3] > 3.0 * UPPER * base[PEAK_D]:
        last -= 1
    middle = start
    while middle < last and z[middle] < high:
        middle += 1
    k = put_means(z, d, start, middle, NEAR, room, 0)
    return put_means(z, d, middle, last, FAR, room, k), low, high


@kernel
def least(room, at, apart, low, step):
    """Place and second derivative of the parabola through the least of the scanned sums and two
    that lie `apart` from it."""
    i, width = 3 * NODES + at, apart * step
    left, here, right = room[i - apart], room[i], room[i + apart]
    bend = left - 2.0 * here + right
    if not 0.0 < bend < math.inf:
        return low + at * step, math.nan
    return low + at * step + 0.5 * width * (left - right) / bend, bend / (width * width)


@kernel
def mean_of_posterior(room, at, low, step, noise):
    """Mean and variance of the posterior over the last scan, and its weight at the ends.

    White noise of known variance and a flat prior for ln c: exp(-sum/2s²) / √(JᵀJ of ln c).
    """
    best = room[3 * NODES + at]
    total = first = second = ends = 0.0
    for i in range(LAST):
        bend = room[3 * NODES + TRIALS + i]
        if not (room[3 * NODES + i] < math.inf and bend > 0.0):
            continue
        weight = math.exp(-0.5 * (room[3 * NODES + i] - best) / noise) / math.sqrt(bend)
        x = (i - at) * step
        total += weight
        first += weight * x
        second += weight * x * x
        if i == 0 or i == LAST - 1:
            ends += weight
    mean = first / total
    return low + at * step + mean, second / total - mean * mean, ends / total


@kernel
def noise_of(left, used, noise):
    """Variance of one sample: the baseline's, raised to the residual's if chance can't do that."""
    residual = left / max(used - 2.0, 1.0)
    known = noise * noise
    chance = 3.0 * math.sqrt(2.0 / max(used - 2.0, 1.0))
    return residual if residual > known * (1.0 + chance) else known


@kernel
def held_share(room, nodes, z0, n, a, base, branch, var_a, found):
    """Variance of z0 from what was held: the baseline's line and the pull (see the fit)."""
    c, first = math.exp(found[1]), int(found[6])
    o0 = o1 = s0 = s1 = a0 = a1 = 0.0
    for k in range(first, nodes):
        _, _, f, slope = deflection(room[k] - z0 + a, c, n, -1.0)
        w, share, x = room[2 * NODES + k], 1.0 / (1.0 + slope), room[k] - base[branch + B_CENTRE]
        to_c, to_z0 = w * f * share, -w * slope * share
        o0 += to_c
        o1 += to_z0
        s0 += to_c * x
        s1 += to_z0 * x
        a0 += to_c * share
        a1 += to_z0 * share
    determinant = found[2] * found[4] - found[3] ** 2
    h01, h11 = -found[3] / determinant, found[2] / determinant
    by_offset, by_slope, by_a = h01 * o0 + h11 * o1, h01 * s0 + h11 * s1, h01 * a0 + h11 * a1
    return (by_offset * by_offset * base[branch + B_VAR_OFFSET]
            + by_slope * by_slope * base[branch + B_VAR_SLOPE]
            + 2.0 * by_offset * by_slope * base[branch + B_COV] + by_a * by_a * var_a)  # fmt: skip


@kernel
def by_fit(z, d, count, base, branch, n, a, var_a, posterior, room):
    """Contact by goodness of fit, or by the posterior over the change point: z0 and its variance.

    Trial positions: COARSE over a range around the touch index (on each side the pull and the
    distance to a tenth of the rise, at least ten samples); FINE around the least sum; LAST over
    ±4 standard deviations. z0 is the minimum of a parabola through three sums one standard
    deviation apart, or the mean of the posterior.

    The variance is 2 s² over the second derivative of the sum of squares (or the law's own, if
    that is larger), or the posterior's; and what the baseline and the pull leave open, as in the
    fit. s is the noise of the baseline,
    raised to the residual's when that is larger than chance allows (3 standard deviations). NaN if
    no sum is least inside the range.
    """
    found = room[3 * NODES + 2 * TRIALS :]
    touch = int(base[branch + B_TOUCH])
    spacing = spacing_at(z, count, touch)
    reach = max(10.0 * spacing, z[min(int(base[branch + B_RISE]), count - 1)] - z[touch])
    nodes, low, high = gather(z, d, count, base, branch, a, reach, room)
    if nodes < 8 or not spacing > 0.0:
        return math.nan, math.nan
    depth, pushed = room[nodes - 1] - low - room[NODES + nodes - 1], room[NODES + nodes - 1] + a
    if not (depth > 0.0 and pushed > 0.0):
        return math.nan, math.nan
    step = (high - low) / (COARSE - 1)
    ln_c = math.log(pushed) - n * math.log(depth)
    at, ln_c = scan(room, nodes, low, step, COARSE, ln_c, n, a, ROUGH, found)
    if at < 1 or at >= COARSE - 1:
        return math.nan, math.nan
    low += (at - 1) * step
    step *= 2.0 / (FINE - 1)
    at, ln_c = scan(room, nodes, low, step, FINE, ln_c, n, a, SMALL, found)
    z0, _ = least(room, min(max(at, 1), FINE - 2), 1, low, step)
    profile(room, nodes, z0, ln_c, n, a, SMALL, found)
    noise = noise_of(found[0], found[5], base[branch + B_NOISE])
    deviation = math.sqrt(noise * found[2] / (found[2] * found[4] - found[3] ** 2))
    for _ in range(4):
        if not 0.0 < deviation < high - low + 10.0 * spacing:
            return math.nan, math.nan
        step = 8.0 * deviation / (LAST - 1)
        low = z0 - 4.0 * deviation
        at, ln_c = scan(room, nodes, low, step, LAST, ln_c, n, a, SMALL, found)
        if at < 0:
            return math.nan, math.nan
        if at < 2 or at > LAST - 3:  # not where it was thought to be
            z0 = low + at * step
            continue
        if posterior:
            z0, variance, ends = mean_of_posterior(room, at, low, step, noise)
            if ends > 1e-3:
                deviation *= 1.5
                continue
        else:
            z0, bend = least(room, at, 2, low, step)
            variance = deviation**2
            if bend > 0.0:
                variance = max(variance, 2.0 * noise / bend)
        profile(room, nodes, z0, ln_c, n, a, SMALL, found)
        return z0, variance + held_share(room, nodes, z0, n, a, base, branch, var_a, found)
    return math.nan, math.nan


@kernel
def contact_of_curve(z, d, count, base, branch, n, a, method, scratch, var_a=0.0):
    """The contact point of one branch (z rising, baseline taken off) by one of the methods.

    Parameters
    ----------
    base, branch : the baseline stage's row, and where the branch stands in it
    n : exponent of the law: 1, 1.5 or 2
    a, var_a : pull-off deflection [nm] and its variance; 0 without adhesion
    method : see ``columns/contact.py``; FREE finds nothing here
    scratch : work space of SCRATCH numbers

    Returns
    -------
    z0 [nm] and its variance [nm²], with the method's own uncertainty (see `by_threshold`,
    `by_variance_ratio`, `by_fit`); both NaN where nothing is found
    """
    noise, touch = base[branch + B_NOISE], base[branch + B_TOUCH]
    z0 = variance = math.nan
    if count < 16 or not (base[PEAK_D] > 5.0 * noise and touch >= 0.0 and a >= 0.0):
        return z0, variance
    if not (touch < count and base[branch + B_RISE] < count):
        return z0, variance
    if method == THRESHOLD:
        z0, variance = by_threshold(z, d, count, base, branch)
    elif method == VARIANCE_RATIO:
        z0, variance = by_variance_ratio(z, d, count, base, branch)
    elif method in (GOODNESS, CHANGE_POINT):
        z0, variance = by_fit(
            z, d, count, base, branch, n, a, var_a, method == CHANGE_POINT, scratch
        )
    if not (math.isfinite(z0) and 0.0 < variance < math.inf):
        return math.nan, math.nan
    return z0, variance


@kernel
def contact_loop(z, d, start, cut, scale, base, pull, backwards, n, method, out):
    """The contact point over a block, by one method.

    Parameters
    ----------
    z, d, start, cut, scale, base, backwards : see ``loops.fit_loop``
    pull : (n, 2) pull-off deflection a [nm] and its variance
    out : (n, 2) z0 [nm] and its variance [nm²]; NaN where nothing is found
    """
    m = 8
    for i in range(cut.shape[0]):
        m = max(m, cut[i, 1], cut[i, 3])
    zb, db, room = np.empty(m), np.empty(m), np.empty(SCRATCH)
    branch = RETRACT if backwards else APPROACH
    column = 2 if backwards else 0
    for i in range(start.size):
        count = load_branch(
            z, d, start[i] + cut[i, column], cut[i, column + 1], backwards, scale, zb, db
        )
        take_off(zb, db, count, base[i], branch)
        out[i, 0], out[i, 1] = contact_of_curve(
            zb, db, count, base[i], branch, n, pull[i, 0], method, room, pull[i, 1]
        )
