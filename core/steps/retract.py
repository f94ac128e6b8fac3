"""Pull-off, work of adhesion and the work lost between the branches.

Lengths and areas only: a deflection in nm times the spring constant is a force, and an area under
deflection against base position in nm² times the spring constant is a work, because for a closed
cycle ∮ F dz = ∮ F dδ (∮ k d dd vanishes).
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    B_CENTRE,
    B_COV,
    B_LAST,
    B_NOISE,
    B_RISE,
    B_TOUCH,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    RETRACT,
    WALK_RETRACT,
)
from ..columns.retract import (
    GAP,
    LOST,
    PULL,
    PULL_LET_GO,
    PULL_Z,
    RELEASE_Z,
    SEEN,
    SLOW_LOST,
    SLOW_PULL,
    SLOW_WORK,
    VAR_LET_GO,
    VAR_LOST,
    VAR_PULL,
    VAR_WORK,
    WORK,
    ZERO_Z,
)
from ..compiled import kernel
from .baseline import line_variance
from .slow import area_walk, walk_variance
from .tools import line_sums, solve_line


@kernel
def lowest(z, d, first, last, jump):
    """Index and value of the lowest sample of [first, last) that a contact can hold.

    In contact the deflection rises by no more than the base does; a sample from which it rises
    faster than that, by more than `jump`, is a spike.
    """
    best, at = math.inf, first
    for i in range(first, last):
        if d[i] < best and not (i + 1 < last and d[i + 1] - d[i] > z[i + 1] - z[i] + jump):
            best, at = d[i], i
    return at, best


@kernel
def step_before(d, at):
    """Mean of the samples just beyond sample `at`, away from contact; -inf if there are few."""
    first = max(at - 9, 0)
    if at - first < 4:
        return -math.inf
    total = 0.0
    for i in range(first, at - 1):
        total += d[i]
    return total / (at - 1 - first)


@kernel
def find_pull(z, d, free, rise, base, weights, row):
    """The sample of the largest pull; SEEN and SLOW_PULL into ``row``.

    It is looked for between the free part and the rise, since over the whole branch a wandering
    zero would be taken for it; a lower sample further out counts only if it is a step (a second
    release). Spikes are passed by. A pull within 4.5 noises, or three times what the zero
    wanders by from the free part to there, does not stand out, unless it ends in a step: SEEN is 0.
    """
    noise = base[RETRACT + B_NOISE]
    jump = 6.0 * noise if noise > 0.0 else math.inf
    at, value = lowest(z, d, free, rise, jump)
    row[SLOW_PULL] = walk_variance(z, weights, 0, 0, 0, base, RETRACT, z[at], 1.0)
    walk = base[WALK_RETRACT] if base[WALK_RETRACT] > 0.0 else 0.0  # not told on short free parts
    wander = 9.0 * walk * row[SLOW_PULL] if row[SLOW_PULL] > 0.0 else 0.0
    step = -value > 4.5 * noise and value < step_before(d, at) - 6.0 * noise  # no zero jumps so
    row[SEEN] = 1.0 if step or -value > math.sqrt((4.5 * noise) ** 2 + wander) else 0.0
    late, far = lowest(z, d, 0, free, jump)
    if far < value and far < step_before(d, late) - 6.0 * noise:  # a second, later release
        row[SEEN] = 1.0
        row[SLOW_PULL] = walk_variance(z, weights, 0, 0, 0, base, RETRACT, z[late], 1.0)
        return late
    return at


@kernel
def line_at(z, d, at, samples, count):
    """Deflection at sample `at` from a line through it and the following samples, and the variance
    of that in units of one sample's."""
    m = min(samples, count - at)
    if m < 3:
        return d[at], 1.0
    n, sx, sy, sxx, sxy = line_sums(z, d, at, at + m, z[at])
    offset, _ = solve_line(n, sx, sy, sxx, sxy, True)
    return offset, (4.0 * m - 2.0) / (m * (m + 1.0))


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
def under_line(row, branch, start, end):
    """Variance of ∫ baseline dz between two base positions."""
    centre = row[branch + B_CENTRE]
    length = end - start
    arm = 0.5 * ((end - centre) ** 2 - (start - centre) ** 2)
    return (length * length * row[branch + B_VAR_OFFSET] + arm * arm * row[branch + B_VAR_SLOPE]
            + 2.0 * length * arm * row[branch + B_COV])  # fmt: skip


@kernel
def jump_variance(z, d, at, free):
    """Variance of an area that begins with a jump somewhere in the step before sample `at`."""
    if at <= free or d[at] >= 0.0:
        return 0.0
    return (d[at] * (z[at] - z[at - 1])) ** 2 / 12.0


@kernel
def zero_crossing(z, d, at, rise):
    """Where the deflection crosses zero between `at` and `rise`, from a line through the samples
    around; the index of the first sample beyond it, and its z."""
    i = rise
    while i > at + 1 and d[i - 1] > 0.0:
        i -= 1
    if i <= at or i >= z.size or d[i] <= d[i - 1] or d[i - 1] > 0.0:
        return i, z[min(i, z.size - 1)]
    return i, z[i] - d[i] * (z[i] - z[i - 1]) / (d[i] - d[i - 1])


@kernel
def release_line(z, d, at, count, noise):
    """Where the deflection stood when the tip let go, half a step beyond sample `at`.

    Read off a straight line through the five samples on the contact side, or fifteen where the
    curve rises too little from one to the next to be told from the noise: the lowest of many noisy
    samples lies too low. Returns the deflection at `at` on that line, what is lost in half a step,
    the rise over a whole one, and the variance of the first two's difference in units of one
    sample's.
    """
    m = min(5, count - at)
    offset, slope = d[at], 0.0
    n, sx, sxx = 1.0, 0.0, 1.0
    for _ in range(2):
        if m < 3:
            break
        n, sx, sy, sxx, sxy = line_sums(z, d, at, at + m, z[at])
        offset, slope = solve_line(n, sx, sy, sxx, sxy, True)
        if m > 5 or slope * (z[at + m - 1] - z[at]) / (m - 1) > noise / 3.0:
            break
        m = min(15, count - at)
    after = min(at + 1, count - 1)
    step = z[after] - z[at]
    rise = min(max(slope, 0.0), 1.0) * step
    if m <= 5:  # where the curve bends up, a line over five samples is too low and too steep
        offset = max(offset, d[at])
        slope = min(slope, (d[after] - d[at]) / max(z[after] - z[at], 1e-12))
    half = 0.5 * min(max(slope, 0.0), 1.0) * step
    back = 0.5 * step + sx / n
    return offset, half, rise, 1.0 / n + back * back / max(sxx - sx * sx / n, 1e-12)


@kernel
def retract_of_curve(za, da, na, zr, dr, nr, base, samples, weights, row):
    """Fill ``row`` (COLUMNS,) of one curve; both branches have z rising and no baseline.

    Adhesion is the largest pull below the retract baseline (common practice, no source), read off
    a line through `samples` samples on the contact side if more than two are asked. Its variance is
    the noise's, the baseline's, and that of sampling: the tip lets go somewhere within the step
    after the last touching sample, so the true pull is up to one step larger, a mean square of
    step²/3 about the reported value. Where it is looked for: `find_pull`.

    ``weights`` (1, longest branch) is work space.

    The work lost is the area of the closed loop: approach, then from its end straight to the
    beginning of the retract (a hold, or samples that are missing), then retract.

    Returns the sample of the pull; -1 if there is nothing to find it on.
    """
    row[:] = math.nan
    noise = base[RETRACT + B_NOISE]
    if na < 8 or nr < 8 or not (noise >= 0.0 and base[B_NOISE] >= 0.0):
        return -1
    rise = min(int(base[RETRACT + B_RISE]), nr)
    free = min(int(base[RETRACT + B_LAST]), nr - 1)
    at = find_pull(zr, dr, min(free, rise - 1), rise, base, weights, row)
    value, share = line_at(zr, dr, at, samples, nr)
    row[PULL] = max(-value, 0.0)
    row[PULL_Z], row[RELEASE_Z] = zr[at], zr[max(at - 1, 0)]
    line = line_variance(base, RETRACT, zr[at])
    at_line, half, whole, own = release_line(zr, dr, at, nr, noise)
    row[PULL_LET_GO] = max(half - at_line, 0.0)
    row[VAR_PULL] = share * noise**2 + line + whole**2 / 3.0
    row[VAR_LET_GO] = own * noise**2 + line + half**2 / 3.0
    zero, zero_z = zero_crossing(zr[:nr], dr[:nr], at, rise)
    row[ZERO_Z] = zero_z
    free = min(free, at)
    total, squares = area(zr, dr, free, zero)
    row[WORK] = -total - 0.5 * dr[zero - 1] * (zero_z - zr[zero - 1])
    row[VAR_WORK] = (noise**2 * squares + under_line(base, RETRACT, zr[free], zero_z)
                     + jump_variance(zr, dr, at, free))  # fmt: skip
    free_a = min(int(base[B_LAST]), na - 1)
    there, squares_a = area(za, da, free_a, na)
    back, squares_r = area(zr, dr, free, nr)
    row[GAP] = zr[nr - 1] - za[na - 1]
    row[LOST] = there + 0.5 * (da[na - 1] + dr[nr - 1]) * row[GAP] - back
    touch = min(int(base[B_TOUCH]), na - 1)
    row[VAR_LOST] = (
        base[B_NOISE] ** 2 * squares_a + noise**2 * squares_r
        + under_line(base, 0, za[free_a], za[na - 1])
        + under_line(base, RETRACT, zr[free], zr[nr - 1])
        + jump_variance(za, da, touch, free_a) + jump_variance(zr, dr, at, free)
    )  # fmt: skip
    rest = zero_z - zr[zero - 1]
    row[SLOW_WORK] = area_walk(zr, free, zero, 0.0, rest, 0.0, base, RETRACT, weights)
    half = 0.5 * row[GAP]
    row[SLOW_LOST] = (area_walk(za, free_a, na, 0.0, 0.0, half, base, 0, weights)
                      + area_walk(zr, free, nr, 0.0, 0.0, -half, base, RETRACT, weights)
                      )  # fmt: skip
    return at
