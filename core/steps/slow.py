"""Noise that is slow: drift, optical waves, 1/f. How much there is, and what it does to a number.

A baseline's residuals are never only white. The slow part is described by one figure, its walk q
[nm²/nm]: the mean square of the difference of two slow deflections that lie x apart is q x, as for
a random walk. That is exact for a wandering zero and serves for a wave up to a quarter of its
period, which is how far baseline and window usually lie apart.

Every number here that is linear in the deflection (a parameter of the fit, the pull-off, the peak)
is Σ gᵢ dᵢ with weights on the window and, since a line was taken off, on the free part too; their
sum is zero. For a walk the variance of that is q ∫ G² dz, with G(z) the sum of the weights below z.
The kernels keep ∫ G² dz; q is pooled over the map, because one curve alone knows it badly.

References
----------
The structure function of a random walk: any text on time series. Allan variance and its kin:
JCGM 100 knows white noise only; "ratio of robust to successive-difference noise" is common
practice, no source.
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    APPROACH,
    B_CENTRE,
    B_FIRST,
    B_LAST,
    B_NOISE,
    B_VAR_SLOPE,
    PEAK_Z,
    RETRACT,
)
from ..compiled import kernel

BLOCK, BLOCKS = 16, 48
"""A free part is cut into means of at least 16 samples, at most 48 of them."""


@kernel(fast=True)
def block_mean(d, first, last):
    """The mean of some samples."""
    total = 0.0
    for i in range(first, last):
        total += d[i]
    return total / (last - first)


@kernel
def white_variance(z, d, count, noise):
    """Variance of the white part, from successive differences without spikes; some 160 of them."""
    slope = (d[count - 1] - d[0]) / (z[count - 1] - z[0])
    total, pairs = 0.0, 0
    for i in range(1, count, max(1, count // 160)):
        change = d[i] - d[i - 1] - slope * (z[i] - z[i - 1])
        if abs(change) < 7.0 * noise:
            total += change * change
            pairs += 1
    return 0.5 * total / pairs if pairs >= 16 else math.nan


@kernel
def ahead_of_line(m, ahead, g):
    """Weights ``g[0:m+ahead]`` of a mean that lies `ahead` of m others, less their straight line.

    Returns Σg² and what a walk of 1 nm² a block gives it: Σ G² - Σ g²/6, with G the sum of the
    weights above a boundary and the second term for the averaging inside the blocks.
    """
    middle = 0.5 * (m - 1)
    spread = m * (m * m - 1.0) / 12.0
    x = m - 1 + ahead - middle
    squares, total, walked = 1.0, 1.0, float(ahead)
    for j in range(m - 1, -1, -1):
        g[j] = -(1.0 / m + x * (j - middle) / spread)
        squares += g[j] * g[j]
        total += g[j]
        walked += total * total
    return squares, walked - squares / 6.0


@kernel
def walk_of(z, d, count, noise, scratch):
    """q of a branch's free part ``[0, count)`` [nm²/nm]; may be negative by chance.

    Means of 16 samples or more are predicted by the straight line through as many as fill half of
    the free part before them, an eighth of it ahead: what is done to a curve when its baseline is
    taken off. The mean square of the miss, less what white noise gives (known from successive
    differences), over what a walk of 1 nm²/nm would give. NaN with fewer than 8 means.
    """
    size = max(BLOCK, count // BLOCKS)
    blocks = count // size
    if blocks < 8 or not noise > 0.0:
        return math.nan
    white = white_variance(z, d, count, noise) / size
    mean, g = scratch[: 2 * BLOCKS], scratch[2 * BLOCKS : 4 * BLOCKS]
    first = count - blocks * size
    for j in range(blocks):
        mean[j] = block_mean(d, first + j * size, first + (j + 1) * size)
    m = max(blocks // 2, 4)
    ahead = max(m // 4, 1)
    squares, walked = ahead_of_line(m, ahead, g)
    total, times = 0.0, blocks - m - ahead + 1
    for j in range(times):
        miss = mean[j + m - 1 + ahead]
        for k in range(m):
            miss += g[k] * mean[j + k]
        total += miss * miss
    step = (z[count - 1] - z[0]) / (count - 1) * size
    return (total / times - white * squares) / (walked * step)


@kernel
def under_baseline(row, branch, z, alpha, beta):
    """∫ G² dz over the free part that was used, for weights -(α + β x) on its samples.

    G is a parabola there, so three Gauss points integrate its square exactly.
    """
    first, last = int(row[branch + B_FIRST]), int(row[branch + B_LAST])
    centre = row[branch + B_CENTRE]
    start, end = z[first] - centre, z[last - 1] - centre
    half, middle = 0.5 * (end - start), 0.5 * (end + start)
    density = (last - first) / max(end - start, 1e-12)
    total = 0.0
    for i in range(3):
        x = middle + (i - 1) * 0.7745966692414834 * half
        g = density * (alpha * (x - start) + 0.5 * beta * (x * x - start * start))
        total += g * g * (8.0 if i == 1 else 5.0) / 9.0
    return total * half


@kernel
def line_weights(row, branch, z):
    """(XᵀX)⁻¹ of the line through the free part that was used: of offset, of slope, and between.

    From its ends and its number of samples, and not from the baseline's variances: in a fit of both
    branches and a wave those hold more than a line's own.
    """
    first, last = int(row[branch + B_FIRST]), int(row[branch + B_LAST])
    n = float(last - first)
    if not row[branch + B_VAR_SLOPE] > 0.0 or n < 3.0:
        return 1.0 / n, 0.0, 0.0
    start, end = z[first] - row[branch + B_CENTRE], z[last - 1] - row[branch + B_CENTRE]
    middle = 0.5 * (start + end)
    spread = (end - start) ** 2 / 12.0 * (n + 1.0) / (n - 1.0)
    return 1.0 / n + middle * middle / (n * spread), 1.0 / (n * spread), -middle / (n * spread)


@kernel
def walk_overlapping(z, g, column, first, last, row, branch, extra_z, extra, alpha, beta):
    """∫ G² dz where the window reaches into the free part, or lies before it: sample by sample."""
    low, high = int(row[branch + B_FIRST]), int(row[branch + B_LAST])
    total = sums = 0.0
    for i in range(min(low, first), max(high, last)):
        if i > min(low, first):
            total += sums * sums * (z[i] - z[i - 1])
        if low <= i < high:
            sums -= alpha + beta * (z[i] - row[branch + B_CENTRE])
        if first <= i < last:
            sums += g[column, i]
    return total + extra * extra * max(extra_z - z[max(high, last) - 1], 0.0)


@kernel
def walk_variance(z, g, column, first, last, row, branch, extra_z, extra):
    """∫ G² dz for weights ``g[column, first:last]`` on a branch's samples and `extra` at `extra_z`
    (beyond the window), with the baseline's line taken off."""
    noise = row[branch + B_NOISE] ** 2
    centre = row[branch + B_CENTRE]
    if not noise > 0.0 or not row[branch + B_LAST] > row[branch + B_FIRST]:
        return math.nan
    offset, slope = extra, extra * (extra_z - centre)
    for i in range(first, last):
        offset += g[column, i]
        slope += g[column, i] * (z[i] - centre)
    vo, vs, cov = line_weights(row, branch, z)
    if last > first and first < row[branch + B_LAST]:
        return walk_overlapping(z, g, column, first, last, row, branch, extra_z, extra,
                                offset * vo + slope * cov, offset * cov + slope * vs)  # fmt: skip
    total = under_baseline(row, branch, z, offset * vo + slope * cov, offset * cov + slope * vs)
    here = z[int(row[branch + B_LAST]) - 1]
    below = -offset
    for i in range(first, last):
        total += below * below * (z[i] - here)
        here = z[i]
        below += g[column, i]
    return total + below * below * max(extra_z - here, 0.0)


@kernel
def area_walk(z, first, last, before, after, extra, row, branch, g):
    """∫ G² dz for ∫ d dz over samples [first, last) and triangles of width `before` and `after` at
    their ends, plus `extra` times the deflection at the last. ``g`` (1, samples) is work space."""
    if last - first < 1:
        return 0.0
    for i in range(first, last):
        left = z[i] - z[i - 1] if i > first else before
        right = z[i + 1] - z[i] if i < last - 1 else after
        g[0, i] = 0.5 * (left + right)
    g[0, last - 1] += extra
    return walk_variance(z, g, 0, first, last, row, branch, 0.0, 0.0)


@kernel
def slow_tilt(za, row):
    """∫ G² dz for the slope of the approach's line."""
    if not row[B_LAST] > row[B_FIRST]:
        return math.nan
    _, slope, cov = line_weights(row, APPROACH, za)
    return under_baseline(row, APPROACH, za, cov, slope)


@kernel
def slow_offset(za, zr, at, own, row):
    """∫ G² dz for the difference of the two branches' baselines at the base position `at`.

    The weights of a branch add up to one, so the walk between the free parts counts in full: from
    the one to the peak and back to the other. `own` says that each branch has a line of its own;
    else the slope is common and the means are compared.
    """
    total = 0.0
    for back in range(2):
        branch = RETRACT if back == 1 else APPROACH
        z = zr if back == 1 else za
        if not row[branch + B_LAST] > row[branch + B_FIRST]:
            return math.nan
        vo, vs, cov = line_weights(row, branch, z)
        x = at - row[branch + B_CENTRE]
        n = row[branch + B_LAST] - row[branch + B_FIRST]
        alpha, beta = (vo + x * cov, cov + x * vs) if own else (1.0 / n, 0.0)
        total += under_baseline(row, branch, z, alpha, beta)
        total += row[PEAK_Z] - z[int(row[branch + B_LAST]) - 1]
    return total
