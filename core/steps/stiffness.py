"""The slope in contact, without a contact law.

With m = dd/dz in contact the contact stiffness is S = k m / (1 - m), u(S)/S = u(m)/(m (1 - m))
(two springs in series). A slope of 1 or more is impossible: the deflection sensitivity is wrong.
"""

from __future__ import annotations

import math

from ..columns.baseline import B_NOISE, B_VAR_SLOPE, PEAK_D
from ..columns.stiffness import (
    FIRST_Z,
    LAST_Z,
    OFFSET,
    SAMPLES,
    SLOPE,
    SLOW_SLOPE,
    VAR_SLOPE,
)
from ..compiled import kernel
from .fit import window_by_deflection
from .slow import walk_variance
from .tools import line_sums, solve_line


@kernel
def stiffness_of_curve(z, d, count, base, branch, low, high, weights, row):
    """Slope of d against z between two shares of the peak deflection into ``row`` (COLUMNS,).

    ``weights`` (1, samples) is work space.
    """
    row[:] = math.nan
    noise, peak = base[branch + B_NOISE], base[PEAK_D]
    if count < 8 or not peak > 5.0 * noise:
        return
    first, last = window_by_deflection(d, count, low * peak, high * peak)
    row[SAMPLES] = last - first
    if last - first < 4:
        return
    centre = z[(first + last) // 2]
    n, sx, sy, sxx, sxy = line_sums(z, d, first, last, centre)
    offset, slope = solve_line(n, sx, sy, sxx, sxy, True)
    row[SLOPE] = slope
    row[OFFSET] = offset - slope * centre
    row[VAR_SLOPE] = noise * noise / (sxx - sx * sx / n) + base[branch + B_VAR_SLOPE]
    row[FIRST_Z], row[LAST_Z] = z[first], z[last - 1]
    for i in range(first, last):
        weights[0, i] = (z[i] - centre - sx / n) / (sxx - sx * sx / n)
    row[SLOW_SLOPE] = walk_variance(z, weights, 0, first, last, base, branch, 0.0, 0.0)
