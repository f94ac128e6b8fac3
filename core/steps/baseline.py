"""The free part of a curve, its line and its noise; the peak.

The free part is found, not assumed. Coming back from the peak, contact has certainly begun where
the deflection has risen by a tenth of its range; the line of what lies before is fitted, the free
part is cut back to where the smoothed deflection leaves that line, and the line is fitted again,
until the cut no longer moves. The noise is the standard deviation about the line, without outliers
beyond five times the robust spread (1.4826 times the median absolute residual).

The same function serves the retract, read backwards in time so that z rises.
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    APPROACH,
    B_CENTRE,
    B_COV,
    B_FIRST,
    B_KEPT,
    B_LAST,
    B_LENGTH,
    B_NOISE,
    B_OFFSET,
    B_RISE,
    B_SLOPE,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    BRANCH_COLUMNS,
    FLAT_TOP,
    MISSING,
    PEAK_D,
    PEAK_Z,
    RETRACT,
    SPIKES,
    Z_RANGE,
    Z_REVERSED,
)
from ..compiled import kernel
from .tools import clipped_line, line_sums, select, solve_line, spread_about_line

SMOOTH = 5  # samples in the moving mean that decides where the baseline is left
MOST = 64  # samples that enter a first robust spread


@kernel
def peak_of(z, d, count):
    """z of the last approach sample and the deflection there, from a line through the last five.

    The approach stops at a set force and the z there is the topography (common practice, no
    source); a single sample would carry the whole noise.
    """
    m = min(5, count)
    if m < 3:
        return z[count - 1], d[count - 1]
    n, sx, sy, sxx, sxy = line_sums(z, d, count - m, count, z[count - 1])
    offset, _ = solve_line(n, sx, sy, sxx, sxy, True)
    return z[count - 1], offset


@kernel
def rise_index(d, count, low, high):
    """First sample of the last unbroken stretch above ``low + (high - low)/10``."""
    limit = low + 0.1 * (high - low)
    i = count - 1
    while i > 0 and not (d[i] <= limit and d[i - 1] <= limit):
        i -= 1
    return i + 1


@kernel
def leave_index(z, d, count, rise, centre, offset, slope, limit):
    """Coming back from `rise`: the end of the samples that lie quietly on the line.

    A sample is quiet if the moving mean around it is within three limits of the line (a slow wave
    of the baseline may be that high) and within one limit of the moving mean just before it
    (contact and snap-in are steeper than any wave).
    """
    half = SMOOTH // 2
    i = min(rise, count - half) - 1
    quiet = 0
    while i >= half + SMOOTH:
        here = before = 0.0
        for j in range(i - half, i + half + 1):
            here += d[j] - offset - slope * (z[j] - centre)
            before += d[j - SMOOTH] - offset - slope * (z[j - SMOOTH] - centre)
        level, step = abs(here) / SMOOTH, abs(here - before) / SMOOTH
        if level <= 3.0 * limit and step <= 1.5 * limit:
            quiet += 1
            if quiet >= SMOOTH:
                return max(i + quiet - half - 1, 0)
        else:
            quiet = 0
        i -= 1
    return 0


@kernel
def free_part(z, d, count, with_slope, extent, threshold, scratch, found):
    """Find and fit the free part of one branch with z rising.

    Parameters
    ----------
    z, d : (count,) base position and raw deflection [nm], z rising
    with_slope : fit a slope, or the offset only
    extent : share (0..1) of the free part to use, nearest to contact
    threshold : leave the baseline at this many times the noise of the moving mean
    scratch : work space of at least 2 MOST samples
    found : (BRANCH_COLUMNS,) output: offset at the centre, slope, centre, noise, first and last
        (exclusive) sample used, first sample of the rise, variances, samples,
        length [nm] of the whole free part
    """
    found[:] = math.nan
    found[B_KEPT] = count
    if count < 8:
        return
    low_count = max(4, min(count // 4, 64))
    scratch[:low_count] = d[:low_count]
    low = select(scratch, low_count, low_count // 2)
    high = d[count - 1]
    rise = rise_index(d, count, low, high) if high > low else count
    first, last = 0, max(3, rise // 2)
    centre = offset = slope = noise = n = sx = sxx = math.nan
    for _ in range(5):
        centre = z[(first + last) // 2]
        offset, slope, noise, n, sx, sxx = robust_line(
            z, d, first, last, centre, noise, with_slope, scratch
        )
        limit = threshold * noise / math.sqrt(SMOOTH)
        cut = leave_index(z, d, count, rise, centre, offset, slope, limit)
        cut -= min(SMOOTH, cut // 4)
        start = int(cut * (1.0 - extent))
        if (cut == last and start == first) or cut - start < 3:
            break
        first, last = start, cut
    found[B_OFFSET], found[B_SLOPE], found[B_CENTRE], found[B_NOISE] = offset, slope, centre, noise
    found[B_FIRST], found[B_LAST], found[B_RISE] = first, last, rise
    found[B_LENGTH] = z[last - 1] - z[0]
    determinant = n * sxx - sx * sx
    found[B_VAR_SLOPE] = found[B_COV] = 0.0
    found[B_VAR_OFFSET] = noise * noise / n
    if with_slope and determinant > 0.0:
        found[B_VAR_OFFSET] = noise * noise * sxx / determinant
        found[B_VAR_SLOPE] = noise * noise * n / determinant
        found[B_COV] = -noise * noise * sx / determinant


@kernel
def robust_line(z, d, first, last, centre, scale, with_slope, scratch):
    """A line through [first, last) that single outliers do not move, and its noise.

    `scale` is a first idea of the noise, NaN if there is none: then 1.4826 times the median
    absolute residual. Samples beyond five of it are left out and the line and the standard
    deviation taken from the rest, which is as precise as least squares and as robust as the median.
    If that throws out more than one sample in twenty, the scale was too small and is taken anew.

    Returns offset at the centre, slope, noise, and n, Σx, Σxx of the samples kept.
    """
    n, sx, sy, sxx, sxy = line_sums(z, d, first, last, centre)
    offset, slope = solve_line(n, sx, sy, sxx, sxy, with_slope)
    if not scale > 0.0:
        scale = spread_about_line(z, d, first, last, centre, offset, slope, MOST, scratch)
    better = clipped_line(z, d, first, last, centre, offset, slope, 5.0 * scale, with_slope)
    if 20.0 * better[6] > last - first:
        scale = spread_about_line(z, d, first, last, centre, offset, slope, MOST, scratch)
        better = clipped_line(z, d, first, last, centre, offset, slope, 5.0 * scale, with_slope)
    if better[3] < 3.0:
        return offset, slope, scale, n, sx, sxx
    return better[0], better[1], better[2], better[3], better[4], better[5]


@kernel
def count_spikes(d, first, last, limit):
    """Samples of [first, last) that stand out of both neighbours, to one side, by `limit`."""
    spikes = 0
    for i in range(first + 1, last - 1):
        left, right = d[i] - d[i - 1], d[i] - d[i + 1]
        if (left > limit and right > limit) or (left < -limit and right < -limit):
            spikes += 1
    return spikes


@kernel
def spikes_of(d, count, row, branch, limit):
    """Spikes of one branch, but for the stretch between the free part and the rise.

    There the tip jumps on or lets go, and with coarse sampling that looks like a spike.
    """
    if not row[branch + B_RISE] >= 0.0:
        return 0
    free, rise = int(row[branch + B_LAST]), int(row[branch + B_RISE])
    return count_spikes(d, 0, free, limit) + count_spikes(d, min(rise, count), count, limit)


@kernel
def flat_top(d, count):
    """Samples that equal the largest value of the branch (a saturated detector repeats it)."""
    top, times = -math.inf, 0
    for i in range(count):
        if d[i] > top:
            top, times = d[i], 1
        elif d[i] == top:
            times += 1
    return times


@kernel
def take_off(z, d, count, row, branch):
    """Subtract a branch's baseline in place."""
    offset, slope, centre = row[branch], row[branch + B_SLOPE], row[branch + B_CENTRE]
    for i in range(count):
        d[i] -= offset + slope * (z[i] - centre)


@kernel
def baseline_of_curve(za, da, na, zr, dr, nr, missing, options, scratch, row):
    """Both baselines, the noise and the peak of one curve into ``row`` (COLUMNS,).

    ``options`` is (with slope, extent, threshold, spike limit in noise).
    """
    row[:] = math.nan
    with_slope = options[0] > 0.5
    free_part(za, da, na, with_slope, options[1], options[2], scratch, row[:BRANCH_COLUMNS])
    free_part(zr, dr, nr, with_slope, options[1], options[2], scratch,
              row[RETRACT : RETRACT + BRANCH_COLUMNS])  # fmt: skip
    row[MISSING] = missing
    if na < 1:
        return
    z_peak, d_peak = peak_of(za, da, na)
    row[PEAK_Z] = z_peak
    row[Z_RANGE] = z_peak - za[0]
    row[Z_REVERSED] = 1.0 if na > 1 and z_peak <= za[0] else 0.0
    row[FLAT_TOP] = flat_top(da, na)
    if not row[B_NOISE] >= 0.0:
        return
    row[PEAK_D] = d_peak - row[B_OFFSET] - row[B_SLOPE] * (z_peak - row[B_CENTRE])
    limit = options[3] * row[B_NOISE]
    row[SPIKES] = spikes_of(da, na, row, APPROACH, limit) + spikes_of(dr, nr, row, RETRACT, limit)
