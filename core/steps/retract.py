"""Pull-off, work of adhesion and the work lost between the branches.

Lengths and areas only: a deflection in nm times the spring constant is a force, and an area under
deflection against base position in nm² times the spring constant is a work, because for a closed
cycle ∮ F dz = ∮ F dδ (∮ k d dd vanishes).
"""

from __future__ import annotations

import math

from ..columns.baseline import B_LAST, B_NOISE, B_RISE, B_VAR_OFFSET, RETRACT
from ..columns.retract import (
    LOST,
    PULL,
    PULL_Z,
    RELEASE_Z,
    SEEN,
    SNAP,
    SNAP_Z,
    VAR_LOST,
    VAR_PULL,
    VAR_WORK,
    WORK,
    ZERO_Z,
)
from ..compiled import kernel


@kernel
def smoothed(d, i, count, half):
    """Mean of the samples within `half` of i."""
    first, last = max(0, i - half), min(count, i + half + 1)
    total = 0.0
    for j in range(first, last):
        total += d[j]
    return total / (last - first)


@kernel
def lowest(d, count, upto, half):
    """Index and value of the lowest (smoothed) sample before `upto`."""
    best, at = math.inf, 0
    for i in range(upto):
        value = d[i] if half == 0 else smoothed(d, i, count, half)
        if value < best:
            best, at = value, i
    return at, best


@kernel
def area(z, d, first, last):
    """∫ d dz over samples [first, last), trapezium rule; and Σ dz² for its noise."""
    total = squares = 0.0
    for i in range(first + 1, last):
        step = z[i] - z[i - 1]
        total += 0.5 * (d[i] + d[i - 1]) * step
        squares += step * step
    return total, squares


@kernel
def retract_of_curve(za, da, na, zr, dr, nr, base, half, row):
    """Fill ``row`` (COLUMNS,) of one curve; both branches have z rising and no baseline.

    Adhesion is the largest pull below the retract baseline (common practice, no source). Its
    variance is that of one sample of the noise, the baseline's, and that of sampling: the tip lets
    go somewhere within the step after the last touching sample, so the true pull is up to one step
    larger, a mean square of step²/3 about the reported value. A dip within 4.5 noises is no
    pull-off: the pull is then 0 with the variance of that limit.
    """
    row[:] = math.nan
    noise = base[RETRACT + B_NOISE]
    if na < 8 or nr < 8 or not (noise >= 0.0 and base[B_NOISE] >= 0.0):
        return
    rise = int(base[RETRACT + B_RISE])
    at, value = lowest(dr, nr, min(rise, nr), half)
    step = abs(dr[min(at + 1, nr - 1)] - dr[at])
    row[SEEN] = 1.0 if -value > 4.5 * noise / math.sqrt(2.0 * half + 1.0) else 0.0
    row[PULL_Z], row[RELEASE_Z] = zr[at], zr[max(at - 1, 0)]
    row[PULL] = -value if row[SEEN] > 0.5 else 0.0
    row[VAR_PULL] = noise**2 / (2 * half + 1) + base[RETRACT + B_VAR_OFFSET] + step**2 / 3.0
    if row[SEEN] < 0.5:
        row[VAR_PULL] = (4.5 * noise) ** 2 / 12.0
    zero = rise
    while zero > at + 1 and dr[zero - 1] > 0.0:
        zero -= 1
    row[ZERO_Z] = zr[min(zero, nr - 1)]
    free = min(int(base[RETRACT + B_LAST]), at)
    total, squares = area(zr, dr, free, min(zero + 1, nr))
    row[WORK] = -total if row[SEEN] > 0.5 else 0.0
    length = zr[min(zero, nr - 1)] - zr[free]
    row[VAR_WORK] = noise**2 * squares + base[RETRACT + B_VAR_OFFSET] * length**2
    free_a = int(base[B_LAST])
    there, squares_a = area(za, da, free_a, na)
    back, squares_r = area(zr, dr, free, nr)
    row[LOST] = there - back
    row[VAR_LOST] = (
        base[B_NOISE] ** 2 * squares_a + noise**2 * squares_r
        + base[B_VAR_OFFSET] * (za[na - 1] - za[free_a]) ** 2
        + base[RETRACT + B_VAR_OFFSET] * (zr[nr - 1] - zr[free]) ** 2
    )  # fmt: skip
    at, value = lowest(da, na, min(int(base[B_RISE]), na), half)
    row[SNAP], row[SNAP_Z] = max(-value, 0.0), za[at]
