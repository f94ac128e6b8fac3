"""The free part of a curve, its line and its noise; the peak.

The free part is found, not assumed. Coming back from the peak, contact has certainly begun where
the deflection has risen by a tenth of its range, or where it dips (a jump); the line of what lies
before is fitted, the free part is cut back to where the smoothed deflection leaves that line, and
the line is fitted again, until the cut no longer moves. The noise is the standard deviation about
the line, without outliers beyond five times the robust spread (1.4826 times the median absolute
residual).

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
    B_TOUCH,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    BRANCH_COLUMNS,
    MISSING,
    PEAK_D,
    PEAK_Z,
    RETRACT,
    SLOW_PEAK,
    SPREAD,
    VAR_PEAK,
    WALK_APPROACH,
    WALK_RETRACT,
    Z_BACK,
    Z_RANGE,
    Z_REVERSED,
)
from ..compiled import kernel
from .marks import marks_of_samples, marks_of_spikes, share_back
from .slow import walk_of, walk_variance
from .tools import (
    clipped_line,
    line_sums,
    middle_of_three,
    select,
    solve_line,
    spread_about_line,
)
from .waves import take_drift_off, take_wave_off

SMOOTH = 5  # samples in the moving mean that decides where the baseline is left
MOST = 64  # samples that enter a first robust spread
STEEP = 0.05
"""A line that rises by this share of the peak is taken off before the rise is sought."""


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
def peak_share(count):
    """Variance of `peak_of` in units of one sample's: 0.6 at the end of a line through five."""
    m = min(5, count)
    return (4.0 * m - 2.0) / (m * (m + 1.0)) if m >= 3 else 1.0


@kernel
def rise_index(d, count, low, high):
    """First sample of the last unbroken stretch above ``low + (high - low)/10``."""
    limit = low + 0.1 * (high - low)
    i = count - 1
    while i > 0 and not (d[i] <= limit and d[i - 1] <= limit):
        i -= 1
    return i + 1


@kernel
def rise_above_line(z, d, count, centre, offset, slope):
    """As `rise_index`, but above a line: a steep baseline must not pass for the rise."""
    last = count - 1
    limit = 0.1 * (d[last] - offset - slope * (z[last] - centre))
    i = last
    while i > 0 and not (d[i] - offset - slope * (z[i] - centre) <= limit
                         and d[i - 1] - offset - slope * (z[i - 1] - centre) <= limit):  # fmt: skip
        i -= 1
    return i + 1


@kernel
def smooth_of(count):
    """Samples in the moving mean: 5, and more (odd) on curves of many samples."""
    return max(SMOOTH, min(41, count // 100 | 1))


@kernel
def dip_index(d, rise, width, limit):
    """Coming back from `rise`: the first sample that lies `limit` below what came just before it.

    That is where a tip has jumped on, or has not yet let go. The median of three, and the lower of
    two means before it, keep single outliers out. Returns `rise` if there is none.
    """
    near = far = 0.0  # sums over the width before, and over the width before that
    start = min(rise, d.size - 1) - 1
    if start < 3 * width + 1:
        return rise
    for j in range(width):
        near += d[start - 2 * width + j]
        far += d[start - 3 * width + j]
    for i in range(start, 3 * width, -1):
        value = middle_of_three(d[i - 1], d[i], d[i + 1])
        if value < min(near, far) / width - limit:
            return i
        near += d[i - 2 * width - 1] - d[i - width - 1]
        far += d[i - 3 * width - 1] - d[i - 2 * width - 1]
    return rise


@kernel
def leave_index(z, d, count, start, width, centre, offset, slope, level, step):
    """Coming back from `start`: the end of the samples that lie quietly on the line.

    A sample is quiet if the moving mean around it is within `level` of the line and within `step`
    of the moving mean just before it (contact and jumps are steeper than any wave).
    """
    half = width // 2
    i = min(start, count - half) - 1
    quiet = 0
    while i >= half + width:
        here = before = 0.0
        for j in range(i - half, i + half + 1):
            here += d[j] - offset - slope * (z[j] - centre)
            before += d[j - width] - offset - slope * (z[j - width] - centre)
        if abs(here) <= level * width and abs(here - before) <= step * width:
            quiet += 1
            if quiet >= width:
                return max(i + quiet - half - 1, 0)
        else:
            quiet = 0
        i -= 1
    return 0


@kernel
def touch_index(z, d, first, rise, centre, offset, slope, limit):
    """First sample in contact: the lowest between the free part and the rise, if that is a dip
    of more than `limit`; else where the deflection leaves the baseline for good."""
    at, best = first, 0.0
    for i in range(first, rise):
        value = d[i] - offset - slope * (z[i] - centre)
        if value < best:
            best, at = value, i
    if best < -limit:
        return at
    i = rise
    while i > first and d[i - 1] - offset - slope * (z[i - 1] - centre) > 0.0:
        i -= 1
    return i


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
    found : (BRANCH_COLUMNS,) output, see ``columns/baseline.py``: offset at the centre, slope,
        centre, noise, first and last (exclusive) sample used, first sample of the rise, variances,
        samples, length [nm] of the whole free part, first sample in contact
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
    width = smooth_of(count)
    first, last = 0, max(3, rise // 2)
    centre = offset = slope = noise = n = sx = sxx = math.nan
    for turn in range(6):
        centre = z[(first + last) // 2]
        offset, slope, noise, n, sx, sxx = robust_line(
            z, d, first, last, centre, noise, with_slope, scratch
        )
        if turn == 0 and abs(slope) * (z[count - 1] - z[0]) > STEEP * (high - low):
            rise = max(rise, rise_above_line(z, d, count, centre, offset, slope))
        limit = threshold * noise / math.sqrt(width)
        start = dip_index(d[:count], rise, width, 6.0 * noise)
        level = 3.0 * limit
        cut = leave_index(z, d, count, start, width, centre, offset, slope, level, 1.5 * limit)
        cut -= min(width, cut // 4)
        start = int(cut * (1.0 - extent))
        if (cut == last and start == first and turn > 1) or cut - start < 3:
            break
        first, last = start, cut
    found[B_OFFSET], found[B_SLOPE], found[B_CENTRE], found[B_NOISE] = offset, slope, centre, noise
    found[B_FIRST], found[B_LAST], found[B_RISE] = first, last, rise
    found[B_LENGTH] = z[last - 1] - z[0]
    found[B_TOUCH] = touch_index(z, d, last, rise, centre, offset, slope, 5.0 * noise)
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
    If that throws out more than one sample in twenty, the scale was too small and is taken anew,
    and once more about the line that comes of it.

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
        if better[6] > 0.0 and better[3] >= 3.0:  # a well or a neck had pulled at the first line
            offset, slope = better[0], better[1]
            scale = spread_about_line(z, d, first, last, centre, offset, slope, MOST, scratch)
            better = clipped_line(z, d, first, last, centre, offset, slope, 5.0 * scale, with_slope)
    if better[3] < 3.0:
        return offset, slope, scale, n, sx, sxx
    return better[0], better[1], better[2], better[3], better[4], better[5]


@kernel
def line_variance(row, branch, z):
    """Variance of a branch's baseline at a base position."""
    x = z - row[branch + B_CENTRE]
    return (row[branch + B_VAR_OFFSET] + x * x * row[branch + B_VAR_SLOPE]
            + 2.0 * x * row[branch + B_COV])  # fmt: skip


@kernel
def take_off(z, d, count, row, branch):
    """Subtract a branch's baseline in place: line, wave and drift."""
    offset, slope, centre = row[branch], row[branch + B_SLOPE], row[branch + B_CENTRE]
    for i in range(count):
        d[i] -= offset + slope * (z[i] - centre)
    take_wave_off(z, d, count, row)
    take_drift_off(d, count, row, branch)


@kernel
def slow_part(z, d, row, branch, scratch):
    """The walk of a branch's whole free part; NaN if none was found."""
    if not row[branch + B_LAST] >= 0.0:
        return math.nan
    return walk_of(z, d, int(row[branch + B_LAST]), row[branch + B_NOISE], scratch)


@kernel
def spread_of_free(z, d, last, noise, scratch):
    """Robust standard deviation of a whole free part about its own line; where it is far above the
    noise, the line is drawn again without outliers, since a few spikes move it."""
    centre = z[last // 2]
    n, sx, sy, sxx, sxy = line_sums(z, d, 0, last, centre)
    offset, slope = solve_line(n, sx, sy, sxx, sxy, True)
    spread = spread_about_line(z, d, 0, last, centre, offset, slope, MOST, scratch)
    if spread > 2.0 * noise:
        better = clipped_line(z, d, 0, last, centre, offset, slope, 5.0 * spread, True)
        spread = spread_about_line(z, d, 0, last, centre, better[0], better[1], MOST, scratch)
    return spread


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
    backwards = (na > 1 and z_peak <= za[0]) or (nr > 1 and zr[nr - 1] <= zr[0])
    row[Z_REVERSED] = 1.0 if backwards else 0.0
    row[Z_BACK] = max(share_back(za, na), share_back(zr, nr))
    row[WALK_APPROACH] = slow_part(za, da, row, APPROACH, scratch)
    row[WALK_RETRACT] = slow_part(zr, dr, row, RETRACT, scratch)
    marks_of_samples(za, da, na, zr, dr, nr, row)
    if row[B_LAST] > 0.0:
        row[SPREAD] = spread_of_free(za, da, int(row[B_LAST]), row[B_NOISE], scratch)
    if not row[B_NOISE] >= 0.0:
        return
    row[PEAK_D] = d_peak - row[B_OFFSET] - row[B_SLOPE] * (z_peak - row[B_CENTRE])
    row[VAR_PEAK] = peak_share(na) * row[B_NOISE] ** 2 + line_variance(row, APPROACH, z_peak)
    row[SLOW_PEAK] = walk_variance(za, scratch.reshape(1, -1), 0, 0, 0, row, APPROACH, z_peak, 1.0)
    marks_of_spikes(za, da, na, zr, dr, nr, options[3] * row[B_NOISE], row)
