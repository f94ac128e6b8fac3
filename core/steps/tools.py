"""Small compiled helpers that the steps share: medians, lines, moving means.

Everything here works on float64 arrays of one curve and allocates nothing.
"""

from __future__ import annotations

import math

from ..compiled import kernel

MAD_TO_SIGMA = 1.482602218505602
"""1 / Φ⁻¹(3/4): the standard deviation of a normal law over its median absolute deviation."""
MEDIAN_COST = math.sqrt(math.pi / 2.0)
"""Standard error of a median over that of a mean, normal law: any text on robust statistics."""


@kernel
def select(values, count, rank):
    """The `rank`-th smallest of ``values[:count]``; reorders them (Hoare's quickselect)."""
    low, high = 0, count - 1
    while low < high:
        pivot = values[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while pivot < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if rank <= j:
            high = j
        elif rank >= i:
            low = i
        else:
            break
    return values[rank]


@kernel
def middle_of_three(a, b, c):
    """The median of three numbers."""
    return max(min(a, b), min(max(a, b), c))


@kernel(fast=True)
def line_sums(x, y, first, last, centre):
    """Sums for a straight line over ``[first, last)``: n, Σx, Σy, Σxx, Σxy with x from `centre`."""
    sx = sy = sxx = sxy = 0.0
    for i in range(first, last):
        u = x[i] - centre
        v = y[i]
        sx += u
        sy += v
        sxx += u * u
        sxy += u * v
    return float(last - first), sx, sy, sxx, sxy


@kernel
def solve_line(n, sx, sy, sxx, sxy, with_slope):
    """Offset (at the centre) and slope from the sums; NaN if there is nothing to solve."""
    if n < 1:
        return math.nan, math.nan
    determinant = n * sxx - sx * sx
    if not with_slope or n < 3 or determinant <= 1e-12 * n * sxx:
        return sy / n, 0.0
    slope = (n * sxy - sx * sy) / determinant
    return (sy - slope * sx) / n, slope


@kernel
def spread_about_line(x, y, first, last, centre, offset, slope, most, scratch):
    """Robust standard deviation of y about a line: 1.4826 times the median |residual|.

    At most `most` samples, evenly taken, go into `scratch`.
    """
    count = last - first
    if count < 3:
        return math.nan
    stride = max(1, count // most)
    kept = 0
    for i in range(first, last, stride):
        if kept == scratch.size:
            break
        scratch[kept] = abs(y[i] - offset - slope * (x[i] - centre))
        kept += 1
    return MAD_TO_SIGMA * select(scratch, kept, kept // 2)


@kernel
def clipped_line(x, y, first, last, centre, offset, slope, limit, with_slope):
    """Fit a line again without the samples further than `limit` from the given one.

    Returns offset, slope, the standard deviation about the new line, the sums n, Σx, Σxx of the
    samples kept, and how many were left out.
    """
    n = sx = sr = sxx = sxr = srr = 0.0
    for i in range(first, last):
        u = x[i] - centre
        r = y[i] - offset - slope * u
        if abs(r) <= limit:
            n += 1.0
            sx += u
            sr += r
            sxx += u * u
            sxr += u * r
            srr += r * r
    more, steeper = solve_line(n, sx, sr, sxx, sxr, with_slope)
    rest = max(srr - more * sr - steeper * sxr, 0.0) / max(n - 2.0, 1.0)
    return offset + more, slope + steeper, math.sqrt(rest), n, sx, sxx, last - first - n


@kernel
def convert(raw, first, count, backwards, scale, shift, out):
    """``out[:count] = raw * scale + shift`` in float64, last sample first if `backwards`."""
    if backwards:
        last = first + count - 1
        for i in range(count):
            out[i] = raw[last - i] * scale + shift
    else:
        for i in range(count):
            out[i] = raw[first + i] * scale + shift


@kernel(fast=True)
def total(values, count):
    """Σ values[:count]; not finite as soon as one of them is not."""
    result = 0.0
    for i in range(count):
        result += values[i]
    return result


@kernel
def load_branch(z_raw, d_raw, first, count, backwards, scale, z, d):
    """Convert one branch into nm, z rising; samples that are not finite are left out.

    Parameters
    ----------
    z_raw, d_raw : raw samples of a block
    first, count : the branch inside them
    backwards : read the last sample first (a retract, so that z rises)
    scale : (4,) z scale, z shift, d scale, d shift: value = raw * scale + shift
    z, d : outputs, as long as the longest branch

    Returns how many samples were kept.
    """
    convert(z_raw, first, count, backwards, scale[0], scale[1], z)
    convert(d_raw, first, count, backwards, scale[2], scale[3], d)
    if math.isfinite(total(z, count) + total(d, count)):
        return count
    kept = 0
    for i in range(count):
        if math.isfinite(z[i]) and math.isfinite(d[i]):
            z[kept], d[kept] = z[i], d[i]
            kept += 1
    return kept
