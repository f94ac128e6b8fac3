"""What is odd about the branches of one curve: a second pull, a neck that lets go slowly, branches
that do not lie on each other, and a slope that falls towards the peak.

All take z rising and no baseline. The figures are judged in ``doubts/``.
"""

from __future__ import annotations

import math

from ..columns.baseline import APPROACH, B_LAST, B_NOISE, B_RISE, B_SLOPE, PEAK_D, RETRACT
from ..columns.retract import (
    APART,
    NECK,
    NECK_Z,
    PULL_Z,
    SECOND,
    SECOND_Z,
    TOP,
    TOP_Z,
    VAR_APART,
    VAR_TOP,
    ZERO_Z,
)
from ..compiled import kernel
from .fit import window_by_deflection
from .slow import block_mean
from .tools import line_sums, middle_of_three, solve_line

WELL, WIDTH = 8.0, 100.0
"""A fall of fewer noises in so many nm is too slow for a well."""
NECK_PULL = 8.0
"""A pull must be this many noises for its release to be looked at."""
NECK_END = 0.25
"""The release ends where the pull has fallen to this share."""
LOW, MIDDLE, HIGH = 0.15, 0.3, 0.45
"""Shares of the peak deflection between which the branches are compared, and at which."""


@kernel
def deepest_well(z, d, start, stop, step, leak):
    """Going from `start` to `stop`: the well of the largest prominence, and where its bottom is.

    The prominence is the smaller of the fall into a well and the climb out of it. A fall slower
    than `leak` (nm of deflection a nm of base) does not count: that is a wave, or a baseline that
    is not straight. On the median of three, so that single samples make no well.
    """
    top = low = -math.inf
    most, where, bottom = 0.0, start, start
    fall = leak * abs(z[start] - z[stop]) / max(abs(start - stop), 1)
    for i in range(start, stop, step):
        value = d[i]
        top -= fall
        if low <= value <= min(top, low + most):
            continue  # most samples tell nothing new
        value = middle_of_three(d[i - 1], d[i], d[i + 1])
        if value > top:
            top = low = value
        elif value < low:
            low, bottom = value, i
        if min(top, value) - low > most:
            most, where = min(top, value) - low, bottom
    return most, where


@kernel(fast=True)
def span(d, count):
    """How far apart the highest and the lowest of some values are."""
    low = high = d[0]
    for i in range(count):
        low, high = min(low, d[i]), max(high, d[i])
    return high - low


@kernel
def second_pull(z, d, count, at, rise, noise):
    """Prominence of the largest well beside the pull at sample `at`, further out or nearer to
    contact (up to the sample `rise`), and where it is."""
    leak = WELL * noise / WIDTH
    out, there, last = 0.0, at, max(min(at - 2, count - 2), 0)
    if last > 1 and span(d, last + 1) > WELL * noise:  # else there is no room for one
        out, there = deepest_well(z, d, last, 0, -1, leak)
    near, here = deepest_well(z, d, min(at + 2, count - 1), min(rise, count - 1), 1, leak)
    return (out, there) if out > near else (near, here)


@kernel
def neck_end(za, da, zr, dr, at, free, bend):
    """Going out from the pull at sample `at`: where it has fallen to `NECK_END` of itself, and how
    large it was.

    The retract is held against the approach at the same z, up to the end `free` of its free part,
    so that waves and tilt drop out; zero is their distance over the outermost quarter. A long neck
    bends the retract's own line: `bend` is how much steeper that is than the approach's.
    """
    if at < 8 or free < 8:
        return at, 0.0
    quarter, outer = at // 4, 1
    while outer < free - 1 and za[outer] < zr[quarter]:
        outer += 1
    zero = block_mean(dr, 0, quarter) + bend * block_mean(zr, 0, quarter) - block_mean(da, 0, outer)
    i, j, size = at, free - 2, 0.0
    while i > 0:
        while j > 1 and za[j] > zr[i]:
            j -= 1
        value = dr[i] if i == at else middle_of_three(dr[i - 1], dr[i], dr[i + 1])
        pull = zero - value - bend * zr[i] + block_mean(da, j - 1, j + 2)
        if i == at:
            size = pull
        elif not pull > NECK_END * size:
            break
        i -= 1
    return i, size


@kernel
def place_at(z, d, count, low, middle, high, noise):
    """The base position at which a branch passes the deflection `middle`, by a line through what
    lies between `low` and `high`, and its variance."""
    first, last = window_by_deflection(d, count, low, high)
    if last - first < 4:
        return math.nan, math.nan
    centre = z[(first + last) // 2]
    n, sx, sy, sxx, sxy = line_sums(z, d, first, last, centre)
    offset, slope = solve_line(n, sx, sy, sxx, sxy, True)
    if not slope > 0.0:
        return math.nan, math.nan
    x = (middle - offset) / slope
    spread = sxx - sx * sx / n
    own = noise * noise * (1.0 / n + (x - sx / n) ** 2 / spread) / (slope * slope)
    return centre + x, own


@kernel
def slope_between(z, d, first, last):
    """Slope of a stretch and its variance for a noise of 1; NaN with fewer than four samples."""
    if last - first < 4:
        return math.nan, math.nan
    n, sx, sy, sxx, sxy = line_sums(z, d, first, last, z[first])
    _, slope = solve_line(n, sx, sy, sxx, sxy, True)
    return slope, 1.0 / (sxx - sx * sx / n)


@kernel
def top_slope(z, d, count, peak, noise):
    """The slope of the uppermost quarter of the approach over that of the half below it, the
    variance of that, and where the uppermost begins.

    No contact law's slope falls with force; a detector at the end of its range makes it fall.
    """
    lower, upper = window_by_deflection(d, count, 0.25 * peak, 0.75 * peak)
    below, own_below = slope_between(z, d, lower, upper)
    above, own_above = slope_between(z, d, upper, count)
    if not below > 0.0:
        return math.nan, math.nan, math.nan
    ratio = above / below
    own = (own_above + ratio * ratio * own_below) * noise * noise / (below * below)
    return ratio, own, z[min(upper, count - 1)]


@kernel
def marks_of_branches(za, da, na, zr, dr, nr, at, base, row):
    """Fill the columns named above into ``row`` (retract.COLUMNS,).

    `at` is the sample of the largest pull, -1 if there is none.
    A neck is told by the way the pull takes to let go over the way it took to build up: for JKR
    with a soft lever at most 0.4, for a constant pull one step.
    """
    if at < 0:
        return
    noise, peak, zero_z = base[RETRACT + B_NOISE], base[PEAK_D], row[ZERO_Z]
    rise, quiet = int(base[RETRACT + B_RISE]), min(base[B_NOISE], noise)
    row[SECOND], well = second_pull(zr, dr, nr, at, rise, quiet)
    row[SECOND_Z] = zr[well]
    bend = base[RETRACT + B_SLOPE] - base[APPROACH + B_SLOPE]
    end, size = neck_end(za, da, zr, dr, at, min(int(base[B_LAST]), na), bend)
    if size > NECK_PULL * noise:
        row[NECK_Z] = zr[end]
        row[NECK] = (row[PULL_Z] - zr[end]) / (zero_z - row[PULL_Z]) if at - end >= 5 else 0.0
    if not peak > 5.0 * noise:
        return
    there, own = place_at(za, da, na, LOW * peak, MIDDLE * peak, HIGH * peak, base[B_NOISE])
    back, more = place_at(zr, dr, nr, LOW * peak, MIDDLE * peak, HIGH * peak, noise)
    row[APART], row[VAR_APART] = back - there, own + more
    row[TOP], row[VAR_TOP], row[TOP_Z] = top_slope(za, da, na, peak, base[APPROACH + B_NOISE])
